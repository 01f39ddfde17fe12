"""The history, event by event, applied to the belief.

Play operator for a knob step D and play b with slack u in [−b/2, b/2]: u' = clip(u − D, ±b/2), effective step
e = D + u' − u; the mean set length then falls by lead · ratio · e.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, replace
from threading import Lock

import numpy as np
from scipy.special import log_ndtr

from firstpull.statistics.dial_in.mixture import (
    CEILING,
    COLD,
    DRIFT,
    FLOOR,
    LIMIT,
    LOT,
    RATIO,
    SETTING,
    SHIFT,
    SIZE,
    STALL,
    Floats,
    Mixture,
    joined,
    limit_side,
    observed,
    prior,
    with_room,
)
from firstpull.statistics.dial_in.readings import ways_to_read
from firstpull.statistics.dial_in.request import Event, Job, Pull, Reconnect, Request, Turn, Where

BAD_PULL_SHARE = 0.01
MISCOUNT_SHARE = 0.01
COLD_LEFT_PER_CYCLE = 0.25
_BAD_PULL_MM = (0.7, 0.6)
_TURN_SD_TURNS = 0.015
_CLICK_SD_TURNS = 0.003
_WANDER_SHARE = 0.03


@dataclass(frozen=True, slots=True)
class Knob:
    """What is known for certain of the knob and the air: same in every component."""

    cycles_since_air: int = 0
    taken_up_turns: float = 0.0
    last_direction: int = 0
    turned: int = 0

    def after_turn(self, more_turns: float) -> Knob:
        """After an ordered turn; the tool is cold again."""
        direction = int(np.sign(more_turns))
        run = abs(more_turns) + (self.taken_up_turns if direction == self.last_direction else 0.0)
        return Knob(0, run, direction, self.turned + 1)

    def settled(self, job: Job) -> bool:
        """Whether the play is taken up in the more-stroke direction, whatever it was before."""
        if job.max_backlash_turns == 0.0:
            return True
        return self.last_direction > 0 and self.taken_up_turns >= job.max_backlash_turns - 1e-9


@dataclass(frozen=True, slots=True)
class State:
    """The belief after the whole history, with the counts that decisions need. ``moved_turns``: net knob move since the
    last pull that counts; ``farthest_turns``: the largest such move that a pull has judged."""

    mixture: Mixture
    knob: Knob
    pulls: tuple[Pull, ...] = ()
    reading_slots: tuple[tuple[int, int], ...] = ()
    inserts_used: int = 0
    turns_since_pull: int = 0
    moved_turns: float = 0.0
    farthest_turns: float = 0.0
    last_event: Event | None = None


_REMEMBERED = 12
_memory: OrderedDict[tuple[Job, bool, tuple[Event, ...]], State] = OrderedDict()
_memory_lock = Lock()


def replayed(request: Request) -> State:
    """The belief after everything in the history.

    The last few beliefs are remembered, so that a conversation costs one step a call; the same request brings the
    same belief whether it was remembered or not.
    """
    job, events = request.job, request.events
    stack = job.shift is not None or any(isinstance(event, Pull) and event.where == "stack" for event in events)
    known, state = len(events), None
    while state is None and known >= 0:
        with _memory_lock:
            state = _memory.get((job, stack, events[:known]))
        known -= 1
    known += 1
    if state is None:
        state = _remember((job, stack, ()), State(prior(job, stack=stack), Knob()))
    for place in range(known, len(events)):
        state = _advanced(state, events[place], job=job)
        if place >= len(events) - _REMEMBERED // 2:
            _remember((job, stack, events[: place + 1]), state)
    return state


def _remember(key: tuple[Job, bool, tuple[Event, ...]], state: State) -> State:
    with _memory_lock:
        _memory[key] = state
        while len(_memory) > _REMEMBERED:
            _memory.popitem(last=False)
    return state


def _advanced(state: State, event: Event, *, job: Job) -> State:
    """The state after one more event."""
    state = replace(state, last_event=event)
    if isinstance(event, Turn):
        return replace(
            state,
            mixture=turned(state.mixture, event.more_turns, job=job),
            knob=state.knob.after_turn(event.more_turns),
            turns_since_pull=state.turns_since_pull + 1,
            moved_turns=state.moved_turns + event.more_turns,
        )
    if isinstance(event, Reconnect):
        return replace(state, knob=replace(state.knob, cycles_since_air=0))
    if isinstance(event, Pull):
        number, slots = len(state.pulls), len(event.readings_mm)
        mixture = with_room(state.mixture, readings=slots)
        if not event.struck_out:
            place = (number, len(state.reading_slots))
            mixture = _pulled(mixture, event, job=job, knob=state.knob, place=place)
        state = replace(
            state,
            mixture=mixture,
            pulls=(*state.pulls, event),
            reading_slots=(*state.reading_slots, *((number, reading) for reading in range(slots))),
            inserts_used=number + 1,
            turns_since_pull=0,
            moved_turns=state.moved_turns if event.struck_out else 0.0,
            farthest_turns=_farthest(state, event),
        )
    cycles = state.knob.cycles_since_air + 1
    return replace(state, mixture=cycled(state.mixture), knob=replace(state.knob, cycles_since_air=cycles))


def _farthest(state: State, pull: Pull) -> float:
    judged = any(not earlier.struck_out for earlier in state.pulls) and not pull.struck_out
    return max(state.farthest_turns, abs(state.moved_turns)) if judged else state.farthest_turns


def played(slack: Floats, step: float, *, backlash: Floats) -> tuple[Floats, Floats]:
    """Slack after a knob step and the effective step, turns."""
    half = 0.5 * backlash
    after = np.clip(slack - step, -half, half)
    return after, step + after - slack


def turn_doubt_turns(job: Job) -> float:
    """How well an ordered turn is kept, standard deviation in turns."""
    return _TURN_SD_TURNS if job.step_turns is None else _CLICK_SD_TURNS


def turned(mixture: Mixture, more_turns: float, *, job: Job) -> Mixture:
    """The belief after an ordered turn; with click stops it may have been one click more or less."""
    if more_turns == 0.0:
        return mixture
    click = job.step_turns
    if click is None:
        return _stepped(mixture, more_turns, job=job, doubt_turns=turn_doubt_turns(job))
    parts = []
    for slip, share in ((0, 1.0 - 2.0 * MISCOUNT_SHARE), (-1, MISCOUNT_SHARE), (1, MISCOUNT_SHARE)):
        part = _stepped(mixture, more_turns + slip * click, job=job, doubt_turns=turn_doubt_turns(job))
        parts.append(replace(part, log_weight=part.log_weight + np.log(share)))
    return joined(parts)


def _stepped(mixture: Mixture, step: float, *, job: Job, doubt_turns: float) -> Mixture:
    slack, effective = played(mixture.slack_turns, step, backlash=mixture.backlash_turns)
    mean, cov = mixture.mean.copy(), mixture.cov.copy()
    gain = job.lead_mm * effective
    mean[:, SETTING] -= gain * mean[:, RATIO]
    cov[:, SETTING, :] -= gain[:, None] * cov[:, RATIO, :]
    cov[:, :, SETTING] -= gain[:, None] * cov[:, :, RATIO]
    cov[:, SETTING, SETTING] += (job.lead_mm * doubt_turns) ** 2
    return replace(mixture, mean=mean, cov=cov, slack_turns=slack)


def cycled(mixture: Mixture) -> Mixture:
    """The belief after one cycle of the tool: the setting drifts and wanders a little."""
    mean, cov = mixture.mean.copy(), mixture.cov.copy()
    mean[:, SETTING] += mean[:, DRIFT]
    cov[:, SETTING, :] += cov[:, DRIFT, :]
    cov[:, :, SETTING] += cov[:, :, DRIFT]
    cov[:, SETTING, SETTING] += (_WANDER_SHARE * mixture.process_sd) ** 2
    return replace(mixture, mean=mean, cov=cov)


def reading_row(*, where: Where, cold_cycles: int, length_known: bool, limited: bool = False) -> Floats:
    """The linear combination of unknowns that a reading shows; ``limited`` = the stroke was at its limit."""
    row = np.zeros(SIZE)
    row[LIMIT if limited else SETTING] = 1.0
    row[LOT] = 0.0 if length_known else 1.0
    row[COLD] = COLD_LEFT_PER_CYCLE**cold_cycles
    row[SHIFT] = 1.0 if where == "stack" else 0.0
    return row


def _pulled(mixture: Mixture, pull: Pull, *, job: Job, knob: Knob, place: tuple[int, int]) -> Mixture:
    """The belief after one pull: every way to take its readings, weighed against each other."""
    number, first_slot = place
    length_known = pull.length_before_mm is not None and _plausible_length(pull.length_before_mm, job)
    noise = mixture.process_sd**2
    offset = 0.0
    if pull.length_before_mm is not None and length_known:
        offset = pull.length_before_mm - job.nominal_length_mm
        row = np.zeros(SIZE)
        row[LOT] = 1.0
        mixture, fit = observed(mixture, row, value=offset, noise_variance=mixture.insert_sd**2 + job.caliper_sd_mm**2)
        mixture = replace(mixture, log_weight=mixture.log_weight + fit)
        noise = noise + job.caliper_sd_mm**2
    else:
        noise = noise + mixture.insert_sd**2
    free = reading_row(where=pull.where, cold_cycles=knob.cycles_since_air, length_known=length_known)
    centre, variance = mixture.value(free)
    weight = mixture.weights()
    expected = float(weight @ centre) + offset
    spread = float(weight @ (variance + (centre + offset - expected) ** 2))
    parts = []
    earlier = mixture.misread[:, :first_slot].sum(axis=1).astype(np.float64)
    for way in ways_to_read(pull.readings_mm, job=job, centre=expected, spread=spread):
        misread = mixture.misread.copy()
        misread[:, first_slot : first_slot + len(way.misread)] = way.misread
        log_share = way.log_fit + way.log_share(earlier, earlier_readings=first_slot)
        held = replace(mixture, log_weight=mixture.log_weight + log_share, misread=misread)
        if way.value_mm is None:
            parts.append(held)
            continue
        value, extra = way.value_mm - offset, way.variance
        parts += _taken(held, value, noise=noise + extra, rows=(free, knob.cycles_since_air, pull))
        rows = (free, knob.cycles_since_air, pull)
        parts.append(_taken_as_bad(held, value, noise=noise + extra, rows=rows, number=number))
    return joined(parts)


def _plausible_length(length_mm: float, job: Job) -> bool:
    doubt = (job.insert_sd_mm**2 + job.lot_mean_sd_mm**2 + job.caliper_sd_mm**2) ** 0.5
    return bool(abs(length_mm - job.nominal_length_mm) <= 6.0 * doubt + job.resolution_mm)


def _taken(mixture: Mixture, value: float, *, noise: Floats, rows: tuple[Floats, int, Pull]) -> list[Mixture]:
    """The pull was complete: at the knob's setting, or at the limit of the stroke in components that have one."""
    free, cold_cycles, pull = rows
    limited_kinds = (FLOOR, CEILING, STALL) if pull.where == "stack" else (FLOOR, CEILING)
    limited = np.isin(mixture.kind, limited_kinds)
    log_good = np.log(1.0 - BAD_PULL_SHARE)
    parts = []
    if not limited.all():
        plain = mixture.take(~limited)
        updated, fit = observed(plain, free, value=value, noise_variance=noise[~limited])
        parts.append(replace(updated, log_weight=updated.log_weight + fit + log_good))
    if limited.any():
        some = mixture.take(limited)
        at_limit = reading_row(
            where=pull.where,
            cold_cycles=cold_cycles,
            length_known=free[LOT] == 0.0,
            limited=True,
        )
        for row, active in ((free, False), (at_limit, True)):
            updated, fit = observed(some, row, value=value, noise_variance=noise[limited])
            cut = _cut_at_limit(_bounded(updated, before=some, active=active), active=active)
            parts.append(replace(cut, log_weight=cut.log_weight + fit + log_good))
    return parts


def _bounded(mixture: Mixture, *, before: Mixture, active: bool) -> Mixture:
    """What the pull says of a limit that no pull had shown before: it acts here, within what was left open, or it lies
    beyond this setting."""
    vague = before.vague
    side = limit_side(before)
    centre, sd = before.mean[:, LIMIT], np.sqrt(before.cov[:, LIMIT, LIMIT])
    open_before = log_ndtr(np.clip(side * (before.bound - centre) / sd, -8.0, 40.0))
    if active:
        mean, spread = mixture.mean[:, LIMIT], np.sqrt(np.maximum(mixture.cov[:, LIMIT, LIMIT], 1e-12))
        share = log_ndtr(np.clip(side * (before.bound - mean) / spread, -30.0, 40.0)) - open_before
        bound = side * np.inf
    else:
        here = mixture.mean[:, SETTING]
        bound = side * np.minimum(side * before.bound, side * here)
        share = log_ndtr(np.clip(side * (bound - centre) / sd, -8.0, 40.0)) - open_before
    return replace(
        mixture,
        bound=np.where(vague, bound, before.bound),
        vague=vague & (not active),
        log_weight=mixture.log_weight + np.where(vague, share, 0.0),
    )


def _cut_at_limit(mixture: Mixture, *, active: bool) -> Mixture:
    """Keep the part of each component in which the limit acts (or does not): weight and moments of the cut Gaussian."""
    row = np.zeros(SIZE)
    row[LIMIT], row[SETTING] = 1.0, -1.0
    side = np.where(mixture.kind == CEILING, -1.0, 1.0) * (1.0 if active else -1.0)
    mean, variance = mixture.value(row)
    sd = np.sqrt(variance)
    alpha = np.clip(side * mean / sd, -30.0, 30.0)
    log_share = log_ndtr(alpha)
    if not active:
        alpha = np.where(mixture.vague, 30.0, alpha)
        log_share = np.where(mixture.vague, 0.0, log_share)
    mills = np.exp(-0.5 * alpha**2 - 0.5 * np.log(2 * np.pi) - log_share)
    shift = side * sd * mills
    shrink = np.clip(mills * (mills + alpha), 0.0, 0.9999)
    gain = (mixture.cov @ row) / variance[:, None]
    moved = mixture.mean + gain * shift[:, None]
    cov = mixture.cov - gain[:, :, None] * gain[:, None, :] * (variance * shrink)[:, None, None]
    return replace(mixture, mean=moved, cov=cov, log_weight=mixture.log_weight + log_share)


def _taken_as_bad(
    mixture: Mixture, value: float, *, noise: Floats, rows: tuple[Floats, int, Pull], number: int
) -> Mixture:
    """The pull was not complete: the set is longer than the knob, or a limit already shown, would have made it, by an
    unknown amount, and says nothing about the setting."""
    row, cold_cycles, pull = rows
    mean, variance = mixture.value(row)
    at_limit = reading_row(where=pull.where, cold_cycles=cold_cycles, length_known=row[LOT] == 0.0, limited=True)
    limit, limit_variance = mixture.value(at_limit)
    held_long = (mixture.kind == FLOOR) | ((mixture.kind == STALL) & (pull.where == "stack"))
    acts = ~mixture.vague & np.where(held_long, limit > mean, (mixture.kind == CEILING) & (limit < mean))
    mean, variance = np.where(acts, limit, mean), np.where(acts, limit_variance, variance)
    offset, spread = _BAD_PULL_MM
    total = variance + noise + spread**2
    residual = value - mean - offset
    fit = -0.5 * (np.log(2 * np.pi * total) + residual**2 / total)
    fit = fit + log_ndtr(np.clip((value - mean) / np.sqrt(variance + noise), -30.0, 30.0))
    fit = fit - log_ndtr(offset / np.sqrt(spread**2 + 2.0 * (variance + noise)))
    bad = mixture.bad.copy()
    bad[:, number] = True
    return replace(mixture, bad=bad, log_weight=mixture.log_weight + fit + np.log(BAD_PULL_SHARE))

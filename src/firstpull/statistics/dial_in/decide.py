"""What to do next. The order of the questions below is the whole policy."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from firstpull.statistics.dial_in.belief import (
    CEILING_RISK,
    Belief,
    Faults,
    belief_now,
    faults,
    next_reading,
    truth_row,
)
from firstpull.statistics.dial_in.mixture import SHIFT, Floats
from firstpull.statistics.dial_in.moves import (
    Move,
    apart_move,
    best_move,
    click_chances,
    further_move,
    settling_move,
    take_up_move,
)
from firstpull.statistics.dial_in.readings import GROSS_MM, in_job_unit
from firstpull.statistics.dial_in.replay import State
from firstpull.statistics.dial_in.request import Job, Pull, Where

Action = Literal["turn", "dry_cycle", "pull", "remeasure", "release", "refuse"]
Reason = Literal[
    "",
    "unreachable_max",
    "unreachable_min",
    "detent_limited",
    "not_converged",
    "inconsistent_data",
    "stalled",
    "incomplete_cycle",
    "gave_up",
]

DRY_CYCLES = 2
MAX_TURNS = 60
MAX_READINGS_ASKED, MOST_READINGS_ASKED = 4, 6
_OFTEN_MISREAD = 1.5
_TURNS_BETWEEN_PULLS = 4
_SURE = 0.95
_SURE_OF_TOOL = 0.92
_SUSPECT = 0.5
_BAD, _BAD_TOGETHER, _BAD_IN_ALL = 0.8, 3, 3
_LEAST_GAIN = 0.02
_NEAR = 1.0
_COARSE = 0.6
_CLOSER = 0.15
_SEVERAL, _PLAIN_GAIN = 3, 0.04
_WORTH_READING = 0.02
_CONFIRMS = 1.0
_MATTERS = 0.25
_UNMOVED = 0.12
_JUDGED, _SHOWN, _EARLY_PULLS = 0.6, 2.0, 2
_SHORT_OF, _LONG_OF = 0.8, 0.2
_SHORT_SIDE = 0.15


@dataclass(frozen=True, slots=True)
class Decision:
    """One reply, not yet in words. ``steps_turns``: the step ordered now, and the one that will follow it, + towards
    more stroke. ``expected`` is the reading after both. ``cause`` picks the sentence."""

    action: Action
    cause: str
    belief: Belief
    expected: Belief
    where: Where
    steps_turns: tuple[float, ...] = ()
    dry_cycles: int = 0
    reason: Reason = ""
    confidence: float = 0.0
    suspect_readings: tuple[tuple[int, int], ...] = ()
    suspect_pulls: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class _View:
    """All that the questions below look at."""

    state: State
    job: Job
    belief: Belief
    faults: Faults
    where: Where


def decided(state: State, job: Job) -> Decision:
    """The next action after the whole history."""
    belief = belief_now(state.mixture, job)
    view = _View(state, job, belief, faults(state, job), next_where(state, job, belief=belief))
    return (
        _read_again(view)
        or _refusal_for_data(view)
        or _release(view)
        or _refusal_for_tool(view)
        or _turn(view)
        or _used_up(view)
        or _pull(view)
    )


def next_where(state: State, job: Job, *, belief: Belief) -> Where:
    """Where the next pull belongs: in the stack once the air setting is known better than the shift."""
    if job.shift is None or job.shift.sd_mm <= job.tolerance_mm / 4.0:
        return "air"
    if not any(_accepted(state, job)):
        return "air"
    row = truth_row(job)
    row[SHIFT] = 0.0
    mean, variance = state.mixture.value(row)
    weight = state.mixture.weights()
    middle = float(weight @ mean)
    air_sd = float(weight @ (variance + (mean - middle) ** 2)) ** 0.5
    return "stack" if air_sd < max(job.tolerance_mm, 0.5 * belief.sd_mm) else "air"


def _reply(
    view: _View,
    action: Action,
    *,
    cause: str,
    steps: tuple[float, ...] = (),
    dry_cycles: int = 0,
    reason: Reason = "",
    confidence: float = 0.0,
) -> Decision:
    expected = next_reading(view.state, view.job, where=view.where, moves=steps, warm=action == "turn")
    readings, pulls = _suspects(view)
    return Decision(
        action=action,
        cause=cause,
        belief=view.belief,
        expected=expected,
        where=view.where,
        steps_turns=steps,
        dry_cycles=dry_cycles,
        reason=reason,
        confidence=confidence,
        suspect_readings=readings,
        suspect_pulls=pulls,
    )


def _suspects(view: _View) -> tuple[tuple[tuple[int, int], ...], tuple[int, ...]]:
    slots = view.state.reading_slots
    doubted = {slots[i] for i, p in enumerate(view.faults.misread) if p > _SUSPECT}
    readings = tuple(slot for slot in slots if slot in doubted and _far_off(view, slot, doubted=doubted))
    pulls = tuple(i for i, p in enumerate(view.faults.bad) if p > _SUSPECT)
    return readings, pulls


def _far_off(view: _View, slot: tuple[int, int], *, doubted: set[tuple[int, int]]) -> bool:
    """Whether a doubted reading is too far from the good ones of its insert for the scatter of the gauge."""
    number, reading = slot
    values = view.state.pulls[number].readings_mm
    good = [value for place, value in enumerate(values) if (number, place) not in doubted]
    return not good or abs(values[reading] - float(np.mean(good))) > 0.8 * GROSS_MM


def _accepted(state: State, job: Job) -> list[bool]:
    """Per pull: counted, with at least one reading that is held good and not a bad pull."""
    found = faults(state, job)
    good = [False] * len(state.pulls)
    for (number, reading), p in zip(state.reading_slots, found.misread, strict=True):
        pull = state.pulls[number]
        usable = p <= _SUSPECT or bool(in_job_unit(pull.readings_mm, job)[1][reading])
        good[number] |= usable and found.bad[number] <= _SUSPECT and not pull.struck_out
    return good


def _read_again(view: _View) -> Decision | None:
    """Ask for another reading of the last insert when it could be a misread, or the gauge is the weak part."""
    last = view.state.last_event
    if not isinstance(last, Pull) or last.struck_out:
        return None
    count = len(last.readings_mm)
    doubts = [
        p
        for slot, p in zip(view.state.reading_slots, view.faults.misread, strict=True)
        if slot[0] == len(view.state.pulls) - 1
    ]
    bad = float(view.faults.bad[-1])
    often = float(view.faults.misread.sum()) > _OFTEN_MISREAD
    open_still = often and 2 <= count < MOST_READINGS_ASKED and _refusal_for_data(view) is None
    if open_still and not _settled_majority(in_job_unit(last.readings_mm, view.job)[0]):
        return _reply(view, "remeasure", cause="disagree")
    if count >= MAX_READINGS_ASKED:
        return None
    if count == 1:
        if doubts[0] > _SUSPECT:
            return _reply(view, "remeasure", cause="unlikely")
        worth = doubts[0] > 0.004 or bad > 0.05
        if worth and not (view.belief.p_inside >= view.job.confidence and doubts[0] <= 0.004):
            return _reply(view, "remeasure", cause="confirm")
        return None
    values, slipped = in_job_unit(last.readings_mm, view.job)
    if slipped.any() and float(np.ptp(values[slipped])) <= GROSS_MM / 2.0 and slipped.sum() >= 2:
        return None
    split = count == 2 and float(np.ptp(values)) > 0.6 * GROSS_MM
    if split or min(doubts) > _SUSPECT or any(0.05 < p < 0.95 for p in doubts):
        return _reply(view, "remeasure", cause="disagree")
    return None


def _settled_majority(values: Floats) -> bool:
    """Whether the readings that agree are two more than any others that agree; without a misread nothing is open."""
    alike = np.abs(values[:, None] - values[None, :]) <= 0.6 * GROSS_MM
    if alike.all():
        return True
    sizes = alike.sum(axis=1)
    largest = int(sizes.argmax())
    return bool(sizes[largest] - sizes[~alike[largest]].max(initial=0) >= 2)


def _sharpens(view: _View) -> bool:
    """Whether one more reading narrows what this insert says enough to be worth the trouble."""
    job, last = view.job, view.state.last_event
    if not isinstance(last, Pull) or last.struck_out or not 1 <= len(last.readings_mm) <= 2:
        return False
    count, measured = len(last.readings_mm), last.length_before_mm is not None
    caliper = job.caliper_sd_mm**2
    rest = job.process_sd_mm**2 + (caliper if measured else job.insert_sd_mm**2)
    return caliper / count - caliper / (count + 1) > _WORTH_READING * (rest + caliper / count)


def _release(view: _View) -> Decision | None:
    state, job = view.state, view.job
    accepted = _accepted(state, job)
    if view.belief.p_inside < job.confidence or not any(accepted) or not _confirmed(state, job):
        return None
    if not _shown_in_stack(state, job):
        return None
    return _reply(view, "release", cause="inside", confidence=view.belief.p_inside)


def _shown_in_stack(state: State, job: Job, *, further_turns: float = 0.0) -> bool:
    """Whether pulls in the stack, where they are needed, speak for the knob position, should it be turned that much further.

    One pull does not show that the knob acts there: a tool that stalls sets the same whatever the knob says.
    """
    if job.shift is None or job.shift.sd_mm <= job.tolerance_mm / 4.0:
        return True
    count = sum(good and pull.where == "stack" for good, pull in zip(_accepted(state, job), state.pulls, strict=True))
    unmoved = abs(state.moved_turns + further_turns) * job.lead_mm <= _MATTERS * job.tolerance_mm
    return count > 1 or (count == 1 and unmoved)


def _confirmed(state: State, job: Job, *, further_turns: float = 0.0) -> bool:
    """Whether the last pull was near enough to speak for the knob position, should it be turned that much further."""
    moved_mm = abs(state.moved_turns + further_turns) * job.lead_mm
    return moved_mm <= _CONFIRMS * (job.high_mm - job.low_mm)


def _refusal_for_data(view: _View) -> Decision | None:
    certain = [(place, float(p)) for place, p in enumerate(view.faults.bad) if p > _BAD]
    close = [pair for pair in pairwise(certain) if pair[1][0] - pair[0][0] < _BAD_TOGETHER]
    if close or len(certain) >= _BAD_IN_ALL:
        return _refuse(
            view, "incomplete_cycle", confidence=max((a[1] * b[1] for a, b in close), default=certain[-1][1])
        )
    unreadable: dict[int, float] = {}
    for slot, p in zip(view.state.reading_slots, view.faults.misread, strict=True):
        if in_job_unit(view.state.pulls[slot[0]].readings_mm, view.job)[1].any():
            continue
        unreadable[slot[0]] = min(unreadable.get(slot[0], 1.0), float(p))
    lost = [p for p in unreadable.values() if p > 0.8]
    if len(lost) >= 3 and len(lost) > 0.4 * len(unreadable):
        return _refuse(view, "inconsistent_data", confidence=min(lost))
    return None


def _refusal_for_tool(view: _View) -> Decision | None:
    found = view.faults
    chances: list[tuple[float, Reason]] = [
        (found.unreachable_max, "unreachable_max"),
        (found.unreachable_min, "unreachable_min"),
        (found.stalled, "stalled"),
    ]
    if view.state.turns_since_pull == 0 and any(_accepted(view.state, view.job)):
        inside = click_chances(view.state, view.job)
        if inside is not None and 1.0 - inside >= _SURE:
            return _refuse(view, "detent_limited", confidence=1.0 - inside)
        if sum(chance for chance, _ in chances) >= _SURE_OF_TOOL:
            chance, reason = max(chances)
            return _refuse(view, reason, confidence=chance)
    return None


def _refuse(view: _View, reason: Reason, *, confidence: float) -> Decision:
    return _reply(view, "refuse", cause=reason, reason=reason, confidence=min(max(confidence, 0.0), 1.0))


def _turn(view: _View) -> Decision | None:
    state, job = view.state, view.job
    pending = state.knob.last_direction < 0 and not state.knob.settled(job)
    if state.knob.turned >= MAX_TURNS or (state.turns_since_pull >= _TURNS_BETWEEN_PULLS and not pending):
        return None
    move = best_move(state, job)
    if state.inserts_used >= job.max_pulls and (move is None or move.outlook.p_inside < job.confidence):
        return None
    if _sharpens(view) and not (move is not None and move.outlook.p_inside >= job.confidence):
        return _reply(view, "remeasure", cause="confirm")
    if view.faults.unmoved >= _UNMOVED:
        return _proof(view)
    return (_apart(view) if _untried(view) else None) or _towards_aim(view, move, pending=pending)


def _towards_aim(view: _View, move: Move | None, *, pending: bool) -> Decision | None:
    """The best move if it is worth turning; what is begun is finished; before the first pull the play is taken up."""
    state, job = view.state, view.job
    if move is not None and (_worth_turning(view, move) or (pending and len(move.steps) == 1)):
        return _order(view, move)
    if pending:
        return _safe(view, settling_move(state, job), cause="more")
    if not state.knob.settled(job) and state.knob.turned < 2 and not state.inserts_used and job.max_backlash_turns > 0:
        move = take_up_move(state, job)
        if move is not None:
            return _order(view, move, cause="take_up")
    return None


def _proof(view: _View) -> Decision | None:
    """Where the knob may have lost its effect: a plain further move, so that the next pull decides. It costs no more
    inserts than pulling again where the knob is, because the way of the knob is known. Where the sets are well inside, held
    or not, the next pull tells as much after the ordinary move."""
    state, job = view.state, view.job
    if state.knob.last_direction < 0 and not state.knob.settled(job):
        return _safe(view, settling_move(state, job), cause="proof")
    if state.turns_since_pull:
        return None
    if job.aim_mm - _SHORT_SIDE * (job.high_mm - job.low_mm) < view.belief.mean_mm < job.high_mm:
        return _towards_aim(view, best_move(state, job), pending=False)
    more = view.belief.mean_mm > job.high_mm
    return _safe(view, further_move(state, job, more=more), cause="proof")


def _safe(view: _View, move: Move, *, cause: str) -> Decision | None:
    return _order(view, move, cause=cause) if move.outlook.ceiling_risk <= CEILING_RISK else None


def _untried(view: _View) -> bool:
    """Whether the first pulls were all made at one knob position near the aim, so that none of them tells whether the
    knob has effect there; and whether a pull a window's width apart would show it."""
    state, job = view.state, view.job
    window = job.high_mm - job.low_mm
    rest = job.caliper_sd_mm if job.length_before_available else job.insert_sd_mm
    shown = window >= _SHOWN * (job.process_sd_mm**2 + rest**2 + job.caliper_sd_mm**2) ** 0.5
    early = 1 <= sum(_accepted(state, job)) <= _EARLY_PULLS and view.where == "air"
    return (
        shown
        and early
        and job.step_turns_mm <= job.tolerance_mm
        and state.farthest_turns * job.lead_mm < _JUDGED * window
    )


def _apart(view: _View) -> Decision | None:
    """The next pull stands a window's width towards less stroke of the aim: it tells as much of the setting, and
    whether the knob has effect. ``None`` where the knob comes from farther away anyway, or stands there."""
    state, job = view.state, view.job
    window, off = job.high_mm - job.low_mm, view.belief.mean_mm - job.aim_mm
    if state.knob.last_direction < 0 and not state.knob.settled(job):
        move = settling_move(state, job)
        there = move.outlook.mean_mm - job.aim_mm
        return _safe(view, move, cause="apart") if 0.5 * window < there < 1.5 * window else None
    if abs(state.moved_turns) * job.lead_mm >= _JUDGED * window:
        return _pull(view) if 0.5 * window < off < 1.5 * window else None
    return _safe(view, apart_move(state, job), cause="apart") if -_SHORT_OF * window < off < _LONG_OF * window else None


def _pull(view: _View) -> Decision:
    cause = "more" if view.state.inserts_used else "first"
    if view.where == "stack" and view.belief.p_inside >= view.job.confidence:
        cause = "acts"
    return _warm(view) or _reply(view, "pull", cause=cause)


def _worth_turning(view: _View, move: Move) -> bool:
    here, there = view.belief.p_inside, move.outlook.p_inside
    goal = view.job.confidence
    if there >= goal > here and there - here > 0.002:
        return True
    gain = _LEAST_GAIN * len(move.steps)
    if view.state.inserts_used >= _SEVERAL and there - here > _PLAIN_GAIN:
        return True
    half = 0.5 * (view.job.high_mm - view.job.low_mm)
    off = abs(view.belief.mean_mm - view.job.aim_mm)
    if here >= 0.2 and off <= _NEAR * half:
        step_mm = (view.job.step_turns or 0.0) * view.job.lead_mm
        return step_mm > _COARSE * half and abs(move.outlook.mean_mm - view.job.aim_mm) < off - _CLOSER * half
    if here < 0.2:
        nearer = abs(view.belief.mean_mm - view.job.aim_mm) - abs(move.outlook.mean_mm - view.job.aim_mm)
        return nearer > max(0.5 * view.belief.sd_mm, 0.25 * view.job.tolerance_mm)
    return there - here > gain


def _order(view: _View, move: Move, *, cause: str = "") -> Decision:
    final = len(move.steps) == 1
    kind = cause or ("more" if move.first > 0 else "less") if final else "back_off"
    state, job = view.state, view.job
    done = move.outlook.p_inside >= job.confidence and _confirmed(state, job, further_turns=move.first)
    done = done and _shown_in_stack(state, job, further_turns=move.first)
    return _reply(view, "turn", cause=kind, steps=move.steps, dry_cycles=DRY_CYCLES if final and not done else 0)


def _used_up(view: _View) -> Decision | None:
    state, job = view.state, view.job
    if state.knob.turned >= MAX_TURNS:
        return _refuse(view, "gave_up", confidence=1.0 - view.belief.p_inside)
    if state.inserts_used < job.max_pulls:
        return None
    found = view.faults
    inside = click_chances(state, job)
    chances: list[tuple[float, Reason]] = [
        (found.unreachable_max, "unreachable_max"),
        (found.unreachable_min, "unreachable_min"),
        (found.stalled, "stalled"),
        (0.0 if inside is None else 1.0 - inside, "detent_limited"),
    ]
    chance, reason = max(chances)
    if chance > 0.5:
        return _refuse(view, reason, confidence=chance)
    return _refuse(view, "not_converged", confidence=1.0 - view.belief.p_inside)


def _warm(view: _View) -> Decision | None:
    if view.state.knob.cycles_since_air >= DRY_CYCLES:
        return None
    return _reply(view, "dry_cycle", cause="warm")

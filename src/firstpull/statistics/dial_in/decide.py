"""What to do next. The order of the questions below is the whole policy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from firstpull.statistics.dial_in.belief import Belief, Faults, belief_now, faults, next_reading, truth_row
from firstpull.statistics.dial_in.mixture import SHIFT
from firstpull.statistics.dial_in.moves import Move, best_move, click_chances, take_up_move
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
MAX_READINGS_ASKED = 4
_TURNS_BETWEEN_PULLS = 4
_SURE = 0.95
_SUSPECT = 0.5
_LEAST_GAIN = 0.02


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
        or _warm(view)
        or _reply(view, "pull", cause="first" if not state.inserts_used else "more")
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
    readings = tuple(slots[i] for i, p in enumerate(view.faults.misread) if p > _SUSPECT)
    pulls = tuple(i for i, p in enumerate(view.faults.bad) if p > _SUSPECT)
    return readings, pulls


def _accepted(state: State, job: Job) -> list[bool]:
    """Per pull: counted, with at least one reading that is held good and not a bad pull."""
    found = faults(state, job)
    good = [False] * len(state.pulls)
    for slot, p in zip(state.reading_slots, found.misread, strict=True):
        pull = state.pulls[slot[0]]
        good[slot[0]] |= p <= _SUSPECT and found.bad[slot[0]] <= _SUSPECT and not pull.struck_out
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
    if count >= MAX_READINGS_ASKED:
        return None
    if count == 1:
        if doubts[0] > _SUSPECT:
            return _reply(view, "remeasure", cause="unlikely")
        worth = doubts[0] > 0.004 or bad > 0.05 or view.job.caliper_sd_mm > 0.6 * view.job.process_sd_mm
        if worth and not (view.belief.p_inside >= view.job.confidence and doubts[0] <= 0.004):
            return _reply(view, "remeasure", cause="confirm")
        return None
    if min(doubts) > _SUSPECT or any(0.05 < p < 0.95 for p in doubts):
        return _reply(view, "remeasure", cause="disagree")
    return None


def _release(view: _View) -> Decision | None:
    state, job = view.state, view.job
    accepted = _accepted(state, job)
    if view.belief.p_inside < job.confidence or not any(accepted):
        return None
    if job.shift is not None and job.shift.sd_mm > job.tolerance_mm / 4.0:
        in_stack = any(good and pull.where == "stack" for good, pull in zip(accepted, state.pulls, strict=True))
        if not in_stack:
            return None
    return _reply(view, "release", cause="inside", confidence=view.belief.p_inside)


def _refusal_for_data(view: _View) -> Decision | None:
    bad = sorted((float(p) for p in view.faults.bad), reverse=True)
    if len(bad) >= 2 and bad[1] > 0.8:
        return _refuse(view, "incomplete_cycle", confidence=bad[0] * bad[1])
    unreadable: dict[int, float] = {}
    for slot, p in zip(view.state.reading_slots, view.faults.misread, strict=True):
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
    if any(_accepted(view.state, view.job)):
        inside = click_chances(view.state, view.job)
        if inside is not None and 1.0 - inside >= _SURE:
            return _refuse(view, "detent_limited", confidence=1.0 - inside)
        if sum(chance for chance, _ in chances) >= _SURE:
            chance, reason = max(chances)
            return _refuse(view, reason, confidence=chance)
    return None


def _refuse(view: _View, reason: Reason, *, confidence: float) -> Decision:
    return _reply(view, "refuse", cause=reason, reason=reason, confidence=min(max(confidence, 0.0), 1.0))


def _turn(view: _View) -> Decision | None:
    state, job = view.state, view.job
    if state.knob.turned >= MAX_TURNS or state.turns_since_pull >= _TURNS_BETWEEN_PULLS:
        return None
    move = best_move(state, job)
    if state.inserts_used >= job.max_pulls and (move is None or move.outlook.p_inside < job.confidence):
        return None
    pending = state.knob.last_direction < 0 and not state.knob.settled(job)
    if move is not None and (_worth_turning(view, move) or (pending and len(move.steps) == 1)):
        return _order(view, move)
    if not state.knob.settled(job) and state.knob.turned < 2 and not state.inserts_used and job.max_backlash_turns > 0:
        move = take_up_move(state, job)
        if move is not None:
            return _order(view, move, cause="take_up")
    return None


def _worth_turning(view: _View, move: Move) -> bool:
    here, there = view.belief.p_inside, move.outlook.p_inside
    goal = view.job.confidence
    if there >= goal > here and there - here > 0.002:
        return True
    gain = _LEAST_GAIN * len(move.steps)
    if here < 0.2:
        nearer = abs(view.belief.mean_mm - view.job.aim_mm) - abs(move.outlook.mean_mm - view.job.aim_mm)
        return nearer > max(0.5 * view.belief.sd_mm, 0.25 * view.job.tolerance_mm)
    return there - here > gain


def _order(view: _View, move: Move, *, cause: str = "") -> Decision:
    final = len(move.steps) == 1
    kind = cause or ("more" if move.first > 0 else "less") if final else "back_off"
    return _reply(view, "turn", cause=kind, steps=move.steps, dry_cycles=DRY_CYCLES if final else 0)


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
    if chance > 0.6:
        return _refuse(view, reason, confidence=chance)
    return _refuse(view, "not_converged", confidence=1.0 - view.belief.p_inside)


def _warm(view: _View) -> Decision | None:
    if view.state.knob.cycles_since_air >= DRY_CYCLES:
        return None
    return _reply(view, "dry_cycle", cause="warm")

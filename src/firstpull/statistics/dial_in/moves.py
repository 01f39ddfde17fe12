"""Where to turn the knob: the move that makes P(inside) largest, finished in the more-stroke direction.

A move towards less stroke is two turns: back past the aim by more than the play, then forward. Only the first is
ordered; the next request, seeing the knob short of the aim, orders the second. No move is considered that could
bring the mean below the stroke ceiling.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstpull.statistics.dial_in.belief import CEILING_RISK, Outlook, belief_now, beyond_limit_mm, middles_mm, outlook
from firstpull.statistics.dial_in.mixture import DEAD, FLOOR, RATIO
from firstpull.statistics.dial_in.replay import State
from firstpull.statistics.dial_in.request import Job

_FREE_KNOB_STEP_TURNS = 0.01
_FAR_WINDOWS, _FARTHEST_WINDOWS = 4.0, 8.0


@dataclass(frozen=True, slots=True)
class Move:
    """One or two knob steps (turns, + towards more stroke) and what they bring."""

    steps: tuple[float, ...]
    outlook: Outlook

    @property
    def first(self) -> float:
        """The step to order now, turns."""
        return self.steps[0]


def best_move(state: State, job: Job) -> Move | None:
    """The best safe move, or ``None`` where there is none but to stay."""
    moves = [Move(steps, outlook(state.mixture, steps, job=job)) for steps in _candidates(state, job)]
    safe = [move for move in moves if move.outlook.ceiling_risk <= CEILING_RISK]
    if not safe:
        return None
    return max(
        safe, key=lambda move: (round(move.outlook.p_inside, 4), -round(abs(move.outlook.mean_mm - job.aim_mm), 4))
    )


def take_up_move(state: State, job: Job) -> Move | None:
    """Before the first pull: take up the play, so that the next turns act in full. Costs no insert."""
    reach = take_up_turns(job)
    direct = Move((reach,), outlook(state.mixture, (reach,), job=job))
    around = Move((-reach, reach), outlook(state.mixture, (-reach, reach), job=job))
    if direct.outlook.ceiling_risk <= CEILING_RISK and direct.outlook.p_inside >= around.outlook.p_inside - 0.01:
        return direct
    return around if around.outlook.ceiling_risk <= CEILING_RISK else None


def further_move(state: State, job: Job, *, more: bool) -> Move:
    """A move that a knob with effect could not hide: half as far again as the sets are off, at least three times the
    play. Towards less stroke, where nothing can be crushed, also far enough to leave a limit that the knob may stand well
    beyond, at most eight windows."""
    reach = take_up_turns(job)
    step = job.step_turns or _FREE_KNOB_STEP_TURNS
    window = job.high_mm - job.low_mm
    wanted = 1.5 * abs(belief_now(state.mixture, job).mean_mm - job.aim_mm)
    if not more:
        beyond = beyond_limit_mm(state.mixture, FLOOR)
        wanted = max(wanted, min(max(beyond, _FAR_WINDOWS * window), _FARTHEST_WINDOWS * window))
    per_turn = job.lead_mm * mean_ratio(state)
    turns = math.ceil(min(max(wanted / per_turn, 3.0 * reach), 20.0) / step) * step
    steps = (round(turns, 9),) if more else (round(-turns - reach, 9), round(reach, 9))
    return Move(steps, outlook(state.mixture, steps, job=job))


def apart_move(state: State, job: Job) -> Move:
    """To where the sets are a window's width longer than the middle of the window: a pull there tells as much of the
    setting, and shows whether the knob has effect. Finished towards more stroke."""
    step = job.step_turns or _FREE_KNOB_STEP_TURNS
    wanted = job.aim_mm + (job.high_mm - job.low_mm)
    off = belief_now(state.mixture, job).mean_mm - wanted
    net = round(off / (job.lead_mm * mean_ratio(state)) / step) * step
    steps = (
        _settled_steps(net, job)
        if net < take_up_turns(job) - 1e-9 and not (state.knob.settled(job) and net > 0)
        else (net,)
    )
    steps = tuple(round(turns, 9) for turns in steps)
    return Move(steps, outlook(state.mixture, steps, job=job))


def settling_move(state: State, job: Job) -> Move:
    """The second half of a move towards less stroke: forward until the play is taken up, and no further."""
    steps = (round(take_up_turns(job), 9),)
    return Move(steps, outlook(state.mixture, steps, job=job))


def take_up_turns(job: Job) -> float:
    """Least forward step that takes up all play the tool may have, turns, on the knob's own steps."""
    step = job.step_turns or _FREE_KNOB_STEP_TURNS
    return max(1, math.ceil(job.max_backlash_turns / step - 1e-9)) * step


def mean_ratio(state: State) -> float:
    """Expected lead ratio, knobs without effect left out."""
    mixture = state.mixture
    weight = mixture.weights() * (mixture.kind != DEAD)
    total = float(weight.sum())
    ratio = float(weight @ mixture.mean[:, RATIO]) / total if total > 1e-9 else 1.0
    return min(max(ratio, 0.2), 5.0)


def click_chances(state: State, job: Job) -> float | None:
    """P(some click position is inside), where one click moves the mean by more than the window; else ``None``."""
    if job.step_turns is None:
        return None
    click_mm = job.step_turns * job.lead_mm * mean_ratio(state)
    if click_mm < 1.02 * (job.high_mm - job.low_mm):
        return None
    here = belief_now(state.mixture, job)
    nearest = round((here.mean_mm - job.aim_mm) / click_mm)
    reach = 2 + math.ceil(3.0 * here.sd_mm / click_mm)
    if reach > 12:
        return None
    clicks = range(nearest - reach, nearest + reach + 1)
    return min(
        sum(outlook(state.mixture, _settled_steps(n * job.step_turns, job), job=job).p_inside for n in clicks), 1.0
    )


def _settled_steps(turns: float, job: Job) -> tuple[float, ...]:
    reach = take_up_turns(job)
    return (turns,) if turns >= reach else (turns - reach, reach)


def _expected_play(state: State) -> float:
    """Turns that a forward move is expected to lose in the play, or a back-and-forward pair: b/2 + u."""
    mixture = state.mixture
    return float(mixture.weights() @ (0.5 * mixture.backlash_turns + mixture.slack_turns))


def _candidates(state: State, job: Job) -> list[tuple[float, ...]]:
    step = job.step_turns or _FREE_KNOB_STEP_TURNS
    slack_steps = 2 if job.step_turns is not None else 5
    reach = take_up_turns(job)
    found: list[tuple[float, ...]] = []
    for turns in _aims(state, job, step=step):
        without_play = job.max_backlash_turns == 0.0 and turns != 0.0
        if without_play or (state.knob.settled(job) and turns > 0.0) or turns >= reach - 1e-9:
            found.append((turns,))
        elif turns != 0.0 or not state.knob.settled(job):
            forward = reach + slack_steps * step
            found.append((round(turns - forward, 9), round(forward, 9)))
    return found


def _aims(state: State, job: Job, *, step: float) -> list[float]:
    """Net turns worth trying: around each middle of the belief, and shares of the way where there is a ceiling."""
    per_turn = job.lead_mm * mean_ratio(state)
    aims: list[float] = []
    for middle in middles_mm(state.mixture, job):
        ideal = min(max((middle - job.aim_mm) / per_turn + _expected_play(state), -300.0), 300.0)
        centre = round(ideal / step)
        aims += [n * step for n in (range(centre - 2, centre + 3) if job.step_turns is not None else [centre])]
        if job.ceiling_mm is not None and ideal > 0:
            aims += [math.floor(ideal * share / 10.0 / step) * step for share in range(1, 10)]
    return list(dict.fromkeys(round(aim, 9) for aim in aims))

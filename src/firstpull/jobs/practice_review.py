"""A practice job looked back on, pull by pull: what the reading said, what the tool really did, what a better move was,
and what was done.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from firstpull.practice import Nominals, PracticePull, SimulatedTool
from firstpull.record.job import Coupon, JobState, Move, Pull
from firstpull.units import LengthUnit, show_mm

ON_TARGET_MM = 0.005
"""How near the true mean must be to the target to be called on it."""


@dataclass(frozen=True, slots=True)
class PullReview:
    """One pull in words, lengths in the reader's unit. ``right`` says whether what was done is what was best; None where more was read
    before the knob was touched, which is never wrong."""

    number: str
    said: str
    did: str
    better: str
    done: str
    right: bool | None


def best_turn(tool: SimulatedTool) -> tuple[float, float, int | None]:
    """From where ``tool`` stands: how far its true mean in the stack is too long (mm, negative when too short), the
    turns that would bring it to the target, and those as whole clicks (None on a knob without clicks)."""
    truth = tool.truth()
    left_mm = truth.mean_stack_length_mm - truth.target_length_mm
    turns = abs(left_mm) / truth.lead_mm if truth.lead_mm else 0.0
    per_turn = tool.clicks_per_turn
    return left_mm, turns, round(turns * per_turn) if per_turn else None


def action_of(item: Pull | Move | Coupon, coupon_thickness_mm: float) -> dict[str, Any]:
    """What the record says was done, as the simulated tool takes it."""
    if isinstance(item, Move):
        return {"type": "turn", "turns": item.turns} if item.kind == "turn" else {"type": item.kind}
    if isinstance(item, Coupon):
        thickness = item.thickness.mm if item.thickness is not None else coupon_thickness_mm
        return {"type": "coupon", "thickness_mm": thickness}
    return {"type": "pull", "where": item.where}


def pull_by_pull(state: JobState, *, coupon_thickness_mm: float, unit: LengthUnit = "mm") -> tuple[PullReview, ...]:
    """Every pull of the practice job ``state`` as it really was; an empty tuple for a job that is real."""
    if state.practice is None:
        return ()
    data = state.practice
    tool = SimulatedTool(
        int(data["seed"]), str(data["temperament"]), nominals=Nominals.from_dict(dict(data["nominals"]))
    )
    items: list[Pull | Move | Coupon] = [*state.pulls, *state.moves, *state.coupons]
    ordered = sorted(items, key=lambda item: item.sequence)
    found: list[PullReview] = []
    for place, item in enumerate(ordered):
        tool.apply(action_of(item, coupon_thickness_mm))
        if isinstance(item, Move):
            continue
        turns, last = (
            _turned_before_next(ordered[place + 1 :]),
            not any(not isinstance(later, Move) for later in ordered[place + 1 :]),
        )
        found.append(_reviewed(tool, item, unit=unit, turns=turns, last=last))
    return tuple(found)


def _turned_before_next(later: list[Pull | Move | Coupon]) -> float:
    turns = 0.0
    for item in later:
        if not isinstance(item, Move):
            break
        turns += item.turns if item.kind == "turn" else 0.0
    return turns


def _reviewed(tool: SimulatedTool, item: Pull | Coupon, *, unit: LengthUnit, turns: float, last: bool) -> PullReview:
    pulled, truth = tool.pulls[-1], tool.truth()
    left_mm, best, clicks = best_turn(tool)
    more = left_mm > 0
    step = 1 / tool.clicks_per_turn if tool.clicks_per_turn else 0.02
    wanted = (best if clicks is None else clicks * step) * (1 if more else -1)
    if tool.nominals.plus_turns == "less stroke":
        wanted = -wanted
    right: bool | None = abs(turns - wanted) <= 1.01 * step if turns else None
    if not truth.reachable or truth.stalls_in_stack:
        better = "stop: it can not get there" if not truth.reachable else "stop: too little air"
        right = turns == 0
    elif abs(left_mm) < ON_TARGET_MM or clicks == 0 or (clicks is None and best < 0.01):
        better, right = "leave the knob", turns == 0
    else:
        better = f"{_amount(wanted, clicks)} {'more' if more else 'less'} stroke"
    reading = item.set_length if isinstance(item, Coupon) else item.reading
    said = "" if reading is None else show_mm(reading.mm, unit)
    return PullReview(str(pulled.index + 1), said, _really(pulled, unit), better, _done(tool, turns, last=last), right)


def _amount(turns: float, clicks: int | None) -> str:
    if clicks is None:
        return f"{abs(turns):.2f} turns"
    return f"{clicks} click{'s' if clicks != 1 else ''}"


def _done(tool: SimulatedTool, turns: float, *, last: bool) -> str:
    if not turns:
        return "" if last else "left it"
    per_turn = tool.clicks_per_turn
    more = (turns > 0) == (tool.nominals.plus_turns == "more stroke")
    return f"{_amount(turns, round(abs(turns) * per_turn) if per_turn else None)} {'more' if more else 'less'}"


def _really(pulled: PracticePull, unit: LengthUnit) -> str:
    words = [show_mm(pulled.true_length_mm, unit, decimals=3 if unit == "mm" else 5)]
    words += ["misread"] if pulled.misread[0] else []
    words += ["let go early"] if pulled.spun_off_early else []
    words += ["stalled"] if pulled.stalled else []
    words += ["cold"] if pulled.cold > 0.5 else []
    return ", ".join(words)

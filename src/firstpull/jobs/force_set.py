"""Force-set tools: a pressure ladder upward on coupons, judged by blind head and turning test, never by air pulls."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs.shapes import tool_of
from firstpull.jobs.workshop import Book, Doing
from firstpull.mechanics.tool import Tool
from firstpull.record.job import Coupon, JobState

# checks that fail when there was too much pull; the others fail when there was too little
SAME_BAR = 0.03  # a rung is typed as the gauge shows it; nearer than this it is the same rung
OVER = frozenset({"thread_gauge", "blind_head", "flush"})


@dataclass(frozen=True, slots=True)
class Step:
    """What the ladder asks for now. ``do``: "set" this pressure (bar), judge a "coupon" at it, "hold" it, or "stuck".

    ``rung`` counts from 1 and is 0 for a pressure that is not a rung of the ladder (the middle of what passed).
    """

    do: Literal["set", "coupon", "hold", "stuck"]
    pressure_bar: float
    rung: int
    rungs: int
    load_n: float | None
    why: str


def next_step(state: JobState) -> Step:
    """What to do now: climb rung by rung until a coupon shows too much or the ladder ends, then prove the middle.

    Raises Unsafe for a setting without a ladder, BadInput for another kind of tool.
    """
    _force_tool(state)
    rungs = ladder_rungs(state)
    if state.pressure_bar is None:
        return _set(rungs, rungs[0][0], "Start low, upward only.")
    here = _coupons_here(state)
    if not here:
        return _step("coupon", rungs, state.pressure_bar, "")
    low, high = passing_range(state)
    above = [pressure for pressure, _load in rungs if pressure > state.pressure_bar + SAME_BAR]
    over = _failed_over(state)
    climbing = bool(above) and not over and not _come_down(state)
    if climbing:
        why = "It passed: find where it ends." if here[-1].passed else "Too little pull yet: the next rung."
        return _set(rungs, above[0], why)
    if low is None or high is None:
        return _step("stuck", rungs, state.pressure_bar, "No rung of the ladder gave a good coupon.")
    middle = min(max(round((low + high) / 2, 2), low), high)
    if (
        all(coupon.passed for coupon in here)
        and low <= state.pressure_bar <= high
        and (_come_down(state) or low == high)
    ):
        return _step("hold", rungs, state.pressure_bar, "It passed in the middle of the band.")
    return _set(rungs, middle, "The middle of the pressures that passed.")


def set_pressure(book: Book, job_id: str, pressure_bar: float, *, doing: Doing) -> JobState:
    """The pressure at the tool's inlet while it cycles (bar), as set for the next coupon. Only upward while looking;
    down again into the band that has passed, or after a coupon showed too much force.

    Raises Unsafe above the tool's rated pressure and when going down where nothing has passed.
    """
    state = book.job(job_id)
    tool = _force_tool(state)
    if not 0 < pressure_bar < 1000:
        raise BadInput("A pressure is more than 0 bar.", where="pressure", hint="For example 4.8 bar.")
    if tool.rated_pressure_bar is not None and pressure_bar > tool.rated_pressure_bar:
        raise Unsafe(
            f"{pressure_bar:.2f} bar is above the tool's rated {tool.rated_pressure_bar:.2f} bar.",
            where="pressure",
            hint="Stay within the rating.",
        )
    down = state.pressure_bar is not None and pressure_bar < state.pressure_bar
    if down and not _failed_over(state) and not _has_passed(state, pressure_bar):
        raise Unsafe(
            f"The ladder goes upward only; it stands at {state.pressure_bar:.2f} bar.",
            where="pressure",
            hint="Go down only after a coupon showed too much force, or to a pressure that has passed.",
        )
    book.write(f"job:{job_id}", [("PressureSet", {"pressure_bar": pressure_bar})], doing, tool=state.tool_id)
    return book.job(job_id)


def hold_pressure(book: Book, job_id: str, *, doing: Doing) -> JobState:
    """Take the pressure as it stands: its coupons must all have passed at this pressure. Raises Unsafe."""
    state = book.job(job_id)
    _force_tool(state)
    here = _coupons_here(state)
    if state.pressure_bar is None or not here or not all(coupon.passed for coupon in here):
        raise Unsafe(
            "No coupon has passed at this pressure.",
            where=job_id,
            hint="Set a coupon, judge its blind head and turn it.",
        )
    low, high = passing_range(state)
    data: dict[str, Any] = {
        "pressure_bar": state.pressure_bar,
        "pressure_bar_min": low,
        "pressure_bar_max": high,
        "coupons": len(ladder_coupons(state)),
    }
    seen = state.sequence if doing.seen is None else doing.seen
    book.write(f"job:{job_id}", [("SettingHeld", data)], Doing(doing.by, seen, doing.slip), tool=state.tool_id)
    return book.job(job_id)


def ladder_rungs(state: JobState) -> tuple[tuple[float, float], ...]:
    """The rungs of this setting, lowest first: pressure in bar and pull in N. Raises Unsafe without a ladder."""
    ladder = (state.setting or {}).get("pressure")
    if not ladder:
        raise Unsafe(
            "There is no pressure ladder.",
            where=state.id,
            hint="Give the insert’s setting load and the tool’s piston, ratio and efficiency; then compute again.",
            reasons=tuple((state.setting or {}).get("blockers") or ()),
        )
    return tuple((float(rung["pressure_bar"]), float(rung["load_n"])) for rung in ladder["rungs"])


def passing_range(state: JobState) -> tuple[float | None, float | None]:
    """Lowest and highest pressure (bar) of the band that passed: upward from the first that passed to the last before
    one that failed."""
    results: dict[float, bool] = {}
    for coupon in ladder_coupons(state):
        if coupon.pressure_bar is not None:
            results[coupon.pressure_bar] = results.get(coupon.pressure_bar, True) and coupon.passed
    band: list[float] = []
    for pressure in sorted(results):
        if results[pressure]:
            band.append(pressure)
        elif band:
            break
    return (band[0], band[-1]) if band else (None, None)


def ladder_coupons(state: JobState) -> tuple[Coupon, ...]:
    """Coupons of this setting's ladder at every pressure tried, struck-out ones left out."""
    return tuple(
        coupon
        for coupon in state.coupons
        if coupon.pressure_bar is not None and not coupon.struck_out and coupon.sequence > state.setting_sequence
    )


def _coupons_here(state: JobState) -> tuple[Coupon, ...]:
    return tuple(c for c in state.coupons if c.counts and c.pressure_bar == state.pressure_bar)


def _failed_over(state: JobState) -> bool:
    last = ladder_coupons(state)[-1:]
    return bool(last) and bool(OVER & set(last[0].failed))


def _has_passed(state: JobState, pressure_bar: float) -> bool:
    low, high = passing_range(state)
    return low is not None and high is not None and low - 1e-9 <= pressure_bar <= high + 1e-9


def _come_down(state: JobState) -> bool:
    """Whether the search upward is over: a higher pressure was tried before the present one."""
    tried = [coupon.pressure_bar for coupon in ladder_coupons(state) if coupon.pressure_bar is not None]
    return state.pressure_bar is not None and any(pressure > state.pressure_bar + 1e-9 for pressure in tried)


def _set(rungs: tuple[tuple[float, float], ...], pressure_bar: float, why: str) -> Step:
    return _step("set", rungs, pressure_bar, why)


def _step(
    do: Literal["set", "coupon", "hold", "stuck"], rungs: tuple[tuple[float, float], ...], pressure: float, why: str
) -> Step:
    number = next((n for n, (rung, _load) in enumerate(rungs, 1) if abs(rung - pressure) < SAME_BAR), 0)
    slope = rungs[0][1] / rungs[0][0]
    return Step(do, pressure, number, len(rungs), pressure * slope, why)


def _force_tool(state: JobState) -> Tool:
    tool = tool_of(state)
    if tool is None or tool.control != "force":
        raise BadInput(
            "This is not a force-set tool.", where="tool", hint="A stroke-set tool is dialled in by its knob."
        )
    return tool

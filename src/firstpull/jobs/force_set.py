"""Force-set tools: a pressure ladder upward on coupons, judged by blind head and turning test, never by air pulls."""

from __future__ import annotations

from typing import Any

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs.shapes import tool_of
from firstpull.jobs.workshop import Book, Doing
from firstpull.record.job import Coupon, JobState


def set_pressure(book: Book, job_id: str, pressure_bar: float, *, doing: Doing) -> JobState:
    """The pressure at the tool's inlet while it cycles (bar), as set for the next coupon. Only upward while looking.

    Raises Unsafe above the tool's rated pressure and when going down again without a new start.
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
    if state.pressure_bar is not None and pressure_bar < state.pressure_bar and not _failed_over(state):
        raise Unsafe(
            f"The ladder goes upward only; it stands at {state.pressure_bar:.2f} bar.",
            where="pressure",
            hint="Go down only after a coupon showed too much force.",
        )
    book.write(f"job:{job_id}", [("PressureSet", {"pressure_bar": pressure_bar})], doing, tool=state.tool_id)
    return book.job(job_id)


def hold_pressure(book: Book, job_id: str, *, doing: Doing) -> JobState:
    """Take the pressure as it stands: its last coupon must have passed at this pressure. Raises Unsafe."""
    state = book.job(job_id)
    _force_tool(state)
    here = [coupon for coupon in state.coupons if coupon.counts and coupon.pressure_bar == state.pressure_bar]
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
        "coupons": len(state.coupons),
    }
    seen = state.sequence if doing.seen is None else doing.seen
    book.write(f"job:{job_id}", [("SettingHeld", data)], Doing(doing.by, seen, doing.slip), tool=state.tool_id)
    return book.job(job_id)


def passing_range(state: JobState) -> tuple[float | None, float | None]:
    """Lowest and highest pressure (bar) at which coupons passed."""
    passing = sorted(c.pressure_bar for c in ladder_coupons(state) if c.passed and c.pressure_bar is not None)
    return (passing[0], passing[-1]) if passing else (None, None)


def ladder_coupons(state: JobState) -> tuple[Coupon, ...]:
    """Coupons at a stated pressure, those at earlier pressures included."""
    return tuple(c for c in state.coupons if c.pressure_bar is not None and not c.struck_out)


def _failed_over(state: JobState) -> bool:
    last = ladder_coupons(state)[-1:]
    return bool(last) and bool({"thread_gauge", "blind_head", "flush"} & set(last[0].failed))


def _force_tool(state: JobState) -> Any:
    tool = tool_of(state)
    if tool is None or tool.control != "force":
        raise BadInput(
            "This is not a force-set tool.", where="tool", hint="A stroke-set tool is dialled in by its knob."
        )
    return tool

"""What to do, one act at a time, in words for the hands."""

from __future__ import annotations

from dataclasses import dataclass

from firstpull.mechanics.tool import KnobMove, Tool, take_up
from firstpull.units import LengthUnit, show_mm

_BAR_PER_PSI = 0.0689475729  # 1 lbf/in² by NIST SP 811, in bar


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do: ``key`` for the page, a ``title`` of a few words, and ``text`` as an instruction."""

    key: str
    title: str
    text: str


def air_off() -> Step:
    """Before any hand goes to mandrel, anvil or adjuster."""
    return Step(
        "air_off",
        "Air off",
        "Disconnect the air and bleed the tool until it no longer moves. Only then touch mandrel, anvil or knob.",
    )


def air_on(tool: Tool | None, unit: LengthUnit = "mm") -> Step:
    """Before the first pull."""
    at = (
        f" Check {_pressure(tool.line_pressure_bar, unit)} at the inlet while it cycles."
        if tool is not None and tool.line_pressure_bar is not None
        else ""
    )
    return Step(
        "air_on",
        "Air on, hands clear",
        f"Wear eye protection. Keep hands off the nose, point it at no one, and reconnect the air.{at} Run two cycles without an insert.",
    )


def _pressure(value_bar: float, unit: LengthUnit) -> str:
    """Bar for who works in mm, psi for who works in inches."""
    return f"{value_bar:g} bar" if unit == "mm" else f"{value_bar / _BAR_PER_PSI:.0f} psi"


def knob(tool: Tool | None, move: KnobMove | None) -> Step:
    """Where to put the knob: by a known move, else at little stroke."""
    if move is not None:
        return Step("knob", "Set the knob", move.text)
    if tool is None:
        return Step(
            "knob",
            "Start at little stroke",
            "Set the tool's adjuster to little stroke; approach more stroke from there, never the other way.",
        )
    to_more = tool.plus_direction
    if tool.plus_turns == "less stroke":
        to_more = "anticlockwise" if to_more == "clockwise" else "clockwise"
    turns, clicks = take_up(tool)
    amount = f"{abs(turns):.2f} turns" if clicks is None else f"{abs(clicks)} click{'' if abs(clicks) == 1 else 's'}"
    return Step(
        "knob",
        "Start at little stroke",
        f"Turn the knob to little stroke. Finish with {amount} {to_more} or more, seen from the knob's end: that takes up its play.",
    )


def trial(target_mm: float, unit: LengthUnit) -> Step:
    """The air pull that proves the tool."""
    return Step(
        "trial",
        "Pull one in the air",
        "Measure an insert's free length. Spin it on until its flange meets the anvil, pull fully, spin off, and measure the set length. "
        f"Aim in the air: {show_mm(target_mm, unit)} {unit}. Lubricate trial, coupon and run alike, or not at all.",
    )


def coupon(target_mm: float, unit: LengthUnit, *, both_ends: bool) -> Step:
    """The coupons that prove the joint."""
    ends = " Prove the thinnest and the thickest stack." if both_ends else ""
    return Step(
        "coupon",
        "Prove on coupons",
        f"Set coupons in scrap of exactly this stack. Aim in the stack: {show_mm(target_mm, unit)} {unit}. Check flush, no gap, no tilt, no turning, thread gauge, blind head.{ends}",
    )


def lock() -> Step:
    """The confirming pull after locking."""
    return Step(
        "lock", "Lock and confirm", "Air off, lock the adjuster, air on, and pull once more: locking can move it."
    )


def no_ladder() -> Step:
    """A force-set tool whose limits are not known."""
    return Step(
        "pressure",
        "Find the limits first",
        "Do not pull yet: give the setting load, the insert's material and thread length, and the tool's piston area, ratio and efficiency. Never find the pressure by pulling in the air.",
    )

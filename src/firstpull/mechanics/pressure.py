"""Force-set tools: the pressure ladder, upward, on coupons; never by air pulls."""

from __future__ import annotations

from dataclasses import dataclass

from firstpull.errors import BadInput, Unsafe
from firstpull.mechanics import fields as field_readers
from firstpull.mechanics.steps import Step
from firstpull.mechanics.tool import Tool, check_tool, load_per_bar_n

JUDGED_BY: tuple[str, ...] = (
    "blind head formed, even and uncracked, tight on the sheet",
    "turning test: it does not turn at the wanted torque",
    "thread gauge goes all the way",
)


@dataclass(frozen=True, slots=True)
class Rung:
    """One pressure to try, in bar, and the pull it should give, in N."""

    pressure_bar: float
    load_n: float


@dataclass(frozen=True, slots=True)
class PressureLadder:
    """The pressures to try, lowest first. Pressures in bar, loads in N."""

    rungs: tuple[Rung, ...]
    lower_pressure_bar: float
    upper_pressure_bar: float
    lower_load_n: float
    upper_load_n: float
    judged_by: tuple[str, ...]
    steps: tuple[Step, ...]
    warnings: tuple[str, ...]


def pressure_ladder(tool: Tool, *, load_low_n: float, load_high_n: float, rungs: int = 6) -> PressureLadder:
    """Even pressure steps from the load that must be reached to the load that must not be passed.

    F = p · A_piston · ratio · efficiency (N, MPa, mm²; by definition of pressure). ``load_low_n`` is the larger of collapse peak and seating
    load, ``load_high_n`` the least of thread, mandrel and sheet limits, both > 0; 2 ≤ ``rungs`` ≤ 50. The top is
    cut at the tool's rated pressure and greatest load. Raises BadInput when the tool's piston is not described, and
    Unsafe when no pressure serves. The load falls after the collapse peak, so the pull snaps through: in the air it
    runs on until something stops it, so the ladder is climbed on coupons only.
    """
    check_tool(tool)
    low = field_readers.positive(load_low_n, "load_low_n")
    high = field_readers.positive(load_high_n, "load_high_n")
    if not 2 <= field_readers.whole(rungs, "rungs") <= 50:
        raise BadInput(f"A ladder of {rungs} rungs is not usable.", where="rungs", hint="From 2 to 50.")
    slope = load_per_bar_n(tool)
    if tool.control != "force":
        raise BadInput("Only a force-set tool is set by pressure.", where="tool.control")
    if slope is None:
        raise BadInput(
            "The pull per pressure is not known.",
            where="tool.piston_area_mm2",
            hint="Give piston area, ratio and efficiency.",
        )
    if low >= high:
        raise Unsafe(
            "No pull serves: what must be reached is above what must not be passed.",
            where="tool",
            hint="Use a softer insert, a stronger mandrel class, or a stroke-set tool.",
            reasons=(
                f"Setting takes {low / 1000:.2f} kN and the threads, mandrel or sheet allow {high / 1000:.2f} kN.",
            ),
        )
    top, warnings = _top(tool, slope, low, high)
    bottom = low / slope
    climbed = tuple(
        Rung(round(pressure, 3), round(pressure * slope, 1))
        for pressure in (bottom + (top - bottom) * step / (rungs - 1) for step in range(rungs))
    )
    return PressureLadder(
        rungs=climbed,
        lower_pressure_bar=climbed[0].pressure_bar,
        upper_pressure_bar=climbed[-1].pressure_bar,
        lower_load_n=low,
        upper_load_n=round(top * slope, 1),
        judged_by=JUDGED_BY,
        steps=_steps(climbed),
        warnings=warnings,
    )


def _top(tool: Tool, slope: float, low: float, high: float) -> tuple[float, tuple[str, ...]]:
    """The highest pressure to try in bar, and what cut it."""
    ceilings = [(high / slope, "")]
    if tool.rated_pressure_bar is not None:
        ceilings.append((tool.rated_pressure_bar, f"the rated {tool.rated_pressure_bar:g} bar"))
    if tool.line_pressure_bar is not None:
        ceilings.append((tool.line_pressure_bar, f"the {tool.line_pressure_bar:g} bar at the inlet"))
    if tool.load_max_n is not None:
        ceilings.append((tool.load_max_n / slope, f"the tool's greatest load of {tool.load_max_n / 1000:.2f} kN"))
    top, cut_by = min(ceilings, key=lambda pair: pair[0])
    if top <= low / slope:
        raise Unsafe(
            "The tool cannot pull hard enough.",
            where="tool",
            hint="Use a stronger tool, or raise the inlet pressure within the tool's rating.",
            reasons=(f"Setting takes {low / 1000:.2f} kN, which is {low / slope:.2f} bar; {cut_by} ends below it.",),
        )
    warnings = [
        "Force control forgives thickness, not hardness, friction or pressure: prove again after a change of lot or lubrication."
    ]
    if tool.rated_pressure_bar is None:
        warnings.append(
            "The tool's rated pressure is not known: look at its plate before the first rung, and never pass it."
        )
    if cut_by:
        warnings.append(f"The ladder ends at {cut_by}, below what threads, mandrel and sheet allow.")
    return top, tuple(warnings)


def _steps(climbed: tuple[Rung, ...]) -> tuple[Step, ...]:
    pressures = ", ".join(f"{rung.pressure_bar:.2f}" for rung in climbed)
    return (
        Step(
            "pressure",
            "Start low",
            f"Set {climbed[0].pressure_bar:.2f} bar at the tool's inlet, measured while it cycles. Never find the pressure by pulling in the air.",
        ),
        Step(
            "ladder",
            "Climb on coupons",
            f"Set one insert a rung in scrap of exactly this stack, upward only: {pressures} bar. A new coupon and a new insert each time.",
        ),
        Step("judge", "Judge each coupon", f"Judge by the joint, not by length: {'; '.join(JUDGED_BY)}."),
        Step(
            "band",
            "Keep the band",
            "Note the first rung that passes and the last before a thread, crack or sheet is harmed. Work in the middle, and prove there.",
        ),
    )

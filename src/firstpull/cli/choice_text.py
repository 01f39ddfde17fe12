"""How a choice of inserts looks on a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from firstpull.cli.texts import grid, length, table
from firstpull.units import METRE_PER_INCH, NEWTON_PER_LBF, LengthUnit, show_mm

if TYPE_CHECKING:
    from firstpull.mechanics.check import Check
    from firstpull.mechanics.choose import Candidate, Choice
    from firstpull.mechanics.joint.checks import Strength
    from firstpull.mechanics.joint.hole import Hole
    from firstpull.mechanics.joint.tightening import Tightening


LISTED = 20


def choice_text(choice: Choice, *, show_all: bool, unit: LengthUnit, tables: int) -> str:
    """Candidates, the checks of the first ``tables`` of them, then why others do not suit."""
    from firstpull.jobs.told import told

    lines = [told(note, unit) for note in choice.notes]
    if choice.candidates:
        rows = [
            (
                str(c.rank),
                c.insert.name,
                c.insert.thread,
                c.insert.material,
                f"{c.insert.head}, {c.insert.end}",
                f"{c.tightest.name} {_share(c.margin)}",
            )
            for c in (choice.candidates if show_all else choice.candidates[:LISTED])
        ]
        lines.append(grid(("", "part", "thread", "material", "form", "tightest margin"), rows))
        if len(rows) < choice.fits:
            lines.append(f"… and {choice.fits - len(rows)} more that suit (--all)")
        for candidate in choice.candidates[: max(tables, 0)]:
            lines += ["", *_candidate(candidate, unit)]
    else:
        lines.append("No insert suits.")
    left = choice.rejected if show_all else choice.rejected[:5]
    if left:
        lines += ["", "Do not suit" + ("" if show_all else " (nearest first)")]
        lines += [told(f"  {item.insert.name}: {item.reason} {item.cure}".rstrip(), unit) for item in left]
    if len(left) < choice.missed:
        reasons = ", ".join(f"{reason} {count}" for reason, count in choice.misses)
        lines.append(f"  … and {choice.missed - len(left)} more (--all). First reasons: {reasons}.")
    return "\n".join(lines)


def _candidate(found: Candidate, unit: LengthUnit) -> list[str]:
    from firstpull.jobs.told import chance, told

    lines = [f"{found.insert.name}: {found.why}"]
    rows = [
        (
            check.name,
            _side(check.demand, check, unit),
            _side(check.capacity, check, unit),
            _share(check.margin),
            "" if check.probability is None else chance(check.probability),
            ("estimate; " if check.estimate else "") + check.source[:60],
        )
        for check in found.checks
    ]
    lines.append(grid(("check", "demand", "capacity", "worst margin", "chance it holds", "source"), rows))
    if found.strength is not None:
        lines += ["", table(_advice(found.strength, unit))]
        hole = found.strength.hole
        lines += [f"  - {told(note, unit)}" for note in (() if hole is None else hole.notes)]
    return lines


def _advice(found: Strength, unit: LengthUnit) -> list[tuple[str, str]]:
    hole = "not known: the catalogue gives no hole" if found.hole is None else _hole(found.hole, unit)
    return [("Hole", hole), ("Screw", found.screw.text), ("Torque", _torque(found.tightening, unit))]


def _hole(hole: Hole, unit: LengthUnit) -> str:
    across = " across flats" if hole.shape == "hexagon" else ""
    text = f"{show_mm(hole.least_mm, unit)} to {length(hole.most_mm, unit)}{across}"
    text += f"; pins: go {show_mm(hole.go_mm, unit)}, no-go {length(hole.no_go_mm, unit)}"
    fits = [f"{drill.name} ({_misfit(drill.misfit_mm, unit)})" for drill in hole.drills if drill.fits]
    if hole.drills:
        text += f"; drills: {', '.join(fits)}" if fits else "; no usual drill is inside: ream or punch"
    return text


def _misfit(misfit_mm: float, unit: LengthUnit) -> str:
    sign = "+" if misfit_mm >= 0 else "-"
    return f"{sign}{show_mm(abs(misfit_mm), unit, decimals=3 if unit == 'mm' else 4)} {unit}"


def _torque(found: Tightening, unit: LengthUnit) -> str:
    low = "up to " if found.low_nm is None else f"{_turning(found.low_nm, unit)} to "
    text = f"{_turning(found.torque_nm, unit)}, {found.condition}; window {low}{_turning(found.high_nm, unit)}"
    text += f", limited by {found.limited_by}; screw {found.screw_class}{' (assumed)' if found.class_assumed else ''}"
    return f"{text}, tension {_force(found.preload_low_n, unit)} to {_force(found.preload_high_n, unit)}"


def _side(value: float | str, check: Check, unit: LengthUnit) -> str:
    if isinstance(value, str):
        return value
    if check.unit == "mm":
        return length(value, unit)
    if check.unit == "N":
        return _force(value, unit)
    if check.unit == "N·m":
        return _turning(value, unit)
    return f"{value:.3g} {check.unit}"


def _force(value_n: float, unit: LengthUnit) -> str:
    return f"{value_n / float(NEWTON_PER_LBF):.0f} lbf" if unit == "in" else f"{value_n / 1000:.2f} kN"


def _turning(value_nm: float, unit: LengthUnit) -> str:
    if unit == "in":
        return f"{value_nm / float(NEWTON_PER_LBF * METRE_PER_INCH):.1f} lbf·in"
    return f"{value_nm:.3g} N·m"


def _share(margin: float | None) -> str:
    return "–" if margin is None else f"{100 * margin:.0f} %"

"""The hole for an insert: its limits, drills with their misfit, gauge pins, and what else the hole needs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from firstpull.units import NM_PER_MM, LengthUnit, show_mm

if TYPE_CHECKING:
    from firstpull.mechanics.insert import Insert
    from firstpull.mechanics.stack import Stack

ASSUMED_TOLERANCE_MM = 0.1


@dataclass(frozen=True, slots=True)
class DrillFit:
    """A drill near the hole: how much larger (+) than the least hole it is, mm, and whether it is inside the limits."""

    name: str
    diameter_mm: float
    misfit_mm: float
    fits: bool


@dataclass(frozen=True, slots=True)
class Hole:
    """The hole an insert wants, mm; across flats for a hexagon, which is punched and not drilled.

    A go pin of ``go_mm`` enters, a no-go pin of ``no_go_mm`` does not. ``countersink_mm`` is the diameter of the
    countersink at the surface. ``notes`` are acts in plain words.
    """

    shape: str
    least_mm: float
    most_mm: float
    go_mm: float
    no_go_mm: float
    drills: tuple[DrillFit, ...]
    countersink_mm: float | None
    notes: tuple[str, ...]
    source: str


def hole_for(
    insert: Insert, stack: Stack, *, turns: bool, calm_nm: float | None = None, unit: LengthUnit = "mm"
) -> Hole | None:
    """The hole for ``insert`` in ``stack``; ``None`` when its hole is not known.

    ``turns`` says that the torque-to-turn falls short, so that a notch or hexagon is wanted, or no more torque than
    ``calm_nm`` (N·m, ``None`` = none helps). The upper limit is the
    catalogue's; without one, 0.1 mm above the least (an assumption, said in the notes). Drills: the nearest held ones
    to the least hole, ISO 235 and ASME B94.11M sizes in mm. A drill cuts a little over its size (common practice), so
    take the smallest that fits.
    """
    if insert.hole_diameter is None:
        return None
    least = insert.hole_diameter.nanometres
    known = insert.hole_tolerance is not None
    plus = insert.hole_tolerance.nanometres if insert.hole_tolerance is not None else ASSUMED_TOLERANCE_MM * NM_PER_MM
    most = round(least + plus)
    hexagon = insert.body == "hexagonal"
    sunk = insert.head == "countersunk" and insert.flange_diameter is not None
    coat = _coat_mm(stack)
    notes = []
    if not known:
        notes.append("The catalogue gives no tolerance: +0.1 mm is assumed.")
    notes += _notes(insert, hexagon=hexagon, turns=turns, calm_nm=calm_nm)
    if coat > 0:
        notes.append(
            f"The coating makes a hole drilled before it {show_mm(2 * coat, unit)} {unit} smaller: gauge the hole after coating."
        )
    return Hole(
        shape="hexagon" if hexagon else "round",
        least_mm=least / NM_PER_MM,
        most_mm=most / NM_PER_MM,
        go_mm=least / NM_PER_MM,
        no_go_mm=most / NM_PER_MM,
        drills=() if hexagon else _drills(least, most),
        countersink_mm=insert.flange_diameter.mm if sunk and insert.flange_diameter is not None else None,
        notes=tuple(notes),
        source="catalogue" if known else "catalogue; tolerance assumed",
    )


def _notes(insert: Insert, *, hexagon: bool, turns: bool, calm_nm: float | None) -> list[str]:
    notes = ["Drill or punch square to the sheet, then deburr both sides: a burr leaves a gap under the flange."]
    if hexagon:
        notes.append("Punch the hexagon; corners as sharp as the punch makes them, free of cracks.")
    elif turns:
        # the last place is cut, not rounded: what is said holds
        less = "" if calm_nm is None else f"tighten with {math.floor(100 * calm_nm) / 100:.2f} N·m or less, "
        notes.append(
            f"The screw's torque may turn it: {less}notch the hole for a keyed body, or take a hexagonal body."
        )
    if insert.body == "knurled":
        notes.append("A knurl wants the hole at the small end of its tolerance.")
    if insert.head == "countersunk":
        notes.append("Countersink until the head is flush, not deeper; deburr the blind side too.")
    return notes


def _coat_mm(stack: Stack) -> float:
    """The thickest coating of one face, mm."""
    return max((layer.thickness.mm for layer in stack.layers if layer.coating), default=0.0)


@lru_cache(maxsize=512)
def _drills(least_nm: int, most_nm: int) -> tuple[DrillFit, ...]:
    from firstpull.trade.drills import nearest_drills

    least = least_nm / NM_PER_MM
    if least > 1000:
        return ()
    found = nearest_drills(least, count=4)
    return tuple(
        DrillFit(
            drill.name, drill.diameter.mm, drill.misfit_mm(least), least_nm <= drill.diameter.nanometres <= most_nm
        )
        for drill in found
    )

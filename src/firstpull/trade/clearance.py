"""Clearance holes for screws, by thread: fine, medium and coarse (ISO 273), close, normal and loose (ASME B18.2.8)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from firstpull.trade import tables
from firstpull.trade.drills import drill
from firstpull.trade.threads import Thread, thread
from firstpull.units import Length, parse_length


@dataclass(frozen=True, slots=True)
class ClearanceHole:
    """The least diameters of the three series for one thread diameter; fine is close, coarse is loose in inch practice."""

    thread: str
    fine: Length
    medium: Length
    coarse: Length
    source: str


def clearance_hole(text: str | Thread, *, where: str = "") -> ClearanceHole | None:
    """The clearance holes for a thread (“M6”, “1/4-20”), in mm or in as printed; ``None`` for a size without a row.

    The pitch does not count. Raises BadInput for a thread that is not held. Source: ISO 273; ASME B18.2.8.
    """
    found = thread(text, where=where) if isinstance(text, str) else text
    row = _rows().get((found.system, round(found.major_mm * 1e6)))
    return None if row is None else ClearanceHole(found.designation, *row)


@cache
def _rows() -> dict[tuple[str, int], tuple[Length, Length, Length, str]]:
    held = {}
    for row in tables.rows("clearance_holes"):
        major = parse_length(f"{row['major']} {row['unit']}").nanometres
        fine, medium, coarse = (_length(row[name], row["unit"]) for name in ("fine", "medium", "coarse"))
        held[row["system"], major] = (fine, medium, coarse, row["source"])
    return held


def _length(cell: str, unit: str) -> Length:
    """A number in the row's unit, or the name of a drill."""
    if cell.startswith("#") or cell.endswith(" in"):
        return Length(drill(cell).diameter.nanometres, cell)
    return parse_length(f"{cell} {unit}")

"""Between which temperatures materials and coatings are used, and the lengths that screws are sold in.

Each row names its source; most temperatures are from memory: a maker's figure comes first.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

from firstpull.trade import tables, texts
from firstpull.units import Length, parse_length

Kind = Literal["insert", "coating", "sheet"]


@dataclass(frozen=True, slots=True)
class ServiceRange:
    """The temperatures, °C, between which something is used for long."""

    name: str
    kind: str
    least_c: float
    most_c: float
    source: str


def service_range(name: str, kind: Kind) -> ServiceRange | None:
    """The service temperatures of an insert material, a coating or a sheet by name or alias, or None if not held."""
    return _ranges().get((kind, texts.key(name)))


@cache
def screw_lengths(system: Literal["metric", "unified"]) -> tuple[Length, ...]:
    """The usual nominal lengths under the head, shortest first (metric as ISO 4017 and ISO 4762; inch common practice, from memory)."""
    return tuple(parse_length(row["length"]) for row in tables.rows("screw_lengths") if row["system"] == system)


@cache
def _ranges() -> dict[tuple[str, str], ServiceRange]:
    held: dict[tuple[str, str], ServiceRange] = {}
    for row in tables.rows("service_temperatures"):
        one = ServiceRange(row["name"], row["kind"], float(row["least_c"]), float(row["most_c"]), row["source"])
        held.update({(row["kind"], texts.key(name)): one for name in tables.names(row)})
    return held

"""Galvanic order of metals by anodic index, and whether a pair may touch in a given surrounding.

The anodic index is the voltage between a metal and gold; the difference of two says how strongly the less noble one
is eaten. Usual limits: 0.15 V outdoors, wet or salt; 0.25 V in ordinary indoor air; 0.50 V where temperature and
humidity are controlled (read in public copies of the common table). MIL-STD-889 ranks metals in sea water and gives
no such limits: where it matters, look there. A small noble part in a large less noble sheet is the better way round.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from firstpull.errors import BadInput
from firstpull.trade import tables, texts

LIMITS_V: dict[str, float] = {"harsh": 0.15, "normal": 0.25, "controlled": 0.50}
SURROUNDINGS: tuple[str, ...] = tuple(LIMITS_V)


@dataclass(frozen=True, slots=True)
class GalvanicGroup:
    """Metals that stand together: the anodic index in V against gold (0 = most noble)."""

    name: str
    anodic_index_v: float
    source: str


@dataclass(frozen=True, slots=True)
class GalvanicPair:
    """Two metals that touch: their difference and the limit in V; ``anode`` is the one that is eaten, or empty."""

    difference_v: float
    limit_v: float
    ok: bool
    anode: str
    source: str


def galvanic_group(material: str) -> GalvanicGroup | None:
    """The group of a sheet, insert or plating material by name or alias, or None if it is not held or no metal."""
    return _groups().get(texts.key(material))


def galvanic_groups() -> tuple[GalvanicGroup, ...]:
    """Every group, most noble first."""
    return tuple(dict.fromkeys(_groups().values()))


def galvanic_pair(first: str, second: str, *, surroundings: str = "normal", where: str = "") -> GalvanicPair | None:
    """Whether two materials may touch: |difference of anodic index| ≤ the limit of the surroundings.

    ``surroundings`` is “harsh”, “normal” or “controlled”; differences and limits in V (a plain number, no unit in the
    argument). None when either material is not held. Source: the common anodic-index table; MIL-STD-889 ranks alike.
    Raises BadInput for any other word.
    """
    if surroundings not in LIMITS_V:
        raise BadInput(
            f"“{surroundings}” is not known here.",
            where=where,
            hint="Use " + " or ".join(f"“{word}”" for word in SURROUNDINGS) + ".",
        )
    one, other = galvanic_group(first), galvanic_group(second)
    if one is None or other is None:
        return None
    difference_v = round(abs(one.anodic_index_v - other.anodic_index_v), 6)
    limit_v = LIMITS_V[surroundings]
    anode = "" if difference_v == 0 else (first if one.anodic_index_v > other.anodic_index_v else second)
    source = one.source if one.source == other.source else f"{one.source}; {other.source}"
    return GalvanicPair(difference_v, limit_v, difference_v <= limit_v, anode, source)


@cache
def _groups() -> dict[str, GalvanicGroup]:
    held: dict[str, GalvanicGroup] = {}
    for row in tables.rows("galvanic"):
        one = GalvanicGroup(row["group"], float(row["anodic_index_v"]), row["source"])
        held.update(dict.fromkeys(map(texts.key, tables.names(row, name="group")), one))
    return held

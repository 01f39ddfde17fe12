"""Sheet and insert materials with their strengths, and coatings with their thickness.

Strengths are minimum or typical values from the source that each row names, in MPa; None where nothing is known.
The maker's or the user's tested values always come first.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

from firstpull.trade import tables, texts
from firstpull.trade.tables import optional_number

Kind = Literal["sheet", "insert"]
SOFT_FAMILIES = ("composite", "plastic", "wood")


@dataclass(frozen=True, slots=True)
class Material:
    """A material: strengths and modulus in MPa, density in kg/m³, each None where it is not known."""

    name: str
    kind: Kind
    family: str
    yield_mpa: float | None
    tensile_mpa: float | None
    shear_mpa: float | None
    e_mpa: float | None
    density_kg_m3: float | None
    source: str

    @property
    def soft(self) -> bool:
        """Whether the setting force may crush or split it: composites, plastics, wood."""
        return self.family in SOFT_FAMILIES


@dataclass(frozen=True, slots=True)
class Coating:
    """A coating: thickness per coated face in mm, and the share of it that grows outward (anodising about half).

    ``barrier`` says that it does not conduct and is thick enough to part two metals: paint, powder, anodic film.
    """

    name: str
    thickness_min_mm: float
    thickness_max_mm: float
    outward_share: float
    barrier: bool
    source: str


def sheet_material(name: str) -> Material | None:
    """The sheet material of that name or alias (case, blanks and punctuation do not count), or None if not held.

    A stack may hold a material we do not know; then its strengths are unknown, not guessed.
    """
    return _materials("sheet").get(texts.key(name))


def insert_material(name: str) -> Material | None:
    """The insert material of that name or alias, or None if not held."""
    return _materials("insert").get(texts.key(name))


def coating(name: str) -> Coating | None:
    """The coating of that name or alias, or None if not held."""
    return _coatings().get(texts.key(name))


def sheet_material_names() -> tuple[str, ...]:
    """The main names of the sheet materials held, in table order."""
    return _names(tuple(_materials("sheet").values()))


def insert_material_names() -> tuple[str, ...]:
    """The main names of the insert materials held, in table order."""
    return _names(tuple(_materials("insert").values()))


def coating_names() -> tuple[str, ...]:
    """The main names of the coatings held, in table order."""
    return _names(tuple(_coatings().values()))


def _names(held: tuple[Material, ...] | tuple[Coating, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one.name for one in held))


@cache
def _materials(kind: Kind) -> dict[str, Material]:
    held: dict[str, Material] = {}
    for row in tables.rows("materials"):
        if row["kind"] == kind:
            one = Material(
                row["name"],
                kind,
                row["family"],
                optional_number(row["yield_mpa"]),
                optional_number(row["tensile_mpa"]),
                optional_number(row["shear_mpa"]),
                optional_number(row["e_mpa"]),
                optional_number(row["density_kg_m3"]),
                row["source"],
            )
            held.update(dict.fromkeys(map(texts.key, tables.names(row)), one))
    return held


@cache
def _coatings() -> dict[str, Coating]:
    held: dict[str, Coating] = {}
    for row in tables.rows("coatings"):
        thin, thick = float(row["thickness_min_um"]) / 1000, float(row["thickness_max_um"]) / 1000
        barrier = row["barrier"] == "yes"
        one = Coating(row["name"], thin, thick, float(row["outward_share"]), barrier, row["source"])
        held.update(dict.fromkeys(map(texts.key, tables.names(row)), one))
    return held

"""Screw property classes, nut factors, and the torque and tension that go with them.

Torque T = K d F, d the basic major diameter, F the tension; K is a handbook value with a wide scatter, so every
tension that comes from a torque is a range.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from firstpull.errors import BadInput
from firstpull.trade import tables, texts
from firstpull.trade.threads import Thread

USUAL_SHARE_OF_PROOF = 0.75


@dataclass(frozen=True, slots=True)
class PropertyClass:
    """A screw's strength class: proof and tensile stress in MPa.

    ``shear_share`` is the shear strength of its thread as a share of the tensile strength (EN 1993-1-8 table 3.4:
    0.6 for 4.6, 5.6 and 8.8, 0.5 for 4.8, 5.8, 6.8 and 10.9; the others as their nearest, 0.5 where in doubt).
    """

    name: str
    system: str
    proof_mpa: float
    tensile_mpa: float
    shear_share: float
    source: str


@dataclass(frozen=True, slots=True)
class NutFactor:
    """K of T = K d F for one state of the threads, and the relative scatter of the tension (0.30 = ±30 %)."""

    condition: str
    factor: float
    scatter: float
    source: str


@dataclass(frozen=True, slots=True)
class Preload:
    """The tension that a torque gives: expected, and the range that the nut factor's scatter makes of it, in N."""

    torque_nm: float
    expected_n: float
    low_n: float
    high_n: float
    condition: str
    source: str


def property_class(name: str, *, where: str = "") -> PropertyClass:
    """The class of that name: “8.8”, “A2-70”, “grade 5”, …, its strengths in MPa. Raises BadInput with those held.

    Source: ISO 898-1, ISO 3506-1, SAE J429; its row says which, and what is from memory.
    """
    shown = texts.typed(name, noun="a screw class", example="8.8", where=where)
    one = _classes().get(_fold(shown))
    if one is None:
        raise BadInput(
            f"“{shown}” is not a screw class that is held.",
            where=where,
            hint=f"Held: {', '.join(property_class_names())}.",
        )
    return one


def property_class_names() -> tuple[str, ...]:
    """The names of the classes held: ISO 898-1, ISO 3506-1, SAE J429."""
    return tuple(dict.fromkeys(one.name for one in _classes().values()))


def nut_factor(condition: str = "dry", *, where: str = "") -> NutFactor:
    """The nut factor K (no unit) and its scatter for a state of the threads: “dry”, “lubricated”, “zinc plated”, ….

    Raises BadInput with those held.

    Source: its row of the table [common practice].
    """
    shown = texts.typed(condition, noun="the state of the threads", example="dry", where=where)
    one = _factors().get(_fold(shown))
    if one is None:
        raise BadInput(
            f"“{shown}” is not a state of the threads that is held.",
            where=where,
            hint=f"Held: {', '.join(nut_factor_names())}.",
        )
    return one


def nut_factor_names() -> tuple[str, ...]:
    """The states of the threads that are held."""
    return tuple(dict.fromkeys(one.condition for one in _factors().values()))


def preload_n(thread: Thread, screw: PropertyClass, *, share_of_proof: float = USUAL_SHARE_OF_PROOF) -> float:
    """The tension in N at ``share_of_proof`` (over 0 to 1) of the proof stress on the tensile stress area.

    F = share · Sp · As (ISO 898-1 clause 9, SAE J429; three quarters of proof is common practice). Raises BadInput.
    """
    if not 0 < share_of_proof <= 1:
        raise BadInput(
            f"{share_of_proof} of the proof stress cannot be used.",
            hint="It must be over 0 and at most 1; 0.75 is usual.",
        )
    return round(share_of_proof * screw.proof_mpa * thread.stress_area_mm2, 6)


def tightening_torque_nm(thread: Thread, tension_n: float, *, condition: str = "dry") -> float:
    """The torque in N·m for a tension in N (0 to 10 MN): T = K d F, K of ``condition``, d the basic major diameter.

    Raises BadInput. Source: the short-form torque equation with a nut factor [common practice]; K per row of the table.
    """
    _check(tension_n, "A tension", "N")
    return round(nut_factor(condition).factor * thread.major_mm / 1000 * tension_n, 6)


def preload_from_torque(thread: Thread, torque_nm: float, *, condition: str = "dry") -> Preload:
    """The tension that ``torque_nm`` (N·m, 0 to 10 MN·m) gives, with its range: F = T / (K d), ± the scatter of K.

    The largest screw tension that an insert must bear is ``high_n``. Raises BadInput. Source: as
    :func:`tightening_torque_nm`, solved for F [common practice].
    """
    _check(torque_nm, "A torque", "N·m")
    factor = nut_factor(condition)
    expected_n = torque_nm / (factor.factor * thread.major_mm / 1000)
    low_n, high_n = expected_n * (1 - factor.scatter), expected_n * (1 + factor.scatter)
    return Preload(torque_nm, round(expected_n, 6), round(low_n, 6), round(high_n, 6), factor.condition, factor.source)


def _fold(name: str) -> str:
    """Case and blanks do not count; the point of “8.8” does."""
    return "".join(name.casefold().replace(",", ".").split())


def _check(value: float, noun: str, unit: str) -> None:
    if not 0 <= value <= 1e7:
        raise BadInput(f"{noun} of {value} {unit} cannot be used.", hint=f"It must be from 0 to 10 000 000 {unit}.")


@cache
def _classes() -> dict[str, PropertyClass]:
    held: dict[str, PropertyClass] = {}
    for row in tables.rows("screw_classes"):
        one = PropertyClass(
            row["name"],
            row["system"],
            float(row["proof_mpa"]),
            float(row["tensile_mpa"]),
            float(row["shear_share"]),
            row["source"],
        )
        held.update(dict.fromkeys(map(_fold, tables.names(row)), one))
    return held


@cache
def _factors() -> dict[str, NutFactor]:
    held: dict[str, NutFactor] = {}
    for row in tables.rows("nut_factors"):
        one = NutFactor(row["condition"], float(row["factor"]), float(row["scatter"]), row["source"])
        held.update(dict.fromkeys(map(_fold, tables.names(row, name="condition")), one))
    return held

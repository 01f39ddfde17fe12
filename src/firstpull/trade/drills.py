"""Twist drills by metric size, number, letter and fraction of an inch, and which come nearest to a hole."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Literal, get_args

from firstpull.errors import BadInput
from firstpull.trade import tables, texts
from firstpull.units import NM_PER_INCH, NM_PER_MM, Length, parse_length

Series = Literal["metric", "fraction", "number", "letter"]

_NUMBER = re.compile(r"(?:#|(?:number|no|wire)\b\.?)\s*(\d{1,2})", re.ASCII)
_LETTER = re.compile(r"(?:(?:letter|ltr)\.?\s+)?([a-z])", re.ASCII)
_FRACTION = re.compile(r"(\d{1,3})/(\d{1,3})\s*(?:\"|″|”|in\.?|inch)?", re.ASCII)
_BARE = re.compile(r"\d{1,3}", re.ASCII)
_ORDER = {name: place for place, name in enumerate(get_args(Series))}


@dataclass(frozen=True, slots=True)
class Drill:
    """A drill that can be bought: ``name`` as it is marked, its ``series`` and exact ``diameter``."""

    name: str
    series: Series
    diameter: Length
    source: str

    def misfit_mm(self, diameter_mm: float) -> float:
        """How much larger (+) or smaller (−) than ``diameter_mm`` this drill is, in mm."""
        return round(self.diameter.mm - diameter_mm, 6)


@cache
def drills() -> tuple[Drill, ...]:
    """Every drill held, smallest first; of equal ones metric, fraction, number, letter.

    Metric 0.5 to 25 mm (ISO 235), fractions 1/64 to 1 in, numbers 80 to 1 and letters A to Z (ASME B94.11M).
    """
    held = [_from_row(row) for row in tables.rows("drills")]
    return tuple(sorted(held, key=lambda one: (one.diameter.nanometres, _ORDER[one.series])))


def drill(text: str, *, where: str = "") -> Drill:
    """The drill that ``text`` names: “#7”, “no. 7”, “F”, “13/64”, “5.1 mm”, “0.201 in”.

    Raises BadInput for a bare whole number, which could be a number drill or millimetres, and for a diameter that
    no held drill has (the nearest are named). Source: ISO 235 and ASME B94.11M, diameters in mm or in as printed.
    """
    shown = texts.typed(text, noun="a drill", example="#7, F, 13/64 in or 5.1 mm", where=where)
    plain = re.sub(r"\s*\b(?:twist\s+)?(?:drill|bit)\b\.?\s*", "", shown.casefold()).strip()
    named = _by_name(plain)
    if named is not None:
        return named
    if _BARE.fullmatch(plain):
        raise BadInput(
            f"“{shown}” could be a number drill or a diameter.",
            where=where,
            hint=f"Write “#{plain}”, “{plain} mm” or “{plain} in”.",
        )
    if _NUMBER.fullmatch(plain):
        raise BadInput(f"“{shown}” is not a number drill.", where=where, hint="Number drills go from #1 to #80.")
    try:
        length = parse_length(plain if plain else shown, where=where)
    except BadInput as problem:
        raise BadInput(problem.what, where=where, hint=f"{problem.hint} Or name the drill: “#7”, “F” or “13/64 in”.")
    for held in drills():
        if held.diameter == length:
            return held
    raise _not_held(shown, length, where)


def nearest_drills(
    diameter_mm: float, *, count: int = 3, series: tuple[Series, ...] = ("metric", "fraction", "number", "letter")
) -> tuple[Drill, ...]:
    """The ``count`` held drills nearest to ``diameter_mm`` (mm, over 0 up to 1000), least misfit first.

    Of two equally near the larger comes first. Raises BadInput outside the range. Source: diameters as :func:`drill`.
    """
    if not 0 < diameter_mm <= 1000:
        raise BadInput(f"A hole of {diameter_mm} mm cannot be drilled.", hint="It must be over 0 and at most 1000 mm.")
    if count < 1:
        raise BadInput(f"{count} drills is not a count.", hint="Ask for one or more.")
    wanted = [one for one in drills() if one.series in series]
    return tuple(
        sorted(wanted, key=lambda one: (abs(one.misfit_mm(diameter_mm)), -one.diameter.nanometres, _ORDER[one.series]))[
            :count
        ]
    )


@cache
def _names() -> dict[str, Drill]:
    return {one.name.casefold(): one for one in drills()}


def _by_name(plain: str) -> Drill | None:
    if number := _NUMBER.fullmatch(plain):
        return _names().get(f"#{int(number[1])}")
    if letter := _LETTER.fullmatch(plain):
        return _names().get(letter[1])
    fraction = _FRACTION.fullmatch(plain)
    if fraction and int(fraction[2]):
        return _names().get(f"{Fraction(int(fraction[1]), int(fraction[2]))} in")
    return None


def _not_held(shown: str, length: Length, where: str) -> BadInput:
    if not 0 < length.mm <= 1000:
        return BadInput(f"“{shown}” is not a drill.", where=where, hint="Drills from 0.34 mm to 25.4 mm are held.")
    nearest = ", ".join(f"{one.name} ({one.diameter.mm:.4f} mm)" for one in nearest_drills(length.mm))
    return BadInput(f"No drill of “{shown}” is held.", where=where, hint=f"The nearest are {nearest}.")


def _from_row(row: tables.Row) -> Drill:
    nm_per_unit = NM_PER_MM if row["unit"] == "mm" else NM_PER_INCH
    series: Series = next(name for name in get_args(Series) if name == row["series"])
    return Drill(row["name"], series, Length(int(Fraction(row["diameter"]) * nm_per_unit), row["name"]), row["source"])

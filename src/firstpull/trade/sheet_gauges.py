"""Sheet gauge numbers by metal, and thicknesses typed as a length or as a gauge number.

A gauge number means nothing without its metal: 16 gauge is 0.0598 in of steel, 0.0635 in galvanised, 0.0508 in of
aluminium. A bare number is refused with the choices. Thickness from weight: steel lb/ft² / 41.82, galvanised
(lb/ft² + 2.5 oz) / 41.82 (Manufacturers' Standard); aluminium 0.005 in · 92^((36 − n)/39); stainless the U.S.
Standard gauge of 15 U.S.C. 206. Values are the rounded ones that tables print.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from firstpull.errors import BadInput
from firstpull.trade import tables, texts
from firstpull.units import NM_PER_INCH, Length, LengthUnit, parse_length, show_length

METALS = ("steel", "galvanised", "aluminium", "stainless")

_GAUGE = r"(?:gauge|gage|ga|g)\.?"
_NUMBER = r"(?:#|no\.?)?\s*(?P<gauge>\d{1,4})"
_FORMS = tuple(
    re.compile(form, re.ASCII)
    for form in (
        rf"{_NUMBER}\s*-?\s*{_GAUGE}(?P<metal>(?:[\s,].*)?)",  # 16 ga steel
        rf"(?P<metal>.*?)[\s,]+{_NUMBER}\s*-?\s*{_GAUGE}",  # steel, 16 ga
        rf"(?P<metal>.*?)\b(?:gauge|gage|ga)\.?\s*{_NUMBER}(?P<more>(?:[\s,].*)?)",  # steel gauge 16, ga 16 steel
    )
)
_SYSTEMS = {
    "steel": ("Manufacturers' Standard gauge for sheet steel", "weight in lb/ft² / 41.82"),
    "galvanised": ("galvanised sheet gauge", "(weight in lb/ft² + 2.5 oz/ft²) / 41.82"),
    "aluminium": ("American wire gauge for aluminium sheet", "0.005 in · 92^((36 − n)/39)"),
    "stainless": ("U.S. Standard gauge", "weight in oz/ft² / 640"),
}
_WORDS = {
    **dict.fromkeys(("steel", "iron", "crs", "hrs"), "steel"),
    **dict.fromkeys(("galvanised", "galvanized", "galv", "zinc"), "galvanised"),
    **dict.fromkeys(("aluminium", "aluminum", "alu", "alum", "al"), "aluminium"),
    **dict.fromkeys(("stainless", "ss", "inox"), "stainless"),
}
_FILLING = re.compile(
    r"sheet|sheets|mild|plain|carbon|low|cold|hot|rolled|cr|hr|of|metal|coated|dipped|dip|alloy|\d{3,4}|[ht]\d{1,3}|g\d{2,3}",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class SheetGauge:
    """One gauge number of one metal with its tabulated ``thickness``, the rule behind it and its source."""

    thickness: Length
    system: str
    gauge: int
    metal: str
    formula: str
    source: str


def sheet_gauge(text: str, *, where: str = "") -> SheetGauge:
    """The gauge that ``text`` names, with its metal: “16 ga steel”, “18ga aluminium”, “galvanised 20 gauge”.

    Held: steel 3–38, galvanised 8–32, aluminium 1–36, stainless 1–38. Raises BadInput when the metal is missing (with
    the choices and their values), unknown or named twice, when the number is not held, or for any other text. Source of
    each thickness: its row, by the Manufacturers' Standard, Brown & Sharpe or 15 U.S.C. 206 (module docstring).
    """
    shown = texts.typed(text, noun="a gauge number with its metal", example="16 ga steel", where=where)
    parts = _split(shown)
    if parts is None:
        raise BadInput(
            f"“{shown}” is not a gauge number with its metal.",
            where=where,
            hint="Write for example “16 ga steel”, “18 ga aluminium” or “20 ga galvanised”.",
        )
    gauge, words = parts
    return _gauge(shown, gauge, _metal(shown, gauge, words, where), where)


def parse_thickness(text: str, *, unit: LengthUnit | None = None, where: str = "") -> Length:
    """A thickness typed as a length or as a gauge number with its metal; the text as typed is kept.

    ``unit`` is the unit of a bare number, as in :func:`firstpull.units.parse_length`. Exact nanometres. Raises
    BadInput, for a gauge number without its metal with the choices.
    """
    if names_gauge(text):
        return Length(sheet_gauge(text, where=where).thickness.nanometres, text.strip())
    return parse_length(text, unit=unit, where=where)


def names_gauge(text: object) -> bool:
    """Whether ``text`` is a gauge number, with or without its metal, and not a length."""
    return isinstance(text, str) and len(text.strip()) <= texts.LONGEST and _split(text.strip()) is not None


def nearest_gauges(thickness: Length) -> tuple[SheetGauge, ...]:
    """For each metal the gauge whose thickness comes nearest to ``thickness``, in the order of :data:`METALS`."""
    held = _held().values()
    return tuple(
        min(
            (one for one in held if one.metal == metal),
            key=lambda one: (abs(one.thickness.nanometres - thickness.nanometres), one.gauge),
        )
        for metal in METALS
    )


@cache
def _held() -> dict[tuple[str, int], SheetGauge]:
    held = {}
    for row in tables.rows("sheet_gauges"):
        metal, gauge = row["metal"], int(row["gauge"])
        system, formula = _SYSTEMS[metal]
        thickness = Length(round(Fraction(row["thickness_in"]) * NM_PER_INCH), f"{gauge} ga {metal}")
        held[metal, gauge] = SheetGauge(thickness, system, gauge, metal, formula, row["source"])
    return held


def _split(shown: str) -> tuple[int, str] | None:
    """The gauge number and the words beside it, or None when the text has no gauge number."""
    lower = shown.casefold()
    for form in _FORMS:
        match = form.fullmatch(lower)
        if match is not None:
            parts = match.groupdict()
            return int(parts["gauge"]), f"{parts['metal']} {parts.get('more') or ''}".strip()
    return None


def _metal(shown: str, gauge: int, words: str, where: str) -> str:
    found = set()
    for word in re.split(r"[\s,/()\-]+", words):
        name = word.strip(".")
        if name in _WORDS:
            found.add(_WORDS[name])
        elif name and not _FILLING.fullmatch(name):
            raise BadInput(
                f"There is no gauge table for “{words}”.",
                where=where,
                hint=_choices(gauge),
            )
    if len(found) > 1:
        found.discard("steel")  # “galvanised steel”, “stainless steel”
    if len(found) > 1:
        raise BadInput(f"“{shown}” names more than one metal.", where=where, hint=_choices(gauge))
    if not found:
        raise BadInput(
            f"“{shown}” is a gauge number, and a gauge number means nothing without its metal.",
            where=where,
            hint=_choices(gauge),
        )
    return found.pop()


def _gauge(shown: str, gauge: int, metal: str, where: str) -> SheetGauge:
    one = _held().get((metal, gauge))
    if one is None:
        numbers = [number for name, number in _held() if name == metal]
        raise BadInput(
            f"“{shown}” is not in the {metal} gauge table.",
            where=where,
            hint=f"It goes from {min(numbers)} to {max(numbers)}; type the thickness in mm or in instead.",
        )
    return one


def _choices(gauge: int) -> str:
    held = [_held()[metal, gauge] for metal in METALS if (metal, gauge) in _held()]
    if not held:
        return "Type the thickness in mm or in."
    shown = [
        f"“{gauge} ga {one.metal}” ({show_length(one.thickness, 'in')} in, {show_length(one.thickness, 'mm')} mm)"
        for one in held
    ]
    return f"Write {', '.join(shown)}, or the thickness in mm or in."

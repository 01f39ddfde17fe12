"""Quantities as people type them, held exactly.

A length is a whole number of nanometres, so that 3/16 in, 0.1875 in and 4.7625 mm are one value and nothing
is lost between mm and inch. Forces, torques and pressures are exact fractions of N, N·m and MPa. Each keeps the
text as typed. The inch is 25.4 mm exactly (international yard and pound agreement, 1959); the pound-force is
0.45359237 kg · 9.80665 m/s² exactly.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from fractions import Fraction
from typing import Any, Literal, Self

from firstpull.errors import BadInput

LengthUnit = Literal["mm", "in"]

NM_PER_MM = 1_000_000
NM_PER_INCH = 25_400_000
NEWTON_PER_LBF = Fraction(45359237, 10**8) * Fraction(980665, 10**5)
METRE_PER_INCH = Fraction(254, 10**4)
_MAX_TEXT = 60
_MAX_LENGTH_NM = 100 * 1000 * NM_PER_MM

_NUMBER = re.compile(
    r"""\s*(?P<sign>[+-]?)\s*
    (?:(?P<whole>\d{1,6})[ -]+(?P<num2>\d{1,4})/(?P<den2>\d{1,4})      # 1 3/16
      |(?P<num>\d{1,4})/(?P<den>\d{1,4})                                # 3/16
      |(?P<dec>\d{1,12}(?:[.,]\d{0,12})?|[.,]\d{1,12}))                 # 0.120  .120  3,05
    \s*(?P<unit>.*?)\s*""",
    re.VERBOSE | re.DOTALL | re.ASCII,
)

_LENGTHS = "3.05 mm”, “0.120 in” or “3/16 in"
_POWER = re.compile(r"e[+-]?\d", re.IGNORECASE | re.ASCII)

_LENGTH_UNITS: dict[str, Fraction] = {
    "mm": Fraction(NM_PER_MM),
    "millimetre": Fraction(NM_PER_MM),
    "millimetres": Fraction(NM_PER_MM),
    "millimeter": Fraction(NM_PER_MM),
    "millimeters": Fraction(NM_PER_MM),
    "cm": Fraction(10 * NM_PER_MM),
    "m": Fraction(1000 * NM_PER_MM),
    "µm": Fraction(1000),
    "μm": Fraction(1000),
    "um": Fraction(1000),
    "micron": Fraction(1000),
    "microns": Fraction(1000),
    "nm": Fraction(1),
    "in": Fraction(NM_PER_INCH),
    "in.": Fraction(NM_PER_INCH),
    "inch": Fraction(NM_PER_INCH),
    "inches": Fraction(NM_PER_INCH),
    '"': Fraction(NM_PER_INCH),
    "″": Fraction(NM_PER_INCH),
    "”": Fraction(NM_PER_INCH),
    "thou": Fraction(NM_PER_INCH, 1000),
}
_FORCE_UNITS: dict[str, Fraction] = {
    "n": Fraction(1),
    "kn": Fraction(1000),
    "lbf": NEWTON_PER_LBF,
    "kgf": Fraction(980665, 10**5),
}
_TORQUE_UNITS: dict[str, Fraction] = {
    **dict.fromkeys(("nm", "n·m", "n m", "n.m", "n*m"), Fraction(1)),
    **dict.fromkeys(("ncm", "n·cm", "n cm"), Fraction(1, 100)),
    **dict.fromkeys(
        ("lbf·in", "lbf in", "lbf-in", "lbf*in", "in lbf", "in-lbf", "in·lbf", "in-lb", "in lb", "lb-in", "lb in"),
        NEWTON_PER_LBF * METRE_PER_INCH,
    ),
    **dict.fromkeys(
        ("lbf·ft", "lbf ft", "lbf-ft", "lbf*ft", "ft lbf", "ft-lbf", "ft·lbf", "ft-lb", "ft lb", "lb-ft", "lb ft"),
        NEWTON_PER_LBF * METRE_PER_INCH * 12,
    ),
}
_PRESSURE_UNITS: dict[str, Fraction] = {
    "mpa": Fraction(1),
    "n/mm²": Fraction(1),
    "n/mm2": Fraction(1),
    "kpa": Fraction(1, 1000),
    "bar": Fraction(1, 10),
    "psi": NEWTON_PER_LBF / (METRE_PER_INCH**2) / 10**6,
    "ksi": NEWTON_PER_LBF / (METRE_PER_INCH**2) / 1000,
}


@dataclass(frozen=True, slots=True, order=True)
class Length:
    """A length of ``nanometres`` (int, exact), with the text as ``typed``. Equal when the nanometres are equal."""

    nanometres: int
    typed: str = field(default="", compare=False)

    @property
    def mm(self) -> float:
        """Length in mm, the nearest binary number."""
        return self.nanometres / NM_PER_MM

    @property
    def inch(self) -> float:
        """Length in inches, the nearest binary number."""
        return self.nanometres / NM_PER_INCH

    @classmethod
    def from_mm(cls, value_mm: float) -> Self:
        """The length nearest to ``value_mm`` (mm), rounded to a whole nanometre; the text is made from it."""
        nanometres = round(_finite(value_mm) * NM_PER_MM)
        return cls(nanometres, show_length(nanometres, "mm", decimals=6).rstrip("0").rstrip(".") + " mm")

    def to_json(self) -> dict[str, int | str]:
        """``{"nm": int, "typed": str}``, the form held in the record."""
        return {"nm": self.nanometres, "typed": self.typed}

    @classmethod
    def from_json(cls, data: Any, *, where: str = "") -> Self:
        """Read back what :meth:`to_json` wrote. Raises BadInput when it is not of that form."""
        nanometres = data.get("nm") if isinstance(data, dict) else None
        if not isinstance(nanometres, int) or isinstance(nanometres, bool):
            raise BadInput(
                "A recorded length must be a whole number of nanometres.",
                where=where,
                hint='{"nm": 2160000, "typed": "2.16 mm"}',
            )
        return cls(nanometres, str(data.get("typed", "")))


@dataclass(frozen=True, slots=True, order=True)
class _Exact:
    value: Fraction
    typed: str = field(default="", compare=False)

    def __float__(self) -> float:
        return float(self.value)


class Force(_Exact):
    """A force; ``value`` is in N, exact."""

    @property
    def newtons(self) -> float:
        return float(self.value)


class Torque(_Exact):
    """A torque; ``value`` is in N·m, exact."""

    @property
    def newton_metres(self) -> float:
        return float(self.value)


class Pressure(_Exact):
    """A pressure or stress; ``value`` is in MPa, exact."""

    @property
    def megapascals(self) -> float:
        return float(self.value)

    @property
    def bar(self) -> float:
        return float(self.value * 10)


def parse_length(text: str, *, unit: LengthUnit | None = None, where: str = "") -> Length:
    """Read a length such as ``0.120 in``, ``.120"``, ``120 thou``, ``3/16 in``, ``3.05 mm`` or ``3,05 mm``.

    ``unit`` is the unit that a bare number has here; without it a bare number is refused. The comma is a decimal
    comma. Raises BadInput for anything else, for a gauge number (it needs its metal, see trade), for lengths over
    100 m and for values that are not a whole number of nanometres.
    """
    number, unit_text = _split(text, where)
    key = unit_text.lower()
    if not key:
        if unit is None:
            shown = text.strip()
            raise BadInput(f"“{shown}” has no unit.", where=where, hint=f"Write “{shown} mm” or “{shown} in”.")
        key = unit
    if re.fullmatch(r"(ga|gauge|gage|g)\.?( .*)?", key):
        raise BadInput(
            f"“{text.strip()}” is a gauge number, and a gauge number means nothing without its metal.",
            where=where,
            hint="Write for example “16 ga steel”, “16 ga galvanised” or “16 ga aluminium”, or the thickness in mm or in.",
        )
    if key in ("mil", "mils"):
        raise BadInput(
            "“mil” means a thousandth of an inch to some and a millimetre to others.",
            where=where,
            hint="Write “thou” or “mm”.",
        )
    scale = _LENGTH_UNITS.get(key)
    if scale is None:
        raise BadInput(
            f"“{unit_text}” is not a unit of length.",
            where=where,
            hint="Use mm, in or thou, for example “3.05 mm”, “0.120 in”, “120 thou”, “3/16 in”.",
        )
    exact = number * scale
    if abs(exact) > _MAX_LENGTH_NM:
        raise BadInput(f"“{text.strip()}” is over 100 m.", where=where, hint="Check the unit.")
    if exact.denominator != 1:
        raise BadInput(
            f"“{text.strip()}” is not a whole number of nanometres.",
            where=where,
            hint="Write it as a decimal with fewer places, or as a fraction down to 1/64 in.",
        )
    return Length(int(exact), text.strip())


def parse_force(text: str, *, where: str = "") -> Force:
    """Read a force with its unit: N, kN, lbf or kgf. Raises BadInput."""
    return Force(*_parse_exact(text, _FORCE_UNITS, "force", "9 kN” or “2000 lbf", where))


def parse_torque(text: str, *, where: str = "") -> Torque:
    """Read a torque with its unit: N·m, N·cm, lbf·in or lbf·ft (also in-lb, ft-lb). Raises BadInput."""
    return Torque(*_parse_exact(text, _TORQUE_UNITS, "torque", "6 Nm” or “55 lbf·in", where))


def parse_pressure(text: str, *, where: str = "") -> Pressure:
    """Read a pressure with its unit: bar, kPa, MPa, psi or ksi. Raises BadInput."""
    return Pressure(*_parse_exact(text, _PRESSURE_UNITS, "pressure", "6.2 bar” or “90 psi", where))


def show_length(value: Length | int, unit: LengthUnit, *, decimals: int | None = None) -> str:
    """The number (no unit) of a length in ``unit``, rounded half to even from the exact value.

    Places default to 2 in mm and 4 in inches: 0.01 mm pairs with 0.0001 in.
    """
    nanometres = value.nanometres if isinstance(value, Length) else value
    places = decimals if decimals is not None else (2 if unit == "mm" else 4)
    scale = NM_PER_MM if unit == "mm" else NM_PER_INCH
    with localcontext() as context:
        context.prec = 60
        shown = (Decimal(nanometres) / Decimal(scale)).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN)
    return f"{shown if shown else abs(shown):f}"


def show_mm(value_mm: float, unit: LengthUnit, *, decimals: int | None = None) -> str:
    """As :func:`show_length`, for a computed value in mm."""
    return show_length(round(_finite(value_mm) * NM_PER_MM), unit, decimals=decimals)


def parse_number(text: str, *, where: str = "") -> Fraction:
    """Read a plain number, decimal point or comma or a fraction, without a unit. Raises BadInput."""
    number, unit_text = _split(text, where)
    if unit_text:
        raise BadInput(f"“{text.strip()}” should be a number alone.", where=where, hint="Leave out the unit.")
    return number


def _split(text: str, where: str, *, example: str = _LENGTHS) -> tuple[Fraction, str]:
    if not isinstance(text, str):
        raise BadInput(
            f"{text!r} is not text.", where=where, hint=f"Write it in quotes with its unit, for example “{example}”."
        )
    if len(text) > _MAX_TEXT:
        raise BadInput("That is too long for a value.", where=where, hint=f"A number and its unit: “{example}”.")
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise BadInput(
            f"“{text.strip()}” is not a number with a unit.",
            where=where,
            hint=f"For example “{example}”.",
        )
    part = match.groupdict()
    unit_text = part["unit"]
    if _POWER.match(unit_text):
        raise BadInput(
            f"“{text.strip()}” is written with a power of ten.",
            where=where,
            hint=f"Write it as a plain decimal, as in “{example}”.",
        )
    if re.search(r"\d", unit_text.replace("mm2", "")) or unit_text[:1] in (".", ",", "/"):
        raise BadInput(
            f"“{text.strip()}” can be read in more than one way.",
            where=where,
            hint="Use one decimal point or comma and no thousands separator, for example “1234.5 mm”.",
        )
    if part["dec"] is not None:
        number = Fraction(part["dec"].replace(",", "."))
    else:
        denominator = int(part["den2"] or part["den"])
        if denominator == 0:
            raise BadInput(f"“{text.strip()}” divides by zero.", where=where, hint="For example “3/16 in”.")
        number = Fraction(int(part["num2"] or part["num"]), denominator) + int(part["whole"] or 0)
    return (-number if part["sign"] == "-" else number), unit_text


def _parse_exact(text: str, units: dict[str, Fraction], noun: str, example: str, where: str) -> tuple[Fraction, str]:
    number, unit_text = _split(text, where, example=example)
    if not unit_text:
        raise BadInput(f"“{text.strip()}” has no unit.", where=where, hint=f"For example “{example}”.")
    scale = units.get(re.sub(r"\s+", " ", unit_text.lower()))
    if scale is None:
        raise BadInput(f"“{unit_text}” is not a unit of {noun}.", where=where, hint=f"For example “{example}”.")
    return number * scale, text.strip()


def _finite(value: float) -> float:
    if not -1e12 < value < 1e12:
        raise BadInput(f"{value} is not a usable number.", hint="It must be finite.")
    return value

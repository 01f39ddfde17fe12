"""Sentences of the choice with every force, torque and temperature in the person's unit.

The mechanics write lengths in the unit asked for, forces in kN, torques in N·m and temperatures in °C; whoever works in
inches reads lbf, lbf·in and °F, and never two units for one value.
"""

from __future__ import annotations

import re

from firstpull.mechanics.check import Check
from firstpull.units import METRE_PER_INCH, NEWTON_PER_LBF, LengthUnit, show_mm

_FORCE: dict[LengthUnit, str] = {"mm": "kN", "in": "lbf"}
_TORQUE: dict[LengthUnit, str] = {"mm": "N·m", "in": "lbf·in"}
_NUMBER = r"\d+(?:\.\d+)?(?:e[+-]?\d+)?"
_VALUE = re.compile(rf"((?:{_NUMBER}(?: of at most | of the | of | to ))*)({_NUMBER}) (kN|N·m)")
_MM = re.compile(rf"({_NUMBER}) mm\b")
_CELSIUS = re.compile(r"([−-]?\d+(?:\.\d+)?) °C")
_ALONE = re.compile(_NUMBER)
_KN_PER_LBF = float(NEWTON_PER_LBF) / 1000
_NM_PER_LBF_IN = float(NEWTON_PER_LBF * METRE_PER_INCH)


def told(text: str, unit: LengthUnit, *, of: Check | None = None) -> str:
    """The sentence as the person reads it; a side of the check ``of`` that it repeats is converted from its exact
    value, so that it reads as in the table."""
    if unit == "mm":
        return text
    inches = _MM.sub(lambda found: f"{show_mm(float(found[1]), unit)} in", text)
    inches = _CELSIUS.sub(lambda found: degrees(float(found[1].replace("−", "-")), unit), inches)
    exact = {} if of is None else _exact(of)
    return _VALUE.sub(lambda found: _in_pounds(found, exact), inches)


def _exact(check: Check) -> dict[str, float]:
    """The sides of a check by how the mechanics write them in kN or N·m."""
    sides = [value for value in (check.demand, check.capacity) if not isinstance(value, str)]
    if check.unit == "N":
        return {f"{value / 1000:.2f}": value / 1000 for value in sides}
    return {f"{value:.3g}": value for value in sides} if check.unit == "N·m" else {}


def _in_pounds(found: re.Match[str], exact: dict[str, float]) -> str:
    one, unit = (_KN_PER_LBF, _FORCE["in"]) if found[3] == "kN" else (_NM_PER_LBF_IN, _TORQUE["in"])

    def shown(value: str) -> str:
        return significant(exact.get(value, float(value)) / one)

    before = _ALONE.sub(lambda number: shown(number[0]), found[1])
    return f"{before}{shown(found[2])} {unit}"


def significant(value: float) -> str:
    """Three digits that count, whole numbers whole."""
    if abs(value) >= 100 or value == 0:
        return f"{value:.0f}"
    return f"{value:.1f}" if abs(value) >= 10 else f"{value:.2f}"


def degrees(value_c: float, unit: LengthUnit, *, bare: bool = False) -> str:
    """A temperature in °C as the person reads it: °C beside mm, °F beside inches; whole degrees Fahrenheit."""
    value = f"{value_c:g}" if unit == "mm" else f"{value_c * 1.8 + 32:.0f}"
    return value if bare else f"{value} {degree_unit(unit)}"


def degree_unit(unit: LengthUnit) -> str:
    """The unit of temperature beside lengths in ``unit``."""
    return "°C" if unit == "mm" else "°F"


def turning(value_nm: float, unit: LengthUnit, *, bare: bool = False) -> str:
    """A torque in N·m with three digits that count."""
    value = significant(value_nm if unit == "mm" else value_nm / _NM_PER_LBF_IN)
    return value if bare else f"{value} {_TORQUE[unit]}"


def pulling(value_n: float, unit: LengthUnit, *, bare: bool = False) -> str:
    """A force in N with three digits that count."""
    value = significant(value_n / 1000 if unit == "mm" else value_n / float(NEWTON_PER_LBF))
    return value if bare else f"{value} {_FORCE[unit]}"


def side(value: float | str, check: Check, unit: LengthUnit) -> str:
    """One side of a check in the person's unit; the unit is said by :func:`unit_of`."""
    if isinstance(value, str):
        return value.replace(" to ", "–")
    if check.unit == "mm":
        return show_mm(value, unit)
    if check.unit == "N":
        return pulling(value, unit, bare=True)
    if check.unit == "N·m":
        return turning(value, unit, bare=True)
    return degrees(value, unit, bare=True) if check.unit == "°C" else f"{value:g}"


def unit_of(check: Check, unit: LengthUnit) -> str:
    """The unit of a check's two sides, "" where there is none."""
    known = {"mm": unit, "in": unit, "N": _FORCE[unit], "N·m": _TORQUE[unit], "°C": degree_unit(unit)}
    return known.get(check.unit, check.unit)


def share(value: float | None) -> str:
    """A margin in percent with a true minus sign; "–" where there is nothing to compare."""
    return "–" if value is None else f"{100 * value:.0f} %".replace("-", "−")


def chance(value: float | None) -> str:
    """A chance in percent; never rounded up to certainty."""
    if value is None:
        return "–"
    if value > 0.9999:
        return "> 99.99 %"
    return "< 0.01 %" if value < 0.0001 else f"{100 * value:.2f} %"

"""The simulated caliper: scatter, a small constant error, rounding to its step, and now and then a misread.

A misread is what people do: a whole unit or some tenths off, two neighbouring digits swapped, or the display left in
the other unit. Each is off by at least 0.19 mm. Free lengths are not misread: the insert is in the hand and near its
nominal (assumption).
"""

from __future__ import annotations

from firstpull.practice.chance import Chance

_GROSS_MM = 0.19
_MM_PER_INCH = 25.4


def rounded(value_mm: float, step_mm: float) -> float:
    """``value_mm`` rounded to the gauge's step, in whole nanometres."""
    return round(round(value_mm / step_mm) * step_mm, 6)


def misread(value_mm: float, *, unit: str, step_mm: float, chance: Chance) -> float:
    """What a person writes down instead of ``value_mm``; always at least 0.19 mm off."""
    one = 1.0 if unit == "mm" else _MM_PER_INCH / 10
    kind, size, up = chance.uniform(0, 1), int(chance.uniform(2, 6)), chance.happens(0.5)
    if kind < 0.2:
        other = value_mm / _MM_PER_INCH if unit == "mm" else value_mm * _MM_PER_INCH
        return rounded(other, step_mm)
    swapped = _swapped(value_mm, smallest_mm=one / 100)
    if kind < 0.5 and abs(swapped - value_mm) >= _GROSS_MM:
        return rounded(swapped, step_mm)
    slip = one if kind < 0.75 else max(size * one / 10, _GROSS_MM + step_mm)
    return rounded(value_mm + slip if up or value_mm <= slip else value_mm - slip, step_mm)


def _swapped(value_mm: float, *, smallest_mm: float) -> float:
    """The two last digits exchanged: 11.16 becomes 11.61."""
    steps = round(value_mm / smallest_mm)
    tens, ones = steps // 10 % 10, steps % 10
    return value_mm + (ones - tens) * 9 * smallest_mm

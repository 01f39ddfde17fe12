"""Slips of unit or digit: what is asked about a length that can hardly be meant."""

from __future__ import annotations

from firstpull.units import Length, LengthUnit, show_mm

# a reading within 15 % of these multiples of what was to be expected is asked about (our choice: wider than any real
# error, narrower than the gap to the next multiple)
_SLIPS: tuple[tuple[float, str], ...] = (
    (25.4, "read in the other unit"),
    (1 / 25.4, "read in the other unit"),
    (10.0, "a slip of one digit"),
    (0.1, "a slip of one digit"),
)
_NEAR = 1.15
FAR_MM = 1.0
"""A set length of a setting that stands is farther off than this only by a slip, or by a fault that one is glad to be
asked about once more (our choice)."""


def slip_question(value: Length, expected_mm: float | None, unit: LengthUnit, *, far_mm: float | None = None) -> str:
    """The question about a length near 25.4×, 10×, or one 25.4th or tenth of what was to be expected (mm), or farther
    than ``far_mm`` from it; "" when it is none of them, or nothing was to be expected."""
    if not expected_mm or expected_mm <= 0:
        return ""
    ratio = value.mm / expected_mm
    for factor, word in _SLIPS:
        if factor / _NEAR < ratio < factor * _NEAR:
            return f"{value.typed}? About {show_mm(expected_mm, unit)} {unit} was to be expected: {word}?"
    if far_mm is not None and abs(value.mm - expected_mm) > far_mm:
        return (
            f"{value.typed}? About {show_mm(expected_mm, unit)} {unit} was to be expected: a digit left out or swapped?"
        )
    return ""

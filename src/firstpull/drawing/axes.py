"""A plot area: from values in mm and numbers of pulls to px, with ticks in the reader's unit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from firstpull.drawing import svg
from firstpull.drawing.svg import FAINT, QUIET
from firstpull.units import LengthUnit, show_mm

MM_PER_UNIT = {"mm": 1.0, "in": 25.4}


@dataclass(frozen=True, slots=True)
class Plot:
    """The plot area in px and the ranges it shows: ``low_mm``…``high_mm`` upward, ``first``…``last`` to the right."""

    left: float
    right: float
    top: float
    bottom: float
    low_mm: float
    high_mm: float
    first: float
    last: float
    unit: LengthUnit

    def x(self, number: float) -> float:
        """px of a pull's number."""
        return self.left + (number - self.first) / (self.last - self.first) * (self.right - self.left)

    def y(self, value_mm: float) -> float:
        """px of a value in mm, kept inside the plot area."""
        share = (value_mm - self.low_mm) / (self.high_mm - self.low_mm)
        return self.bottom - min(max(share, 0.0), 1.0) * (self.bottom - self.top)

    def inside(self, value_mm: float) -> bool:
        """Whether the value lies in the range shown."""
        return self.low_mm <= value_mm <= self.high_mm


def ticks(low_mm: float, high_mm: float, *, unit: LengthUnit, most: int = 6) -> tuple[float, ...]:
    """Round values (1, 2 or 5 times a power of ten of the unit), in mm, at most ``most`` of them in the range."""
    scale = MM_PER_UNIT[unit]
    low, high = low_mm / scale, high_mm / scale
    power = 10.0 ** math.floor(math.log10((high - low) / most))
    step = next((base * power for base in (1, 2, 5, 10) if (high - low) / (base * power) <= most), 10 * power)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return tuple(index * step * scale for index in range(first, last + 1))


def value_axis(plot: Plot, *, most: int = 6, size: float = svg.SMALLEST_PX) -> str:
    """Faint lines with their values at the left."""
    marks = ticks(plot.low_mm, plot.high_mm, unit=plot.unit, most=most)
    scale = MM_PER_UNIT[plot.unit]
    step = abs(marks[1] - marks[0]) / scale if len(marks) > 1 else 0.01
    places = min(max(0, math.ceil(-math.log10(step) - 1e-9)), 4)
    parts = []
    for value in marks:
        y = plot.y(value)
        parts.append(svg.line((plot.left, y), (plot.right, y), stroke=FAINT, width=0.8))
        label = show_mm(value, plot.unit, decimals=places)
        parts.append(svg.text(label, (plot.left - 8, y + 5), size=size, anchor="end", fill=QUIET))
    return svg.group(*parts)


def number_axis(plot: Plot, numbers: Sequence[int], *, word: str, size: float = svg.SMALLEST_PX) -> str:
    """The numbers under the plot, thinned so that they stay apart, with their word at the left."""
    wide = max((svg.text_width(str(number), size) for number in numbers), default=10) + 12
    parts = [
        svg.line((plot.left, plot.bottom), (plot.right, plot.bottom), width=1.4),
        svg.text(word, (plot.left - 8, plot.bottom + 20), size=size, anchor="end", fill=QUIET),
    ]
    before = -1e9
    for number in numbers:
        x = plot.x(number)
        if x - before >= wide:
            parts.append(svg.text(str(number), (x, plot.bottom + 20), size=size, anchor="middle", fill=QUIET))
            before = x
    return svg.group(*parts)


def spread(values: Sequence[float], *, least: float, margin: float = 0.12) -> tuple[float, float]:
    """A range around ``values`` with a margin, at least ``least`` wide."""
    low, high = min(values), max(values)
    room = max(high - low, least)
    middle = (low + high) / 2
    return middle - room * (0.5 + margin), middle + room * (0.5 + margin)


def apart(wanted: Sequence[float], gap: float, *, low: float, high: float) -> tuple[float, ...]:
    """Label positions near ``wanted`` (any order) that keep ``gap`` px between them inside ``low``…``high``."""
    order = sorted(range(len(wanted)), key=lambda index: wanted[index])
    placed = [0.0] * len(wanted)
    before = -math.inf
    for index in order:
        placed[index] = before = max(min(wanted[index], high), low, before + gap)
    over = (before - high) if order else 0.0
    after = math.inf
    for index in reversed(order):
        if over > 0:
            placed[index] = min(placed[index], high, after - gap)
            after = placed[index]
    return tuple(placed)

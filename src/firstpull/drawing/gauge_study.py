"""Pictures of a gauge study: the part to take up next, and what was read beside what the scatter is made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firstpull.drawing import svg
from firstpull.drawing.axes import Plot, number_axis, spread, value_axis
from firstpull.drawing.svg import FAINT, INK, PALE_PETROL, PETROL, QUIET, WHITE
from firstpull.units import LengthUnit, show_mm

__all__ = ["ScatterBar", "StudyDot", "study_picture", "study_tag"]

_WIDTH = 504.0
_TEXT = 16.0
_MARKS = 6  # so many people have a mark of their own


@dataclass(frozen=True, slots=True)
class StudyDot:
    """One reading: the place of its part (from 0), of its person (from 0), and how far it lies from the part's mean."""

    part: int
    person: int
    off_mm: float


@dataclass(frozen=True, slots=True)
class ScatterBar:
    """One part of the scatter as a standard deviation in mm, with its limits where there are any."""

    name: str
    sd_mm: float
    low_mm: float | None = None
    high_mm: float | None = None


def study_tag(part: str, *, done: int, total: int, what: str) -> str:
    """The part to take up, as large as the sheet allows, and how many readings are done. ``done`` 0 … ``total``.

    Raises BadInput for numbers that are not finite."""
    width, height = _WIDTH, 400.0
    size = min(200.0, 400.0 / max(svg.text_width(part, 1, bold=True), 0.5))
    share = svg.finite(done, "done") / max(svg.finite(total, "total"), 1)
    body = [
        svg.text(what, (width / 2, 60), size=24, anchor="middle", fill=QUIET),
        svg.text(part, (width / 2, 190 + size * 0.35), size=size, bold=True, anchor="middle"),
        svg.box(32, 330, width=width - 64, height=22, stroke_width=1.6),
        svg.box(32, 330, width=(width - 64) * min(share, 1.0), height=22, fill=PETROL, stroke=None),
        svg.text(f"{done} of {total}", (width / 2, 384), size=20, anchor="middle"),
    ]
    return svg.sheet(
        "".join(body), width=width, height=height, title=f"{what} {part}", description=f"{done} of {total} are read."
    )


def study_picture(
    dots: Sequence[StudyDot],
    bars: Sequence[ScatterBar],
    *,
    parts: Sequence[str],
    people: Sequence[str],
    unit: LengthUnit,
    key: str = "",
) -> str:
    """Above every reading as its distance from its part's mean, part by part, each person with a mark of their own;
    below the standard deviations as bars with their limits, where there are any. Lengths in mm, shown in ``unit``. Raises BadInput.
    """
    height = 470.0
    offs = [svg.finite(dot.off_mm, "off_mm") for dot in dots] or [0.0]
    reach = max(*map(abs, offs), 0.002)
    low, high = spread([-reach, reach], least=2 * reach)
    plot = Plot(74, _WIDTH - 16, 40, 238 if bars else height - 40, low, high, 0.4, len(parts) + 0.6, unit)
    body = [value_axis(plot, most=5, size=_TEXT), svg.line((plot.left, plot.y(0)), (plot.right, plot.y(0)), width=1.2)]
    for index in range(1, len(parts)):
        x = plot.x(index + 0.5)
        body.append(svg.line((x, plot.top), (x, plot.bottom), stroke=FAINT, width=0.8))
    body += [_dot(plot, dot, people=len(people)) for dot in dots]
    body.append(_part_axis(plot, parts))
    body.append(_legend(people))
    body.append(_bars(bars, unit=unit, top=292.0, bottom=height - 16))
    sds = ", ".join(f"{bar.name} {show_mm(bar.sd_mm, unit, decimals=_places(unit))} {unit}" for bar in bars)
    return svg.sheet(
        "".join(body),
        width=_WIDTH,
        height=height,
        title="Readings by part and person" + (", and what the scatter is made of" if bars else ""),
        description=f"{len(dots)} readings of {len(parts)} parts by {len(people)} people."
        + (f" Standard deviations: {sds}." if bars else ""),
        key=key,
    )


def _places(unit: LengthUnit) -> int:
    return 4 if unit == "mm" else 5


def _part_axis(plot: Plot, parts: Sequence[str]) -> str:
    if all(part == str(place) for place, part in enumerate(parts, 1)):
        return number_axis(plot, range(1, len(parts) + 1), word="part", size=_TEXT)
    room = (plot.right - plot.left) / len(parts)
    names = [
        svg.text(
            svg.shorten(part, room - 4, size=14),
            (plot.x(place), plot.bottom + 20),
            size=14,
            anchor="middle",
            fill=QUIET,
        )
        for place, part in enumerate(parts, 1)
    ]
    return svg.group(svg.line((plot.left, plot.bottom), (plot.right, plot.bottom), width=1.4), *names)


def _dot(plot: Plot, dot: StudyDot, *, people: int) -> str:
    step = 0.62 / max(people, 1)
    x = plot.x(dot.part + 1 + (dot.person - (people - 1) / 2) * step)
    return _mark(x, plot.y(dot.off_mm), dot.person)


def _mark(x: float, y: float, person: int, *, size: float = 4.5) -> str:
    """A mark that needs no colour to be told from the others."""
    kind = person % _MARKS
    if kind in (0, 1):
        return svg.circle((x, y), size, fill=PETROL if kind == 0 else WHITE, stroke=PETROL, width=1.8)
    if kind in (2, 3):
        fill = INK if kind == 2 else WHITE
        return svg.box(x - size, y - size, width=2 * size, height=2 * size, fill=fill, stroke=INK, stroke_width=1.8)
    corners = ((x, y - size - 1), (x + size + 1, y + size), (x - size - 1, y + size))
    return svg.polygon(corners, stroke=INK, width=1.8, fill=PALE_PETROL if kind == 4 else WHITE)


def _legend(people: Sequence[str]) -> str:
    rows, x = [], 74.0
    for person, name in enumerate(people[:_MARKS]):
        word = svg.shorten(name, 110, size=_TEXT)
        wide = svg.text_width(word, _TEXT) + 34
        if x + wide > _WIDTH:
            break
        rows += [_mark(x + 6, 17, person, size=5.5), svg.text(word, (x + 18, 23), size=_TEXT)]
        x += wide
    return svg.group(*rows)


def _bars(bars: Sequence[ScatterBar], *, unit: LengthUnit, top: float, bottom: float) -> str:
    """Bars from a common foot, each with its limits as a thin line; a limit beyond the picture ends in an arrow."""
    if not bars:
        return ""
    left, right = 182.0, _WIDTH - 92
    largest = max(*(svg.finite(bar.sd_mm, "sd_mm") for bar in bars), 1e-9) * 1.25
    room = (bottom - top) / len(bars)
    thick = min(22.0, room * 0.6)
    parts = [svg.line((left, top - 4), (left, bottom), width=1.4)]
    for index, bar in enumerate(bars):
        middle = top + room * (index + 0.5)
        end = left + (right - left) * bar.sd_mm / largest
        parts.append(svg.text(bar.name, (left - 10, middle + 5), size=_TEXT, anchor="end"))
        parts.append(
            svg.box(
                left, middle - thick / 2, width=end - left, height=thick, fill=PALE_PETROL, stroke=INK, stroke_width=1.4
            )
        )
        if bar.low_mm is not None and bar.high_mm is not None:
            parts.append(_limits(bar, middle, left=left, right=right, largest=largest))
        label = show_mm(bar.sd_mm, unit, decimals=_places(unit))
        parts.append(svg.text(label, (right + 12, middle + 6), size=_TEXT, bold=True))
    return svg.group(*parts)


def _limits(bar: ScatterBar, middle: float, *, left: float, right: float, largest: float) -> str:
    low, high = svg.finite(bar.low_mm, "low_mm"), svg.finite(bar.high_mm, "high_mm")
    start = left + (right - left) * min(low / largest, 1.0)
    if high > largest:
        return svg.arrow((start, middle), (right + 4, middle), width=1.6, head=9)
    end = left + (right - left) * high / largest
    return svg.group(
        svg.line((start, middle), (end, middle), width=1.6), svg.line((end, middle - 6), (end, middle + 6), width=1.6)
    )

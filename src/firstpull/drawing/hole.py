"""The hole that an insert wants: seen from above with its limits, in section with the drill or punch and the gauge pins."""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstpull.drawing import svg
from firstpull.drawing.svg import BEFORE, INK, PETROL, QUIET, WHITE, Point
from firstpull.errors import BadInput
from firstpull.units import LengthUnit, show_mm

__all__ = ["HoleShape", "hole_drawing"]

_TAN_30 = math.tan(math.pi / 6)


@dataclass(frozen=True, slots=True)
class HoleShape:
    """A hole as it is to be made, mm: least and most size, across flats for a “hexagon”; the name of the drill that
    fits ("" for none), the pins that must and must not enter, a countersink's diameter at the surface."""

    shape: str
    least_mm: float
    most_mm: float
    go_mm: float
    no_go_mm: float
    drill: str = ""
    countersink_mm: float | None = None


def hole_drawing(
    hole: HoleShape, *, unit: LengthUnit = "mm", width: float = 640, height: float = 200, key: str = "hole"
) -> str:
    """Left from above, the band between the two limits hatched (wider than to scale, so that it is seen); right in
    section with the drill, deburred on both sides. Raises BadInput for limits that are no hole."""
    for value, what in ((hole.least_mm, "least hole"), (hole.most_mm, "most hole")):
        svg.finite(value, what)
    if not 0 < hole.least_mm <= hole.most_mm < 1000:
        raise BadInput("A hole has a least size above nothing and a most size above that.", where="hole")
    parts = [_from_above(hole, (88.0, height / 2), unit), _in_section(hole, (408.0, height - 66), unit)]
    least, most = show_mm(hole.least_mm, unit), show_mm(hole.most_mm, unit)
    across = "across flats" if hole.shape == "hexagon" else "in diameter"
    tool = f" Drill {hole.drill}." if hole.drill else " Punch it." if hole.shape == "hexagon" else ""
    pins = f" Go pin {show_mm(hole.go_mm, unit)}, no-go pin {show_mm(hole.no_go_mm, unit)}."
    return svg.sheet(
        "".join(parts),
        width=width,
        height=height,
        title="The hole, with its limits",
        description=f"{least} to {most} {unit} {across}.{tool}{pins} Deburr both sides. Not to scale.",
        key=key,
    )


def _from_above(hole: HoleShape, at: Point, unit: LengthUnit) -> str:
    """Two rings with the band between them, and both sizes on their own dimension lines."""
    inner, outer = 46.0, 58.0
    ring = _ring(hole.shape, at, outer, width=2) + _hatched_band(hole.shape, at, inner, outer)
    ring += _ring(hole.shape, at, inner, width=2, fill=WHITE)
    x, y = at
    cross = svg.line((x - 70, y), (x + 70, y), width=1, dash="12 3 2 3") + svg.line(
        (x, y - 70), (x, y + 70), width=1, dash="12 3 2 3"
    )
    right = x + 92
    words = []
    for label, level in (
        (f"most {show_mm(hole.most_mm, unit)}", y - outer),
        (f"least {show_mm(hole.least_mm, unit)}", y + inner),
    ):
        words.append(svg.line((x, level), (right - 6, level), stroke=QUIET, width=1))
        words.append(svg.text(label, (right - 4, level + 7), size=20, bold=True, halo=True))
    note = "across flats" if hole.shape == "hexagon" else "diameter"
    words.append(svg.text(note, (right - 4, y + 6), fill=QUIET))
    return ring + cross + "".join(words)


def _ring(shape: str, at: Point, size: float, *, width: float, fill: str = "none") -> str:
    if shape != "hexagon":
        return svg.circle(at, size, width=width, fill=fill)
    return svg.polygon(_hexagon(at, size), width=width, fill=fill)


def _hexagon(at: Point, half_flats: float) -> list[Point]:
    """A hexagon with two flats level, half its width across flats given."""
    far = half_flats / math.cos(math.pi / 6)
    return [
        (at[0] + far * math.cos(math.radians(angle)), at[1] + far * math.sin(math.radians(angle)))
        for angle in range(0, 360, 60)
    ]


def _hatched_band(shape: str, at: Point, inner: float, outer: float) -> str:
    """Short strokes across the band, all round."""
    parts = []
    for step in range(48):
        angle = math.radians(step * 7.5)
        near, far = inner, outer
        if shape == "hexagon":
            turn = math.radians(math.degrees(angle) % 60 - 30)
            near, far = inner / math.cos(turn), outer / math.cos(turn)
        lean = 0.0 if shape == "hexagon" else 0.06
        start = (at[0] + near * math.cos(angle), at[1] + near * math.sin(angle))
        end = (at[0] + far * math.cos(angle + lean), at[1] + far * math.sin(angle + lean))
        parts.append(svg.line(start, end, stroke=BEFORE, width=1))
    return "".join(parts)


def _in_section(hole: HoleShape, at: Point, unit: LengthUnit) -> str:
    """The sheet cut through the hole, the drill above it, and what the pins say."""
    x, surface = at
    half, thick, reach = 24.0, 30.0, 84.0
    parts = []
    for side in (-1, 1):
        sink = 14.0 if hole.countersink_mm is not None else 0.0
        points = [
            (x + side * (half + sink), surface),
            (x + side * reach, surface),
            (x + side * reach, surface + thick),
            (x + side * half, surface + thick),
            (x + side * half, surface + sink),
        ]
        parts.append(svg.polygon(points, fill=WHITE))
        parts.append(svg.path(svg.hatch(points, spacing=8, falling=side > 0), stroke=BEFORE, width=0.9))
    parts.append(svg.line((x, 8), (x, surface + thick + 16), width=1, dash="12 3 2 3"))
    if hole.shape == "hexagon":
        parts.append(svg.text("punch", (x + half + 14, 42), size=20, bold=True))
        parts.append(
            svg.box(x - half, 12, width=2 * half, height=surface - 34, fill=WHITE, stroke=PETROL, stroke_width=2)
        )
    else:
        parts.append(_drill(x, surface - 16, half=half))
        name = f"drill {hole.drill}" if hole.drill else "no drill in the limits"
        parts.append(
            svg.text(svg.shorten(name, 176, size=20, bold=True), (x + half + 14, 42), size=20, bold=True, fill=PETROL)
        )
    parts.append(svg.arrow((x + half + 4, 58), (x + half + 4, surface - 12), stroke=PETROL, width=2))
    parts.append(svg.text("deburr both sides", (x + half + 14, surface - 18), fill=QUIET))
    parts.append(svg.text(f"go {show_mm(hole.go_mm, unit)}", (x + reach + 10, surface + 12), size=17, bold=True))
    parts.append(svg.text(f"no-go {show_mm(hole.no_go_mm, unit)}", (x + reach + 10, surface + 34), size=17, bold=True))
    if hole.countersink_mm is not None:
        words = f"countersink {show_mm(hole.countersink_mm, unit)}"
        parts.append(svg.text(words, (x, surface + thick + 26), anchor="middle", bold=True, size=17))
    return "".join(parts)


def _drill(x: float, tip: float, *, half: float) -> str:
    """A twist drill, its point above the hole."""
    lip = tip - half * _TAN_30
    outline = [(x - half, 12), (x + half, 12), (x + half, lip), (x, tip), (x - half, lip)]
    flutes = ""
    for start in range(14, int(lip) - 26, 26):
        flutes += svg.line((x - half, start + 26), (x + half, start), stroke=INK, width=1)
    return svg.polygon(outline, fill=WHITE, stroke=PETROL, width=2) + flutes

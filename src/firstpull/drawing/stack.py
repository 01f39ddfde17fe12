"""The stack alone, to scale, layer by layer from the flange to the blind side, with an insert ghosted in."""

from __future__ import annotations

from collections.abc import Sequence

from firstpull.drawing import pieces, svg
from firstpull.drawing.profile import InsertShape, profile
from firstpull.drawing.section import Layer
from firstpull.drawing.svg import BEFORE, INK, QUIET, WHITE
from firstpull.errors import BadInput
from firstpull.units import LengthUnit, show_mm

__all__ = ["insert_on_its_side", "stack_section"]

_LEFT = 104.0
_ROW = 24.0
_HATCHED_FROM = 14.0


def stack_section(
    layers: Sequence[Layer],
    *,
    thickness_mm: float | None,
    unit: LengthUnit = "mm",
    ghost: InsertShape | None = None,
    width: float = 472,
    height: float = 300,
    key: str = "",
) -> str:
    """The layers in section, one scale, each with its material and thickness beside it.

    ``thickness_mm`` is that of the whole stack (mm); the layers share it as they share their own sum, so that a
    measured stack is drawn as measured. ``ghost`` is drawn in grey behind it. An empty stack gives the bench of the
    flange side only. Raises BadInput for a thickness that is not positive and finite.
    """
    given = [layer for layer in layers if layer[1] > 0]
    if not given or thickness_mm is None:
        return _empty(width, height, key)
    if not 0 < svg.finite(thickness_mm, "thickness") < 1000:
        raise BadInput("A stack is thicker than nothing and under 1 m.", where="thickness_mm")
    drawn = None if ghost is None else profile(ghost, thickness_mm=thickness_mm, set_length_mm=None)
    above = 30.0 if drawn is None else max(30.0, 0.12 * height)
    span_mm = thickness_mm if drawn is None else drawn.end_before_mm - drawn.top_mm
    room = height - above - 46
    right = width * (0.5 if drawn is not None else 0.58)
    scale = min(room / span_mm, 90.0 if drawn is None else 40.0)
    if drawn is not None:
        scale = min(scale, (right - _LEFT - 36) / 2 / drawn.flange_radius_mm)
    above = max(above, (height - span_mm * scale) / 2)
    datum = above + (0.0 if drawn is None else -drawn.top_mm * scale)
    parts = [_layers(given, thickness_mm, datum=datum, scale=scale, right=right, unit=unit, width=width, height=height)]
    if drawn is not None:
        centre = (_LEFT + right) / 2
        for side in (-1, 1):
            points = [(centre + side * r * scale, datum + d * scale) for r, d in drawn.before]
            parts.append(svg.polygon(points, stroke=None, fill=WHITE))
            parts.append(svg.path(svg.outline(points), stroke=BEFORE, width=1.8))
    words = ", ".join(f"{name} {show_mm(size, unit)}" for name, size, _coating in given)
    return svg.sheet(
        "".join(parts),
        width=width,
        height=height,
        title="The stack in section",
        description=f"From the flange to the blind side, in {unit}: {words}. Together {show_mm(thickness_mm, unit)}.",
        key=key,
    )


def insert_on_its_side(end: str = "open", *, width: float = 472, height: float = 300, key: str = "") -> str:
    """Where a free insert is measured: its length, its flange across and thick, its body across. Not to scale."""
    scale, middle, left = 14.0, height * 0.47, 104.0
    far = left + pieces.insert_length(end) * scale
    marks = svg.line((left, middle + 126), (far, middle + 126), width=1.4)
    for x in (left, far):
        marks += svg.line((x, middle + 116), (x, middle + 134), width=1.4)
    words = (
        svg.text("free length, flange and all", ((left + far) / 2, middle + 116), anchor="middle", size=18)
        + svg.text("flange", (left + 10, middle - 104), anchor="middle", size=18)
        + svg.text("body, just under the flange", (left + 66, middle - 78), size=18)
    )
    body = pieces.lying_insert((left, middle), scale, end=end) + marks + words
    return svg.sheet(
        body,
        width=width,
        height=height,
        title="Where an insert is measured",
        description="Free length with the flange, flange across and thick, body across just under the flange.",
        key=key,
    )


def _empty(width: float, height: float, key: str) -> str:
    middle = height / 2
    body = svg.line((_LEFT, middle), (width - 40, middle), stroke=QUIET, width=2, dash="10 8")
    body += svg.text("flange side", (_LEFT, middle - 14), fill=QUIET, size=20)
    body += svg.text("the first sheet lies here", (_LEFT, middle + 28), fill=QUIET, size=20)
    return svg.sheet(
        body,
        width=width,
        height=height,
        title="An empty stack",
        description="The first sheet lies under the flange.",
        key=key,
    )


def _layers(
    given: Sequence[Layer],
    thickness_mm: float,
    *,
    datum: float,
    scale: float,
    right: float,
    unit: LengthUnit,
    width: float,
    height: float,
) -> str:
    total = sum(size for _name, size, _coating in given)
    parts, labels = [], []
    depth = datum
    sheet = 0
    for name, size, coating in given:
        tall = size / total * thickness_mm * scale
        parts.append(
            svg.box(
                _LEFT,
                depth,
                width=right - _LEFT,
                height=max(tall, 2.0),
                fill=INK if coating else WHITE,
                stroke=INK,
                stroke_width=2,
            )
        )
        labels.append((depth + tall / 2, f"{svg.clean(name)}", show_mm(size, unit)))
        if not coating and tall >= _HATCHED_FROM:
            corners = [(_LEFT, depth), (right, depth), (right, depth + tall), (_LEFT, depth + tall)]
            parts.append(svg.path(svg.hatch(corners, spacing=12, falling=sheet % 2 == 1), stroke=BEFORE, width=0.9))
        sheet += not coating
        depth += tall
    for x in (_LEFT, right):
        parts.append(_torn(x, datum, bottom=depth))
    parts.append(svg.text("flange", (_LEFT - 6, datum - 10), fill=QUIET, anchor="end"))
    parts.append(svg.text("blind side", (_LEFT - 6, depth + 20), fill=QUIET, anchor="end"))
    x = _LEFT - 22
    parts.append(svg.line((x, datum), (x, depth), width=1.4))
    for y in (datum, depth):
        parts.append(svg.line((x - 7, y), (x + 7, y), width=1.4))
    parts.append(
        svg.text(
            show_mm(thickness_mm, unit), (x - 8, (datum + depth) / 2 + 7), size=22, bold=True, anchor="end", halo=True
        )
    )
    parts.append(_names(labels, right=right, width=width, height=height))
    return "".join(parts)


def _torn(x: float, top: float, *, bottom: float) -> str:
    """Where the sheets go on: a break line in the place of the edge."""
    tall, points = bottom - top, ((0.0, 0.0), (0.2, 0.0), (0.35, 5.0), (0.5, -5.0), (0.65, 5.0), (0.8, 0.0), (1.0, 0.0))
    line = svg.outline([(x + shift, top - 4 + share * (tall + 8)) for share, shift in points], closed=False)
    return svg.line((x, top + 1), (x, bottom - 1), stroke=WHITE, width=4) + svg.path(line, width=1.2)


def _names(labels: Sequence[tuple[float, str, str]], *, right: float, width: float, height: float) -> str:
    """Material and thickness beside each layer, moved apart where layers are thin, with a line to its layer."""
    rows = list(labels)
    if len(rows) * _ROW > height - 20:
        rows = [*rows[: int((height - 20) / _ROW) - 1], (rows[-1][0], f"{len(labels)} layers in all", "")]
    places: list[float] = []
    for middle, _name, _size in rows:
        places.append(max(middle, places[-1] + _ROW) if places else max(middle, 16.0))
    over = max(places[-1] - (height - 14), 0.0)
    parts = []
    for (middle, name, size), place in zip(rows, places, strict=True):
        y = place - over
        parts.append(svg.line((right + 7, middle), (right + 16, y), stroke=QUIET, width=1))
        value = f" {size}" if size else ""
        room = width - right - 44 - svg.text_width(value, 17, bold=True)
        parts.append(svg.text(svg.shorten(name, room, size=17), (right + 20, y + 6), size=17))
        parts.append(svg.text(value.strip(), (width - 6, y + 6), size=17, bold=True, anchor="end", halo=True))
    return "".join(parts)

"""Pictures that say what the words for a joint's loads, screw and places mean. Not to scale."""

from __future__ import annotations

from firstpull.drawing import pieces, svg
from firstpull.drawing.svg import INK, QUIET, WHITE, Point

__all__ = ["loads_picture", "part_picture", "place_picture"]

_SCALE = 9.0
_FLANGE_MM = 1.5
_PART_MM = 3.2
_WASHER_MM = 1.4
_HOLE_MM = 3.6
_SIZE = 20.0


def loads_picture(*, width: float = 472, height: float = 420, key: str = "loads") -> str:
    """Tension, shear and push as arrows on a part that is screwed to a set insert."""
    centre, surface = width / 2, height * 0.47
    top = surface - (_FLANGE_MM + _PART_MM) * _SCALE
    head = top - 4.4 * _SCALE
    parts = [_assembly((centre, surface))]
    for side in (-1, 1):
        x = centre + side * 8.2 * _SCALE
        parts.append(svg.arrow((x, top - 4), (x, top - 66), width=3, head=15))
    parts.append(_word("tension", (centre - 8.2 * _SCALE - 14, top - 40), anchor="end"))
    parts.append(_note("pulls the part off", (centre - 8.2 * _SCALE - 14, top - 20), anchor="end"))
    middle = top + _PART_MM * _SCALE / 2
    right = centre + 10.6 * _SCALE
    parts.append(svg.arrow((right, middle), (right + 62, middle), width=3, head=15))
    parts.append(_word("shear", (right + 68, middle + 7)))
    parts.append(_note("across the screw", (width - 4, middle + 32), anchor="end"))
    parts.append(svg.arrow((centre, 26), (centre, head - 4), width=3, head=15))
    parts.append(_word("push", (centre + 16, 36)))
    parts.append(_note("towards the blind side", (centre + 16, 56)))
    return svg.sheet(
        "".join(parts),
        width=width,
        height=height,
        title="The loads on one insert",
        description="Tension pulls the part off, shear acts across the screw, push presses the screw to the blind side.",
        key=key,
    )


def part_picture(*, width: float = 472, height: float = 420, key: str = "part") -> str:
    """The part that is screwed on, taken apart: its thickness, its hole, and a washer under the screw's head."""
    scale, centre, surface = 8.0, width / 2 - 20, height * 0.72
    low = surface - _FLANGE_MM * scale
    top = low - _PART_MM * scale
    seat, tip = 58.0, 136.0
    parts = [svg.line((centre, 10), (centre, top), width=1, dash="10 3 2 3"), pieces.joint((centre, surface), scale)]
    parts.append(_part_on((centre, low), scale))
    parts.append(_screw(centre, seat, tip=tip, scale=scale))
    washer = tip + 14
    parts.append(svg.box(centre - 6 * scale, washer, width=12 * scale, height=_WASHER_MM * scale, fill=WHITE))
    right = centre + 12 * scale
    parts.append(svg.line((centre + 6 * scale + 4, washer + 6), (right - 6, washer + 6), width=1.4))
    parts.append(_word("washer", (right, washer + 13)))
    level = top - 28
    for side in (-1, 1):
        x = centre + side * _HOLE_MM * scale
        parts.append(svg.line((x, top - 3), (x, level - 8), stroke=QUIET, width=1))
    parts.append(_span(centre - _HOLE_MM * scale, centre + _HOLE_MM * scale, level))
    parts.append(_word("its hole", (right, level + 7)))
    parts.append(svg.line((centre + _HOLE_MM * scale + 2, level), (right - 6, level), width=1))
    left = centre - 12.4 * scale
    parts += [_rule((centre - 9.6 * scale - 3, y), left - 7) for y in (top, low)]
    parts += [_span_upright(left, top, bottom=low), _word("part", (left - 12, (top + low) / 2 + 7), anchor="end")]
    parts.append(_note("bears on the flange", (centre + 9.6 * scale + 10, (top + low) / 2 + 5)))
    return svg.sheet(
        "".join(parts),
        width=width,
        height=height,
        title="The part that is screwed on",
        description="Thickness of the part, its hole, and the washer under the screw's head. It must bear on the flange.",
        key=key,
    )


def place_picture(*, width: float = 472, height: float = 420, key: str = "place") -> str:
    """Seen from above: centre to the sheet's edge and to the next insert; in section: a pocket around the insert."""
    left, right, level = 96.0, width - 36, 108.0
    first, second = left + 104, left + 264
    parts = [
        svg.box(left, 26, width=right - left, height=150, fill=WHITE, stroke=None),
        svg.path(svg.outline([(right, 26), (left, 26), (left, 176), (right, 176)], closed=False), width=2),
    ]
    for x in (first, second):
        parts += [svg.circle((x, level - 10), 34, fill=WHITE), svg.circle((x, level - 10), 16, fill=WHITE)]
        parts.append(svg.line((x, level - 54), (x, level + 58), width=1, dash="10 3 2 3"))
    under = level + 50
    parts += [_span(left, first, under), _span(first, second, under)]
    parts.append(_word("edge", ((left + first) / 2, under - 8), anchor="middle"))
    parts.append(_word("pitch", ((first + second) / 2, under - 8), anchor="middle"))
    parts.append(_note("sheet", (left + 10, 46)))
    parts.append(_pocket((width / 2 + 24, 322.0)))
    return svg.sheet(
        "".join(parts),
        width=width,
        height=height,
        title="Edge, pitch and pocket",
        description="Edge: centre to the sheet's edge. Pitch: centre to the next insert. Pocket: across and deep.",
        key=key,
    )


def _assembly(at: Point) -> str:
    """A set insert, the part on its flange, and the screw in it; ``at`` is the centre line on the sheet's surface."""
    x, surface = at
    low = surface - _FLANGE_MM * _SCALE
    seat = low - _PART_MM * _SCALE
    tip = surface + 10.6 * _SCALE
    screw = _screw(x, seat, tip=tip, scale=_SCALE)
    return svg.group(pieces.joint(at, _SCALE), _part_on((x, low), _SCALE), screw)


def _part_on(at: Point, scale: float) -> str:
    """The part in section; ``at`` is the centre line on its underside."""
    x, low = at
    top, walls = low - _PART_MM * scale, []
    for side in (-1, 1):
        points = [(x + side * r * scale, y) for r, y in ((_HOLE_MM, low), (9.6, low), (9.6, top), (_HOLE_MM, top))]
        walls.append(pieces.hatched(points, falling=side < 0))
    return svg.group(*walls)


def _screw(x: float, seat: float, *, tip: float, scale: float) -> str:
    """A screw seen from the side, the underside of its head at ``seat``."""
    shank = [(x - 3 * scale, seat), (x + 3 * scale, seat), (x + 3 * scale, tip - 8), (x + 2.3 * scale, tip)]
    parts = [svg.polygon([*shank, (x - 2.3 * scale, tip), (x - 3 * scale, tip - 8)], fill=WHITE)]
    for side in (-1, 1):
        root = x + side * 2.4 * scale
        parts.append(svg.line((root, seat), (root, tip - 2), width=1))
    parts.append(svg.box(x - 5 * scale, seat - 4.4 * scale, width=10 * scale, height=4.4 * scale, fill=WHITE))
    return svg.group(*parts)


def _pocket(at: Point) -> str:
    """A recess in section with the insert's hole in its floor, its width and its depth."""
    x, floor = at
    half, deep, sheet = 92.0, 62.0, 22.0
    outer, hole = half + 62, 26.0
    parts = []
    for side in (-1, 1):
        points = [
            (x + side * r, y)
            for r, y in (
                (hole, floor), (half, floor), (half, floor - deep), (outer, floor - deep), (outer, floor - deep + sheet),
                (half + sheet, floor - deep + sheet), (half + sheet, floor + sheet), (hole, floor + sheet),
            )
        ]  # fmt: skip
        parts.append(pieces.hatched(points, falling=side < 0))
    parts.append(svg.line((x, floor - deep - 22), (x, floor + sheet + 16), width=1, dash="10 3 2 3"))
    parts.append(_span(x - half, x + half, floor - deep / 2 - 4))
    parts.append(_word("pocket", (x, floor - deep / 2 - 14), anchor="middle"))
    left = x - outer - 24
    parts += [_rule((x - outer - 3, floor - deep), left - 7), _rule((x - half - sheet - 3, floor), left - 7)]
    parts.append(_span_upright(left, floor - deep, bottom=floor))
    parts.append(_word("deep", (left - 12, floor - deep / 2 + 7), anchor="end"))
    return svg.group(*parts)


def _word(value: str, at: Point, *, anchor: str = "start") -> str:
    return svg.text(value, at, size=_SIZE, bold=True, anchor=anchor, halo=True)


def _note(value: str, at: Point, *, anchor: str = "start") -> str:
    return svg.text(value, at, size=15, fill=QUIET, anchor=anchor, halo=True)


def _rule(start: Point, x: float) -> str:
    return svg.line(start, (x, start[1]), stroke=QUIET, width=1)


def _span(left: float, right: float, level: float) -> str:
    """A level dimension line with arrows at both ends."""
    heads = svg.arrow_head((left, level), 3.1415927) + svg.arrow_head((right, level), 0.0)
    return svg.line((left + 8, level), (right - 8, level), stroke=INK, width=1.4) + heads


def _span_upright(x: float, top: float, *, bottom: float) -> str:
    heads = svg.arrow_head((x, top), -1.5707963) + svg.arrow_head((x, bottom), 1.5707963)
    return svg.line((x, top + 8), (x, bottom - 8), stroke=INK, width=1.4) + heads

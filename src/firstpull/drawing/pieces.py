"""Pieces that the step and check pictures share: an insert set in two sheets, a mandrel, an anvil, a coupling."""

from __future__ import annotations

from collections.abc import Sequence

from firstpull.drawing import svg
from firstpull.drawing.profile import InsertShape, profile
from firstpull.drawing.svg import BEFORE, INK, QUIET, WHITE, Point

SHAPE_OPEN = InsertShape(14.0, 6.0, 13.0, 1.5, 9.0, 5.5, 7.0)
SHAPE_CLOSED = InsertShape(17.5, 6.0, 13.0, 1.5, 9.0, 6.5, 7.0, end="closed")
_STACK_MM = 3.0


def hatched(points: Sequence[Point], *, stroke: str = INK, falling: bool = False, width: float = 2.2) -> str:
    """A cut solid: white, hatched, outlined."""
    return (
        svg.polygon(points, stroke=None, fill=WHITE)
        + svg.path(svg.hatch(points, falling=falling), stroke=stroke, width=0.9)
        + svg.polygon(points, stroke=stroke, width=width)
    )


def joint(
    at: Point,
    scale: float,
    *,
    lift_mm: float = 0.0,
    split_mm: float = 0.0,
    low_mm: float = 0.0,
    tilt_degrees: float = 0.0,
    swell: tuple[float, float] = (1.0, 1.0),
    set_length_mm: float = 11.7,
    dish_mm: float = 0.0,
    reach_mm: float = 11.0,
) -> str:
    """A set insert in two sheets, flange up; ``at`` is the centre line on the upper surface.

    ``lift_mm`` raises the flange off the sheet, ``split_mm`` parts the sheets, ``low_mm`` leaves air between sheet and
    blind head, ``swell`` scales the blind head left and right, ``dish_mm`` sinks flange and sheet at the middle.
    """
    x, y = at
    stack = _STACK_MM + split_mm + low_mm + lift_mm
    drawn = profile(SHAPE_OPEN, thickness_mm=stack, set_length_mm=set_length_mm + split_mm + low_mm + lift_mm)
    body = drawn.body_radius_mm
    parts = []
    for side in (-1, 1):
        for top, bottom in ((0.0, 1.5), (1.5 + split_mm, 3.0 + split_mm)):
            corners = [(body, top + dish_mm), (reach_mm, top), (reach_mm, bottom), (body, bottom + dish_mm)]
            if dish_mm:
                corners[1:1] = [(7.6, top)]
                corners[-1:-1] = [(7.6, bottom)]
            parts.append(svg.polygon([(x + side * r * scale, y + d * scale) for r, d in corners], fill=WHITE))
    for side, grow in ((-1, swell[0]), (1, swell[1])):
        assert drawn.after is not None
        points = []
        for radius, depth in drawn.after:
            wide = body + (radius - body) * grow if radius > body and depth > 0.1 else radius
            sunk = dish_mm * (1.0 if radius < 5 else 0.0)
            points.append((x + side * wide * scale, y + (depth - lift_mm + sunk) * scale))
        solid = hatched(points, falling=side > 0)
        parts.append(svg.group(solid, transform=_turn(tilt_degrees, at)) if tilt_degrees else solid)
    bottom = y + (drawn.end_after_mm or 0) * scale
    axis = svg.line((x, y - 2.6 * scale), (x, bottom + 8), width=1, dash="10 3 2 3")
    parts.append(svg.group(axis, transform=_turn(tilt_degrees, at)) if tilt_degrees else axis)
    return svg.group(*parts)


def _turn(degrees: float, at: Point) -> str:
    return f"rotate({svg.number(degrees)} {svg.number(at[0])} {svg.number(at[1])})"


def lying_insert(at: Point, scale: float, *, end: str, stroke: str = INK) -> str:
    """A free insert in section on a level centre line; ``at`` is the outer face of its flange, the far end to the right."""
    shape = SHAPE_CLOSED if end == "closed" else SHAPE_OPEN
    drawn = profile(shape, thickness_mm=_STACK_MM, set_length_mm=None)
    parts = []
    for side in (-1, 1):
        points = [(at[0] + (d - drawn.top_mm) * scale, at[1] + side * r * scale) for r, d in drawn.before]
        parts.append(hatched(points, stroke=stroke, falling=side > 0))
        major = at[1] + side * drawn.major_radius_mm * scale
        start, stop = (at[0] + (d - drawn.top_mm) * scale for d in drawn.thread_before)
        parts.append(svg.line((start, major), (stop, major), stroke=stroke, width=1))
    return svg.group(*parts)


def insert_length(end: str) -> float:
    """Overall length in mm of the insert that :func:`lying_insert` draws."""
    return (SHAPE_CLOSED if end == "closed" else SHAPE_OPEN).length_free_mm


def mandrel(left: float, right: float, *, middle: float, radius: float, thread_from: float, stroke: str = INK) -> str:
    """A threaded rod on a level axis, its tip chamfered at ``right``, thread lines from ``thread_from``."""
    tip = radius * 0.35
    body = [
        (left, middle - radius),
        (right - tip, middle - radius),
        (right, middle - radius + tip),
        (right, middle + radius - tip),
        (right - tip, middle + radius),
        (left, middle + radius),
    ]
    root = radius * 0.78
    parts = [svg.polygon(body, fill=WHITE, stroke=stroke)]
    pitch = radius * 0.55
    x = thread_from
    while x + pitch * 0.5 < right - tip:
        parts.append(svg.line((x, middle + root), (x + pitch * 0.5, middle - root), stroke=stroke, width=1))
        x += pitch
    for side in (-1, 1):
        parts.append(
            svg.line(
                (thread_from, middle + side * root), (right - tip * 0.6, middle + side * root), stroke=stroke, width=1
            )
        )
    return svg.group(*parts)


def anvil(face: float, *, middle: float, scale: float, length: float, stroke: str = INK) -> str:
    """The nosepiece in section, its face at x = ``face``, bored for the mandrel, with a stepped back."""
    parts = []
    for side in (-1, 1):
        radii = ((3.4, 0.0), (6.0, 0.0), (7.4, 4.0), (7.4, length))
        points = [(face - back * scale, middle + side * r * scale) for r, back in radii]
        points += [(face - length * scale, middle + side * 3.4 * scale)]
        parts.append(hatched(points, stroke=stroke, falling=side < 0))
    return svg.group(*parts)


def tool_front(right: float, *, middle: float, scale: float, left: float) -> str:
    """The front of the tool, a plain barrel that runs off to the left behind a break line."""
    half = 10.0 * scale
    data = f"M{svg.number(left)} {svg.number(middle - half)}L{svg.number(right)} {svg.number(middle - half)}"
    data += f"L{svg.number(right)} {svg.number(middle + half)}L{svg.number(left)} {svg.number(middle + half)}"
    edge = [
        (left, middle - half),
        (left + 5, middle - half / 2),
        (left - 5, middle),
        (left + 5, middle + half / 2),
        (left, middle + half),
    ]
    return svg.path(data, fill=WHITE) + svg.path(svg.outline(edge, closed=False), width=1.2)


def lock_ring(left: float, *, middle: float, scale: float, width: float) -> str:
    """A knurled ring that locks the anvil."""
    half = 8.8 * scale
    parts = [svg.box(left, middle - half, width=width, height=2 * half, fill=WHITE)]
    steps = 9
    for index in range(1, steps):
        y = middle - half + 2 * half * index / steps
        parts.append(svg.line((left + 3, y), (left + width - 3, y), width=1, stroke=QUIET))
    return svg.group(*parts)


def coupling(middle: Point, *, gap: float) -> str:
    """A hose from the left and the tool's air inlet to the right, ``gap`` px apart; 0 is joined."""
    x, y = middle
    left, right = x - gap / 2, x + gap / 2
    hose = f"M{svg.number(left - 150)} {svg.number(y + 46)}C{svg.number(left - 120)} {svg.number(y + 46)} {svg.number(left - 130)} {svg.number(y)} {svg.number(left - 62)} {svg.number(y)}"
    parts = [
        svg.path(hose, stroke=INK, width=16),
        svg.path(hose, stroke=WHITE, width=11),
        svg.box(left - 66, y - 18, width=46, height=36, fill=WHITE),
        svg.box(left - 20, y - 23, width=20, height=46, fill=WHITE),
        svg.line((left - 52, y - 18), (left - 52, y + 18), width=1.2),
        svg.line((left - 38, y - 18), (left - 38, y + 18), width=1.2),
        svg.box(right, y - 12, width=34, height=24, fill=WHITE),
        svg.line((right + 9, y - 12), (right + 9, y + 12), width=1.2),
        svg.box(right + 34, y - 34, width=78, height=68, fill=WHITE),
        svg.text("tool", (right + 73, y + 5), anchor="middle", fill=QUIET),
    ]
    return svg.group(*parts)


def breath(at: Point) -> str:
    """Air that leaves: three short strokes to the right of ``at``."""
    return "".join(
        svg.line((at[0] + 4, at[1] + dy), (at[0] + 20, at[1] + 2 * dy), stroke=BEFORE, width=1.6) for dy in (-7, 0, 7)
    )

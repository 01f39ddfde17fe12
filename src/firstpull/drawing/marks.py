"""State marks: a shape and its word, so that no state is told by colour alone."""

from __future__ import annotations

import math
from collections.abc import Callable

from firstpull.drawing import svg
from firstpull.drawing.svg import AMBER, BRICK, INK, QUIET, WHITE, Point
from firstpull.errors import BadInput

__all__ = ["MARKS", "mark_shape", "state_mark"]


def _ring(at: Point, size: float) -> str:
    return svg.circle(at, size * 0.42, fill=WHITE, width=size * 0.08) + svg.circle(
        at, size * 0.15, fill=INK, stroke=None
    )


def _triangle(at: Point, size: float) -> str:
    x, y = at
    corners = ((x, y - size * 0.42), (x + size * 0.45, y + size * 0.38), (x - size * 0.45, y + size * 0.38))
    bar = svg.line((x, y - size * 0.14), (x, y + size * 0.14), width=size * 0.1)
    return (
        svg.polygon(corners, fill=AMBER, width=size * 0.07)
        + bar
        + svg.circle((x, y + size * 0.26), size * 0.055, fill=INK, stroke=None)
    )


def _octagon(at: Point, size: float) -> str:
    corners = [
        (
            at[0] + size * 0.46 * math.cos(math.pi * (k + 0.5) / 4),
            at[1] + size * 0.46 * math.sin(math.pi * (k + 0.5) / 4),
        )
        for k in range(8)
    ]
    square = svg.box(
        at[0] - size * 0.17, at[1] - size * 0.17, width=size * 0.34, height=size * 0.34, fill=WHITE, stroke=None
    )
    return svg.polygon(corners, fill=BRICK, stroke=INK, width=size * 0.05) + square


def _tick(at: Point, size: float) -> str:
    x, y = at
    points = ((x - size * 0.2, y + size * 0.02), (x - size * 0.05, y + size * 0.18), (x + size * 0.22, y - size * 0.18))
    return svg.circle(at, size * 0.42, fill=WHITE, width=size * 0.07) + svg.path(
        svg.outline(points, closed=False), width=size * 0.11
    )


def _cross(at: Point, size: float) -> str:
    x, y = at
    arm = size * 0.2
    frame = svg.box(
        x - size * 0.4,
        y - size * 0.4,
        width=size * 0.8,
        height=size * 0.8,
        fill=WHITE,
        stroke=BRICK,
        stroke_width=size * 0.07,
    )
    one = svg.line((x - arm, y - arm), (x + arm, y + arm), stroke=BRICK, width=size * 0.11)
    return frame + one + svg.line((x - arm, y + arm), (x + arm, y - arm), stroke=BRICK, width=size * 0.11)


def _open_box(at: Point, size: float) -> str:
    half = size * 0.38
    return svg.element(
        "rect",
        x=at[0] - half,
        y=at[1] - half,
        width=2 * half,
        height=2 * half,
        fill=WHITE,
        stroke=INK,
        stroke_width=size * 0.07,
        stroke_dasharray=f"{svg.number(size * 0.14)} {svg.number(size * 0.1)}",
    )


def _hatched(at: Point, size: float) -> str:
    x, y = at
    half = size * 0.4
    corners = (
        (x - half, y - half * 0.7),
        (x + half, y - half * 0.7),
        (x + half, y + half * 0.7),
        (x - half, y + half * 0.7),
    )
    lines = svg.path(svg.hatch(corners, spacing=size * 0.13), stroke=QUIET, width=size * 0.05)
    return svg.polygon(corners, fill=WHITE, stroke=None) + lines + svg.polygon(corners, width=size * 0.07)


_SHAPES: dict[str, Callable[[Point, float], str]] = {
    "in control": _ring,
    "look": _triangle,
    "stop": _octagon,
    "passes": _tick,
    "fails": _cross,
    "owed": _open_box,
    "practice": _hatched,
}
MARKS = tuple(_SHAPES)


def mark_shape(state: str, at: Point, *, size: float) -> str:
    """The shape of ``state`` around ``at``, ``size`` px, to put inside another drawing. Raises BadInput."""
    draw = _SHAPES.get(state)
    if draw is None:
        raise BadInput(f"“{state}” is not a state mark.", where="state", hint=", ".join(MARKS))
    return draw(at, size)


def state_mark(state: str, *, size: float = 48, with_word: bool = True, key: str = "") -> str:
    """The mark of ``state`` (in control, look, stop, passes, fails, owed, practice) with its word beside it.

    Leave the word out only where the same word stands beside the drawing. Raises BadInput for another state.
    """
    body = mark_shape(state, (size / 2, size / 2), size=size)
    width = size
    if with_word:
        letters = size * 0.56
        body += svg.text(state, (size * 1.16, size * 0.69), size=letters, bold=True)
        width = size * 1.24 + svg.text_width(state, letters, bold=True)
    return svg.sheet(body, width=width, height=size, title=state, description=f"State: {state}", key=key)

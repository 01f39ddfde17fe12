"""The knob seen from its end, with the arc to turn."""

from __future__ import annotations

import math

from firstpull.drawing import svg
from firstpull.drawing.svg import INK, PETROL, QUIET, WHITE, Point
from firstpull.errors import BadInput

__all__ = ["knob_body", "knob_turn"]

_DIRECTIONS = ("clockwise", "anticlockwise")
_SPIRAL_TURNS = 3.0


def knob_turn(
    turns: float,
    *,
    clicks: int | None,
    direction: str,
    clicks_per_turn: int | None = None,
    width: float = 472,
    height: float = 260,
    key: str = "",
) -> str:
    """How far to turn the knob, ``turns`` ≥ 0, ``direction`` clockwise or anticlockwise as seen from the knob's end.

    With ``clicks`` the headline counts clicks and the turned ones are marked. Raises BadInput for a direction of
    another name and for turns below 0 or over 1000.
    """
    if direction not in _DIRECTIONS:
        raise BadInput(f"“{direction}” is not a direction.", where="direction", hint="clockwise or anticlockwise")
    if not 0 <= svg.finite(turns, "turns") <= 1000 or (clicks is not None and not 0 <= clicks <= 100_000):
        raise BadInput(
            "That is not a number of turns.", where="turns", hint="From 0 to 1000; the direction is separate."
        )
    still = clicks == 0 if clicks is not None else turns < 0.005
    per_turn = clicks_per_turn or (round(clicks / turns) if clicks and turns > 0 else None)
    centre, radius = (height / 2, height / 2 + 2), height * 0.27
    sense = 1 if direction == "clockwise" else -1
    parts = [knob_body(centre, radius)]
    if per_turn and 2 <= per_turn <= 72:
        parts.append(_marks(centre, radius, per_turn=per_turn, turned=0 if still else (clicks or 0), sense=sense))
    if not still:
        parts.append(_arc(centre, radius, turns=turns, sense=sense))
    rows = _headline(turns, clicks, direction=direction, still=still, per_turn=per_turn)
    parts.append(_words(rows, left=height + 14, width=width - height - 22, middle=height / 2))
    return svg.sheet(
        "".join(parts),
        width=width,
        height=height,
        title="Leave the knob" if still else f"Turn the knob {' '.join(rows)}",
        description="The knob seen from its end; the arc starts at the mark at the top.",
        key=key,
    )


def _headline(turns: float, clicks: int | None, *, direction: str, still: bool, per_turn: int | None) -> list[str]:
    if still:
        return ["0", "leave the knob"]
    whole = math.floor(turns + 0.005)
    rest = turns - whole
    spelled = f"{turns:.2f} turn{'s' if turns >= 1.005 else ''}"
    if clicks is None:
        return [f"{turns:.2f}", f"turn{'s' if turns >= 1.005 else ''} {direction}"]
    rows = [f"{clicks} click{'s' if clicks != 1 else ''}", direction]
    if per_turn and clicks > per_turn:
        left = clicks - whole * per_turn
        spelled = f"{whole} full turn{'s' if whole > 1 else ''}" + (
            f" + {left} clicks" if left > 0 and rest > 0 else ""
        )
    return [*rows, spelled]


def _words(rows: list[str], *, left: float, width: float, middle: float) -> str:
    size = 56.0
    while size > 28 and svg.text_width(rows[0], size, bold=True) > width:
        size -= 2
    second = 28.0
    while second > 16 and svg.text_width(rows[1], second, bold=True) > width:
        second -= 1
    parts = [
        svg.text(rows[0], (left, middle - 4), size=size, bold=True, fill=PETROL),
        svg.text(rows[1], (left, middle + 30), size=second, bold=True),
    ]
    if len(rows) > 2:
        parts.append(svg.text(svg.shorten(rows[2], width, size=16), (left, middle + 58), size=16, fill=QUIET))
    return "".join(parts)


def _polar(centre: Point, radius: float, *, turn: float) -> Point:
    """A point at ``turn`` turns clockwise from the top."""
    angle = 2 * math.pi * turn
    return (centre[0] + radius * math.sin(angle), centre[1] - radius * math.cos(angle))


def knob_body(centre: Point, radius: float) -> str:
    """A scalloped grip with a slotted screw end and an index mark on the housing."""
    rim = []
    for step in range(288):
        turn = step / 288
        rim.append(_polar(centre, radius * (0.965 + 0.035 * math.cos(2 * math.pi * 24 * turn)), turn=turn))
    top = _polar(centre, radius * 1.02, turn=0)
    index = [top, (top[0] - 8, top[1] - 15), (top[0] + 8, top[1] - 15)]
    return svg.group(
        svg.polygon(rim, fill=WHITE, width=2.4),
        svg.circle(centre, radius * 0.78, width=1.4),
        svg.circle(centre, radius * 0.3, width=2),
        svg.line(_polar(centre, radius * 0.2, turn=0.125), _polar(centre, radius * 0.2, turn=0.625), width=4),
        svg.line(_polar(centre, radius * 0.42, turn=0), _polar(centre, radius * 0.74, turn=0), width=5),
        svg.polygon(index, stroke=None, fill=INK),
    )


def _marks(centre: Point, radius: float, *, per_turn: int, turned: int, sense: int) -> str:
    """One tick a click around the housing; those that will be passed are bold."""
    parts = []
    for index in range(per_turn):
        passed = turned > 0 and (index == 0 or index <= turned)
        start = _polar(centre, radius * 1.08, turn=sense * index / per_turn)
        stop = _polar(centre, radius * (1.2 if passed else 1.15), turn=sense * index / per_turn)
        if index:
            width = 3.0 if passed else 1.4
            parts.append(svg.line(start, stop, stroke=PETROL if passed else QUIET, width=width))
    return svg.group(*parts)


def _arc(centre: Point, radius: float, *, turns: float, sense: int) -> str:
    """A spiral arrow for up to three turns; beyond that a full ring and the last part of a turn."""
    shown = turns if turns <= _SPIRAL_TURNS else 1 + turns - math.floor(turns)
    first = radius * 1.34
    growth = radius * 0.13
    count = max(8, math.ceil(shown * 90))
    back = 14 / (2 * math.pi * (first + growth * shown))  # the head replaces the last 14 px
    tail = max(shown - back, shown * 0.3)
    points = [
        _polar(centre, first + growth * shown * k / count, turn=sense * tail * k / count) for k in range(count + 1)
    ]
    tip = _polar(centre, first + growth * shown, turn=sense * shown)
    angle = math.atan2(tip[1] - points[-1][1], tip[0] - points[-1][0])
    start = svg.line(_polar(centre, first - 9, turn=0), _polar(centre, first + 9, turn=0), stroke=PETROL, width=3)
    arc = svg.path(svg.outline(points, closed=False), stroke=PETROL, width=6, data_part="arc")
    if turns > _SPIRAL_TURNS:
        ring = svg.text(
            f"{math.floor(turns)} ×", (centre[0] - first - growth, centre[1] - first), size=16, bold=True, fill=PETROL
        )
        start += ring
    return svg.group(start, arc, svg.arrow_head(tip, angle, length=20, half=11, fill=PETROL))

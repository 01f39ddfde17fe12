"""What a good and a bad set insert look like, one coupon check a picture."""

from __future__ import annotations

import math
from collections.abc import Callable

from firstpull.drawing import svg
from firstpull.drawing.marks import mark_shape
from firstpull.drawing.pieces import joint
from firstpull.drawing.svg import BRICK, INK, PETROL, WHITE, Point
from firstpull.errors import BadInput

__all__ = ["CHECKS", "check_body", "check_picture"]

_AT: Point = (118.0, 80.0)
_SCALE = 9.4


def check_picture(
    name: str, good: bool, *, width: float = 236, height: float = 236, words_below: bool = True, key: str = ""
) -> str:
    """The coupon check ``name`` as it looks when it passes (``good``) or fails, with mark and word.

    Two of them stand side by side at the 472 px of a column; where they are shown small, ``words_below`` is left out
    because its type would be too small to read. Raises BadInput for another check.
    """
    entry = _PICTURES.get(name)
    if entry is None:
        raise BadInput(f"“{name}” is not a check.", where="name", hint=", ".join(CHECKS))
    draw, good_words, bad_words = entry
    words = good_words if good else bad_words
    fitted = svg.group(
        draw(good), transform=f"translate({svg.number((width - 236) / 2)} {svg.number((height - 236) / 2 + 4)})"
    )
    state, word = ("passes", "good") if good else ("fails", "bad")
    head = mark_shape(state, (22, 20), size=26) + svg.text(
        word, (42, 26), size=18 if words_below else 26, bold=True, fill=INK if good else BRICK
    )
    rows = svg.wrap(words, width - 20, size=16, lines=2)
    caption = (
        ""
        if not words_below
        else "".join(
            svg.text(row, (width / 2, height - 10 - 20 * (len(rows) - 1 - index)), size=16, anchor="middle")
            for index, row in enumerate(rows)
        )
    )
    return svg.sheet(
        head + fitted + caption,
        width=width,
        height=height,
        title=f"{name.replace('_', ' ')}, {word}",
        description=words,
        key=key,
    )


def check_body(name: str, good: bool) -> str:
    """Only the drawing of a check, in its own 236 × 236 px, without mark and words. Raises BadInput."""
    entry = _PICTURES.get(name)
    if entry is None:
        raise BadInput(f"“{name}” is not a check.", where="name", hint=", ".join(CHECKS))
    return entry[0](good)


def _flush(good: bool) -> str:
    if good:
        edge = svg.line((10, 64.5), (226, 64.5), stroke=PETROL, width=3)
        return joint(_AT, _SCALE) + edge
    return joint(_AT, _SCALE, dish_mm=1.2) + svg.line((10, 64.5), (226, 64.5), stroke=PETROL, width=3)


def _gap(good: bool) -> str:
    if good:
        return joint(_AT, _SCALE)
    leaf = svg.box(12, _AT[1] - 8, width=62, height=5, fill=PETROL, stroke=None)
    return joint(_AT, _SCALE, lift_mm=1.1, split_mm=0.9) + leaf


def _tilt(good: bool) -> str:
    level = 64.5 if good else 56.0
    square = svg.line((10, level), (226, level), stroke=PETROL, width=2)
    return joint(_AT, _SCALE, tilt_degrees=0 if good else 8) + square


def _from_above(angle: float) -> str:
    """The flange seen from above with a match mark drawn across flange and sheet."""
    x, y = 118.0, 106.0
    turn = math.radians(angle)
    parts = [
        svg.box(22, 46, width=192, height=124, fill=WHITE, stroke_width=1.6),
        svg.circle((x, y), 48, fill=WHITE, width=2.4),
        svg.circle((x, y), 25, width=2.4),
        svg.element("path", d=f"M{x + 29} {y}A29 29 0 1 1 {x} {y - 29}", fill="none", stroke=INK, stroke_width=1.2),
        svg.line((x, y - 50), (x, y - 58), width=6, stroke=PETROL),
    ]
    inner = (x + 33 * math.sin(turn), y - 33 * math.cos(turn))
    outer = (x + 47 * math.sin(turn), y - 47 * math.cos(turn))
    parts.append(svg.line(inner, outer, width=6, stroke=PETROL))
    return svg.group(*parts)


def _turn(good: bool) -> str:
    body = _from_above(0 if good else 38)
    if good:
        return body
    arc = svg.path("M128 42A66 66 0 0 1 164 60", stroke=BRICK, width=4)
    return body + arc + svg.arrow_head((175, 74), 0.9, length=18, half=9, fill=BRICK)


def _thread_gauge(good: bool) -> str:
    """A plug gauge: through the thread, or stuck at its first turns."""
    top, tip = (60.0, 200.0) if good else (4.0, 138.0)
    x, radius = _AT[0], 3.0 * _SCALE * 0.9
    rod = [(x - radius, top), (x + radius, top), (x + radius, tip - 6), (x + radius - 6, tip)]
    rod += [(x - radius + 6, tip), (x - radius, tip - 6)]
    parts = [joint(_AT, _SCALE), svg.polygon(rod, fill=WHITE, stroke=PETROL)]
    y = tip - 12.0
    while y > tip - 66:
        parts.append(svg.line((x - radius, y + 3), (x + radius, y - 3), stroke=PETROL, width=1.2))
        y -= 7
    if good:
        parts.append(svg.box(x - 20, 22, width=40, height=38, fill=WHITE, stroke=PETROL))
    return svg.group(*parts)


def _blind_head(good: bool) -> str:
    if good:
        return joint(_AT, _SCALE)
    body = joint(_AT, _SCALE, swell=(0.5, 1.35))
    x, y = _AT[0] + 6.7 * _SCALE, _AT[1] + 3.2 * _SCALE
    crack = [(x + 6, y - 4), (x - 3, y + 2), (x + 5, y + 6), (x - 6, y + 11), (x + 1, y + 17)]
    return body + svg.path(svg.outline(crack, closed=False), stroke=BRICK, width=3)


def _section(good: bool) -> str:
    if good:
        return joint(_AT, _SCALE)
    x, y = _AT[0] + 5.6 * _SCALE, _AT[1] + 3.6 * _SCALE
    marks = svg.arrow((x + 42, y + 26), (x + 8, y + 1), stroke=BRICK, head=13)
    return joint(_AT, _SCALE, low_mm=1.0, set_length_mm=12.0) + marks


def _torque(good: bool) -> str:
    """A torque wrench's scale: the wanted torque is a mark; the hand stands beyond it or the insert let go before."""
    x, y, radius = 118.0, 150.0, 88.0
    parts = [svg.path(f"M{x - radius} {y}A{radius} {radius} 0 0 1 {x + radius} {y}", width=2.4)]
    for index in range(11):
        angle = math.pi * (1 - index / 10)
        long = 14 if index % 5 == 0 else 8
        outer = (x + radius * math.cos(angle), y - radius * math.sin(angle))
        inner = (x + (radius - long) * math.cos(angle), y - (radius - long) * math.sin(angle))
        parts.append(svg.line(outer, inner, width=1.6))
    wanted, reached = math.pi * 0.38, math.pi * (0.24 if good else 0.66)
    tip = (x + (radius + 3) * math.cos(wanted), y - (radius + 3) * math.sin(wanted))
    parts.append(svg.polygon(_flag(tip, wanted), stroke=None, fill=PETROL))
    hand = (x + (radius - 20) * math.cos(reached), y - (radius - 20) * math.sin(reached))
    parts.append(svg.arrow((x, y), hand, stroke=INK if good else BRICK, width=4, head=18))
    parts.append(svg.circle((x, y), 9, fill=INK))
    if not good:
        arc = svg.path(f"M{x - 34} {y + 20}A38 38 0 0 0 {x + 30} {y + 22}", stroke=BRICK, width=3)
        parts.append(arc + svg.arrow_head((x + 39, y + 11), -0.9, length=15, half=7, fill=BRICK))
    return svg.group(*parts)


def _flag(tip: Point, angle: float) -> tuple[Point, Point, Point]:
    """A small wedge outside the scale that points at the wanted torque."""
    out, side = 20.0, 9.0
    x, y = tip[0] + out * math.cos(angle), tip[1] - out * math.sin(angle)
    return (
        tip,
        (x + side * math.sin(angle), y + side * math.cos(angle)),
        (x - side * math.sin(angle), y - side * math.cos(angle)),
    )


_PICTURES: dict[str, tuple[Callable[[bool], str], str, str]] = {
    "flush": (_flush, "Flange lies flat on the sheet", "Flange dished, sheet pulled in"),
    "gap": (_gap, "No gap, parts tight", "A leaf goes under; parts loose"),
    "tilt": (_tilt, "Flange square to the sheet", "Head tilted"),
    "turn": (_turn, "Marks in line: does not turn", "Marks apart: it turned"),
    "thread_gauge": (_thread_gauge, "Gauge goes all the way", "Gauge sticks in the thread"),
    "blind_head": (_blind_head, "Bulge even, no crack", "Bulge uneven or cracked"),
    "section": (_section, "Fold closed, tight to the sheet", "Fold open, clear of the sheet"),
    "torque": (_torque, "Holds past the wanted torque", "Turns before that torque"),
}
CHECKS = tuple(_PICTURES)

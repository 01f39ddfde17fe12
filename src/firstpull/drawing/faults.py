"""Small pictures of what goes wrong, one a fault, for tiles that are read at arm's length."""

from __future__ import annotations

from collections.abc import Callable

from firstpull.drawing import svg
from firstpull.drawing.checks import CHECKS, check_body
from firstpull.drawing.pieces import joint, mandrel
from firstpull.drawing.svg import BRICK, INK, PETROL, QUIET, WHITE
from firstpull.errors import BadInput

__all__ = ["FAULT_PICTURES", "fault_picture"]

_SIDE = 236.0


def fault_picture(name: str, *, title: str = "", width: float = 160, height: float = 104, key: str = "") -> str:
    """The fault ``name`` drawn without words; ``title`` says it to those who do not see it. Raises BadInput."""
    if name in CHECKS:
        body, top, bottom = check_body(name, good=False), *_SPAN.get(name, (40.0, 190.0))
    elif name in _OWN:
        body, top, bottom = _OWN[name](), *_SPAN.get(name, (40.0, 190.0))
    else:
        raise BadInput(f"“{name}” is not a picture of a fault.", where="name", hint=", ".join(FAULT_PICTURES))
    scale = min(height / (bottom - top), width / _SIDE)
    left = (width - _SIDE * scale) / 2
    down = (height - (bottom - top) * scale) / 2 - top * scale
    fitted = svg.group(body, transform=f"translate({svg.number(left)} {svg.number(down)}) scale({svg.number(scale)})")
    return svg.sheet(
        fitted,
        width=width,
        height=height,
        title=title or name.replace("_", " "),
        description="What is wrong is brick.",
        key=key,
    )


def _stripped() -> str:
    """A mandrel torn off in front of an insert whose threads came out as a coil."""
    y = 110.0
    coil = "".join(svg.path(f"M{150 + 13 * turn} {y - 24}q10 24 0 48", stroke=BRICK, width=3) for turn in range(5))
    torn = svg.path(f"M112 {y - 20}l10 8l-8 9l11 8l-9 8l8 7", stroke=BRICK, width=4)
    return mandrel(14, 112, middle=y, radius=20, thread_from=60) + torn + coil


def _bulged() -> str:
    """A sheet that rose about the flange."""
    wave = svg.path("M10 92q36 0 52 -20M226 92q-36 0 -52 -20", stroke=BRICK, width=5)
    return joint((118.0, 80.0), 9.4, dish_mm=0.6) + wave


def _drift() -> str:
    """Readings that climb out of their window."""
    limits = [svg.line((14, level), (222, level), width=2.4) for level in (70, 170)]
    dots = [(30, 150), (62, 138), (94, 128), (126, 108), (158, 92), (190, 64)]
    trail = svg.path(svg.outline([(float(x), float(y)) for x, y in dots], closed=False), stroke=QUIET, width=2)
    marks = [svg.circle((x, y), 8, fill=BRICK if y < 70 else INK, stroke=None) for x, y in dots]
    return svg.group(*limits, trail, *marks)


def _slip() -> str:
    """A caliper's display whose decimal point stands a digit off."""
    frame = svg.box(20, 66, width=196, height=98, fill=WHITE, stroke_width=4)
    good = svg.text("11.16", (118, 108), size=34, bold=True, anchor="middle", fill=PETROL)
    bad = svg.text("1.116", (118, 150), size=34, bold=True, anchor="middle", fill=BRICK)
    return frame + good + bad


_OWN: dict[str, Callable[[], str]] = {"stripped": _stripped, "bulged": _bulged, "drift": _drift, "slip": _slip}
_SPAN = {
    "thread_gauge": (0.0, 200.0),
    "turn": (36.0, 176.0),
    "tilt": (30.0, 196.0),
    "section": (40.0, 190.0),
    "drift": (44.0, 190.0),
    "slip": (52.0, 178.0),
    "stripped": (60.0, 160.0),
}
FAULT_PICTURES = (*CHECKS, *_OWN)

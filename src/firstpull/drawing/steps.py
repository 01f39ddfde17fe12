"""Fitting the tool, one act a picture: air off, mandrel, engagement, anvil, knob, air on."""

from __future__ import annotations

from collections.abc import Callable

from firstpull.drawing import pieces, svg
from firstpull.drawing.knob import knob_body
from firstpull.drawing.svg import INK, PETROL, QUIET, Point
from firstpull.errors import BadInput

__all__ = ["STEPS", "mandrel_picture"]

_SCALE = 7.0
_MIDDLE = 124.0
_FLANGE_X = 262.0
_MANDREL_PX = 2.85 * _SCALE


def mandrel_picture(step_key: str, end: str = "open", *, width: float = 472, height: float = 260, key: str = "") -> str:
    """The act ``step_key`` drawn for an insert with an open or closed ``end``; the moving part is petrol.

    Not to scale; the words under it say what the picture shows. Raises BadInput for another step or end.
    """
    draw = _PICTURES.get(step_key)
    if draw is None:
        raise BadInput(f"“{step_key}” is not a step.", where="step_key", hint=", ".join(STEPS))
    if end not in ("open", "closed"):
        raise BadInput(f"“{end}” is not an end.", where="end", hint="open or closed")
    body, words = draw(end)
    caption = svg.text(svg.shorten(words, width - 32, size=18), (width / 2, height - 16), size=18, anchor="middle")
    fitted = svg.group(body, transform=f"translate({svg.number((width - 472) / 2)} {svg.number((height - 260) / 2)})")
    return svg.sheet(
        fitted + caption, width=width, height=height, title=words, description=f"Step {step_key}, {end} end.", key=key
    )


def _air_off(_end: str) -> tuple[str, str]:
    centre = (226.0, _MIDDLE - 10)
    apart = svg.arrow((centre[0] - 36, 190), (centre[0] - 104, 190), stroke=PETROL, width=4, head=16)
    body = pieces.coupling(centre, gap=64) + pieces.breath((centre[0] - 30, centre[1])) + apart
    return body, "Hose off, air bled, tool dead"


def _air_on(_end: str) -> tuple[str, str]:
    centre = (150.0, _MIDDLE - 10)
    nose: Point = (372.0, centre[1])
    ring = svg.element(
        "circle", cx=nose[0], cy=nose[1], r=74, fill="none", stroke=PETROL, stroke_width=3, stroke_dasharray="10 6"
    )
    small = 4.2
    body = pieces.coupling(centre, gap=0)
    body += svg.line((262, centre[1] - 34), (330, centre[1] - 34)) + svg.line(
        (262, centre[1] + 34), (330, centre[1] + 34)
    )
    body += pieces.mandrel(
        324, nose[0] + 50, middle=nose[1], radius=2.85 * small, thread_from=nose[0] + 6
    ) + pieces.anvil(nose[0], middle=nose[1], scale=small, length=10)
    body += pieces.lying_insert((nose[0], nose[1]), small, end="open") + ring
    return body, "Hands outside the ring, then air on"


def _front(end: str, *, tip: float, face: float, insert_at: float, moving: str = "") -> str:
    """Tool front, anvil, mandrel and insert; ``moving`` is drawn petrol."""
    ink = {name: PETROL if name == moving else INK for name in ("mandrel", "anvil", "insert")}
    parts = [
        pieces.tool_front(118, middle=_MIDDLE, scale=_SCALE, left=24),
        pieces.lock_ring(118, middle=_MIDDLE, scale=_SCALE, width=26),
        pieces.lying_insert((insert_at, _MIDDLE), _SCALE, end=end, stroke=ink["insert"]),
        pieces.anvil(face, middle=_MIDDLE, scale=_SCALE, length=(face - 144) / _SCALE, stroke=ink["anvil"]),
        pieces.mandrel(
            144, tip, middle=_MIDDLE, radius=_MANDREL_PX, thread_from=max(face + 2, 170), stroke=ink["mandrel"]
        ),
        svg.line((16, _MIDDLE), (456, _MIDDLE), width=1, dash="14 4 2 4"),
    ]
    return svg.group(*parts)


def _mandrel(end: str) -> tuple[str, str]:
    start = _FLANGE_X + 34
    body = _front(end, tip=_FLANGE_X + 62, face=220, insert_at=start, moving="mandrel")
    x = start + pieces.insert_length(end) * _SCALE
    turn = (
        f"M{svg.number(x - 24)} {svg.number(_MIDDLE - 52)}A16 44 0 0 1 {svg.number(x - 18)} {svg.number(_MIDDLE + 50)}"
    )
    arc = svg.path(turn, stroke=PETROL, width=4) + svg.arrow_head(
        (x - 32, _MIDDLE + 58), 2.5, length=18, half=9, fill=PETROL
    )
    return body + arc, "Mandrel of the insert's thread; spin it in by hand"


def _engagement(end: str) -> tuple[str, str]:
    far = _FLANGE_X + pieces.insert_length(end) * _SCALE
    if end == "open":
        tip = far + 5
        body = _front(end, tip=tip, face=220, insert_at=_FLANGE_X, moving="mandrel")
        mark = svg.line((far, _MIDDLE - 66), (far, _MIDDLE + 66), stroke=PETROL, width=1.6, dash="6 4")
        mark += svg.line((tip, _MIDDLE - 66), (tip, _MIDDLE - 24), stroke=PETROL, width=1.6)
        mark += svg.arrow((tip + 44, _MIDDLE - 58), (tip + 1, _MIDDLE - 58), stroke=PETROL)
        return body + mark, "Mandrel end flush with the far end, or just beyond"
    bottom = far - 0.22 * 6.0 * _SCALE
    tip = bottom - 1.5 * 1.0 * _SCALE
    body = _front(end, tip=tip, face=220, insert_at=_FLANGE_X, moving="mandrel")
    mark = ""
    for x in (tip, bottom):
        mark += svg.line((x, _MIDDLE - 16), (x, _MIDDLE - 66), stroke=PETROL, width=1.6)
    mark += svg.arrow((bottom + 34, _MIDDLE - 58), (bottom + 1, _MIDDLE - 58), stroke=PETROL)
    mark += svg.arrow((tip - 34, _MIDDLE - 58), (tip - 1, _MIDDLE - 58), stroke=PETROL)
    return body + mark, "To the bottom, then back off 1½ turns"


def _anvil(end: str) -> tuple[str, str]:
    far = _FLANGE_X + pieces.insert_length(end) * _SCALE
    tip = far + 5 if end == "open" else far - 0.22 * 6.0 * _SCALE - 1.5 * _SCALE
    body = _front(end, tip=tip, face=_FLANGE_X, insert_at=_FLANGE_X, moving="anvil")
    move = svg.arrow((176, _MIDDLE - 66), (_FLANGE_X - 4, _MIDDLE - 66), stroke=PETROL, width=4, head=16)
    lock = svg.arrow((131, _MIDDLE + 92), (131, _MIDDLE + 66), stroke=PETROL, width=3, head=13)
    lock += svg.text("lock", (150, _MIDDLE + 92), size=16, fill=PETROL, bold=True)
    return body + move + lock, "Anvil touches the flange; lock it there"


def _knob(_end: str) -> tuple[str, str]:
    centre: Point = (236.0, _MIDDLE - 4)
    body = knob_body(centre, 62)
    arcs = ""
    for sign in (-1, 1):
        start = (centre[0] + sign * 22, centre[1] - 84)
        end = (centre[0] + sign * 80, centre[1] - 34)
        sweep = 1 if sign > 0 else 0
        arcs += svg.path(
            f"M{svg.number(start[0])} {svg.number(start[1])}A87 87 0 0 {sweep} {svg.number(end[0])} {svg.number(end[1])}",
            stroke=PETROL,
            width=4,
        )
        arcs += svg.arrow_head(
            (end[0] + sign * 4, end[1] + 13), 1.27 if sign > 0 else 1.87, length=17, half=9, fill=PETROL
        )
    words = svg.text("seen from its end", (centre[0], centre[1] + 92), anchor="middle", fill=QUIET)
    return body + arcs + words, "Set the knob, then lock it"


_PICTURES: dict[str, Callable[[str], tuple[str, str]]] = {
    "air_off": _air_off,
    "mandrel": _mandrel,
    "engagement": _engagement,
    "anvil": _anvil,
    "knob": _knob,
    "air_on": _air_on,
}
STEPS = tuple(_PICTURES)

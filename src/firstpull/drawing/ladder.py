"""The pressure ladder of a force-set tool: its rungs, what was found on each, and the band that passed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firstpull.drawing import svg
from firstpull.drawing.marks import mark_shape
from firstpull.drawing.svg import FAINT, INK, PETROL, QUIET
from firstpull.errors import BadInput

__all__ = ["LadderRung", "pressure_ladder_svg"]

_WIDTH, _HEIGHT = 472.0, 420.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 150.0, 300.0, 40.0, 385.0


@dataclass(frozen=True, slots=True)
class LadderRung:
    """One pressure: ``height`` for its place (bar), its words ("4.27 bar", "11.6 kN"), and how coupons went there:
    "passes", "fails" or ""; ``words`` say what was found."""

    height: float
    pressure: str
    load: str
    result: str = ""
    words: str = ""


def pressure_ladder_svg(
    rungs: Sequence[LadderRung], *, now: float | None, band: tuple[float, float] | None, key: str = ""
) -> str:
    """The rungs from low to high, ``now`` (bar) in petrol, the ``band`` (bar) that passed as a bar beside them.

    Raises BadInput without rungs.
    """
    if not rungs:
        raise BadInput("A ladder needs rungs.", where="rungs")
    heights = [svg.finite(rung.height, "height") for rung in rungs]
    low, high = min(heights), max(heights)
    span = (high - low) or 1.0

    def place(height: float) -> float:
        return _BOTTOM - (height - low) / span * (_BOTTOM - _TOP)

    parts = [svg.line((x, _TOP - 22), (x, _BOTTOM + 18), width=2.4) for x in (_LEFT, _RIGHT)]
    if band is not None:
        top, bottom = place(band[1]) - 8, place(band[0]) + 8
        parts.append(svg.box(_RIGHT + 10, top, width=10, height=bottom - top, fill=FAINT, stroke=INK, stroke_width=1.4))
    for rung in rungs:
        y = place(rung.height)
        here = now is not None and abs(rung.height - now) < 1e-6
        parts.append(svg.line((_LEFT, y), (_RIGHT, y), stroke=PETROL if here else INK, width=6 if here else 2.4))
        parts.append(svg.text(rung.pressure, (_LEFT - 14, y + 2), anchor="end", size=20, bold=here))
        parts.append(svg.text(rung.load, (_LEFT - 14, y + 18), anchor="end", fill=QUIET))
        if rung.result:
            parts.append(mark_shape(rung.result, (_RIGHT + 44, y), size=26))
        if rung.words:
            parts.append(svg.text(svg.shorten(rung.words, _WIDTH - _RIGHT - 72), (_RIGHT + 64, y + 5)))
    description = "; ".join(f"{rung.pressure}: {rung.words or 'not tried'}" for rung in rungs)
    return svg.sheet(
        "".join(parts), width=_WIDTH, height=_HEIGHT, title="Pressure ladder", description=description, key=key
    )

"""The simulated pull against the stroke, with what happens along it and the window of strokes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firstpull.drawing import svg
from firstpull.drawing.axes import ticks
from firstpull.units import LengthUnit, show_mm

_LEFT, _RIGHT, _TOP, _BOTTOM = 58.0, 14.0, 30.0, 46.0


@dataclass(frozen=True, slots=True)
class CurveMark:
    """A named place on the curve: stroke in mm, pull in N."""

    name: str
    stroke_mm: float
    force_n: float


def pull_curve(
    stroke_mm: Sequence[float],
    force_n: Sequence[float],
    *,
    marks: Sequence[CurveMark] = (),
    window_mm: tuple[float, float] | None = None,
    measured: Sequence[tuple[float, float]] = (),
    unit: LengthUnit = "mm",
    width: float = 472,
    height: float = 260,
    key: str = "pull-curve",
) -> str:
    """Pull in kN against stroke. ``window_mm`` is drawn as a band, ``measured`` (mm, N) as dots. Strokes in mm rising."""
    most_s = max(stroke_mm[-1], 0.1)
    top = 1.1 * max([*force_n, *(one for _s, one in measured), 1.0])
    right, bottom = width - _RIGHT, height - _BOTTOM

    def x(stroke: float) -> float:
        return _LEFT + (right - _LEFT) * stroke / most_s

    def y(force: float) -> float:
        return bottom - (bottom - _TOP) * force / top

    parts = []
    if window_mm is not None and window_mm[0] < window_mm[1]:
        low, high = (min(max(one, 0.0), most_s) for one in window_mm)
        parts.append(
            svg.box(x(low), _TOP, width=x(high) - x(low), height=bottom - _TOP, fill=svg.PALE_PETROL, stroke=None)
        )
    parts.append(svg.line((_LEFT, bottom), (right, bottom), width=1.4))
    for value in ticks(0.0, most_s, unit=unit, most=7):
        parts.append(
            svg.text(
                show_mm(value, unit, decimals=1 if unit == "mm" else 2),
                (x(value), bottom + 18),
                size=14,
                anchor="middle",
                fill=svg.QUIET,
            )
        )
    parts.append(svg.text(f"stroke, {unit}", (right, bottom + 38), size=14, anchor="end", fill=svg.QUIET))
    for value in ticks(0.0, top / 1000.0, unit="mm", most=5):
        parts.append(svg.line((_LEFT, y(1000 * value)), (right, y(1000 * value)), stroke=svg.FAINT, width=0.8))
        parts.append(svg.text(f"{value:g}", (_LEFT - 8, y(1000 * value) + 5), size=14, anchor="end", fill=svg.QUIET))
    parts.append(svg.text("pull, kN", (6, 16), size=14, fill=svg.QUIET))
    step = max(1, len(stroke_mm) // 300)
    points = [(x(s), y(f)) for s, f in zip(stroke_mm[::step], force_n[::step], strict=True)]
    parts.append(svg.path(svg.outline(points, closed=False), width=2.5))
    parts += [svg.circle((x(s), y(f)), 3, fill=svg.BRICK, stroke=None) for s, f in measured if 0.0 <= s <= most_s]
    placed = [(mark, (x(mark.stroke_mm), y(mark.force_n))) for mark in marks]
    parts += _marks(placed, bottom=bottom, left=_LEFT, right=right)
    said = "; ".join(
        f"{mark.name} at {show_mm(mark.stroke_mm, unit)} {unit}, {mark.force_n / 1000:.1f} kN" for mark in marks
    )
    title = f"Pull against stroke. {said}." if said else "Pull against stroke."
    return svg.sheet(
        "".join(parts), width=width, height=height, title="Pull against stroke", description=title, key=key
    )


def _marks(marks: Sequence[tuple[CurveMark, svg.Point]], *, bottom: float, left: float, right: float) -> list[str]:
    """A dot and a line down for each mark, numbered in its order, the number above the dot."""
    parts = []
    for place, (_mark, at) in enumerate(marks, 1):
        parts.append(svg.line(at, (at[0], bottom), stroke=svg.PETROL, width=1, dash="4 3"))
        parts.append(svg.circle(at, 5, fill=svg.WHITE, stroke=svg.PETROL, width=2.5))
        parts.append(
            svg.text(
                str(place), (min(max(at[0], left + 8), right - 8), at[1] - 12), bold=True, anchor="middle", halo=True
            )
        )
    return parts

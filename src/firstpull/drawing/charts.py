"""Charts of pulls: convergence on the window while dialling in, individuals and moving ranges while running."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from firstpull.drawing import svg
from firstpull.drawing.axes import Plot, apart, number_axis, spread, value_axis
from firstpull.drawing.svg import BEFORE, INK, PALE_PETROL, PETROL, QUIET, WHITE, Point
from firstpull.units import LengthUnit, show_mm

__all__ = ["ChartPoint", "convergence_chart"]

_LEFT, _RIGHT = 74.0, 112.0
_TEXT = 16.0
_LOW = 260.0  # px: a chart lower than this leaves its legend out, its symbols being named where they stand


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """One pull: its number, its reading in mm, pulled in the air or in a stack; struck out; doubted."""

    number: int
    value_mm: float
    where: Literal["air", "stack"] = "air"
    struck_out: bool = False
    suspect: bool = False


def convergence_chart(
    points: Sequence[ChartPoint],
    *,
    window: tuple[float, float] | None,
    target: float | None,
    belief: tuple[float, float] | None = None,
    expected: tuple[float, float] | None = None,
    foretold_mm: float | None = None,
    unit: LengthUnit = "mm",
    width: float = 504,
    height: float = 440,
    key: str = "",
) -> str:
    """Readings pull by pull against the window; all lengths in mm, shown in ``unit``.

    ``belief`` (mean, standard deviation) is where the tool's sets are thought to fall now, drawn ± 2 sd;
    ``expected`` is the reading of the next pull, a hollow dot ± 2 sd; ``foretold_mm`` is where the last pull's hollow
    dot stood before it was pulled: a ring about its reading when it landed there. Values outside the range shown sit on its edge
    with an arrow and their number. A chart under 260 px high is drawn without its legend. Raises BadInput for values that are not finite.
    """
    plot = _plot(points, window, target=target, belief=belief, expected=expected, unit=unit, width=width, height=height)
    low = height < _LOW
    parts = [value_axis(plot, most=4 if low else 6, size=_TEXT)]
    if belief is not None:
        parts.append(_belief(plot, belief, after=max((p.number for p in points), default=0)))
    parts.append(_limits(plot, window, target=target))
    live = [point for point in points if not point.struck_out and not point.suspect]
    trail = [(plot.x(point.number), plot.y(point.value_mm)) for point in live]
    if len(trail) > 1:
        parts.append(svg.path(svg.outline(trail, closed=False), stroke=QUIET, width=1.2))
    if foretold_mm is not None and live:
        ring = (plot.x(live[-1].number), plot.y(svg.finite(foretold_mm, "foretold_mm")))
        parts.append(
            svg.element(
                "circle", cx=ring[0], cy=ring[1], r=14, fill="none", stroke=PETROL, stroke_width=3, data_part="foretold"
            )
        )
    parts += [_point(plot, point, last=bool(live) and point == live[-1]) for point in points]
    numbers = [point.number for point in points]
    if expected is not None:
        numbers.append(max(numbers, default=0) + 1)
        parts.append(_expected(plot, expected, number=numbers[-1]))
    parts.append(number_axis(plot, numbers, word="pull", size=_TEXT))
    if not low:
        entries = _entries(points, expected=expected is not None, belief=belief is not None)
        parts.append(_legend(entries, width=width, height=height))
    return svg.sheet(
        "".join(parts),
        width=width,
        height=height,
        title="Readings of the pulls against the window",
        description=_describe(points, window, expected=expected, unit=unit),
        key=key,
    )


def _plot(
    points: Sequence[ChartPoint],
    window: tuple[float, float] | None,
    *,
    target: float | None,
    belief: tuple[float, float] | None,
    expected: tuple[float, float] | None,
    unit: LengthUnit,
    width: float,
    height: float,
) -> Plot:
    values = [svg.finite(point.value_mm, "value_mm") for point in points if not point.suspect and not point.struck_out]
    values += [svg.finite(value, "window") for value in (*(window or ()), *(() if target is None else (target,)))]
    for pair in (belief, expected):
        if pair is not None:
            mean, sd = svg.finite(pair[0], "mean"), svg.finite(pair[1], "sd")
            values += [mean - 2 * sd, mean + 2 * sd]
    values = values or [svg.finite(point.value_mm, "value_mm") for point in points] or [0.0]
    half = (window[1] - window[0]) if window is not None else 0.1
    low, high = spread(values, least=max(half * 1.6, 0.05))
    numbers = [point.number for point in points]
    last = max(numbers, default=0) + (1 if expected is not None or not numbers else 0)
    first = min(numbers, default=1)
    pad = 0.55
    last = max(last, first + 3)
    label = svg.text_width("0.0000", 18, bold=True) + 18 if expected is not None else 0.0
    after = pad + (last - first + 2 * pad) * label / (width - _LEFT - _RIGHT - label)
    bottom = height - (28 if height < _LOW else 64)
    return Plot(_LEFT, width - _RIGHT, 16, bottom, low, high, first - pad, last + max(after, pad), unit)


def _belief(plot: Plot, belief: tuple[float, float], *, after: int) -> str:
    """A column beside the last pull: where the tool sets as it stands, before any move still to be made."""
    mean, sd = belief
    room = plot.x(1) - plot.x(0)
    left = plot.x(after) + 0.5 * room - min(0.2 * room, 22)
    right = min(plot.x(after) + 0.5 * room + min(0.2 * room, 22), plot.right)
    top, bottom = plot.y(mean + 2 * sd), plot.y(mean - 2 * sd)
    middle = plot.y(mean)
    return svg.box(
        left,
        top,
        width=right - left,
        height=max(bottom - top, 2),
        fill=PALE_PETROL,
        stroke=None,
        data_part="belief",
    ) + svg.line((left, middle), (right, middle), stroke=PETROL, width=2)


def _limits(plot: Plot, window: tuple[float, float] | None, *, target: float | None) -> str:
    rows: list[tuple[str, float, str | None, float]] = []
    if window is not None:
        rows += [("longest", window[1], None, 2.4), ("shortest", window[0], None, 2.4)]
    if target is not None:
        rows.append(("target", target, "14 4 2 4", 1.2))
    spots = apart([plot.y(value) for _, value, _, _ in rows], 40, low=plot.top + 12, high=plot.bottom - 12)
    parts = []
    for (word, value, dash, thick), spot in zip(rows, spots, strict=True):
        y = plot.y(value)
        parts.append(svg.line((plot.left, y), (plot.right + 6, y), width=thick, dash=dash))
        parts.append(svg.line((plot.right + 6, y), (plot.right + 14, spot), width=1))
        parts.append(svg.text(word, (plot.right + 18, spot - 4), size=_TEXT, fill=QUIET))
        parts.append(svg.text(show_mm(value, plot.unit), (plot.right + 18, spot + 16), size=20, bold=dash is None))
    return svg.group(*parts)


def _symbol(where: str, at: Point, *, fill: str = INK, stroke: str = INK) -> str:
    """Air is round, a stack is square."""
    if where == "stack":
        return svg.box(at[0] - 6.5, at[1] - 6.5, width=13, height=13, fill=fill, stroke=stroke)
    return svg.circle(at, 7, fill=fill, stroke=stroke)


def _point(plot: Plot, point: ChartPoint, *, last: bool) -> str:
    at = (plot.x(point.number), plot.y(point.value_mm))
    if not plot.inside(point.value_mm):
        at = (at[0], at[1] + (-18 if point.value_mm < plot.low_mm else 18))
    parts = []
    shown = show_mm(point.value_mm, plot.unit)
    grey = point.struck_out
    parts.append(_symbol(point.where, at, fill=WHITE if grey else INK, stroke=BEFORE if grey else INK))
    if grey:
        parts.append(svg.line((at[0] - 10, at[1] + 10), (at[0] + 10, at[1] - 10), stroke=BEFORE))
    if point.suspect and not grey:
        parts.append(svg.circle(at, 12, width=1.4))
        parts.append(svg.text("?", (at[0] + 16, at[1] + 6), size=18, bold=True))
    if not plot.inside(point.value_mm):
        down = point.value_mm < plot.low_mm
        tip = (at[0], at[1] + (17 if down else -17))
        parts.append(svg.arrow_head(tip, 1.5707963 if down else -1.5707963, fill=BEFORE if grey else INK))
        parts.append(svg.text(shown, (at[0], at[1] + (-18 if down else 28)), anchor="middle", halo=True))
    elif last:
        below = at[1] - plot.top < 30
        place = (at[0], at[1] + (28 if below else -14))
        parts.append(svg.text(shown, place, size=20, bold=True, anchor="middle", halo=True))
    return svg.group(*parts)


def _expected(plot: Plot, expected: tuple[float, float], *, number: int) -> str:
    mean, sd = expected
    x, y = plot.x(number), plot.y(mean)
    top, bottom = plot.y(mean + 2 * sd), plot.y(mean - 2 * sd)
    parts = [svg.line((x, top), (x, bottom), stroke=PETROL, width=1.6)]
    parts += [svg.line((x - 7, end), (x + 7, end), stroke=PETROL, width=1.6) for end in (top, bottom)]
    parts.append(
        svg.element("circle", cx=x, cy=y, r=8, fill=WHITE, stroke=PETROL, stroke_width=3, data_part="expected")
    )
    parts.append(svg.text(show_mm(mean, plot.unit), (x + 13, y - 8), size=18, bold=True, fill=PETROL, halo=True))
    return svg.group(*parts)


def _entries(points: Sequence[ChartPoint], *, expected: bool, belief: bool) -> list[tuple[str, str]]:
    entries: list[tuple[str, str]] = []
    for where in ("air", "stack"):
        if any(point.where == where and not point.struck_out for point in points):
            entries.append((where, where))
    if any(point.struck_out for point in points):
        entries.append(("struck", "struck out"))
    if any(point.suspect and not point.struck_out for point in points):
        entries.append(("suspect", "in doubt"))
    if expected:
        entries.append(("expected", "expected"))
    if belief:
        entries.append(("belief", "belief"))
    return entries


def _legend(entries: Sequence[tuple[str, str]], *, width: float, height: float) -> str:
    """Symbols with their words in one row, in smaller type when they are many."""
    y = height - 16
    wide = 16 + sum(40 + svg.text_width(word, _TEXT) for _, word in entries)
    size = _TEXT if wide <= width else svg.SMALLEST_PX
    parts = []
    x = 16.0
    for kind, word in entries:
        if x + 24 + svg.text_width(word, size) > width - 8:
            break
        parts.append(_legend_mark(kind, (x + 7, y - 5)) + svg.text(word, (x + 24, y), size=size, fill=QUIET))
        x += 40 + svg.text_width(word, size)
    return svg.group(*parts)


def _legend_mark(kind: str, at: Point) -> str:
    if kind == "struck":
        grey = svg.circle(at, 7, fill=WHITE, stroke=BEFORE)
        return grey + svg.line((at[0] - 9, at[1] + 9), (at[0] + 9, at[1] - 9), stroke=BEFORE)
    if kind == "suspect":
        return svg.circle(at, 8, width=1.4) + svg.text("?", (at[0], at[1] + 5), bold=True, anchor="middle")
    if kind == "expected":
        return svg.circle(at, 6.5, fill=WHITE, stroke=PETROL, width=3)
    if kind == "belief":
        return svg.box(at[0] - 8, at[1] - 6, width=16, height=12, fill=PALE_PETROL, stroke=None)
    return _symbol(kind, at)


def _describe(
    points: Sequence[ChartPoint],
    window: tuple[float, float] | None,
    *,
    expected: tuple[float, float] | None,
    unit: LengthUnit,
) -> str:
    words = [f"Lengths in {unit}."]
    if window is not None:
        words.append(f"Window {show_mm(window[0], unit)} to {show_mm(window[1], unit)}.")
    for point in points[-12:]:
        state = ", struck out" if point.struck_out else ", in doubt" if point.suspect else ""
        words.append(f"Pull {point.number} in the {point.where}: {show_mm(point.value_mm, unit)}{state}.")
    if expected is not None:
        words.append(f"The next is expected at {show_mm(expected[0], unit)} ± {show_mm(2 * expected[1], unit)}.")
    return " ".join(words)

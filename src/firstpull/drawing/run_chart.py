"""Individuals and moving-range chart of a run, both panels over one axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firstpull.drawing import svg
from firstpull.drawing.axes import Plot, apart, number_axis, spread, value_axis
from firstpull.drawing.marks import mark_shape
from firstpull.drawing.svg import BRICK, INK, QUIET, WHITE
from firstpull.errors import BadInput
from firstpull.units import LengthUnit, show_mm

__all__ = ["ChartSignal", "MovingRanges", "individuals_chart"]

_LEFT, _RIGHT = 74.0, 142.0
_WIDTH, _HEIGHT = 488.0, 312.0  # the room beside the run page's links on a 1024 by 600 panel
_TEXT = 16.0


@dataclass(frozen=True, slots=True)
class ChartSignal:
    """A run rule that was met at the reading with this index (from 0), in plain words."""

    index: int
    text: str


@dataclass(frozen=True, slots=True)
class MovingRanges:
    """Moving ranges in mm, one less than the readings, with their mean and upper limit."""

    values: tuple[float, ...]
    centre: float
    upper: float


@dataclass(frozen=True, slots=True)
class _Line:
    word: str
    value_mm: float
    dash: str | None
    thick: float


def individuals_chart(
    values: Sequence[float],
    *,
    centre: float,
    lower: float,
    upper: float,
    moving: MovingRanges | None = None,
    signals: Sequence[ChartSignal] = (),
    window: tuple[float, float] | None = None,
    unit: LengthUnit = "mm",
    first_number: int = 1,
    key: str = "",
) -> str:
    """Readings (mm) with centre and control limits above, moving ranges below; ``signals`` carry their words.

    ``window`` adds the go/no-go limits of the card, which are not control limits. The drawing is
    488 by 312 px and scales. Raises BadInput for values that are not finite or counts that do not match.
    """
    if moving is not None and len(moving.values) != max(len(values) - 1, 0):
        raise BadInput("There must be one moving range less than readings.", where="moving")
    texts = [signal.text for signal in signals if 0 <= signal.index < len(values)]
    foot = 32 + 20 * min(max(len(texts), 1), 2)
    split = 16 + (_HEIGHT - foot - 56) * (0.64 if moving is not None else 1.0)
    lines = [
        _Line("upper", upper, None, 1.6),
        _Line("centre", centre, "14 4 2 4", 1.2),
        _Line("lower", lower, None, 1.6),
    ]
    if window is not None:
        lines += [_Line("longest", window[1], "8 4", 2.4), _Line("shortest", window[0], "8 4", 2.4)]
    right, count = _WIDTH - _RIGHT, len(values)
    main = _panel(values, lines, span=(16, split), right=right, unit=unit, first=first_number, count=count)
    flagged = {signal.index for signal in signals}
    parts = [
        value_axis(main, most=4, size=_TEXT),
        _lines(main, lines),
        _trail(main, values, first=first_number, flagged=flagged),
    ]
    low = main
    if moving is not None:
        mr_lines = [_Line("range to", moving.upper, None, 1.6), _Line("usual", moving.centre, "14 4 2 4", 1.2)]
        shown = [*moving.values, 0.0]
        low_end = _HEIGHT - foot - 4
        low = _panel(
            shown, mr_lines, span=(split + 24, low_end), right=right, unit=unit, first=first_number, count=count
        )
        parts += [
            value_axis(low, most=2, size=_TEXT),
            _lines(low, mr_lines),
            _trail(low, moving.values, first=first_number + 1, flagged=set()),
        ]
    parts.append(number_axis(low, list(range(first_number, first_number + len(values))), word="check", size=_TEXT))
    parts.append(_words(texts))
    return svg.sheet(
        "".join(parts),
        width=_WIDTH,
        height=_HEIGHT,
        title="Readings of the run, individuals and moving ranges",
        description=_describe(values, centre, lower=lower, upper=upper, texts=texts, unit=unit),
        key=key,
    )


def _panel(
    values: Sequence[float],
    lines: Sequence[_Line],
    *,
    span: tuple[float, float],
    right: float,
    unit: LengthUnit,
    first: int,
    count: int,
) -> Plot:
    marks = [svg.finite(line.value_mm, "value") for line in lines]
    # one digit misread must not flatten all the others: what lies farther out stands at the edge with its number
    reach = max(max(marks) - min(marks), 0.02)
    shown = [*marks, *(min(max(svg.finite(v, "value"), min(marks) - reach), max(marks) + reach) for v in values)]
    low, high = spread(shown, least=0.02, margin=0.1)
    if min(shown) >= 0 and low < 0:
        low = 0.0
    last = max(first + count - 1, first + 4)
    return Plot(_LEFT, right, *span, low, high, first - 0.6, last + 0.6, unit)


def _lines(plot: Plot, lines: Sequence[_Line]) -> str:
    spots = apart([plot.y(line.value_mm) for line in lines], 18, low=plot.top + 4, high=plot.bottom - 4)
    parts = []
    for line, spot in zip(lines, spots, strict=True):
        y = plot.y(line.value_mm)
        parts.append(svg.line((plot.left, y), (plot.right + 4, y), width=line.thick, dash=line.dash))
        parts.append(svg.line((plot.right + 4, y), (plot.right + 12, spot), width=1))
        value = show_mm(line.value_mm, plot.unit)
        parts.append(svg.text(line.word, (plot.right + 15, spot + 5), size=15, fill=QUIET))
        end = plot.right + _RIGHT - 4
        parts.append(svg.text(value, (end, spot + 5), size=15, bold=True, anchor="end"))
    return svg.group(*parts)


def _trail(plot: Plot, values: Sequence[float], *, first: int, flagged: set[int]) -> str:
    places = [(plot.x(first + index), plot.y(value)) for index, value in enumerate(values)]
    crowded = len(places) > 60
    parts = []
    if len(places) > 1:
        parts.append(svg.path(svg.outline(places, closed=False), stroke=QUIET, width=1.2))
    for index, at in enumerate(places):
        if index in flagged:
            parts.append(svg.circle(at, 11, fill=WHITE, stroke=BRICK, width=2.4))
        parts.append(svg.circle(at, 3 if crowded else 5, fill=INK, stroke=None))
        if not plot.inside(values[index]):
            down = values[index] < plot.low_mm
            near = (at[0] + (10 if index < len(places) / 2 else -10), at[1] + (-10 if down else 22))
            number = ("↓ " if down else "↑ ") + show_mm(values[index], plot.unit)
            parts.append(
                svg.text(number, near, size=15, bold=True, anchor="start" if index < len(places) / 2 else "end")
            )
    return svg.group(*parts)


def _words(texts: Sequence[str]) -> str:
    """The newest signals in words beside the look mark."""
    if not texts:
        return svg.text("no signal", (16, _HEIGHT - 8), size=_TEXT, fill=QUIET)
    newest = list(texts[-2:])
    parts = [mark_shape("look", (27, _HEIGHT - 10 - 10 * len(newest)), size=28)]
    for index, row in enumerate(newest):
        y = _HEIGHT - 10 - 20 * (len(newest) - 1 - index)
        parts.append(svg.text(svg.shorten(row, _WIDTH - 62), (50, y), bold=index == len(newest) - 1))
    return svg.group(*parts)


def _describe(
    values: Sequence[float], centre: float, *, lower: float, upper: float, texts: Sequence[str], unit: LengthUnit
) -> str:
    words = f"{len(values)} readings in {unit}; centre {show_mm(centre, unit)}, limits {show_mm(lower, unit)} to {show_mm(upper, unit)}."
    if values:
        words += f" The last is {show_mm(values[-1], unit)}."
    return f"{words} {' '.join(texts) if texts else 'No signal.'}"

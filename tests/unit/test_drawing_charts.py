"""Convergence and run charts: values where they belong, states in words and shape."""

from __future__ import annotations

import itertools

import pytest

from drawing_reader import SVG, check_words, part, read, words
from firstpull.drawing.charts import ChartPoint, convergence_chart
from firstpull.drawing.run_chart import ChartSignal, MovingRanges, individuals_chart
from firstpull.errors import BadInput

WINDOW = (11.03, 11.29)


def _texts(drawing: str) -> list[str]:
    return [entry.text for entry in words(read(drawing))]


def test_the_window_is_two_lines_with_numbers() -> None:
    """Longest and shortest stand at the right with their absolute values."""
    shown = _texts(convergence_chart([ChartPoint(1, 11.61)], window=WINDOW, target=11.16))
    for word in ("longest", "11.29", "shortest", "11.03", "target", "11.16"):
        assert word in shown


def test_the_expected_dot_is_hollow_and_lies_between_the_limits() -> None:
    """The next pull's dot is white inside and stands where its value belongs."""
    root = read(convergence_chart([ChartPoint(1, 11.61)], window=WINDOW, target=11.16, expected=(11.16, 0.04)))
    dot = part(root, "expected")
    assert dot.get("fill") == "#FFFFFF"
    lines = {node.get("stroke-width"): node for node in root.iter(SVG + "line")}
    limits = sorted({float(node.get("y1")) for node in root.iter(SVG + "line") if node.get("stroke-width") == "2.4"})
    assert lines
    share = (float(dot.get("cy")) - limits[0]) / (limits[1] - limits[0])
    assert share == pytest.approx((11.29 - 11.16) / 0.26, abs=0.01)


def test_the_belief_band_is_two_deviations_each_way() -> None:
    """The band's height over the window's is 4 sd over the window."""
    root = read(convergence_chart([], window=WINDOW, target=None, belief=(11.16, 0.05)))
    limits = sorted({float(node.get("y1")) for node in root.iter(SVG + "line") if node.get("stroke-width") == "2.4"})
    share = float(part(root, "belief").get("height")) / (limits[1] - limits[0])
    assert share == pytest.approx(0.2 / 0.26, rel=0.01)


def test_states_are_said_in_words() -> None:
    """Air, stack, struck out, in doubt, expected and belief have their words, not colour alone."""
    pulls = [
        ChartPoint(1, 11.6),
        ChartPoint(2, 1.12, suspect=True),
        ChartPoint(3, 11.9, struck_out=True),
        ChartPoint(4, 11.2, "stack"),
    ]
    drawing = convergence_chart(
        pulls, window=WINDOW, target=11.16, belief=(11.16, 0.02), expected=(11.16, 0.03), unit="in"
    )
    shown = _texts(drawing)
    for word in ("air", "stack", "struck out", "in doubt", "expected", "belief", "?"):
        assert word in shown
    assert "0.0441" in shown, "a reading outside the range keeps its number"
    check_words(read(drawing))


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("count", [0, 1, 2, 7, 40])
def test_any_number_of_pulls_fits(unit: str, count: int) -> None:
    """From no pull to forty the words stay inside the chart and on 14 px."""
    pulls = [ChartPoint(n, 11.16 + 0.01 * n) for n in range(1, count + 1)]
    for expected in (None, (11.2, 0.05)):
        for window in (WINDOW, None):
            check_words(read(convergence_chart(pulls, window=window, target=None, expected=expected, unit=unit)))


def test_equal_readings_and_limits_still_make_a_chart() -> None:
    """A window of no width or equal readings do not divide by zero."""
    read(convergence_chart([ChartPoint(1, 5.0), ChartPoint(2, 5.0)], window=(5.0, 5.0), target=5.0))
    read(individuals_chart([5.0, 5.0], centre=5.0, lower=5.0, upper=5.0))


def test_a_reading_that_is_not_finite_is_refused() -> None:
    """NaN raises our error."""
    with pytest.raises(BadInput):
        convergence_chart([ChartPoint(1, float("nan"))], window=WINDOW, target=None)
    with pytest.raises(BadInput):
        individuals_chart([1.0], centre=float("inf"), lower=0.0, upper=2.0)


def test_a_signal_is_ringed_and_said() -> None:
    """A run rule that was met has its words and the look mark; without one “no signal” is said."""
    values = [11.16, 11.18, 11.15, 11.30]
    moving = MovingRanges((0.02, 0.03, 0.15), 0.03, 0.1)
    rule = "One reading outside the limits."
    drawing = individuals_chart(
        values,
        centre=11.16,
        lower=11.08,
        upper=11.24,
        moving=moving,
        signals=[ChartSignal(3, rule)],
        window=WINDOW,
    )
    assert rule in _texts(drawing)
    assert len([node for node in read(drawing).iter(SVG + "circle") if node.get("stroke") == "#A8321A"]) == 1
    check_words(read(drawing))
    quiet = individuals_chart(values, centre=11.16, lower=11.0, upper=11.4)
    assert "no signal" in _texts(quiet)


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("count", [0, 1, 3, 25, 300])
def test_run_charts_of_any_length_fit(unit: str, count: int) -> None:
    """From an empty run to three hundred checks, with and without ranges and window."""
    values = [11.16 + 0.01 * (n % 5) for n in range(count)]
    moving = MovingRanges(tuple(abs(a - b) for a, b in itertools.pairwise(values)), 0.012, 0.04)
    for window in (None, WINDOW):
        made = individuals_chart(
            values, centre=11.18, lower=11.1, upper=11.26, moving=moving, window=window, unit=unit, first_number=901
        )
        check_words(read(made))


def test_ranges_must_match_the_readings() -> None:
    """One moving range less than readings, or our error."""
    with pytest.raises(BadInput):
        individuals_chart([1.0, 2.0], centre=1.5, lower=1, upper=2, moving=MovingRanges((1.0, 1.0), 1.0, 3.0))

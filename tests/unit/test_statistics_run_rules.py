"""Each run rule: it holds on its own pattern at the last reading of the pattern and not one reading earlier."""

from __future__ import annotations

import pytest

from firstpull.errors import BadInput
from firstpull.statistics.control_charts import RULES, individuals_chart

PATTERNS = {
    1: (0.2, 3.01),
    2: (2.1, 0.1, 2.1),
    3: (1.1, 1.2, -0.3, 1.1, 1.3),
    4: (0.1, 0.5, 0.2, 0.9, 0.4, 0.3, 0.6, 0.2),
    5: (-0.9, -0.5, 0.1, 0.3, 0.6, 0.8),
    6: (0.3, -0.2, 0.4, -0.3, 0.2, -0.4, 0.3, -0.1, 0.5, -0.2, 0.3, -0.3, 0.4, -0.2),
    7: (0.3, 0.5, -0.2, 0.4, 0.1, -0.6, -0.3, 0.2, 0.2, -0.5, 0.1, 0.3, -0.2, -0.4, 0.2),
    8: (1.2, -1.3, 1.1, 1.5, -1.2, -1.1, 1.3, -1.4),
}


def numbers_at(offsets: tuple[float, ...], index: int) -> set[int]:
    chart = individuals_chart([15.5 + 0.02 * z for z in offsets], centre=15.5, sigma=0.02)
    return {item.number for item in chart.signals if item.index == index}


@pytest.mark.parametrize("number", sorted(PATTERNS))
def test_rule_holds_at_the_end_of_its_pattern(number: int) -> None:
    """The rule is reported for the reading that completes the pattern, and for none before."""
    pattern = PATTERNS[number]
    last = len(pattern) - 1
    assert number in numbers_at(pattern, last)
    assert all(number not in numbers_at(pattern, index) for index in range(last))


@pytest.mark.parametrize("number", sorted(PATTERNS))
def test_rule_is_the_same_upside_down(number: int) -> None:
    """Turning the chart over changes no rule."""
    pattern = tuple(-z for z in PATTERNS[number])
    assert number in numbers_at(pattern, len(pattern) - 1)


def test_two_far_out_on_opposite_sides_are_no_pattern() -> None:
    """One reading far above and one far below do not make “two of three”."""
    assert 2 not in numbers_at((2.1, 0.0, -2.1), 2)


def test_a_reading_on_the_limit_is_not_beyond_it() -> None:
    """15.50 + 3 · 0.02 = 15.56 typed as 15.56 is on the line, whatever binary rounding says."""
    chart = individuals_chart([15.56, 15.44], centre=15.50, sigma=0.02)
    assert not [item for item in chart.signals if item.number == 1]


def test_equal_readings_do_not_rise() -> None:
    """A tie breaks a trend."""
    assert 5 not in numbers_at((-0.9, -0.5, 0.1, 0.1, 0.6, 0.8), 5)


def test_only_a_reading_beyond_a_limit_says_stop() -> None:
    """Patterns ask for a look; the limit alone stops the run."""
    assert [rule.severity for rule in RULES] == ["stop"] + ["look"] * 7


def test_a_jump_is_seen_between_two_readings_inside() -> None:
    """Two readings inside the limits but 5 sigma apart are reported on the moving-range chart."""
    assert 9 in numbers_at((-2.5, 2.5), 1)


def test_one_reading_needs_sigma() -> None:
    """A single reading has no moving range; with sigma from the proof it makes a chart."""
    with pytest.raises(BadInput, match="no scatter"):
        individuals_chart([15.5])
    assert individuals_chart([15.5], centre=15.5, sigma=0.02).signals == ()


def test_equal_readings_take_sigma_from_the_gauge() -> None:
    """Readings that all round to one number get the scatter that the gauge's step can hide."""
    chart = individuals_chart([15.5, 15.5, 15.5], resolution=0.01)
    assert chart.sigma == pytest.approx(0.0028868, abs=1e-7)
    assert chart.signals == ()


def test_given_centre_and_sigma_are_kept() -> None:
    """Limits come from the proof when it gives them, not from the run."""
    chart = individuals_chart([15.6, 15.6, 15.6], centre=15.5, sigma=0.02)
    assert (chart.centre, chart.sigma, chart.centre_given, chart.sigma_given) == (15.5, 0.02, True, True)
    assert [item.index for item in chart.signals if item.number == 1] == [0, 1, 2]

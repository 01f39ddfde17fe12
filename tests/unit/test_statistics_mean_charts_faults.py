"""Charts of means and run lengths: what is refused, what is said, and cases worked by hand."""

from __future__ import annotations

import pytest

from firstpull.errors import BadInput
from firstpull.statistics.mean_charts import cusum_chart, ewma_chart, mean_range_chart, mean_sd_chart
from firstpull.statistics.run_lengths import (
    cusum_limit,
    cusum_run_length,
    ewma_run_length,
    ewma_width,
    rules_run_length,
)


def test_unequal_subgroups_are_named() -> None:
    """The subgroup with another count is named, and what to do instead."""
    with pytest.raises(BadInput) as caught:
        mean_range_chart([[1, 2, 3], [1, 2]])
    assert caught.value.what == "Subgroup 2 has 2 readings, the one before 3."
    assert "individuals" in caught.value.hint


def test_no_scatter_is_refused_without_a_sigma() -> None:
    """Equal readings give no limits; with sigma from the proof they do, and a mean far off is found."""
    for chart in (mean_range_chart, mean_sd_chart):
        with pytest.raises(BadInput, match="No subgroup shows any scatter"):
            chart([[1.0, 1.0], [2.0, 2.0]])
    given = mean_range_chart([[1.0, 1.0], [2.0, 2.0]], centre=1.0, sigma=0.1)
    assert [signal.index for signal in given.signals if signal.number == 1] == [1]


def test_a_wide_subgroup_is_a_signal_of_its_own() -> None:
    """A subgroup whose range is beyond its limit is told apart from one whose mean is off."""
    chart = mean_range_chart([[0, 1], [0, 1], [0, 1], [-9, 10]], centre=0.5, sigma=1.0)
    assert chart.spread_signals == (3,)
    assert chart.signals == ()


def test_ewma_by_hand() -> None:
    """Weight ½: 0 → 1, 1.5, 0.75 for readings 2, 2, 0; the first limit is half of the width."""
    chart = ewma_chart([2, 2, 0], centre=0, sigma=1, weight=0.5, width=2)
    assert chart.values == pytest.approx((1.0, 1.5, 0.75), abs=1e-12)
    assert chart.upper[0] == pytest.approx(1.0, abs=1e-12)  # 2 · √(1/3) · √(3/4)
    assert chart.signals == (1,)


def test_cusum_by_hand() -> None:
    """Slack ½, readings 1, 2, −1: above 0.5, 2, 0.5; below 0, 0, 0.5; a head start signals sooner."""
    chart = cusum_chart([1, 2, -1], centre=0, sigma=1, limit=4)
    assert chart.above == pytest.approx((0.5, 2.0, 0.5), abs=1e-12)
    assert chart.below == pytest.approx((0.0, 0.0, 0.5), abs=1e-12)
    assert chart.signals == ()
    assert cusum_chart([1, 2, -1], centre=0, sigma=1, limit=3.5, head_start=1.75).signals == (1,)


@pytest.mark.parametrize("rules", [(), (0,), (9,), (1, 12), (True,)])
def test_rules_that_are_not_reckoned_are_refused(rules: tuple[int, ...]) -> None:
    """No rule, or one that is none."""
    with pytest.raises(BadInput, match="cannot be reckoned"):
        rules_run_length(rules)


def test_run_lengths_without_end_are_refused() -> None:
    """A chart that never signals has no run length to tell, and a head start too large none that is reckoned."""
    with pytest.raises(BadInput, match="too long"):
        cusum_run_length(2.0, 30.0)
    with pytest.raises(BadInput, match="head start"):
        cusum_run_length(0.0, 4.0, head_start=3.0)


def test_a_run_within_one_sigma_waits_as_long_as_coins_say() -> None:
    """Fifteen in a row within one sigma: (1 − p¹⁵) / ((1 − p) p¹⁵) with p = 0.682689, the run of a coin."""
    p = 0.6826894921370859
    assert rules_run_length([7]) == pytest.approx((1 - p**15) / ((1 - p) * p**15), rel=1e-9)


def test_weight_one_is_a_shewhart_chart() -> None:
    """An EWMA without memory is the plain chart."""
    assert ewma_run_length(1.0, 3.0) == pytest.approx(370.398, abs=5e-4)


@pytest.mark.parametrize("run_length", [20, 1e5])
def test_limits_are_found_over_the_whole_range(run_length: float) -> None:
    """Width and limit give the run length they were asked for; too much slack for it is said."""
    assert ewma_run_length(0.2, ewma_width(0.2, run_length)) == pytest.approx(run_length, rel=1e-6)
    for slack in (0.2, 1.0):
        assert cusum_run_length(slack, cusum_limit(slack, run_length)) == pytest.approx(run_length, rel=1e-6)
    with pytest.raises(BadInput, match="so much slack"):
        cusum_limit(2.0, 20)

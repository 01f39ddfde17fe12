"""Weibull life: what is refused and said, and cases worked by hand."""

from __future__ import annotations

import math

import pytest

from firstpull.errors import BadInput
from firstpull.statistics.weibull import plot_points, weibayes, weibull_fit


def test_too_few_failures_point_to_weibayes() -> None:
    """None, one, or two equal failures tell no shape."""
    for failures in ([], [5.0], [5.0, 5.0]):
        with pytest.raises(BadInput) as caught:
            weibull_fit(failures, [10.0])
        assert "weibayes" in caught.value.hint


@pytest.mark.parametrize("life", [0.0, -1.0, float("nan"), float("inf")])
def test_a_life_is_above_nothing(life: float) -> None:
    """Zero, negative and infinite lives are refused by their place."""
    with pytest.raises(BadInput, match=r"failures\[1\]"):
        weibull_fit([1.0, life, 3.0])


def test_failures_too_close_are_refused() -> None:
    """Lives that differ in the sixth digit tell no shape."""
    with pytest.raises(BadInput, match="close together"):
        weibull_fit([100.0, 100.0001])


def test_weibayes_by_hand() -> None:
    """Shape 1, two failures and 30 cycles in all: best 15; at 90 % at least 30 / 5.3223 (chi-square 10.6446 / 2)."""
    result = weibayes([5.0, 10.0], [15.0], shape=1.0, confidence=0.9)
    assert result.best_scale == pytest.approx(15, abs=1e-9)
    assert result.scale_at_least == pytest.approx(30 / 5.3223, abs=5e-4)
    assert result.b10_at_least == pytest.approx(result.scale_at_least * -math.log(0.9), abs=1e-9)
    with pytest.raises(BadInput, match="no lives"):
        weibayes([], [], shape=1.0)


def test_median_ranks_of_three() -> None:
    """Three failures: 1 − ½^⅓, ½ and ½^⅓."""
    low, middle, high = (point.chance for point in plot_points([3, 1, 2]))
    assert (low, middle, high) == pytest.approx((1 - 0.5 ** (1 / 3), 0.5, 0.5 ** (1 / 3)), abs=1e-12)
    assert plot_points([]) == ()


def test_young_failures_are_said() -> None:
    """A shape below 1 means that changing early does not help, and few failures are said."""
    notes = " ".join(weibull_fit([1, 2, 50, 900]).notes)
    assert "fail young" in notes
    assert "Only 4 failures" in notes

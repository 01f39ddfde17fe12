"""Properties of the charts: unit-free, and run lengths that are symmetric, fall with the shift and agree with chance."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.statistics.mean_charts import cusum_chart, ewma_chart, mean_range_chart, mean_sd_chart
from firstpull.statistics.run_lengths import cusum_run_length, ewma_run_length, rules_run_length
from firstpull.statistics.run_rules import find_signals


@given(st.integers(0, 10_000), st.floats(-100, 100), st.floats(0.01, 100))
@settings(max_examples=25, deadline=None)
def test_shift_and_scale(seed: int, shift: float, scale: float) -> None:
    """The same readings in another unit give the same signals and limits that moved with them."""
    table = np.random.default_rng(seed).normal(0, 1, (20, 4))
    for method in (mean_range_chart, mean_sd_chart):
        first, second = method(table.tolist()), method((shift + scale * table).tolist())
        assert second.upper == pytest.approx(shift + scale * first.upper, rel=1e-9, abs=1e-9)
        assert second.sigma == pytest.approx(scale * first.sigma, rel=1e-6)
    values = table[:, 0]
    for chart in (ewma_chart, cusum_chart):
        plain = chart(values.tolist(), centre=0, sigma=1)
        moved = chart((shift + scale * values).tolist(), centre=shift, sigma=scale)
        assert plain.signals == moved.signals


@given(st.floats(0, 3), st.sampled_from([(1,), (1, 2), (1, 3), (1, 4), (1, 2, 3, 4), (1, 8)]))
@settings(max_examples=25, deadline=None)
def test_run_lengths_are_symmetric_and_fall(shift: float, rules: tuple[int, ...]) -> None:
    """A shift up is found as soon as one down, and a larger one sooner; more rules never wait longer."""
    assert rules_run_length(rules, shift=shift) == pytest.approx(rules_run_length(rules, shift=-shift), rel=1e-9)
    assert rules_run_length(rules, shift=shift) >= rules_run_length(rules, shift=shift + 0.1)
    assert rules_run_length((1, 2, 3, 4), shift=shift) <= rules_run_length((1, 2), shift=shift) + 1e-9
    for length in (ewma_run_length, cusum_run_length):
        assert length(0.3, 2.5, shift=shift) == pytest.approx(length(0.3, 2.5, shift=-shift), rel=1e-9)
        assert length(0.3, 2.5, shift=shift) >= length(0.3, 2.5, shift=shift + 0.1)


@pytest.mark.parametrize("rules", [(1, 2, 3, 4), (3,), (2, 8)])
def test_run_lengths_agree_with_the_rules_as_charted(rules: tuple[int, ...]) -> None:
    """Four hundred simulated runs at a shift of 0.8 wait as long as computed, within four standard errors."""
    draw = np.random.default_rng(31)
    lengths = []
    for _ in range(400):
        values: list[float] = []
        while not values or not any(s.number in rules for s in find_signals(tuple(values[-15:]), changes=())):
            values.append(float(draw.normal(0.8, 1)))
        lengths.append(len(values))
    error = float(np.std(lengths)) / np.sqrt(len(lengths))
    assert float(np.mean(lengths)) == pytest.approx(rules_run_length(rules, shift=0.8), abs=4 * error)

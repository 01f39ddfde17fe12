"""Properties of guard bands and sequential plans: monotone, unit-free, and exact against simulated lots."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.statistics.guard_bands import conformance, guarded_limits, risks
from firstpull.statistics.sequential import decide, outcome, probability_ratio_plan, success_run_plan


@given(st.floats(-3, 3), st.floats(0.01, 3), st.floats(-100, 100), st.floats(0.01, 100))
@settings(deadline=None)
def test_conformance_in_any_unit(value: float, u: float, shift: float, scale: float) -> None:
    """Shift and scale change nothing, and the two one-sided doubts add up."""
    first = conformance(value, u, low=-1, high=2)
    moved = conformance(shift + scale * value, scale * u, low=shift - scale, high=shift + 2 * scale)
    assert moved.chance == pytest.approx(first.chance, abs=1e-6)
    sides = conformance(value, u, low=-1).chance + conformance(value, u, high=2).chance - 1
    assert first.chance == pytest.approx(max(0.0, sides), abs=1e-12)


@given(st.floats(0.01, 0.4), st.floats(0.01, 0.4))
@settings(max_examples=30, deadline=None)
def test_more_doubt_needs_a_wider_band_and_a_wider_band_less_risk(u: float, more: float) -> None:
    """Guard bands grow with the uncertainty; the consumer's risk falls with the band and the producer's grows."""
    assert guarded_limits(u + more, high=0).guard_band > guarded_limits(u, high=0).guard_band
    narrow = risks(u, mean=0.1, sd=0.5, low=-1, high=1)
    wide = risks(u, mean=0.1, sd=0.5, low=-1, high=1, guard_band=more)
    assert wide.consumer <= narrow.consumer + 1e-12
    assert wide.producer >= narrow.producer - 1e-12


@given(st.floats(0.5, 0.99), st.floats(0.5, 0.99), st.integers(0, 3))
@settings(max_examples=40, deadline=None)
def test_better_lots_are_accepted_more_often(first: float, second: float, failed: int) -> None:
    """The operating characteristic rises with the reliability, and no plan takes more coupons than it has."""
    low, high = sorted((first, second))
    for plan in (success_run_plan(0.9, 0.9, failed=failed), probability_ratio_plan(0.98, 0.85)):
        assert outcome(plan, low).accepted <= outcome(plan, high).accepted + 1e-12
        assert 1 <= outcome(plan, low).mean_coupons <= plan.most


def test_outcome_agrees_with_simulated_lots() -> None:
    """Of 1500 simulated lots as many are accepted, after as many coupons, as is computed."""
    draw = np.random.default_rng(14)
    plan = probability_ratio_plan(0.98, 0.85)
    expected = outcome(plan, 0.93)
    accepted, coupons = 0, []
    for _ in range(1500):
        results: list[bool] = []
        while (said := decide(plan, tuple(results))) == "go on":
            results.append(bool(draw.random() < 0.93))
        accepted += said == "accept"
        coupons.append(len(results))
    assert accepted / 1500 == pytest.approx(expected.accepted, abs=0.05)
    error = float(np.std(coupons)) / 1500**0.5
    assert float(np.mean(coupons)) == pytest.approx(expected.mean_coupons, abs=4 * error)

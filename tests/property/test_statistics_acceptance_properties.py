"""Properties of the acceptance statistics: monotone, covering, finite or our error for any input."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import gammaincc, ndtr

from firstpull.errors import FirstpullError
from firstpull.statistics.acceptance import (
    mean_tolerance_mm,
    one_setting,
    reliability_shown,
    shown_text,
    success_run_count,
    success_run_exact,
)
from firstpull.statistics.control_charts import chart_constants, individuals_chart
from firstpull.statistics.measurement import measured
from firstpull.statistics.tolerance_intervals import (
    one_sided_factor,
    share_inside,
    tolerance_interval,
    two_sided_factor,
)

shares = st.floats(0.001, 0.999999)
counts = st.integers(2, 2000)
anything = st.one_of(
    st.none(), st.booleans(), st.text(max_size=3), st.integers(), st.floats(), st.lists(st.floats(), max_size=2)
)
number_lists = st.lists(st.floats() | st.floats(-1e3, 1e3), max_size=40)


@given(shares, shares, st.integers(0, 3))
def test_success_run_count_is_just_enough(reliability: float, confidence: float, failed: int) -> None:
    """The count shows the reliability, and one fewer does not."""
    if success_run_exact(reliability, confidence) > 1e6:
        return
    n = success_run_count(reliability, confidence, failed=failed)
    assert reliability_shown(n - failed, confidence, failed=failed) >= reliability * (1 - 1e-9)
    if n - failed > 1:
        assert reliability_shown(n - failed - 1, confidence, failed=failed) <= reliability * (1 + 1e-9)


@given(st.integers(0, 500), st.integers(0, 20), shares)
def test_reliability_grows_with_good_ones_and_falls_with_bad_ones(passed: int, failed: int, confidence: float) -> None:
    """One more good one never shows less, one more bad one never shows more, and the result is a share."""
    shown = reliability_shown(passed, confidence, failed=failed)
    assert 0 <= shown <= 1
    assert reliability_shown(passed + 1, confidence, failed=failed) >= shown - 1e-12
    assert reliability_shown(passed, confidence, failed=failed + 1) <= shown + 1e-12


@settings(deadline=None)
@given(counts, shares, shares)
def test_factors_are_ordered(n: int, coverage: float, confidence: float) -> None:
    """More coverage and more confidence need a larger factor; two sides need at least as much as one."""
    one, two = one_sided_factor(n, coverage, confidence), two_sided_factor(n, coverage, confidence)
    assert two >= one - 1e-9 * abs(one)
    more_coverage, more_confidence = min(0.999999, coverage * 1.01), min(0.999999, confidence * 1.01)
    for factor, value in ((one_sided_factor, one), (two_sided_factor, two)):
        assert factor(n, more_coverage, confidence) >= value - 1e-9 * abs(value)
        assert factor(n, coverage, more_confidence) >= value - 1e-9 * abs(value)


@settings(deadline=None)
@given(st.integers(2, 300), st.floats(0.5, 0.999), st.floats(0.6, 0.999))
def test_factors_fall_with_more_readings(n: int, coverage: float, confidence: float) -> None:
    """At useful confidences one more reading never needs a larger factor."""
    for factor in (one_sided_factor, two_sided_factor):
        assert factor(n + 1, coverage, confidence) <= factor(n, coverage, confidence) * (1 + 1e-9)


@settings(deadline=None, max_examples=20)
@given(st.integers(2, 60), st.floats(0.1, 0.9999), st.floats(0.05, 0.999))
def test_two_sided_factor_solves_its_definition(n: int, coverage: float, confidence: float) -> None:
    """Adaptive quadrature of the definition, written separately here, gives back the confidence."""
    k, f = two_sided_factor(n, coverage, confidence), n - 1

    def chance(y: float) -> float:
        r = brentq(lambda x: ndtr(y + x) - ndtr(y - x) - coverage, 0, 60, xtol=1e-13)
        return math.sqrt(n / (2 * math.pi)) * math.exp(-n * y * y / 2) * float(gammaincc(f / 2, f * (r / k) ** 2 / 2))

    total = 2 * quad(chance, 0, 8 / math.sqrt(n), epsabs=1e-11)[0]
    assert total == pytest.approx(confidence, abs=1e-8)


@settings(deadline=None, max_examples=40)
@given(st.lists(st.floats(-5, 5), min_size=2, max_size=12, unique=True), st.floats(0.5, 0.999), st.floats(0.5, 0.99))
def test_share_inside_gives_back_the_interval(values: list[float], coverage: float, confidence: float) -> None:
    """The share inside a tolerance interval is its coverage; with one limit far away it is the one-sided coverage."""
    if np.std(values) < 1e-3:
        return
    interval = tolerance_interval(values, coverage=coverage, confidence=confidence)
    assert share_inside(values, interval.low, interval.high, confidence=confidence) == pytest.approx(coverage, abs=1e-7)
    k = one_sided_factor(len(values), coverage, confidence)
    if k > 0.3:
        high = interval.mean + k * interval.sd
        one = share_inside(values, interval.mean - 1e4 * interval.sd, high, confidence=confidence)
        assert one == pytest.approx(coverage, abs=1e-7)


@settings(deadline=None, max_examples=40)
@given(st.lists(st.floats(-1, 1), min_size=2, max_size=8), st.floats(-2, 2), st.floats(0.01, 3), st.floats(0.5, 0.99))
def test_wider_limits_never_hold_less(values: list[float], low: float, width: float, confidence: float) -> None:
    """Moving a limit outward never lowers the bound, and more confidence never raises it."""
    try:
        inside = share_inside(values, low, low + width, confidence=confidence)
    except FirstpullError:
        return
    assert 0 <= inside < 1
    assert share_inside(values, low - 0.1, low + width, confidence=confidence) >= inside - 1e-6
    assert share_inside(values, low, low + width + 0.1, confidence=confidence) >= inside - 1e-6
    assert share_inside(values, low, low + width, confidence=min(0.999, confidence + 0.01)) <= inside + 1e-6


@pytest.mark.parametrize("shift", [0.0, 0.5, 1.2])
def test_share_inside_covers(shift: float) -> None:
    """In simulated normal samples of 5 the 90 % bound lies above the true share in at most 10 % (+ 3 sd of the count)."""
    rng = np.random.default_rng(20240607)
    low, high = -2.5, 2.5
    true = float(ndtr(high - shift) - ndtr(low - shift))
    trials = 250
    wrong = sum(share_inside(list(rng.normal(shift, 1, 5)), low, high, confidence=0.9) > true for _ in range(trials))
    assert wrong <= 0.1 * trials + 3 * math.sqrt(trials * 0.09)


def test_tolerance_interval_covers() -> None:
    """In simulated samples of 6 the 0.9/0.8 interval holds 90 % of the values in 80 % of the samples (± 4 sd)."""
    rng = np.random.default_rng(7)
    trials, held = 2000, 0
    for _ in range(trials):
        interval = tolerance_interval(list(rng.normal(0, 1, 6)), coverage=0.9, confidence=0.8)
        held += float(ndtr(interval.high) - ndtr(interval.low)) >= 0.9
    assert held / trials == pytest.approx(0.8, abs=4 * math.sqrt(0.16 / trials))


@given(st.floats(0.001, 5), st.floats(0, 2), shares)
def test_mean_tolerance_falls_with_scatter(half: float, sigma: float, share: float) -> None:
    """More scatter, or a larger share, never leaves the mean more room."""
    room = mean_tolerance_mm(half, sigma_mm=sigma, share=share)
    assert mean_tolerance_mm(half, sigma_mm=sigma * 1.1, share=share) <= room + 1e-9 or share < 0.5
    assert mean_tolerance_mm(half, sigma_mm=sigma, share=min(0.999999, share * 1.01)) <= room + 1e-9


@given(st.lists(st.floats(-100, 100), min_size=2, max_size=30), st.floats(-50, 50))
def test_chart_moves_with_the_readings(values: list[float], shift: float) -> None:
    """Adding a constant to all readings moves centre and limits by it and leaves the moving ranges."""
    chart, moved = individuals_chart(values), individuals_chart([value + shift for value in values])
    assert moved.centre == pytest.approx(chart.centre + shift, abs=1e-9)
    assert moved.sigma == pytest.approx(chart.sigma, abs=1e-9)


CALLS: dict[str, Callable[..., object]] = {
    "success_run_count": lambda a, b, c: success_run_count(a, b, failed=c),
    "reliability_shown": lambda a, b, c: reliability_shown(a, b, failed=c),
    "shown_text": lambda a, b, c: shown_text(a, b, wanted=c),
    "mean_tolerance_mm": lambda a, b, c: mean_tolerance_mm(a, sigma_mm=b, share=c),
    "one_setting": lambda a, b, c: one_setting(a, sigma_mm=b, share=c).mean_tolerance_mm,
    "one_sided_factor": one_sided_factor,
    "two_sided_factor": two_sided_factor,
    "chart_constants": lambda a, _b, _c: chart_constants(a).d2,
}


@settings(deadline=None)
@pytest.mark.parametrize("name", sorted(CALLS))
@given(anything, anything, anything)
def test_anything_gives_a_finite_number_or_our_error(name: str, a: object, b: object, c: object) -> None:
    """Whatever is handed in, a finite value or one of our errors comes out."""
    try:
        result = CALLS[name](a, b, c)
    except FirstpullError:
        return
    assert isinstance(result, str) or math.isfinite(result)  # type: ignore[arg-type]


@settings(deadline=None)
@given(number_lists, st.floats(), st.floats(), shares)
def test_lists_give_finite_numbers_or_our_error(values: list[float], a: float, b: float, confidence: float) -> None:
    """The functions on readings give finite values or our error for any readings."""
    calls: tuple[Callable[[], tuple[float, ...]], ...] = (
        lambda: (share_inside(values, a, b, confidence=confidence),),
        lambda: (tolerance_interval(values, coverage=0.9, confidence=confidence).high,),
        lambda: (individuals_chart(values, centre=a).upper, individuals_chart(values).mr_upper),
        lambda: (individuals_chart(values, sigma=b).lower,),
        lambda: (measured(values, resolution=a, limit_error=abs(b), confidence=confidence).expanded,),
    )
    for call in calls:
        try:
            result = call()
        except FirstpullError:
            continue
        assert all(math.isfinite(number) for number in result)

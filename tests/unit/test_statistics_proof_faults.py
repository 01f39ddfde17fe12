"""Guard bands and sequential plans: what is refused, and cases worked by hand."""

from __future__ import annotations

import pytest
from scipy.integrate import dblquad
from scipy.stats import norm

from firstpull.errors import BadInput
from firstpull.statistics.guard_bands import conformance, guard_band_for_global_risk, guarded_limits, posterior, risks
from firstpull.statistics.sequential import (
    decide,
    outcome,
    plan_that_keeps_the_risk,
    probability_ratio_plan,
    success_run_plan,
)


def test_conformance_by_hand() -> None:
    """On the limit one half; without doubt yes or no; twice u outside 2.3 % inside, so it does not conform."""
    assert conformance(10.0, 0.1, high=10.0).chance == pytest.approx(0.5, abs=1e-12)
    assert conformance(10.0, 0.0, low=9.0, high=10.0).verdict == "conforms"
    assert conformance(10.1, 0.0, high=10.0).chance == 0.0
    outside = conformance(10.2, 0.1, high=10.0)
    assert outside.chance == pytest.approx(0.02275, abs=5e-6)
    assert outside.verdict == "does not conform"


def test_what_is_known_of_the_process_counts() -> None:
    """Equal doubts meet in the middle, with √½ of either."""
    mean, u = posterior(10.0, 0.1, mean=9.0, sd=0.1)
    assert mean == pytest.approx(9.5, abs=1e-12)
    assert u == pytest.approx(0.1 * 0.5**0.5, abs=1e-12)


def test_at_a_guarded_limit_the_risk_is_the_one_allowed() -> None:
    """The chance to conform at the edge is 1 − risk with one limit and with two close ones."""
    for limits in ({"high": 1.0}, {"low": -1.0, "high": 1.0}, {"low": 0.4, "high": 1.0}):
        edge = guarded_limits(0.12, risk=0.05, **limits).high
        assert edge is not None
        assert conformance(edge, 0.12, **limits).chance == pytest.approx(0.95, abs=1e-9)


def test_a_gauge_too_coarse_accepts_nothing() -> None:
    """Where even the middle is too doubtful it is said, with the chance there."""
    with pytest.raises(BadInput, match=r"chance to conform is 68\.3 %"):
        guarded_limits(1.0, low=-1.0, high=1.0)
    with pytest.raises(BadInput, match="guard bands meet"):
        risks(0.1, mean=0, sd=1, low=-1, high=1, guard_band=1.1)
    with pytest.raises(BadInput, match="no limit"):
        conformance(1.0, 0.1)


def test_global_risks_agree_with_a_double_integral() -> None:
    """Consumer's and producer's risk by quadrature in two dimensions."""
    found = risks(0.3, mean=0.2, sd=1.0, low=-1.5, high=2.0, guard_band=0.2)

    def both(y: float, x: float) -> float:
        return float(norm.pdf(x, 0.2, 1.0) * norm.pdf(y, x, 0.3))

    high, _ = dblquad(both, 2.0, 7.0, -1.3, 1.8, epsabs=1e-10)
    low, _ = dblquad(both, -7.0, -1.5, -1.3, 1.8, epsabs=1e-10)
    assert found.consumer == pytest.approx(high + low, abs=1e-8)
    assert found.conforming == pytest.approx(float(norm.cdf(1.8) - norm.cdf(-1.7)), abs=1e-10)
    assert found.producer == pytest.approx(found.conforming - (found.accepted - found.consumer), abs=1e-10)


def test_a_guard_band_for_a_wanted_global_risk() -> None:
    """The band meets the wanted risk; where none is needed it is 0, also for one limit."""
    case = {"mean": 0.0, "sd": 0.12, "low": -0.2, "high": 0.2}
    band = guard_band_for_global_risk(0.04, consumer=0.001, **case)
    assert risks(0.04, guard_band=band.guard_band, **case).consumer == pytest.approx(0.001, rel=1e-6)
    assert guard_band_for_global_risk(0.04, consumer=0.2, **case).guard_band == 0
    one = guard_band_for_global_risk(0.04, mean=0, sd=0.12, high=0.2, consumer=1e-6).guard_band
    assert risks(0.04, mean=0, sd=0.12, high=0.2, guard_band=one).consumer == pytest.approx(1e-6, rel=1e-5)


def test_a_curtailed_success_run_by_hand() -> None:
    """Two coupons, none may fail: at R = 0.5 accepted in ¼, and 1.5 coupons on average."""
    plan = success_run_plan(0.5, 0.75)
    assert plan.most == 2
    result = outcome(plan, 0.5)
    assert result.accepted == pytest.approx(0.25, abs=1e-12)
    assert result.mean_coupons == pytest.approx(1.5, abs=1e-12)


def test_what_the_plan_says() -> None:
    """It goes on, accepts, rejects, and refuses results after its end."""
    plan = success_run_plan(0.5, 0.75)
    assert decide(plan, (True,)) == "go on"
    assert decide(plan, (True, True)) == "accept"
    assert decide(plan, (False,)) == "reject"
    with pytest.raises(BadInput, match="after 1 coupons"):
        decide(plan, (False, True))


def test_no_plan_accepts_sooner_than_the_success_run_when_all_pass() -> None:
    """A plan that keeps the promise needs at least the success run's number of good ones in a row."""
    plan = plan_that_keeps_the_risk(0.99, 0.90, confidence=0.95)
    assert outcome(plan, 0.90).accepted <= 0.05
    assert plan.accept.index(0) + 1 >= success_run_plan(0.90, 0.95).most == 29


def test_impossible_plans_are_refused() -> None:
    """Good not above bad, and a cut-off too short for the confidence."""
    with pytest.raises(BadInput, match="above the bad"):
        probability_ratio_plan(0.9, 0.9)
    with pytest.raises(BadInput, match="before it can accept"):
        plan_that_keeps_the_risk(0.99, 0.95, confidence=0.95, most=10)

"""Capability: what is refused, what is warned of, and what the numbers of degrees of freedom are."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firstpull.errors import BadInput
from firstpull.statistics.capability_indices import capability, cp_limits, cpk_at_least, cpk_limits, cpm_limits

STEADY = [round(float(v), 3) for v in np.random.default_rng(5).normal(10, 1, 60)]


def test_hopeless_questions_are_refused() -> None:
    """No limit, limits swapped, no scatter, too few values, left-over values."""
    for values, limits, size, word in (
        (STEADY, {}, 1, "no limit"),
        (STEADY, {"low": 2.0, "high": 1.0}, 1, "below the upper"),
        ([1.0] * 10, {"low": 0.0}, 1, "do not scatter"),
        ([1.0] * 10, {"low": 0.0}, 5, "do not scatter"),
        (STEADY, {"low": 0.0}, 7, "4 are left over"),
        ([1.0, 2.0], {"low": 0.0}, 1, "out of range"),
    ):
        with pytest.raises(BadInput, match=word):
            capability(values, group_size=size, **limits)


def test_one_limit_has_no_cp() -> None:
    """Cp and Pp compare with a width; one limit has none."""
    result = capability(STEADY, low=5)
    assert result.cp is None
    assert result.pp is None
    assert result.cpk.at_least < result.cpk.value


def test_warnings() -> None:
    """An outlier, few readings, a mean outside and readings that are not normal are each said."""
    notes = " ".join(capability([*STEADY, 30.0], low=0, high=20).notes)
    assert "beyond the chart" in notes
    assert "not look normal" in notes
    notes = " ".join(capability(STEADY[:10], low=20).notes)
    assert "Only 10 readings" in notes
    assert "outside the limits" in notes


def test_moving_ranges_know_sigma_as_cryer_and_ryan_say() -> None:
    """The degrees of freedom are those of a chi with the variance (0.8264 n − 1.0820)/(n − 1)² of 60 values."""
    freedom = capability(STEADY, low=5).freedom_within
    c4 = math.sqrt(2 / freedom) * math.exp(math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2))
    assert (1 - c4**2) / c4**2 == pytest.approx((0.8264 * 60 - 1.0820) / 59**2, rel=1e-4)
    assert capability(STEADY, low=5, group_size=5).freedom_within == 48


def test_shares_of_a_centred_process() -> None:
    """Limits three overall sds away leave 0.27 % outside."""
    mean, sd = float(np.mean(STEADY)), float(np.std(STEADY, ddof=1))
    result = capability(STEADY, low=mean - 3 * sd, high=mean + 3 * sd)
    assert result.outside_share == pytest.approx(0.0027, abs=5e-7)
    assert 0.95 < result.inside_at_least < 1 - result.outside_share


@pytest.mark.parametrize("index", [-0.5, 0.0, 1.0, 2.0])
def test_what_is_shown_lies_near_the_approximation(index: float) -> None:
    """For 200 values the exact one-sided limit lies within 0.02 of the approximate one."""
    exact = cpk_at_least(index, 200, freedom=199, confidence=0.95)
    assert exact == pytest.approx(cpk_limits(index, 200, freedom=199, confidence=0.90)[0], abs=0.02)


def test_cpm_by_hand() -> None:
    """Cpm counts what is off the target as scatter: Pp/√(1 + ξ²); on target it is Pp, with limits of n, not n − 1."""
    plain = capability(STEADY, low=5, high=15, target=9.0)
    assert plain.pp is not None
    assert plain.cpm is not None
    off = (plain.mean - 9.0) / plain.sd_overall
    assert plain.cpm.value == pytest.approx(plain.pp.value / math.sqrt(1 + off * off), rel=1e-12)
    assert plain.cpm.low < plain.cpm.at_least < plain.cpm.value < plain.cpm.high
    assert cpm_limits(1.0, 60, off=0.0, confidence=0.95) == pytest.approx(cp_limits(1.0, 60, 0.95), rel=1e-12)
    assert capability(STEADY, low=5, target=9.0).cpm is None
    with pytest.raises(BadInput, match="target"):
        capability(STEADY, low=5, high=15, target=math.nan)

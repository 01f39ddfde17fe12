"""Tolerance factors at the ends of their range, against adaptive quadrature of their definition and noncentral t."""

from __future__ import annotations

import math

import pytest
from scipy import integrate, optimize, special, stats

from firstpull.errors import BadInput
from firstpull.statistics import one_sided_factor, share_inside, two_sided_factor

SIZES = (2, 3, 10, 1000, 100_000)
COVERAGES = (0.001, 0.5, 0.95, 0.999999)
CONFIDENCES = (0.001, 0.5, 0.95, 0.999999)


def _confidence(n: int, k: float, coverage: float) -> float:
    """The chance that mean ± k·sd of n values holds the coverage, integrated over the error of the mean."""
    f = n - 1

    def given_mean(y: float) -> float:
        def outside(reach: float) -> float:
            return float(special.ndtr(-reach - y) + special.ndtr(-reach + y) - (1 - coverage))

        reach = float(optimize.brentq(outside, 0.0, 60 + abs(y), xtol=1e-14))
        weight = float(stats.norm.pdf(y, scale=1 / math.sqrt(n)))
        return weight * float(special.gammaincc(f / 2, f * (reach / k) ** 2 / 2))

    far = 9 / math.sqrt(n)
    return float(integrate.quad(given_mean, -far, far, epsabs=1e-13, epsrel=1e-12, limit=400)[0])


@pytest.mark.parametrize("n", SIZES)
@pytest.mark.parametrize("coverage", COVERAGES)
@pytest.mark.parametrize("confidence", CONFIDENCES)
def test_two_sided_by_the_definition(n: int, coverage: float, confidence: float) -> None:
    """The chance is the asked one to a millionth of the smaller of it and its complement."""
    k = two_sided_factor(n, coverage, confidence)
    least = min(confidence, 1 - confidence)
    assert _confidence(n, k, coverage) == pytest.approx(confidence, abs=1e-6 * least)


@pytest.mark.parametrize("n", SIZES)
@pytest.mark.parametrize("coverage", COVERAGES)
@pytest.mark.parametrize("confidence", CONFIDENCES)
def test_one_sided_by_noncentral_t(n: int, coverage: float, confidence: float) -> None:
    """The same by SciPy's noncentral t where that can be trusted (noncentrality under 35)."""
    k = one_sided_factor(n, coverage, confidence)
    assert math.isfinite(k)
    off = float(special.ndtri(coverage)) * math.sqrt(n)
    if abs(off) < 35:
        least = min(confidence, 1 - confidence)
        assert float(stats.nct.cdf(k * math.sqrt(n), n - 1, off)) == pytest.approx(confidence, abs=1e-6 * least)


def test_many_readings_leave_the_normal_point() -> None:
    """With 100 000 readings at confidence 0.5 the factors are the normal points to four digits."""
    assert two_sided_factor(100_000, 0.99, 0.5) == pytest.approx(float(special.ndtri(0.995)), rel=1e-4)
    assert one_sided_factor(100_000, 0.99, 0.5) == pytest.approx(float(special.ndtri(0.99)), rel=1e-4)


@pytest.mark.parametrize(("scale", "offset"), [(1e-9, 0.0), (1e9, 0.0), (1e-3, 1e6), (1.0, -1e12)])
def test_units_and_offsets_do_not_matter(scale: float, offset: float) -> None:
    """The share inside is the same for tiny and for huge numbers and far from 0."""
    values = [offset + scale * v for v in (0.0, 1.0, 2.0, 1.0, 3.0)]
    plain = share_inside([0.0, 1.0, 2.0, 1.0, 3.0], -5.0, 8.0, confidence=0.9)
    assert share_inside(values, offset - 5 * scale, offset + 8 * scale, confidence=0.9) == pytest.approx(
        plain, rel=1e-3
    )


@pytest.mark.parametrize(
    ("n", "coverage", "confidence"), [(1, 0.9, 0.9), (100_001, 0.9, 0.9), (5, 1.0, 0.9), (5, 0.9, 0.0)]
)
def test_beyond_the_range(n: int, coverage: float, confidence: float) -> None:
    """One reading, too many, and shares of all or nothing are refused with what would be right."""
    for factor in (one_sided_factor, two_sided_factor):
        with pytest.raises(BadInput) as caught:
            factor(n, coverage, confidence)
        assert caught.value.hint

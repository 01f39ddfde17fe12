"""Weibull life with running parts.

[1] NIST/SEMATECH e-Handbook of Statistical Methods 8.4.1.3 (apr413): ten failures, ten units running at 500 hours; read
    in a public test suite.
[2] R. B. Abernethy, The New Weibull Handbook, appendix C.5 (maximum likelihood) and figure 2-5 (adjusted ranks and
    regression of life on median rank, Benard's approximation); read in public test suites.
[3] J. F. Lawless, Statistical Models and Methods for Lifetime Data: 23 ball bearings, shape 2.10 and scale 81.9 million
    turns; likelihood ratio limits of these, complete and cut off at 100, as R's survreg profiles print them in a public
    test suite.
[4] Success run: NIST/SEMATECH e-Handbook 8.3.1.1; with shape 1 and no failure the life shown is Σt / −ln(1 − C).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from firstpull.statistics.weibull import plot_points, weibayes, weibull_fit

BEARINGS = (
    *(17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.48, 51.84, 51.96, 54.12, 55.56, 67.80),
    *(68.64, 68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40),
)


def test_handbook_apr413() -> None:
    """Shape 1.7207 (1.72080 here and in six public implementations) and scale 606.528 of [1]."""
    fit = weibull_fit([54, 187, 216, 240, 244, 335, 361, 373, 375, 386], [500] * 10)
    assert fit.shape.value == pytest.approx(1.7207, abs=1.1e-4)
    assert fit.scale.value == pytest.approx(606.528, abs=5e-4)
    assert (fit.failures, fit.running) == (10, 10)


def test_new_weibull_handbook_c_5() -> None:
    """Shape 2.257 and scale 4900.1 of [2]."""
    fit = weibull_fit([1500, 7000, 2250, 4000, 4300], [1750, 5000])
    assert fit.shape.value == pytest.approx(2.257, abs=5e-4)
    assert fit.scale.value == pytest.approx(4900.1, abs=0.05)


def test_new_weibull_handbook_figure_2_5() -> None:
    """Adjusted ranks give shape 2.024 and scale 94.998 of [2] when Benard's approximation is used as there."""
    points = plot_points([30, 49, 82, 90, 96], [10, 45, 100])
    assert [point.rank for point in points] == pytest.approx([1.125, 2.4375, 3.75, 5.0625, 6.375], abs=1e-9)
    chances = np.array([(point.rank - 0.3) / 8.4 for point in points])
    x, y = np.log([point.life for point in points]), np.log(-np.log(1 - chances))
    slope = float(np.cov(x, y)[0, 1] / y.var(ddof=1))
    assert 1 / slope == pytest.approx(2.024, abs=5e-4)
    assert math.exp(float(x.mean() - slope * y.mean())) == pytest.approx(94.998, abs=5.1e-4)
    # the exact median ranks lie within 0.7 % of Benard's
    assert [point.chance for point in points] == pytest.approx(list(chances), rel=0.007)


def test_ball_bearings() -> None:
    """Shape 2.10, scale 81.9 and the limits of [3], to the digits that its profile search holds."""
    fit = weibull_fit(BEARINGS, confidence=0.95)
    assert fit.shape.value == pytest.approx(2.10205888, abs=5e-8)
    assert fit.scale.value == pytest.approx(81.87833405, abs=5e-8)
    assert fit.b10.value == pytest.approx(28.06941401, abs=5e-8)
    assert (fit.shape.low, fit.shape.high) == pytest.approx((1.5041307, 2.79153245), rel=2e-5)
    assert (fit.scale.low, fit.scale.high) == pytest.approx((65.69909401, 100.87540988), rel=1e-6)


def test_ball_bearings_cut_off() -> None:
    """Running ones count: shape 2.2398, scale 80.315 and their limits of [3]."""
    fit = weibull_fit([t for t in BEARINGS if t <= 100], [100] * 5, confidence=0.95)
    assert fit.shape.value == pytest.approx(2.2397543, abs=5e-8)
    assert fit.scale.value == pytest.approx(80.31514296, abs=5e-8)
    assert (fit.shape.low, fit.shape.high) == pytest.approx((1.46398042, 3.20804597), rel=2e-5)
    assert (fit.scale.low, fit.scale.high) == pytest.approx((65.19076927, 101.92942453), rel=1e-6)


def test_no_failures_is_a_success_run() -> None:
    """59 parts without a failure at one life: at 95 % the life at which 5 % fail is at least that life, as in [4]."""
    result = weibayes([], [1.0] * 59, shape=2.5, confidence=0.95)
    assert result.best_scale is None
    life_of_5_percent = result.scale_at_least * (-math.log(0.95)) ** (1 / 2.5)
    assert life_of_5_percent == pytest.approx(1.0, abs=0.005)
    assert life_of_5_percent >= 1.0

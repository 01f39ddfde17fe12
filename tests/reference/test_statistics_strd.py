"""NIST Statistical Reference Datasets: Norris (straight line) and NumAcc1 to NumAcc4 (mean and standard deviation).

Data and certified values from memory; that the data give the certified digits says that both are remembered rightly.
Norris regresses an ozone monitor on a reference, which is a linearity study: bias = reading − reference, so the certified
slope is one more than that of the bias.
"""

from __future__ import annotations

import pytest

from firstpull.statistics.capability import capability
from firstpull.statistics.gauge_bias import linearity_study
from firstpull.statistics.measurement import measured

NORRIS = (
    *((0.2, 0.1), (337.4, 338.8), (118.2, 118.1), (884.6, 888.0), (10.1, 9.2), (226.5, 228.1), (666.3, 668.5)),
    *((996.3, 998.5), (448.6, 449.1), (777.0, 778.9), (558.2, 559.2), (0.4, 0.3), (0.6, 0.1), (775.5, 778.1)),
    *((666.9, 668.8), (338.0, 339.3), (447.5, 448.9), (11.6, 10.8), (556.0, 557.7), (228.1, 228.3), (995.8, 998.0)),
    *((887.6, 888.8), (120.2, 119.6), (0.3, 0.3), (0.3, 0.6), (556.8, 557.6), (339.1, 339.3), (887.2, 888.0)),
    *((999.0, 998.5), (779.0, 778.9), (11.1, 10.2), (118.3, 117.6), (229.2, 228.9), (669.1, 668.4), (448.9, 449.2)),
    (0.5, 0.2),
)


def test_norris() -> None:
    """Slope 1.00211681802045, intercept −0.262323073774029, their errors and the residual sd to ten digits."""
    line = linearity_study(NORRIS)
    assert 1 + line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.slope_error == pytest.approx(0.429796848199937e-03, rel=1e-10)
    assert line.intercept_error == pytest.approx(0.232818234301152, rel=1e-10)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-10)


def _alternating(base: float) -> list[float]:
    """One value in the middle, then a thousand a tenth below and above it by turns."""
    return [base, *(base + (-0.1 if k % 2 == 0 else 0.1) for k in range(1000))]


@pytest.mark.parametrize(
    ("values", "mean", "sd", "digits"),
    [
        ([10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0, 1e-12),
        (_alternating(1.2), 1.2, 0.1, 1e-12),
        (_alternating(1000000.2), 1000000.2, 0.1, 1e-8),
        (_alternating(10000000.2), 10000000.2, 0.1, 1e-7),
    ],
    ids=["NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4"],
)
def test_numerical_accuracy(values: list[float], mean: float, sd: float, digits: float) -> None:
    """Certified means and sds; for the large ones to what is left of the digits of a binary number."""
    result = measured(values, resolution=1e-6)
    assert result.mean == pytest.approx(mean, rel=1e-14)
    assert result.sd == pytest.approx(sd, rel=digits)
    if len(values) > 5:
        assert capability(values[:101], low=mean - 1).sd_overall == pytest.approx(sd, rel=digits)

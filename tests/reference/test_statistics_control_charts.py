"""Control chart constants and the individuals chart.

[1] Table A.22, Factors for Constructing Control Charts (ASTM-type table, read in a public copy):
    data/statistics_control_chart_constants.csv.
[2] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals and moving-range chart of flow rates).
[4] ASTM MNL 7 and ISO 7870-2, factors for larger subgroups, for a known sigma and for single readings (from memory):
    data/statistics_control_chart_constants_more.csv. Six of them are printed from factors rounded before: D1 0.204,
    0.687, 1.806 (0.2047, 0.6864, 1.8053 here), D2 5.741 (5.7405), E2 2.660 (2.6587), E3 3.191 (3.1915).
[3] L. H. C. Tippett (1925): the mean range of 2 and 3 normal values is 2/√π and 3/√π sigmas.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtr

from firstpull.statistics.control_charts import chart_constants, individuals_chart

DATA = Path(__file__).parent / "data"
FIELD = {"d2": "d2", "d3": "d3", "c4": "c4", "A2": "a2", "A3": "a3", "D3": "d3_low", "D4": "d4", "B3": "b3", "B4": "b4"}
FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


def test_published_factors() -> None:
    """Each factor of [1] is met to half its last printed digit (four places for c4, else three)."""
    with (DATA / "statistics_control_chart_constants.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            ours = getattr(chart_constants(int(row["n"])), FIELD[row["constant"]])
            half = 5.1e-5 if row["constant"] == "c4" else 5.1e-4
            assert ours == pytest.approx(float(row["published"]), abs=half), row


ROUNDED_BEFORE = {("7", "D1"), ("10", "D1"), ("25", "D1"), ("15", "D2"), ("2", "E2"), ("5", "E3")}


def test_published_factors_of_large_groups_and_known_sigma() -> None:
    """Each factor of [4], subgroups up to 100, is met to half its last digit; six to one and a half (see above)."""
    names = {**{name: name.lower() for name in ("A", "B5", "B6", "E2", "E3")}, "D1": "d1_low", "D2": "d2_high"}
    with (DATA / "statistics_control_chart_constants_more.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    assert len(rows) > 90
    for row in rows:
        name = row["constant"]
        ours = getattr(chart_constants(int(row["n"])), names.get(name, name))
        wide = 1.5 if (row["n"], name) in ROUNDED_BEFORE else 0.51
        unit = 10.0 ** -len(row["published"].partition(".")[2])
        assert ours == pytest.approx(float(row["published"]), abs=wide * unit), row


@pytest.mark.parametrize("n", range(2, 101))
def test_factors_hang_together(n: int) -> None:
    """For every subgroup from 2 to 100 c4 is the Gamma quotient, c5² + c4² is 1, and the range has its mean and scatter.

    E[range] = ∫ 1 − Φⁿ − (1 − Φ)ⁿ dx (Tippett 1925), here by another rule than the package's.
    """
    found = chart_constants(n)
    x = np.linspace(-12, 12, 24_001)
    below = ndtr(x)
    range_mean = float(np.sum(1 - below**n - ndtr(-x) ** n) * (x[1] - x[0]))
    assert found.d2 == pytest.approx(range_mean, rel=1e-9)
    assert found.c4**2 + found.c5**2 == pytest.approx(1, abs=1e-14)
    c4 = math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))
    assert found.c4 == pytest.approx(c4, rel=1e-13)
    assert found.a2 * found.d2 == pytest.approx(found.a, rel=1e-13)
    assert found.b6 - found.c4 == pytest.approx(3 * found.c5, rel=1e-13)


@pytest.mark.parametrize(("n", "d2"), [(2, 2 / math.sqrt(math.pi)), (3, 3 / math.sqrt(math.pi))])
def test_mean_range_in_closed_form(n: int, d2: float) -> None:
    """The quadrature meets the closed form of [3] to rounding."""
    assert chart_constants(n).d2 == pytest.approx(d2, abs=1e-12)


def test_flow_rates_of_the_handbook() -> None:
    """Mean 50.81 and mean moving range 1.8778 of [2] are met to half their last digit."""
    chart = individuals_chart(FLOW)
    assert chart.centre == pytest.approx(50.81, abs=0.005)
    assert chart.mr_centre == pytest.approx(1.8778, abs=5e-5)
    assert chart.signals == ()


def test_flow_rate_limits_of_the_handbook() -> None:
    """Limits 55.8041 and 45.8159 of [2] follow from its rounded d2 of 1.128."""
    chart = individuals_chart(FLOW, sigma=individuals_chart(FLOW).mr_centre / 1.128)
    assert chart.upper == pytest.approx(55.8041, abs=5e-5)
    assert chart.lower == pytest.approx(45.8159, abs=5e-5)

"""Control chart constants and the individuals chart.

[1] Table A.22, Factors for Constructing Control Charts (ASTM-type table, read in a public copy):
    data/statistics_control_chart_constants.csv.
[2] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals and moving-range chart of flow rates).
[3] L. H. C. Tippett (1925): the mean range of 2 and 3 normal values is 2/√π and 3/√π sigmas.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

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

"""Gauge studies: repeatability and reproducibility, bias, linearity.

[1] AIAG, Measurement Systems Analysis, 4th ed., chapter III section B: 10 parts, 3 appraisers, 3 trials (figures III-B 6
    and 15 for the readings, tables III-B 7, 9 and 10 for the results); read in public copies:
    data/statistics_gauge_study_readings.csv and data/statistics_gauge_study_results.csv.
[2] The same, tables III-B 3 (bias: mean 6.021, sd 0.2048, n = 100, reference 6.01) and III-B 4, 5 (linearity: five
    references, twelve readings each), read in a public test suite.

[3] A smaller study, 5 parts, 3 appraisers, 3 trials, as a public Python package prints it (sums of squares and variances
    with the interaction kept).

[4] D. C. Montgomery, Design and Analysis of Experiments, 5th ed., section 3-9: strength of cloth from four looms, readings
    and results from memory (the readings give the printed sums of squares exactly).

Disagreements with print: the range method's 0.20188 and 0.22963 come from factors rounded to four digits (ours 0.20186
and 0.22968); the printed 90 % limits of reproducibility and of the gauge, 0.129 to 1.001 and 0.237 to 1.033, differ by
1.3 % and 0.8 % from the modified large-sample limits of the cited method (0.1275 to 1.0138, 0.2351 to 1.0334).
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from firstpull.statistics.control_charts import chart_constants
from firstpull.statistics.gauge_bias import bias_study, linearity_study
from firstpull.statistics.gauge_readings import GaugeReading
from firstpull.statistics.gauge_repeatability import repeatability_study
from firstpull.statistics.gauge_study import gauge_study_anova, gauge_study_range

DATA = Path(__file__).parent / "data"
LINEARITY = {
    2.0: (2.7, 2.5, 2.4, 2.5, 2.7, 2.3, 2.5, 2.5, 2.4, 2.4, 2.6, 2.4),
    4.0: (5.1, 3.9, 4.2, 5.0, 3.8, 3.9, 3.9, 3.9, 3.9, 4.0, 4.1, 3.8),
    6.0: (5.8, 5.7, 5.9, 5.9, 6.0, 6.1, 6.0, 6.1, 6.4, 6.3, 6.0, 6.1),
    8.0: (7.6, 7.7, 7.8, 7.7, 7.8, 7.8, 7.8, 7.7, 7.8, 7.5, 7.6, 7.7),
    10.0: (9.1, 9.3, 9.5, 9.3, 9.4, 9.5, 9.5, 9.5, 9.6, 9.2, 9.3, 9.4),
}
POINTS = [(reference, value) for reference, values in LINEARITY.items() for value in values]


def _rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def _study(name: str) -> list[GaugeReading]:
    rows = _rows("statistics_gauge_study_readings.csv")
    return [GaugeReading(r["part"], r["appraiser"], float(r["value"])) for r in rows if r["study"] == name]


READINGS = _study("manual")
PRINTED = {(row["method"], row["quantity"]): row["published"] for row in _rows("statistics_gauge_study_results.csv")}


def _printed(method: str, quantity: str) -> float:
    return float(PRINTED[method, quantity])


def test_range_method_of_the_manual() -> None:
    """Sds of the range method are met to 2.5 in 10 000, the rounding of the printed factors, and the shares to 0.01."""
    study = gauge_study_range(READINGS)
    for part, name in (
        (study.repeatability, "EV"),
        (study.reproducibility, "AV"),
        (study.gauge, "GRR"),
        (study.part, "PV"),
        (study.total, "TV"),
    ):
        assert part.sd == pytest.approx(_printed("Xbar-R", name), rel=2.5e-4), name
        if name != "TV":
            assert part.study_percent == pytest.approx(_printed("Xbar-R", f"%{name}"), abs=0.01), name
    assert study.distinct_categories == int(PRINTED["Xbar-R", "ndc (truncated)"])


def test_anova_table_of_the_manual() -> None:
    """Sums of squares are met to half their last digit, and the printed F against the error follow from them."""
    study = gauge_study_anova(READINGS, pool_above=1)
    rows = {row.source: row for row in study.anova}
    for source, name in (
        ("parts", "part"),
        ("appraisers", "appraiser"),
        ("interaction", "interaction"),
        ("repeatability", "equipment"),
        ("total", "total"),
    ):
        assert rows[source].sum_of_squares == pytest.approx(_printed("ANOVA", f"SS {name}"), abs=5.1e-5), source
    error = rows["repeatability"].mean_square
    assert rows["parts"].mean_square / error == pytest.approx(_printed("ANOVA", "F part (vs MS_e)"), abs=0.005)
    assert rows["appraisers"].mean_square / error == pytest.approx(
        _printed("ANOVA", "F appraiser (vs MS_e)"), abs=0.005
    )
    assert rows["interaction"].f == pytest.approx(_printed("ANOVA", "F interaction"), abs=5e-4)


def test_pooled_components_of_the_manual() -> None:
    """The interaction is pooled, and the sds, the share and the categories are met to half their last digit."""
    study = gauge_study_anova(READINGS)
    assert study.pooled
    assert study.interaction is None
    for part, name, half in (
        (study.repeatability, "EV", 5.1e-7),
        (study.reproducibility, "AV", 5.1e-7),
        (study.gauge, "GRR", 1.6e-6),  # printed 0.302373; √(EV² + AV²) of the printed digits is 0.302372
        (study.part, "PV", 5.1e-7),
        (study.total, "TV", 5.1e-4),  # printed as 1.085
    ):
        assert part.sd == pytest.approx(_printed("ANOVA pooled", name), abs=half), name
    assert study.gauge.study_percent == pytest.approx(_printed("ANOVA pooled", "%GRR"), abs=0.005)
    assert study.distinct_categories == int(PRINTED["ANOVA pooled", "ndc (truncated 4.86)"])


def test_limits_of_the_manual() -> None:
    """The 90 % limits: repeatability to half a digit; the others to 1.4 %, how far print lies from the cited method."""
    study = gauge_study_anova(READINGS, confidence=0.90)
    for part, name, wide in (
        (study.repeatability, "EV", 0.003),  # half of the last of three digits
        (study.reproducibility, "AV", 0.014),
        (study.gauge, "GRR", 0.009),
    ):
        low, high = (float(text) for text in PRINTED["ANOVA 90% CI", name].split("-"))
        assert part.sd_low == pytest.approx(low, rel=wide), name
        assert part.sd_high == pytest.approx(high, rel=wide), name


def test_small_study() -> None:
    """Sums of squares, F and variances of [3] with the interaction kept are met to half their last digit."""
    study = gauge_study_anova(_study("small"), pool_above=1)
    rows = {row.source: row for row in study.anova}
    assert rows["appraisers"].sum_of_squares == pytest.approx(1.63035, abs=5.1e-6)
    assert rows["parts"].sum_of_squares == pytest.approx(28.9094, abs=5.1e-5)
    assert rows["interaction"].sum_of_squares == pytest.approx(0.0650044, abs=5.1e-8)
    assert rows["repeatability"].sum_of_squares == pytest.approx(1.71213, abs=5.1e-6)
    assert rows["total"].sum_of_squares == pytest.approx(32.3169, abs=5.1e-5)
    assert rows["appraisers"].f == pytest.approx(100.32243949133408, rel=1e-9)
    assert rows["appraisers"].chance == pytest.approx(2.1613695507793906e-06, rel=1e-9)
    assert rows["parts"].f == pytest.approx(889.4582250787796, rel=1e-9)
    assert rows["interaction"].chance == pytest.approx(0.9963728209675697, rel=1e-9)
    assert study.interaction is not None
    for part, variance, half in (
        (study.appraiser, 0.0538033, 5.1e-8),
        (study.part, 0.802135, 5.1e-7),
        (study.interaction, 0.0, 1e-12),
        (study.repeatability, 0.0570711, 5.1e-8),
        (study.total, 0.91301, 5.1e-6),
    ):
        assert part.sd**2 == pytest.approx(variance, abs=half), part.name


def test_bias_of_the_manual() -> None:
    """t = 0.5371 and the 95 % limits −0.0299 and 0.0519 of [2]; the limits are printed for 72.7 degrees of freedom of
    a range estimate, with 99 they are narrower by up to 0.0005."""
    half = 0.2048 * math.sqrt(99 / 100)  # fifty values above and fifty below: mean and sd as printed
    result = bias_study([6.021 + half, 6.021 - half] * 50, 6.01)
    assert result.bias == pytest.approx(0.011, abs=1e-9)
    assert result.t == pytest.approx(0.5371, abs=5e-5)
    assert result.low == pytest.approx(-0.0299, abs=5e-4)
    assert result.high == pytest.approx(0.0519, abs=5e-4)
    assert not result.shown


def test_linearity_of_the_manual() -> None:
    """Slope, intercept, their t values, r² and the mean biases of [2] are met to half their last digit."""
    line = linearity_study(POINTS)
    assert line.slope == pytest.approx(-0.1317, abs=5e-5)
    assert line.intercept == pytest.approx(0.7367, abs=5e-5)
    assert line.t_slope == pytest.approx(-12.043, abs=5e-4)
    assert line.t_intercept == pytest.approx(10.158, abs=5e-4)
    assert line.r_squared == pytest.approx(0.7143, abs=5e-5)
    assert line.degrees_of_freedom == 58
    assert [point.mean_bias for point in line.band] == pytest.approx(
        [0.491667, 0.125, 0.025, -0.291667, -0.616667], abs=5e-7
    )
    assert not line.acceptable


def test_ranges_of_the_manual() -> None:
    """The mean ranges of the three appraisers, their mean, the range of the appraisers’ and of the parts’ means."""
    study = gauge_study_range(READINGS)
    d2 = chart_constants(3).d2
    assert study.repeatability.sd * d2 == pytest.approx(_printed("Xbar-R", "Rbarbar"), abs=5.1e-5)
    of_parts = math.hypot(chart_constants(10).d2, chart_constants(10).d3)
    assert study.part.sd * of_parts == pytest.approx(_printed("Xbar-R", "Rp"), abs=5.1e-5)
    of_three = math.hypot(d2, chart_constants(3).d3)
    between = math.hypot(study.appraiser.sd, study.repeatability.sd / math.sqrt(30))
    # print subtracts the appraisers' means as rounded to four digits: 0.4446 for 0.44467
    assert between * of_three == pytest.approx(_printed("Xbar-R", "Xdiff"), abs=1.1e-4)
    printed = [float(text) for text in PRINTED["Xbar-R", "Rbar A/B/C"].split("/")]
    for left_out, name in enumerate("ABC"):
        pair = gauge_study_range([reading for reading in READINGS if reading.appraiser != name])
        both = sum(mean for place, mean in enumerate(printed) if place != left_out)
        assert 2 * pair.repeatability.sd * d2 == pytest.approx(both, abs=1.1e-3), name


LOOMS = {"1": (98, 97, 99, 96), "2": (91, 90, 93, 92), "3": (96, 95, 97, 95), "4": (95, 96, 99, 98)}


def test_one_way_components_of_the_looms() -> None:
    """Sums of squares 89.19 and 22.75, F 15.68, components 1.90 and 6.96, 95 % limits of the first 0.97 to 5.17."""
    readings = [GaugeReading(loom, "one", float(value)) for loom, values in LOOMS.items() for value in values]
    study = repeatability_study(readings, confidence=0.95)
    parts, error, total = study.anova
    assert parts.sum_of_squares == pytest.approx(89.19, abs=0.005)
    assert error.sum_of_squares == pytest.approx(22.75, abs=1e-9)
    assert total.sum_of_squares == pytest.approx(111.94, abs=0.005)
    assert parts.f == pytest.approx(15.68, abs=0.005)
    assert study.repeatability.sd**2 == pytest.approx(1.90, abs=0.005)
    assert study.part.sd**2 == pytest.approx(6.96, abs=0.005)
    # limits 12 · 1.8958/23.34 and 12 · 1.8958/4.40 with printed chi-square points
    assert (study.repeatability.sd_low or 0) ** 2 == pytest.approx(22.75 / 23.34, rel=5e-4)
    assert (study.repeatability.sd_high or 0) ** 2 == pytest.approx(22.75 / 4.40, rel=2e-3)

"""Gauge studies: what is refused and how it is said, and small cases worked by hand."""

from __future__ import annotations

import math

import pytest

from firstpull.errors import BadInput
from firstpull.statistics.gauge_bias import bias_study, linearity_study
from firstpull.statistics.gauge_readings import GaugeReading, crossed_table
from firstpull.statistics.gauge_study import gauge_study_anova, gauge_study_range, gauge_uncertainty
from firstpull.statistics.variance_limits import MeanSquare, variance_limits

# two parts, two appraisers, two trials: means 1, 2 / 3, 6
SMALL = {("1", "A"): (0.0, 2.0), ("1", "B"): (1.0, 3.0), ("2", "A"): (2.0, 4.0), ("2", "B"): (5.0, 7.0)}
READINGS = [GaugeReading(part, who, value) for (part, who), values in SMALL.items() for value in values]


def test_missing_readings_are_named() -> None:
    """A cell with a reading too few, or none, is named with what it has."""
    with pytest.raises(BadInput) as short:
        gauge_study_anova(READINGS[:-1])
    assert "2 times here: part 2 by B has 1." in short.value.what
    with pytest.raises(BadInput) as empty:
        gauge_study_range(READINGS[:-2])
    assert "part 2 by B has 0" in empty.value.what


def test_one_appraiser_is_refused() -> None:
    """One person shows no reproducibility, and the hint says what to do."""
    with pytest.raises(BadInput, match="One appraiser") as alone:
        crossed_table([reading for reading in READINGS if reading.appraiser == "A"])
    assert "two days" in alone.value.hint


def test_readings_without_scatter_are_refused() -> None:
    """A gauge too coarse to see its own scatter proves nothing."""
    flat = [GaugeReading(part, who, float(part)) for part in "12" for who in "AB" for _ in range(3)]
    for study in (gauge_study_anova, gauge_study_range):
        with pytest.raises(BadInput, match="say nothing about the gauge"):
            study(flat)


def test_sums_of_squares_by_hand() -> None:
    """The small table: parts 18, appraisers 8, interaction 2, repeatability 8, 1 to 4 degrees of freedom."""
    rows = {row.source: row for row in gauge_study_anova(READINGS, pool_above=1).anova}
    squares = {name: row.sum_of_squares for name, row in rows.items()}
    # means 3: parts 1.5 and 4.5, appraisers 2 and 4, cells off by ± 0.5, trials off by ± 1
    expected = {"parts": 18, "appraisers": 8, "interaction": 2, "repeatability": 8, "total": 36}
    assert squares == pytest.approx(expected, abs=1e-12)
    assert rows["repeatability"].degrees_of_freedom == 4
    assert rows["interaction"].f == pytest.approx(1.0, abs=1e-12)


def test_components_add_up_and_tolerance_counts_six_sds() -> None:
    """Variances add up to the total; a tolerance of 12 takes 50 % per unit of sd."""
    study = gauge_study_anova(READINGS, tolerance=12.0)
    assert study.gauge.sd**2 == pytest.approx(study.repeatability.sd**2 + study.reproducibility.sd**2, abs=1e-12)
    assert study.total.sd**2 == pytest.approx(study.gauge.sd**2 + study.part.sd**2, abs=1e-12)
    assert study.gauge.tolerance_percent == pytest.approx(50 * study.gauge.sd, abs=1e-9)


def test_uncertainty_counts_the_step_where_it_is_coarser() -> None:
    """The repeatability counts as it is, or as step/√12 where that is more."""
    study = gauge_study_anova(READINGS)
    fine = gauge_uncertainty(study, resolution=0.1)
    assert fine[0] == ("repeatability", study.repeatability.sd, study.repeatability.degrees_of_freedom)
    assert fine[1][0] == "reproducibility"
    assert fine[2] == ("bias", 0.0, None)
    assert gauge_uncertainty(study, bias=-3.0)[2][1] == pytest.approx(math.sqrt(3), abs=1e-12)
    coarse = gauge_uncertainty(study, resolution=12.0)
    assert coarse[0][0] == "resolution"
    assert coarse[0][1] == pytest.approx(math.sqrt(12), abs=1e-12)
    assert coarse[0][2] is None


def test_variance_limits_of_one_mean_square_are_the_chi_square_ones() -> None:
    """10 degrees of freedom, 95 %: between 10/20.483 and 10/3.247 of the mean square (printed chi-square points)."""
    limits = variance_limits([MeanSquare(1.0, 1.0, 10)], 0.95)
    assert limits.low == pytest.approx(10 / 20.483, abs=5e-5)
    assert limits.high == pytest.approx(10 / 3.247, abs=5e-4)
    assert limits.degrees_of_freedom == pytest.approx(10, abs=1e-9)


def test_bias_with_a_doubtful_reference_is_wider() -> None:
    """The reference's own doubt widens the limits, or leaves them where its freedom would narrow them."""
    sure, less, doubtful = (bias_study([5.0, 5.2, 5.1], 5.0, reference_u=u) for u in (0.0, 0.1, 0.2))
    assert doubtful.high - doubtful.low > less.high - less.low == pytest.approx(sure.high - sure.low, abs=1e-12)
    assert doubtful.degrees_of_freedom > sure.degrees_of_freedom == pytest.approx(2, abs=1e-12)


def test_a_bent_bias_is_not_straight() -> None:
    """A bias that rises and falls again fails the test of the line; the band at its end is as at the reference."""
    bent = [(x, x + dent + noise) for x, dent in ((1, 0), (2, 1), (3, 1), (4, 0)) for noise in (-0.02, 0.01, 0.01)]
    line = linearity_study(bent)
    assert line.straight is not None
    assert line.straight < 1e-6
    assert line.bias_at(4.0).low == pytest.approx(line.band[-1].low, abs=1e-12)


@pytest.mark.parametrize("points", [[(1.0, 1.1)] * 4, [(1.0, 1.0), (2.0, 2.0), (3.0, 3.0)], [(1.0, 1.0)]])
def test_hopeless_linearity_is_refused(points: list[tuple[float, float]]) -> None:
    """One reference, an exact line or too few points say nothing of linearity."""
    with pytest.raises(BadInput):
        linearity_study(points)


def test_a_step_over_a_tenth_of_the_tolerance_is_said() -> None:
    """1 of 10 will do, 1.1 of 10 will not."""
    fits, too_coarse = (gauge_study_anova(READINGS, tolerance=10, resolution=step).notes for step in (1.0, 1.1))
    assert "tenth of the tolerance" not in " ".join(fits)
    assert "tenth of the tolerance" in " ".join(too_coarse)

"""NIST Statistical Reference Datasets: Norris (straight line), NumAcc1 to NumAcc4, Michelso (mean and standard deviation),
SmLs01 to SmLs09, AtmWtAg, SiRstv (one-way analysis of variance).

Data and certified values from memory; that the data give the certified digits says that both are remembered rightly.
NumAcc and SmLs (S. D. Simon, J. P. Lesage, 1989) are made by their rule. Where a large offset leaves a binary
number too few digits, the certified value is held as well as those digits allow, and the exact value of the numbers as
they are stored, by fractions, to ten digits.
Norris regresses an ozone monitor on a reference, which is a linearity study: bias = reading − reference, so the certified
slope is one more than that of the bias.
"""

from __future__ import annotations

import math
from fractions import Fraction

import pytest

from firstpull.statistics.capability_indices import capability
from firstpull.statistics.gauge_bias import linearity_study
from firstpull.statistics.gauge_readings import GaugeReading
from firstpull.statistics.gauge_study import gauge_study_anova
from firstpull.statistics.measurement import measured
from firstpull.statistics.moments import moments
from firstpull.statistics.one_way import compare_groups

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


def right_digits(found: float, certified: float) -> float:
    """The log relative error: how many digits are right."""
    return 15.0 if found == certified else min(15.0, -math.log10(abs(found - certified) / abs(certified)))


@pytest.mark.parametrize(
    ("base", "digits"), [(1.2, 14), (1000000.2, 8), (10000000.2, 7)], ids=["NumAcc2", "NumAcc3", "NumAcc4"]
)
def test_digits_of_the_sd(base: float, digits: int) -> None:
    """Of the sd 14, 8 and 7 digits are right against print, and 13 against the stored numbers' exact value."""
    values = _alternating(base)
    found = moments(values)
    assert right_digits(found.sd, 0.1) >= digits
    stored = [Fraction(value) for value in values]
    mean = sum(stored) / len(stored)
    square = sum((value - mean) ** 2 for value in stored) / (len(stored) - 1)
    assert right_digits(found.sd**2, float(square)) >= 13


def test_a_rounded_mean_costs_no_digits() -> None:
    """Beside 10¹² the mean itself is rounded to 0.0001; the sd of the stored numbers is right to twelve digits all the same."""
    values = [1e12 + tenths / 10 for tenths in (3, 1, 4, 1, 5, 9, 2)]
    stored = [Fraction(value) for value in values]
    mean = sum(stored) / len(stored)
    square = sum((value - mean) ** 2 for value in stored)
    assert right_digits(moments(values).square, float(square)) >= 12


MICHELSON = (
    *(850, 740, 900, 1070, 930, 850, 950, 980, 980, 880, 1000, 980, 930, 650, 760, 810, 1000, 1000, 960, 960),
    *(960, 940, 960, 940, 880, 800, 850, 880, 900, 840, 830, 790, 810, 880, 880, 830, 800, 790, 760, 800),
    *(880, 880, 880, 860, 720, 720, 620, 860, 970, 950, 880, 910, 850, 870, 840, 840, 850, 840, 840, 840),
    *(890, 810, 810, 820, 800, 770, 760, 740, 750, 760, 910, 920, 890, 860, 880, 720, 840, 850, 850, 780),
    *(890, 840, 780, 810, 760, 810, 790, 810, 820, 850, 870, 870, 810, 740, 810, 940, 950, 800, 810, 870),
)


def test_michelson() -> None:
    """Mean 299.8524 and sd 0.0790105478190518 of a hundred speeds of light, in thousands of km/s."""
    found = moments([round(299 + value / 1000, 3) for value in MICHELSON])
    assert right_digits(found.mean, 299.852400000000) >= 14
    assert right_digits(found.sd, 0.0790105478190518) >= 12


def _simon_lesage(offset: int, replicates: int) -> dict[str, list[float]]:
    """Nine treatments: a middle of 1.4, 1.3 or 1.5 above the offset, then a tenth below and above it by turns."""
    groups = {}
    for place, tenths in enumerate((4, 3, 5, 3, 5, 3, 5, 3, 5)):
        last = [tenths, *(tenths - 1 if k % 2 == 0 else tenths + 1 for k in range(replicates - 1))]
        groups[str(place + 1)] = [float(f"{offset + 1}.{digit}") for digit in last]
    return groups


SIMON_LESAGE = [
    ("SmLs01", 0, 21, 14),
    ("SmLs02", 0, 201, 13),
    ("SmLs03", 0, 2001, 12),
    ("SmLs04", 10**6, 21, 9.5),
    ("SmLs05", 10**6, 201, 9.5),
    ("SmLs06", 10**6, 2001, 9.5),
    ("SmLs07", 10**12, 21, 3.5),
    ("SmLs08", 10**12, 201, 3.5),
    ("SmLs09", 10**12, 2001, 3.5),
]


@pytest.mark.parametrize(("name", "offset", "replicates", "digits"), SIMON_LESAGE, ids=[row[0] for row in SIMON_LESAGE])
def test_simon_and_lesage(name: str, offset: int, replicates: int, digits: float) -> None:
    """F 21, 201 and 2001, squares 1.68, 16.08, 160.08 between and 1.8, 18, 180 within, as finely as the data are stored."""
    found = compare_groups(_simon_lesage(offset, replicates))
    assert right_digits(found.f, float(replicates)) >= digits
    assert right_digits(found.square_between, 0.08 * replicates) >= digits
    assert right_digits(found.square_within, 0.09 * (replicates - 1)) >= digits
    assert (found.freedom_between, found.freedom_within) == (8, 9 * (replicates - 1))
    assert right_digits(found.r_squared, 8 * replicates / (8 * replicates + 9 * (replicates - 1))) >= digits


@pytest.mark.parametrize("offset", [0, 10**6, 10**12])
def test_squares_of_the_stored_numbers(offset: int) -> None:
    """Against the exact value of the numbers as they are stored ten digits of both squares are right at any offset."""
    groups = _simon_lesage(offset, 21)
    stored = {name: [Fraction(value) for value in values] for name, values in groups.items()}
    means = {name: sum(values) / 21 for name, values in stored.items()}
    grand = sum(means.values()) / 9
    within = sum((value - means[name]) ** 2 for name, values in stored.items() for value in values)
    between = 21 * sum((mean - grand) ** 2 for mean in means.values())
    found = compare_groups(groups)
    assert right_digits(found.square_within, float(within)) >= 10
    assert right_digits(found.square_between, float(between)) >= 10
    # a gauge study of nine parts, three appraisers and seven trials sees the same squares
    readings = [
        GaugeReading(name, str(k % 3), value) for name, values in groups.items() for k, value in enumerate(values)
    ]
    rows = {row.source: row.sum_of_squares for row in gauge_study_anova(readings, pool_above=1).anova}
    assert right_digits(rows["parts"], float(between)) >= 10
    inside = rows["appraisers"] + rows["interaction"] + rows["repeatability"]
    assert right_digits(inside, float(within)) >= 10


SILVER = {
    "1": (
        *(1568, 1465, 1572, 1785, 1446, 1903, 1526, 1494, 1616, 1587, 1519, 1486),
        *(1419, 1569, 1508, 1672, 1385, 1518, 1662, 1424, 1360, 1333, 1610, 1477),
    ),
    "2": (
        *(1079, 1344, 1513, 1197, 1604, 1385, 1642, 1365, 1151, 1082, 1517, 1448),
        *(1198, 1482, 1334, 1609, 1101, 1512, 1469, 1360, 1254, 1261, 1450, 1368),
    ),
}


def test_atomic_weight_of_silver() -> None:
    """F 15.9467335677930, squares 3.63834187500000e-09 and 1.04951729166667e-08, to what 107.868 leaves of the digits."""
    found = compare_groups({name: [107.868 + value / 1e7 for value in values] for name, values in SILVER.items()})
    assert right_digits(found.f, 15.9467335677930) >= 7.5
    assert right_digits(found.square_between, 3.63834187500000e-09) >= 7.5
    assert right_digits(found.square_within, 1.04951729166667e-08) >= 7.5
    small = compare_groups({name: [value / 1e7 for value in values] for name, values in SILVER.items()})
    assert right_digits(small.f, 15.9467335677930) >= 13


RESISTIVITY = {
    "1": (196.3052, 196.1240, 196.1890, 196.2569, 196.3403),
    "2": (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    "3": (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
    "4": (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    "5": (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
}


def test_resistivity_of_silicon() -> None:
    """F 1.18046237440255, squares 0.0511462616 and 0.21663656."""
    found = compare_groups(RESISTIVITY)
    assert right_digits(found.f, 1.18046237440255) >= 11
    assert right_digits(found.square_between, 5.11462616000000e-02) >= 11
    assert right_digits(found.square_within, 2.16636560000000e-01) >= 11

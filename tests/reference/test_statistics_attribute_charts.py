"""Charts of counts.

[1] NIST/SEMATECH e-Handbook of Statistical Methods 6.3.3.1: particles on 25 wafers, c̄ 16, limits 28 and 4.
[2] D. C. Montgomery, Introduction to Statistical Quality Control, example 7.1: cans that do not conform in 30 samples of
    50, p̄ 0.2313, limits 0.4102 and 0.0524.
Counts from memory; that they give the printed numbers says that they are remembered rightly.
"""

from __future__ import annotations

import pytest

from firstpull.errors import BadInput
from firstpull.statistics.attribute_charts import fault_chart, share_chart

WAFERS = (16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13)
CANS = (
    *(12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22),
    *(8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6),
)


def test_wafers_of_the_handbook() -> None:
    """Centre 16, limits 28 and 4; the 24th wafer is beyond."""
    chart = fault_chart(WAFERS)
    assert (chart.centre, chart.upper[0], chart.lower[0]) == (16, 28, 4)
    assert chart.signals == (23,)
    assert chart.kind == "c"


def test_cans_of_example_7_1() -> None:
    """p̄ 0.2313, limits 0.4102 and 0.0524; the 15th and 23rd sample are beyond."""
    chart = share_chart(CANS, [50] * 30)
    assert chart.centre == pytest.approx(0.2313, abs=5e-5)
    assert chart.upper[0] == pytest.approx(0.4102, abs=5e-5)
    assert chart.lower[0] == pytest.approx(0.0524, abs=5e-5)
    assert chart.signals == (14, 22)


def test_faults_per_area_are_faults_when_areas_are_one() -> None:
    """With areas of 1 the u chart is the c chart; twice the area narrows the limits by √2."""
    plain, per_area = fault_chart(WAFERS), fault_chart(WAFERS, [1.0] * 25)
    assert per_area.upper == plain.upper
    wide = fault_chart([2 * count for count in WAFERS], [2.0] * 25)
    assert wide.centre == plain.centre
    assert wide.upper[0] - 16 == pytest.approx(12 / 2**0.5, rel=1e-12)


@pytest.mark.parametrize(
    ("bad", "sizes", "where"),
    [
        ([3], [2], "bad[0]"),
        ([3], [4, 4], "sizes"),
        ([-1], [4], "bad[0]"),
        ([1.5], [4], "bad[0]"),
        ([], [], "number of bad"),
    ],
)
def test_counts_that_cannot_be(bad: list[int], sizes: list[int], where: str) -> None:
    """More than all, one sample short, below none, a half, nothing."""
    with pytest.raises(BadInput) as caught:
        share_chart(bad, sizes)
    assert caught.value.where == where

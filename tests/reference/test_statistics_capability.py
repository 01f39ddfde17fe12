"""Capability indices and their limits.

[1] NIST/SEMATECH e-Handbook of Statistical Methods 6.1.6: limits 8 and 20, mean 16, sd 2 (read in a public test suite).
[2] D. C. Montgomery, Introduction to Statistical Quality Control, 7th ed.: example 8.4 (Cp 2.29 from 20 readings: 1.57 to
    3.01; from memory), example 8.5 (Cpk 1.33 from 20 readings: 0.88 to 1.78; read in a public test suite, which also
    prints 0.911 to 1.749 for a Cp of 1.33).
[3] One-sided tolerance factors of ISO 16269-6 and of Odeh and Owen (1980): k readings' sds above the mean show the share
    P; so a Cpk of k/3 shows at least z(P)/3. Factors: data/statistics_normal_tolerance_factors.csv (of two public
    implementations that agree with the printed tables).
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from scipy.special import ndtri

from firstpull.statistics.capability_indices import capability, cp_limits, cpk_at_least, cpk_limits

DATA = Path(__file__).parent / "data"


def test_indices_of_the_handbook() -> None:
    """Cp 1.0 and Cpk 0.6667 for both kinds of scatter of fifty readings with mean 16 and sd 2."""
    pairs = [16 + 2 * (49 / 50) ** 0.5, 16 - 2 * (49 / 50) ** 0.5] * 25
    result = capability(pairs, low=8, high=20)
    assert result.pp is not None
    assert result.pp.value == pytest.approx(1.0, abs=5e-5)
    assert result.ppk.value == pytest.approx(0.6667, abs=5e-5)
    assert capability(pairs, low=8).ppk.value == pytest.approx(1.3333, abs=5e-5)
    assert capability(pairs, high=20).ppk.value == pytest.approx(0.6667, abs=5e-5)


def test_limits_of_example_8_4() -> None:
    """1.57 to 3.01."""
    assert cp_limits(2.29, 19, 0.95) == pytest.approx((1.57, 3.01), abs=0.005)


def test_limits_of_example_8_5() -> None:
    """0.88 to 1.78 by the normal approximation; 0.911 to 1.749 for a Cp as large."""
    assert cpk_limits(1.33, 20, freedom=19, confidence=0.95) == pytest.approx((0.88, 1.78), abs=0.005)
    assert cp_limits(1.33, 19, 0.95) == pytest.approx((0.911, 1.749), abs=5e-4)


def test_what_is_shown_agrees_with_printed_tolerance_factors() -> None:
    """For each printed one-sided factor a Cpk of k/3 shows z(P)/3, as well as k is printed."""
    with (DATA / "statistics_normal_tolerance_factors.csv").open(encoding="utf-8", newline="") as lines:
        rows = [row for row in csv.DictReader(lines) if int(row["n"]) <= 50][::7]
    assert len(rows) > 20
    for row in rows:
        n, confidence, factor = int(row["n"]), float(row["confidence"]), float(row["one_sided"])
        shown = 3 * cpk_at_least(factor / 3, n, freedom=n - 1, confidence=confidence)
        assert shown == pytest.approx(float(ndtri(float(row["coverage"]))), abs=2e-5), row

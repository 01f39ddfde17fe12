"""Readings and their uncertainty.

JCGM 100:2008, Guide to the expression of uncertainty in measurement (GUM): 4.3.7 and 4.4.5 (rectangular), 4.4.3 with
table 1 (twenty temperatures; single values from memory, they give the printed mean and sd exactly), F.2.2.1
(resolution), table G.2 (t points), H.1.6 (end gauge, effective degrees of freedom).
"""

from __future__ import annotations

import pytest

from firstpull.statistics.measurement import (
    coverage_factor,
    effective_degrees_of_freedom,
    measured,
    rectangular,
    resolution_uncertainty,
)

TABLE_1 = (
    *(96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07),
    *(100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72),
)


def test_gum_4_4_3_twenty_temperatures() -> None:
    """Mean 100.145, sd 1.489 and standard uncertainty 0.333 °C are met; the gauge's step is made too small to count."""
    result = measured(TABLE_1, resolution=1e-6)
    assert result.mean == pytest.approx(100.145, abs=5e-4)
    assert result.sd == pytest.approx(1.489, abs=5e-4)
    assert result.standard_uncertainty == pytest.approx(0.333, abs=5e-4)
    assert result.degrees_of_freedom == pytest.approx(19, abs=1e-6)


def test_gum_4_4_5_rectangular_temperature() -> None:
    """Between 96 and 104 °C without more knowledge: u = 2.3 °C."""
    assert rectangular(4) == pytest.approx(2.3, abs=0.05)


def test_gum_4_3_7_expansion_of_copper() -> None:
    """± 0.40e-6 per °C, rectangular: u = 0.23e-6."""
    assert rectangular(0.40) == pytest.approx(0.23, abs=0.005)


def test_gum_f_2_2_1_resolution() -> None:
    """A step of 1 leaves u = 0.29."""
    assert resolution_uncertainty(1) == pytest.approx(0.29, abs=0.005)


@pytest.mark.parametrize(
    ("freedom", "confidence", "printed"),
    [(16, 0.95, 2.12), (16, 0.99, 2.92), (1, 0.95, 12.71), (10, 0.95, 2.23), (None, 0.95, 1.960)],
)
def test_gum_table_g_2(freedom: float | None, confidence: float, printed: float) -> None:
    """t points of table G.2 are met to half their last printed digit."""
    assert coverage_factor(freedom, confidence) == pytest.approx(printed, abs=0.005)


def test_gum_h_1_6_end_gauge() -> None:
    """The four parts of the end gauge give 16.7 effective degrees of freedom, within 0.1.

    A whole digit because the guide cuts 16.75 to 16.7 and prints the parts rounded (25, 9.7, 2.9, 16.6 nm).
    """
    parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]
    assert effective_degrees_of_freedom(parts) == pytest.approx(16.7, abs=0.1)

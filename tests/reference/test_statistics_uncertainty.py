"""Uncertainty budgets and their simulation.

[1] JCGM 100:2008, annex H.1 (end gauge; read in four public test suites) and H.2 (resistance and reactance measured
    together; readings and results from memory, the readings give the printed means and correlations exactly).
[2] JCGM 101:2008, 9.2.2 to 9.2.4 (sums of four inputs), 9.3 with table 5 (mass calibration), 9.5 (gauge block); values
    from memory.

Disagreements with print: [1] rounds u_c to 32 nm before it multiplies (93 nm; unrounded 92.6); u(X) of H.2 is printed
as 0.295, its readings give 0.2956. Simulated interval ends of [2] are held to a few times the numerical tolerance of
the digits printed: where the shortest interval lies is settled more slowly than how wide it is. For 9.5 ours lies 1 to
2 nm lower than print, as it does for the other implementation the values were compared with (744.0 to 931.4).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest

from firstpull.statistics.uncertainty_budget import uncertainty_budget
from firstpull.statistics.uncertainty_inputs import Correlation, Model, Quantity, from_half_width
from firstpull.statistics.uncertainty_simulation import check_budget, simulate_uncertainty

END_GAUGE = (
    Quantity(name="standard", value=50_000_623, u=25, degrees_of_freedom=18, unit="nm"),
    Quantity(name="difference", value=215, u=9.7, degrees_of_freedom=25.6, unit="nm"),
    Quantity(name="expansion", value=11.5e-6, u=1.2e-6, distribution="rectangular"),
    Quantity(name="temperature", value=-0.1, u=0.41),
    Quantity(name="expansion difference", value=0, u=0.58e-6, degrees_of_freedom=50),
    Quantity(name="temperature difference", value=0, u=0.029, degrees_of_freedom=2),
)


def _end_gauge(x: Mapping[str, Any]) -> Any:
    warm = x["expansion difference"] * x["temperature"] + x["expansion"] * x["temperature difference"]
    return x["standard"] + x["difference"] - x["standard"] * warm


def test_h_1_end_gauge() -> None:
    """Length 50 000 838 nm, u 32 nm, 16 degrees of freedom, factor 2.92, expanded 93 nm (unrounded 92.6)."""
    budget = uncertainty_budget(_end_gauge, END_GAUGE, confidence=0.99)
    assert budget.value == pytest.approx(50_000_838, abs=0.5)
    assert budget.standard_uncertainty == pytest.approx(32, abs=0.5)
    assert budget.degrees_of_freedom == 16
    assert budget.coverage_factor == pytest.approx(2.92, abs=0.005)
    assert budget.expanded == pytest.approx(93, abs=0.5)


def test_h_1_table() -> None:
    """Contributions 25, 9.7, 0, 0, 2.9 and 16.6 nm of table H.1 (the last printed from 0.0289 K, 16.7 from 0.029)."""
    printed = (25, 9.7, 0, 0, 2.9, 16.6)
    lines = uncertainty_budget(_end_gauge, END_GAUGE).lines
    assert [line.contribution for line in lines] == pytest.approx(list(printed), abs=0.08)


def test_h_1_7_second_order() -> None:
    """With the second-order terms the uncertainty is 34 nm."""
    budget = uncertainty_budget(_end_gauge, END_GAUGE, second_order=True)
    assert budget.standard_uncertainty == pytest.approx(34, abs=0.5)


VOLTAGE = (5.007, 4.994, 5.005, 4.990, 4.999)
CURRENT_MA = (19.663, 19.639, 19.640, 19.685, 19.678)
PHASE = (1.0456, 1.0438, 1.0468, 1.0428, 1.0433)


@pytest.mark.parametrize(
    ("model", "value", "u", "half"),
    [
        (lambda x: 1000 * x["V"] / x["I"] * np.cos(x["phi"]), 127.732, 0.071, 5.1e-4),
        (lambda x: 1000 * x["V"] / x["I"] * np.sin(x["phi"]), 219.847, 0.295, 6e-4),
        (lambda x: 1000 * x["V"] / x["I"], 254.260, 0.236, 5.1e-4),
    ],
    ids=["R", "X", "Z"],
)
def test_h_2_correlated_readings(model: Model, value: float, u: float, half: float) -> None:
    """R 127.732, X 219.847 and Z 254.260 ohm with their uncertainties from correlated voltage, current and phase."""
    readings = np.array([VOLTAGE, CURRENT_MA, PHASE])
    names = ("V", "I", "phi")
    r = np.corrcoef(readings)
    quantities = [
        Quantity(name=name, value=float(row.mean()), u=float(row.std(ddof=1)) / math.sqrt(5), degrees_of_freedom=4)
        for name, row in zip(names, readings, strict=True)
    ]
    pairs = [Correlation(names[i], names[j], float(r[i, j])) for i, j in ((0, 1), (0, 2), (1, 2))]
    budget = uncertainty_budget(model, quantities, correlations=pairs)
    assert budget.value == pytest.approx(value, abs=5.1e-4)
    assert budget.standard_uncertainty == pytest.approx(u, abs=half)


def _sum(x: Mapping[str, Any]) -> Any:
    return x["a"] + x["b"] + x["c"] + x["d"]


def test_9_2_2_four_normals() -> None:
    """u 2.00 and 95 % interval ± 3.92; the law of propagation gives the same."""
    inputs = [Quantity(name=name, value=0, u=1) for name in "abcd"]
    result = simulate_uncertainty(_sum, inputs, generator=np.random.default_rng(922), digits=3)
    assert result.standard_uncertainty == pytest.approx(2.0, abs=0.05)
    assert result.low_even == pytest.approx(-3.92, abs=0.02)
    assert result.high_even == pytest.approx(3.92, abs=0.02)
    rough = simulate_uncertainty(_sum, inputs, generator=np.random.default_rng(922), digits=1)
    assert rough.stable
    assert check_budget(uncertainty_budget(_sum, inputs), rough).holds


def test_9_2_3_four_rectangles() -> None:
    """u 2.00 and 95 % interval ± 3.88, narrower than the ± 3.92 of the law of propagation."""
    inputs = [Quantity(name=name, value=0, u=1, distribution="rectangular") for name in "abcd"]
    result = simulate_uncertainty(_sum, inputs, generator=np.random.default_rng(923), digits=3, most_trials=1_000_000)
    assert result.standard_uncertainty == pytest.approx(2.0, abs=0.005)
    assert result.low_even == pytest.approx(-3.88, abs=0.015)
    assert result.high_even == pytest.approx(3.88, abs=0.015)
    assert uncertainty_budget(_sum, inputs).expanded == pytest.approx(3.92, abs=0.005)


def test_9_2_4_one_wide_rectangle() -> None:
    """u 10.1 and 95 % interval ± 17.0; the law of propagation claims ± 19.9 and fails its validation."""
    inputs = [Quantity(name=name, value=0, u=10 if name == "d" else 1, distribution="rectangular") for name in "abcd"]
    result = simulate_uncertainty(_sum, inputs, generator=np.random.default_rng(924), digits=3)
    budget = uncertainty_budget(_sum, inputs)
    assert result.standard_uncertainty == pytest.approx(10.1, abs=0.05)
    assert result.low_even == pytest.approx(-17.0, abs=0.05)
    assert result.high_even == pytest.approx(17.0, abs=0.05)
    assert budget.expanded == pytest.approx(19.9, abs=0.05)
    assert "Monte Carlo" in budget.notes[0]
    assert not check_budget(budget, result).holds


MASS = (
    Quantity(name="reference", value=100_000.0, u=0.050, unit="mg"),
    Quantity(name="added", value=1.234, u=0.020, unit="mg"),
    from_half_width("air", 1.20, 0.10),
    from_half_width("weight", 8000, 1000),
    from_half_width("standard", 8000, 50),
)


def _mass(x: Mapping[str, Any]) -> Any:
    lift = (x["air"] - 1.2) * (1 / x["weight"] - 1 / x["standard"])
    return (x["reference"] + x["added"]) * (1 + lift) - 100_000


def test_9_3_mass_by_propagation() -> None:
    """u 0.0539 and interval 1.1285 … 1.3395 mg of first order, 0.0750 of second order."""
    first = uncertainty_budget(_mass, MASS)
    assert first.value == pytest.approx(1.2340, abs=5e-5)
    assert first.standard_uncertainty == pytest.approx(0.0539, abs=5.1e-5)
    assert first.value - first.expanded == pytest.approx(1.1285, abs=5.1e-5)
    assert first.value + first.expanded == pytest.approx(1.3395, abs=5.1e-5)
    second = uncertainty_budget(_mass, MASS, second_order=True)
    assert second.standard_uncertainty == pytest.approx(0.0750, abs=5.1e-5)


def test_9_3_mass_by_simulation() -> None:
    """u 0.0754 mg, shortest interval 1.0834 … 1.3825 mg: 0.2991 wide."""
    result = simulate_uncertainty(_mass, MASS, generator=np.random.default_rng(93), most_trials=1_000_000)
    assert result.standard_uncertainty == pytest.approx(0.0754, abs=2e-4)
    assert result.high - result.low == pytest.approx(0.2991, abs=1e-3)
    assert result.low == pytest.approx(1.0834, abs=3e-3)
    assert result.high == pytest.approx(1.3825, abs=3e-3)


def test_9_5_gauge_block() -> None:
    """Mean 838, u 36, shortest 99 % interval 745 … 932 nm: 187 wide, the ends within 2 nm (see above)."""

    def length(x: Mapping[str, Any]) -> Any:
        warm = x["δα"] * (x["θ0"] + x["Δ"]) + x["α"] * x["δθ"]
        return x["L"] + x["D"] + x["d1"] + x["d2"] - x["L"] * warm - 50e6

    inputs = [
        Quantity(name="L", value=50_000_623, u=25, distribution="t", degrees_of_freedom=18),
        Quantity(name="D", value=215, u=6, distribution="t", degrees_of_freedom=24),
        Quantity(name="d1", value=0, u=4, distribution="t", degrees_of_freedom=5),
        Quantity(name="d2", value=0, u=7, distribution="t", degrees_of_freedom=8),
        from_half_width("α", 11.5e-6, 2e-6),
        Quantity(name="θ0", value=-0.1, u=0.2),
        from_half_width("Δ", 0, 0.5, distribution="arcsine"),
        _trapezoid("δα", 1e-6, 0.1e-6),
        _trapezoid("δθ", 0.050, 0.025),
    ]
    result = simulate_uncertainty(length, inputs, generator=np.random.default_rng(95), confidence=0.99)
    assert result.value == pytest.approx(838, abs=0.5)
    assert result.standard_uncertainty == pytest.approx(36, abs=0.5)
    assert result.high - result.low == pytest.approx(187, abs=1.0)
    assert result.low == pytest.approx(745, abs=2.0)
    assert result.high == pytest.approx(932, abs=2.0)


def _trapezoid(name: str, half: float, doubt: float) -> Quantity:
    u = math.sqrt(half**2 / 3 + doubt**2 / 9)
    return Quantity(name=name, value=0, u=u, distribution="curved trapezoid", limit_doubt=doubt)

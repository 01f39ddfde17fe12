"""Properties of uncertainty budgets: linear models are exact, units do not matter, simulation agrees."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.statistics.uncertainty_budget import uncertainty_budget
from firstpull.statistics.uncertainty_inputs import Quantity
from firstpull.statistics.uncertainty_simulation import simulate_uncertainty

sizes = st.floats(1e-3, 1e3)
values = st.floats(-1e3, 1e3)


@given(values, values, sizes, sizes, st.floats(-10, 10), st.floats(-10, 10))
@settings(max_examples=50, deadline=None)
def test_a_linear_model_is_exact(a: float, b: float, ua: float, ub: float, ka: float, kb: float) -> None:
    """u² = ka²ua² + kb²ub², whatever the values."""
    inputs = [Quantity(name="a", value=a, u=ua), Quantity(name="b", value=b, u=ub)]
    budget = uncertainty_budget(lambda x: ka * x["a"] + kb * x["b"], inputs)
    assert budget.standard_uncertainty == pytest.approx(np.hypot(ka * ua, kb * ub), rel=1e-6, abs=1e-9)


@given(st.floats(0.1, 1e3), st.floats(0.001, 0.2), st.floats(0.001, 1000))
@settings(max_examples=50, deadline=None)
def test_a_power_has_its_exponent_as_relative_sensitivity(value: float, share: float, scale: float) -> None:
    """u(x³)/x³ = 3 u(x)/x in any unit."""
    budget = uncertainty_budget(
        lambda x: x["x"] ** 3, [Quantity(name="x", value=value * scale, u=share * value * scale)]
    )
    assert budget.standard_uncertainty / budget.value == pytest.approx(3 * share, rel=1e-6)


@given(st.integers(0, 1000))
@settings(max_examples=5, deadline=None)
def test_the_simulation_agrees_where_the_model_is_linear(seed: int) -> None:
    """Mean and uncertainty of a sum agree within the tolerance of two digits, and the shortest interval is shortest."""
    inputs = [
        Quantity(name="a", value=1, u=0.3, distribution="triangular"),
        Quantity(name="b", value=2, u=0.4, distribution="rectangular"),
    ]
    result = simulate_uncertainty(lambda x: x["a"] - x["b"], inputs, generator=np.random.default_rng(seed))
    assert result.value == pytest.approx(-1, abs=0.02)
    assert result.standard_uncertainty == pytest.approx(0.5, abs=0.01)
    assert result.high - result.low <= result.high_even - result.low_even + 1e-12

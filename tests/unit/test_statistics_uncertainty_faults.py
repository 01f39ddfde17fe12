"""Uncertainty budgets: what is refused, and small cases worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firstpull.errors import BadInput
from firstpull.statistics.uncertainty_budget import uncertainty_budget
from firstpull.statistics.uncertainty_inputs import Correlation, Quantity, check_inputs, draw, from_half_width
from firstpull.statistics.uncertainty_simulation import numerical_tolerance, simulate_uncertainty

A, B = Quantity(name="a", value=2.0, u=0.3), Quantity(name="b", value=5.0, u=0.4)


def test_a_sum_adds_squares_and_correlation_adds_to_it() -> None:
    """0.3 and 0.4 give 0.5; fully correlated 0.7, fully against each other 0.1."""
    plain = uncertainty_budget(lambda x: x["a"] + x["b"], [A, B])
    assert plain.standard_uncertainty == pytest.approx(0.5, abs=1e-9)
    assert [line.percent for line in plain.lines] == pytest.approx([36, 64], abs=1e-6)
    for r, u in ((1.0, 0.7), (-1.0, 0.1)):
        budget = uncertainty_budget(lambda x: x["a"] + x["b"], [A, B], correlations=[Correlation("a", "b", r)])
        assert budget.standard_uncertainty == pytest.approx(u, abs=1e-9)
        assert budget.correlated == pytest.approx(0.24 * r, abs=1e-9)


def test_a_product_has_the_other_factor_as_sensitivity() -> None:
    """∂(ab)/∂a = b, and an exact input shows its sensitivity too."""
    exact = Quantity(name="b", value=5.0, u=0)
    budget = uncertainty_budget(lambda x: x["a"] * x["b"], [A, exact])
    assert budget.lines[0].sensitivity == pytest.approx(5, abs=1e-9)
    assert budget.lines[1].sensitivity == pytest.approx(2, abs=1e-6)
    assert budget.lines[1].contribution == 0


def test_correlated_readings_take_the_fewest_degrees_of_freedom() -> None:
    """Welch and Satterthwaite's formula does not hold for correlated inputs; the note says what is taken."""
    few = [Quantity(name=n, value=1, u=0.1, degrees_of_freedom=f) for n, f in (("a", 4), ("b", 30))]
    budget = uncertainty_budget(lambda x: x["a"] + x["b"], few, correlations=[Correlation("a", "b", 0.5)])
    assert budget.degrees_of_freedom == 4
    assert "correlated" in budget.notes[0]


@pytest.mark.parametrize(("name", "root"), [("rectangular", 3.0), ("triangular", 6.0), ("arcsine", 2.0)], ids=str)
def test_half_widths(name: str, root: float) -> None:
    """a/√3, a/√6 and a/√2, and what is drawn stays within the half width and has that standard uncertainty."""
    quantity = from_half_width("q", 10, 2, distribution=name)  # type: ignore[arg-type]
    assert quantity.u == pytest.approx(2 / math.sqrt(root), abs=1e-12)
    drawn = draw(quantity, np.random.default_rng(1), trials=100_000)
    assert np.abs(drawn - 10).max() <= 2
    assert drawn.std() == pytest.approx(quantity.u, rel=0.01)


def test_curved_trapezoid_has_its_uncertainty() -> None:
    """u² = a²/3 + d²/9: the limits' own doubt widens it."""
    quantity = Quantity(
        name="q", value=0, u=math.sqrt(1 / 3 + 0.25 / 9), distribution="curved trapezoid", limit_doubt=0.5
    )
    check_inputs([quantity], [])
    drawn = draw(quantity, np.random.default_rng(2), trials=200_000)
    assert drawn.std() == pytest.approx(quantity.u, rel=0.01)
    assert np.abs(drawn).max() <= 1.5


@pytest.mark.parametrize(("u", "digits", "wanted"), [(0.32, 2, 0.005), (0.32, 1, 0.05), (9.96, 2, 0.5), (0.0, 2, 0.0)])
def test_numerical_tolerance(u: float, digits: int, wanted: float) -> None:
    """Half a unit of the last significant digit, also where rounding carries over."""
    assert numerical_tolerance(u, digits=digits) == pytest.approx(wanted, rel=1e-9)


def test_too_few_trials_are_said() -> None:
    """A result that did not settle says so and is still finite."""
    result = simulate_uncertainty(
        lambda x: x["a"], [A], generator=np.random.default_rng(3), digits=4, most_trials=50_000
    )
    assert not result.stable
    assert result.trials == 50_000


@pytest.mark.parametrize(
    "pairs",
    [
        [Correlation("a", "z", 0.1)],
        [Correlation("a", "a", 0.1)],
        [Correlation("a", "b", 1.1)],
        [Correlation("a", "b", 1.0), Correlation("b", "c", 1.0), Correlation("a", "c", -1.0)],
    ],
)
def test_impossible_correlations_are_refused(pairs: list[Correlation]) -> None:
    """Unknown, self, too large, or impossible together."""
    with pytest.raises(BadInput):
        check_inputs([A, B, Quantity(name="c", value=1, u=1)], pairs)


def test_hopeless_inputs_are_refused() -> None:
    """The same name twice, a t without freedom, a model that is not finite, and correlated inputs that are not normal."""
    with pytest.raises(BadInput, match="same name"):
        check_inputs([A, A], [])
    with pytest.raises(BadInput, match="degrees of freedom"):
        check_inputs([Quantity(name="a", value=0, u=1, distribution="t")], [])
    with pytest.raises(BadInput, match="cannot be computed"):
        uncertainty_budget(lambda x: 1 / (x["a"] - 2.0), [A])
    flat = from_half_width("a", 0, 1)
    with pytest.raises(BadInput, match="not normal"):
        simulate_uncertainty(
            lambda x: x["a"] + x["b"],
            [flat, B],
            generator=np.random.default_rng(4),
            correlations=[Correlation("a", "b", 0.5)],
        )


def test_correlated_normals_are_drawn_together() -> None:
    """0.3 and 0.4 fully against each other leave 0.1 in the sum."""
    result = simulate_uncertainty(
        lambda x: x["a"] + x["b"],
        [A, B],
        generator=np.random.default_rng(5),
        correlations=[Correlation("a", "b", -1.0)],
    )
    assert result.standard_uncertainty == pytest.approx(0.1, abs=1e-3)
    assert result.value == pytest.approx(7.0, abs=1e-3)

"""Uncertainty budgets: the law of propagation with correlations, effective degrees of freedom, expanded uncertainty.

Source: JCGM 100:2008, Guide to the expression of uncertainty in measurement (GUM): 5.1 (uncorrelated), 5.2
(correlated), 5.1.2 note (second-order terms), G.4 (effective degrees of freedom), annex H (worked examples).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_share
from firstpull.statistics.measurement import coverage_factor, effective_degrees_of_freedom
from firstpull.statistics.uncertainty_inputs import Correlation, Floats, Model, Quantity, check_inputs

_STEP = 0.125


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One line of the budget: the input as given, its ``sensitivity`` ∂f/∂x, and ``contribution`` |∂f/∂x| · u in the
    unit of the result. ``percent`` is its share of the sum of squared contributions.
    """

    name: str
    value: float
    u: float
    unit: str
    distribution: str
    degrees_of_freedom: float | None
    sensitivity: float
    contribution: float
    percent: float


@dataclass(frozen=True, slots=True)
class Budget:
    """The result with its doubt, in the unit of the result, and the lines it comes from.

    ``expanded`` = ``coverage_factor`` · ``standard_uncertainty`` at ``confidence``. ``correlated`` is what the
    correlations add to the variance (it may be below 0), ``second_order`` what curvature adds. ``notes`` say what a
    person should know.
    """

    lines: tuple[BudgetLine, ...]
    value: float
    standard_uncertainty: float
    degrees_of_freedom: float | None
    coverage_factor: float
    expanded: float
    confidence: float
    correlated: float
    second_order: float
    notes: tuple[str, ...]


def uncertainty_budget(
    model: Model,
    quantities: Sequence[Quantity],
    *,
    correlations: Sequence[Correlation] = (),
    confidence: float = 0.95,
    second_order: bool = False,
) -> Budget:
    """The uncertainty of ``model`` of 1 to 200 ``quantities``, each in its own unit, by the law of propagation.

    Sensitivities by a five-point difference over half a standard uncertainty. ``second_order`` adds the terms of the
    note to 5.1.2 (uncorrelated inputs only). The effective degrees of freedom are cut to a whole number; with
    correlated inputs, where Welch and Satterthwaite's formula does not hold, the fewest of any input are taken. Raises
    BadInput: inputs, correlations, or a model that is not finite near its inputs.
    Source: JCGM 100 5.1.2 equations (10) and its note, 5.2.2 equation (13), G.4.1 equation (G.2b), G.6.4.
    """
    matrix = check_inputs(quantities, correlations)
    sure = a_share(confidence, "confidence")
    if second_order and correlations:
        raise BadInput(
            "Second-order terms are defined for inputs without correlation.",
            where="second_order",
            hint="Use the Monte Carlo method instead.",
        )
    scaled = _Scaled(model, quantities)
    value = scaled.at({})
    parts = np.array([scaled.slope(i) for i in range(len(quantities))])  # ∂f/∂x · u, signed
    squares = parts * parts
    independent = math.fsum(squares)
    correlated = float(parts @ (matrix - np.eye(len(parts))) @ parts)
    bent = _second_order(scaled, parts) if second_order else 0.0
    variance = max(0.0, independent + correlated + bent)
    combined = math.sqrt(variance)
    freedom, notes = _freedom(quantities, parts, matrix=matrix)
    factor = coverage_factor(freedom, sure)
    return Budget(
        lines=tuple(
            BudgetLine(
                name=quantity.name,
                value=float(quantity.value),
                u=float(quantity.u),
                unit=quantity.unit,
                distribution=quantity.distribution,
                degrees_of_freedom=quantity.degrees_of_freedom,
                sensitivity=float(part) / quantity.u if quantity.u > 0 else scaled.sensitivity_of_exact(i),
                contribution=abs(float(part)),
                percent=100 * float(square) / independent if independent > 0 else 0.0,
            )
            for i, (quantity, part, square) in enumerate(zip(quantities, parts, squares, strict=True))
        ),
        value=value,
        standard_uncertainty=combined,
        degrees_of_freedom=freedom,
        coverage_factor=factor,
        expanded=factor * combined,
        confidence=sure,
        correlated=correlated,
        second_order=bent,
        notes=notes,
    )


class _Scaled:
    """The model as a function of how many standard uncertainties each input is off its value."""

    def __init__(self, model: Model, quantities: Sequence[Quantity]) -> None:
        self.model = model
        self.quantities = quantities

    def at(self, off: dict[int, float]) -> float:
        inputs = {q.name: q.value + off.get(i, 0.0) * q.u for i, q in enumerate(self.quantities)}
        return _finite(self.model, inputs)

    def slope(self, i: int, *, base: dict[int, float] | None = None) -> float:
        """The first derivative, error of fourth order in the step."""
        around = base or {}
        here = around.get(i, 0.0)

        def at(step: float) -> float:
            return self.at({**around, i: here + step})

        if self.quantities[i].u == 0:
            return 0.0
        return (at(-0.5) - 8 * at(-0.25) + 8 * at(0.25) - at(0.5)) / 3.0

    def bend(self, i: int, j: int, *, base: dict[int, float] | None = None) -> float:
        """The second derivative by differences over an eighth of a standard uncertainty."""
        around = base or {}

        def at(first: float, second: float) -> float:
            off = dict(around)
            off[i] = off.get(i, 0.0) + first
            off[j] = off.get(j, 0.0) + second
            return self.at(off)

        h = _STEP
        if i == j:
            return (at(h, 0) - 2 * at(0, 0) + at(-h, 0)) / (h * h)
        return (at(h, h) - at(h, -h) - at(-h, h) + at(-h, -h)) / (4 * h * h)

    def sensitivity_of_exact(self, i: int) -> float:
        """∂f/∂x of an input without uncertainty, for the table."""
        value = self.quantities[i].value
        step = 1e-4 * max(abs(value), 1e-3)
        inputs = {q.name: q.value for q in self.quantities}
        name = self.quantities[i].name
        above = _finite(self.model, {**inputs, name: value + step})
        below = _finite(self.model, {**inputs, name: value - step})
        return (above - below) / (2 * step)


def _finite(model: Model, inputs: dict[str, float]) -> float:
    try:
        with np.errstate(all="ignore"):
            result = float(model(inputs))
    except (ArithmeticError, ValueError) as problem:
        raise BadInput(f"The model cannot be computed near its inputs: {problem}.", where="model")
    if not math.isfinite(result):
        raise BadInput(
            "The model is not finite near its inputs.",
            where="model",
            hint="Check that it holds for values two standard uncertainties away.",
        )
    return result


def _second_order(scaled: _Scaled, parts: Floats) -> float:
    """Σ Σ (½ f_ij² + f_i · f_ijj), all in standard uncertainties."""
    terms = []
    for i in range(len(parts)):
        for j in range(len(parts)):
            third = (scaled.bend(j, j, base={i: _STEP}) - scaled.bend(j, j, base={i: -_STEP})) / (2 * _STEP)
            terms.append(0.5 * scaled.bend(i, j) ** 2 + float(parts[i]) * third)
    return math.fsum(terms)


def _freedom(quantities: Sequence[Quantity], parts: Floats, *, matrix: Floats) -> tuple[float | None, tuple[str, ...]]:
    notes = []
    counting = [i for i, part in enumerate(parts) if part != 0]
    known = [float(f) for i in counting if (f := quantities[i].degrees_of_freedom) is not None]
    off = matrix - np.eye(len(parts))
    if any(off[i, j] != 0 for i in counting for j in counting):
        freedom = min(known) if known else None
        if known:
            notes.append("Inputs are correlated: the fewest degrees of freedom of any input are taken.")
    else:
        largest_part = float(np.abs(parts).max()) or 1.0
        freedom = effective_degrees_of_freedom(
            [
                (abs(float(part)) / largest_part, quantity.degrees_of_freedom)
                for part, quantity in zip(parts, quantities, strict=True)
            ]
        )
    shares = parts * parts
    largest = int(np.argmax(shares))
    total = math.fsum(shares)
    if total > 0 and shares[largest] > 0.9 * total and quantities[largest].distribution not in ("normal", "t"):
        notes.append(
            f"“{quantities[largest].name}” rules the result and is not normal: take the Monte Carlo interval instead."
        )
    return (None if freedom is None else float(max(1, math.floor(freedom + 1e-9)))), tuple(notes)

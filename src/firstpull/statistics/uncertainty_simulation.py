"""Uncertainty by Monte Carlo: distributions propagated instead of standard uncertainties, as many trials as needed.

Source: JCGM 101:2008, Supplement 1 to the GUM: 7.2 to 7.7 (method, coverage intervals), 7.9 (adaptive number of
trials), 8 (validation of the GUM result), 9 (examples).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_count, a_share
from firstpull.statistics.uncertainty_budget import Budget
from firstpull.statistics.uncertainty_inputs import Correlation, Floats, Model, Quantity, check_inputs, draw


@dataclass(frozen=True, slots=True)
class Simulated:
    """The result by simulation, in its own unit.

    ``low`` … ``high`` is the shortest interval that holds ``confidence``, ``low_even`` … ``high_even`` the one with
    equal chances outside. ``tolerance`` is the numerical tolerance of the digits asked for; ``stable`` says whether the
    results settled to it within ``trials`` trials.
    """

    value: float
    standard_uncertainty: float
    low: float
    high: float
    low_even: float
    high_even: float
    confidence: float
    trials: int
    tolerance: float
    stable: bool


@dataclass(frozen=True, slots=True)
class BudgetCheck:
    """Whether the law of propagation may be used: how far its interval's ends lie from the simulated ones."""

    low_off: float
    high_off: float
    tolerance: float
    holds: bool


def simulate_uncertainty(
    model: Model,
    quantities: Sequence[Quantity],
    *,
    generator: np.random.Generator,
    correlations: Sequence[Correlation] = (),
    confidence: float = 0.95,
    digits: int = 2,
    most_trials: int = 2_000_000,
) -> Simulated:
    """Propagate the distributions of 1 to 200 ``quantities`` through ``model``, each in its own unit.

    Blocks of max(10⁴, 100/(1 − confidence)) trials are drawn until twice the standard deviation of the averages of
    mean, uncertainty and both interval ends is below half a unit of the last of ``digits`` (1 to 4) significant digits
    of the uncertainty, or ``most_trials`` (10⁴ to 2·10⁷) are used; then ``stable`` is False. Correlated inputs must be
    normal. Same ``generator`` state, same result. Raises BadInput.
    Source: JCGM 101 7.9.4 (adaptive procedure), 7.7 and 5.3.4 (shortest coverage interval), 6.4.8 (correlated normals).
    """
    matrix = check_inputs(quantities, correlations)
    sure = a_share(confidence, "confidence")
    wanted = a_count(digits, "digits", least=1, most=4)
    most = a_count(most_trials, "most_trials", least=10_000, most=20_000_000)
    _only_normal_correlated(quantities, matrix)
    block = min(most, max(10_000, math.ceil(100 / (1 - sure))))
    values: list[Floats] = []
    seen: list[tuple[float, float, float, float]] = []
    tolerance, stable = 0.0, False
    while (len(values) + 1) * block <= most:
        values.append(_trials(model, quantities, matrix=matrix, generator=generator, trials=block))
        drawn = values[-1]
        seen.append((float(drawn.mean()), float(drawn.std(ddof=1)), *_shortest(np.sort(drawn), sure)))
        if len(seen) < 2:
            continue
        # the uncertainty of all draws, from those of the blocks: their means are alike
        tolerance = numerical_tolerance(math.sqrt(float(np.mean(np.square([s[1] for s in seen])))), digits=wanted)
        spread = np.std(np.array(seen), axis=0, ddof=1) / math.sqrt(len(seen))
        if bool(np.all(2 * spread <= tolerance)):
            stable = True
            break
    every = np.sort(np.concatenate(values))
    u = float(every.std(ddof=1))
    low, high = _shortest(every, sure)
    even = np.quantile(every, [(1 - sure) / 2, (1 + sure) / 2])
    return Simulated(
        value=float(every.mean()),
        standard_uncertainty=u,
        low=low,
        high=high,
        low_even=float(even[0]),
        high_even=float(even[1]),
        confidence=sure,
        trials=len(every),
        tolerance=numerical_tolerance(u, digits=wanted),
        stable=stable,
    )


def numerical_tolerance(u: float, *, digits: int = 2) -> float:
    """Half a unit of the last of ``digits`` significant digits of the uncertainty ``u``, in its own unit; 0 for 0.

    Source: JCGM 101 7.9.2: u = c · 10^l with c of ``digits`` digits, tolerance ½ · 10^l.
    """
    if not (math.isfinite(u) and u > 0):
        return 0.0
    exponent = math.floor(math.log10(u)) - digits + 1
    if round(u / 10.0**exponent) >= 10**digits:  # 9.96 with two digits is 10
        exponent += 1
    return 0.5 * 10.0**exponent


def check_budget(budget: Budget, simulated: Simulated) -> BudgetCheck:
    """Compare the interval of the law of propagation with the simulated shortest one, in the result's own unit.

    Both need the same confidence, else BadInput. Source: JCGM 101 8.1, equations (21) and (22).
    """
    if abs(budget.confidence - simulated.confidence) > 1e-12:
        raise BadInput("The two results have different confidences.", where="confidence", hint="Use the same for both.")
    low = abs(budget.value - budget.expanded - simulated.low)
    high = abs(budget.value + budget.expanded - simulated.high)
    return BudgetCheck(low, high, simulated.tolerance, max(low, high) <= simulated.tolerance)


def _only_normal_correlated(quantities: Sequence[Quantity], matrix: Floats) -> None:
    for i, quantity in enumerate(quantities):
        if np.any(np.delete(matrix[i], i) != 0) and quantity.distribution != "normal":
            raise BadInput(
                f"“{quantity.name}” is correlated but not normal.",
                where="correlations",
                hint="Write what it has in common with the other as an input of its own.",
            )


def _trials(
    model: Model, quantities: Sequence[Quantity], *, matrix: Floats, generator: np.random.Generator, trials: int
) -> Floats:
    together = [i for i in range(len(quantities)) if np.any(np.delete(matrix[i], i) != 0)]
    inputs = {q.name: draw(q, generator, trials=trials) for i, q in enumerate(quantities) if i not in together}
    if together:
        part = matrix[np.ix_(together, together)]
        size, axes = np.linalg.eigh(part)
        root = axes * np.sqrt(np.maximum(size, 0.0))
        normal = generator.standard_normal((trials, len(together))) @ root.T
        for column, i in enumerate(together):
            inputs[quantities[i].name] = quantities[i].value + quantities[i].u * normal[:, column]
    with np.errstate(all="ignore"):
        result = np.asarray(model(inputs), dtype=np.float64)
    result = np.broadcast_to(result, (trials,)) if result.ndim == 0 else result
    if result.shape != (trials,):
        raise BadInput(
            "The model does not give one result for each trial.", where="model", hint="It must take NumPy arrays."
        )
    if not np.isfinite(result).all():
        raise BadInput(
            "The model is not finite for some of the inputs that were drawn.",
            where="model",
            hint="Choose distributions that stay where it holds.",
        )
    return result


def _shortest(ordered: Floats, confidence: float) -> tuple[float, float]:
    """The shortest interval that holds the share ``confidence`` of the ordered values (JCGM 101 7.7.2)."""
    inside = min(len(ordered) - 1, math.floor(confidence * len(ordered) + 0.5))
    widths = ordered[inside:] - ordered[: len(ordered) - inside]
    at = int(np.argmin(widths))
    return float(ordered[at]), float(ordered[at + inside])

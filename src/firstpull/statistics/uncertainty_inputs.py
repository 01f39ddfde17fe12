"""The inputs of an uncertainty budget: quantities with a value, a standard uncertainty and a distribution.

Sources: JCGM 100:2008 4.3 (type B), 5.2 (correlated inputs); JCGM 101:2008 6.4 with table 1 (distributions).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np
import numpy.typing as npt

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_count, a_number

Floats = npt.NDArray[np.float64]
Distribution = Literal["normal", "t", "rectangular", "triangular", "arcsine", "curved trapezoid"]
Model = Callable[[Mapping[str, Any]], Any]
"""The measurand as a function of the inputs by name; it must take NumPy arrays as well as numbers."""

_PER_HALF_WIDTH = {"rectangular": 3.0, "triangular": 6.0, "arcsine": 2.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One input: ``value`` with standard uncertainty ``u`` (0 or more), both in its own unit, named in ``unit``.

    ``degrees_of_freedom`` is None where ``u`` is exactly known. With the distribution “t”, ``u`` is the scale (s/√n) and
    the degrees of freedom are needed. ``limit_doubt`` belongs to the “curved trapezoid”: limits known to ± that much.
    """

    name: str
    value: float
    u: float
    distribution: Distribution = "normal"
    degrees_of_freedom: float | None = None
    unit: str = ""
    limit_doubt: float = 0.0


@dataclass(frozen=True, slots=True)
class Correlation:
    """The correlation coefficient of two inputs, −1 … 1."""

    first: str
    second: str
    coefficient: float


def from_half_width(
    name: str, value: float, half_width: float, *, distribution: Distribution = "rectangular", unit: str = ""
) -> Quantity:
    """A quantity known to lie within ``value`` ± ``half_width`` (0 or more, its own unit): rectangular, triangular or
    arcsine. Raises BadInput. Source: JCGM 100 4.3.7 (a/√3), 4.3.9 (a/√6); JCGM 101 6.4.6 (a/√2).
    """
    if distribution not in _PER_HALF_WIDTH:
        raise BadInput(
            f"A half width does not give a {distribution} distribution.",
            where=name,
            hint="Take rectangular, triangular or arcsine.",
        )
    reach = a_number(half_width, f"{name}: half_width", least=0)
    return Quantity(
        name=name, value=value, u=reach / math.sqrt(_PER_HALF_WIDTH[distribution]), distribution=distribution, unit=unit
    )


def check_inputs(quantities: Sequence[Quantity], correlations: Sequence[Correlation]) -> Floats:
    """The correlation matrix of checked inputs, 1 to 200 of them. Raises BadInput naming the input.

    Source: JCGM 100 5.2.2; a correlation matrix has no negative eigenvalue.
    """
    a_count(len(quantities), "number of quantities", least=1, most=200)
    names = [quantity.name for quantity in quantities]
    if len(set(names)) < len(names):
        raise BadInput("Two inputs have the same name.", where="quantities", hint="Name each input once.")
    for quantity in quantities:
        _check(quantity)
    matrix = np.eye(len(names))
    for pair in correlations:
        for name in (pair.first, pair.second):
            if name not in names:
                raise BadInput(f"“{name}” is not an input.", where="correlations", hint=f"Inputs: {', '.join(names)}.")
        if pair.first == pair.second:
            raise BadInput(f"“{pair.first}” is correlated with itself.", where="correlations", hint="Leave it out.")
        coefficient = a_number(pair.coefficient, f"correlation of {pair.first} and {pair.second}", least=-1, most=1)
        i, j = names.index(pair.first), names.index(pair.second)
        matrix[i, j] = matrix[j, i] = coefficient
    if float(np.linalg.eigvalsh(matrix)[0]) < -1e-9:
        raise BadInput(
            "These correlations cannot all be true together.",
            where="correlations",
            hint="If a follows b and b follows c, a cannot run against c.",
        )
    return matrix


def _check(quantity: Quantity) -> None:
    where = quantity.name
    a_number(quantity.value, f"{where}: value")
    u = a_number(quantity.u, f"{where}: u", least=0)
    if quantity.distribution not in get_args(Distribution):
        raise BadInput(
            f"“{quantity.distribution}” is not a distribution known here.",
            where=where,
            hint=f"One of {', '.join(get_args(Distribution))}.",
        )
    freedom = quantity.degrees_of_freedom
    if freedom is not None:
        a_number(freedom, f"{where}: degrees_of_freedom", least=1)
    elif quantity.distribution == "t":
        raise BadInput("A t distribution needs its degrees of freedom.", where=where, hint="n − 1 for a mean of n.")
    doubt = a_number(quantity.limit_doubt, f"{where}: limit_doubt", least=0)
    if quantity.distribution == "curved trapezoid" and not 0 < doubt <= 3 * u / 2:
        # u² = a²/3 + d²/9 with d ≤ a
        raise BadInput(
            "The limits' own doubt must be above 0 and not wider than they are.",
            where=f"{where}: limit_doubt",
            hint="Take rectangular where the limits are exact.",
        )


def draw(quantity: Quantity, generator: np.random.Generator, *, trials: int) -> Floats:
    """``trials`` values of one input, in its own unit. Source: JCGM 101 6.4 and table 1 for each distribution."""
    value, u = quantity.value, quantity.u
    if quantity.distribution == "normal":
        return value + u * generator.standard_normal(trials)
    if quantity.distribution == "t":
        return value + u * generator.standard_t(float(quantity.degrees_of_freedom or 1), trials)
    if quantity.distribution == "arcsine":
        return value + u * math.sqrt(2) * np.sin(math.pi * (generator.random(trials) - 0.5))
    if quantity.distribution == "triangular":
        return value + u * math.sqrt(6) * (generator.random(trials) - generator.random(trials))
    if quantity.distribution == "rectangular":
        return value + u * math.sqrt(3) * (2 * generator.random(trials) - 1)
    doubt = quantity.limit_doubt
    half = math.sqrt(3 * (u * u - doubt * doubt / 9)) + doubt * (2 * generator.random(trials) - 1)
    return value + half * (2 * generator.random(trials) - 1)

"""Confidence limits for sums and differences of mean squares: chi-square, and the modified large-sample method.

Sources: F. A. Graybill, C.-M. Wang, Journal of the American Statistical Association 75 (1980) 869–873 (sums);
N. Ting, R. K. Burdick, F. A. Graybill, S. Jeyaratnam, T.-F. C. Lu, Journal of Statistical Computation and Simulation 35
(1990) 135–143 (differences; formulas from memory); applied to gauge studies in R. K. Burdick, C. M. Borror,
D. C. Montgomery, Journal of Quality Technology 35 (2003) 342–354. Checked by simulated coverage in tests/property.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_number, a_share

_EXACT_FREEDOM = 1e9


@dataclass(frozen=True, slots=True)
class MeanSquare:
    """One mean square of an analysis of variance: ``coefficient`` in the sum, ``value`` and ``freedom``."""

    coefficient: float
    value: float
    freedom: float


@dataclass(frozen=True, slots=True)
class VarianceLimits:
    """A variance (0 where the sum came out negative), its two-sided limits and its approximate degrees of freedom.

    ``degrees_of_freedom`` is None where the variance is 0: then nothing is known of how well it is known.
    """

    variance: float
    low: float
    high: float
    degrees_of_freedom: float | None


def variance_limits(terms: Sequence[MeanSquare], confidence: float) -> VarianceLimits:
    """Limits of Σ coefficient · mean square, a variance in the readings' own unit squared.

    One term gives the exact chi-square limits; more give the modified large-sample ones. ``confidence`` is two-sided,
    0.001 … 0.999999. Mean squares 0 or more, freedoms 1 or more, at least one coefficient above 0. Raises BadInput.
    Source: Graybill and Wang (1980); Ting et al. (1990), equations for V_L and V_U without the starred terms; degrees
    of freedom by Satterthwaite as in JCGM 100 G.4.1.
    """
    if not any(term.coefficient > 0 for term in terms):
        raise BadInput("A variance needs a mean square that adds to it.", where="terms", hint="Give one above 0.")
    tail = (1 - a_share(confidence, "confidence")) / 2
    checked = [
        MeanSquare(
            a_number(term.coefficient, "coefficient"),
            a_number(term.value, "value", least=0, most=1e300),
            a_number(term.freedom, "freedom", least=1),
        )
        for term in terms
        if term.coefficient != 0
    ]
    total = math.fsum(term.coefficient * term.value for term in checked)
    below = math.sqrt(max(0.0, _spread(checked, tail, lower=True)))
    above = math.sqrt(max(0.0, _spread(checked, tail, lower=False)))
    variance = max(0.0, total)
    return VarianceLimits(variance, max(0.0, total - below), max(0.0, total + above), _freedom(checked, variance))


def _freedom(terms: Sequence[MeanSquare], variance: float) -> float | None:
    if variance <= 0:
        return None
    below = math.fsum((term.coefficient * term.value / variance) ** 2 / term.freedom for term in terms)
    return min(1 / below, _EXACT_FREEDOM)


def _spread(terms: Sequence[MeanSquare], tail: float, *, lower: bool) -> float:
    """V_L or V_U: the square of the distance from the estimate to its limit."""
    from scipy.stats import chi2

    squares = []
    shares = []
    for term in terms:
        # A term that adds counts by its lower share for the lower limit; one that is taken off the other way round.
        down = lower == (term.coefficient > 0)
        point = float(chi2.isf(tail, term.freedom) if down else chi2.ppf(tail, term.freedom)) / term.freedom
        shares.append(1 - 1 / point if down else 1 / point - 1)
        squares.append((shares[-1] * term.coefficient * term.value) ** 2)
    crossed = [
        _crossed(plus, minus, shares=(shares[i], shares[j]), tail=tail, lower=lower)
        for i, plus in enumerate(terms)
        if plus.coefficient > 0
        for j, minus in enumerate(terms)
        if minus.coefficient < 0
    ]
    return math.fsum([*squares, *crossed])


def _crossed(plus: MeanSquare, minus: MeanSquare, *, shares: tuple[float, float], tail: float, lower: bool) -> float:
    """The term that makes the limit exact when one mean square is taken off one other."""
    from scipy.stats import f as f_distribution

    ratio = float(
        f_distribution.isf(tail, plus.freedom, minus.freedom)
        if lower
        else f_distribution.ppf(tail, plus.freedom, minus.freedom)
    )
    factor = ((ratio - 1) ** 2 - (shares[0] * ratio) ** 2 - shares[1] ** 2) / ratio
    return factor * plus.coefficient * abs(minus.coefficient) * plus.value * minus.value

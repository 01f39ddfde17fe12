"""Normal tolerance intervals: between which limits lies at least a share P of all sets, at confidence C?

Exact factors, not Howe's or Natrella's approximation. A sample of n readings has mean m and standard deviation s with
f = n − 1 degrees of freedom. With Y the error of the mean in sigmas (normal, sd 1/√n) and U = s/σ (f·U² is chi-square
with f), the limits m − b·s and m + a·s hold the share Φ(a·U + Y) + Φ(b·U − Y) − 1, which grows with U. So

    C = ∫ φ_Y(y) · P(f·U² ≥ f·u²(y)) dy,   u(y) solving Φ(a·u + y) + Φ(b·u − y) − 1 = P.           (1)

Two-sided factor: a = b = k. One-sided: b = ∞, which is the noncentral t point. Share inside fixed limits: a and b are
their distances from the mean in s, and (1) is solved for P.

Sources: ISO 16269-6:2014, clauses 5 and 6 with annexes on the one- and two-sided factors (factors from memory of the
definition; checked against published tables); R. E. Odeh, D. B. Owen, Tables for Normal Tolerance Limits, Sampling
Plans and Screening, 1980; K. Krishnamoorthy, T. Mathew, Statistical Tolerance Regions, 2009, chapters 2 and 1.4
(generalized pivotal quantities).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_count, a_number, a_share, some_numbers
from firstpull.statistics.moments import moments

_Floats = npt.NDArray[np.float64]
_NODES = 160
_REACH = 9.0  # sigmas of Y integrated over: what lies outside is below 1e-18
_MOST_FOR_FACTOR = 100_000
_CUTS_NOTHING = 5e3  # sds: a limit that far away leaves nothing outside


@dataclass(frozen=True, slots=True)
class ToleranceInterval:
    """Limits that hold at least ``coverage`` of all values at ``confidence``; ``factor`` is k in mean ± k·sd."""

    low: float
    high: float
    mean: float
    sd: float
    factor: float
    n: int
    coverage: float
    confidence: float


def one_sided_factor(n: int, coverage: float, confidence: float) -> float:
    """k such that mean + k·sd of ``n`` readings lies above a share ``coverage`` of all, at ``confidence``; exact.

    n from 2 to 100 000, shares from 0.001 to 0.999999. Raises BadInput. n = 10, 0.99, 0.95: 3.98112.
    Source: ISO 16269-6:2014, one-sided interval, mean and sigma unknown: k = t′(C; n − 1, z_P·√n) / √n with t′ the
    noncentral t point; solved here from equation (1) with b = ∞, which stays finite where tables of t′ do not.
    """
    count, share, sure = _checked(n, coverage, confidence)
    return _one_sided(count, share, sure)


def two_sided_factor(n: int, coverage: float, confidence: float) -> float:
    """k such that mean ± k·sd of ``n`` readings encloses a share ``coverage`` of all, at ``confidence``; exact.

    n from 2 to 100 000, shares from 0.001 to 0.999999. Raises BadInput. n = 10, 0.99, 0.95: 4.4369.
    Source: ISO 16269-6:2014, two-sided interval, mean and sigma unknown; equation (1) with a = b = k.
    """
    count, share, sure = _checked(n, coverage, confidence)
    return _two_sided(count, share, sure)


def tolerance_interval(values: Sequence[float], *, coverage: float, confidence: float) -> ToleranceInterval:
    """The two-sided interval of ``values`` (2 to 100 000 numbers, normal), in their unit.

    Raises BadInput, also when all values are equal: a gauge too coarse to see the scatter proves nothing about it.
    Source: ISO 16269-6:2014, two-sided interval, mean and sigma unknown.
    """
    mean, sd, count = _sample(values)
    factor = two_sided_factor(count, coverage, confidence)
    return ToleranceInterval(
        mean - factor * sd, mean + factor * sd, mean, sd, factor, count, float(coverage), float(confidence)
    )


def share_inside(values: Sequence[float], low: float, high: float, *, confidence: float) -> float:
    """Lower confidence bound of the share of all sets that lies inside ``low`` … ``high`` (0 … 1).

    ``values`` are 2 to 100 000 readings of a normal quantity, same unit as the limits. It is the P of equation (1) with
    a = (high − mean)/sd, b = (mean − low)/sd: the generalized (fiducial) bound. It agrees exactly with the two-sided
    factor when the mean is in the middle and with the one-sided factor when one limit is far away; between them its
    coverage was found by simulation to be at or above the nominal (tests/property). A mean outside the limits gives 0.
    Raises BadInput, also when all values are equal. Source: Krishnamoorthy and Mathew (2009), generalized pivotal
    quantity for Φ((U − µ)/σ) − Φ((L − µ)/σ), integrated by quadrature instead of drawn at random.
    """
    mean, sd, count = _sample(values)
    lower, upper = a_number(low, "low"), a_number(high, "high")
    sure = a_share(confidence, "confidence")
    if not lower < upper:
        raise BadInput("The lower limit must be below the upper one.", where="low", hint="Swap them.")
    above, below = (upper - mean) / sd, (mean - lower) / sd
    if above <= 0 or below <= 0:
        return 0.0
    if max(above, below) >= _CUTS_NOTHING:
        return _one_sided_bound(min(above, below), n=count, confidence=sure)
    return _bound(above, below, n=count, confidence=sure)


def _checked(n: int, coverage: float, confidence: float) -> tuple[int, float, float]:
    count = a_count(n, "n", least=2, most=_MOST_FOR_FACTOR)
    return count, a_share(coverage, "coverage"), a_share(confidence, "confidence")


def _sample(values: Sequence[float]) -> tuple[float, float, int]:
    numbers = some_numbers(values, "values", least=2)
    count = a_count(len(numbers), "number of values", least=2, most=_MOST_FOR_FACTOR)
    found = moments(numbers)
    mean, sd = found.mean, found.sd
    if sd <= 1e-13 * max(abs(value) for value in numbers):
        raise BadInput(
            "All readings are equal, so they say nothing about the scatter.",
            where="values",
            hint="Use a finer gauge or more readings.",
        )
    return mean, sd, count


@lru_cache(maxsize=64)
def _nodes(n: int, panels: int = 1) -> tuple[_Floats, _Floats]:
    """Places y and weights of the normal density of Y, sd 1/√n (Gauss–Legendre; smooth, so it converges fast)."""
    edges = np.linspace(-_REACH, _REACH, panels + 1)
    pieces = [_between(float(low), float(high)) for low, high in pairwise(edges)]
    z = np.concatenate([place for place, _ in pieces])
    density = np.concatenate([weight for _, weight in pieces]) * np.exp(-0.5 * z * z)
    return z / math.sqrt(n), density / density.sum()


def _chance_at_least(u: _Floats, f: int) -> _Floats:
    """P(s/σ ≥ u) with f degrees of freedom; 1 where u ≤ 0."""
    from scipy.special import gammaincc

    return np.asarray(gammaincc(f / 2, f * np.square(np.maximum(u, 0.0)) / 2), dtype=np.float64)


def _needed_u(above: float, below: float, *, y: _Floats, share: float) -> _Floats:
    """u(y) of equation (1) by bisection: the share grows with u, and u is bracketed by the two one-sided answers."""
    from scipy.special import ndtr, ndtri

    one, both = float(ndtri(share)), float(ndtri((1 + share) / 2))
    # Each tail alone needs at least the one-sided u; giving each tail half of what may lie outside is enough.
    low = np.maximum(np.maximum((one - y) / above, (one + y) / below), 0.0)
    high = np.maximum(np.maximum((both - y) / above, (both + y) / below), 0.0)
    for _ in range(52):
        middle = (low + high) / 2
        outside = ndtr(-above * middle - y) + ndtr(-below * middle + y)
        enough = outside <= 1 - share
        high = np.where(enough, middle, high)
        low = np.where(enough, low, middle)
    answer: _Floats = (low + high) / 2
    return answer


def _confidence(u: _Floats, weight: _Floats, *, f: int) -> float:
    """The integral of equation (1)."""
    return float(weight @ _chance_at_least(u, f))


@lru_cache(maxsize=4096)
def _two_sided(n: int, coverage: float, confidence: float) -> float:
    y, weight = _nodes(n)
    u_times_k = _needed_u(1.0, 1.0, y=y, share=coverage)
    return _solve_log(lambda k: _confidence(u_times_k / k, weight, f=n - 1) - confidence, 1e-9, 1e9)


@lru_cache(maxsize=4096)
def _one_sided(n: int, coverage: float, confidence: float) -> float:
    from scipy.special import ndtr, ndtri

    z = float(ndtri(coverage))
    at_zero = float(ndtr(-z * math.sqrt(n)))  # P(Y ≥ z): there the mean alone is high enough
    if at_zero == confidence:
        return 0.0
    if at_zero > confidence:  # a negative factor: the mirror image
        return -_one_sided(n, 1 - coverage, 1 - confidence)
    reach, root_n = _REACH / math.sqrt(n), math.sqrt(n)
    # Y is integrated up to z only, the integrand has a corner there.
    y, weight = _between(-reach, max(min(z, reach), -reach))
    weight = weight * np.exp(-0.5 * n * y * y) * math.sqrt(n / (2 * math.pi))
    u, density = _spread_nodes(n - 1)

    def surplus(k: float) -> float:
        # The same chance, integrated over whichever of Y and U makes the smoother integrand.
        if k >= 1:
            return at_zero + _confidence((z - y) / k, weight, f=n - 1) - confidence
        return float(density @ ndtr(root_n * (k * u - z))) - confidence

    return _solve_log(surplus, 1e-9, 1e9) if surplus(1e-9) < 0 else 0.0


def _between(low: float, high: float) -> tuple[_Floats, _Floats]:
    place, weight = _gauss()
    return (high - low) / 2 * place + (high + low) / 2, (high - low) / 2 * weight


@lru_cache(maxsize=1)
def _gauss() -> tuple[_Floats, _Floats]:
    place, weight = np.polynomial.legendre.leggauss(_NODES)
    return place, weight


def _spread_nodes(f: int) -> tuple[_Floats, _Floats]:
    """Places u and weights of the density of U = s/σ, proportional to u^(f−1)·exp(−f·u²/2)."""
    u, weight = _between(max(0.0, 1 - _REACH / math.sqrt(f)), 1 + _REACH / math.sqrt(f))
    density = weight * np.exp((f - 1) * np.log(u) - f * (u * u - 1) / 2)
    return u, density / density.sum()


def _one_sided_bound(k: float, *, n: int, confidence: float) -> float:
    """P such that a limit ``k`` sds off the mean holds the share P at ``confidence``: equation (1) with b = ∞."""
    from scipy.optimize import brentq
    from scipy.special import ndtr

    near, root_n, reach = min(k, 1e3), math.sqrt(n), _REACH / math.sqrt(n)
    u, density = _spread_nodes(n - 1)

    def surplus(z: float) -> float:
        # as in _one_sided: integrated over whichever of Y and U makes the smoother integrand
        if near < 1:
            return float(density @ ndtr(root_n * (near * u - z))) - confidence
        y, weight = _between(-reach, max(min(z, reach), -reach))
        weight = weight * np.exp(-0.5 * n * y * y) * math.sqrt(n / (2 * math.pi))
        return float(ndtr(-z * root_n)) + _confidence((z - y) / near, weight, f=n - 1) - confidence

    z = float(brentq(surplus, -10 / root_n, near * float(u[-1]) + 10 / root_n, xtol=1e-12))
    return min(float(ndtr(z)), 1 - 1e-12)


def _bound(above: float, below: float, *, n: int, confidence: float) -> float:
    # A limit within one sd of the mean makes u(y) steep, and few degrees of freedom give the integrand a corner:
    # more places are needed to follow it.
    near = max(min(above, below, 1.0), 0.05)
    y, weight = _nodes(n, min(16, math.ceil((4 if n < 5 else 1) / near)))

    def surplus(outside: float) -> float:
        return _confidence(_needed_u(above, below, y=y, share=1 - outside), weight, f=n - 1) - confidence

    least, most = 1e-12, 1 - 1e-6
    if surplus(most) <= 0:
        return 0.0
    if surplus(least) >= 0:
        return 1 - least
    return 1 - _solve_log(surplus, least, most)


def _solve_log(rising: Callable[[float], float], lowest: float, highest: float) -> float:
    """The root of a rising function between two positive numbers, searched on a logarithmic scale."""
    from scipy.optimize import brentq

    low, high = math.log(lowest), math.log(highest)
    if rising(lowest) > 0 or rising(highest) < 0:
        raise BadInput("That factor lies outside what can be computed.", hint="Use more readings or less confidence.")
    return math.exp(float(brentq(lambda x: rising(math.exp(x)), low, high, xtol=1e-14, rtol=1e-13)))

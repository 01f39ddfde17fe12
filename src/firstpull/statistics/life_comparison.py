"""Do two kinds of part live equally long, and does a Weibull or a lognormal life fit better?

Both questions by likelihood, with lives that are still running (right censored).

Sources: W. Q. Meeker, L. A. Escobar, Statistical Methods for Reliability Data, 1998, chapters 8 and 11 (likelihood ratio,
lognormal with censoring; chapters from memory); NIST/SEMATECH e-Handbook 8.1.6.4 (lognormal), 8.4.1.3 (maximum
likelihood), 8.2.2.3 (which model: likelihood ratio); J. F. Lawless (2003), chapter 5.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_share
from firstpull.statistics.weibull import WeibullFit, checked_lives, weibull_fit

_MOST_SIGMA = 50.0


@dataclass(frozen=True, slots=True)
class LognormalFit:
    """A lognormal life: ``median`` and ``b10`` in the unit of the lives, ``sigma`` of ln(life), no unit."""

    median: float
    sigma: float
    b10: float
    failures: int
    running: int
    loglikelihood: float


@dataclass(frozen=True, slots=True)
class LivesCompared:
    """Two kinds of part. ``chance`` is that of a likelihood ratio at least this large if both live alike.

    ``statistic`` is 2(l_first + l_second − l_together), chi-square with two degrees of freedom when there are enough
    failures; ``differ`` says whether ``chance`` is at most 1 − confidence. ``scale_ratio`` is second over first.
    """

    first: WeibullFit
    second: WeibullFit
    together: WeibullFit
    statistic: float
    chance: float
    differ: bool
    scale_ratio: float
    notes: tuple[str, ...]


def lognormal_fit(failures: Sequence[float], running: Sequence[float] = ()) -> LognormalFit:
    """Fit a lognormal life to lives above 0 in their own unit, ``failures`` and those still ``running``.

    Two different failures or more. Raises BadInput. Its ``loglikelihood`` may be compared with that of
    :func:`weibull.weibull_fit` for the same lives: the larger fits better, and under 2 apart hardly tells.
    Source: maximum likelihood, Σ ln φ((ln t − µ)/σ)/(σt) + Σ ln Φ(−(ln t − µ)/σ), NIST/SEMATECH e-Handbook 8.4.1.3.
    """
    from scipy.optimize import minimize
    from scipy.special import log_ndtr

    ended, going = checked_lives(failures, "failures"), checked_lives(running, "running")
    if len(set(ended)) < 2:
        raise BadInput(
            f"{len(ended)} failure{'' if len(ended) == 1 else 's'} cannot tell a scatter; two different ones can.",
            where="failures",
            hint="Wait for more failures.",
        )
    logs = np.log(ended)
    alive = np.log(going) if going else np.empty(0)
    middle, spread = float(logs.mean()), float(logs.std())
    if spread <= 1e-9:
        raise BadInput(
            "The failures lie too close together.", where="failures", hint="Give the lives with more digits."
        )
    z_done, z_alive = (logs - middle) / spread, (alive - middle) / spread

    def loss(at: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
        sigma = math.exp(min(float(at[1]), math.log(_MOST_SIGMA)))
        inside = -0.5 * ((z_done - at[0]) / sigma) ** 2
        return -float(inside.sum() - len(logs) * math.log(sigma) + log_ndtr(-(z_alive - at[0]) / sigma).sum())

    found = minimize(loss, np.zeros(2), method="Nelder-Mead", options={"xatol": 1e-11, "fatol": 1e-13, "maxiter": 4000})
    mu, sigma = middle + spread * float(found.x[0]), spread * math.exp(float(found.x[1]))
    likelihood = -float(found.fun) - len(logs) * (math.log(spread) + 0.5 * math.log(2 * math.pi)) - float(logs.sum())
    if not (found.success and abs(mu) < 600 and sigma < _MOST_SIGMA):
        raise BadInput(
            "These lives do not settle on a lognormal: most of them still run.",
            where="running",
            hint="Wait for more failures, or take the Weibull life.",
        )
    return LognormalFit(
        math.exp(mu), sigma, math.exp(mu - 1.2815515655446004 * sigma), len(ended), len(going), likelihood
    )


def compare_lives(
    first: tuple[Sequence[float], Sequence[float]],
    second: tuple[Sequence[float], Sequence[float]],
    *,
    confidence: float = 0.95,
) -> LivesCompared:
    """Whether two kinds of part, each (failures, running), their own unit, have one Weibull life.

    Two different failures or more of each. Raises BadInput. With under ten failures of each the chance is rough: it
    comes out too small a little too often. Source: likelihood ratio, 2(l₁ + l₂ − l₀) against χ²(2), Lawless (2003)
    chapter 5; NIST/SEMATECH e-Handbook 8.2.2.3.
    """
    from scipy.special import chdtrc

    sure = a_share(confidence, "confidence")
    one = weibull_fit(*first, confidence=sure)
    other = weibull_fit(*second, confidence=sure)
    both = weibull_fit([*first[0], *second[0]], [*first[1], *second[1]], confidence=sure)
    statistic = max(0.0, 2 * (one.loglikelihood + other.loglikelihood - both.loglikelihood))
    chance = float(chdtrc(2, statistic))
    few = min(one.failures, other.failures)
    notes = (f"Only {few} failures of one kind: the chance is rough.",) if few < 10 else ()
    return LivesCompared(
        one, other, both, statistic, chance, chance <= 1 - sure, other.scale.value / one.scale.value, notes
    )

"""Confidence limits of shares in a gauge study, such as gauge sd over total sd (%GRR), by generalized pivots.

Each mean square times its degrees of freedom over its expectation is chi-square. So θ = SS/W with W chi-square stands for
what is believed of the expectation, and any function of the θ has the quantiles of that function as limits. The four W
are taken from a fixed, evenly filling sequence instead of at random: the answer is the same each time, to about three
digits.

Sources: S. Weerahandi, Journal of the American Statistical Association 88 (1993) 899–905 (generalized limits);
M. Hamada, S. Weerahandi, Journal of Quality Technology 32 (2000) 241–253 (of gauge studies); R. K. Burdick,
C. M. Borror, D. C. Montgomery, Journal of Quality Technology 35 (2003) 342–354. Coverage checked by simulation in
tests/property.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from firstpull.statistics.inputs import a_share
from firstpull.statistics.variance_limits import MeanSquare

_Floats = npt.NDArray[np.float64]
_POINTS = 16_384
_GOLDEN_4 = 1.1673039782614187  # x⁵ = x + 1: its powers fill four dimensions most evenly


@dataclass(frozen=True, slots=True)
class ShareLimits:
    """Two-sided limits of sd of a component over the total sd, 0 … 1."""

    low: float
    high: float


def share_limits(
    parts: Mapping[str, Sequence[MeanSquare]], whole: Sequence[str], *, confidence: float
) -> dict[str, ShareLimits]:
    """Limits of √(variance / total variance) for each of ``parts``, sums of mean squares in the readings' own unit squared.

    The total is the sum of those named in ``whole``; a sum that comes out negative counts as 0. Mean squares that are
    equal in value and freedom are the same one; four different ones at most. ``confidence`` two-sided. Raises BadInput.
    Source: Hamada and Weerahandi (2000), here with a fixed sequence instead of random numbers.
    """
    from scipy.special import chdtri

    tail = (1 - a_share(confidence, "confidence")) / 2
    keys = list(dict.fromkeys((term.value, term.freedom) for terms in parts.values() for term in terms))[:4]
    filling = _filling()
    believed = {
        (value, freedom): value * freedom / chdtri(freedom, filling[:, place])
        for place, (value, freedom) in enumerate(keys)
    }

    def variance(terms: Sequence[MeanSquare]) -> _Floats:
        total = sum((t.coefficient * believed[t.value, t.freedom] for t in terms), start=np.zeros(_POINTS))
        return np.maximum(total, 0.0)

    variances = {name: variance(terms) for name, terms in parts.items()}
    total = np.maximum(sum((variances[name] for name in whole), start=np.zeros(_POINTS)), 1e-300)
    answer = {}
    for name, found in variances.items():
        low, high = np.quantile(np.sqrt(np.minimum(found / total, 1.0)), [tail, 1 - tail])
        answer[name] = ShareLimits(float(low), float(high))
    return answer


@lru_cache(maxsize=1)
def _filling() -> _Floats:
    steps = _GOLDEN_4 ** -np.arange(1.0, 5.0)
    points: _Floats = (0.5 + np.arange(1, _POINTS + 1)[:, None] * steps[None, :]) % 1.0
    return np.clip(points, 1e-9, 1 - 1e-9)

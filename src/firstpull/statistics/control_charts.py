"""Shewhart charts: their constants, computed rather than copied, and the individuals and moving-range chart.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2 (charts and factors) and 6.3.2.2 (individuals and
moving range); ISO 7870-2, Shewhart control charts; ASTM Manual on Presentation of Data (MNL 7), control chart factors;
L. H. C. Tippett, Biometrika 17 (1925) 364–387 (the range of a normal sample).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_count, a_number, some_numbers
from firstpull.statistics.run_rules import JUMP, RULES, Rule, Signal, find_signals, signal

__all__ = [
    "RULES",
    "ChartConstants",
    "IndividualsChart",
    "Rule",
    "Signal",
    "chart_constants",
    "individuals_chart",
]

_MOST_READINGS = 10_000


@dataclass(frozen=True, slots=True)
class ChartConstants:
    """Control chart factors for subgroups of ``n`` normal values; names as in the published tables, lower case.

    ``d2``, ``d3``: mean and sd of the range in sigmas; ``c4``: mean of the sample sd in sigmas; ``a2``, ``a3``: limits
    of the mean from the mean range or mean sd; ``d3_low``, ``d4`` (printed D3, D4): limits of the range; ``b3``,
    ``b4``: limits of the sd. ``c5`` is the sd of the sample sd in sigmas, ``c2`` the mean of the sd reckoned with n
    instead of n − 1. With sigma known: ``a`` limits of the mean, ``b5``, ``b6`` of the sd, ``d1_low``, ``d2_high``
    (printed D1, D2) of the range. For single readings beside subgroups: ``e2``, ``e3`` limits from the mean range or
    mean sd.
    """

    n: int
    d2: float
    d3: float
    c4: float
    a2: float
    a3: float
    d3_low: float
    d4: float
    b3: float
    b4: float
    c5: float
    c2: float
    a: float
    b5: float
    b6: float
    d1_low: float
    d2_high: float
    e2: float
    e3: float


def chart_constants(n: int) -> ChartConstants:
    """The factors for subgroups of ``n`` values, 2 to 100. Raises BadInput.

    Source: d2 and d3 from the distribution of the range of n normal values (Tippett 1925), by quadrature; c4 =
    √(2/(n−1)) · Γ(n/2)/Γ((n−1)/2); A2 = 3/(d2·√n), A3 = 3/(c4·√n), D3, D4 = 1 ∓ 3·d3/d2, B3, B4 = 1 ∓ 3·√(1−c4²)/c4,
    not below 0 (NIST/SEMATECH e-Handbook 6.3.2; ASTM MNL 7); with sigma known A = 3/√n, B5, B6 = c4 ∓ 3·√(1−c4²),
    D1, D2 = d2 ∓ 3·d3; c5 = √(1−c4²), c2 = c4·√((n−1)/n), E2 = 3/d2, E3 = 3/c4. No unit. n = 5: d2 2.326, A2 0.577.
    """
    return _constants(a_count(n, "n", least=2, most=100))


@lru_cache(maxsize=128)
def _constants(count: int) -> ChartConstants:
    d2, d3 = _range_moments(count)
    c4 = math.sqrt(2 / (count - 1)) * math.exp(math.lgamma(count / 2) - math.lgamma((count - 1) / 2))
    root = math.sqrt(count)
    c5 = math.sqrt(1 - c4 * c4)
    range_spread, sd_spread = 3 * d3 / d2, 3 * c5 / c4
    return ChartConstants(
        n=count,
        d2=d2,
        d3=d3,
        c4=c4,
        a2=3 / (d2 * root),
        a3=3 / (c4 * root),
        d3_low=max(0.0, 1 - range_spread),
        d4=1 + range_spread,
        b3=max(0.0, 1 - sd_spread),
        b4=1 + sd_spread,
        c5=c5,
        c2=c4 * math.sqrt((count - 1) / count),
        a=3 / root,
        b5=max(0.0, c4 - 3 * c5),
        b6=c4 + 3 * c5,
        d1_low=max(0.0, d2 - 3 * d3),
        d2_high=d2 + 3 * d3,
        e2=3 / d2,
        e3=3 / c4,
    )


def _range_moments(n: int) -> tuple[float, float]:
    """Mean and sd of the range W: P(W ≤ w) = n ∫ φ(x) (Φ(x+w) − Φ(x))^(n−1) dx, E W = ∫ (1 − P), E W² = 2 ∫ w (1 − P)."""
    if n == 2:  # closed form; spares the individuals chart, the one shown in the run, a heavy import
        return 2 / math.sqrt(math.pi), math.sqrt(2 - 4 / math.pi)
    from scipy.special import ndtr

    place, weight = np.polynomial.legendre.leggauss(240)
    x, x_weight = 9.0 * place, 9.0 * weight
    w, w_weight = 8.0 * (place + 1), 8.0 * weight
    density = n * x_weight * np.exp(-0.5 * x * x) / math.sqrt(2 * math.pi)
    inner = (ndtr(x[None, :] + w[:, None]) - ndtr(x)[None, :]) ** (n - 1)
    beyond = 1 - inner @ density
    mean = float(w_weight @ beyond)
    square = float(2 * w_weight @ (w * beyond))
    return mean, math.sqrt(square - mean * mean)


@dataclass(frozen=True, slots=True)
class IndividualsChart:
    """An individuals and moving-range chart, in the unit of the readings.

    ``moving_ranges[i]`` belongs to reading i + 1. ``centre_given`` and ``sigma_given`` say whether the proof supplied
    them. ``signals`` are in order of reading; an empty tuple means that no rule holds.
    """

    values: tuple[float, ...]
    moving_ranges: tuple[float, ...]
    centre: float
    sigma: float
    upper: float
    lower: float
    mr_centre: float
    mr_upper: float
    signals: tuple[Signal, ...]
    centre_given: bool
    sigma_given: bool


def individuals_chart(
    values: Sequence[float],
    *,
    centre: float | None = None,
    sigma: float | None = None,
    resolution: float = 0.0,
) -> IndividualsChart:
    """The chart of 1 to 10 000 readings in the order in which they were taken.

    ``centre`` and ``sigma`` (above 0) come from the proof where there is one; otherwise they are the mean of the
    readings and mean moving range / d2, which needs two readings. ``resolution`` of the gauge (same unit, 0 when not
    known) keeps sigma from falling below resolution/√12: readings that all round to one number do not prove that
    there is no scatter. Raises BadInput. Source: NIST/SEMATECH e-Handbook 6.3.2.2: centre ± 3·MR̄/1.128, here with d2
    unrounded; moving-range limit D4·MR̄ (6.3.2); rules see :mod:`run_rules`.
    """
    readings = some_numbers(values, "values", least=1)
    a_count(len(readings), "number of values", least=1, most=_MOST_READINGS)
    step = a_number(resolution, "resolution", least=0)
    pairs = chart_constants(2)
    moving_ranges = tuple(abs(later - earlier) for earlier, later in pairwise(readings))
    middle = math.fsum(readings) / len(readings) if centre is None else a_number(centre, "centre")
    if sigma is not None:
        spread = a_number(sigma, "sigma", least=1e-12)
    elif moving_ranges:
        spread = max(math.fsum(moving_ranges) / len(moving_ranges) / pairs.d2, step / math.sqrt(12))
    else:
        raise BadInput(
            "One reading shows no scatter.",
            where="values",
            hint="Give sigma from the proof, or a second reading.",
        )
    mr_centre = pairs.d2 * spread
    mr_upper = pairs.d4 * mr_centre
    return IndividualsChart(
        values=readings,
        moving_ranges=moving_ranges,
        centre=middle,
        sigma=spread,
        upper=middle + 3 * spread,
        lower=middle - 3 * spread,
        mr_centre=mr_centre,
        mr_upper=mr_upper,
        signals=_signals(readings, moving_ranges, middle=middle, spread=spread, mr_upper=mr_upper),
        centre_given=centre is not None,
        sigma_given=sigma is not None,
    )


def _signals(
    readings: tuple[float, ...], moving_ranges: tuple[float, ...], *, middle: float, spread: float, mr_upper: float
) -> tuple[Signal, ...]:
    # A reading exactly on a line is not beyond it: decimal readings must not be pushed over by binary rounding.
    slack = 1e-12 * max(abs(middle), *(abs(value) for value in readings))
    offsets = tuple(_offset(value - middle, spread=spread, slack=slack) for value in readings)
    changes = tuple(0 if later == earlier else 1 if later > earlier else -1 for earlier, later in pairwise(readings))
    jumps = tuple(signal(JUMP, place + 1) for place, change in enumerate(moving_ranges) if change > mr_upper + slack)
    found = (*find_signals(offsets, changes=changes), *jumps)
    return tuple(sorted(found, key=lambda item: (item.index, item.number)))


def _offset(distance: float, *, spread: float, slack: float) -> float:
    """Distance in sigmas with ``slack`` taken off; where sigma is 0, anything off the centre is beyond every line."""
    size = max(0.0, abs(distance) - slack)
    if size == 0:
        return 0.0
    in_sigmas = min(size / spread, 1e6) if spread > 0 else 1e6
    return math.copysign(in_sigmas, distance)

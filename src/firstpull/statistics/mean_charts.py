"""Charts of subgroup means: x̄-R and x̄-s; and charts with a memory: EWMA and CUSUM.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.1 (x̄, R and s), 6.3.2.3 (CUSUM), 6.3.2.4 (EWMA);
ISO 7870-2 (Shewhart), ISO 7870-4 (CUSUM), ISO 7870-6 (EWMA); S. W. Roberts, Technometrics 1 (1959) 239–250;
E. S. Page, Biometrika 41 (1954) 100–115.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from firstpull.errors import BadInput
from firstpull.statistics.control_charts import chart_constants
from firstpull.statistics.inputs import a_count, a_number, some_numbers
from firstpull.statistics.run_rules import Signal, find_signals

_MOST_GROUPS = 10_000
_ASYMPTOTE = 1e-12


@dataclass(frozen=True, slots=True)
class MeanChart:
    """A chart of subgroup means with its chart of scatter, in the unit of the readings.

    ``spreads`` are ranges (x̄-R) or standard deviations (x̄-s) of the subgroups. ``sigma`` is that of one reading.
    ``signals`` are those of the means, by all eight run rules; ``spread_signals`` are the subgroups (zero-based) whose
    spread is beyond its limits. Where a spread is beyond, the limits of the means are not to be trusted.
    """

    kind: Literal["range", "sd"]
    n: int
    means: tuple[float, ...]
    spreads: tuple[float, ...]
    centre: float
    sigma: float
    upper: float
    lower: float
    spread_centre: float
    spread_upper: float
    spread_lower: float
    signals: tuple[Signal, ...]
    spread_signals: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class MemoryChart:
    """An EWMA or one side of a CUSUM, in the unit of the readings, with its limits at each reading.

    ``signals`` are the zero-based readings at which the value is beyond a limit.
    """

    values: tuple[float, ...]
    upper: tuple[float, ...]
    lower: tuple[float, ...]
    centre: float
    sigma: float
    signals: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class CusumChart:
    """Both sides of a tabular CUSUM: sums of what is above or below the slack, both 0 or more.

    ``limit`` is the decision interval; ``signals`` are the zero-based readings at which either sum is beyond it.
    ``started`` is for each signal the reading at which that sum last left 0: an estimate of when the shift came.
    """

    above: tuple[float, ...]
    below: tuple[float, ...]
    limit: float
    centre: float
    sigma: float
    signals: tuple[int, ...]
    started: tuple[int, ...]


def mean_range_chart(
    groups: Sequence[Sequence[float]], *, centre: float | None = None, sigma: float | None = None
) -> MeanChart:
    """x̄-R chart of 1 to 10 000 subgroups of 2 to 25 readings each, all equally many, in the order they were taken.

    ``centre`` and ``sigma`` (of one reading, above 0) come from earlier work where there is any; else they are the
    mean of the means and R̄/d2. Raises BadInput. Source: NIST/SEMATECH e-Handbook 6.3.2.1: x̄̄ ± A2·R̄, D3·R̄, D4·R̄;
    factors from :func:`control_charts.chart_constants`, unrounded.
    """
    table = _groups(groups, most=25)
    constants = chart_constants(len(table[0]))
    ranges = tuple(max(group) - min(group) for group in table)
    return _mean_chart(
        "range",
        table,
        spreads=ranges,
        unit=constants.d2,
        lines=(constants.d3_low, constants.d4),
        given=(centre, sigma),
    )


def mean_sd_chart(
    groups: Sequence[Sequence[float]], *, centre: float | None = None, sigma: float | None = None
) -> MeanChart:
    """x̄-s chart; as :func:`mean_range_chart` with subgroups of 2 to 100 readings, sigma = s̄/c4.

    Raises BadInput. Source: NIST/SEMATECH e-Handbook 6.3.2.1: x̄̄ ± A3·s̄, B3·s̄, B4·s̄.
    """
    table = _groups(groups, most=100)
    constants = chart_constants(len(table[0]))
    sds = tuple(_sd(group) for group in table)
    return _mean_chart(
        "sd", table, spreads=sds, unit=constants.c4, lines=(constants.b3, constants.b4), given=(centre, sigma)
    )


def ewma_chart(
    values: Sequence[float],
    *,
    centre: float,
    sigma: float,
    weight: float = 0.2,
    width: float = 3.0,
    exact_limits: bool = True,
) -> MemoryChart:
    """EWMA of 1 to 10 000 readings or means: z = weight · x + (1 − weight) · z before, started at ``centre``.

    ``sigma`` (above 0) is that of one value; ``weight`` 0.001 … 1; limits centre ± ``width`` · sigma ·
    √(weight/(2 − weight)), with ``exact_limits`` narrower at the start by √(1 − (1 − weight)^2t). All in the values'
    own unit. Raises BadInput. Source: NIST/SEMATECH e-Handbook 6.3.2.4 (there with the limits of a long run); Roberts
    (1959); width for a wanted false-alarm rate: :func:`run_lengths.ewma_run_length`.
    """
    readings = some_numbers(values, "values", least=1)
    a_count(len(readings), "number of values", least=1, most=_MOST_GROUPS)
    middle = a_number(centre, "centre")
    spread = a_number(sigma, "sigma", least=1e-12)
    share = a_number(weight, "weight", least=0.001, most=1)
    reach = a_number(width, "width", least=0.1, most=10) * spread * math.sqrt(share / (2 - share))
    smoothed, reaches = [], []
    last, left = middle, 1.0
    for reading in readings:
        last = share * reading + (1 - share) * last
        left *= (1 - share) ** 2
        smoothed.append(last)
        reaches.append(reach * math.sqrt(1 - left) if exact_limits else reach)
    beyond = tuple(
        place for place, (z, far) in enumerate(zip(smoothed, reaches, strict=True)) if _beyond(z, middle, far)
    )
    return MemoryChart(
        values=tuple(smoothed),
        upper=tuple(middle + far for far in reaches),
        lower=tuple(middle - far for far in reaches),
        centre=middle,
        sigma=spread,
        signals=beyond,
    )


def cusum_chart(
    values: Sequence[float],
    *,
    centre: float,
    sigma: float,
    slack: float = 0.5,
    limit: float = 5.0,
    head_start: float = 0.0,
) -> CusumChart:
    """Tabular CUSUM of 1 to 10 000 readings or means; ``slack``, ``limit`` and ``head_start`` in sigmas.

    ``sigma`` (above 0) is that of one value. Slack 0 … 5: half the shift to be found; limit 0.1 … 100; head start 0 up
    to the limit (half of it finds a bad start fast). Sums in the values' own unit. Raises BadInput. Source:
    NIST/SEMATECH e-Handbook 6.3.2.3, S_hi(i) = max(0, S_hi(i−1) + x − centre − k); Page (1954); head start:
    J. M. Lucas, R. B. Crosier, Technometrics 24 (1982) 199–205.
    """
    readings = some_numbers(values, "values", least=1)
    a_count(len(readings), "number of values", least=1, most=_MOST_GROUPS)
    middle = a_number(centre, "centre")
    spread = a_number(sigma, "sigma", least=1e-12)
    free = a_number(slack, "slack", least=0, most=5) * spread
    far = a_number(limit, "limit", least=0.1, most=100) * spread
    start = a_number(head_start, "head_start", least=0, most=float(limit)) * spread
    above, below, signals, started = [], [], [], []
    up = down = start
    up_from = down_from = 0
    for place, reading in enumerate(readings):
        up_from, down_from = (place if s == 0 else since for s, since in ((up, up_from), (down, down_from)))
        up = max(0.0, up + reading - middle - free)
        down = max(0.0, down + middle - reading - free)
        above.append(up)
        below.append(down)
        if max(up, down) > far * (1 + _ASYMPTOTE):
            signals.append(place)
            started.append(up_from if up >= down else down_from)
    return CusumChart(tuple(above), tuple(below), far, middle, spread, tuple(signals), tuple(started))


def _groups(groups: Sequence[Sequence[float]], *, most: int) -> tuple[tuple[float, ...], ...]:
    a_count(len(groups), "number of subgroups", least=1, most=_MOST_GROUPS)
    table = tuple(some_numbers(group, f"subgroup {place + 1}", least=2) for place, group in enumerate(groups))
    for place, (before, after) in enumerate(pairwise(table)):
        if len(before) != len(after):
            raise BadInput(
                f"Subgroup {place + 2} has {len(after)} readings, the one before {len(before)}.",
                where="groups",
                hint="All subgroups need equally many readings; else use the chart of individuals.",
            )
    a_count(len(table[0]), "readings in a subgroup", least=2, most=most)
    return table


def _mean_chart(
    kind: Literal["range", "sd"],
    table: tuple[tuple[float, ...], ...],
    *,
    spreads: tuple[float, ...],
    unit: float,
    lines: tuple[float, float],
    given: tuple[float | None, float | None],
) -> MeanChart:
    """``unit`` is the mean spread in sigmas, ``lines`` the limits of the spread in mean spreads."""
    n = len(table[0])
    means = tuple(math.fsum(group) / n for group in table)
    centre = math.fsum(means) / len(means) if given[0] is None else a_number(given[0], "centre")
    sigma = math.fsum(spreads) / len(spreads) / unit if given[1] is None else a_number(given[1], "sigma", least=1e-12)
    if sigma == 0:
        raise BadInput(
            "No subgroup shows any scatter.", where="groups", hint="Read one digit more, or give sigma from the proof."
        )
    of_mean = sigma / math.sqrt(n)
    slack = 1e-12 * max(abs(centre), *(abs(mean) for mean in means))
    offsets = tuple(math.copysign(max(0.0, abs(m - centre) - slack) / of_mean, m - centre) for m in means)
    changes = tuple(0 if later == earlier else 1 if later > earlier else -1 for earlier, later in pairwise(means))
    middle = unit * sigma
    low, high = lines[0] * middle, lines[1] * middle
    return MeanChart(
        kind=kind,
        n=n,
        means=means,
        spreads=spreads,
        centre=centre,
        sigma=sigma,
        upper=centre + 3 * of_mean,
        lower=centre - 3 * of_mean,
        spread_centre=middle,
        spread_upper=high,
        spread_lower=low,
        signals=find_signals(offsets, changes=changes),
        spread_signals=tuple(
            place for place, spread in enumerate(spreads) if spread > high * (1 + 1e-12) or spread < low * (1 - 1e-12)
        ),
    )


def _sd(group: tuple[float, ...]) -> float:
    mean = math.fsum(group) / len(group)
    return math.sqrt(math.fsum((value - mean) ** 2 for value in group) / (len(group) - 1))


def _beyond(value: float, middle: float, far: float) -> bool:
    return abs(value - middle) > far + 1e-12 * max(abs(value), abs(middle))

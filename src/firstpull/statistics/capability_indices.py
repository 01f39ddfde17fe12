"""Capability of a process: Cp, Cpk, Pp, Ppk with confidence limits, and what speaks against believing them.

Cp and Cpk look at the scatter within short times (subgroups or neighbours), Pp and Ppk at all of it. All are for normal
readings of a process in control; the notes of :class:`Capability` say where that is in doubt.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods 6.1.6 (indices and their limits); ISO 22514-2 (names);
A. F. Bissell, Applied Statistics 39 (1990) 331–340 (limits of Cpk); Y.-M. Chou, D. B. Owen, S. A. Borrego, Journal of
Quality Technology 22 (1990) 223–229 (lower limits by the noncentral t); J. D. Cryer, T. P. Ryan, Journal of Quality
Technology 22 (1990) 187–192 (how well the moving range knows sigma).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from firstpull.errors import BadInput
from firstpull.statistics.control_charts import chart_constants, individuals_chart
from firstpull.statistics.inputs import a_count, a_number, a_share, some_numbers
from firstpull.statistics.mean_charts import mean_sd_chart
from firstpull.statistics.moments import moments
from firstpull.statistics.run_rules import JUMP
from firstpull.statistics.tolerance_intervals import share_inside

_FEW = 30
_REACH = 9.0


@dataclass(frozen=True, slots=True)
class Index:
    """A capability index, no unit. ``low`` … ``high`` are two-sided limits at the study's confidence; ``at_least`` is
    the one-sided lower limit: that much is shown. ``method`` names how the limits were found.
    """

    name: str
    value: float
    low: float
    high: float
    at_least: float
    method: str


@dataclass(frozen=True, slots=True)
class Capability:
    """What readings say of a process against its limits ``low`` and ``high`` (either may be None), in their unit.

    ``cp`` and ``pp`` need both limits, else None; ``cpm`` needs them and a target. ``freedom_within`` are the degrees of freedom of ``sd_within``.
    ``outside_share`` is the share beyond the limits that a normal process with this mean and ``sd_overall`` has;
    ``inside_at_least`` the share inside that the readings show at ``confidence``. ``signals`` counts the readings (or
    subgroups) beyond a limit of the chart, ``patterns`` those where another run rule holds. ``notes`` say what a person
    should know.
    """

    n: int
    mean: float
    sd_within: float
    sd_overall: float
    freedom_within: float
    low: float | None
    high: float | None
    cp: Index | None
    cpk: Index
    pp: Index | None
    ppk: Index
    cpm: Index | None
    outside_share: float
    inside_at_least: float
    confidence: float
    signals: int
    patterns: int
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Within:
    sd: float
    freedom: float
    signals: int
    patterns: int


def capability(
    values: Sequence[float],
    *,
    low: float | None = None,
    high: float | None = None,
    group_size: int = 1,
    confidence: float = 0.95,
    target: float | None = None,
) -> Capability:
    """Capability of 5 to 10 000 ``values`` in the order they were taken, against ``low`` and ``high`` in their unit.

    With ``group_size`` 2 … 100 the values are taken as subgroups that follow each other and the scatter within is the
    pooled standard deviation; with 1 it is the mean moving range / d2. Raises BadInput: no limit, limits the wrong way
    round, values that do not scatter, a last subgroup that is not full.
    Source: NIST/SEMATECH e-Handbook 6.1.6: Cp = (high − low)/6σ, Cpk = min(high − mean, mean − low)/3σ; Pp, Ppk with
    the overall sd; limits: :func:`cp_limits`, :func:`cpk_limits`, :func:`cpk_at_least`. With a ``target`` also Cpm =
    (high − low)/6√(s² + (mean − target)²), same place; limits: :func:`cpm_limits`.
    """
    readings = some_numbers(values, "values", least=5)
    count = a_count(len(readings), "number of values", least=5, most=10_000)
    sure = a_share(confidence, "confidence")
    lower, upper = limits = _limits(low, high)
    size = a_count(group_size, "group_size", least=1, most=100)
    found = moments(readings)
    mean, overall = found.mean, found.sd
    inside = _within(readings, size)
    within, freedom = inside.sd, inside.freedom
    if min(overall, within) <= 1e-13 * max(abs(value) for value in readings):
        raise BadInput(
            "The values do not scatter, so they say nothing about the capability.",
            where="values",
            hint="Read one digit more.",
        )

    sides = _sides(mean, lower, upper)
    far = 1e5 * overall
    return Capability(
        n=count,
        mean=mean,
        sd_within=within,
        sd_overall=overall,
        freedom_within=freedom,
        low=lower,
        high=upper,
        cp=_centred("Cp", limits, sd=within, freedom=freedom, confidence=sure),
        cpk=_nearest("Cpk", sides, sd=within, freedom=freedom, n=count, confidence=sure),
        pp=_centred("Pp", limits, sd=overall, freedom=count - 1, confidence=sure),
        ppk=_nearest("Ppk", sides, sd=overall, freedom=count - 1, n=count, confidence=sure),
        cpm=_on_target(limits, target, mean=mean, sd=overall, n=count, confidence=sure),
        outside_share=_outside(sides, overall),
        inside_at_least=share_inside(
            readings,
            mean - far if lower is None else lower,
            mean + far if upper is None else upper,
            confidence=sure,
        ),
        confidence=sure,
        signals=inside.signals,
        patterns=inside.patterns,
        notes=_notes(readings, inside=inside, mean=mean, limits=limits),
    )


_CHI = "chi-square"
_NEAR = "limits: normal approximation (Bissell 1990); at least: noncentral t of the nearer limit"


def cp_limits(value: float, freedom: float, confidence: float) -> tuple[float, float]:
    """Two-sided limits of Cp or Pp, no unit; ``freedom`` of the sd, 1 … 10⁶. Raises BadInput.

    Exact for readings that are normal. Source: NIST/SEMATECH e-Handbook 6.1.6: Cp·√(χ²(α/2; ν)/ν) and
    Cp·√(χ²(1 − α/2; ν)/ν).
    """
    from scipy.special import chdtri

    index = a_number(value, "value", least=0, most=1e9)
    known = a_number(freedom, "freedom", least=1, most=1e6)
    tail = (1 - a_share(confidence, "confidence")) / 2
    return (
        index * math.sqrt(float(chdtri(known, 1 - tail)) / known),
        index * math.sqrt(float(chdtri(known, tail)) / known),
    )


def cpm_limits(value: float, n: int, *, off: float, confidence: float) -> tuple[float, float]:
    """Two-sided limits of Cpm from ``n`` values whose mean is ``off`` sds from the target, no unit. Raises BadInput.

    Source: R. A. Boyles, Journal of Quality Technology 23 (1991) 17–26: Cpm·√(χ²(α/2; ν)/ν) and √(χ²(1 − α/2; ν)/ν) with
    ν = n(1 + ξ²)²/(1 + 2ξ²), ξ = off; approximate (formula from memory).
    """
    count = a_count(n, "n", least=2, most=1_000_000)
    away = min(abs(a_number(off, "off")), 1e6)
    freedom = count * (1 + away**2) ** 2 / (1 + 2 * away**2)
    return cp_limits(value, min(freedom, 1e6), confidence)


def cpk_limits(value: float, n: int, *, freedom: float, confidence: float) -> tuple[float, float]:
    """Two-sided limits of Cpk or Ppk from ``n`` values, no unit, by the usual normal approximation. Raises BadInput.

    Source: Bissell (1990); NIST/SEMATECH e-Handbook 6.1.6: Cpk ± z·√(1/(9n) + Cpk²/(2ν)). Within a few per cent for
    n over 30; for a promise take :func:`cpk_at_least`.
    """
    from scipy.special import ndtri

    index = a_number(value, "value", least=-1e9, most=1e9)
    count = a_count(n, "n", least=2, most=1_000_000)
    known = a_number(freedom, "freedom", least=1, most=1e6)
    z = float(ndtri((1 + a_share(confidence, "confidence")) / 2))
    reach = z * math.sqrt(1 / (9 * count) + index * index / (2 * known))
    return index - reach, index + reach


def cpk_at_least(value: float, n: int, *, freedom: float, confidence: float) -> float:
    """The Cpk or Ppk that ``n`` values with the index ``value`` show at ``confidence``, one-sided, no unit.

    Exact for one limit (``freedom`` = n − 1); with two limits it is shown at least as surely as said, since the true
    index is that of the nearer one. Raises BadInput. Source: Chou, Owen and Borrego (1990): the L with
    P(T′(ν, 3√n·L) ≤ 3√n·value) = confidence, T′ noncentral t, here by quadrature over the chi distribution of the sd.
    """
    from scipy.optimize import brentq
    from scipy.special import ndtr

    index = a_number(value, "value", least=-1e6, most=1e6)
    count = a_count(n, "n", least=2, most=1_000_000)
    known = a_number(freedom, "freedom", least=1, most=1e6)
    sure = a_share(confidence, "confidence")
    ends = (max(0.0, 1 - _REACH / math.sqrt(known)), 1 + _REACH / math.sqrt(known))
    place, weight = _gauss()
    u = (ends[1] - ends[0]) / 2 * place + (ends[0] + ends[1]) / 2
    density = weight * np.exp((known - 1) * np.log(u) - known * (u * u - 1) / 2)
    density /= density.sum()
    scale = 3 * math.sqrt(count)

    def surplus(least: float) -> float:
        return float(density @ ndtr(scale * (index * u - least))) - sure

    reach = 10 / scale
    return float(brentq(surplus, min(index * ends[0], index * ends[1]) - reach, abs(index) * ends[1] + reach))


@lru_cache(maxsize=1)
def _gauss() -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    place, weight = np.polynomial.legendre.leggauss(400)
    return place, weight


def _limits(low: float | None, high: float | None) -> tuple[float | None, float | None]:
    if low is None and high is None:
        raise BadInput("There is no limit to compare with.", where="low", hint="Give a lower or an upper limit.")
    lower = None if low is None else a_number(low, "low")
    upper = None if high is None else a_number(high, "high")
    if lower is not None and upper is not None and not lower < upper:
        raise BadInput("The lower limit must be below the upper one.", where="low", hint="Swap them.")
    return lower, upper


def _sides(mean: float, lower: float | None, upper: float | None) -> list[float]:
    return [*([] if lower is None else [mean - lower]), *([] if upper is None else [upper - mean])]


def _centred(
    name: str, limits: tuple[float | None, float | None], *, sd: float, freedom: float, confidence: float
) -> Index | None:
    if limits[0] is None or limits[1] is None:
        return None
    value = (limits[1] - limits[0]) / (6 * sd)
    least = cp_limits(value, freedom, 2 * confidence - 1)[0] if confidence > 0.501 else 0.0
    return Index(name, value, *cp_limits(value, freedom, confidence), least, _CHI)


def _on_target(
    limits: tuple[float | None, float | None],
    target: float | None,
    *,
    mean: float,
    sd: float,
    n: int,
    confidence: float,
) -> Index | None:
    if target is None or limits[0] is None or limits[1] is None:
        return None
    off = (mean - a_number(target, "target")) / sd
    value = (limits[1] - limits[0]) / (6 * math.hypot(sd, off * sd))
    least = cpm_limits(value, n, off=off, confidence=2 * confidence - 1)[0] if confidence > 0.501 else 0.0
    return Index("Cpm", value, *cpm_limits(value, n, off=off, confidence=confidence), least, "chi-square (Boyles 1991)")


def _nearest(name: str, sides: list[float], *, sd: float, freedom: float, n: int, confidence: float) -> Index:
    value = min(sides) / (3 * sd)
    around = cpk_limits(value, n, freedom=freedom, confidence=confidence)
    return Index(name, value, *around, cpk_at_least(value, n, freedom=freedom, confidence=confidence), _NEAR)


def _outside(sides: list[float], sd: float) -> float:
    from scipy.special import ndtr

    return sum(float(ndtr(-side / sd)) for side in sides)


def _within(readings: tuple[float, ...], size: int) -> _Within:
    """Sd within, its degrees of freedom, and how many points the chart marks."""
    count = len(readings)
    if size == 1:
        chart = individuals_chart(readings)
        sd = math.fsum(chart.moving_ranges) / (count - 1) / chart_constants(2).d2
        beyond = {signal.index for signal in chart.signals if signal.number in (1, JUMP.number)}
        others = {signal.index for signal in chart.signals} - beyond
        return _Within(sd, _moving_freedom(count), len(beyond), len(others))
    if count % size:
        raise BadInput(
            f"{count} values do not make full subgroups of {size}; {count % size} are left over.",
            where="group_size",
            hint="Leave the last ones out, or take another size.",
        )
    groups = [readings[start : start + size] for start in range(0, count, size)]
    means = [math.fsum(group) / size for group in groups]
    freedom = count - len(groups)
    square = math.fsum(math.fsum((v - m) ** 2 for v in group) for group, m in zip(groups, means, strict=True))
    if square == 0:
        return _Within(0.0, float(freedom), 0, 0)
    marked = mean_sd_chart(groups)
    beyond = {signal.index for signal in marked.signals if signal.number == 1} | set(marked.spread_signals)
    others = {signal.index for signal in marked.signals} - beyond
    return _Within(math.sqrt(square / freedom), float(freedom), len(beyond), len(others))


def _moving_freedom(n: int) -> float:
    """Degrees of freedom of a chi that scatters as much as the mean moving range of ``n`` values (Cryer and Ryan 1990).

    Neighbouring ranges share a value: var(MR̄/d2) = (0.8264 n − 1.0820)/(n − 1)² σ², here with its unrounded terms.
    """
    from scipy.optimize import brentq
    from scipy.special import gammaln

    single = math.pi / 2 - 1  # var |a − b| in units of (its mean)²
    shared = math.sqrt(3) / 2 + math.pi / 12 - 1  # the covariance of two neighbours, in the same unit
    ranges = n - 1
    share = (ranges * single + 2 * (ranges - 1) * shared) / ranges**2

    def surplus(freedom: float) -> float:
        c4 = math.sqrt(2 / freedom) * math.exp(float(gammaln((freedom + 1) / 2) - gammaln(freedom / 2)))
        return (1 - c4 * c4) / (c4 * c4) - share

    return float(brentq(surplus, 1.0, 2.0 * n))


def _notes(
    readings: tuple[float, ...], *, inside: _Within, mean: float, limits: tuple[float | None, float | None]
) -> tuple[str, ...]:
    from scipy.stats import shapiro

    notes = []
    if inside.signals:
        points = "point lies" if inside.signals == 1 else "points lie"
        notes.append(
            f"{inside.signals} {points} beyond the chart’s limits: the process is not steady, the numbers promise nothing."
        )
    if inside.patterns:
        notes.append("The chart shows patterns that chance seldom makes: look at it before you trust the numbers.")
    if len(readings) < _FEW:
        notes.append(f"Only {len(readings)} readings: look at what is shown at least, not at the estimate.")
    if len(readings) <= 5000 and float(shapiro(readings).pvalue) < 0.01:
        notes.append("The readings do not look normal (Shapiro–Wilk): shares far out are not to be trusted.")
    if (limits[0] is not None and mean < limits[0]) or (limits[1] is not None and mean > limits[1]):
        notes.append("The mean lies outside the limits.")
    return tuple(notes)

"""Weibull life of parts that wear out, such as mandrels, with lives that are still running (right censored).

Reliability R(t) = exp(−(t/scale)^shape); shape below 1 is infant mortality, 1 chance, above 1 wear. Confidence limits by
likelihood ratio, which stay sensible for the few failures a shop has.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods 8.1.6.2 (Weibull), 8.4.1.3 (maximum likelihood with censoring),
8.2.2.1 (probability plotting); R. B. Abernethy, The New Weibull Handbook, 5th ed., chapters 2 (median ranks, adjusted
ranks), 5 (maximum likelihood, appendix C) and 6 (Weibayes); J. F. Lawless, Statistical Models and Methods for Lifetime
Data, 2nd ed., chapter 5 (likelihood ratio limits); IEC 61649, Weibull analysis.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_count, a_number, a_share, some_numbers

_Floats = npt.NDArray[np.float64]
_MOST_SHAPE = 1e3


@dataclass(frozen=True, slots=True)
class Limited:
    """A value with its two-sided confidence limits; ``high`` is None where the data set no upper limit."""

    value: float
    low: float
    high: float | None


@dataclass(frozen=True, slots=True)
class PlotPoint:
    """A failure for the probability plot: its ``life``, its adjusted ``rank`` and the median ``chance`` of failing."""

    life: float
    rank: float
    chance: float


@dataclass(frozen=True, slots=True)
class WeibullFit:
    """The fitted life, in the unit of the lives: ``scale`` is where 63.2 % have failed, ``b10`` where 10 % have.

    ``loglikelihood`` is the natural logarithm at the maximum. ``notes`` say what a person should know.
    """

    shape: Limited
    scale: Limited
    b10: Limited
    failures: int
    running: int
    loglikelihood: float
    confidence: float
    points: tuple[PlotPoint, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Weibayes:
    """Life with a stated shape: ``scale`` and ``b10`` are at least that much at ``confidence``; same unit as the lives.

    ``best_scale`` is the estimate from the failures, None where there are none.
    """

    shape: float
    scale_at_least: float
    b10_at_least: float
    best_scale: float | None
    failures: int
    running: int
    confidence: float


def weibull_fit(failures: Sequence[float], running: Sequence[float] = (), *, confidence: float = 0.90) -> WeibullFit:
    """Fit a Weibull life to lives that ended (``failures``) and lives still ``running``, all above 0, in their own unit.

    Two different failures or more, up to 100 000 lives. Limits two-sided at ``confidence`` by likelihood ratio. Raises
    BadInput: too few failures (then :func:`weibayes`), or all of them equal with nothing running beyond.
    Source: NIST/SEMATECH e-Handbook 8.4.1.3: shape from Σ tᵝ ln t / Σ tᵝ − 1/β = mean ln of the failures, scaleᵝ =
    Σ tᵝ / r; limits: Lawless (2003), 2(l̂ − l) ≤ χ²(1).
    """
    ended, going = checked_lives(failures, "failures"), checked_lives(running, "running")
    if len(set(ended)) < 2:
        raise BadInput(
            f"{len(ended)} failure{'' if len(ended) == 1 else 's'} cannot tell a shape; two different ones can.",
            where="failures",
            hint="State a shape and use weibayes.",
        )
    sure = a_share(confidence, "confidence")
    life = _Life(np.array(ended), np.array(going))
    shape = _shape(life)
    scale = life.best_scale(shape)
    most = life.loglikelihood(shape, scale)
    drop = _drop(sure)

    def limits(value: float, profile: Callable[[float], float]) -> Limited:
        return _limits(value, profile, floor=most - drop)

    unreliable = -math.log1p(-0.1)

    def with_b10(b10: float) -> float:
        return life.best_over_shape(lambda k: b10 * unreliable ** (-1 / k), around=shape)

    return WeibullFit(
        shape=limits(shape, lambda k: life.loglikelihood(k, life.best_scale(k))),
        scale=limits(scale, lambda s: life.best_over_shape(lambda _k: s, around=shape)),
        b10=limits(scale * unreliable ** (1 / shape), with_b10),
        failures=len(ended),
        running=len(going),
        loglikelihood=most,
        confidence=sure,
        points=plot_points(ended, going),
        notes=_notes(len(ended), shape),
    )


def weibayes(
    failures: Sequence[float], running: Sequence[float], *, shape: float, confidence: float = 0.90
) -> Weibayes:
    """The life that is shown when the ``shape`` is stated from earlier work, even with no failure at all.

    Lives above 0 in their own unit, at least one; ``shape`` 0.1 … 20; ``confidence`` one-sided. Raises BadInput.
    Source: Abernethy, chapter 6 (Weibayes); tᵝ is exponential with known shape, so 2 Σ tᵝ / scaleᵝ is at most the
    χ²(confidence; 2r + 2) point (NIST/SEMATECH e-Handbook 8.4.5.1, time censored). Without failures:
    scaleᵝ = Σ tᵝ / −ln(1 − confidence), which is Abernethy's one assumed failure at 63.2 %.
    """
    from scipy.special import chdtri

    ended, going = checked_lives(failures, "failures"), checked_lives(running, "running")
    if not ended and not going:
        raise BadInput("There are no lives.", where="running", hint="Give the cycles of each mandrel so far.")
    k = a_number(shape, "shape", least=0.1, most=20)
    sure = a_share(confidence, "confidence")
    every = np.array([*ended, *going])
    largest = float(every.max())
    total = float(((every / largest) ** k).sum())
    needed = float(chdtri(2 * len(ended) + 2, 1 - sure)) / 2
    at_least = largest * (total / needed) ** (1 / k)
    return Weibayes(
        shape=k,
        scale_at_least=at_least,
        b10_at_least=at_least * (-math.log1p(-0.1)) ** (1 / k),
        best_scale=largest * (total / len(ended)) ** (1 / k) if ended else None,
        failures=len(ended),
        running=len(going),
        confidence=sure,
    )


def plot_points(failures: Sequence[float], running: Sequence[float] = ()) -> tuple[PlotPoint, ...]:
    """The failures in order with their median ranks, lives in their own unit, above 0; a life that runs on as long as one
    failed counts as longer.

    Raises BadInput. Source: Abernethy chapter 2: rank increment (n + 1 − rank before)/(1 + lives left), the median of
    Beta(rank, n + 1 − rank) as the chance; exact, not Benard's (i − 0.3)/(n + 0.4).
    """
    from scipy.special import betaincinv

    ended, going = checked_lives(failures, "failures"), checked_lives(running, "running")
    count = len(ended) + len(going)
    rank, points = 0.0, []
    for place, (life, still_runs) in enumerate(sorted([*((t, 0) for t in ended), *((t, 1) for t in going)])):
        if not still_runs:
            rank += (count + 1 - rank) / (1 + count - place)
            points.append(PlotPoint(life, rank, float(betaincinv(rank, count + 1 - rank, 0.5))))
    return tuple(points)


class _Life:
    """The likelihood of a shape and a scale, reckoned in units of the longest life so that no power overflows."""

    def __init__(self, ended: _Floats, going: _Floats) -> None:
        self.unit = float(max(ended.max(), going.max() if len(going) else 0.0))
        self.ended = np.log(ended / self.unit)
        self.every = np.concatenate([self.ended, np.log(going / self.unit)])

    def power_sum(self, shape: float) -> float:
        return float(np.exp(shape * self.every).sum())

    def best_scale(self, shape: float) -> float:
        return float(self.unit * (self.power_sum(shape) / len(self.ended)) ** (1 / shape))

    def loglikelihood(self, shape: float, scale: float) -> float:
        off = math.log(scale / self.unit)
        z = shape * (self.ended - off)
        with np.errstate(over="ignore"):
            survived = float(np.exp(np.minimum(shape * (self.every - off), 700.0)).sum())
        return len(z) * math.log(shape) + float(z.sum()) - survived - float((self.ended + math.log(self.unit)).sum())

    def best_over_shape(self, scale_of: Callable[[float], float], *, around: float) -> float:
        """The largest log likelihood over the shape with the scale tied to it."""
        from scipy.optimize import minimize_scalar

        def loss(log_shape: float) -> float:
            shape = math.exp(log_shape)
            scale = scale_of(shape)
            return -self.loglikelihood(shape, scale) if 0 < scale < math.inf else 1e300

        found = minimize_scalar(
            loss, bounds=(math.log(around / 50), math.log(around * 50)), method="bounded", options={"xatol": 1e-10}
        )
        return -float(found.fun)


def _shape(life: _Life) -> float:
    from scipy.optimize import brentq

    mean_log = float(life.ended.mean())

    def surplus(log_shape: float) -> float:
        shape = math.exp(log_shape)
        powers = np.exp(shape * life.every)
        return float((powers * life.every).sum() / powers.sum()) - 1 / shape - mean_log

    if surplus(math.log(_MOST_SHAPE)) < 0:
        raise BadInput(
            "The failures lie so close together that no shape can be told.",
            where="failures",
            hint="Give the lives with more digits.",
        )
    return math.exp(float(brentq(surplus, math.log(1e-3), math.log(_MOST_SHAPE), xtol=1e-13)))


def _limits(value: float, profile: Callable[[float], float], *, floor: float) -> Limited:
    """Where the profile falls to ``floor`` on both sides, searched on a logarithmic scale."""
    from scipy.optimize import brentq

    def surplus(log_value: float) -> float:
        return profile(math.exp(log_value)) - floor

    centre = math.log(value)
    ends: list[float | None] = []
    for step in (-1.0, 1.0):
        reach = 0.25
        while reach < 30 and surplus(centre + step * reach) > 0:
            reach *= 2
        if reach >= 30:
            ends.append(None)
            continue
        a, b = sorted((centre, centre + step * reach))
        ends.append(math.exp(float(brentq(surplus, a, b, xtol=1e-12))))
    return Limited(value, ends[0] if ends[0] is not None else 0.0, ends[1])


def _drop(confidence: float) -> float:
    from scipy.special import chdtri

    return float(chdtri(1, 1 - confidence)) / 2


def checked_lives(values: Sequence[float], name: str) -> list[float]:
    """Lives above 0 as a list, at most 100 000. Raises BadInput naming the place."""
    lives = some_numbers(values, name, least=0)
    a_count(len(lives), f"number of {name}", least=0, most=100_000)
    return [a_number(value, f"{name}[{place}]", least=1e-9) for place, value in enumerate(lives)]


def _notes(failures: int, shape: float) -> tuple[str, ...]:
    notes = []
    if failures < 5:
        notes.append(f"Only {failures} failures: the shape is known roughly, and reads too high on average.")
    if shape < 1:
        notes.append("Shape below 1: they fail young. Changing them early does not help.")
    return tuple(notes)

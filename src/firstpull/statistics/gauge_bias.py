"""Bias of a gauge at one reference, and linearity: how the bias changes over the measuring range.

Sources: AIAG Measurement Systems Analysis, 4th ed., chapter III section B (bias by the independent sample method,
linearity; read in public copies); NIST/SEMATECH e-Handbook 2.3.6 (calibration lines) and 4.1.4.1, 4.5 (least squares,
confidence of a fitted value); ISO 22514-7.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_count, a_number, a_share, some_numbers
from firstpull.statistics.measurement import coverage_factor


@dataclass(frozen=True, slots=True)
class Bias:
    """Mean reading less the reference, in the unit of the readings.

    ``low`` … ``high`` hold the bias at ``confidence``; ``t`` is bias over ``standard_error``; ``shown`` says whether 0
    lies outside, that is whether a bias is shown. ``reference_u``, the reference's own standard uncertainty, widens
    the limits.
    """

    bias: float
    standard_error: float
    low: float
    high: float
    t: float
    chance: float
    degrees_of_freedom: float
    n: int
    shown: bool
    confidence: float


@dataclass(frozen=True, slots=True)
class BandPoint:
    """The bias by the line at ``reference`` with its confidence limits, and the mean bias read there."""

    reference: float
    mean_bias: float
    fitted: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Linearity:
    """The line bias = ``intercept`` + ``slope`` · reference, with its errors, t values and the band at each reference.

    ``straight`` is the chance of a lack of fit as large as the one seen if the line is right (None where every
    reference was read once): below 0.05 the bias bends and the line says too little. ``acceptable``: zero bias lies
    within the band at every reference, as AIAG asks.
    """

    slope: float
    intercept: float
    slope_error: float
    intercept_error: float
    t_slope: float
    t_intercept: float
    chance_slope: float
    chance_intercept: float
    residual_sd: float
    degrees_of_freedom: int
    r_squared: float
    straight: float | None
    band: tuple[BandPoint, ...]
    acceptable: bool
    confidence: float
    mean_reference: float
    spread_reference: float
    n: int

    def bias_at(self, reference: float) -> BandPoint:
        """The bias by the line at any reference, with its limits, in the unit of the readings. Raises BadInput."""
        place = a_number(reference, "reference")
        off = place - self.mean_reference
        error = self.residual_sd * math.sqrt(1 / self.n + off * off / self.spread_reference)
        reach = coverage_factor(float(self.degrees_of_freedom), self.confidence) * error
        fitted = self.intercept + self.slope * place
        return BandPoint(place, fitted, fitted, fitted - reach, fitted + reach)


def bias_study(
    values: Sequence[float], reference: float, *, reference_u: float = 0.0, confidence: float = 0.95
) -> Bias:
    """Bias from 2 or more ``values`` of one part whose ``reference`` is known, in their unit.

    ``reference_u`` (0 or more) is the reference's standard uncertainty. Raises BadInput, also when all values are
    equal: then the gauge's step decides and not the scatter. Source: AIAG MSA 4th ed. III-B, independent sample
    method: t = bias/(s/√n), limits bias ± t(n − 1) · s/√n; with ``reference_u`` combined and the degrees of freedom by
    JCGM 100 G.4.1.
    """
    readings = some_numbers(values, "values", least=2)
    right = a_number(reference, "reference")
    known = a_number(reference_u, "reference_u", least=0)
    sure = a_share(confidence, "confidence")
    count = len(readings)
    mean = math.fsum(readings) / count
    sd = math.sqrt(math.fsum((value - mean) ** 2 for value in readings) / (count - 1))
    if sd <= 1e-13 * max(abs(mean), 1e-300):
        raise BadInput(
            "All values are equal, so the bias has no scatter to be judged by.",
            where="values",
            hint="Read one digit more, or give the difference to the reference as a correction.",
        )
    read_error = sd / math.sqrt(count)
    error = math.hypot(read_error, known)
    freedom = min((count - 1) * (error / read_error) ** 4, 1e9)
    bias = mean - right
    # Welch and Satterthwaite's rule can narrow the limits when doubt is added; here doubt never makes surer.
    reach = max(coverage_factor(freedom, sure) * error, coverage_factor(count - 1, sure) * read_error)
    t = bias / error
    return Bias(
        bias=bias,
        standard_error=error,
        low=bias - reach,
        high=bias + reach,
        t=t,
        chance=_two_sided_chance(t, freedom),
        degrees_of_freedom=freedom,
        n=count,
        shown=abs(bias) > reach,
        confidence=sure,
    )


def linearity_study(points: Sequence[tuple[float, float]], *, confidence: float = 0.95) -> Linearity:
    """The line of the bias over the reference, from ``points`` of (reference, reading): readings and references in one unit.

    3 to 100 000 points at two references or more; the band is for the mean bias, pointwise, at ``confidence``. Raises
    BadInput, also when the points lie on the line exactly. Source: AIAG MSA 4th ed. III-B, linearity: least squares of
    each reading's bias, a = intercept, b = slope, band a + b·x ± t(n − 2)·s·√(1/n + (x − x̄)²/Sxx); lack of fit:
    NIST/SEMATECH e-Handbook 4.4.4.6.
    """
    sure = a_share(confidence, "confidence")
    a_count(len(points), "number of points", least=3, most=100_000)
    x = np.array([a_number(point[0], f"reference {place + 1}") for place, point in enumerate(points)])
    y = np.array([a_number(point[1], f"reading {place + 1}") for place, point in enumerate(points)]) - x
    references = np.unique(x)
    if len(references) < 2:
        raise BadInput("All references are the same.", where="points", hint="Measure parts over the whole range.")
    count = len(x)
    mean_x, mean_y = float(x.mean()), float(y.mean())
    spread = float(((x - mean_x) ** 2).sum())
    slope = float(((x - mean_x) * (y - mean_y)).sum()) / spread
    left = y - mean_y - slope * (x - mean_x)
    freedom = count - 2
    residual = math.sqrt(float(left @ left) / freedom)
    if residual <= 1e-13 * max(float(np.abs(x).max()), float(np.abs(y).max())):
        raise BadInput(
            "The readings lie on a line exactly, so the line has no scatter to be judged by.",
            where="points",
            hint="Read one digit more, and each part more than once.",
        )
    slope_error = residual / math.sqrt(spread)
    intercept = mean_y - slope * mean_x
    intercept_error = residual * math.sqrt(1 / count + mean_x * mean_x / spread)
    factor = coverage_factor(float(freedom), sure)
    band = []
    for place in references:
        fitted = intercept + slope * float(place)
        reach = factor * residual * math.sqrt(1 / count + (float(place) - mean_x) ** 2 / spread)
        band.append(BandPoint(float(place), float(y[x == place].mean()), fitted, fitted - reach, fitted + reach))
    about_mean = float(((y - mean_y) ** 2).sum())
    return Linearity(
        slope=slope,
        intercept=intercept,
        slope_error=slope_error,
        intercept_error=intercept_error,
        t_slope=slope / slope_error,
        t_intercept=intercept / intercept_error,
        chance_slope=_two_sided_chance(slope / slope_error, freedom),
        chance_intercept=_two_sided_chance(intercept / intercept_error, freedom),
        residual_sd=residual,
        degrees_of_freedom=freedom,
        r_squared=1 - float(left @ left) / about_mean if about_mean > 0 else 0.0,
        straight=_lack_of_fit(x, y, left=float(left @ left)),
        band=tuple(band),
        acceptable=all(point.low <= 0 <= point.high for point in band),
        confidence=sure,
        mean_reference=mean_x,
        spread_reference=spread,
        n=count,
    )


def _two_sided_chance(t: float, freedom: float) -> float:
    from scipy.special import stdtr

    return float(2 * stdtr(freedom, -abs(t)))


def _lack_of_fit(
    x: np.ndarray[tuple[int], np.dtype[np.float64]], y: np.ndarray[tuple[int], np.dtype[np.float64]], *, left: float
) -> float | None:
    """The chance of an F of lack of fit as large as this one, from the repeats at each reference."""
    from scipy.special import fdtrc

    groups = [y[x == place] for place in np.unique(x)]
    pure = math.fsum(float(((group - group.mean()) ** 2).sum()) for group in groups)
    pure_freedom, lack_freedom = len(y) - len(groups), len(groups) - 2
    if pure_freedom < 1 or lack_freedom < 1 or pure <= 0:
        return None
    ratio = max(0.0, left - pure) / lack_freedom / (pure / pure_freedom)
    return float(fdtrc(lack_freedom, pure_freedom, ratio))

"""Does it conform? The chance that a measured value lies within its limits, guard bands, and the risks of a rule.

Consumer's risk: something outside is accepted. Producer's risk: something inside is rejected. A *specific* risk is that
of one measured value, a *global* one that of all that come from a process which is known.

Sources: JCGM 106:2012, The role of measurement uncertainty in conformity assessment: 7.3 to 7.5 (conformance probability),
8.2 to 8.3 (acceptance limits, guard bands), 9.5 (global risks); ISO 14253-1:2017, Decision rules for verifying conformity
(guard band for 95 %: 1.65 u).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_number, a_share


@dataclass(frozen=True, slots=True)
class Conformance:
    """Whether a value conforms: ``chance`` that the true one lies within, and what may be said at ``confidence``.

    ``verdict``: “conforms”, “does not conform” or “open” (ISO 14253-1: neither is proven).
    """

    chance: float
    verdict: str
    confidence: float


@dataclass(frozen=True, slots=True)
class Acceptance:
    """Where measured values are accepted: from ``low`` to ``high`` (None: no limit on that side), in the unit of the
    values. ``guard_band`` is how far these lie inside the limits, below 0 how far outside.
    """

    low: float | None
    high: float | None
    guard_band: float


@dataclass(frozen=True, slots=True)
class Risks:
    """Of all that is measured: the share that conforms, and the global consumer's and producer's risks (0 … 1)."""

    conforming: float
    consumer: float
    producer: float
    accepted: float


def conformance(
    value: float, u: float, *, low: float | None = None, high: float | None = None, confidence: float = 0.95
) -> Conformance:
    """The chance that the true value lies within ``low`` … ``high`` when ``value`` was measured with ``u``.

    All in the values' own unit; ``u`` is a standard uncertainty, 0 or more; at least one limit. Nothing is known
    beforehand. Raises BadInput. Source: JCGM 106 7.3.2 equation (8), 7.4 equations (10) to (12): p = Φ((high − value)/u)
    − Φ((low − value)/u); the verdict by ISO 14253-1: proven either way only with that chance.
    """
    from scipy.special import ndtr

    measured, doubt = a_number(value, "value"), a_number(u, "u", least=0)
    lower, upper = _limits(low, high)
    sure = a_share(confidence, "confidence")
    if doubt == 0:
        chance = float((lower is None or measured >= lower) and (upper is None or measured <= upper))
    else:
        below = 0.0 if lower is None else float(ndtr((lower - measured) / doubt))
        above = 0.0 if upper is None else float(ndtr((measured - upper) / doubt))
        chance = max(0.0, 1 - below - above)
    verdict = "conforms" if chance >= sure else "does not conform" if 1 - chance >= sure else "open"
    return Conformance(chance, verdict, sure)


def posterior(value: float, u: float, *, mean: float, sd: float) -> tuple[float, float]:
    """Mean and standard uncertainty of the true value when the process ``mean`` and ``sd`` are known beforehand.

    All in the values' own unit, ``u`` and ``sd`` above 0; put the two numbers in :func:`conformance`. Raises BadInput.
    Source: JCGM 106 6.2 and annex A.4.4: normal prior and normal measurement.
    """
    measured, before = a_number(value, "value"), a_number(mean, "mean")
    doubt, spread = a_number(u, "u", least=1e-12), a_number(sd, "sd", least=1e-12)
    weight = spread * spread / (spread * spread + doubt * doubt)
    return weight * measured + (1 - weight) * before, math.sqrt(weight) * doubt


def guarded_limits(u: float, *, low: float | None = None, high: float | None = None, risk: float = 0.05) -> Acceptance:
    """Where a value may be accepted so that it lies outside the limits with a chance of at most ``risk``.

    All in the values' own unit; ``u`` standard uncertainty, 0 or more; ``risk`` 0.000001 … 0.5, the specific consumer's
    risk at the edge. With two limits both count, so the band is a little wider where ``u`` is large. Raises BadInput,
    also where no value at all may be accepted. Source: JCGM 106 8.3.2 (guarded acceptance), ISO 14253-1:2017 (1.65 u at
    5 %); the band solves conformance probability = 1 − risk at the edge.
    """
    from scipy.optimize import brentq
    from scipy.special import ndtri

    doubt = a_number(u, "u", least=0)
    lower, upper = _limits(low, high)
    allowed = a_number(risk, "risk", least=1e-6, most=0.5)
    one_sided = float(ndtri(1 - allowed)) * doubt
    if lower is None or upper is None or doubt == 0:
        return _accepted(lower, upper, one_sided)
    half = (upper - lower) / 2

    def surplus(band: float) -> float:
        return conformance(lower + band, doubt, low=lower, high=upper).chance - (1 - allowed)

    if surplus(half) < 0:
        best = conformance(lower + half, doubt, low=lower, high=upper).chance
        raise BadInput(
            f"No measured value may be accepted: even in the middle the chance to conform is {100 * best:.1f} %.",
            where="u",
            hint="Measure with less uncertainty, or allow more risk.",
        )
    return _accepted(lower, upper, max(0.0, float(brentq(surplus, 0.0, half))) if surplus(0.0) < 0 else 0.0)


def risks(
    u: float,
    *,
    mean: float,
    sd: float,
    low: float | None = None,
    high: float | None = None,
    guard_band: float = 0.0,
) -> Risks:
    """Global risks of accepting what is measured within the limits less ``guard_band``, when the process is known.

    All in the values' own unit; ``u`` and ``sd`` above 0; ``guard_band`` any, below 0 accepts beyond the limits. Raises
    BadInput, also where the guard bands meet. Source: JCGM 106 9.5.2 equations (17) and (19), normal process and normal
    measurement, by quadrature.
    """
    from scipy.special import ndtr

    doubt, spread = a_number(u, "u", least=1e-12), a_number(sd, "sd", least=1e-12)
    centre, band = a_number(mean, "mean"), a_number(guard_band, "guard_band")
    lower, upper = _limits(low, high)
    accept = _accepted(lower, upper, band)
    # The true value is integrated piece by piece between the places where the integrand bends: limits and edges.
    reach = 9 * spread
    marks = sorted(
        {
            min(max(place, centre - reach), centre + reach)
            for edge in (lower, upper, accept.low, accept.high)
            if edge is not None
            for place in (edge - 6 * doubt, edge, edge + 6 * doubt)
        }
        | {centre - reach, centre, centre + reach}
    )
    place, weight = np.polynomial.legendre.leggauss(80)
    conforming = consumer = producer = accepted = 0.0
    for left, right in pairwise(marks):
        true = (right - left) / 2 * place + (left + right) / 2
        density = (right - left) / 2 * weight * np.exp(-0.5 * ((true - centre) / spread) ** 2)
        density /= spread * math.sqrt(2 * math.pi)
        taken = np.ones_like(true)
        if accept.low is not None:
            taken = taken - ndtr((accept.low - true) / doubt)
        if accept.high is not None:
            taken = taken - ndtr((true - accept.high) / doubt)
        middle = (left + right) / 2
        inside = (lower is None or middle >= lower) and (upper is None or middle <= upper)
        share, kept = float(density.sum()), float(density @ np.maximum(taken, 0.0))
        accepted += kept
        if inside:
            conforming += share
            producer += share - kept
        else:
            consumer += kept
    return Risks(min(1.0, conforming), consumer, max(0.0, producer), min(1.0, accepted))


def guard_band_for_global_risk(
    u: float, *, mean: float, sd: float, consumer: float, low: float | None = None, high: float | None = None
) -> Acceptance:
    """The least guard band whose global consumer's risk is at most ``consumer`` (10⁻⁹ … 0.5); units as in :func:`risks`.

    0 where none is needed; where the gauge is coarse little or nothing is accepted in the end: ask :func:`risks`. Raises
    BadInput. Source: JCGM 106 9.5.3 to 9.5.4: the guard band is moved until the wanted risk is met; values in their own
    unit.
    """
    from scipy.optimize import brentq

    wanted = a_number(consumer, "consumer", least=1e-9, most=0.5)
    lower, upper = _limits(low, high)

    def surplus(band: float) -> float:
        return risks(u, mean=mean, sd=sd, low=lower, high=upper, guard_band=band).consumer - wanted

    most = 12 * a_number(u, "u", least=1e-12)  # twelve sigmas off, a reading has no chance in 10⁹
    if lower is not None and upper is not None:
        most = min(most, (upper - lower) / 2 * (1 - 1e-9))
    if surplus(0.0) <= 0:
        return _accepted(lower, upper, 0.0)
    return _accepted(lower, upper, float(brentq(surplus, 0.0, most)))


def _limits(low: float | None, high: float | None) -> tuple[float | None, float | None]:
    if low is None and high is None:
        raise BadInput("There is no limit to conform to.", where="low", hint="Give a lower or an upper limit.")
    lower = None if low is None else a_number(low, "low")
    upper = None if high is None else a_number(high, "high")
    if lower is not None and upper is not None and not lower < upper:
        raise BadInput("The lower limit must be below the upper one.", where="low", hint="Swap them.")
    return lower, upper


def _accepted(lower: float | None, upper: float | None, band: float) -> Acceptance:
    if lower is not None and upper is not None and lower + band > upper - band:
        raise BadInput("The guard bands meet: nothing is accepted.", where="guard_band", hint="Take a narrower one.")
    return Acceptance(None if lower is None else lower + band, None if upper is None else upper - band, band)

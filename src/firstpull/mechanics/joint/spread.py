"""A quantity with its spread, and one spread against another.

Every quantity is taken as normal and independent of the others; its stated limits stand two standard deviations
from the mean. The chance that an offer R exceeds a demand S is Φ((μR − μS) / √(σR² + σS²)): stress–strength
interference of two normals. It is a first-order figure: the far tails of real loads and strengths are not normal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstpull.errors import BadInput

LIMIT_SDS = 2.0


@dataclass(frozen=True, slots=True)
class Spread:
    """A mean and a standard deviation, in whatever unit the caller uses."""

    mean: float
    sd: float

    @property
    def low(self) -> float:
        """Two standard deviations below the mean, never below zero."""
        return max(self.mean - LIMIT_SDS * self.sd, 0.0)

    @property
    def high(self) -> float:
        """Two standard deviations above the mean."""
        return self.mean + LIMIT_SDS * self.sd

    def times(self, factor: float) -> Spread:
        """The spread of ``factor`` (0 or more) times this."""
        return Spread(factor * self.mean, factor * self.sd)

    def plus(self, other: Spread) -> Spread:
        """The spread of the sum of two independent quantities."""
        return Spread(self.mean + other.mean, math.hypot(self.sd, other.sd))


NOTHING = Spread(0.0, 0.0)


def between(low: float, high: float) -> Spread:
    """A spread from its stated limits, in their own unit; two sd to each side by definition here. Raises BadInput unless 0 ≤ low ≤ high and both are finite."""
    if not 0 <= low <= high < math.inf:
        raise BadInput(f"{low:g} to {high:g} is not a range.", hint="From the lowest to the highest, none below zero.")
    return Spread((low + high) / 2, (high - low) / (2 * LIMIT_SDS))


def from_least(least: float, relative_sd: float) -> Spread:
    """A spread whose lower limit is ``least``, in its own unit; ``relative_sd`` (0 up to 0.45) is the sd as a share of
    the mean. mean = least / (1 − 2 · share), by definition of the limit. Raises BadInput outside the range."""
    if not 0 <= relative_sd <= 0.45:
        raise BadInput(f"A relative scatter of {relative_sd:g} cannot be used.", hint="From 0 to 0.45.")
    mean = least / (1 - LIMIT_SDS * relative_sd)
    return Spread(mean, relative_sd * mean)


def chance(offer: Spread, demand: Spread) -> float:
    """The chance (0 to 1, no unit) that ``offer`` is at least ``demand``; 0 or 1 when neither scatters.

    Φ((μR − μS) / √(σR² + σS²)), both in one unit. Source: stress–strength interference of two normals, handbooks of
    reliability; exact by definition of the normal distribution.
    """
    together = math.hypot(offer.sd, demand.sd)
    apart = offer.mean - demand.mean
    if together == 0:
        return 1.0 if apart >= 0 else 0.0
    return 0.5 * math.erfc(-apart / together / math.sqrt(2))

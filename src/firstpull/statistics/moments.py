"""Mean and standard deviation, accurate to what the numbers themselves hold.

Sums are exact (Shewchuk's partial sums, :func:`math.fsum`); the mean is rounded once, and what that rounding does to the
squares is taken off again, so that a large offset costs no digits but those that the readings have lost already.

Sources: T. F. Chan, G. H. Golub, R. J. LeVeque, The American Statistician 37 (1983) 242–247 (corrected two-pass
algorithm); judged by the NIST Statistical Reference Datasets.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Moments:
    """How many numbers, their mean, and the sum of squares about it (unit squared)."""

    n: int
    mean: float
    square: float

    @property
    def sd(self) -> float:
        """Standard deviation with n − 1 degrees of freedom; 0 for one number."""
        return math.sqrt(self.square / (self.n - 1)) if self.n > 1 else 0.0


def moments(numbers: Sequence[float]) -> Moments:
    """Mean and sum of squares of one finite number or more, in their own unit. The caller has checked them.

    Source: Chan, Golub and LeVeque (1983): Σ(x − m)² − (Σ(x − m))²/n, with exact sums.
    """
    count = len(numbers)
    mean = math.fsum(numbers) / count
    off = [value - mean for value in numbers]
    left = math.fsum(off)
    return Moments(count, mean, max(0.0, math.fsum(d * d for d in off) - left * left / count))

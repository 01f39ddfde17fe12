"""The doubt of the model itself, and how the shop's own pulls shrink it. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from firstpull.errors import BadInput

PRIOR_SD_MM = 0.1


@dataclass(frozen=True, slots=True)
class Observation:
    """A stroke as measured less the same stroke as computed, its standard doubt, and what showed it."""

    difference_mm: float
    sd_mm: float
    text: str


@dataclass(frozen=True, slots=True)
class Discrepancy:
    """What is to be added to a computed stroke, and the doubt of the model that is left."""

    mean_mm: float
    sd_mm: float
    observations: tuple[Observation, ...]


def discrepancy(observations: Sequence[Observation], *, prior_sd_mm: float = PRIOR_SD_MM) -> Discrepancy:
    """The model's error from what was observed of it: 0 ± 0.1 mm before anything was.

    Precisions add, 1/s² = 1/s₀² + Σ 1/sᵢ², and the mean is weighted by them. Lengths in mm, doubts > 0. Raises BadInput.
    Source: conjugate normal prior, Gelman et al., Bayesian Data Analysis, 2.5 (from memory).
    """
    weight, total = 1.0 / prior_sd_mm**2, 0.0
    for one in observations:
        if not (math.isfinite(one.difference_mm) and math.isfinite(one.sd_mm) and one.sd_mm > 0.0):
            raise BadInput("A doubt is more than nothing.", where="sd_mm", hint="In mm.")
        weight += 1.0 / one.sd_mm**2
        total += one.difference_mm / one.sd_mm**2
    return Discrepancy(total / weight, 1.0 / math.sqrt(weight), tuple(observations))

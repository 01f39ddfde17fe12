"""The collapse by hand: three plastic hinges and a stretched fold. Stands beside the simulation as a check of size."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firstpull.mechanics.collapse.case import PullCase
from firstpull.mechanics.collapse.material import flow_stress_mpa

MEAN_STRAIN = 0.2
"""The strain at which the flow stress is taken; a fold's mean strain is 0.1 to 0.3 (common practice)."""
FOLD_WALLS = 2.2
"""Height of a closed fold in walls: two walls and a little air in the bend (common practice)."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """Loads in N for the whole circle, closure stroke in mm."""

    squash_n: float
    mean_n: float
    closure_mm: float


def hinge_load_n(case: PullCase, angle_rad: float) -> float:
    """Load in N of the outward fold whose legs stand at that angle (0 < angle ≤ π/2) to the axis. Lengths in mm, MPa.

    Source: the three-hinge mechanism of Alexander 1960 (from memory), hinges of M = (2/√3) σ t²/4 a length, legs of
    half the free shank: F = [4π M (D + h sin θ) + 2π σ t h² cos θ] / (2 h sin θ), never more than the squash load.
    """
    stress = float(flow_stress_mpa(case.metal, np.array([MEAN_STRAIN]))[0])
    wall, leg = case.wall_mm, case.free_length_mm / 2.0
    diameter = case.outer_diameter_mm - wall
    moment = 2.0 / math.sqrt(3.0) * stress * wall * wall / 4.0
    sine, cosine = math.sin(angle_rad), math.cos(angle_rad)
    hinges = 4.0 * math.pi * moment * (diameter + leg * sine)
    stretch = 2.0 * math.pi * stress * wall * leg * leg * cosine
    squash = stress * math.pi * diameter * wall
    return float(min((hinges + stretch) / (2.0 * leg * sine), squash))


def estimate_collapse(case: PullCase) -> Estimate:
    """Squash load, mean load of the fold and closure stroke by hand; the mean reads 30 to 45 % low. N and mm.

    Source: as ``hinge_load_n``, averaged over the stroke 2h (1 − cos θ); closure leaves 2.2 walls (common practice).
    """
    angles = np.linspace(0.02, math.pi / 2.0, 400)
    loads = np.array([hinge_load_n(case, float(angle)) for angle in angles])
    strokes = case.free_length_mm * (1.0 - np.cos(angles))
    mean = float(np.trapezoid(loads, strokes) / (strokes[-1] - strokes[0]))
    return Estimate(float(loads[0]), mean, max(case.free_length_mm - FOLD_WALLS * case.wall_mm, 0.0))


def mean_crush_load_n(*, stress_mpa: float, wall_mm: float, diameter_mm: float) -> float:
    """Mean crushing load in N of a long round tube by the fit over 70 tests; its scatter is some ± 20 %.

    Source: Guillow, Lu and Grzebieta 2001, F = 72.3 M (D/t)^0.32 with M = σ t²/4, D/t = 10 … 450.
    """
    return float(72.3 * stress_mpa * wall_mm**2 / 4.0 * (diameter_mm / wall_mm) ** 0.32)

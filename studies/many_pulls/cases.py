"""Inserts spread evenly over the space that the emulator covers, in a sheet that does not yield.

Everything but the wall is a ratio. The wall itself counts only because closure is defined over 0.1 mm of stroke.
"""

from __future__ import annotations

import numpy as np
from scipy.stats import qmc

from firstpull.mechanics.collapse.case import PullCase, Sheet
from firstpull.mechanics.collapse.emulator import LEFT_WALLS, RANGES, Features
from firstpull.mechanics.collapse.material import FlowCurve


def spread(count: int, *, seed: int = 1) -> np.ndarray:
    """``count`` points (a power of two) of a scrambled Sobol sequence, in the order of ``Features``; logs where said."""
    unit = qmc.Sobol(len(RANGES), rng=np.random.default_rng(seed)).random(count)
    points = np.empty_like(unit)
    for column, (low, high, scale) in enumerate(RANGES.values()):
        if scale == "log":
            points[:, column] = np.exp(np.log(low) + unit[:, column] * np.log(high / low))
        else:
            points[:, column] = low + unit[:, column] * (high - low)
    return points


def case_of(point: np.ndarray) -> PullCase:
    """The insert of one point, made of a metal of 200 GPa."""
    f = Features(*map(float, point))
    wall, e_mpa = f.wall_mm, 200_000.0
    outer, counterbore = f.diameter * wall, (f.diameter - 2.0) * wall
    thickness = f.thickness * wall
    return PullCase(
        outer_diameter_mm=outer,
        counterbore_diameter_mm=counterbore,
        unthreaded_length_mm=(f.free_length + f.thickness) * wall,
        bore_diameter_mm=max(counterbore - 2.0 * f.shoulder * wall, 1.0),
        threaded_length_mm=0.8 * outer,
        flange_diameter_mm=1.45 * outer,
        flange_thickness_mm=f.flange * wall,
        metal=FlowCurve("swift", e_mpa, 0.3, k_mpa=f.strength * e_mpa, e0=f.e0, n=f.n),
        friction=f.friction,
        stroke_mm=min(f.free_length - LEFT_WALLS, 0.949 * f.free_length) * wall,
        sheet=Sheet(thickness, outer + 2.0 * f.clearance * wall, min(f.edge * wall, 0.45 * thickness)),
    )

"""How sure a stroke closes the fold when thickness, hole, wall, metal and friction scatter, by the quick emulator."""

from __future__ import annotations

import math
from dataclasses import astuple, dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri
from scipy.stats import qmc

from firstpull.errors import BadInput
from firstpull.mechanics.collapse.case import PullCase, Scatter
from firstpull.mechanics.collapse.emulator import RANGES, Floats, closures, emulate, features_of, outside

Flags = npt.NDArray[np.bool_]
DRAWS = 256
CLEAR_MOST = 0.9
"""A power of two, as the even sequence wants it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Closing:
    """What part of the sets closes at a stroke; how the closures lie, in mm of stroke; what part of the draws was in the box."""

    share_closed: float
    closure_mean_mm: float
    closure_sd_mm: float
    covered: float


def closing_share(case: PullCase, *, stroke_mm: float, scatter: Scatter, model_sd_mm: float) -> Closing:
    """The share of sets whose fold has closed at ``stroke_mm``. Lengths in mm; ``model_sd_mm``: doubt of the simulation.

    Closed is not seated: whether a clamp stays on the sheet is not emulated.
    Raises BadInput outside the emulator's box, where closure is not clear-cut, or where scatter or doubt is negative. Source: Monte Carlo with an even
    (Sobol) sequence, JCGM 101:2008, 5.9; the emulator's and the simulation's own errors are drawn as normal.
    """
    if min(astuple(scatter)) < 0.0 or not 0.0 <= model_sd_mm <= 5.0:
        raise BadInput("A scatter cannot be negative.", where="scatter", hint="Give standard deviations, in mm.")
    beyond = outside(features_of(case))
    if beyond:
        raise BadInput(
            f"The quick answer does not cover this pull. {beyond[0]}", where="case", hint="Run the virtual pull."
        )
    draws = ndtri(np.clip(qmc.Sobol(6, scramble=False).random(2 * DRAWS)[DRAWS:], 1e-6, 1.0 - 1e-6))
    points, inside = _points(case, draws, scatter)
    found = closures(points[inside])
    clear = np.isfinite(found)
    if clear.mean() < CLEAR_MOST:
        raise BadInput("When this fold closes is not clear-cut.", where="case", hint="Run the virtual pull.")
    doubt = math.hypot(emulate(case).closure_sd_mm, model_sd_mm)
    lengths = found[clear] + doubt * draws[inside, 5][clear]
    return Closing(
        share_closed=float(np.mean(lengths <= stroke_mm)),
        closure_mean_mm=float(np.mean(lengths)),
        closure_sd_mm=float(np.std(lengths)),
        covered=float(np.mean(inside) * np.mean(clear)),
    )


def _points(case: PullCase, draws: Floats, scatter: Scatter) -> tuple[Floats, Flags]:
    """Rows of features with the scatter on them, and which lie in the box. The shank stays as long and as wide; a
    hole tighter than the box counts as its tightest."""
    start = features_of(case)
    wall = start.wall_mm + scatter.wall_mm * draws[:, 2]
    thickness = start.thickness * start.wall_mm + scatter.thickness_mm * draws[:, 0]
    free = (start.free_length + start.thickness) * start.wall_mm - thickness
    gap = start.clearance * start.wall_mm + 0.5 * scatter.hole_mm * draws[:, 1]
    columns = {
        "diameter": start.diameter * start.wall_mm / wall,
        "free_length": free / wall,
        "thickness": thickness / wall,
        "clearance": np.maximum(gap / wall, RANGES["clearance"][0]),
        "edge": start.edge * start.wall_mm / wall,
        "flange": start.flange * start.wall_mm / wall,
        "shoulder": np.clip(start.shoulder * start.wall_mm / wall, *RANGES["shoulder"][:2]),
        "n": np.full_like(wall, start.n),
        "e0": np.full_like(wall, start.e0),
        "strength": start.strength * (1.0 + scatter.strength * draws[:, 3]),
        "friction": start.friction * (1.0 + scatter.friction * draws[:, 4]),
        "wall_mm": wall,
    }
    points = np.stack([columns[name] for name in RANGES], axis=1)
    low, high = (np.array([limits[place] for limits in RANGES.values()], dtype=float) for place in (0, 1))
    inside = np.asarray(np.all((points >= low) & (points <= high), axis=1))
    return points, inside

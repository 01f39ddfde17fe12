"""Letting go: the mandrel's pull falls to nothing, the insert springs back, and a clamp on the sheet stays."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firstpull.mechanics.collapse.body import AROUND, FIRST_PAIR, PULL
from firstpull.mechanics.collapse.simulate import State, advance

SETTLE_STEPS = 400
MOVE_STEPS = 500
CALM = 0.01
MOVES_MOST = 6
NEAR = 0.01
"""The pull counts as gone below this share of what it was."""


@dataclass(frozen=True, slots=True)
class Unloaded:
    """After the pull is let go: clamp on the sheet (0 in the air), way back of the bore, what pull is left."""

    clamp_n: float
    springback_mm: float
    pull_left_n: float


def unload(state: State) -> Unloaded:
    """Let the pull go from a copy of this state; the state itself stays as it is."""
    own = state.copy()
    own.body.damping[:] = CALM
    case = own.case
    pull = first = _settle(own)[0]
    stiff = (
        0.3 * case.metal.e_mpa * math.pi * (case.outer_diameter_mm - case.wall_mm) * case.wall_mm / case.free_length_mm
    )
    back, clamp = 0.0, 0.0
    for _ in range(MOVES_MOST):
        if abs(pull) <= NEAR * abs(first):
            break
        way = float(np.clip(pull / stiff, -0.1 * case.wall_mm, 0.25 * case.wall_mm))
        _move(own, -way)
        before, (pull, clamp) = pull, _settle(own)
        if abs(way) > 1e-9 and (before - pull) / way > 0.0:
            stiff = (before - pull) / way
        back += way
    return Unloaded(clamp if case.sheet is not None else 0.0, back, pull)


def _move(state: State, way_mm: float) -> None:
    """Move the bore that far, softly."""
    shape = np.sin(math.pi * (np.arange(MOVE_STEPS) + 0.5) / MOVE_STEPS) ** 2
    for part in np.split(way_mm * shape / shape.sum(), MOVE_STEPS // 25):
        advance(state, part)


def _settle(state: State) -> tuple[float, float]:
    """Hold the bore until all is at rest; pull and clamp over the last quarter, in N."""
    for _ in range(SETTLE_STEPS * 3 // 100):
        advance(state, np.zeros(25))
    before = state.sums.copy()
    steps = SETTLE_STEPS // 4
    for _ in range(steps // 25):
        advance(state, np.zeros(25))
    mean = AROUND * (state.sums - before) / steps
    on_flange = mean[FIRST_PAIR] + mean[FIRST_PAIR + 3]
    by_fold = mean[FIRST_PAIR + 1] + mean[FIRST_PAIR + 2]
    return float(mean[PULL]), float(min(on_flange, by_fold))

"""What a few pulls at different knob places say of the knob: lead per turn, its doubt, scatter and play."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from firstpull.errors import BadInput

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt


LEAST_SPREAD_TURNS = 0.1
"""Pulls closer together than this tell nothing of a lead."""


@dataclass(frozen=True, slots=True)
class KnobFit:
    """Lead in mm of stroke per plus turn (negative: plus is less stroke), its standard error, and the scatter of one
    pull about the line. ``play_turns`` is None when the pulls did not approach from both sides."""

    lead_mm: float
    lead_sd_mm: float
    stroke_at_zero_mm: float
    scatter_mm: float
    play_turns: float | None
    n: int


def fit_knob(trials: Sequence[tuple[float, float]], *, least_scatter_mm: float = 0.02) -> KnobFit:
    """Fit stroke = a + lead · turns by least squares to ``trials`` of (turns, stroke in mm) in the order they were made.

    Pulls reached by turning plus and by turning minus are told apart by one offset when both occur; that offset over
    the lead is the play. ``least_scatter_mm`` keeps three lucky pulls from claiming a perfect tool. Needs three trials
    at two places a tenth of a turn apart or more; raises BadInput otherwise, and when the knob did nothing. Source: ordinary least squares with
    one indicator, slope error s/√Sxx (NIST/SEMATECH e-Handbook 4.4.3.1).
    """
    import numpy as np

    turns = np.array([trial[0] for trial in trials], dtype=float)
    strokes = np.array([trial[1] for trial in trials], dtype=float)
    if len(trials) < 3 or len(set(turns.tolist())) < 2:
        raise BadInput("A knob is learned from three pulls or more, at two places or more.", where="trials")
    if not (np.isfinite(turns).all() and np.isfinite(strokes).all()):
        raise BadInput("Turns and strokes must be finite.", where="trials")
    if float(np.ptp(turns)) < LEAST_SPREAD_TURNS:
        raise BadInput(
            "The pulls lie too near each other on the knob.", where="trials", hint="Turn two turns between the pulls."
        )
    side = _sides(turns)
    both = len(set(side.tolist())) == 2 and len(trials) >= 4
    columns = [np.ones_like(turns), turns, *([side] if both else [])]
    design = np.column_stack(columns)
    if np.linalg.matrix_rank(design) < design.shape[1]:
        both, design = False, design[:, :2]
    answer, *_ = np.linalg.lstsq(design, strokes, rcond=None)
    spare = len(trials) - design.shape[1]
    left = strokes - design @ answer
    scatter = max(math.sqrt(float(left @ left) / spare) if spare > 0 else 0.0, least_scatter_mm)
    inverse = np.linalg.pinv(design)  # its rows give (XᵀX)⁻¹ without squaring the condition of X
    lead, lead_sd = float(answer[1]), scatter * math.sqrt(float(inverse[1] @ inverse[1]))
    if abs(lead) < 2 * lead_sd or lead == 0:
        raise BadInput(
            "The knob hardly changed the stroke.",
            where="trials",
            hint="Turn further between the pulls, and check that the tool is not stalled.",
        )
    play = max(0.0, float(answer[2]) / lead) if both else None
    return KnobFit(lead, lead_sd, float(answer[0]), scatter, play, len(trials))


def _sides(turns: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """0 where the place was reached by turning plus (or never moved), 1 where it was reached by turning minus. After a
    plus turn the play is taken up on one side; after a minus turn the stroke lags by the play."""
    import numpy as np

    side = np.zeros_like(turns)
    for index in range(1, len(turns)):
        move = turns[index] - turns[index - 1]
        side[index] = side[index - 1] if move == 0 else float(move < 0)
    return side

"""The quick answer of the virtual pull: from the emulator, in about a millisecond, and how sure a stroke closes the fold."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

import numpy as np

from firstpull.exchange.pull_file import PullRequest
from firstpull.mechanics.collapse.case import check_case
from firstpull.mechanics.collapse.closing import closing_share
from firstpull.mechanics.collapse.discrepancy import PRIOR_SD_MM
from firstpull.mechanics.collapse.emulator import emulate

NOT_CLEAR = "When this fold closes is not clear-cut by the quick answer; run the virtual pull without --quick."
LIMITS = (
    "Quick: a fit to simulated pulls of round inserts in sheets that do not yield, not a simulation of this one.",
    "Cracking, threads, hexagon and knurls are not modelled.",
)


def quick_answer(request: PullRequest, *, stroke_mm: float | None = None) -> dict[str, Any]:
    """``firstpull/quick-pull/1``: closure, allowance, load and diameter with their doubt; with ``stroke_mm`` the share closed.

    Raises BadInput for a pull that the fit does not cover, or where the share is asked and closure is not clear-cut.
    """
    case = check_case(request.case)
    found = emulate(case)
    closure, thickness = found.events["closure"], case.sheet.thickness_mm if case.sheet else 0.0
    target = None if closure is None else round(closure.stroke_mm + thickness, 6)
    grip, sd = request.grip_max_mm, math.hypot(found.closure_sd_mm, PRIOR_SD_MM)
    diameter = None
    if closure is not None:
        diameter = round(float(np.interp(closure.stroke_mm, found.stroke_mm, found.outer_diameter_mm)), 4)
    closing = None
    if stroke_mm is not None:
        closing = closing_share(case, stroke_mm=stroke_mm, scatter=request.scatter, model_sd_mm=PRIOR_SD_MM)
    return {
        "schema": "firstpull/quick-pull/1",
        "events": {name: None if event is None else asdict(event) for name, event in found.events.items()},
        "clear_cut": found.clear_cut,
        "stroke_plus_thickness_mm": target,
        "closure_sd_mm": round(sd, 4),
        "set_allowance_mm": None if target is None or grip is None else round(target - grip, 6),
        "set_allowance_sd_mm": None if grip is None else round(math.hypot(sd, 0.1 * (grip - thickness)), 4),
        "force_sd_share": found.force_sd_share,
        "outer_diameter_at_closure_mm": diameter,
        "outer_diameter_sd_mm": round(found.diameter_sd_mm, 4),
        "closing": None if closing is None else {"stroke_mm": stroke_mm, **asdict(closing)},
        "limits": [*LIMITS, *(() if found.clear_cut else (NOT_CLEAR,))],
    }

"""The virtual pull as a verb: runs it, times it, and puts the answer together."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from firstpull.exchange.pull_file import PullRequest
from firstpull.record.job import JobState

if TYPE_CHECKING:
    from firstpull.mechanics.collapse.pull import VirtualPull


def pull_virtually(request: PullRequest, *, watch: Callable[[float], None] | None = None) -> dict[str, Any]:
    """``firstpull/virtual-pull/1``: the curve, its events, the allowance with its doubt, the shape, the limits.

    ``watch`` hears the share done and may raise to cancel. Raises BadInput, and Unsafe when the run falls apart.
    """
    from firstpull.mechanics.collapse.case import check_case

    check_case(request.case)  # before the solver is read in, so that a wrong file is told at once
    from firstpull.mechanics.collapse.pull import virtual_pull

    start = time.process_time()
    pull = virtual_pull(
        request.case, grip_max_mm=request.grip_max_mm, compliance_mm_per_kn=request.compliance_mm_per_kn, watch=watch
    )
    return _answer(request, pull, cpu_s=time.process_time() - start)


def _answer(request: PullRequest, pull: VirtualPull, *, cpu_s: float) -> dict[str, Any]:
    from firstpull.mechanics.collapse.closed_form import estimate_collapse

    by_hand = estimate_collapse(request.case)
    return {
        "schema": "firstpull/virtual-pull/1",
        "stroke_mm": [round(float(value), 4) for value in pull.stroke_mm],
        "force_n": [round(float(value), 1) for value in pull.force_n],
        "outer_diameter_mm": [round(float(value), 4) for value in pull.outer_diameter_mm],
        "events": {name: None if event is None else asdict(event) for name, event in pull.events.items()},
        "peak_sd_n": round(pull.peak_sd_n, 1),
        "closure_sd_mm": None if pull.closure_sd_mm is None else round(pull.closure_sd_mm, 4),
        "outer_diameter_sd_mm": round(pull.diameter_sd_mm, 4),
        "stroke_plus_thickness_mm": pull.stroke_plus_thickness_mm,
        "set_allowance_mm": pull.set_allowance_mm,
        "set_allowance_sd_mm": pull.set_allowance_sd_mm,
        "air_to_stack_mm": pull.air_to_stack_mm,
        "clamp_n": round(pull.clamp_n, 1),
        "springback_mm": round(pull.springback_mm, 4),
        "by_hand": {key: round(value, 3) for key, value in asdict(by_hand).items()},
        "energy_error": round(pull.energy_error, 6),
        "kinetic_share": round(pull.kinetic_share, 6),
        "element_steps": pull.element_steps,
        "cpu_s": round(cpu_s, 3),
        "profile": [list(place) for place in pull.profile],
        "limits": list(pull.limits),
    }


SOURCE = "virtual pull"
LEAST_SHIFT_SD_MM = 0.05
"""Doubt of a computed shift at the least: gap, springback and the tool's give are not known better (our assumption)."""


def shift_of(job: JobState) -> tuple[float, float, str] | None:
    """The air-to-stack shift that the job's virtual pull gave: mean and standard doubt in mm, and the source in words.

    None when there was no virtual pull of this insert in this stack, or the tool's give was not known. The doubt is
    half of the shift, at least 0.05 mm: the give of a tool is seldom known better (our assumption).
    """
    found = None if job.simulated is None else job.simulated["found"].get("air_to_stack_mm")
    if found is None:
        return None
    return float(found), max(abs(float(found)) / 2.0, LEAST_SHIFT_SD_MM), SOURCE

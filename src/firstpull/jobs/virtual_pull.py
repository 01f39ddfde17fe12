"""The virtual pull as a verb: runs it, times it, and puts the answer together."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from firstpull.exchange.pull_file import PullRequest
from firstpull.mechanics.collapse.limits import ceilings, mandrel_proof_n, thread_strip_n
from firstpull.mechanics.collapse.window import stroke_window
from firstpull.record.job import JobState
from firstpull.trade.threads import thread

if TYPE_CHECKING:
    from firstpull.mechanics.collapse.pull import VirtualPull
    from firstpull.mechanics.collapse.sensitivity import Effect


def pull_virtually(
    request: PullRequest, *, watch: Callable[[float], None] | None = None, whole: bool = False
) -> dict[str, Any]:
    """``firstpull/virtual-pull/1``: the curve, its events, the allowance with its doubt, the shape, loads, window, limits.

    ``whole`` adds what each dimension does (``sensitivity``) and the pull's ``stages`` as outlines, by six more coarse
    runs. ``watch`` hears the share done and may raise to cancel. Raises BadInput, and Unsafe when the run falls apart.
    """
    from firstpull.mechanics.collapse.case import check_case

    check_case(request.case)  # before the solver is read in, so that a wrong file is told at once
    from firstpull.mechanics.collapse.pull import virtual_pull

    first = 0.4 if whole else 1.0

    def told(share: float) -> None:
        if watch is not None:
            watch(first * share)

    start = time.process_time()
    pull = virtual_pull(
        request.case, grip_max_mm=request.grip_max_mm, compliance_mm_per_kn=request.compliance_mm_per_kn, watch=told
    )
    answer = _answer(request, pull, cpu_s=time.process_time() - start)
    return {**answer, **_whole(request, watch, first=first)} if whole else answer


def _whole(request: PullRequest, watch: Callable[[float], None] | None, *, first: float) -> dict[str, Any]:
    """The stages of a coarse run, and what a little more of each dimension does."""
    from firstpull.mechanics.collapse.sensitivity import STAGES, coarse_pull, contact_stroke_mm, effects

    def told(start: float, part: float) -> Callable[[float], None]:
        return lambda share: None if watch is None else watch(start + part * share)

    base = coarse_pull(request.case, stages=STAGES, watch=told(first, 0.1))
    rows = effects(request.case, base, watch=told(first + 0.1, 0.9 - first))
    touch = None
    if request.case.sheet is not None:
        touch = contact_stroke_mm(base.stages, hole_diameter_mm=request.case.sheet.hole_diameter_mm)
    at = None if touch is None else float(np.interp(touch, base.stroke_mm, base.force_n))
    return {
        "contact": None if at is None else {"stroke_mm": touch, "force_n": round(at, 1)},
        "sensitivity": [{**asdict(row), "text": effect_text(row)} for row in rows],
        "stages": [
            {
                "stroke_mm": stage.stroke_mm,
                "force_n": stage.force_n,
                "insert": [list(place) for place in stage.insert],
                "sheet": None if stage.sheet is None else [list(place) for place in stage.sheet],
            }
            for stage in base.stages
        ],
    }


NOTHING_MM = 0.03
"""Coarse and fine runs agree on a change to 0.02 mm; less than this is said as no change."""


def effect_text(row: Effect) -> str:
    """One change and what it does, in words; lengths in mm."""
    if row.target_mm is None:
        stroke = "whether it closes changes"
    elif abs(row.target_mm) < NOTHING_MM:
        stroke = "no other allowance"
    else:
        stroke = f"{abs(row.target_mm):.2f} mm {'more' if row.target_mm > 0 else 'less'} allowance"
    if row.peak_n is None or abs(row.peak_n) < 50.0:
        return f"{row.what.capitalize()} {row.change}: {stroke}."
    pull = f"{abs(row.peak_n) / 1000:.1f} kN {'more' if row.peak_n > 0 else 'less'} pull"
    return f"{row.what.capitalize()} {row.change}: {stroke}, {pull}."


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
        **loads_of(request, pull),
        "by_hand": {key: round(value, 3) for key, value in asdict(by_hand).items()},
        "energy_error": round(pull.energy_error, 6),
        "kinetic_share": round(pull.kinetic_share, 6),
        "element_steps": pull.element_steps,
        "cpu_s": round(cpu_s, 3),
        "profile": [list(place) for place in pull.profile],
        "limits": [*pull.limits, *NOT_MODELLED],
    }


NOT_MODELLED = ("Turning of the insert in its hole, heat, and how lots differ are not modelled: coupons decide.",)


def loads_of(request: PullRequest, pull: VirtualPull) -> dict[str, Any]:
    """Setting load, what mandrel and threads see of it, the blind head and its room, and the window of strokes.

    The setting load is the largest pull up to closure (up to the end where the fold does not close). N, MPa, mm.
    """
    case, around = request.case, request.around
    closure = pull.events["closure"]
    stop = float(pull.stroke_mm[-1]) if closure is None else closure.stroke_mm
    load = float(pull.force_n[pull.stroke_mm <= stop + 1e-9].max())
    tops = ceilings(case, around)
    found = stroke_window(pull.stroke_mm, pull.force_n, events=pull.events, ceilings=tops, around=around)
    known = bool(around.thread)
    strip = thread_strip_n(case, designation=around.thread, mandrel_class=around.mandrel_class) if known else None
    proof = mandrel_proof_n(around.thread, mandrel_class=around.mandrel_class) if known else None
    area = thread(around.thread).stress_area_mm2 if known else None
    behind = case.unthreaded_length_mm + case.threaded_length_mm - (case.sheet.thickness_mm if case.sheet else 0.0)
    return {
        "setting_load_n": round(load, 1),
        "mandrel_stress_mpa": None if area is None else round(load / area, 1),
        "strip_load_n": None if strip is None else round(strip, 1),
        "strip_margin": None if strip is None else round(strip / load, 3),
        "mandrel_proof_margin": None if proof is None else round(proof / load, 3),
        "blind_head_diameter_mm": round(float(np.interp(stop, pull.stroke_mm, pull.outer_diameter_mm)), 4),
        "room_before_mm": round(behind, 6),
        "room_after_mm": round(behind - stop, 6),
        "window": {
            "stroke_min_mm": found.stroke_min_mm,
            "min_by": found.min_by,
            "stroke_max_mm": found.stroke_max_mm,
            "max_by": found.max_by,
            "preload_n": around.preload_n,
            "source": "computed",
            "ceilings": [{"name": one.name, "load_n": round(one.load_n, 1), "text": one.text} for one in tops],
            "notes": list(found.notes),
        },
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

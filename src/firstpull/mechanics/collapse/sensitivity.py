"""What a little more thickness, hole, wall, strength or friction does to a pull; and the pull's stages as outlines.

Each row is one more coarse run beside a coarse run of the case itself: the difference is what counts. Needs Numba.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from firstpull.mechanics.collapse.case import PullCase
from firstpull.mechanics.collapse.events import Event, Floats, find_events
from firstpull.mechanics.collapse.material import FlowCurve, flow_stress_mpa
from firstpull.mechanics.collapse.pull import COARSE
from firstpull.mechanics.collapse.simulate import State, simulate

STAGES = 15
RIM_MM, TOUCH_MM = 0.15, 0.03
"""The bulge counts outside this distance from the hole's rim, and as touching within that gap."""
BEND_STRAIN = 0.2
BEND_START = 0.01
THICKER_MM, WIDER_MM, THINNER_WALL_MM, STRONGER, STICKIER = 0.2, 0.2, 0.05, 1.1, 0.05
_STRAINS = np.concatenate([[0.0], np.geomspace(0.002, 3.0, 60)])


@dataclass(frozen=True, slots=True)
class Stage:
    """The half section at a stroke: outlines of insert and sheet (None in the air) as (r, z) in mm, z away from the tool < 0."""

    stroke_mm: float
    force_n: float
    insert: tuple[tuple[float, float], ...]
    sheet: tuple[tuple[float, float], ...] | None


@dataclass(frozen=True, slots=True)
class CoarsePull:
    """A coarse run: curve, events and, where wanted, stages."""

    stroke_mm: Floats
    force_n: Floats
    diameter_mm: Floats
    events: dict[str, Event | None]
    stages: tuple[Stage, ...]


@dataclass(frozen=True, slots=True)
class Effect:
    """What one change does. ``target_mm`` is the change of closure + thickness (None where a fold does not close),
    ``peak_n`` of the peak, ``diameter_mm`` of the diameter at the end."""

    what: str
    change: str
    target_mm: float | None
    peak_n: float | None
    diameter_mm: float


def bent_curve(curve: FlowCurve, *, strength: float = 1.0, hardening: float = 0.0) -> FlowCurve:
    """The metal with every stress times ``strength`` (0.3 … 3) and its hardening turned about a strain of 0.2.

    σ'(ε) = strength · σ(ε) · ((ε + 0.01) / 0.21)^hardening, held as a table that never falls; hardening −0.2 … 0.2.
    Source: by definition.
    """
    stress = strength * flow_stress_mpa(curve, _STRAINS)
    stress = np.maximum.accumulate(stress * ((_STRAINS + BEND_START) / (BEND_STRAIN + BEND_START)) ** hardening)
    points = tuple((float(e), round(float(s), 4)) for e, s in zip(_STRAINS, stress, strict=True))
    return FlowCurve("table", curve.e_mpa, curve.poisson, points=points)


def coarse_pull(case: PullCase, *, stages: int = 0, watch: Callable[[float], None] | None = None) -> CoarsePull:
    """One coarse run of a checked case. ``watch`` hears the share done and may raise to cancel.

    Strokes in mm, pulls in N. Source: the solver (simulate).
    """
    held: list[State] = []
    wanted = np.linspace(0.0, case.stroke_mm, stages).tolist() if stages else []

    def keep(state: State) -> None:
        if watch is not None:
            watch(state.stroke_mm / case.stroke_mm)
        if len(held) < len(wanted) and state.stroke_mm >= wanted[len(held)] - 1e-9:
            held.append(state.copy())

    run = simulate(case, effort=COARSE, keep=keep)
    if stages and len(held) < stages:
        held.append(run.state)
    events = find_events(run.stroke_mm, run.force_n, wall_mm=case.wall_mm)
    pictures = tuple(_stage(state, run.stroke_mm, run.force_n) for state in held)
    return CoarsePull(run.stroke_mm, run.force_n, run.diameter_mm, events, pictures)


def _stage(state: State, stroke_mm: Floats, force_n: Floats) -> Stage:
    mesh, x = state.mesh, state.body.x

    def places(*chains: object) -> tuple[tuple[float, float], ...]:
        return tuple(
            (round(float(x[node, 0]), 3), round(float(x[node, 1]), 3))
            for chain in chains
            for node in np.asarray(chain).tolist()
        )

    insert = places(mesh.outer, mesh.face[::-1], mesh.inner[1:], mesh.bore[::-1][1:])
    return Stage(
        round(state.stroke_mm, 4),
        round(float(np.interp(state.stroke_mm, stroke_mm, force_n)), 1),
        insert,
        places(mesh.sheet) if len(mesh.sheet) else None,
    )


def contact_stroke_mm(stages: tuple[Stage, ...], *, hole_diameter_mm: float) -> float | None:
    """The stroke (mm) at which the bulge first meets the blind side, between two stages; None if it never does.

    Source: by definition: the gap between the sheet's blind side and the bulge outside the hole's rim is used up.
    """
    before: tuple[float, float] | None = None
    for stage in stages:
        if stage.sheet is None:
            return None
        side = min(z for _r, z in stage.sheet)
        bulge = [z for r, z in stage.insert if r > hole_diameter_mm / 2.0 + RIM_MM and z < side / 2.0]
        gap = side - max(bulge) if bulge else math.inf
        if gap <= TOUCH_MM:
            if before is None or not math.isfinite(before[1]):
                return stage.stroke_mm
            share = (before[1] - TOUCH_MM) / max(before[1] - gap, 1e-9)
            return round(before[0] + min(max(share, 0.0), 1.0) * (stage.stroke_mm - before[0]), 4)
        before = (stage.stroke_mm, gap)
    return None


def variants(case: PullCase) -> tuple[tuple[str, str, PullCase], ...]:
    """What is varied, by how much in words, and the case so changed (mm, MPa). Source: by definition."""
    wider = case.counterbore_diameter_mm + 2.0 * THINNER_WALL_MM
    found = [
        ("wall", f"{THINNER_WALL_MM:.2f} mm thinner", replace(case, counterbore_diameter_mm=wider)),
        (
            "material",
            f"{100 * (STRONGER - 1):.0f} % stronger",
            replace(case, metal=bent_curve(case.metal, strength=STRONGER)),
        ),
        ("friction", f"{STICKIER:.2f} more", replace(case, friction=min(case.friction + STICKIER, 0.6))),
    ]
    sheet = case.sheet
    if sheet is not None:
        thick = replace(case, sheet=replace(sheet, thickness_mm=sheet.thickness_mm + THICKER_MM))
        thick = replace(thick, stroke_mm=min(case.stroke_mm, 0.95 * thick.free_length_mm))
        hole = replace(case, sheet=replace(sheet, hole_diameter_mm=sheet.hole_diameter_mm + WIDER_MM))
        found.insert(0, ("hole", f"{WIDER_MM:.1f} mm wider", hole))
        found.insert(0, ("thickness", f"{THICKER_MM:.1f} mm thicker", thick))
    return tuple(found)


def effects(case: PullCase, base: CoarsePull, *, watch: Callable[[float], None] | None = None) -> tuple[Effect, ...]:
    """One coarse run for each variant, beside the coarse run ``base`` of the case. Differences in mm and N.

    ``watch`` hears the share done and may raise to cancel. Source: differences of simulated pulls; how far those of
    coarse runs can be trusted is in docs/theory/collapse.md.
    """
    rows = variants(case)
    found = []
    for place, (what, change, changed) in enumerate(rows):

        def told(share: float, place: int = place) -> None:
            if watch is not None:
                watch((place + share) / len(rows))

        run = coarse_pull(changed, watch=told)
        end = min(base.stroke_mm[-1], run.stroke_mm[-1])
        found.append(
            Effect(
                what,
                change,
                _target_change(case, base, changed, run),
                _peak_change(base, run),
                round(
                    float(
                        np.interp(end, run.stroke_mm, run.diameter_mm)
                        - np.interp(end, base.stroke_mm, base.diameter_mm)
                    ),
                    4,
                ),
            )
        )
    return tuple(found)


def _target_change(case: PullCase, base: CoarsePull, changed: PullCase, run: CoarsePull) -> float | None:
    before, after = base.events["closure"], run.events["closure"]
    if before is None or after is None:
        return None
    thicker = 0.0
    if case.sheet is not None and changed.sheet is not None:
        thicker = changed.sheet.thickness_mm - case.sheet.thickness_mm
    return round(after.stroke_mm + thicker - before.stroke_mm, 4)


def _peak_change(base: CoarsePull, run: CoarsePull) -> float | None:
    before, after = base.events["peak"], run.events["peak"]
    return None if before is None or after is None else round(after.force_n - before.force_n, 1)

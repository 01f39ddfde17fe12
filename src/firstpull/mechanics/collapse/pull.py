"""The virtual pull: a case in, the curve, its events, the set allowance and their doubt out. Needs Numba."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from firstpull.errors import Unsafe
from firstpull.mechanics.collapse.case import PullCase, check_case
from firstpull.mechanics.collapse.events import Event, Floats, find_events
from firstpull.mechanics.collapse.simulate import Effort, Run, State, simulate
from firstpull.mechanics.collapse.unload import unload

SEATED_SHARE = 0.1
SNAPSHOT_WALLS = 0.15
FINE = Effort(layers=4, pace=0.0012)
COARSE = Effort(layers=3, pace=0.0017)
CAREFUL = (Effort(layers=3, pace=0.001), Effort(layers=4, pace=0.0008))
"""What is tried where a run does not hold together: larger elements crease less, and slowly."""
ENERGY_MOST = 0.02
WRONG = 0.1
"""A run whose energy misses more than this share is not shown."""
MODEL_SD_MM = 0.1
"""Doubt of the model itself until the user's own coupons shrink it."""
LIMITS = (
    "Cracking is not modelled: a brittle lot may split where this bulges.",
    "Threads, hexagon and knurls are not modelled: the bore moves as one piece.",
)
COARSER = "The finer run did not hold together, so a coarser one stands here; its doubt is larger."
CHECK = "The curve was run at two meshes and speeds; their difference is in the doubt."


@dataclass(frozen=True, slots=True)
class VirtualPull:
    """What a pull came to. Forces in N for the whole circle, lengths in mm; ``_sd``: one standard deviation of doubt."""

    stroke_mm: Floats
    force_n: Floats
    outer_diameter_mm: Floats
    events: dict[str, Event | None]
    peak_sd_n: float
    closure_sd_mm: float | None
    diameter_sd_mm: float
    stroke_plus_thickness_mm: float | None
    set_allowance_mm: float | None
    set_allowance_sd_mm: float | None
    air_to_stack_mm: float | None
    clamp_n: float
    springback_mm: float
    energy_error: float
    kinetic_share: float
    profile: tuple[tuple[float, float], ...]
    element_steps: int
    limits: tuple[str, ...]


def virtual_pull(
    case: PullCase,
    *,
    grip_max_mm: float | None = None,
    compliance_mm_per_kn: float | None = None,
    watch: Callable[[float], None] | None = None,
) -> VirtualPull:
    """Pull the insert of this case to its stroke. Lengths in mm, stresses in MPa, forces in N.

    ``watch`` is told the share done and may raise to cancel. Raises BadInput for a case that cannot be pulled and
    Unsafe when the simulation does not hold together. Source: by definition of closure, seating and set allowance
    (events); the accuracy that was met is in docs/theory/collapse.md.
    """
    check_case(case)
    held: list[State] = []

    def keep(state: State) -> None:
        if case.sheet is not None and (
            not held or state.stroke_mm - held[-1].stroke_mm >= SNAPSHOT_WALLS * case.wall_mm
        ):
            held.append(state.copy())
        if watch is not None:
            watch(0.75 * state.stroke_mm / case.stroke_mm)

    fine, whole = _best(case, (FINE, *CAREFUL), keep=keep, held=held)
    rough = _beside(case, fine)
    events = find_events(fine.stroke_mm, fine.force_n, wall_mm=case.wall_mm)
    other = find_events(rough.stroke_mm, rough.force_n, wall_mm=case.wall_mm)
    let_go = unload(fine.state)
    events["seating"] = _seating(case, fine, held, events["peak"])
    closure = events["closure"]
    closure_sd = None
    if closure is not None:
        closure_sd = 0.05 if other["closure"] is None else abs(closure.stroke_mm - other["closure"].stroke_mm)
        closure_sd = math.hypot(max(closure_sd, 0.02 if whole and rough is not fine else 0.1), MODEL_SD_MM)
    target = None
    if closure is not None and case.sheet is not None:
        target = round(closure.stroke_mm + case.sheet.thickness_mm, 6)
    peak, rough_peak = events["peak"], other["peak"]
    peak_sd = abs(peak.force_n - rough_peak.force_n) / 2.0 if peak and rough_peak else 0.0
    if watch is not None:
        watch(1.0)
    return VirtualPull(
        stroke_mm=fine.stroke_mm,
        force_n=fine.force_n,
        outer_diameter_mm=fine.diameter_mm,
        events=events,
        peak_sd_n=max(peak_sd, 0.005 * (peak.force_n if peak else 0.0)),
        closure_sd_mm=closure_sd,
        diameter_sd_mm=abs(float(fine.diameter_mm[-1]) - float(rough.diameter_mm[-1])) / 2.0,
        stroke_plus_thickness_mm=target,
        set_allowance_mm=None if target is None or grip_max_mm is None else round(target - grip_max_mm, 6),
        set_allowance_sd_mm=_allowance_sd(case, closure_sd, grip_max_mm),
        air_to_stack_mm=_shift(case, closure, compliance_mm_per_kn),
        clamp_n=let_go.clamp_n,
        springback_mm=let_go.springback_mm,
        energy_error=fine.energy_error,
        kinetic_share=fine.kinetic_share,
        profile=_profile(fine),
        element_steps=fine.steps * fine.quads,
        limits=(*_limits(case, events), *(() if whole else (COARSER,))),
    )


def _best(
    case: PullCase, efforts: tuple[Effort, ...], *, keep: Callable[[State], None], held: list[State]
) -> tuple[Run, bool]:
    """The first run that holds together, or the one that keeps its energy best; whether it was the first. ``held``: its states."""
    tried: list[tuple[Run, list[State]]] = []
    for effort in efforts:
        held.clear()
        run = simulate(case, effort=effort, keep=keep)
        if _holds(run):
            return run, not tried
        tried.append((run, list(held)))
    run, states = min(tried, key=lambda one: one[0].energy_error if _holds(one[0], most=WRONG) else math.inf)
    held[:] = states
    return _sound(run), run is tried[0][0]


def _beside(case: PullCase, fine: Run) -> Run:
    """A cheap second run for the doubt; the fine one itself, with a larger doubt, where no second one holds together."""
    for effort in (COARSE, CAREFUL[0]):
        run = simulate(case, effort=effort)
        if _holds(run):
            return run
    return fine


def _holds(run: Run, *, most: float = ENERGY_MOST) -> bool:
    """Whether the run came to its end with finite loads and kept its energy."""
    return run.finished and bool(np.isfinite(run.force_n).all()) and run.energy_error < most


def _sound(run: Run) -> Run:
    """The run, or Unsafe when it did not hold together; a wrong curve must not look like a right one."""
    if not _holds(run, most=WRONG):
        raise Unsafe(
            f"The simulated pull did not hold together beyond {run.stroke_mm[-1]:.2f} mm.",
            where="pull.stroke",
            hint="Ask for less stroke, or check the dimensions.",
            reasons=(f"The balance of energy misses {100.0 * run.energy_error:.0f} %.",),
        )
    return run


def _seating(case: PullCase, run: Run, held: list[State], peak: Event | None) -> Event | None:
    """The least stroke whose unloading leaves a clamp of a tenth of the peak: by halving between the states held."""
    if case.sheet is None or peak is None or not held:
        return None
    wanted = SEATED_SHARE * peak.force_n
    states = [*held, run.state]
    clamps: dict[int, float] = {}

    def clamp(place: int) -> float:
        if place not in clamps:
            clamps[place] = unload(states[place]).clamp_n
        return clamps[place]

    low, high = 0, len(states) - 1
    if clamp(high) < wanted:
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if clamp(middle) >= wanted else (middle, high)
    share = (wanted - clamp(low)) / max(clamp(high) - clamp(low), 1e-9)
    stroke = states[low].stroke_mm + min(max(share, 0.0), 1.0) * (states[high].stroke_mm - states[low].stroke_mm)
    return Event(round(stroke, 6), round(float(np.interp(stroke, run.stroke_mm, run.force_n)), 3))


def _allowance_sd(case: PullCase, closure_sd_mm: float | None, grip_max_mm: float | None) -> float | None:
    """Doubt of the allowance: of the closure, and a tenth of the unused grip (the slope is nearer −0.9 than −1)."""
    if closure_sd_mm is None or grip_max_mm is None or case.sheet is None:
        return None
    return round(math.hypot(closure_sd_mm, 0.1 * (grip_max_mm - case.sheet.thickness_mm)), 6)


def _shift(case: PullCase, closure: Event | None, compliance_mm_per_kn: float | None) -> float | None:
    """How much longer the same knob sets in the stack than in the air: compliance times the difference of loads."""
    if closure is None or compliance_mm_per_kn is None or case.sheet is None:
        return None
    air = replace(case, sheet=None, stroke_mm=min(closure.stroke_mm, 0.9 * case.unthreaded_length_mm))
    run, _ = _best(air, (COARSE, *CAREFUL), keep=lambda _: None, held=[])
    return round(compliance_mm_per_kn * (closure.force_n - float(run.force_n[-3])) / 1000.0, 6)


def _profile(run: Run) -> tuple[tuple[float, float], ...]:
    """The outer wall at the end, from the block up: r, z in mm."""
    places = run.state.body.x[run.state.mesh.outer]
    return tuple((round(float(r), 4), round(float(z), 4)) for r, z in places)


def _limits(case: PullCase, events: dict[str, Event | None]) -> tuple[str, ...]:
    said = [*LIMITS, CHECK]
    if events["closure"] is None:
        said.append("The fold does not close within this stroke.")
    if case.sheet is None:
        said.append("Pulled in the air: nothing is seated and nothing is clamped.")
    elif events.get("seating") is None:
        said.append("No stroke up to this one leaves a clamp of a tenth of the peak.")
    return tuple(said)

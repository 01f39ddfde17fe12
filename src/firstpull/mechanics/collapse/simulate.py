"""One run of a pull: builds the mesh, marches it to the stroke, and keeps the curve. Needs Numba."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from firstpull.mechanics.collapse.body import (
    AROUND,
    DAMPING_WORK,
    FRICTION_WORK,
    MASS_WORK,
    METAL_WORK,
    PULL_WORK,
    SUMS,
    Body,
    Bounds,
    Floats,
    Ints,
    Touching,
)
from firstpull.mechanics.collapse.case import PullCase
from firstpull.mechanics.collapse.contact import _find_pairs
from firstpull.mechanics.collapse.element import kinetic, make_body, raise_mass
from firstpull.mechanics.collapse.march import _march
from firstpull.mechanics.collapse.material import ROWS, TABLE_STEP, flow_table
from firstpull.mechanics.collapse.mesh import Mesh, build_mesh

CHUNK = 25
"""Steps between two looks at masses and at what is near what."""
SHARE = 0.75
CRUSH_STRAIN = 1.8
CRUSH = 6.0
"""Beyond that strain the metal hardens so many times a unit of strain, so that a crease does not turn inside out."""
SHEET_DAMPING = 0.03
HEAVY = 3.0
KINETIC_GOAL = 0.013
"""The bore slows down while the kinetic share is above this."""
STIFF_MPA = 210_000.0
NO_YIELD_MPA = 1e9
GRID_MM = 0.01
SMOOTH_MM = 0.02
"""Force is the slope, over twice this, of the work put in less what moves and what is damped: no inertia in it."""


class Cancelled(Exception):
    """The caller asked to stop; never leaves the package's jobs."""


@dataclass(frozen=True, slots=True)
class Effort:
    """How finely a pull is run: layers through the wall and the bore's speed, in elements a step."""

    layers: int = 4
    pace: float = 0.0014
    start: float = 0.05
    ramp_walls: float = 1.25

    def speed_mm(self, stroke_mm: float, case: PullCase) -> float:
        """The bore's speed at a stroke, mm a step: slow at first, so that inertia adds nothing to the yield."""
        share = min(stroke_mm / (self.ramp_walls * case.wall_mm), 1.0)
        return (
            self.pace
            * case.wall_mm
            / self.layers
            * (self.start + (1.0 - self.start) * share * share * (3.0 - 2.0 * share))
        )


@dataclass(frozen=True, slots=True)
class Run:
    """A finished run. Forces for the whole circle; energies in N·mm."""

    stroke_mm: Floats
    force_n: Floats
    diameter_mm: Floats
    energy_error: float
    """What the balance of work misses, as a share of the work put in."""
    kinetic_share: float
    """Largest kinetic share of the metal's work after the start (a fifth of a wall)."""
    steps: int
    quads: int
    finished: bool
    state: State


@dataclass(slots=True)
class State:
    """All that moves, to go on from or to look at."""

    case: PullCase
    mesh: Mesh
    body: Body
    bounds: Bounds
    pairs: list[tuple[Ints, Ints]]
    touching: Touching
    sums: Floats = field(default_factory=lambda: np.zeros(SUMS))
    stroke_mm: float = 0.0

    def copy(self) -> State:
        """A copy that marches on by itself."""
        body, near = self.body, self.touching
        moving = body._replace(
            x=body.x.copy(),
            v=body.v.copy(),
            force=body.force.copy(),
            cells=body.cells.copy(),
            quad_mass=body.quad_mass.copy(),
            mass=body.mass.copy(),
            damping=body.damping.copy(),
        )
        again = Touching(near.rows.copy(), near.counts.copy(), near.held.copy(), near.when.copy(), near.clock.copy())
        return State(self.case, self.mesh, moving, self.bounds, self.pairs, again, self.sums.copy(), self.stroke_mm)


def begin(case: PullCase, *, layers: int) -> State:
    """The insert before the pull, at rest."""
    mesh = build_mesh(case, layers=layers)
    nodes = len(mesh.nodes)
    sheet = case.sheet
    stiff = STIFF_MPA if sheet is None or sheet.e_mpa is None else sheet.e_mpa
    limit = NO_YIELD_MPA if sheet is None or sheet.yield_mpa is None else sheet.yield_mpa
    strain = np.arange(ROWS) * TABLE_STEP
    crushed = 1.0 + CRUSH * np.maximum(strain - CRUSH_STRAIN, 0.0)
    tables = np.vstack([flow_table(case.metal) * crushed, np.full(ROWS, limit)])
    moduli = np.array([[case.metal.shear_mpa, case.metal.bulk_mpa], [stiff / 2.6, stiff / 1.2]])
    body = make_body(mesh.nodes.copy(), mesh.quads, mesh.of_sheet, moduli=moduli, tables=tables)
    body.damping[np.unique(mesh.quads[mesh.of_sheet == 1])] = SHEET_DAMPING
    raise_mass(body, SHARE)
    bounds = Bounds(
        mesh.bore,
        mesh.face,
        mesh.inner,
        case.flange_thickness_mm,
        case.mandrel_mm / 2.0,
        case.friction,
        0.6 * mesh.size_mm,
        HEAVY * float(np.median(body.mass[mesh.wall_outer])),
    )
    pairs = [(mesh.inner, mesh.inner), (mesh.outer, mesh.outer)]
    if sheet is not None:
        pairs = [(mesh.outer, mesh.sheet), (mesh.sheet, mesh.outer), *pairs]
    touching = Touching(
        np.zeros((5000, 5), dtype=np.int64),
        np.zeros(len(pairs), dtype=np.int64),
        np.zeros((len(pairs), nodes)),
        np.full((len(pairs), nodes), -1, dtype=np.int64),
        np.zeros(1, dtype=np.int64),
    )
    return State(case, mesh, body, bounds, pairs, touching)


def advance(state: State, speeds: Floats) -> None:
    """March one chunk of steps with these speeds of the bore (mm a step)."""
    body, first = state.body, 0
    for group, (points, chain) in enumerate(state.pairs):
        found = _find_pairs(
            body.x, points, chain, 0.35 * state.mesh.size_mm, state.bounds.deepest_mm, state.touching.rows[first:]
        )
        state.touching.counts[group] = found
        first += found
    _march(body, state.bounds, state.touching, speeds, state.sums)
    state.sums[MASS_WORK] += raise_mass(body, SHARE)
    state.stroke_mm += float(speeds.sum())


def simulate(case: PullCase, *, effort: Effort, keep: Callable[[State], None] | None = None) -> Run:
    """Run one pull to its stroke. ``keep`` sees the state after each chunk of steps (progress, pictures, cancel)."""
    state = begin(case, layers=effort.layers)
    rows = [(0.0, 0.0, case.outer_diameter_mm, 0.0)]
    steps, finished, calm = 0, True, 1.0
    shank = state.mesh.wall_outer
    while state.stroke_mm < case.stroke_mm:
        speed = calm * effort.speed_mm(state.stroke_mm, case)
        advance(state, np.full(CHUNK, speed))
        steps += CHUNK
        moving = kinetic(state.body)
        work = state.sums[PULL_WORK] + state.sums[MASS_WORK] - state.sums[DAMPING_WORK] - moving
        calm = max(0.2, 0.96 * calm) if moving > KINETIC_GOAL * abs(work) else min(1.0, 1.01 * calm)
        rows.append((state.stroke_mm, AROUND * work, 2.0 * float(state.body.x[shank, 0].max()), moving))
        if not moving < 1e3 * (1.0 + abs(work)):
            finished = False
            break
        if keep is not None:
            keep(state)
    stroke, work, diameter, moving = np.array(rows).T
    stroke_grid = np.arange(0.0, min(stroke[-1], case.stroke_mm) + 1e-9, GRID_MM)
    low, high = np.maximum(stroke_grid - SMOOTH_MM, 0.0), np.minimum(stroke_grid + SMOOTH_MM, stroke[-1])
    force = (np.interp(high, stroke, work) - np.interp(low, stroke, work)) / (high - low)
    force[0] = 0.0
    put = float(state.sums[PULL_WORK] + state.sums[MASS_WORK])
    taken = float(state.sums[METAL_WORK] + state.sums[FRICTION_WORK] + state.sums[DAMPING_WORK]) + kinetic(state.body)
    after = stroke > 0.2 * case.wall_mm
    share = float(np.max(AROUND * moving[after] / work[after])) if after.any() else 0.0
    return Run(
        stroke_grid,
        force,
        np.interp(stroke_grid, stroke, diameter),
        abs(put - taken) / max(put, 1e-12),
        share,
        steps,
        len(state.mesh.quads),
        finished,
        state,
    )

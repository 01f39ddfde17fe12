"""Cases as the padded arrays that the kernel takes, and what comes back as curves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from studies.many_pulls import element, touch
from studies.many_pulls import kernel as k

from firstpull.errors import BadInput
from firstpull.mechanics.collapse.body import AROUND
from firstpull.mechanics.collapse.case import PullCase
from firstpull.mechanics.collapse.events import Event, Floats, find_events
from firstpull.mechanics.collapse.material import flow_stress_mpa
from firstpull.mechanics.collapse.simulate import (
    CRUSH,
    CRUSH_STRAIN,
    GRID_MM,
    NO_YIELD_MPA,
    SMOOTH_MM,
    STIFF_MPA,
    Effort,
    begin,
)

MOST_LOOKS = 1600


@dataclass(frozen=True, slots=True)
class Packed:
    """Arrays of many cases, in the order of the kernel's arguments."""

    nodes: np.ndarray
    quads: np.ndarray
    corners: np.ndarray
    chains: np.ndarray
    sizes: np.ndarray
    tables: np.ndarray
    counts: np.ndarray
    measures: np.ndarray

    def outputs(self) -> tuple[np.ndarray, np.ndarray]:
        """Room for the looks and the totals."""
        pulls = len(self.counts)
        return np.zeros((pulls, MOST_LOOKS + 1, k.OUTCOME), np.float32), np.zeros((pulls, 3), np.float64)

    def arguments(self) -> tuple[np.ndarray, ...]:
        """What goes to the kernel before the outputs."""
        return self.nodes, self.quads, self.corners, self.chains, self.sizes, self.tables, self.counts, self.measures


@dataclass(frozen=True, slots=True)
class Pulled:
    """One pull: its curve on the solver's grid, what happened along it, and how the work balanced."""

    stroke_mm: Floats
    force_n: Floats
    diameter_mm: Floats
    events: dict[str, Event | None]
    energy_error: float
    finished: bool


def table_of(case: PullCase) -> np.ndarray:
    """The flow stress on the kernel's strains: fine at first, coarse beyond."""
    fine = np.arange(element.TABLE_FINE) * element.FINE_STEP
    strain = np.concatenate(
        [fine, element.FINE_STRAIN + np.arange(element.TABLE_ROWS - element.TABLE_FINE) * element.COARSE_STEP]
    )
    return flow_stress_mpa(case.metal, strain) * (1.0 + CRUSH * np.maximum(strain - CRUSH_STRAIN, 0.0))


def pack(cases: Sequence[PullCase], *, effort: Effort, looks: int = MOST_LOOKS) -> Packed:
    """The cases for one launch. Raises BadInput for a mesh that the kernel has no room for."""
    room = len(cases)
    packed = Packed(
        np.zeros((room, k.MOST_NODES, 2), np.float32),
        np.zeros((room, element.MOST_QUADS, 4), np.int16),
        np.full((room, 4, k.MOST_NODES), -1, np.int16),
        np.zeros((room, touch.CHAINS, touch.MOST_CHAIN), np.uint16),
        np.zeros((room, touch.CHAINS), np.int32),
        np.zeros((room, element.TABLE_ROWS), np.float32),
        np.zeros((room, k.COUNTS), np.int32),
        np.zeros((room, k.MEASURES), np.float32),
    )
    for place, case in enumerate(cases):
        _put(packed, place, case, effort=effort)
        packed.counts[place, k.MOST_LOOKS] = looks
    return packed


def _put(packed: Packed, place: int, case: PullCase, *, effort: Effort) -> None:
    state = begin(case, layers=effort.layers)
    mesh, bounds, sheet = state.mesh, state.bounds, case.sheet
    chains = (mesh.outer, mesh.inner, mesh.sheet, mesh.bore, mesh.face, mesh.wall_outer)
    points = len(mesh.outer) + len(mesh.inner) + (len(mesh.outer) + len(mesh.sheet) if sheet else 0)
    if (
        len(mesh.nodes) > k.MOST_NODES
        or len(mesh.quads) > element.MOST_QUADS
        or points > touch.MOST_POINTS
        or max(map(len, chains)) > touch.MOST_CHAIN
    ):
        raise BadInput("The mesh has no room in a block.", where=f"case {place}", hint="Fewer layers, a shorter shank.")
    packed.nodes[place, : len(mesh.nodes)] = mesh.nodes
    packed.quads[place, : len(mesh.quads)] = mesh.quads
    met = np.zeros(len(mesh.nodes), int)
    for corner in range(4):
        for quad, node in enumerate(mesh.quads[:, corner]):
            packed.corners[place, met[node], node] = corner * element.MOST_QUADS + quad
            met[node] += 1
    for row, chain in enumerate(chains):
        packed.chains[place, row, : len(chain)] = chain
    packed.tables[place] = table_of(case)
    insert_quads = int((mesh.of_sheet == 0).sum())
    insert_nodes = int(mesh.quads[:insert_quads].max()) + 1
    packed.sizes[place, : len(chains)] = [len(chain) for chain in chains]
    packed.counts[place, : k.MOST_LOOKS] = len(mesh.nodes), len(mesh.quads), insert_nodes, insert_quads
    stiff = STIFF_MPA if sheet is None or sheet.e_mpa is None else sheet.e_mpa
    limit = NO_YIELD_MPA if sheet is None or sheet.yield_mpa is None else sheet.yield_mpa
    packed.measures[place] = (
        bounds.face_mm,
        bounds.mandrel_mm,
        bounds.friction,
        bounds.deepest_mm,
        bounds.heavy,
        0.35 * mesh.size_mm,
        case.metal.shear_mpa,
        case.metal.bulk_mpa,
        stiff / 2.6,
        stiff / 1.2,
        limit,
        case.stroke_mm,
        effort.pace * case.wall_mm / effort.layers,
        effort.start,
        effort.ramp_walls * case.wall_mm,
    )


def pulled(case: PullCase, rows: np.ndarray, totals: np.ndarray) -> Pulled:
    """One pull's looks as a curve, in the way of ``simulate``: force is the slope of the work put in."""
    stroke, work, diameter, _moving = rows[: int(totals[0])].astype(np.float64).T
    work = AROUND * work
    grid = np.arange(0.0, min(stroke[-1], case.stroke_mm) + 1e-9, GRID_MM)
    low, high = np.maximum(grid - SMOOTH_MM, 0.0), np.minimum(grid + SMOOTH_MM, stroke[-1])
    force = (np.interp(high, stroke, work) - np.interp(low, stroke, work)) / np.maximum(high - low, 1e-9)
    force[0] = 0.0
    finished = bool(stroke[-1] >= 0.999 * case.stroke_mm and np.isfinite(force).all())
    return Pulled(
        grid,
        force,
        np.interp(grid, stroke, diameter),
        find_events(grid, force, wall_mm=case.wall_mm) if finished else {},
        abs(float(totals[1])) / max(float(totals[2]), 1e-12),
        finished,
    )

"""The metal: a four-point quadrilateral with an assumed strain, turned with the element, and J2 plasticity in it.

In the element's own turned axes the strain rate is its mean, plus a bending part (a, −a) that varies over the four
points: no shear and no volume in it, so that neither bending nor incompressible flow locks. This is the assumed-strain
idea of Belytschko and Bindeman (1991) with full points instead of a stabilising stiffness, so nothing is left to tune.
Pressure and hoop strain are the element's. Pressure follows the volume itself, so that it cannot drift. The stresses
themselves are advanced in ``cells``; here is what feeds that with places and speeds and takes the forces from it.
"""

from __future__ import annotations

import numpy as np

from firstpull.mechanics.collapse.body import Body, Floats, Ints
from firstpull.mechanics.collapse.cells import (
    BULK,
    CALMING,
    CELL_ROWS,
    FIRST,
    GEOMETRY,
    LANES,
    LIMIT,
    PUSH,
    SHEAR,
    SLOPE,
    SPEED,
    STRAIN,
    STRESS,
    WORK,
    Singles,
    march_block,
)
from firstpull.mechanics.collapse.compiled import compiled
from firstpull.mechanics.collapse.material import ROWS, TABLE_STEP

PER_STEP = 1.0 / TABLE_STEP
LAST = ROWS - 2
BLOCK = LANES * CELL_ROWS
VISCOSITY = 0.06
"""Share of the critical damping of a volume wave across one element; it only calms ringing."""
SOFT = 0.5
"""A soft sheet weighs at least this share of what the insert's metal would, so that touching it stays stable."""


def make_body(x: Floats, quads: Ints, kind: Ints, *, moduli: Floats, tables: Floats) -> Body:
    """A body at rest and free of stress; its masses are still to be raised. mm, MPa. Source: by definition."""
    blocks = (len(quads) + LANES - 1) // LANES
    cells = np.zeros(blocks * BLOCK, dtype=np.float32)
    rows = cells.reshape(blocks, CELL_ROWS, LANES)
    rows[:, [GEOMETRY, GEOMETRY + 3, GEOMETRY + 4, FIRST, SHEAR], :] = 1.0  # what fills the last block up
    rows[:, FIRST + 4, :] = 8.0
    nodes = len(x)
    zeros = np.zeros
    body = Body(
        x, zeros((nodes, 2)), zeros((nodes, 2)), quads.astype(np.int64), kind.astype(np.int64), moduli, tables, cells,
        zeros(len(quads)), zeros(nodes), zeros(nodes),
    )  # fmt: skip
    _prepare(body)
    return body


def points(body: Body) -> tuple[Singles, Singles]:
    """Deviator (rr, zz, rz in the element's turned axes, MPa) and plastic strain per quadrilateral and point."""
    rows = body.cells.reshape(-1, CELL_ROWS, LANES).transpose(0, 2, 1).reshape(-1, CELL_ROWS)[: len(body.quads)]
    return rows[:, STRESS : STRESS + 12].reshape(-1, 4, 3), rows[:, STRAIN : STRAIN + 4]


@compiled
def _prepare(body: Body) -> None:
    """Per element: the inverse of the first Jacobian (4 numbers), of the first volume, and its moduli."""
    x, cells = body.x, body.cells
    for e in range(body.quads.shape[0]):
        a, b, c, d = body.quads[e]
        at = (e // LANES) * BLOCK + e % LANES
        r_xi = 0.25 * (x[b, 0] + x[c, 0] - x[a, 0] - x[d, 0])
        r_eta = 0.25 * (x[c, 0] + x[d, 0] - x[a, 0] - x[b, 0])
        z_xi = 0.25 * (x[b, 1] + x[c, 1] - x[a, 1] - x[d, 1])
        z_eta = 0.25 * (x[c, 1] + x[d, 1] - x[a, 1] - x[b, 1])
        det = r_xi * z_eta - r_eta * z_xi
        cells[at + FIRST * LANES], cells[at + (FIRST + 1) * LANES] = z_eta / det, -r_eta / det
        cells[at + (FIRST + 2) * LANES], cells[at + (FIRST + 3) * LANES] = -z_xi / det, r_xi / det
        cells[at + (FIRST + 4) * LANES] = 1.0 / (det * (x[a, 0] + x[b, 0] + x[c, 0] + x[d, 0]))
        cells[at + SHEAR * LANES], cells[at + BULK * LANES] = body.moduli[body.kind[e], 0], body.moduli[body.kind[e], 1]


@compiled
def raise_mass(body: Body, share: float) -> float:
    """Raise each element's mass to what steps of one need, spread it to the nodes; returns the energy added.

    Yield stress, its slope and the viscosity are brought up to date on the way.

    ``share`` is what a step takes of the stability limit. The limit is that of a uniform strain, which bounds the
    bending modes of this element too.
    """
    x, quads, moduli = body.x, body.quads, body.moduli
    added = 0.0
    body.mass[:] = 0.0
    for e in range(quads.shape[0]):
        a, b, c, d = quads[e]
        r13, z13 = x[a, 0] - x[c, 0], x[a, 1] - x[c, 1]
        r24, z24 = x[b, 0] - x[d, 0], x[b, 1] - x[d, 1]
        double = r13 * z24 - r24 * z13
        if double > 0.0:
            rr = 2.0 * (z24 * z24 + z13 * z13)
            zz = 2.0 * (r24 * r24 + r13 * r13)
            rz = -2.0 * (r24 * z24 + r13 * z13)
            largest = 0.5 * (rr + zz) + np.sqrt(0.25 * (rr - zz) * (rr - zz) + rz * rz)
            radius = 0.25 * (x[a, 0] + x[b, 0] + x[c, 0] + x[d, 0])
            largest = largest / (double * double) + 0.25 / (radius * radius)
            k = body.kind[e]
            stiff = max(moduli[k, 1] + 4.0 / 3.0 * moduli[k, 0], SOFT * (moduli[0, 1] + 4.0 / 3.0 * moduli[0, 0]))
            needed = stiff * largest * 0.5 * double * radius / (share * share)
            if needed > body.quad_mass[e]:
                more = 0.125 * (needed - body.quad_mass[e])
                for n in range(4):
                    i = quads[e, n]
                    added += more * (body.v[i, 0] ** 2 + body.v[i, 1] ** 2)
                body.quad_mass[e] = needed
        for n in range(4):
            body.mass[quads[e, n]] += 0.25 * body.quad_mass[e]
    _bring_up_to_date(body)
    return added


@compiled
def _bring_up_to_date(body: Body) -> None:
    """Yield stress and slope of each point from the flow table at its strain, and the element's viscosity."""
    x, cells, tables = body.x, body.cells, body.tables
    for e in range(body.quads.shape[0]):
        k = body.kind[e]
        at = (e // LANES) * BLOCK + e % LANES
        for p in range(4):
            place = cells[at + (STRAIN + p) * LANES] * PER_STEP
            row = min(int(place), LAST)
            slope = tables[k, row + 1] - tables[k, row]
            cells[at + (LIMIT + p) * LANES] = tables[k, row] + min(place - row, 1.0) * slope
            cells[at + (SLOPE + p) * LANES] = slope * PER_STEP
        radius = 0.0
        for n in range(4):
            radius += 0.25 * x[body.quads[e, n], 0]
        stiff = body.moduli[k, 1] + 4.0 / 3.0 * body.moduli[k, 0]
        cells[at + CALMING * LANES] = VISCOSITY * np.sqrt(stiff * body.quad_mass[e] / radius)


@compiled
def kinetic(body: Body) -> float:
    """Kinetic energy of the whole mesh, in N·mm a radian."""
    total = 0.0
    for n in range(body.v.shape[0]):
        total += 0.5 * body.mass[n] * (body.v[n, 0] ** 2 + body.v[n, 1] ** 2)
    return total


@compiled
def metal_forces(body: Body) -> float:
    """Advance the stresses over one step and subtract the metal's forces (N a radian); returns its work in N·mm."""
    cells, quads = body.cells, body.quads
    count = quads.shape[0]
    for e in range(count):
        at = (e // LANES) * BLOCK + e % LANES
        _differences(cells, at + GEOMETRY * LANES, body.x, quads[e])
        _differences(cells, at + SPEED * LANES, body.v, quads[e])
    lanes = min(LANES, count)  # not a constant: a loop of known length would be unrolled instead of filling the lanes
    for first in range(0, cells.shape[0], BLOCK):
        march_block(cells, np.uint64(first), lanes)
    work = 0.0
    force = body.force
    for e in range(count):
        at = (e // LANES) * BLOCK + e % LANES
        work += cells[at + WORK * LANES]
        for n in range(4):
            force[quads[e, n], 0] -= cells[at + (PUSH + n) * LANES]
            force[quads[e, n], 1] -= cells[at + (PUSH + 4 + n) * LANES]
    return work


@compiled
def _differences(cells: Singles, at: int, of: Floats, quad: Ints) -> None:
    """Both diagonals, the sum of r and the hourglass of an element's corners, taken in double precision."""
    ar, az, br, bz = of[quad[0], 0], of[quad[0], 1], of[quad[1], 0], of[quad[1], 1]
    cr, cz, dr, dz = of[quad[2], 0], of[quad[2], 1], of[quad[3], 0], of[quad[3], 1]
    cells[at], cells[at + LANES] = ar - cr, az - cz
    cells[at + 2 * LANES], cells[at + 3 * LANES] = br - dr, bz - dz
    cells[at + 4 * LANES] = ar + br + cr + dr
    cells[at + 5 * LANES], cells[at + 6 * LANES] = ar - br + cr - dr, az - bz + cz - dz

"""Many pulls at once: the march of ``firstpull.mechanics.collapse`` as one GPU block per pull, in single precision.

Nodes, surfaces and corner forces lie in shared memory, each quadrilateral's stresses stay with its thread. What touches
adds its forces atomically, so two runs differ in the last digits. ``tests/unit/test_many_pulls.py`` marches on Numba's
simulator beside the CPU's kernels; ``measure.py`` compares whole pulls on a GPU.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from numba import cuda, float32, float64, int16, int32, uint16, uint32
from studies.many_pulls import element, touch
from studies.many_pulls.element import (
    EIGHTH,
    FOUR_THIRDS,
    HALF,
    MOST_QUADS,
    ONE,
    OWN,
    QUARTER,
    SOFT_SHARE,
    TABLE_ROWS,
    THREE,
    TWO,
    ZERO,
    F,
)  # fmt: skip
from studies.many_pulls.touch import BORE, CHAINS, FACE, INNER, MOST_CHAIN, MOST_NEAR, MOST_POINTS, OUTER, SHEET, WALL

from firstpull.mechanics.collapse.simulate import CHUNK, KINETIC_GOAL, SHEET_DAMPING

MOST_NODES = 416
MOST_CORNERS = 4 * MOST_QUADS
NODES, QUADS, SHEET_NODE, SHEET_QUAD, MOST_LOOKS, COUNTS = range(6)
"""Counts of a pull: its mesh, where the sheet's begins, and looks at most."""
G0, B0, G1, B1, YIELD1, STROKE, PACE, START, RAMP, MEASURES = range(6, 16)
"""Its measures, after those of ``touch``: moduli of insert and sheet, the sheet's yield, the stroke and the speed."""
OUTCOME = 4
"""Per look: stroke in mm, work put into the metal and its friction (N·mm a radian), outer diameter in mm, moving."""
PUT, METAL, RAISED, DAMPED, RUBBED, MOVING, WIDEST, WORK = (uint32(n) for n in range(8))
DAMPING, SLOWER, FASTER, SLOWEST = F(SHEET_DAMPING), F(0.96), F(1.01), F(0.2)
GOAL, LOST = F(KINETIC_GOAL), F(1e3)
U = uint32


def make_kernel(threads: int, *, registers: int | None = None) -> Callable[..., Any]:
    """The kernel for blocks of so many threads: one pull a block, see ``pack.py`` for what it is given."""
    per_thread = -(-MOST_QUADS // threads)
    options: dict[str, Any] = {} if registers is None else {"max_registers": registers}

    @cuda.jit(fastmath=True, **options)
    def pull_many(
        nodes: Any, all_quads: Any, all_corners: Any, chains: Any, sizes_of: Any, tables: Any, counts: Any, measures: Any,
        out: Any, totals: Any,
    ) -> None:  # fmt: skip
        """March every pull to its stroke; ``out``: looks × OUTCOME per pull, ``totals``: looks, unbalanced work, work."""
        x = cuda.shared.array((2, MOST_NODES), float32)
        v = cuda.shared.array((2, MOST_NODES), float32)
        force = cuda.shared.array((2, MOST_NODES), float32)
        pushed = cuda.shared.array((2, MOST_CORNERS), float32)
        corners = cuda.shared.array((4, MOST_NODES), int16)
        mass = cuda.shared.array(MOST_NODES, float32)
        guided = cuda.shared.array(MOST_NODES, int16)
        table = cuda.shared.array(TABLE_ROWS, float32)
        chain = cuda.shared.array((CHAINS, MOST_CHAIN), uint16)
        sizes = cuda.shared.array(CHAINS, int32)
        near = cuda.shared.array((MOST_POINTS, MOST_NEAR), int16)
        held = cuda.shared.array(MOST_POINTS, float32)
        sums = cuda.shared.array(8, float32)
        many = cuda.shared.array(8, float64)
        quads = cuda.local.array((per_thread, 4), uint32)
        own = cuda.local.array((per_thread, OWN), float32)
        quad_mass = cuda.local.array(per_thread, float32)
        pull, t = cuda.blockIdx.x, cuda.threadIdx.x
        n_nodes, n_quads = counts[pull, NODES], counts[pull, QUADS]
        first_node, first_quad = counts[pull, SHEET_NODE], counts[pull, SHEET_QUAD]
        mine = measures[pull]
        for n in range(t, n_nodes, threads):
            i = U(n)
            x[0, i], x[1, i], v[0, i], v[1, i] = nodes[pull, n, 0], nodes[pull, n, 1], ZERO, ZERO
            force[0, i], force[1, i], guided[i] = ZERO, ZERO, 0
            for place in range(4):
                corners[place, i] = all_corners[pull, place, n]
        for row in range(t, TABLE_ROWS, threads):
            table[row] = tables[pull, row]
        for place in range(t, CHAINS * MOST_CHAIN, threads):
            chain[place // MOST_CHAIN, place % MOST_CHAIN] = chains[pull, place // MOST_CHAIN, place % MOST_CHAIN]
        for row in range(t, MOST_POINTS, threads):
            held[row] = ZERO
        if t < CHAINS:
            sizes[t] = sizes_of[pull, t]
        if t < 8:
            many[t] = 0.0
            sums[t] = ZERO
        cuda.syncthreads()
        n_inner, n_face = sizes[INNER], sizes[FACE]
        n_points = sizes[INNER] + sizes[OUTER]
        if sizes[SHEET] > 0:
            n_points += sizes[OUTER] + sizes[SHEET]
        for place in range(t, sizes[BORE], threads):
            guided[U(chain[BORE, place])] = 1
        for k in range(per_thread):
            q = t + k * threads
            if q < n_quads:
                for corner in range(4):
                    quads[k, corner] = U(all_quads[pull, q, corner])
                element.prepare(x, quads, k, own)
                quad_mass[k] = ZERO
        stiff0 = mine[B0] + FOUR_THIRDS * mine[G0]
        stiff1 = mine[B1] + FOUR_THIRDS * mine[G1]
        heavy1 = max(stiff1, SOFT_SHARE * stiff0)
        stroke, calm, look = ZERO, ONE, int32(0)
        while True:
            # masses are raised to what the shape now needs, and yields brought up to date
            added = ZERO
            for k in range(per_thread):
                q = t + k * threads
                if q < n_quads:
                    of_insert = q < first_quad
                    needed = element.mass_needed(x, quads, k, stiff0 if of_insert else heavy1)
                    if needed > quad_mass[k]:
                        more = EIGHTH * (needed - quad_mass[k])
                        for corner in range(4):
                            i = quads[k, corner]
                            added += more * (v[0, i] * v[0, i] + v[1, i] * v[1, i])
                        quad_mass[k] = needed
                    pushed[0, U(q)] = QUARTER * quad_mass[k]
                    element.bring_up_to_date(
                        x, quads, k, own, table, ZERO if of_insert else mine[YIELD1],
                        stiff0 if of_insert else stiff1, quad_mass[k],
                    )  # fmt: skip
            cuda.atomic.add(sums, RAISED, added)
            cuda.syncthreads()
            # a look at the pull
            moving, widest = ZERO, ZERO
            for n in range(t, n_nodes, threads):
                i, whole = U(n), ZERO
                for place in range(4):
                    corner = corners[place, i]
                    if corner >= 0:
                        whole += pushed[0, U(corner % MOST_QUADS)]
                mass[i] = whole
                moving += HALF * whole * (v[0, i] * v[0, i] + v[1, i] * v[1, i])
            for n in range(t, sizes[WALL], threads):
                widest = max(widest, x[0, U(chain[WALL, U(n)])])
            cuda.atomic.add(sums, MOVING, moving)
            cuda.atomic.max(sums, WIDEST, widest)
            cuda.syncthreads()
            if t == 0:
                for place in range(5):
                    many[place] += float64(sums[place])
                work = many[0] + many[2] - many[3] - float64(sums[5])
                out[pull, look, 0], out[pull, look, 1] = stroke, work
                out[pull, look, 2], out[pull, look, 3] = TWO * sums[WIDEST], sums[MOVING]
                sums[WORK] = float32(work)
                totals[pull, 0] = look + 1
                totals[pull, 1] = many[0] + many[2] - many[1] - many[3] - many[4] - float64(sums[5])
                totals[pull, 2] = many[0] + many[2]
            cuda.syncthreads()
            energy, now = abs(sums[WORK]), sums[MOVING]
            if look > 0:
                calm = max(SLOWEST, SLOWER * calm) if now > GOAL * energy else min(ONE, FASTER * calm)
            cuda.syncthreads()
            if t < 7:
                sums[t] = ZERO
            look += int32(1)
            if stroke >= mine[STROKE] or look >= counts[pull, MOST_LOOKS] or not now < LOST * (ONE + energy):
                break
            for row in range(t, n_points, threads):
                touch.find_near(x, chain, sizes, row, mine, near)
            share = min(stroke / mine[RAMP], ONE)
            speed = calm * mine[PACE] * (mine[START] + (ONE - mine[START]) * share * share * (THREE - TWO * share))
            put, metal, damp, rub = ZERO, ZERO, ZERO, ZERO
            cuda.syncthreads()
            for n in range(t, n_nodes, threads):
                i = U(n)
                x[0, i] += v[0, i]
                x[1, i] += v[1, i]
            cuda.syncthreads()
            for step in range(CHUNK):
                for k in range(per_thread):
                    q = t + k * threads
                    if q < n_quads:
                        shear, bulk = (mine[G0], mine[B0]) if q < first_quad else (mine[G1], mine[B1])
                        metal += element.advance(x, v, pushed, quads, U(q), own, k, shear, bulk)
                for row in range(t, n_points, threads):
                    rub += touch.touch_all(x, v, force, mass, chain, sizes, row, mine, near, held)
                for place in range(t, n_inner, threads):
                    pulled, lost = touch.mandrel(x, v, force, mass, U(chain[INNER, U(place)]), mine, speed)
                    put += pulled * speed
                    rub += lost
                for place in range(t, n_face, threads):
                    rub += touch.anvil(x, v, force, mass, U(chain[FACE, U(place)]), mine)
                cuda.syncthreads()
                for n in range(t, n_nodes, threads):
                    i = U(n)
                    fr, fz, vr, vz = force[0, i], force[1, i], v[0, i], v[1, i]
                    for place in range(4):
                        corner = corners[place, i]
                        if corner >= 0:
                            fr += pushed[0, U(corner)]
                            fz += pushed[1, U(corner)]
                    if guided[i] > 0:
                        put -= fz * speed
                        vr, vz = ZERO, speed
                    else:
                        inv, lost = ONE / mass[i], DAMPING if n >= first_node else ZERO
                        damp += lost * mass[i] * (vr * vr + vz * vz)
                        vr += fr * inv - lost * vr
                        vz += fz * inv - lost * vz
                    v[0, i], v[1, i] = vr, vz
                    if step < CHUNK - 1:
                        x[0, i] += vr
                        x[1, i] += vz
                    force[0, i], force[1, i] = ZERO, ZERO
                cuda.syncthreads()
            cuda.atomic.add(sums, PUT, put)
            cuda.atomic.add(sums, METAL, metal)
            cuda.atomic.add(sums, DAMPED, damp)
            cuda.atomic.add(sums, RUBBED, rub)
            stroke += F(CHUNK) * speed

    return pull_many

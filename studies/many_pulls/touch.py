"""What touches on a GPU's thread: the rules of ``firstpull.mechanics.collapse.contact`` again, one node of a surface a row.

Rows run over the shank against the sheet, the sheet against the shank, the counterbore and the shank each against
itself. A row keeps the pieces that are near its node, and what friction holds it with.
"""

from __future__ import annotations

import math
from typing import Any

from numba import cuda, int32, uint32
from studies.many_pulls.element import HALF, ONE, ZERO, F

from firstpull.mechanics.collapse.contact import CALM, HARD, MOST_TURN, STICK

MOST_POINTS, MOST_NEAR, MOST_CHAIN = 256, 5, 80
OUTER, INNER, SHEET, BORE, FACE, WALL, CHAINS = range(7)
"""Rows of the table of chains: surfaces first, then the bore, the face on the anvil and the shank's outside."""
FACE_Z, MANDREL, FRICTION, DEEPEST, HEAVY, REACH = range(6)
"""First places among a pull's measures."""
HARD_F, CALM_F, STICK_F, TURN_F = F(HARD), F(CALM), F(STICK), F(MOST_TURN)
U = uint32


@cuda.jit(device=True, inline=True)
def surface_of(row: Any, sizes: Any) -> tuple[Any, Any, Any]:
    """The chain of a row's node, its place there, and the chain it may touch."""
    outer, inner, sheet = sizes[OUTER], sizes[INNER], sizes[SHEET]
    if sheet > 0:
        if row < outer:
            return U(OUTER), U(row), U(SHEET)
        if row < outer + sheet:
            return U(SHEET), U(row - outer), U(OUTER)
        row -= outer + sheet
    if row < inner:
        return U(INNER), U(row), U(INNER)
    return U(OUTER), U(row - inner), U(OUTER)


@cuda.jit(device=True)
def find_near(x: Any, chain: Any, sizes: Any, row: Any, mine: Any, near: Any) -> None:
    """List the first pieces that are near a row's node; −1 ends the list."""
    own, place, other = surface_of(row, sizes)
    p = U(chain[own, place])
    pr, pz = x[0, p], x[1, p]
    reach, deepest, count = mine[REACH], mine[DEEPEST], int32(0)
    for m in range(int32(sizes[other]) - int32(1)):
        a, b = U(chain[other, U(m)]), U(chain[other, U(m + 1)])
        if p in (a, b):
            continue
        tr, tz = x[0, b] - x[0, a], x[1, b] - x[1, a]
        size = math.sqrt(tr * tr + tz * tz)
        away_r, away_z = pr - HALF * (x[0, a] + x[0, b]), pz - HALF * (x[1, a] + x[1, b])
        far = reach + HALF * size
        if away_r * away_r + away_z * away_z > far * far:
            continue
        gap = (tz * away_r - tr * away_z) / size
        if -deepest <= gap <= reach and count < MOST_NEAR:
            near[U(row), U(count)] = m
            count += int32(1)
    if count < MOST_NEAR:
        near[U(row), U(count)] = -1


@cuda.jit(device=True)
def touch(
    x: Any,
    v: Any,
    force: Any,
    mass: Any,
    chain: Any,
    p: Any,
    other: Any,
    last: Any,
    m: Any,
    mine: Any,
    held: Any,
    fresh: Any,
) -> tuple[Any, Any, Any]:
    """Push one node out of one piece. Returns what friction holds it with, whether it touched, and friction's work."""
    a, b = U(chain[other, U(m)]), U(chain[other, U(m + 1)])
    ra, za = x[0, a], x[1, a]
    tr, tz = x[0, b] - ra, x[1, b] - za
    square = tr * tr + tz * tz
    wr, wz = x[0, p] - ra, x[1, p] - za
    along = wr * tr + wz * tz
    if along < ZERO or along >= square:
        return held, False, ZERO
    own = ONE / math.sqrt(square)
    along /= square
    gap = (wr * tz - wz * tr) * own
    if gap >= ZERO or gap < -mine[DEEPEST]:
        return held, False, ZERO
    before, after = U(chain[other, U(max(m - 1, int32(0)))]), U(chain[other, U(min(m + 2, last))])
    tr, tz = tr * own, tz * own
    ar, az = x[0, b] - x[0, before], x[1, b] - x[1, before]
    br, bz = x[0, after] - ra, x[1, after] - za
    size_a, size_b = math.sqrt(ar * ar + az * az), math.sqrt(br * br + bz * bz)
    if ar * tr + az * tz < TURN_F * size_a:
        ar, az, size_a = tr, tz, ONE
    if br * tr + bz * tz < TURN_F * size_b:
        br, bz, size_b = tr, tz, ONE
    rest = ONE - along
    at_a, at_b = rest / size_a, along / size_b
    tr, tz = at_a * ar + at_b * br, at_a * az + at_b * bz
    one = ONE / math.sqrt(tr * tr + tz * tz)
    tr, tz = tr * one, tz * one
    of_piece = mass[a] * mass[b] / (rest * rest * mass[b] + along * along * mass[a])
    of_both = min(mass[p] * of_piece / (mass[p] + of_piece), mine[HEAVY])
    vr = v[0, p] - rest * v[0, a] - along * v[0, b]
    vz = v[1, p] - rest * v[1, a] - along * v[1, b]
    push = -of_both * (HARD_F * gap + CALM_F * (vr * tz - vz * tr))
    if push <= ZERO:
        return held, False, ZERO
    slip, drag = vr * tr + vz * tz, ZERO
    if fresh:
        most = mine[FRICTION] * push
        drag = min(max(held - HARD_F * of_both * slip, -most), most)
    fr, fz = push * tz + drag * tr, drag * tz - push * tr
    cuda.atomic.add(force, (U(0), p), fr)
    cuda.atomic.add(force, (U(1), p), fz)
    cuda.atomic.add(force, (U(0), a), -rest * fr)
    cuda.atomic.add(force, (U(1), a), -rest * fz)
    cuda.atomic.add(force, (U(0), b), -along * fr)
    cuda.atomic.add(force, (U(1), b), -along * fz)
    return drag, True, -drag * slip


@cuda.jit(device=True)
def touch_all(
    x: Any, v: Any, force: Any, mass: Any, chain: Any, sizes: Any, row: Any, mine: Any, near: Any, held: Any
) -> Any:
    """One row's step: its node against all that is near it; a node at a corner rubs once. Friction's work."""
    if near[U(row), U(0)] < 0:
        held[U(row)] = ZERO
        return ZERO
    own, place, other = surface_of(row, sizes)
    p, last = U(chain[own, place]), int32(sizes[other]) - int32(1)
    before, kept, fresh, rub = held[U(row)], ZERO, True, ZERO
    for at in range(MOST_NEAR):
        m = int32(near[U(row), U(at)])
        if m < 0:
            break
        drag, met, lost = touch(x, v, force, mass, chain, p, other, last, m, mine, before, fresh)
        rub += lost
        if met and fresh:
            kept, fresh = drag, False
    held[U(row)] = kept
    return rub


@cuda.jit(device=True, inline=True)
def mandrel(x: Any, v: Any, force: Any, mass: Any, n: Any, mine: Any, speed: Any) -> tuple[Any, Any]:
    """Keep a node of the counterbore off the mandrel: what it pulls, and friction's work."""
    depth = mine[MANDREL] - x[0, n]
    push = mass[n] * (HARD_F * depth - CALM_F * v[0, n])
    if depth <= ZERO or push <= ZERO:
        return ZERO, ZERO
    slip = v[1, n] - speed
    drag = min(mine[FRICTION] * push, STICK_F * mass[n] * abs(slip))
    drag = -drag if slip > ZERO else drag
    cuda.atomic.add(force, (U(0), n), push)
    cuda.atomic.add(force, (U(1), n), drag)
    return drag, -drag * slip


@cuda.jit(device=True, inline=True)
def anvil(x: Any, v: Any, force: Any, mass: Any, n: Any, mine: Any) -> Any:
    """Hold a node of the flange's face on the anvil; friction's work."""
    depth = x[1, n] - mine[FACE_Z]
    push = mass[n] * (HARD_F * depth + CALM_F * v[1, n])
    if depth <= ZERO or push <= ZERO:
        return ZERO
    drag = min(mine[FRICTION] * push, STICK_F * mass[n] * abs(v[0, n]))
    drag = -drag if v[0, n] > ZERO else drag
    cuda.atomic.add(force, (U(1), n), -push)
    cuda.atomic.add(force, (U(0), n), drag)
    return -drag * v[0, n]

"""Touching surfaces: nodes of one chain against the pieces of another, by penalty, with Coulomb friction.

The penalty is as hard as a step of one allows (half the mass of what touches, per step²), about as hard as the metal
behind it. Each pair of surfaces is used both ways, so that a sheet's edge cannot slip in between two nodes of the wall.
"""

from __future__ import annotations

import numpy as np

from firstpull.mechanics.collapse.body import Body, Bounds, Floats, Ints, Touching
from firstpull.mechanics.collapse.compiled import compiled

HARD = 0.15
CALM = 0.1
"""Share of the speed of approach that a touch takes away in a step."""
STICK = 0.1
"""Share of the slip on mandrel and anvil that friction may stop in one step."""
MOST_TURN = 0.5
"""Cosine of the most that a piece's direction is turned towards its neighbour's."""


@compiled
def _find_pairs(x: Floats, points: Ints, chain: Ints, reach: float, deepest: float, rows: Ints) -> int:
    """List the (node, piece) rows nearer than ``reach``; pieces that end in the node itself are left out."""
    count = 0
    for n in range(points.shape[0]):
        p = points[n]
        for m in range(chain.shape[0] - 1):
            a, b = chain[m], chain[m + 1]
            if p in (a, b):
                continue
            tr, tz = x[b, 0] - x[a, 0], x[b, 1] - x[a, 1]
            length = np.sqrt(tr * tr + tz * tz)
            away_r, away_z = x[p, 0] - 0.5 * (x[a, 0] + x[b, 0]), x[p, 1] - 0.5 * (x[a, 1] + x[b, 1])
            if away_r * away_r + away_z * away_z > (reach + 0.5 * length) ** 2:
                continue
            gap = (tz * away_r - tr * away_z) / length
            if -deepest <= gap <= reach and count < rows.shape[0]:
                rows[count, 0], rows[count, 1], rows[count, 2] = p, a, b
                rows[count, 3], rows[count, 4] = chain[max(m - 1, 0)], chain[min(m + 2, chain.shape[0] - 1)]
                count += 1
    return count


@compiled
def _direction(x: Floats, row: Ints, along: float) -> tuple[float, float]:
    """The surface's direction at the foot point, turned evenly from one end's mean to the other's.

    So the push does not change its direction by a jump when a node slides over a corner, which would make it chatter.
    """
    a, b, before, after = row[1], row[2], row[3], row[4]
    tr, tz = x[b, 0] - x[a, 0], x[b, 1] - x[a, 1]
    own = 1.0 / np.sqrt(tr * tr + tz * tz)
    tr, tz = tr * own, tz * own
    ar, az = x[b, 0] - x[before, 0], x[b, 1] - x[before, 1]
    br, bz = x[after, 0] - x[a, 0], x[after, 1] - x[a, 1]
    size_a, size_b = np.sqrt(ar * ar + az * az), np.sqrt(br * br + bz * bz)
    if ar * tr + az * tz < MOST_TURN * size_a:  # so sharp a fold has no mean direction
        ar, az, size_a = tr, tz, 1.0
    if br * tr + bz * tz < MOST_TURN * size_b:
        br, bz, size_b = tr, tz, 1.0
    at_a, at_b = (1.0 - along) / size_a, along / size_b
    tr, tz = at_a * ar + at_b * br, at_a * az + at_b * bz
    one = 1.0 / np.sqrt(tr * tr + tz * tz)
    return tr * one, tz * one


@compiled
def _touch(body: Body, bounds: Bounds, touching: Touching, pair: int, rows: Ints, on_points: Floats) -> float:
    """Push each node out of its piece; returns the work of friction. ``on_points``: what pushes nodes up, and down, in N.

    The metal of a piece lies on its left. What pushes the node goes back to the ends of the piece by the lever.
    """
    x, v, force, mass = body.x, body.v, body.force, body.mass
    work, now = 0.0, touching.clock[0]
    for k in range(rows.shape[0]):
        p, a, b = rows[k, 0], rows[k, 1], rows[k, 2]
        tr, tz = x[b, 0] - x[a, 0], x[b, 1] - x[a, 1]
        square = tr * tr + tz * tz
        wr, wz = x[p, 0] - x[a, 0], x[p, 1] - x[a, 1]
        along = (wr * tr + wz * tz) / square
        if along < 0.0 or along >= 1.0:
            continue
        gap = (wr * tz - wz * tr) / np.sqrt(square)
        if gap >= 0.0 or gap < -bounds.deepest_mm:
            continue
        tr, tz = _direction(x, rows[k], along)
        rest = 1.0 - along
        of_piece = mass[a] * mass[b] / (rest * rest * mass[b] + along * along * mass[a])
        of_both = min(mass[p] * of_piece / (mass[p] + of_piece), bounds.heavy)
        vr = v[p, 0] - rest * v[a, 0] - along * v[b, 0]
        vz = v[p, 1] - rest * v[a, 1] - along * v[b, 1]
        push = -of_both * (HARD * gap + CALM * (vr * tz - vz * tr))
        if push <= 0.0:
            continue
        slip = vr * tr + vz * tz
        drag = 0.0
        if touching.when[pair, p] < now:  # a node at a corner rubs once
            if touching.when[pair, p] == now - 1:
                drag = touching.held[pair, p]
            drag = min(max(drag - HARD * of_both * slip, -bounds.friction * push), bounds.friction * push)
            touching.held[pair, p] = drag
            touching.when[pair, p] = now
        work -= drag * slip
        fr, fz = push * tz + drag * tr, drag * tz - push * tr
        force[p, 0] += fr
        force[p, 1] += fz
        force[a, 0] -= rest * fr
        force[a, 1] -= rest * fz
        force[b, 0] -= along * fr
        force[b, 1] -= along * fz
        if fz > 0.0:
            on_points[0] += fz
        else:
            on_points[1] -= fz
    return work


@compiled
def _mandrel(body: Body, bounds: Bounds, speed: float) -> tuple[float, float]:
    """Keep the counterbore off the mandrel, which rises with the bore; its pull in N a radian and friction's work."""
    pull = work = 0.0
    for k in range(bounds.inner.shape[0]):
        n = bounds.inner[k]
        depth = bounds.mandrel_mm - body.x[n, 0]
        push = body.mass[n] * (HARD * depth - CALM * body.v[n, 0])
        if depth > 0.0 and push > 0.0:
            slip = body.v[n, 1] - speed
            drag = min(bounds.friction * push, STICK * body.mass[n] * abs(slip))
            drag = -drag if slip > 0.0 else drag
            body.force[n, 0] += push
            body.force[n, 1] += drag
            work -= drag * slip
            pull += drag
    return pull, work


@compiled
def _anvil(body: Body, bounds: Bounds) -> tuple[float, float]:
    """Hold the flange's face on the anvil; the anvil's load in N a radian and friction's work."""
    load = work = 0.0
    for k in range(bounds.face.shape[0]):
        n = bounds.face[k]
        depth = body.x[n, 1] - bounds.face_mm
        push = body.mass[n] * (HARD * depth + CALM * body.v[n, 1])
        if depth > 0.0 and push > 0.0:
            drag = min(bounds.friction * push, STICK * body.mass[n] * abs(body.v[n, 0]))
            drag = -drag if body.v[n, 0] > 0.0 else drag
            body.force[n, 1] -= push
            body.force[n, 0] += drag
            work -= drag * body.v[n, 0]
            load += push
    return load, work

"""March the pull in steps of one: the metal, the touching, the mandrel, the anvil, the motion."""

from __future__ import annotations

import numpy as np

from firstpull.mechanics.collapse.body import (
    ANVIL,
    DAMPING_WORK,
    FIRST_PAIR,
    FRICTION_WORK,
    METAL_WORK,
    PULL,
    PULL_WORK,
    Body,
    Bounds,
    Floats,
    Touching,
)
from firstpull.mechanics.collapse.compiled import compiled
from firstpull.mechanics.collapse.contact import _anvil, _mandrel, _touch
from firstpull.mechanics.collapse.element import metal_forces


@compiled
def _march(body: Body, bounds: Bounds, touching: Touching, speeds: Floats, sums: Floats) -> None:
    """Take one step for each of ``speeds`` (mm a step, of the bore) and add to ``sums`` (places: see ``body``)."""
    on = np.zeros(2)
    x, v, force = body.x, body.v, body.force
    for step in range(speeds.shape[0]):
        speed = speeds[step]
        for n in range(x.shape[0]):
            x[n, 0] += v[n, 0]
            x[n, 1] += v[n, 1]
            force[n, 0] = 0.0
            force[n, 1] = 0.0
        sums[METAL_WORK] += metal_forces(body)
        first = 0
        touching.clock[0] += 1
        for pair in range(touching.counts.shape[0]):
            last = first + touching.counts[pair]
            on[0] = on[1] = 0.0
            sums[FRICTION_WORK] += _touch(body, bounds, touching, pair, touching.rows[first:last], on)
            sums[FIRST_PAIR + 2 * pair] += on[0]
            sums[FIRST_PAIR + 2 * pair + 1] += on[1]
            first = last
        pull, friction = _mandrel(body, bounds, speed)
        load, rubbing = _anvil(body, bounds)
        sums[FRICTION_WORK] += friction + rubbing
        sums[ANVIL] += load
        for k in range(bounds.bore.shape[0]):
            pull -= force[bounds.bore[k], 1]
        sums[PULL] += pull
        sums[PULL_WORK] += pull * speed
        for n in range(x.shape[0]):
            inv, lost = 1.0 / body.mass[n], body.damping[n]
            sums[DAMPING_WORK] += lost * body.mass[n] * (v[n, 0] * v[n, 0] + v[n, 1] * v[n, 1])
            v[n, 0] += force[n, 0] * inv - lost * v[n, 0]
            v[n, 1] += force[n, 1] * inv - lost * v[n, 1]
        for k in range(bounds.bore.shape[0]):
            v[bounds.bore[k], 0] = 0.0
            v[bounds.bore[k], 1] = speed

"""March the GPU's kernel on Numba's simulator beside the CPU's kernels and print both, look by look, as JSON.

NUMBA_ENABLE_CUDASIM=1 python -m studies.many_pulls.on_simulator LOOKS
"""

from __future__ import annotations

import json
import sys

import numpy as np
from studies.many_pulls.kernel import make_kernel
from studies.many_pulls.pack import pack

from firstpull.mechanics.collapse.body import DAMPING_WORK, MASS_WORK, PULL_WORK
from firstpull.mechanics.collapse.case import PullCase, Sheet
from firstpull.mechanics.collapse.element import kinetic
from firstpull.mechanics.collapse.material import FlowCurve
from firstpull.mechanics.collapse.simulate import CHUNK, KINETIC_GOAL, Effort, advance, begin

EFFORT = Effort(layers=2, pace=0.02, start=1.0)
THREADS = 16


def case() -> PullCase:
    """A short shank in a sheet, tight in its hole so that it touches at once."""
    metal = FlowCurve("swift", 200_000.0, 0.3, k_mpa=600.0, e0=0.01, n=0.2)
    return PullCase(6.0, 4.8, 3.0, 4.2, 3.0, 9.0, 0.9, metal, 0.25, 1.5, Sheet(1.2, 6.01, 0.2))


def on_cpu(looks: int) -> list[list[float]]:
    """Stroke, work, diameter and moving energy at each look."""
    state = begin(case(), layers=EFFORT.layers)
    rows, calm = [[0.0, 0.0, case().outer_diameter_mm, 0.0]], 1.0
    for _look in range(looks - 1):
        advance(state, np.full(CHUNK, calm * EFFORT.speed_mm(state.stroke_mm, case())))
        moving = kinetic(state.body)
        work = float(state.sums[PULL_WORK] + state.sums[MASS_WORK] - state.sums[DAMPING_WORK]) - moving
        calm = max(0.2, 0.96 * calm) if moving > KINETIC_GOAL * abs(work) else min(1.0, 1.01 * calm)
        rows.append([state.stroke_mm, work, 2.0 * float(state.body.x[state.mesh.wall_outer, 0].max()), moving])
    return rows


def main() -> None:
    """Print {"gpu": rows, "cpu": rows, "unbalanced": share of the work}."""
    looks = int(sys.argv[1])
    packed = pack([case()], effort=EFFORT, looks=looks)
    out, totals = packed.outputs()
    make_kernel(THREADS)[1, THREADS](*packed.arguments(), out, totals)
    print(
        json.dumps(
            {
                "gpu": out[0, :looks].astype(float).tolist(),
                "cpu": on_cpu(looks),
                "unbalanced": float(totals[0, 1] / totals[0, 2]),
            }
        )
    )


if __name__ == "__main__":
    main()

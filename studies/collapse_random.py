"""Pull many random plausible inserts and print which do not finish, what each took, and how well the error bar covers.

    python studies/collapse_random.py [FIRST LAST]

Seeds FIRST … LAST − 1 (1000 … 1499). Each case is run as the product runs it: the fine run, the coarse one beside it, and
the careful one where the fine run does not keep its energy. Refused beforehand counts as named, not as run.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from firstpull.errors import BadInput, Unsafe
from firstpull.mechanics.collapse.case import PullCase, Sheet, check_case
from firstpull.mechanics.collapse.material import FlowCurve
from firstpull.mechanics.collapse.pull import ENERGY_MOST, virtual_pull


def random_case(rng: np.random.Generator) -> PullCase:
    """A plausible insert: M3 to M10, walls of 6 to 19 %, 3.5 to 12 walls free, four kinds of metal, in the air or a sheet."""
    thread = rng.uniform(2.9, 10.1)
    counterbore = thread * rng.uniform(1.04, 1.15) + 0.1
    wall = max(0.3, rng.uniform(0.07, 0.16) * thread * rng.uniform(0.8, 1.2))
    outer = counterbore + 2.0 * wall
    thickness, air = float(rng.uniform(0.5, 3.5)), rng.random() < 0.3
    free = rng.uniform(3.5, 12.0) * wall
    kind = rng.integers(4)
    metal = (
        FlowCurve("swift", 210e3, 0.3, k_mpa=rng.uniform(400, 900), e0=rng.uniform(0.002, 0.03), n=rng.uniform(0.08, 0.28)),
        FlowCurve(
            "voce", 70e3, 0.33, s0_mpa=rng.uniform(80, 260), q_mpa=rng.uniform(20, 150), b=rng.uniform(4, 25),
            h_mpa=rng.uniform(0, 80),
        ),
        FlowCurve("swift", 195e3, 0.29, k_mpa=rng.uniform(900, 1500), e0=rng.uniform(0.01, 0.05), n=rng.uniform(0.25, 0.5)),
        FlowCurve("ludwik", 105e3, 0.34, s0_mpa=rng.uniform(100, 300), k_mpa=rng.uniform(200, 500), n=rng.uniform(0.3, 0.7)),
    )[kind]  # fmt: skip
    sheet = None
    if not air:
        hole, edge = outer + rng.choice([0.02, 0.1, 0.2, 0.4, 0.6]), min(0.45 * thickness, rng.uniform(0.03, 0.3))
        soft = (rng.choice([70e3, 200e3, 3000.0]), rng.uniform(60, 400)) if rng.random() < 0.5 else (None, None)
        sheet = Sheet(thickness, hole, edge, *soft)
    rest = (rng.uniform(0.5, 1.2) * thread, outer * rng.uniform(1.25, 1.7), rng.uniform(0.5, 2.0) * wall + 0.3)
    friction = rng.uniform(0, 0.3)
    stroke = rng.uniform(0.75, 0.93) * (free - 1.7 * wall) if free > 3.2 * wall else 0.3 * free
    return PullCase(
        outer, counterbore, free if air else free + thickness, thread * 0.92, *rest, metal, friction, stroke, sheet
    )


def main() -> None:
    """Run the seeds and print one line for each that is not plain, then the sums."""
    first, last = (int(word) for word in sys.argv[1:3]) if len(sys.argv) > 2 else (1000, 1500)
    took: list[float] = []
    refused = coarser = over = unsafe = 0
    for seed in range(first, last):
        case = random_case(np.random.default_rng(seed))
        try:
            check_case(case)
        except BadInput as problem:
            refused += 1
            print(seed, "refused:", problem, flush=True)
            continue
        start = time.process_time()
        try:
            pull = virtual_pull(case)
        except Unsafe as problem:
            unsafe += 1
            print(seed, "UNSAFE:", problem, "air" if case.sheet is None else case.sheet, flush=True)
            continue
        took.append(time.process_time() - start)
        if any("finer run" in said for said in pull.limits):
            coarser += 1
            print(seed, "coarser", f"energy {pull.energy_error:.4f}", flush=True)
        if pull.energy_error > ENERGY_MOST or pull.kinetic_share > ENERGY_MOST:
            over += 1
            print(seed, f"energy {pull.energy_error:.4f} kinetic {pull.kinetic_share:.4f}", flush=True)
        if not np.isfinite(pull.force_n).all() or pull.force_n[5:].min() < 0.0:
            print(seed, "a load that cannot be:", pull.force_n.min(), flush=True)
    print(
        f"{last - first} cases: {refused} refused, {coarser} in the coarser run, {over} miss energy or kinetic, {unsafe} unsafe; "
        f"whole answer median {np.median(took):.2f} s, 90 % {np.quantile(took, 0.9):.2f} s, most {max(took):.2f} s of CPU"
    )


if __name__ == "__main__":
    main()

"""Random plausible inserts are pulled without falling apart."""

from __future__ import annotations

import numpy as np
import pytest

from firstpull.mechanics.collapse.case import PullCase, Sheet, check_case
from firstpull.mechanics.collapse.material import FlowCurve
from firstpull.mechanics.collapse.mesh import build_mesh
from firstpull.mechanics.collapse.simulate import Effort, simulate

COARSE = Effort(layers=3, pace=0.0017)


def random_case(seed: int) -> PullCase:
    """A plausible insert: M3 to M10, thin and thick walls, short and long, in the air or in a sheet."""
    rng = np.random.default_rng(seed)
    thread = rng.uniform(3.0, 10.0)
    counterbore = 0.2 + thread * rng.uniform(1.02, 1.1)
    wall = max(0.3, rng.uniform(0.07, 0.16) * thread)
    outer = counterbore + 2.0 * wall
    thickness, free = float(rng.uniform(0.6, 3.5)), rng.uniform(4.0, 10.0) * wall
    air = bool(rng.random() < 0.3)
    metal = (
        FlowCurve(
            "swift", 210e3, 0.3, k_mpa=rng.uniform(400, 900), e0=rng.uniform(0.002, 0.03), n=rng.uniform(0.1, 0.3)
        ),
        FlowCurve("voce", 70e3, 0.33, s0_mpa=rng.uniform(80, 250), q_mpa=rng.uniform(20, 150), b=10.0, h_mpa=30.0),
        FlowCurve("swift", 195e3, 0.29, k_mpa=rng.uniform(900, 1500), e0=0.03, n=rng.uniform(0.3, 0.5)),
    )[rng.integers(3)]
    sheet = None if air else Sheet(thickness, outer + float(rng.uniform(0.05, 0.4)), min(0.3, 0.2 * thickness))
    length = free if air else free + thickness
    return PullCase(
        outer, counterbore, length, 0.92 * thread, thread, 1.45 * outer, 1.2 * wall + 0.3, metal,
        float(rng.uniform(0.0, 0.25)), 0.5 * float(free), sheet,
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(6))
def test_a_random_insert_is_pulled(seed: int) -> None:
    """It finishes, keeps its energy within 2 % and moves slowly; the load is never negative, the shank only grows."""
    run = simulate(check_case(random_case(seed)), effort=COARSE)
    assert run.finished
    assert run.energy_error < 0.02
    assert run.kinetic_share < 0.02
    assert run.force_n[5:].min() > 0.0
    assert run.diameter_mm[-1] > run.diameter_mm[0]


@pytest.mark.parametrize("seed", range(40))
def test_every_mesh_is_whole(seed: int) -> None:
    """No quadrilateral is turned inside out, and every node belongs to one."""
    for layers in (3, 4, 6):
        mesh = build_mesh(random_case(seed), layers=layers)
        corner = mesh.nodes[mesh.quads]
        across, up = corner[:, 2] - corner[:, 0], corner[:, 3] - corner[:, 1]
        assert float((across[:, 0] * up[:, 1] - across[:, 1] * up[:, 0]).min()) > 0.0
        assert len(np.unique(mesh.quads)) == len(mesh.nodes)

"""Learning from a pull whose truth is not in the learner's family: finer mesh, another law, noise. A few pulls' time."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firstpull.errors import BadInput
from firstpull.mechanics.collapse.case import PullCase, Sheet
from firstpull.mechanics.collapse.material import FlowCurve

TOLD = PullCase(
    outer_diameter_mm=9.0,
    counterbore_diameter_mm=7.0,
    unthreaded_length_mm=7.6,
    bore_diameter_mm=5.35,
    threaded_length_mm=6.0,
    flange_diameter_mm=13.0,
    flange_thickness_mm=1.3,
    metal=FlowCurve("swift", 210_000.0, 0.3, k_mpa=600.0, e0=0.01, n=0.18),
    friction=0.12,
    stroke_mm=4.9,
    sheet=Sheet(2.0, 9.15, 0.1, 210_000.0, 300.0),
)


def test_a_curve_of_another_law_tells_the_strength_and_not_the_friction() -> None:
    """A Voce lot pulled on the fine mesh with noise: its strength is found within the stated doubt, friction is not told."""
    from dataclasses import replace

    from firstpull.mechanics.collapse.learn import learn
    from firstpull.mechanics.collapse.material import flow_stress_mpa
    from firstpull.mechanics.collapse.pull import FINE
    from firstpull.mechanics.collapse.simulate import simulate

    truth = replace(
        TOLD,
        metal=FlowCurve("voce", 210_000.0, 0.3, s0_mpa=240.0, q_mpa=170.0, b=9.0, h_mpa=120.0),
        friction=0.18,
        stroke_mm=4.0,
    )
    run = simulate(truth, effort=FINE)
    rng = np.random.default_rng(5)
    force = run.force_n * 1.003 + rng.normal(0.0, 40.0, len(run.force_n))
    found = learn(TOLD, curve=(run.stroke_mm[1:], force[1:]))
    strain = np.array([0.2])
    ratio = float(flow_stress_mpa(truth.metal, strain)[0] / flow_stress_mpa(TOLD.metal, strain)[0])
    strength, _hardening, friction = found.told
    assert abs(math.log(strength.value / ratio)) < 3.0 * strength.sd
    assert strength.sd < 0.3 * strength.prior_sd
    assert "could not" in friction.text
    assert found.closure_sd_mm is not None
    assert found.closure_sd_mm > 0.05


def test_data_that_cannot_be_used_are_refused_before_any_run() -> None:
    """Nothing, strokes that fall, and a bulge narrower than the shank are named."""
    from firstpull.mechanics.collapse.learn import SetInsert, learn

    with pytest.raises(BadInput, match="nothing to learn"):
        learn(TOLD)
    with pytest.raises(BadInput, match="must rise"):
        learn(TOLD, curve=(np.linspace(3.0, 0.0, 50), np.full(50, 9_000.0)))
    with pytest.raises(BadInput, match="cannot be right"):
        learn(TOLD, inserts=(SetInsert(3.0, 5.0),))


def test_effects_are_differences_of_coarse_pulls_and_stages_are_kept() -> None:
    """A stronger metal pulls harder, a moved case carries its friction, and the stages run from 0 to the stroke."""
    from dataclasses import replace

    from firstpull.mechanics.collapse.learn import bent_case
    from firstpull.mechanics.collapse.sensitivity import coarse_pull, effects

    assert bent_case(TOLD, (0.0, 0.0, 0.05)).friction == pytest.approx(0.17)
    short = replace(TOLD, stroke_mm=2.2)
    base = coarse_pull(short, stages=5)
    assert len(base.stages) == 5
    assert base.stages[-1].stroke_mm == pytest.approx(2.2, abs=0.05)
    rows = {row.what: row for row in effects(short, base)}
    assert set(rows) == {"thickness", "hole", "wall", "material", "friction"}
    peak = base.events["peak"]
    assert peak is not None
    change = rows["material"].peak_n
    assert change is not None
    assert change == pytest.approx(0.1 * peak.force_n, rel=0.1)

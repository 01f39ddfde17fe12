"""Ceilings, window of strokes, and the doubt of the model, on curves worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firstpull.errors import BadInput
from firstpull.mechanics.collapse.case import PullCase, Sheet
from firstpull.mechanics.collapse.discrepancy import Observation, discrepancy
from firstpull.mechanics.collapse.events import Event
from firstpull.mechanics.collapse.limits import (
    Ceiling,
    Surroundings,
    ceilings,
    flange_crush_n,
    mandrel_proof_n,
    tensile_strength_mpa,
    thread_strip_n,
)
from firstpull.mechanics.collapse.material import FlowCurve, flow_stress_mpa
from firstpull.mechanics.collapse.window import stroke_window

STEEL = FlowCurve("hollomon", 210_000.0, 0.3, k_mpa=600.0, n=0.2)
CASE = PullCase(
    outer_diameter_mm=9.0,
    counterbore_diameter_mm=7.2,
    unthreaded_length_mm=8.0,
    bore_diameter_mm=5.35,
    threaded_length_mm=6.0,
    flange_diameter_mm=13.0,
    flange_thickness_mm=1.5,
    metal=STEEL,
    friction=0.12,
    stroke_mm=4.0,
    sheet=Sheet(2.0, 9.2, 0.1, 210_000.0, 250.0),
)
STROKE = np.arange(0.0, 6.001, 0.01)
FORCE = np.where(
    STROKE < 1.0,
    10_000.0 * STROKE,
    np.where(STROKE < 4.0, 10_000.0 - 500.0 * (STROKE - 1.0), 8_500.0 + 10_000.0 * (STROKE - 4.0)),
)
EVENTS = {"peak": Event(1.0, 10_000.0), "closure": Event(4.1, 9_500.0), "seating": Event(4.2, 10_500.0)}
TOP = (Ceiling("threads", 14_500.0, "the engaged threads would strip (margin 1.25)"),)


def window(preload_n: float | None = None, **more: float):  # type: ignore[no-untyped-def]
    return stroke_window(STROKE, FORCE, events=EVENTS, ceilings=TOP, around=Surroundings(preload_n=preload_n, **more))


def test_the_clamp_alone_gives_the_lower_end_without_a_preload() -> None:
    """Seating is the least stroke where nothing is known of the screw, and that is said."""
    found = window()
    assert found.stroke_min_mm == 4.2
    assert any("preload is not known" in note for note in found.notes)
    assert found.open


def test_a_large_preload_moves_the_lower_end_to_the_stroke_that_stands_it() -> None:
    """1.1 times 11 kN is 12.1 kN, met at 4.36 mm on the rising line; a pull that never stands it has no lower end."""
    found = window(11_000.0)
    assert found.stroke_min_mm == pytest.approx(4.36, abs=0.011)
    assert "tightening" in found.min_by
    assert window(40_000.0).stroke_min_mm is None


def test_the_first_ceiling_or_the_tools_stroke_gives_the_upper_end() -> None:
    """14.5 kN is met at 4.6 mm; a tool of 4.5 mm with 0.02 mm/kN has used them up at 4.5 − 0.02 F."""
    found = window()
    assert found.stroke_max_mm == pytest.approx(4.6, abs=1e-6)
    assert "strip" in found.max_by
    short = window(tool_stroke_mm=4.5, compliance_mm_per_kn=0.02)
    assert short.stroke_max_mm == pytest.approx((4.5 - 0.02 * (8.5 - 40.0)) / 1.2, abs=0.011)
    assert "tool" in short.max_by


def test_a_peak_above_the_ceiling_leaves_no_window() -> None:
    """Threads that strip below the first peak end the window before it begins."""
    low = (Ceiling("threads", 9_000.0, "x"),)
    found = stroke_window(STROKE, FORCE, events=EVENTS, ceilings=low, around=Surroundings())
    assert found.stroke_max_mm == pytest.approx(0.9, abs=1e-6)
    assert not found.open
    assert any("no window" in note for note in found.notes)


def test_ceilings_are_those_of_hand_calculation() -> None:
    """R_m of K εⁿ is K nⁿ e⁻ⁿ; an M6 mandrel of class 12.9 has 20.12 mm² × 970 MPa; the ring under the flange R_e times its area."""
    assert tensile_strength_mpa(STEEL) == pytest.approx(600.0 * 0.2**0.2 * math.exp(-0.2), rel=0.01)
    assert mandrel_proof_n("M6") == pytest.approx(20.12 * 970.0, rel=0.01)
    assert flange_crush_n(CASE) == pytest.approx(250.0 * math.pi / 4.0 * (13.0**2 - 9.2**2))
    found = ceilings(CASE, Surroundings(thread="M6", tool_load_n=20_000.0))
    assert [one.load_n for one in found] == sorted(one.load_n for one in found)
    threads = next(one for one in found if one.name == "threads")
    assert threads.load_n == pytest.approx(thread_strip_n(CASE, designation="M6") / 1.25)


def test_observations_shrink_the_models_doubt_by_their_precision() -> None:
    """One observation as doubtful as the prior halves the variance and takes half of the difference."""
    assert discrepancy(()).sd_mm == pytest.approx(0.1)
    found = discrepancy((Observation(0.2, 0.1, "closure"),))
    assert (found.mean_mm, found.sd_mm) == (pytest.approx(0.1), pytest.approx(0.1 / math.sqrt(2.0)))
    with pytest.raises(BadInput):
        discrepancy((Observation(0.2, 0.0, "closure"),))


def test_a_bent_curve_is_turned_about_a_fifth_and_contact_lies_between_stages() -> None:
    """Strength scales every stress, hardening leaves the stress at 0.2; the bulge touches where its gap is used up."""
    pytest.importorskip("numba")
    from firstpull.mechanics.collapse.sensitivity import Stage, bent_curve, contact_stroke_mm, variants

    at = np.array([0.2])
    bent = bent_curve(STEEL, strength=1.1, hardening=0.05)
    assert flow_stress_mpa(bent, at)[0] == pytest.approx(1.1 * flow_stress_mpa(STEEL, at)[0], rel=0.002)
    assert flow_stress_mpa(bent, np.array([1.0]))[0] > 1.1 * flow_stress_mpa(STEEL, np.array([1.0]))[0]
    sheet = ((6.0, 0.0), (4.6, 0.0), (4.6, -2.0), (6.0, -2.0))
    stages = tuple(Stage(s, 0.0, ((5.0, -2.0 - gap),), sheet) for s, gap in ((0.0, 1.03), (1.0, 0.53), (2.0, 0.0)))
    assert contact_stroke_mm(stages, hole_diameter_mm=9.2) == pytest.approx(1.0 + 0.5 / 0.53, abs=1e-3)
    assert [what for what, _change, _case in variants(CASE)] == ["thickness", "hole", "wall", "material", "friction"]

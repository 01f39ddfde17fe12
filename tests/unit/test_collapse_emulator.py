"""The quick answer beside the simulation it was fitted to, its box, and the share of sets that closes."""

from __future__ import annotations

from dataclasses import astuple, replace

import numpy as np
import pytest

from firstpull.errors import BadInput
from firstpull.mechanics.collapse import emulator
from firstpull.mechanics.collapse.case import PullCase, Scatter, Sheet
from firstpull.mechanics.collapse.closing import closing_share
from firstpull.mechanics.collapse.emulator import Features, emulate, features_of, outside, swift_of
from firstpull.mechanics.collapse.events import find_events
from firstpull.mechanics.collapse.material import FlowCurve, flow_stress_mpa
from firstpull.mechanics.collapse.simulate import Effort, simulate

STEEL = FlowCurve("swift", 210_000.0, 0.3, k_mpa=700.0, e0=0.01, n=0.2)
M6 = PullCase(9.0, 7.4, 6.8, 6.0, 7.0, 13.0, 1.5, STEEL, 0.12, 4.6, Sheet(1.5, 9.1, 0.15))
CASES = {
    "M6 steel": M6,
    "a thin sheet": replace(M6, sheet=Sheet(0.8, 9.2, 0.1), unthreaded_length_mm=6.1),
    "a wide step to the thread": replace(M6, bore_diameter_mm=5.2),
    "M8 stainless": PullCase(
        11.0, 9.0, 8.5, 7.2, 9.0, 16.0, 1.6, FlowCurve("swift", 195_000.0, 0.29, k_mpa=1_200.0, e0=0.03, n=0.35), 0.2, 5.6,
        Sheet(2.0, 11.2, 0.3),
    ),
    "M5 aluminium": PullCase(
        7.0, 5.9, 5.5, 4.6, 6.0, 10.0, 1.0, FlowCurve("voce", 70_000.0, 0.33, s0_mpa=180.0, q_mpa=120.0, b=8.0, h_mpa=60.0),
        0.1, 3.6, Sheet(1.5, 7.1, 0.1),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_it_says_what_the_simulation_says(name: str) -> None:
    """Force before closure within 10 % of the coarse simulation's, 5 % in the mean; closure within three deviations and 0.05 mm."""
    case = CASES[name]
    run = simulate(case, effort=Effort(layers=3, pace=0.0017))
    quick = emulate(case)
    end = 0.9 * case.stroke_mm
    real = find_events(run.stroke_mm, run.force_n, wall_mm=case.wall_mm)
    if real["closure"] is not None:
        end = min(end, real["closure"].stroke_mm - 0.2)
    at = np.arange(0.3, end, 0.1)
    ratio = np.interp(at, quick.stroke_mm, quick.force_n) / np.interp(at, run.stroke_mm, run.force_n)
    assert float(np.sqrt(np.mean((ratio - 1.0) ** 2))) < 0.05
    assert float(np.abs(ratio - 1.0).max()) < 0.10
    assert real["closure"] is not None
    if quick.clear_cut:
        assert quick.events["closure"] is not None
        off = quick.events["closure"].stroke_mm - real["closure"].stroke_mm
        assert abs(off) < 3.0 * quick.closure_sd_mm + 0.05


def test_outside_the_box_it_answers_nothing() -> None:
    """A pull in the air, a thick wall, an odd metal: each is named, with what the fit covers."""
    with pytest.raises(BadInput, match="in a sheet"):
        emulate(replace(M6, sheet=None))
    with pytest.raises(BadInput, match="outer diameter in walls is 6"):
        emulate(replace(M6, counterbore_diameter_mm=6.0, bore_diameter_mm=5.0))
    assert outside(features_of(M6)) == ()
    assert "friction" in outside(features_of(replace(M6, friction=0.4)))[0]


def test_the_box_is_where_the_words_are() -> None:
    """Every feature has its range and its words, in one order."""
    assert list(emulator.RANGES) == list(emulator.WORDS) == list(Features.__dataclass_fields__)
    middle = np.array([[(low + high) / 2.0 for low, high, _scale in emulator.RANGES.values()]])
    even = [scale == "even" for *_limits, scale in emulator.RANGES.values()]
    np.testing.assert_allclose(emulator.scaled(middle)[0][even], 0.0, atol=1e-12)


def test_the_nearest_swift_law() -> None:
    """A Swift law is itself; a Voce law is met within 6 % over the strains of a fold."""
    assert swift_of(STEEL) == (700.0, 0.01, 0.2)
    voce = CASES["M5 aluminium"].metal
    k_mpa, e0, n = swift_of(voce)
    strain = np.geomspace(0.02, 1.0, 30)
    np.testing.assert_allclose(k_mpa * (e0 + strain) ** n, flow_stress_mpa(voce, strain), rtol=0.06)


def test_the_share_closed_rises_with_the_stroke_and_meets_its_own_mean() -> None:
    """Half of the sets have closed at the mean closure; none long before, all long after; more scatter spreads it."""
    narrow, wide = Scatter(thickness_mm=0.03), Scatter(thickness_mm=0.08, hole_mm=0.05, wall_mm=0.01, strength=0.05)
    first = closing_share(M6, stroke_mm=4.0, scatter=narrow, model_sd_mm=0.1)
    shares = [
        closing_share(M6, stroke_mm=first.closure_mean_mm + step, scatter=narrow, model_sd_mm=0.1).share_closed
        for step in (-1.5, -0.1, 0.0, 0.1, 1.5)
    ]
    assert shares == sorted(shares)
    assert shares[0] < 0.01
    assert shares[2] == pytest.approx(0.5, abs=0.05)
    assert shares[4] > 0.99
    spread = closing_share(M6, stroke_mm=4.0, scatter=wide, model_sd_mm=0.1)
    assert spread.closure_sd_mm > first.closure_sd_mm
    assert spread.covered > 0.9


def test_a_negative_scatter_is_refused() -> None:
    """It says what would be right."""
    with pytest.raises(BadInput, match="negative"):
        closing_share(M6, stroke_mm=4.0, scatter=Scatter(hole_mm=-0.1), model_sd_mm=0.1)
    assert min(astuple(Scatter())) == 0.0

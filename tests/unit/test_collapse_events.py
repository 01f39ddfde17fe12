"""Events of a force–stroke curve, and what a virtual pull gives."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from firstpull.mechanics.collapse.case import PullCase, Sheet
from firstpull.mechanics.collapse.events import find_events
from firstpull.mechanics.collapse.material import FlowCurve
from firstpull.mechanics.collapse.pull import VirtualPull, virtual_pull

STEEL = FlowCurve("swift", 210_000.0, 0.3, k_mpa=620.0, e0=0.008, n=0.17)


@cache
def set_pull() -> VirtualPull:
    """A short shank set in a sheet, once for all tests."""
    case = PullCase(9.0, 7.2, 6.5, 5.5, 7.0, 13.0, 1.5, STEEL, 0.12, 3.6, Sheet(2.0, 9.1, 0.1))
    return virtual_pull(case, grip_max_mm=2.5, compliance_mm_per_kn=0.02)


def curve(*, closes: bool, falls: bool = True) -> tuple[np.ndarray, np.ndarray]:
    """Up to 10 kN at 1 mm, down to 8 kN (or level) at 4 mm, then up by 40 kN/mm or not."""
    stroke = np.arange(0.0, 4.5, 0.01)
    force = np.interp(stroke, [0.0, 1.0, 4.0, 4.5], [0.0, 10e3, 8e3 if falls else 10.1e3, 28e3 if closes else 8e3])
    return stroke, force


def test_peak_minimum_and_closure_are_where_they_are() -> None:
    """The fold closes where 0.1 mm back the load was lower by half the peak per wall: here just after 4 mm."""
    stroke, force = curve(closes=True)
    found = find_events(stroke, force, wall_mm=1.0)
    assert found["peak"] is not None
    assert found["closure"] is not None
    assert found["minimum"] is not None
    assert (found["peak"].stroke_mm, found["peak"].force_n) == pytest.approx((1.0, 10e3), abs=1e-6)
    assert found["minimum"].stroke_mm == pytest.approx(4.0, abs=1e-6)
    # at 4 + x the window holds x of the rise and 0.1 − x of the fall: 40 000 x − 667 (0.1 − x) ≥ 500
    assert found["closure"].stroke_mm == pytest.approx(4.02, abs=1e-6)


def test_a_fold_that_does_not_close_has_no_closure() -> None:
    """Without a steep rise there is no closure."""
    stroke, force = curve(closes=False)
    assert find_events(stroke, force, wall_mm=1.0)["closure"] is None


def test_a_level_curve_still_closes() -> None:
    """A load that never falls has its peak where it is flattest, and its closure where it rises steeply."""
    stroke, force = curve(closes=True, falls=False)
    found = find_events(stroke, force, wall_mm=1.0)
    assert found["closure"] is not None
    assert found["closure"].stroke_mm == pytest.approx(4.02, abs=0.011)


def test_a_set_insert_is_seated_closed_and_clamped() -> None:
    """A pull in a sheet has a peak, a seating before its closure, and a clamp; work and energy agree within 2 %."""
    pull = set_pull()
    peak, closure, seating = pull.events["peak"], pull.events["closure"], pull.events["seating"]
    assert peak is not None
    assert closure is not None
    assert seating is not None
    assert seating.stroke_mm < closure.stroke_mm
    assert pull.clamp_n >= 0.1 * peak.force_n
    assert pull.energy_error < 0.02
    assert pull.kinetic_share < 0.02
    assert 0.0 < pull.springback_mm < 0.2


def test_the_allowance_is_closure_on_the_thickest_stack() -> None:
    """Closure stroke plus thickness less the largest grip is the set allowance; its doubt has 0.1 mm of the model in it."""
    pull = set_pull()
    closure = pull.events["closure"]
    assert closure is not None
    assert pull.stroke_plus_thickness_mm == pytest.approx(closure.stroke_mm + 2.0, abs=1e-6)
    assert pull.set_allowance_mm == pytest.approx(closure.stroke_mm + 2.0 - 2.5, abs=1e-6)
    assert pull.set_allowance_sd_mm is not None
    assert pull.set_allowance_sd_mm >= 0.1
    assert pull.air_to_stack_mm is not None


def test_the_same_case_gives_the_same_answer() -> None:
    """Two runs agree to the last bit."""
    case = PullCase(9.0, 7.2, 6.5, 5.5, 7.0, 13.0, 1.5, STEEL, 0.12, 0.5, Sheet(2.0, 9.1, 0.1))
    assert np.array_equal(virtual_pull(case).force_n, virtual_pull(case).force_n)

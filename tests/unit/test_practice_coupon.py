"""Practice coupons fail as the stroke really is for their stack."""

from __future__ import annotations

import pytest

from firstpull.practice import Nominals, SimulatedTool

JOB = Nominals(start_long_mm=0.0)


def at(offset_mm: float, *, thickness_mm: float | None = None, seed: int = 3) -> SimulatedTool:
    """A steady tool whose mean is ``offset_mm`` longer than the target, warm."""
    simulated = SimulatedTool.from_seed(seed, nominals=Nominals(start_long_mm=offset_mm))
    for _ in range(3):
        simulated.dry_cycle()
    return simulated


def test_on_target_everything_passes() -> None:
    """At the target every check passes and the insert resists about its full torque."""
    for seed in range(15):
        coupon = at(-0.05, seed=seed).coupon()
        assert coupon.passes
        assert coupon.verdict == "good"
        assert coupon.torque_to_turn_nm == pytest.approx(JOB.torque_to_turn_nm, rel=0.099)


def test_too_little_stroke_turns_then_gaps() -> None:
    """Under-set: it turns at a low torque, further under the flange gaps; the thread gauge still goes."""
    slightly, badly = at(0.27).coupon(), at(0.6).coupon()
    assert (slightly.verdict, badly.verdict) == ("under-set", "under-set")
    assert slightly.turns_in_hole
    assert badly.gap
    assert not badly.blind_head_even
    assert badly.torque_to_turn_nm < slightly.torque_to_turn_nm < 0.7 * JOB.torque_to_turn_nm
    assert slightly.thread_gauge_goes
    assert badly.thread_gauge_goes


def test_too_much_stroke_jams_the_thread_then_cracks_the_head() -> None:
    """Over-set: the thread gauge sticks, further over the blind head cracks; it neither turns nor gaps."""
    badly = at(-0.6).coupon()
    assert badly.verdict == "over-set"
    assert not badly.thread_gauge_goes
    assert not badly.blind_head_even
    assert not badly.turns_in_hole
    assert badly.flush


def test_the_same_knob_is_under_set_in_a_thinner_stack() -> None:
    """Set for 2.16 mm: 1.6 mm is under-set, 2.7 mm is over-set."""
    assert at(0.0).coupon(1.6).verdict == "under-set"
    assert at(0.0).coupon(2.7).verdict == "over-set"


def test_outside_the_grip_always_fails() -> None:
    """Thicker than the grip it gaps, thinner it turns, whatever the stroke."""
    thick, thin = at(0.0).coupon(3.4), at(0.0).coupon(0.3)
    assert (thick.verdict, thin.verdict) == ("outside grip", "outside grip")
    assert thick.gap
    assert thin.turns_in_hole
    assert not thick.passes
    assert not thin.passes


def test_checks_agree_with_the_true_limits() -> None:
    """A coupon passes exactly when its true stroke is between the tool's true limits, tilt aside."""
    for seed in range(60):
        simulated = at(-0.5 + seed / 60, seed=seed)
        truth = simulated.truth()
        coupon = simulated.coupon()
        shortest = truth.lot_mean_length_mm - truth.length_longest_good_mm
        longest = truth.lot_mean_length_mm - truth.length_shortest_good_mm
        assert coupon.passes == (shortest - 1e-6 <= coupon.pull.true_stroke_mm <= longest + 1e-6)
        assert coupon.passes == (coupon.verdict == "good")


def test_the_declared_limits_lie_inside_the_true_ones() -> None:
    """A stroke within the insert's own set allowance limits never fails."""
    for seed in range(30):
        truth = SimulatedTool.from_seed(seed, nominals=JOB).truth()
        declared = (JOB.grip_max_mm - JOB.thickness_mm + JOB.set_allowance_min_mm, 0.4)
        assert truth.lot_mean_length_mm - truth.length_longest_good_mm < declared[0]
        assert truth.length_longest_good_mm - truth.length_shortest_good_mm > declared[1]

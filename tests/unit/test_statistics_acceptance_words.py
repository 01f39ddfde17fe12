"""Acceptance: the mean's tolerance and the sentences for people."""

from __future__ import annotations

import pytest
from scipy.special import ndtr

from firstpull.errors import BadInput
from firstpull.statistics.acceptance import (
    mean_tolerance_mm,
    one_setting,
    reliability_shown,
    shown_text,
    success_run_count,
)
from firstpull.statistics.measurement import effective_degrees_of_freedom, measured


def test_share_is_met_at_the_edge_of_the_tolerance() -> None:
    """A mean standing exactly at the tolerance leaves exactly the share inside."""
    edge = mean_tolerance_mm(0.13, sigma_mm=0.03, share=0.99)
    assert ndtr((0.13 - edge) / 0.03) - ndtr((-0.13 - edge) / 0.03) == pytest.approx(0.99, abs=1e-9)


def test_far_from_the_other_limit_z_is_one_sided() -> None:
    """With a wide window the tolerance is half window − 2.3263 · sigma."""
    assert mean_tolerance_mm(1.0, sigma_mm=0.1, share=0.99) == pytest.approx(1 - 0.23263, abs=1e-5)


def test_no_scatter_leaves_the_whole_half_window() -> None:
    """Sigma 0 costs nothing."""
    assert mean_tolerance_mm(0.13, sigma_mm=0.0, share=0.99) == 0.13


def test_too_much_scatter_is_said() -> None:
    """At 2.5758 sigma per half window the tolerance is 0, beyond it is negative and no single setting serves."""
    assert mean_tolerance_mm(2.5758293, sigma_mm=1.0, share=0.99) == pytest.approx(0, abs=1e-6)
    verdict = one_setting(0.13, sigma_mm=0.06)
    assert not verdict.serves
    assert verdict.mean_tolerance_mm == pytest.approx(-0.02455, abs=1e-5)
    assert verdict.text.startswith("No single setting serves")
    assert one_setting(0.13, sigma_mm=0.03).text == (
        "The tool's mean must stand within 0.060 mm of the middle for 99 % of the sets to be inside."
    )


def test_sentences_with_failures_and_success() -> None:
    """Failures are counted in the sentence; a reached goal is said as reached; percent never reads better than it is."""
    assert shown_text(59, 0.95, wanted=0.95).endswith("the wanted 95 % is shown.")
    assert "94.9 %" in shown_text(58, 0.95, wanted=0.95)
    assert shown_text(1, 0.95, failed=1) == "1 good and 1 bad coupons alone show 2.5 % reliability at 95 % confidence."
    assert shown_text(20, 0.95, failed=1, wanted=0.95).endswith("95 % needs 93 in all.")


def test_a_run_of_exactly_whole_length_is_not_rounded_up() -> None:
    """0.9² = 0.81: at 19 % confidence 2 are enough."""
    assert success_run_count(0.9, 0.19) == 2


def test_nothing_passed_shows_nothing() -> None:
    """Without a good coupon nothing is shown."""
    assert reliability_shown(0, 0.95) == 0
    assert reliability_shown(0, 0.95, failed=2) == 0


@pytest.mark.parametrize("bad", [0, 1, 95, float("nan"), "0.95", None, True])
def test_a_confidence_outside_0_1_is_refused(bad: object) -> None:
    """95 typed for 95 % is refused with the way to write it."""
    with pytest.raises(BadInput):
        reliability_shown(3, bad)  # type: ignore[arg-type]


def test_one_reading_says_that_its_scatter_is_missing() -> None:
    """A single reading carries only the gauge's doubt, and says so; a known scatter is taken in."""
    alone = measured([15.5], resolution=0.01, limit_error=0.02)
    assert alone.degrees_of_freedom is None
    assert "not known" in alone.notes[0]
    known = measured([15.5], resolution=0.01, limit_error=0.02, scatter=0.03)
    assert known.standard_uncertainty > 0.03
    assert "earlier work" in known.notes[0]


def test_equal_readings_keep_the_gauge_doubt() -> None:
    """Three equal readings are not exact: step and permissible error remain."""
    result = measured([2.17, 2.17, 2.17], resolution=0.01, limit_error=0.02)
    assert result.standard_uncertainty == pytest.approx((0.01**2 / 12 + 0.02**2 / 3) ** 0.5, abs=1e-9)


def test_no_parts_are_refused() -> None:
    """There must be something to combine."""
    with pytest.raises(BadInput):
        effective_degrees_of_freedom([])

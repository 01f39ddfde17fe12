"""The setting: stroke, window, batch, refusals and steps."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from firstpull.errors import BadInput, Unsafe
from firstpull.mechanics.setting import AirToStack, Allowance, Batch, GivenWindow, compute_setting
from firstpull.mechanics.stack import Layer, Stack
from firstpull.units import Length
from firstpull.units import parse_length as length
from mechanics_examples import KNOB, M6, PLAIN, SQUEEZE, TRAY, request


def test_stroke_set_length_and_protrusions_follow_from_the_dimensions() -> None:
    """S = 3.0 − 2.1733 + 3.4; what stands behind is the rest of the length."""
    setting = compute_setting(request())
    assert setting.stroke_mm == pytest.approx(4.226667, abs=1e-6)
    assert setting.set_length_mm == pytest.approx(11.273333, abs=1e-6)
    assert setting.free_protrusion_mm == pytest.approx(15.5 - 1.5 - 2.173333, abs=1e-6)
    assert setting.set_protrusion_mm == pytest.approx(11.273333 - 1.5 - 2.173333, abs=1e-6)
    assert setting.unused_grip_mm == pytest.approx(0.826667, abs=1e-6)
    assert setting.releasable


def test_without_the_flange_thickness_protrusion_is_not_known() -> None:
    """Protrusion is None, not a guess, when the flange thickness is not known."""
    setting = compute_setting(request(insert_flange_thickness=None))
    assert setting.free_protrusion_mm is None
    assert setting.set_protrusion_mm is None


def test_a_countersunk_head_counted_from_the_surface_is_inside_the_grip() -> None:
    """With the grip counted from the surface the head is not taken off twice; from the flange it is asked about."""
    surface = compute_setting(request(insert_head="countersunk", insert_grip_datum="surface"))
    assert surface.free_protrusion_mm == pytest.approx(15.5 - 2.173333, abs=1e-6)
    flange = compute_setting(request(insert_head="countersunk"))
    assert any("Countersunk head" in warning for warning in flange.warnings)
    assert not any("Countersunk head" in warning for warning in surface.warnings)


def test_given_limits_are_kept_and_narrowed_over_the_batch() -> None:
    """The given limits are shown as given; over the batch the thin end needs more and the thick end allows less."""
    setting = compute_setting(request())
    assert (setting.stroke_min_mm, setting.stroke_max_mm, setting.window_source) == (4.1, 4.5, "given")
    assert (setting.set_length_min_mm, setting.set_length_max_mm) == (11.0, 11.4)
    assert setting.batch_stroke_min_mm == pytest.approx(4.1 + 2.173333 - setting.thickness_low_mm, abs=2e-6)
    assert setting.batch_stroke_max_mm == pytest.approx(4.5 - (setting.thickness_high_mm - 2.173333), abs=2e-6)


def test_the_catalogues_limits_give_the_window_over_the_batch() -> None:
    """S_min = G_max − t_thin + A_min and S_max = G_max − t_thick + A_max."""
    setting = compute_setting(
        request(
            window=None,
            stack=PLAIN,
            batch=Batch(length("1.9 mm"), length("2.1 mm")),
            insert_set_allowance_min=length("3.1 mm"),
            insert_set_allowance_max=length("3.7 mm"),
        )
    )
    assert setting.window_source == "catalogue"
    assert (setting.stroke_min_mm, setting.stroke_max_mm) == (4.2, 4.6)
    assert (setting.set_length_min_mm, setting.set_length_max_mm) == (10.9, 11.3)
    assert setting.one_setting_serves is True
    assert "thinnest and the thickest" in next(step.text for step in setting.steps if step.key == "coupon")


def test_a_batch_too_uneven_for_one_setting_says_sort_or_force() -> None:
    """When the thin end needs more than the thick end allows there is no window, no release, and a cure."""
    setting = compute_setting(
        request(
            window=None,
            batch=Batch(length("1.6 mm"), length("2.6 mm")),
            insert_set_allowance_min=length("3.2 mm"),
            insert_set_allowance_max=length("3.6 mm"),
        )
    )
    assert setting.one_setting_serves is False
    assert setting.stroke_min_mm is None
    assert not setting.releasable
    assert "Sort the panels by thickness, or use a force-set tool" in setting.blockers[0]
    thin, thick = setting.ends
    assert (thin.stroke_min_mm, thin.stroke_max_mm) == (4.6, 5.0)
    assert (thick.stroke_min_mm, thick.stroke_max_mm) == (3.6, 4.0)


def test_a_window_narrower_than_the_tools_scatter_serves_no_batch() -> None:
    """0.1 mm of window does not hold 99 % of a tool that scatters by 0.03 mm."""
    window = GivenWindow(length("4.17 mm"), length("4.27 mm"))
    setting = compute_setting(request(window=window, stack=Stack(TRAY.layers, TRAY.readings, 0.001, 0.001)))
    assert setting.one_setting_serves is False
    assert "scatter" in setting.blockers[0]


def test_without_a_tool_scatter_is_not_known() -> None:
    """Without a tool one setting may serve, but it is not said to."""
    assert compute_setting(request(tool=None)).one_setting_serves is None


def test_proven_limits_hold_over_the_batch_as_they_are() -> None:
    """Limits proven on both ends are not narrowed a second time."""
    window = GivenWindow(length("4.1 mm"), length("4.5 mm"), "proven")
    setting = compute_setting(request(window=window))
    assert (setting.batch_stroke_min_mm, setting.batch_stroke_max_mm) == (4.1, 4.5)
    assert setting.window_source == "proven"


def test_no_limits_no_window_no_release() -> None:
    """Nothing is made up: no window, a warning, and no release."""
    setting = compute_setting(request(window=None))
    assert setting.stroke_min_mm is None
    assert setting.set_length_max_mm is None
    assert setting.window_source is None
    assert not setting.releasable
    assert any("There is no window" in warning for warning in setting.warnings)


def test_a_stroke_outside_the_given_limits_blocks_release_and_says_by_how_much() -> None:
    """Allowance and limits that contradict each other are not smoothed over."""
    setting = compute_setting(request(window=GivenWindow(length("4.4 mm"), length("4.8 mm"))))
    assert not setting.releasable
    assert "0.37 mm more" in setting.blockers[0]


@pytest.mark.parametrize(
    ("sheet", "reason", "cure"),
    [("3.2 mm", "0.20 mm above the maximum grip", "next longer"), ("0.4 mm", "0.10 mm below", "shim of 0.10 mm")],
)
def test_a_stack_outside_the_grip_is_refused_with_the_smallest_cure(sheet: str, reason: str, cure: str) -> None:
    """Too thick and too thin are Unsafe, with by how much and what would help."""
    stack = Stack((Layer("EN AW-5754", length(sheet)),))
    with pytest.raises(Unsafe) as caught:
        compute_setting(request(stack=stack))
    assert reason in caught.value.reasons[0]
    assert cure in caught.value.hint


def test_a_stack_whose_limits_alone_are_outside_may_be_sorted_or_measured() -> None:
    """A nominal inside with a worst case outside is refused, and measuring is offered."""
    stack = Stack((Layer("EN AW-5754", length("2.95 mm"), length("0.1 mm")),))
    with pytest.raises(Unsafe) as caught:
        compute_setting(request(stack=stack))
    assert "measure the stack more closely" in caught.value.hint


def test_exactly_at_the_grips_ends_is_inside() -> None:
    """The grip range includes its ends, to the nanometre."""
    for sheet in ("3.0 mm", "0.5 mm"):
        compute_setting(request(stack=Stack((Layer("EN AW-5754", length(sheet)),)), window=None))
    with pytest.raises(Unsafe):
        compute_setting(request(stack=Stack((Layer("EN AW-5754", Length(3_000_001, "3.000001 mm")),))))


def test_a_pull_beyond_the_tool_is_refused() -> None:
    """A target beyond the tool is refused with the cause, not chased."""
    with pytest.raises(Unsafe) as caught:
        compute_setting(request(tool=replace(KNOB, stroke_max=length("4.3 mm"))))
    assert "4.35 mm of gross stroke" in caught.value.reasons[0]


def test_an_allowance_longer_than_the_insert_is_refused() -> None:
    """A stroke that would pull the thread into the sheet is Unsafe."""
    with pytest.raises(Unsafe, match="no room"):
        compute_setting(request(allowance=Allowance(length("8 mm"), 0.1, "typed")))


def test_the_allowance_and_its_source_are_shown() -> None:
    """A typed allowance comes before the catalogue's; with neither there is no stroke."""
    assert compute_setting(request()).set_allowance_source == "catalogue"
    typed = compute_setting(request(allowance=Allowance(length("3.3 mm"), 0.05, "own releases")))
    assert (typed.set_allowance_mm, typed.set_allowance_sd_mm, typed.set_allowance_source) == (
        3.3,
        0.05,
        "own releases",
    )
    assert typed.stroke_sd_mm == pytest.approx((0.05**2 + 0.0826667**2) ** 0.5, abs=1e-6)
    with pytest.raises(BadInput, match="set allowance is not known"):
        compute_setting(request(insert_set_allowance=None))


def test_a_thin_stack_carries_its_doubt() -> None:
    """A tenth of the unused grip is said as doubt; a stack at maximum grip has none."""
    assert any("doubt of 0.08 mm" in warning for warning in compute_setting(request()).warnings)
    full = compute_setting(request(stack=Stack((Layer("EN AW-5754", length("3.0 mm")),)), window=None))
    assert full.stroke_sd_mm == 0.0
    assert not any("doubt" in warning for warning in full.warnings)


def test_the_air_target_is_the_set_length_less_the_shift() -> None:
    """Unknown, the shift is 0 ± 0.25 mm and said to be assumed; learned, it moves the air target."""
    assumed = compute_setting(request())
    assert (assumed.air_to_stack_mm, assumed.air_to_stack_sd_mm, assumed.air_to_stack_source) == (0.0, 0.25, "assumed")
    assert any("is assumed" in warning for warning in assumed.warnings)
    learned = compute_setting(request(shift=AirToStack(0.1, 0.02, "5 coupons")))
    assert learned.air_target_mm == pytest.approx(11.173333, abs=1e-6)
    assert not any("is assumed" in warning for warning in learned.warnings)


def test_steps_put_the_air_off_before_hands_and_on_before_the_pull() -> None:
    """Air off comes first, air on after the knob and before the trial."""
    keys = [step.key for step in compute_setting(request(present_set_length=length("11.7 mm"))).steps]
    assert keys == ["air_off", "mandrel", "engagement", "anvil", "knob", "air_on", "trial", "coupon", "lock"]


def test_a_known_present_setting_gives_the_knobs_move() -> None:
    """From 11.72 to an air target of 11.27 mm the knob goes 11 clicks clockwise."""
    setting = compute_setting(request(present_set_length=length("11.72 mm")))
    assert setting.knob_move is not None
    assert setting.knob_move.clicks == 11
    assert "11 clicks" in next(step.text for step in setting.steps if step.key == "knob")


def test_an_unknown_lead_is_said() -> None:
    """A present set length without a lead gives no move, and says why."""
    setting = compute_setting(request(tool=replace(KNOB, lead_per_turn=None), present_set_length=length("11.7 mm")))
    assert setting.knob_move is None
    assert any("lead is not known" in warning for warning in setting.warnings)


def test_a_force_set_tool_gets_a_ladder_and_never_an_air_pull() -> None:
    """The limits of the pull replace the window; no air target, no trial step, no knob."""
    setting = compute_setting(request(tool=SQUEEZE, window=None))
    assert setting.pressure is not None
    assert setting.air_target_mm is None
    assert setting.releasable
    assert {"trial", "knob"}.isdisjoint(step.key for step in setting.steps)


def test_a_force_set_tool_without_known_limits_is_not_released() -> None:
    """Without a setting load there is no ladder, the step says what is missing, and nothing is released."""
    setting = compute_setting(request(tool=SQUEEZE, window=None, insert_setting_load_n=None))
    assert setting.pressure is None
    assert not setting.releasable
    assert "Do not pull yet" in next(step.text for step in setting.steps if step.key == "pressure")


def test_threads_that_would_strip_block_the_release() -> None:
    """A closed end with hardly any thread left strips below the setting load."""
    setting = compute_setting(
        request(insert_end="closed", insert_thread_length=length("2 mm"), insert_setting_load_n=8000)
    )
    assert any("strip" in blocker for blocker in setting.blockers)


def test_a_soft_layer_is_warned_of() -> None:
    """Composite in the stack asks for its limit and brings its cautions."""
    soft = compute_setting(request(stack=Stack((Layer("carbon-fibre laminate", length("2.2 mm")),))))
    assert any("soft layer" in warning for warning in soft.warnings)
    assert len(soft.cautions) > len(compute_setting(request()).cautions)


def test_the_json_form_is_plain_and_named() -> None:
    """The form survives JSON, carries its schema, and its cautions are sentences."""
    data = compute_setting(request()).as_dict()
    assert json.loads(json.dumps(data)) == data
    assert data["schema"] == "firstpull/setting/1"
    assert any("air" in caution for caution in data["cautions"])
    assert set(data["steps"][0]) == {"key", "title", "text"}


def test_texts_in_inches_leave_the_numbers_alone() -> None:
    """The unit is for the texts only."""
    in_mm, in_inch = compute_setting(request()).as_dict(), compute_setting(request(), unit="in").as_dict()
    assert {k: v for k, v in in_mm.items() if k.endswith("_mm")} == {
        k: v for k, v in in_inch.items() if k.endswith("_mm")
    }
    assert "0.4438 in" in next(step["text"] for step in in_inch["steps"] if step["key"] == "trial")


@pytest.mark.parametrize(
    "changes",
    [
        {"window": GivenWindow(length("4.5 mm"), length("4.1 mm"))},
        {"batch": Batch(length("3 mm"), length("2 mm"))},
        {"shift": AirToStack(float("nan"), 0.1, "typed")},
        {"shift": AirToStack(25.4, 0.1, "typed")},
        {"gap_mm": -1.0},
        {"load_ceiling_n": 0.0},
        {"present_set_length": length("0 mm")},
        {"mandrel_class": "99.9"},
        {"insert_thread": "M6.5"},
    ],
)
def test_a_request_that_cannot_be_right_is_refused(changes: dict[str, object]) -> None:
    """Each impossible value is our BadInput."""
    with pytest.raises(BadInput):
        compute_setting(request(**changes))


def test_m6_is_reused_unchanged() -> None:
    """A request without changes holds the shared insert."""
    assert request().insert == M6

"""Common practice of setting blind rivet nuts: no published source.

The numbers are worked examples as they are passed on at the bench; they are kept here only. The mandrel's stiffness
is E·A/L with the tensile stress area of ISO 898-1 (M6: 20.1 mm²).
"""

from __future__ import annotations

import pytest

from firstpull.mechanics.insert import Insert
from firstpull.mechanics.mandrel import mandrel_stiffness_kn_per_mm
from firstpull.mechanics.setting import SettingRequest, compute_setting
from firstpull.mechanics.stack import Layer, Stack
from firstpull.mechanics.tool import Tool, available_load_n, knob_move
from firstpull.units import parse_length

INCH = 25.4
KNOB = Tool(control="stroke", lead_per_turn=parse_length("0.022 in"))


def _setting():
    insert = Insert(
        thread="1/4-20 UNC",
        length_free=parse_length("1.025 in"),
        grip_min=parse_length("0.080 in"),
        grip_max=parse_length("0.200 in"),
        set_allowance=parse_length("0.155 in"),
        end="open",
    )
    stack = Stack((Layer("steel", parse_length("0.120 in")),))
    return compute_setting(SettingRequest(insert=insert, stack=stack), unit="in")


def test_maximum_grip_0_200_stack_0_120_allowance_0_155_needs_0_235_in_of_stroke() -> None:
    """A stack 0.080 in below maximum grip needs the set allowance and those 0.080 in."""
    assert _setting().stroke_mm / INCH == pytest.approx(0.235, abs=0.0005)


def test_an_insert_of_1_025_in_sets_to_0_790_in() -> None:
    """The set length is the free length less the stroke."""
    assert _setting().set_length_mm / INCH == pytest.approx(0.790, abs=0.0005)


def test_a_trial_0_105_in_long_asks_for_4_77_turns_more() -> None:
    """0.105 in at 0.022 in a turn is +4.77 turns of a knob whose plus is more stroke."""
    move = knob_move(KNOB, present_set_length_mm=0.895 * INCH, target_set_length_mm=0.790 * INCH)
    assert move.turns == pytest.approx(4.77, abs=0.005)


def test_a_trial_0_006_in_short_asks_for_0_27_turn_less() -> None:
    """0.006 in at 0.022 in a turn is −0.27 turn."""
    move = knob_move(KNOB, present_set_length_mm=0.784 * INCH, target_set_length_mm=0.790 * INCH)
    assert move.turns == pytest.approx(-0.27, abs=0.005)


def test_an_m6_mandrel_of_60_mm_is_about_69_kn_per_mm() -> None:
    """A stretched length of 60 mm of M6 gives 69 kN/mm."""
    assert mandrel_stiffness_kn_per_mm("M6", length_mm=60) == pytest.approx(69, abs=0.5)


def test_9_kn_at_6_2_bar_is_7_5_kn_at_5_2_bar() -> None:
    """The load of a pneumatic tool falls with the pressure at its inlet."""
    tool = Tool(control="stroke", load_max_n=9000, rated_pressure_bar=6.2, line_pressure_bar=5.2)
    load = available_load_n(tool)
    assert load is not None
    assert load / 1000 == pytest.approx(7.5, abs=0.05)

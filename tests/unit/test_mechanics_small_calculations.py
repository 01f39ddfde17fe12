"""The short calculations below the setting, each checked by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firstpull.mechanics.insert import Insert, head_height_nm, set_protrusion_nm
from firstpull.mechanics.setting import GivenWindow, SettingRequest
from firstpull.mechanics.stack import Layer, Stack, has_soft_layer
from firstpull.mechanics.tool import Tool, load_per_bar_n, take_up
from firstpull.mechanics.window import find_window
from firstpull.statistics.run_rules import find_signals
from firstpull.statistics.tolerance_intervals import tolerance_interval
from firstpull.units import parse_length


def mm(text: str):
    return parse_length(text, unit="mm")


INSERT = Insert(
    thread="M6",
    length_free=mm("15.5"),
    flange_thickness=mm("1.5"),
    grip_min=mm("0.5"),
    grip_max=mm("3.0"),
    set_allowance=mm("3.4"),
    end="open",
)
STROKE_SET = Tool(control="stroke", lead_per_turn=mm("0.5"), clicks_per_turn=12, backlash_turns=0.2)


def test_pull_per_bar() -> None:
    """10 000 mm² at 1 bar (0.1 MPa), ratio 3 and efficiency 0.8 pull 2400 N; without a piston nothing is said."""
    tool = Tool(control="force", piston_area_mm2=10_000, ratio=3, efficiency=0.8)
    assert load_per_bar_n(tool) == pytest.approx(2400)
    assert load_per_bar_n(replace(tool, ratio=None)) is None


def test_set_protrusion_does_not_depend_on_the_stack() -> None:
    """15.5 − 1.5 − 3.0 − 3.4 = 7.6 mm; counted from the surface the head is part of the grip, 9.1 mm."""
    assert set_protrusion_nm(INSERT, mm("3.4")) == 7_600_000
    assert head_height_nm(INSERT) == 1_500_000
    surface = replace(INSERT, head="countersunk", grip_datum="surface")
    assert set_protrusion_nm(surface, mm("3.4")) == 9_100_000
    assert set_protrusion_nm(replace(INSERT, flange_thickness=None), mm("3.4")) is None


def test_the_window_over_a_batch() -> None:
    """4.1 to 4.7 mm at 2.0 mm means allowances of 3.1 to 3.7 mm, and 4.2 to 4.6 mm over 1.9 to 2.1 mm of stack."""
    request = SettingRequest(
        insert=INSERT,
        stack=Stack((Layer("steel", mm("2.0")),)),
        tool=STROKE_SET,
        window=GivenWindow(mm("4.1"), mm("4.7")),
    )
    found = find_window(
        request, value_nm=2_000_000, low_nm=1_900_000, high_nm=2_100_000, allowance=mm("3.4"), unit="mm"
    )
    assert (found.stroke_min_nm, found.stroke_max_nm) == (4_100_000, 4_700_000)
    assert (found.batch_min_nm, found.batch_max_nm) == (4_200_000, 4_600_000)
    assert found.one_setting_serves


def test_play_is_taken_up_in_whole_clicks() -> None:
    """0.2 turn of play on 12 clicks is 2.4 clicks: three, towards more stroke in the knob's own sign."""
    assert take_up(STROKE_SET) == (0.25, 3)
    assert take_up(replace(STROKE_SET, plus_turns="less stroke")) == (-0.25, -3)
    assert take_up(replace(STROKE_SET, clicks_per_turn=None)) == (0.25, None)


def test_soft_layers_are_known_by_their_material() -> None:
    """A laminate can be crushed; steel, and a material that is not held, are not said to be."""
    assert has_soft_layer(Stack((Layer("steel", mm("1")), Layer("glass-fibre laminate", mm("2")))))
    assert not has_soft_layer(Stack((Layer("steel", mm("1")), Layer("our own alloy", mm("2")))))


def test_a_point_beyond_three_sigma_is_a_signal() -> None:
    """3.1 sigma is rule 1 at its own reading; 2.9 is none."""
    first = find_signals((0.1, 3.1, 0.2), changes=(1, -1))[0]
    assert (first.index, first.number) == (1, 1)
    assert find_signals((0.1, 2.9, 0.2), changes=(1, -1)) == ()


def test_a_tolerance_interval_is_mean_and_k_sd() -> None:
    """Ten readings, mean 0 and sd 1: 99 % of all lie within ± 4.4369 at 95 % (the printed factor of ten readings)."""
    raw = [-4.5, -3.5, -2.5, -1.5, -0.5, 0.5, 1.5, 2.5, 3.5, 4.5]
    sd = (sum(value * value for value in raw) / 9) ** 0.5
    found = tolerance_interval([value / sd for value in raw], coverage=0.99, confidence=0.95)
    assert found.high == pytest.approx(4.4369, abs=5e-5)
    assert found.low == pytest.approx(-4.4369, abs=5e-5)

"""Inserts and tools: consistency, capacity, the knob, the record form."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firstpull.errors import BadInput
from firstpull.mechanics.insert import Insert, check_insert
from firstpull.mechanics.tool import Tool, available_load_n, capacity, check_tool, knob_move
from firstpull.units import parse_length as length
from mechanics_examples import KNOB, M6, SQUEEZE


def test_a_consistent_insert_passes() -> None:
    """The example insert is consistent."""
    check_insert(M6)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"grip_min": length("3.0 mm")}, "grip_min"),
        ({"body_diameter": length("9.1 mm")}, "body_diameter"),
        ({"hole_diameter": length("13 mm")}, "hole_diameter"),
        ({"counterbore_diameter": length("8.9 mm")}, "counterbore_diameter"),
        ({"set_allowance_min": length("3.5 mm")}, "set_allowance"),
        ({"set_allowance_min": length("3.3 mm"), "set_allowance_max": length("3.2 mm")}, "set_allowance_min"),
        ({"length_free": length("7 mm")}, "length_free"),
        ({"length_free": length("14 mm")}, "length_free"),
        ({"unthreaded_length": length("10 mm")}, "length_free"),
        ({"grip_datum": "surface"}, "grip_datum"),
        ({"end": "ajar"}, "end"),
        ({"setting_load_n": float("inf")}, "setting_load_n"),
        ({"head_marks": -1}, "head_marks"),
        ({"thread": " "}, "thread"),
    ],
)
def test_an_insert_that_cannot_be_right_names_its_field(changes: dict[str, object], field: str) -> None:
    """Every inconsistency is refused with the field that carries it."""
    with pytest.raises(BadInput) as caught:
        check_insert(replace(M6, **changes))
    assert caught.value.where == f"insert.{field}"


def test_records_of_insert_and_tool_come_back_equal() -> None:
    """What is written to the record is what is read back, and a missing or strange field is named."""
    assert Insert.from_json(M6.to_json()) == M6
    assert Tool.from_json(KNOB.to_json()) == KNOB
    with pytest.raises(BadInput, match="“end” is missing"):
        Insert.from_json({**M6.to_json(), "end": None})
    with pytest.raises(BadInput, match="colour"):
        Tool.from_json({"control": "stroke", "colour": "red"})


@pytest.mark.parametrize(
    "changes",
    [
        {"control": "magic"},
        {"clicks_per_turn": 0},
        {"stroke_min": length("8 mm")},
        {"efficiency": 1.2},
        {"backlash_turns": 6.0},
        {"lead_per_turn": length("0 mm")},
    ],
)
def test_a_tool_that_cannot_be_right_is_refused(changes: dict[str, object]) -> None:
    """Every impossible value of a tool is refused."""
    with pytest.raises(BadInput):
        check_tool(replace(KNOB, **changes))


def test_gross_stroke_adds_elastic_give_springback_and_gap() -> None:
    """4 mm against 6 kN at 50 kN/mm with 0.1 mm springback and 0.2 mm gap takes 4.42 mm."""
    found = capacity(KNOB, stroke_mm=4.0, load_n=6000, gap_mm=0.2, springback_mm=0.1)
    assert found.gross_stroke_mm == 4.42
    assert found.ok
    assert found.unknown == ()


def test_a_stroke_beyond_the_tool_is_refused_with_its_numbers() -> None:
    """7.49 mm and 0.12 mm of give do not fit into 7.5 mm; without the give they do."""
    assert capacity(KNOB, stroke_mm=7.38, load_n=6000).ok
    found = capacity(KNOB, stroke_mm=7.49, load_n=6000)
    assert not found.ok
    assert "7.61 mm" in found.reasons[0]


def test_a_tool_that_would_stall_is_refused() -> None:
    """7 kN are not there at 4.5 bar, and the cure is not the knob."""
    found = capacity(replace(KNOB, line_pressure_bar=4.5), stroke_mm=4, load_n=7000)
    assert not found.ok
    assert "do not turn the knob" in found.reasons[0]


def test_pressure_above_the_rating_gives_no_more_and_is_refused() -> None:
    """Above the rated pressure the load is not counted higher, and the pressure itself is a reason."""
    tool = replace(KNOB, line_pressure_bar=8.0)
    assert available_load_n(tool) == 9000
    assert any("rated" in reason for reason in capacity(tool, stroke_mm=4, load_n=6000).reasons)


def test_a_pull_too_short_for_the_tool_is_refused() -> None:
    """A tool that cannot pull as little as wanted would over-set."""
    assert not capacity(replace(KNOB, stroke_min=length("4 mm")), stroke_mm=3, load_n=None).ok


def test_unknowns_are_said_not_guessed() -> None:
    """A bare tool passes nothing silently: stroke, stiffness and pressure are named as not known."""
    found = capacity(Tool(control="stroke"), stroke_mm=4, load_n=6000)
    assert found.ok
    assert found.available_load_n is None
    assert len(found.unknown) == 3


def test_whole_clicks_leave_the_rest_and_say_it() -> None:
    """0.45 mm too long at 0.5 mm a turn and 12 clicks is 11 clicks, 0.008 mm too short after them: 10.8 rounded up."""
    move = knob_move(KNOB, present_set_length_mm=11.72, target_set_length_mm=11.27)
    assert (move.clicks, move.direction) == (11, "clockwise")
    assert move.leftover_mm == pytest.approx(-0.008333, abs=1e-6)
    assert "11 clicks (0.92 turn) clockwise, seen from the knob's end" in move.text


def test_a_move_to_less_stroke_overshoots_by_the_play_and_comes_back() -> None:
    """Every move finishes in the more-stroke direction; 0.2 turn of play is 3 whole clicks."""
    move = knob_move(KNOB, present_set_length_mm=11.0, target_set_length_mm=11.25)
    assert (move.clicks, move.turns, move.direction) == (-6, -0.5, "anticlockwise")
    assert "9 clicks (0.75 turn) anticlockwise" in move.text
    assert "then 3 clicks (0.25 turn) clockwise" in move.text


def test_a_knob_whose_plus_is_less_stroke_turns_the_other_way() -> None:
    """More stroke is then a minus turn, against the stored plus direction."""
    tool = replace(KNOB, plus_turns="less stroke", plus_direction="clockwise", clicks_per_turn=None)
    move = knob_move(tool, present_set_length_mm=11.75, target_set_length_mm=11.25)
    assert (move.turns, move.clicks, move.direction) == (-1.0, None, "anticlockwise")
    assert "more stroke" in move.text


def test_a_tie_between_two_clicks_goes_to_less_stroke() -> None:
    """Half a click is not turned: too long is safer than too short."""
    move = knob_move(replace(KNOB, clicks_per_turn=1), present_set_length_mm=11.5, target_set_length_mm=11.25)
    assert (move.clicks, move.leftover_mm, move.text.startswith("Leave the knob")) == (0, 0.25, True)


def test_a_force_set_tool_has_no_stroke_knob() -> None:
    """A knob move is refused for a force-set tool and for a knob whose lead is not known."""
    with pytest.raises(BadInput, match="no stroke knob"):
        knob_move(SQUEEZE, present_set_length_mm=11, target_set_length_mm=11)
    with pytest.raises(BadInput, match="lead is not known"):
        knob_move(Tool(control="stroke"), present_set_length_mm=11, target_set_length_mm=11)

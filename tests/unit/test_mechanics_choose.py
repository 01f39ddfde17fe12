"""Choosing: hard checks, ranking, ties, rejections and their cures."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firstpull.errors import BadInput
from firstpull.mechanics.choose import Needs, choose
from firstpull.units import parse_length as length
from mechanics_examples import KNOB, M6, PLAIN

LOW = replace(M6, part="low", grip_min=length("0.5 mm"), grip_max=length("2.2 mm"), length_free=length("14.7 mm"))
MID = replace(M6, part="mid", grip_min=length("1.0 mm"), grip_max=length("3.0 mm"))
HIGH = replace(M6, part="high", grip_min=length("3.0 mm"), grip_max=length("5.0 mm"), length_free=length("18 mm"))
ALL = (HIGH, LOW, MID)


def test_the_most_centred_grip_comes_first() -> None:
    """A 2.0 ± 0.1 mm stack sits in the middle of 1 to 3 mm and near the end of 0.5 to 2.2 mm."""
    choice = choose(ALL, stack=PLAIN, needs=Needs(thread="M6"))
    assert [candidate.insert.part for candidate in choice.candidates] == ["mid", "low"]
    assert choice.candidates[0].tightest.margin == 0.9
    assert choice.candidates[0].stroke_mm == 4.4
    assert choice.candidates[0].free_protrusion_mm == 12.0
    assert [row.insert.part for row in choice.rejected] == ["high"]


def test_the_order_of_the_catalogue_does_not_matter() -> None:
    """Any order of the inserts gives the same choice."""
    forward = choose(ALL, stack=PLAIN, needs=Needs(thread="M6"))
    assert choose(tuple(reversed(ALL)), stack=PLAIN, needs=Needs(thread="M6")) == forward


def test_ties_are_decided_and_explained() -> None:
    """Equal margins go to less unused grip, then shorter, then the part's name, and it is said."""
    twin, longer = replace(MID, part="a twin"), replace(MID, part="longer", length_free=length("16 mm"))
    choice = choose((longer, MID, twin), stack=PLAIN, needs=Needs(thread="M6"))
    assert [candidate.insert.part for candidate in choice.candidates] == ["a twin", "mid", "longer"]
    assert "As much as a twin; the part's name decides" in choice.candidates[1].why
    assert "the shorter free length decides" in choice.candidates[2].why


def test_a_row_that_can_not_be_checked_comes_after_one_that_was() -> None:
    """An insert without its tightening torque is not better for it: it goes last, and what is not checked is said."""
    known = replace(LOW, tightening_torque_max_nm=6.1)
    bare = replace(MID, tightening_torque_max_nm=None)
    choice = choose((bare, known), stack=PLAIN, needs=Needs(thread="M6", tightening_torque_nm=6.0))
    assert [candidate.insert.part for candidate in choice.candidates] == ["low", "mid"]
    assert "Not checked: torque" in choice.candidates[1].why


@pytest.mark.parametrize(
    ("needs", "reason"),
    [
        (Needs(thread="M5"), "thread is M6x1, not M5x0.8"),
        (Needs(thread="M6", end="closed"), "end is open, not closed"),
        (Needs(thread="M6", head="countersunk"), "head is flat, not countersunk"),
        (Needs(thread="M6", body="knurled"), "body is round, not knurled"),
        (Needs(thread="M6", material="aluminium"), "material is steel, not aluminium"),
        (Needs(thread="M6", room_behind_mm=11.9), "Before setting it stands 12.10 mm"),
        (Needs(thread="M6", tool=replace(KNOB, stroke_max=length("4.4 mm"))), "4.52 mm of gross stroke"),
        (Needs(thread="M6", tool=replace(KNOB, line_pressure_bar=4.0)), "it would stall"),
    ],
)
def test_each_hard_check_rejects_with_its_reason_and_a_cure(needs: Needs, reason: str) -> None:
    """What the joint asks for and the insert has not is said first, with a cure."""
    choice = choose((MID,), stack=PLAIN, needs=needs)
    assert choice.candidates == ()
    assert reason in choice.rejected[0].reason
    assert choice.rejected[0].cure
    assert choice.notes[0].startswith("Nothing fits. Nearest is mid")


def test_an_alias_is_the_same_material_and_thread() -> None:
    """“m6×1.0” is M6x1, and low-carbon steel is the held steel."""
    assert choose((MID,), stack=PLAIN, needs=Needs(thread="m6×1.0", material="low-carbon steel")).candidates


def test_the_nearest_miss_comes_first_with_the_smallest_cure() -> None:
    """Of two grips that do not enclose the stack, the nearer is named with by how much."""
    near = replace(HIGH, part="near", grip_min=length("2.0 mm"))
    choice = choose((HIGH, near), stack=PLAIN, needs=Needs(thread="M6"))
    assert [row.insert.part for row in choice.rejected] == ["near", "high"]
    assert choice.rejected[0].cure == "Add a shim of 0.10 mm, or take the next shorter grip range."


def test_room_behind_is_checked_before_and_after_setting() -> None:
    """Both protrusions are checked against the room, and the tightest margin is the free one."""
    (candidate,) = choose((MID,), stack=PLAIN, needs=Needs(thread="M6", room_behind_mm=12.2)).candidates
    margins = {check.name: check.margin for check in candidate.checks if check.margin is not None}
    assert set(margins) == {"grip", "room before setting", "room after setting"}
    assert candidate.tightest.name == "room before setting"
    assert candidate.tightest.demand == 12.1
    assert candidate.set_protrusion_mm == 7.6


def test_room_without_a_flange_thickness_is_judged_on_the_safe_side() -> None:
    """The whole length counts when the head's height is not known, and the cure says so."""
    bare = replace(MID, flange_thickness=None)
    assert choose((bare,), stack=PLAIN, needs=Needs(thread="M6", room_behind_mm=14)).candidates
    refused = choose((bare,), stack=PLAIN, needs=Needs(thread="M6", room_behind_mm=12.2))
    assert "flange thickness is not known" in refused.rejected[0].cure


def test_an_unknown_allowance_leaves_the_tool_unchecked_and_says_so() -> None:
    """Without a set allowance there is no stroke to check, and the check says it."""
    (candidate,) = choose(
        (replace(MID, set_allowance=None),), stack=PLAIN, needs=Needs(thread="M6", tool=KNOB)
    ).candidates
    assert candidate.stroke_mm is None
    assert any("the tool is not checked" in check.text for check in candidate.checks)


def test_a_row_that_cannot_be_right_is_rejected_not_fatal() -> None:
    """One bad catalogue row is rejected with its field; the others are chosen from."""
    bad = replace(MID, part="bad", hole_diameter=length("20 mm"))
    choice = choose((bad, replace(MID, thread="no thread", part="x"), MID), stack=PLAIN, needs=Needs(thread="M6"))
    assert [candidate.insert.part for candidate in choice.candidates] == ["mid"]
    assert "insert.hole_diameter" in choice.rejected[0].cure


def test_an_empty_catalogue_is_said() -> None:
    """No inserts is not “nothing fits”."""
    assert "import a catalogue" in choose((), stack=PLAIN, needs=Needs(thread="M6")).notes[0]


@pytest.mark.parametrize(
    "needs",
    [Needs(thread="M6.5"), Needs(thread="M6", room_behind_mm=-1), Needs(thread="M6", end="ajar")],  # type: ignore[arg-type]
)
def test_a_need_that_cannot_be_right_is_refused(needs: Needs) -> None:
    """A thread that is not held, negative room and unknown words are BadInput."""
    with pytest.raises(BadInput):
        choose(ALL, stack=PLAIN, needs=needs)

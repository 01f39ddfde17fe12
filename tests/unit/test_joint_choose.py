"""Choosing with the whole joint: hard checks of the surroundings, strength, and cures."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from firstpull.errors import BadInput
from firstpull.jobs.answers import choice_answer
from firstpull.mechanics.check import Check
from firstpull.mechanics.choose import Choice, Needs, choose
from firstpull.mechanics.joint import Edges, JointDemand, LoadRange, Loads, Screw
from firstpull.mechanics.stack import Layer, Stack
from firstpull.units import parse_length as length
from mechanics_examples import KNOB, M6, PLAIN

LOADED = JointDemand(
    loads=Loads(tension=LoadRange(200, 600), shear=LoadRange(100, 400), push=LoadRange(0, 300)),
    screw=Screw(strength="8.8", torque_nm=4.0, mating_thickness=length("5 mm"), clearance_hole=length("6.6 mm")),
    edges=Edges(edge=length("20 mm"), pitch=length("40 mm")),
)


def chosen(*, insert: Any = M6, stack: Stack = PLAIN, joint: JointDemand | None = LOADED, **needs: Any) -> Choice:
    """The choice among one insert."""
    return choose((insert,), stack=stack, needs=Needs(thread="M6", **needs), joint=joint)


def test_every_check_stands_in_the_table() -> None:
    """The table has each check of the joint, with margin, source and chance."""
    (found,) = chosen().candidates
    rows = {check.name: check for check in found.checks}
    assert set(rows) >= {
        "screw proof", "screw tension", "clamp", "screw shear", "screw shear with tension", "slip",
        "thread strip, screw", "thread strip, insert", "seated fold", "pull-out", "push-out", "torque-to-turn",
        "insert shear", "sheet bearing", "edge distance", "pitch", "jack-out",
    }  # fmt: skip
    assert rows["pull-out"].estimate
    assert rows["edge distance"].demand == 18.0
    assert rows["pitch"].margin == pytest.approx((40 - 27) / 40)
    assert found.strength is not None
    assert found.strength.tightening.given
    answer = choice_answer(chosen())
    assert answer["candidates"][0]["tightening"]["torque_nm"] == 4.0
    assert answer["candidates"][0]["hole"]["least_mm"] == 9.0


def test_tested_values_win() -> None:
    """Pull-out, push-out and turning torque of the catalogue are used as they stand and are no estimates."""
    tested = replace(M6, pull_out_n=5000.0, push_out_n=2500.0, torque_to_turn_nm=9.0)
    rows = {check.name: check for check in chosen(insert=tested).candidates[0].checks}
    for name, value in (("pull-out", 5000), ("push-out", 2500), ("torque-to-turn", 9.0)):
        assert rows[name].capacity == pytest.approx(value)
        assert not rows[name].estimate
        assert rows[name].source == "tested: catalogue"


@pytest.mark.parametrize(
    ("changes", "reason", "cure"),
    [
        ({"sealed": True}, "must be sealed", "end closed"),
        ({"temperature_c": 400.0}, "used up to 300 °C", "100 °C are missing"),
        ({"surroundings": "harsh", "insert": replace(M6, material="stainless A2")}, "0.40 V apart", "sealant"),
        ({"pocket_diameter_mm": 13.5, "tool": replace(KNOB, nose_diameter=length("14 mm"))}, "does not enter", "0.50 mm thinner"),
        ({"pocket_diameter_mm": 12.0}, "flange of 13.00 mm does not enter", "1.00 mm wider"),
        ({"joint": JointDemand(loads=Loads(tension=LoadRange(9000, 30000)), screw=Screw(torque_nm=4.0))}, "30.00 kN against", "stronger screw class"),
        ({"pocket_depth_mm": 30.0, "tool": replace(KNOB, nose_reach=length("25 mm"))}, "reaches 25.00 mm", "5.00 mm longer"),
        ({"insert": replace(M6, head="countersunk", flange_thickness=length("2.1 mm"), flange_diameter=length("13.2 mm"))}, "2.10 mm high", "Dimple"),
        ({"joint": replace(LOADED, load_ceiling_n=5000.0)}, "6.00 of the 5.00 kN", "1.00 kN less"),
        ({"joint": replace(LOADED, edges=Edges(edge=length("15 mm")))}, "Edge distance 15.00 mm", "3.00 mm further"),
        ({"joint": replace(LOADED, edges=Edges(pitch=length("20 mm")))}, "Pitch 20.00 mm", "7.00 mm further"),
        ({"joint": replace(LOADED, screw=Screw(torque_nm=4.0, clearance_hole=length("13 mm")))}, "jacks the insert out", "smaller"),
        ({"joint": replace(LOADED, screw=Screw(strength="8.8", torque_nm=13.0))}, "proof load", "N·m or less"),
        ({"joint": replace(LOADED, loads=Loads(tension=LoadRange(9000, 14000)))}, "", ""),
        ({"insert": replace(M6, torque_to_turn_nm=3.0)}, "turns at 3 N·m", "3 N·m or less"),
    ],
)  # fmt: skip
def test_what_fails_is_said_with_its_cure(changes: dict[str, Any], reason: str, cure: str) -> None:
    """Each check of surroundings and strength rejects with its reason and the smallest change."""
    choice = chosen(**changes)
    assert choice.candidates == ()
    assert reason in choice.rejected[0].reason
    assert cure in choice.rejected[0].cure
    assert choice.rejected[0].cure


def test_a_dimple_admits_a_countersunk_head_in_thin_sheet() -> None:
    """With dimple the countersunk head in thin sheet is kept, and the dimple is asked for."""
    sunk = replace(M6, head="countersunk", flange_thickness=length("2.1 mm"), flange_diameter=length("13.2 mm"))
    (found,) = chosen(insert=sunk, dimple=True).candidates
    assert any("Dimple the sheet" in check.text for check in found.checks)


def test_a_soft_sheet_is_flagged() -> None:
    """Composite is said to be crushed or split."""
    stack = Stack((Layer("carbon-fibre laminate", length("2.0 mm"), length("0.1 mm")),))
    (found,) = chosen(stack=stack).candidates
    assert any(check.name == "soft sheet" and "crushed" in check.text for check in found.checks)


def test_a_torque_that_is_not_given_is_found_inside_its_window() -> None:
    """The torque never passes the first limit, which is named."""
    (found,) = chosen(joint=JointDemand()).candidates
    assert found.strength is not None
    torque = found.strength.tightening
    assert torque.torque_nm <= torque.high_nm
    assert torque.inside
    assert torque.limited_by == "the setting load"  # 6000 / 1.1 / 1.3 · 0.2 · 6 mm = 5.03 N·m
    assert torque.high_nm == pytest.approx(5.035, abs=0.001)


def row(choice: Choice, name: str) -> Check:
    """One check of the only candidate."""
    (found,) = choice.candidates
    return next(check for check in found.checks if check.name == name)


def test_shear_with_tension_counts_both() -> None:
    """400 N of shear and 600 N of tension in class 8.8 count as 400 + 0.6 / 1.26 · 600 N, of 0.6 · 800 · 20.123 N."""
    both = row(chosen(), "screw shear with tension")
    assert both.demand == pytest.approx(400 + 0.6 / 1.26 * 600, abs=1e-3)
    assert both.capacity == pytest.approx(0.6 * 800 * 20.123, rel=1e-4)
    assert "preload does not count" in both.assumptions[-1]


def test_a_joint_that_slips_is_said_and_kept() -> None:
    """Slip has no margin and rejects nothing: bare sheet holds 0.2 of the clamp that is left, coated 0.1."""
    bare = row(chosen(), "slip")
    assert bare.capacity == pytest.approx(0.2 * (0.7 * 4.0 / (0.2 * 0.006) - 0.7 * 600))
    assert (bare.margin, bare.ok) == (None, True)
    assert "may slip" in bare.text
    coated = Stack((*PLAIN.layers, Layer("powder coat", length("0.08 mm"), coating=True)))
    assert row(chosen(stack=coated), "slip").capacity == pytest.approx(float(bare.capacity) / 2)


def test_an_empty_torque_window_is_said() -> None:
    """A fold that bears too little for the tension: the reason names both ends of the window and what limits it."""
    weak = replace(M6, setting_load_n=2000.0)
    choice = chosen(insert=weak, joint=JointDemand(loads=Loads(tension=LoadRange(0, 1500))))
    # 0.7 · 1500 / 0.7 · 0.2 · 6 mm = 1.8 N·m wanted; (2000 / 1.1 − 0.3 · 1500) / 1.3 · 0.2 · 6 mm = 1.26 N·m allowed
    assert "No torque serves: it takes 1.8 N·m or more, and the setting load allows 1.26" in choice.rejected[0].reason
    assert "Lower the tension" in choice.rejected[0].cure


def test_the_torque_is_raised_to_what_keeps_the_joint_shut() -> None:
    """A wanted preload below what the tension takes off is raised inside the window."""
    demand = JointDemand(loads=Loads(tension=LoadRange(0, 2500)), screw=Screw(strength="8.8", proof_share=0.1))
    (found,) = chosen(insert=replace(M6, pull_out_n=9000.0), joint=demand).candidates
    assert found.strength is not None
    torque = found.strength.tightening
    assert torque.torque_nm == torque.low_nm == pytest.approx(0.7 * 2500 / 0.7 * 0.2 * 0.006)
    assert torque.inside


@pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
def test_a_found_torque_passes_what_it_was_found_from(share: float) -> None:
    """At either end of the load factor, and with all of proof wanted, the highest pull just meets the proof load."""
    loads = Loads(tension=LoadRange(0, 1234.567), load_factor=share)
    demand = JointDemand(loads=loads, screw=Screw(strength="4.6", proof_share=1.0))
    proof = row(chosen(insert=replace(M6, setting_load_n=None, pull_out_n=9000.0), joint=demand), "screw proof")
    assert proof.ok
    assert proof.demand == pytest.approx(proof.capacity, rel=1e-5)
    assert proof.demand <= proof.capacity
    # found to pass: no margin that would rank all inserts alike
    assert proof.margin is None


def test_a_coating_parts_the_metals_on_the_faces_only() -> None:
    """A poor pair under powder coat passes with its negative margin and says what must be sealed; plating parts nothing."""
    stainless = replace(M6, material="stainless A2")
    powder = Stack((*PLAIN.layers, Layer("powder coat", length("0.08 mm"), coating=True)))
    pair = row(chosen(insert=stainless, stack=powder, surroundings="harsh"), "galvanic pair")
    assert pair.ok
    assert pair.margin == pytest.approx((0.15 - 0.40) / 0.15)
    assert "not in the hole" in pair.text
    assert "sealed" in pair.text
    zinc = Stack(
        (Layer("DC01", length("2.0 mm"), length("0.1 mm")), Layer("zinc plate", length("0.01 mm"), coating=True))
    )
    plated = chosen(insert=stainless, stack=zinc, surroundings="normal")
    assert "stainless A2 on zinc plate: 0.75 V apart" in plated.rejected[0].reason


def test_a_hole_that_is_not_given_is_said_with_a_usual_one() -> None:
    """Without the part's hole the jack-out row tells of a medium one, 6.6 mm on 13 mm of flange, and judges nothing."""
    usual = row(chosen(joint=JointDemand()), "jack-out")
    assert (usual.demand, usual.capacity, usual.margin, usual.ok) == (6.6, 13.0, None, True)
    assert "a medium one, 6.60 mm, bears on the flange" in usual.text


def test_a_part_s_hole_lets_the_screw_through() -> None:
    """A hole below the screw's diameter is a slip of the pen, not a joint with much to spare."""
    for hole, fits in (("5.9 mm", False), ("0.26 mm", False), ("6 mm", True), ("6.6 mm", True)):
        joint = replace(LOADED, screw=replace(LOADED.screw, clearance_hole=length(hole)))
        if fits:
            assert chosen(joint=joint).candidates
        else:
            with pytest.raises(BadInput, match="does not let the M6x1 screw through") as refused:
                chosen(joint=joint)
            assert refused.value.where == "screw.clearance_hole"


def test_a_sealed_joint_is_told_what_a_closed_end_leaves_open() -> None:
    """A closed end keeps what is behind the sheet out of the thread; round the body it can still pass."""
    closed = replace(M6, end="closed", length_free=length("23 mm"))
    for joint in (LOADED, None):
        assert any("under the flange" in note for note in chosen(insert=closed, joint=joint, sealed=True).notes)
        assert not any("under the flange" in note for note in chosen(insert=closed, joint=joint).notes)


def test_an_insert_that_may_turn_names_the_torque_up_to_which_it_does_not() -> None:
    """Tightened with that torque the estimate holds at its worst, and with a little more it does not."""
    joint = replace(LOADED, loads=Loads(), screw=replace(LOADED.screw, torque_nm=None))
    slim = replace(M6, flange_diameter=length("10.5 mm"), set_allowance=length("1.6 mm"))
    (found,) = chosen(insert=slim, joint=joint).candidates
    assert found.strength is not None
    assert found.strength.hole is not None
    (note,) = [note for note in found.strength.hole.notes if "may turn it" in note]
    said_nm = float(note.split("tighten with ")[1].split(" ")[0])
    for torque_nm, holds in ((said_nm, True), (said_nm + 0.02, False)):
        other = replace(joint, screw=replace(joint.screw, torque_nm=torque_nm))
        (again,) = chosen(insert=slim, joint=other).candidates
        (row,) = [check for check in again.checks if check.name == "torque-to-turn"]
        assert row.margin is not None
        assert (row.margin >= 0) is holds


def test_a_sheet_of_unknown_strength_is_named() -> None:
    """What is not checked says which word to change, and a load that nobody gave is not shown as zero."""
    stack = Stack(layers=(Layer("16 ga steel", length("2 mm"), None),))
    (found,) = chosen(stack=stack, joint=replace(LOADED, loads=Loads())).candidates
    rows = {check.name: check for check in found.checks}
    for name in ("pull-out", "push-out"):
        assert "“16 ga steel” is not known: name its grade" in rows[name].text
        assert rows[name].demand == "not given"

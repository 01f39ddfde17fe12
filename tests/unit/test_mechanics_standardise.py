"""Fewest part numbers: hand-worked joints, prices, who is not served, tools, stopping, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from firstpull.errors import BadInput
from firstpull.mechanics import standardise as module
from firstpull.mechanics import standardise_rows as rows_module
from firstpull.mechanics.choose import Needs, choose
from firstpull.mechanics.counted import Counted, counted_margin
from firstpull.mechanics.cover import Progress
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.joint.demand import Edges, JointDemand, LoadRange, Loads, Screw
from firstpull.mechanics.shelf import Shelf
from firstpull.mechanics.stack import Layer, Stack
from firstpull.mechanics.standardise import Joint, standardise, why_not_served
from firstpull.units import parse_length as length
from mechanics_examples import KNOB, M6, PLAIN


def insert(part: str, low: str, high: str, **changes: Any) -> Insert:
    """An M6 insert that takes ``low`` to ``high`` mm of stack."""
    grip = {"grip_min": length(f"{low} mm"), "grip_max": length(f"{high} mm")}
    return replace(M6, part=part, length_free=length("24 mm"), **grip, **changes)


def joint(name: str, mm: str, **needs: Any) -> Joint:
    """A joint of one sheet of ``mm``, M6 unless told otherwise."""
    return Joint(name, Stack((Layer("EN AW-5754", length(f"{mm} mm")),)), Needs(**{"thread": "M6", **needs}))


NARROW, WIDE, THICK = insert("narrow", "1.0", "2.0"), insert("wide", "0.5", "4.5"), insert("thick", "3.0", "5.0")
ALL = (NARROW, WIDE, THICK)
JOINTS = (joint("lid", "1.5"), joint("bracket", "2.0"), joint("beam", "4.0"))


def test_one_part_serves_what_two_would_serve_better() -> None:
    """“wide” takes 1.5, 2.0 and 4.0 mm with margins ½, ¾ and ¼; alone, the lid and the beam would each have margin 1."""
    found = standardise(JOINTS, ALL)
    assert [part.part for part in found.inserts] == ["wide"]
    assert [(row.joint, row.margin, row.own_best.part, row.price) for row in found.served] == [
        ("lid", 0.5, "narrow", 0.5),
        ("bracket", 0.75, "wide", 0.0),
        ("beam", 0.25, "thick", 0.75),
    ]
    assert found.served[0].text == ("wide with 50 % to spare (grip) instead of narrow with 100 %: 50 points given up.")
    assert found.served[1].text == "wide, its own best: 75 % to spare (grip)."
    assert (found.own_best_inserts, found.least_inserts, found.proven) == (3, 1, True)
    assert (found.tightest_margin, found.mean_margin) == (0.25, 0.5)
    assert found.text == "1 part number serves 3 joints; each with its own best, they would take 3."
    assert found.threads == ("M6x1",)


def test_a_greater_margin_asks_for_more_parts() -> None:
    """With 40 % to spare “wide” no longer serves the beam: two parts, and the tightest joint gets what it can."""
    found = standardise(JOINTS, ALL, min_margin=0.4)
    assert [part.part for part in found.inserts] == ["thick", "wide"]
    assert found.tightest_margin == 0.5


def test_fewer_threads_come_after_fewer_parts_and_before_margin() -> None:
    """A joint that nothing forces to M5 is the thread's own matter: two threads for two needs, whatever the margin."""
    five = insert("five", "0.5", "4.5", thread="M5")
    found = standardise((*JOINTS, joint("guide", "2.0", thread="M5")), (*ALL, five))
    assert [part.part for part in found.inserts] == ["five", "wide"]
    assert found.threads == ("M5x0.8", "M6x1")


def test_a_joint_that_nothing_serves_is_named_with_the_nearest_cure() -> None:
    """What is too thick for all is named; the others are still served, one of them with exactly the margin asked for."""
    found = standardise((JOINTS[0], joint("block", "6.0"), joint("edge", "4.9")), ALL)
    assert [row.joint for row in found.served] == ["lid", "edge"]
    assert found.served[1].margin == 0.1
    block = found.not_served[0]
    assert (block.joint, block.nearest) == ("block", "thick")
    assert "1.00 mm above its maximum grip" in block.reason
    assert "next longer grip" in block.cure
    assert found.text.endswith("1 joint is not served.")


def test_a_margin_under_what_is_asked_says_what_would_be_accepted() -> None:
    """4.96 mm in a grip up to 5 mm has 4 % to spare: fit, but under 10 %."""
    found = standardise((joint("edge", "4.96"),), ALL)
    assert found.served == ()
    assert found.not_served[0].reason.startswith("It fits, but its grip has 4 % to spare, under the 10 % asked for.")
    assert "Accept 4 % for it" in found.not_served[0].cure
    assert found.text == "No joint can be served."
    assert found.proven


def loaded(name: str, *, torque_nm: float | None = 4.0, tension_n: float = 600.0) -> Joint:
    """A 2 mm sheet whose screw is tightened and pulls."""
    demand = JointDemand(
        loads=Loads(tension=LoadRange(0, tension_n)),
        screw=Screw(strength="8.8", torque_nm=torque_nm, clearance_hole=length("6.6 mm")),
    )
    return Joint(name, PLAIN, Needs(thread="M6"), "mm", demand)


WEAK = replace(M6, part="weak", setting_load_n=4000.0)
TESTED = replace(M6, part="tested", pull_out_n=700.0, torque_to_turn_nm=9.0)
SHORT = replace(M6, part="short", pull_out_n=500.0, torque_to_turn_nm=9.0)


def test_strength_counts_when_loads_are_given() -> None:
    """A pull-out tested at 500 N does not bear 600 N; one tested at 700 N does, with 1 − 600/700 to spare."""
    found = standardise((loaded("lid"),), (SHORT, TESTED))
    assert [(row.insert.part, row.tightest.name) for row in found.served] == [("tested", "pull-out")]
    assert found.served[0].margin == pytest.approx(1 / 7, abs=1e-6)
    assert standardise((replace(loaded("lid"), demand=None),), (SHORT,)).served != ()
    none = standardise((loaded("lid"),), (SHORT,))
    assert none.not_served[0].reason.startswith("Up to 0.60 kN against 0.50 kN (tested).")
    assert "share the load" in none.not_served[0].cure


def test_an_estimate_counts_on_average_unless_its_worst_is_asked_for() -> None:
    """By friction it turns at more than 5 N·m on average, at worst at less: that is said, and can be refused."""
    lid = loaded("lid", torque_nm=5.0)
    slim = replace(M6, flange_diameter=length("10 mm"))
    found = standardise((lid,), (slim,))
    row = found.served[0]
    assert row.margin >= 0.1
    assert row.worst_margin < 0
    assert row.text.startswith("T6-30, its own best: ")
    assert "At worst its torque-to-turn (an estimate) falls " in row.text
    assert found.notes[1] == "1 joint holds by an estimate that falls short at worst: prove by test."
    strict = standardise((lid,), (slim,), estimates="worst", min_margin=0.0)
    assert strict.served == ()
    assert "falls" in strict.not_served[0].reason
    assert "Prove it by test" in strict.not_served[0].cure


def test_a_torque_that_is_found_does_not_speak_for_the_insert() -> None:
    """Without a torque it is found at the insert's limit: that limit's own check would always say “no margin”."""
    found = standardise((loaded("lid", torque_nm=None, tension_n=100.0),), (TESTED,))
    assert found.served[0].tightest.name not in ("seated fold", "screw proof", "torque-to-turn", "thread strip, insert")
    assert found.served[0].margin > 0.1
    (candidate,) = choose(
        (TESTED,), stack=PLAIN, needs=Needs(thread="M6"), joint=loaded("lid", torque_nm=None).demand
    ).candidates
    counted = counted_margin(candidate)
    assert counted is not None
    assert counted.check.name == "pull-out"
    given = choose((TESTED,), stack=PLAIN, needs=Needs(thread="M6"), joint=loaded("lid").demand).candidates[0]
    assert counted_margin(given, estimates="worst") == Counted(
        given.tightest, given.tightest.margin or 0, given.tightest, given.tightest.margin or 0
    )


def test_the_clamp_of_a_found_torque_counts_with_its_window() -> None:
    """A torque raised to what just keeps the joint shut leaves no clamp; that it may be raised to the upper limit counts."""
    pulled = loaded("lid", torque_nm=None, tension_n=3500.0)
    strong = replace(TESTED, pull_out_n=20000.0, torque_to_turn_nm=30.0, setting_load_n=20000.0)
    assert pulled.demand is not None
    screw = replace(pulled.demand.screw, proof_share=0.05, clearance_hole=None)
    demand = replace(pulled.demand, screw=screw)
    (candidate,) = choose((strong,), stack=PLAIN, needs=Needs(thread="M6"), joint=demand).candidates
    assert candidate.strength is not None
    torque = candidate.strength.tightening
    assert torque.low_nm == pytest.approx(torque.torque_nm)
    clamp = next(check for check in candidate.checks if check.name == "clamp")
    assert clamp.margin == pytest.approx(0, abs=1e-6)
    counted = counted_margin(candidate)
    assert counted is not None
    assert counted.check.name == "clamp"
    assert counted.margin == pytest.approx(1 - (torque.low_nm or 0) / torque.high_nm, abs=1e-6)


def test_of_margins_alike_the_one_that_holds_at_worst_is_taken() -> None:
    """Two parts with the same edge margin: the one whose turning was tested goes before the one that is estimated."""
    edge = replace(loaded("lid"), demand=JointDemand(screw=Screw(torque_nm=5.0), edges=Edges(edge=length("20 mm"))))
    first = replace(M6, part="a", flange_diameter=length("10 mm"))
    last = replace(first, part="z", torque_to_turn_nm=9.0)
    found = standardise((edge,), (first, last))
    assert [part.part for part in found.inserts] == ["z"]
    assert (found.served[0].tightest.name, found.served[0].margin) == ("edge distance", 0.1)


def test_what_is_not_known_is_said() -> None:
    """A row without flange and hole cannot be estimated: the joint is served, and what was not checked is named."""
    bare = replace(M6, flange_diameter=None, body_diameter=None, hole_diameter=None)
    found = standardise((loaded("lid"),), (bare,))
    assert "torque-to-turn" in found.served[0].not_checked
    assert found.notes[-1].startswith("Not checked everywhere, for want of values in the catalogue: ")


def test_why_a_joint_is_not_served_is_said_in_its_unit() -> None:
    """The reason's lengths are in the joint's unit; a joint that is served has none."""
    thick = joint("block", "6.0")
    texts = [why_not_served(replace(thick, unit=unit), ALL, min_margin=0.1) for unit in ("mm", "in")]
    assert [row is not None and ("1.00 mm" in row.reason, "0.0394 in" in row.reason) for row in texts] == [
        (True, False),
        (False, True),
    ]
    assert why_not_served(JOINTS[0], ALL, min_margin=0.1) is None


def test_a_shelf_gives_the_same_answer_as_a_list() -> None:
    """A shelf is looked through by columns, and nothing changes."""
    five = insert("five", "0.5", "4.5", thread="M5")
    for joints in (JOINTS, (*JOINTS, joint("block", "6.0")), (joint("guide", "2.0", thread="M8"),)):
        listed, shelved = standardise(joints, (*ALL, five)), standardise(joints, Shelf.of((*ALL, five)))
        assert replace(shelved, not_served=()) == replace(listed, not_served=())
        assert [row.joint for row in shelved.not_served] == [row.joint for row in listed.not_served]
        assert [row.nearest for row in shelved.not_served if row.joint == "block"] == ["thick"] * (len(joints) == 4)


def test_of_very_many_rows_those_that_fit_most_joints_are_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of rows that each fit one joint better, the one that fits all is still found; it is not called proven."""
    monkeypatch.setattr(rows_module, "MOST_FITS", 4)
    many = [insert(f"n{n}", "1.0", "2.0") for n in range(9)] + [insert(f"t{n}", "3.0", "5.0") for n in range(9)]
    found = standardise(JOINTS, Shelf.of([*many, WIDE]))
    assert [part.part for part in found.inserts] == ["wide"]
    assert (found.proven, found.least_inserts) == (False, 1)
    assert found.notes[0].startswith("Fewer part numbers cannot do, but margins may get better: of very many")
    two = standardise(JOINTS, Shelf.of(many))
    assert (len(two.inserts), two.proven) == (2, False)
    assert two.notes[0].startswith("Not proven: of very many inserts that fit,")
    assert found.served[0].own_best.part == "n0"
    told: list[Progress] = []
    standardise(JOINTS, Shelf.of([*many, WIDE]), progress=told.append)
    assert [(step.place, step.of) for step in told if step.step == "joints"] == [(n, 6) for n in range(1, 7)]
    with pytest.raises(BadInput, match="after 0 of 3 joints"):
        standardise(JOINTS, Shelf.of([*many, WIDE]), cancelled=lambda: len(told) > 0)
    five = insert("five", "0.5", "4.5", thread="M5")
    guide = joint("guide", "2.0", thread="M5")
    assert (
        standardise((*JOINTS, guide), Shelf.of([*many, WIDE, five])).least_inserts == 2
    )  # a thread cannot do for another
    monkeypatch.setattr(rows_module, "MOST_FITS", 30)
    assert standardise(JOINTS, Shelf.of([*many, WIDE])) == standardise(JOINTS, [*many, WIDE])


def test_a_margin_that_most_rows_lack_is_looked_for_among_those_that_have_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Many rows fit the beam with little to spare and one with enough: that one is taken up."""
    monkeypatch.setattr(rows_module, "MOST_FITS", 4)
    many = [insert(f"n{n}", "0.5", "4.05") for n in range(30)]
    found = standardise((joint("beam", "4.0"),), Shelf.of([*many, THICK]))
    assert [part.part for part in found.inserts] == ["thick"]
    none = standardise((joint("beam", "4.0"),), Shelf.of(many))
    assert none.not_served[0].reason.startswith("It fits, but its grip has 2 % to spare")


def test_too_many_ways_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """More ways to serve the joints than can be reckoned with are refused with what to narrow."""
    monkeypatch.setattr(module, "_MOST_WAYS", 3)
    with pytest.raises(BadInput, match="too many to reckon with"):
        standardise(JOINTS, ALL)


def test_the_order_of_joints_and_rows_does_not_matter() -> None:
    """Joints come back in the order given; who takes what is the same."""
    forward = standardise(JOINTS, ALL)
    back = standardise(tuple(reversed(JOINTS)), tuple(reversed(ALL)))
    assert back.inserts == forward.inserts
    assert back.served == tuple(reversed(forward.served))


def test_twins_go_to_the_first_name() -> None:
    """Two parts that serve alike: the first by name is kept."""
    found = standardise(JOINTS, (replace(WIDE, part="zulu"), replace(WIDE, part="alpha")))
    assert [part.part for part in found.inserts] == ["alpha"]


def test_tools_are_as_few_as_can_be_and_named() -> None:
    """A tool that can set all of them is enough; one with too little stroke is not taken for what it cannot set."""
    short = replace(KNOB, stroke_max=length("4.2 mm"))
    # G_max − t + A: 4.5 − 4.0 + 3.4 = 3.9 mm for the beam, 6.4 mm for the lid
    found = standardise(
        (JOINTS[0], JOINTS[2]),
        (WIDE,),
        tools=(("short", short), ("long", replace(KNOB, stroke_max=length("9 mm")))),
        min_margin=0.01,
    )
    assert found.tools == ("long",)
    assert {row.tool for row in found.served} == {"long"}
    assert found.served[0].text.endswith("Set with long.")
    none = standardise((JOINTS[0],), (WIDE,), tools=(("short", short),))
    assert none.served == ()
    assert "stroke" in none.not_served[0].reason


def test_stopping_is_said() -> None:
    """Stopped before all joints were looked at it is refused; stopped after that, the best so far is not called proven."""
    with pytest.raises(BadInput, match="after 0 of 3 joints"):
        standardise(JOINTS, ALL, cancelled=lambda: True)
    asked: list[int] = []

    def later() -> bool:
        asked.append(1)
        return len(asked) > len(JOINTS)

    far = replace(insert("far", "0.4", "4.6"), length_free=length("17 mm"))
    found = standardise(JOINTS, (*ALL, far), cancelled=later, min_margin=0.1)
    assert len(found.served) == 3
    assert not found.proven
    assert found.notes[0].startswith("Stopped: fewer part numbers cannot do")
    asked.clear()
    two = standardise(JOINTS, (*ALL, far), cancelled=later, min_margin=0.4)
    assert (len(two.inserts), two.least_inserts) == (2, 1)
    assert "fewer may do, but not fewer than 1" in two.notes[0]


def test_progress_tells_joints_then_steps() -> None:
    """Each joint is told, then the steps of the search in order."""
    told: list[Progress] = []
    standardise(JOINTS, ALL, progress=told.append)
    assert [(step.step, step.place) for step in told[:3]] == [("joints", 1), ("joints", 2), ("joints", 3)]
    assert [step.step for step in told[3:]] == ["items", "groups", "helpers", "tightest", "total", "order"]


@pytest.mark.parametrize(
    ("joints", "rows", "changes", "where"),
    [
        ((), ALL, {}, "joints"),
        (JOINTS, (), {}, "catalogue"),
        ((JOINTS[0], JOINTS[0]), ALL, {}, "joints"),
        (JOINTS, (WIDE, WIDE), {}, "inserts"),
        (JOINTS, ALL, {"tools": (("A", KNOB), ("A", KNOB))}, "tools"),
        (JOINTS, ALL, {"min_margin": 1.0}, "min_margin"),
        (JOINTS, ALL, {"min_margin": float("nan")}, "min_margin"),
        (JOINTS, ALL, {"estimates": "hoped"}, "estimates"),
        ((joint("odd", "2.0", thread="M66"),), ALL, {}, "odd: needs.thread"),
    ],
)
def test_what_cannot_be_is_refused_by_name(joints: Any, rows: Any, changes: dict[str, Any], where: str) -> None:
    """No joint, no row, equal names, a margin that is none, and a joint's own fault are refused with their place."""
    with pytest.raises(BadInput) as refused:
        standardise(joints, rows, **changes)
    assert refused.value.where == where

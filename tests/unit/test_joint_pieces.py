"""The pieces of a joint's strength, each against a case worked by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from firstpull.errors import BadInput
from firstpull.mechanics.check import Check
from firstpull.mechanics.counted import counted
from firstpull.mechanics.joint import Edges, JointDemand, LoadRange, Loads, Screw
from firstpull.mechanics.joint.checks import compare
from firstpull.mechanics.joint.demand import check_demand
from firstpull.mechanics.joint.estimates import (
    SetShape,
    SheetLayer,
    bearing_load_n,
    blind_head_mm,
    pull_out_n,
    push_out_n,
    thin_wall_share,
    torque_to_turn_nm,
    tube_shear_n,
)
from firstpull.mechanics.joint.hole import hole_for
from firstpull.mechanics.joint.screw import screw_length
from firstpull.mechanics.joint.spread import Spread, between, from_least
from firstpull.mechanics.joint.tightening import screw_data, tightening
from firstpull.trade.service import screw_lengths, service_range
from firstpull.trade.threads import thread
from firstpull.units import parse_length as length
from mechanics_examples import M6, PLAIN, TRAY

SHEET = SheetLayer("sheet", 2.0, 80.0, 190.0, 114.0, "")
SHAPE = SetShape(9.0, 12.3, 13.0, 1.5, 1.25, 8.9, 360.0, 216.0)


def test_limits_stand_two_standard_deviations_out() -> None:
    """1 to 3 is 2 with 0.5; a least of 8 with 10 % is 10 with 1."""
    assert between(1, 3) == Spread(2, 0.5)
    assert from_least(8, 0.1) == Spread(10, 1)
    with pytest.raises(BadInput):
        between(3, 1)
    with pytest.raises(BadInput):
        from_least(1, 0.5)


def test_a_row_has_worst_case_expected_value_and_chance() -> None:
    """Demand 4 to 6 against 8 to 12: worst 2 of 8, expected 5 of 10, 5 apart over √(0.5² + 1²)."""
    row = compare("x", between(4, 6), between(8, 12), unit="N", text="", source="")
    assert (row.margin, row.expected_margin, row.ok) == (0.25, 0.5, True)
    assert row.probability == pytest.approx(0.5 * math.erfc(-5 / math.hypot(0.5, 1) / math.sqrt(2)), abs=1e-6)


def test_an_estimate_fails_on_its_expected_value_only() -> None:
    """9 against 8 to 12 fails by a standard and passes as an estimate, which says so."""
    demand, offer = between(9, 9), between(8, 12)
    assert not compare("x", demand, offer, unit="N", text="", source="").ok
    guess = compare("x", demand, offer, unit="N", text="", source="", estimate=True)
    assert guess.ok
    assert "worst case falls short" in guess.text


def test_capacities_of_the_set_insert() -> None:
    """Shear and bearing by hand: the weakest of the ways decides."""
    assert bearing_load_n(190, thickness_mm=2, diameter_mm=9) == pytest.approx(1.5 * 190 * 18)
    assert blind_head_mm(8.9, 3.4) == pytest.approx(12.3)
    assert blind_head_mm(8.9, 9.0) == pytest.approx(13.35)
    pull, push = pull_out_n(SHAPE, [SHEET]), push_out_n(SHAPE, [SHEET])
    assert pull is not None
    assert push is not None
    assert (pull.weakest, push.weakest) == ("the sheet shears", "the flange shears")
    assert pull.value == pytest.approx(math.pi * 12.3 * 2 * 114)
    assert push.value == pytest.approx(math.pi * 9 * 1.5 * 216)
    assert pull_out_n(SHAPE, [replace(SHEET, shear_mpa=None)]) is None
    assert tube_shear_n(SHAPE) == pytest.approx(math.pi * (8.9 - 1.25) * 1.25 * 216)


def test_a_countersunk_head_leaves_less_sheet_to_shear() -> None:
    """At (9 + 13) / 2 mm and half way down a head of 1.5 mm, 2 − 0.75 mm of sheet are left."""
    sunk = push_out_n(replace(SHAPE, sunk_mm=1.5, flange_thickness_mm=3.0), [SHEET])
    assert sunk is not None
    assert sunk.weakest == "the sheet shears"
    assert sunk.value == pytest.approx(math.pi * 11 * 1.25 * 114)
    thin = push_out_n(replace(SHAPE, sunk_mm=9.0), [SHEET])
    assert thin is not None
    assert thin.value == 0


def test_a_soft_layer_under_the_blind_head_is_not_passed_over() -> None:
    """Where the strength of the layer under the ring is not known, nothing is estimated, whatever lies above it."""
    unknown = SheetLayer("felt", 1.0, None, None, None, "")
    assert pull_out_n(SHAPE, [SHEET, unknown]) is None
    assert push_out_n(SHAPE, [SHEET, unknown]) is not None
    assert push_out_n(SHAPE, [unknown, SHEET]) is None


def test_a_thin_wall_gives_way() -> None:
    """3.8 · 1.5 − 1.5² − 2.61 = 0.84; from 1.9 on nothing is lost; never under a half."""
    assert thin_wall_share(9.0, 6.0) == pytest.approx(0.84)
    assert thin_wall_share(11.4, 6.0) == 1.0
    assert thin_wall_share(11.399, 6.0) == pytest.approx(1.0, abs=0.0001)
    assert thin_wall_share(6.6, 6.0) == 0.5
    with pytest.raises(BadInput):
        thin_wall_share(0.0, 6.0)


def test_torque_to_turn_is_friction_and_a_hexagon_adds() -> None:
    """0.2 · (0.3 · 6000 + 4000) N on rings of 5.5 and 5.325 mm; the hexagon adds 80 · 2 · 81 / 4 N·mm."""
    plain = torque_to_turn_nm(SHAPE, setting_load_n=6000, preload_n=4000, hexagon_mm=None, sheet=SHEET)
    keyed = torque_to_turn_nm(SHAPE, setting_load_n=6000, preload_n=4000, hexagon_mm=9.0, sheet=SHEET)
    assert plain == pytest.approx(0.2 * 5800 * 10.825 / 1000)
    assert keyed - plain == pytest.approx(3.24)


def test_the_hole_with_drills_pins_and_coating() -> None:
    """9.0 mm +0.1: the 9.0 and 9.1 mm drills fit, pins 9.0 go and 9.1 no-go; a coating is warned of."""
    hole = hole_for(replace(M6, hole_tolerance=length("0.1 mm")), TRAY, turns=True)
    assert hole is not None
    assert (hole.go_mm, hole.no_go_mm) == (9.0, 9.1)
    fits = {drill.name for drill in hole.drills if drill.fits}
    assert {"9 mm", "9.1 mm"} & fits
    assert all(drill.misfit_mm == pytest.approx(drill.diameter_mm - 9.0) for drill in hole.drills)
    assert any("0.16 mm smaller" in note for note in hole.notes)
    assert any("notch" in note for note in hole.notes)
    assert hole_for(replace(M6, hole_diameter=None), TRAY, turns=False) is None


def test_a_screw_engages_fully_through_an_open_end() -> None:
    """M6 set in 2 mm is 11.1 mm long; with a 5 mm part and a pitch for the point, 17.1 mm: the next is 20 mm."""
    screw = Screw(mating_thickness=length("5 mm"))
    found = screw_length(M6, thread("M6"), screw, thickness_mm=2.0, room_behind_mm=None)
    assert (found.length_mm, found.engaged_mm, found.ok) == (20.0, 6.5, True)
    assert found.behind_mm == pytest.approx(20 - 5 - 1.5 - 2.0)
    tight = screw_length(M6, thread("M6"), screw, thickness_mm=2.0, room_behind_mm=3.0)
    assert not tight.ok


def test_a_screw_stays_inside_a_closed_end() -> None:
    """The longest usual screw that stops before the bottom, with at least a diameter in mesh, or none."""
    blind = replace(M6, end="closed", length_free=length("19 mm"), unthreaded_length=length("6.4 mm"), thread_length=length("8.5 mm"))  # fmt: skip
    found = screw_length(blind, thread("M6"), Screw(mating_thickness=length("5 mm")), thickness_mm=2.0, room_behind_mm=None)  # fmt: skip
    # set 14.6 mm, bottom 19 − 1.5 − 6.4 − 8.5 = 2.6 mm: the thread ends 12.0 mm below the part
    assert (found.reach_most_mm, found.length_mm) == (12.0, 16.0)
    assert found.engaged_diameters is not None
    assert found.engaged_diameters >= 1


def test_less_than_a_diameter_will_do_where_the_lengths_give_no_more() -> None:
    """6.5 mm of thread at a closed end: between 0.7 of a diameter and all but the point's pitch, and it is said."""
    blind = replace(M6, end="closed", length_free=length("17 mm"), unthreaded_length=length("6.5 mm"))
    # set 12.6 mm, bottom 17 − 1.5 − 6.5 − 6.5 = 2.5 mm: the thread lies 3.6 to 10.1 mm below the part
    found = screw_length(blind, thread("M6"), Screw(mating_thickness=length("6.5 mm")), thickness_mm=2.0, room_behind_mm=None)  # fmt: skip
    assert (found.reach_least_mm, found.reach_most_mm) == (pytest.approx(3.6 + 0.7 * 6 + 1), 10.1)
    # 16 − 6.5 − 1 − 3.6 mm
    assert (found.length_mm, found.engaged_mm) == (16.0, pytest.approx(4.9))
    assert "Less than one diameter" in found.text
    short = replace(blind, thread_length=length("4 mm"), unthreaded_length=length("9 mm"))
    least = screw_length(short, thread("M6"), Screw(), thickness_mm=2.0, room_behind_mm=None).reach_least_mm
    # a thread of 4 mm gives 3 mm at most: the tip at its end
    assert least == pytest.approx(10.1)


def test_a_length_that_cannot_be_said_is_said() -> None:
    """Without an allowance there is no set length and no screw length."""
    found = screw_length(replace(M6, set_allowance=None), thread("M6"), Screw(), thickness_mm=2.0, room_behind_mm=None)
    assert found.length_mm is None
    assert "set allowance is not known" in found.text


@pytest.mark.parametrize(
    "demand",
    [
        JointDemand(loads=Loads(tension=LoadRange(2, 1))),
        JointDemand(loads=Loads(load_factor=1.5)),
        JointDemand(screw=Screw(strength="nine")),
        JointDemand(screw=Screw(condition="damp")),
        JointDemand(screw=Screw(torque_nm=0)),
        JointDemand(edges=Edges(edge=length("0 mm"))),
        JointDemand(load_ceiling_n=-1),
    ],
)
def test_a_demand_that_cannot_be_right_is_refused(demand: JointDemand) -> None:
    """Each is BadInput that names its place."""
    with pytest.raises(BadInput) as caught:
        check_demand(demand)
    assert caught.value.where


def test_tables_of_service() -> None:
    """Aliases find a row; a temperature from memory says so; screw lengths rise."""
    zinc = service_range("steel zinc", "insert")
    assert zinc is not None
    assert zinc.most_c == 120
    assert "memory" in zinc.source
    assert service_range("unobtainium", "insert") is None
    assert list(screw_lengths("unified")) == sorted(screw_lengths("unified"))
    assert PLAIN.layers


def test_what_counts_is_worked_by_hand() -> None:
    """An estimate counts on average, others at worst; of a torque that was found the checks that ask for less do not, and
    the clamp counts with what the window leaves."""
    firm = Check("edge distance", 16, 20, 0.2, "mm", True, "")
    guess = Check("pull-out", 1, 1, -0.3, "N", True, "", estimate=True, expected_margin=0.1)
    turn = Check("torque-to-turn", 1, 1, -0.5, "N·m", True, "", estimate=True, expected_margin=0.05)
    clamp = Check("clamp", 1, 1, 0.9, "N", True, "")
    words = Check("end", "open", "open", None, "", True, "")
    given = counted((firm, guess, turn, clamp, words), None)
    assert given is not None
    assert (given.check.name, given.margin, given.worst_check.name, given.worst) == (
        "torque-to-turn",
        0.05,
        "torque-to-turn",
        -0.5,
    )
    worst = counted((firm, guess, turn, clamp), None, estimates="worst")
    assert worst is not None
    assert worst.margin == -0.5
    demand = JointDemand(loads=Loads(tension=LoadRange(0, 1000)))
    torque = tightening(M6, screw_data(thread("M6"), demand), demand, strip_n=None)
    found = counted((firm, guess, turn, clamp), torque)
    assert found is not None
    assert (found.check.name, found.margin, found.worst) == ("pull-out", 0.1, -0.3)
    alone = counted((clamp,), torque)
    assert alone is not None
    # the window of this torque: 0.7 · 1000 N / 0.7 · 0.2 · 6 mm = 1.2 N·m up to its limit
    assert alone.margin == pytest.approx(1 - 1.2 / torque.high_nm, abs=1e-6)
    assert counted((words,), None) is None

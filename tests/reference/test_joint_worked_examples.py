"""Worked examples of joints, each as printed.

Bearing: “Practice problem 4-3”, Strength of Materials, ah-engr.com/som/4_basic: 800 lbf over two 0.5 in bolts in
0.375 in plates: 2133 psi. Torque and tension: a handbook tightening table for grade 5 3/8-16 at three quarters of
proof: 4940 lbf, 30 lbf·ft dry (cut from 30.9) and 23 lbf·ft lubricated; “preload of grade 8 1/2-13”,
qammunity.org/7951555: 0.75 · 120 ksi · 0.1419 in² = 12.771 kip. Strip: internal strip area of M6 at 6 mm, “Metric
thread, stress and shear areas”, engineersedge table 15797. Interference: “Calculation of reliability using the
stress–strength interference model”, accendoreliability.com: stress 50 ± 15, strength 75 ± 20 MPa, one standard
deviation apart, so Φ(1) of any table of the normal distribution, 0.8413.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pytest

from firstpull.mechanics.joint import JointDemand, Screw
from firstpull.mechanics.joint.checks import prepare, strength_of
from firstpull.mechanics.joint.estimates import bearing_stress_mpa
from firstpull.mechanics.joint.spread import Spread, chance
from firstpull.mechanics.joint.tightening import screw_data, tightening
from firstpull.trade.materials import insert_material
from firstpull.trade.threads import thread
from firstpull.units import parse_length
from mechanics_examples import M6, PLAIN

NEWTON_PER_LBF = 4.4482216152605
NEWTON_METRE_PER_LBF_FT = 1.3558179483314003
MPA_PER_PSI = 6.894757293168361e-3
BARE = replace(M6, thread="3/8-16", setting_load_n=None, tightening_torque_max_nm=None)


def test_bearing_stress_of_the_two_bolt_joint() -> None:
    """400 lbf a bolt on 0.375 in by 0.5 in is 2133 psi."""
    stress = bearing_stress_mpa(400 * NEWTON_PER_LBF, thickness_mm=0.375 * 25.4, diameter_mm=0.5 * 25.4)
    assert stress / MPA_PER_PSI == pytest.approx(2133, abs=0.5)


@pytest.mark.parametrize(("condition", "printed_lbf_ft"), [("dry", 30.9), ("lubricated", 23)])
def test_tightening_of_the_grade_5_screw(condition: str, printed_lbf_ft: float) -> None:
    """Three quarters of proof on 3/8-16 in grade 5: 4940 lbf, 30.9 lbf·ft dry and 23 lubricated."""
    demand = JointDemand(screw=Screw(strength="grade 5", condition=condition))
    found = tightening(BARE, screw_data(thread("3/8-16"), demand), demand, strip_n=None)
    assert found.preload_n / NEWTON_PER_LBF == pytest.approx(4940, abs=10)  # printed to 20 lbf
    assert found.torque_nm / NEWTON_METRE_PER_LBF_FT == pytest.approx(printed_lbf_ft, abs=0.5)


def test_preload_of_the_grade_8_screw() -> None:
    """Three quarters of proof on 1/2-13 in grade 8 is 12.771 kip."""
    demand = JointDemand(screw=Screw(strength="grade 8"))
    found = tightening(replace(BARE, thread="1/2-13"), screw_data(thread("1/2-13"), demand), demand, strip_n=None)
    # 0.1419 in² is rounded: half its last digit is 0.035 %
    assert found.preload_n / NEWTON_PER_LBF / 1000 == pytest.approx(12.771, rel=0.00036)


def test_strip_load_from_the_printed_area() -> None:
    """The insert's thread strips at the printed area over 6 mm times the shear strength of its material."""
    data = Path(__file__).parent / "data" / "thread_strip_areas.csv"
    with data.open(encoding="utf-8", newline="") as text:
        rows = {(row["thread"], row["quantity"][:3]): row["published"] for row in csv.DictReader(text)}
    printed = float(rows["M6x1", "ASn"])
    steel = insert_material("steel")
    assert steel is not None
    assert steel.shear_mpa is not None
    # a thick wall, which does not give way
    insert = replace(M6, thread_length=parse_length("6 mm"), body_diameter=parse_length("12 mm"))
    case = prepare(PLAIN, JointDemand(), thread("M6"), thickness_mm=2.0, room_behind_mm=None, unit="mm")
    found = next(row.check for row in strength_of(insert, case).rows if row.check.name == "thread strip, insert")
    assert found.capacity == pytest.approx(printed * steel.shear_mpa, abs=0.005 * steel.shear_mpa + 0.001)


def test_interference_of_two_normals() -> None:
    """Strength 75 ± 20 above stress 50 ± 15 with the chance Φ(1)."""
    assert chance(Spread(75, 20), Spread(50, 15)) == pytest.approx(0.8413, abs=0.00005)

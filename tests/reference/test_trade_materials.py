"""Strengths of sheet: EN 10130, EN 10025-2, EN 10149-2, EN 10088-2, EN 485-2, EN 755-2 in public tables that cite

them, and the Aluminum Design Manual, table 3.3-1M (rounded to 5 MPa; its 5083 is temper O).

Disagreement: the Aluminum Design Manual prints a shear strength of 170 MPa for 5083-O, where we take 0.6 × tensile,
165, an estimate on the safe side.
"""

from __future__ import annotations

import pytest

from firstpull.trade.materials import sheet_material
from published import rows


@pytest.mark.parametrize(
    "row", rows("material_strengths.csv"), ids=lambda row: f"{row['material']} {row['quantity']} {row['source']}"
)
def test_strengths_are_the_printed_ones(row: dict[str, str]) -> None:
    """Each strength is the printed one to half the step that it is printed in."""
    found = sheet_material(row["material"])
    assert found is not None
    held = getattr(found, f"{row['quantity']}_mpa")
    assert held == pytest.approx(float(row["published"]), abs=float(row["half_digit"]))


def test_a_grade_for_cold_forming_is_not_taken_for_the_structural_one() -> None:
    """S355MC breaks at 430 MPa, S355JR at 470: neither name finds the other."""
    forming, structural = sheet_material("S355MC"), sheet_material("S355")
    assert forming is not None
    assert structural is not None
    assert (forming.tensile_mpa, structural.tensile_mpa) == (430, 470)

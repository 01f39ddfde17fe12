"""Materials, coatings, screws and cautions as they are asked for."""

import math

import pytest

from firstpull.errors import BadInput
from firstpull.trade.cautions import MOMENTS, cautions
from firstpull.trade.materials import (
    coating,
    coating_names,
    insert_material,
    insert_material_names,
    sheet_material,
    sheet_material_names,
)
from firstpull.trade.screws import (
    nut_factor,
    preload_from_torque,
    preload_n,
    property_class,
    property_class_names,
    tightening_torque_nm,
)
from firstpull.trade.threads import thread


@pytest.mark.parametrize("written", ["EN AW-5754", "en aw 5754", "5754", "EN-AW5754-H111"])
def test_material_names_are_compared_loosely(written):
    """Case, blanks and punctuation do not count in a material's name."""
    found = sheet_material(written)
    assert found is not None
    assert found.name == "EN AW-5754"


def test_an_unknown_material_has_no_strength_rather_than_a_guessed_one():
    """A material, insert material or coating that is not held is None."""
    assert sheet_material("unobtainium") is None
    assert insert_material("") is None
    assert coating("gold leaf") is None


def test_strengths_are_in_order():
    """Yield is not over tensile and shear is under it, wherever they are known."""
    for name in sheet_material_names():
        one = sheet_material(name)
        assert one is not None
        if one.tensile_mpa is not None and one.yield_mpa is not None:
            assert 0 < one.yield_mpa <= one.tensile_mpa
            assert one.shear_mpa is None or one.shear_mpa < one.tensile_mpa
    for name in insert_material_names():
        one = insert_material(name)
        assert one is not None
        assert None not in (one.yield_mpa, one.tensile_mpa, one.shear_mpa, one.e_mpa)


def test_soft_sheet_is_told():
    """Composite, plastic and wood are soft; metals are not."""
    soft = {name for name in sheet_material_names() if (one := sheet_material(name)) and one.soft}
    assert soft == {
        "glass-fibre laminate",
        "carbon-fibre laminate",
        "polycarbonate",
        "polyamide 6 GF30",
        "polypropylene",
        "plywood",
    }


def test_coatings_have_a_thickness_per_face():
    """Powder coat is 60 to 120 µm a face; of anodising about half grows outward."""
    powder, anodise = coating("powder coat"), coating("anodised")
    assert powder is not None
    assert anodise is not None
    assert (powder.thickness_min_mm, powder.thickness_max_mm, powder.outward_share) == (0.06, 0.12, 1.0)
    assert anodise.outward_share == 0.5
    assert all(0 < one.thickness_min_mm < one.thickness_max_mm for name in coating_names() if (one := coating(name)))


def test_screw_classes_keep_their_point():
    """“8.8”, “8,8” and “SAE grade 5” are read; “88” and “grade 9” are refused with the classes held."""
    assert property_class("8,8").name == "8.8"
    assert property_class("SAE grade 5").name == "grade 5"
    for wrong in ("88", "grade 9", ""):
        with pytest.raises(BadInput) as refused:
            property_class(wrong)
        assert "8.8" in refused.value.hint


@pytest.mark.parametrize("name", property_class_names())
def test_proof_stress_is_under_the_tensile_strength(name):
    """Every class has its proof stress under its tensile strength."""
    one = property_class(name)
    assert 0 < one.proof_mpa < one.tensile_mpa


def test_torque_and_tension_undo_each_other():
    """The tension from a torque gives that torque again, and its range is ± 30 %."""
    m6 = thread("M6")
    preload = preload_from_torque(m6, 8.0)
    assert tightening_torque_nm(m6, preload.expected_n) == pytest.approx(8.0, rel=1e-6)
    assert preload.high_n == pytest.approx(1.3 * preload.expected_n, rel=1e-6)
    assert preload.low_n == pytest.approx(0.7 * preload.expected_n, rel=1e-6)


def test_screw_values_out_of_range_are_refused():
    """A share of proof over 1, a negative torque, a NaN or an unknown state of the threads is refused."""
    m6, screw = thread("M6"), property_class("8.8")
    for wrong in (0.0, 1.01, math.nan):
        with pytest.raises(BadInput):
            preload_n(m6, screw, share_of_proof=wrong)
    for wrong in (-1.0, math.nan, math.inf):
        with pytest.raises(BadInput):
            tightening_torque_nm(m6, wrong)
        with pytest.raises(BadInput):
            preload_from_torque(m6, wrong)
    with pytest.raises(BadInput):
        nut_factor("sticky")


def test_cautions_come_by_moment_each_once():
    """Before the air is off the page says to bleed it; before a pull it says eyes and spinning mandrel; none comes twice."""
    assert [one.key for one in cautions("air_off")] == ["air_off"]
    pull = [one.key for one in cautions("pull", "air_on", "pull")]
    assert {"eyes", "spinning_mandrel", "pointing", "air_on", "unproven"} <= set(pull)
    assert len(pull) == len(set(pull))
    assert cautions() == ()
    with pytest.raises(BadInput):
        cautions("lunch")


def test_every_moment_has_a_caution_and_every_caution_a_known_moment():
    """No moment is empty, and no caution is due at a moment that nobody can ask for."""
    assert all(cautions(moment) for moment in MOMENTS)
    assert all(set(one.moments) <= set(MOMENTS) for one in cautions(*MOMENTS))

"""How gauge numbers and drills are written, and what is refused."""

import pytest

from firstpull.errors import BadInput
from firstpull.trade.drills import drill, drills, nearest_drills
from firstpull.trade.sheet_gauges import names_gauge, nearest_gauges, parse_thickness, sheet_gauge
from firstpull.units import parse_length


@pytest.mark.parametrize(
    ("written", "inches"),
    [
        ("16 ga steel", 0.0598),
        ("16ga steel", 0.0598),
        ("#16 ga. CR steel", 0.0598),
        ("steel, 16 gauge", 0.0598),
        ("ga 16 steel", 0.0598),
        ("16 gauge galvanised", 0.0635),
        ("16 gage galvanized steel", 0.0635),
        ("18ga aluminium", 0.0403),
        ("18 ga 5052-H32 aluminum", 0.0403),
        ("16 ga 304 stainless", 0.0625),
        ("0.0598 in", 0.0598),
    ],
)
def test_thicknesses_are_read_and_their_text_is_kept(written, inches):
    """A length, or a gauge number with its metal, is read exactly and keeps its text."""
    read = parse_thickness(written)
    assert read.inch == pytest.approx(inches, abs=1e-9)
    assert read.typed == written


def test_a_bare_gauge_number_is_refused_with_the_choices_and_their_values():
    """“16 ga” alone is refused; the hint gives steel, galvanised, aluminium and stainless with their thicknesses."""
    with pytest.raises(BadInput) as refused:
        parse_thickness("16 ga", where="stack.layer[1].thickness")
    for part in (
        "16 ga steel",
        "0.0598",
        "16 ga galvanised",
        "0.0635",
        "16 ga aluminium",
        "0.0508",
        "16 ga stainless",
        "0.0625",
    ):
        assert part in refused.value.hint
    assert refused.value.where == "stack.layer[1].thickness"


@pytest.mark.parametrize(
    "written",
    [
        "16 ga copper",
        "16 ga galvanised aluminium",
        "2 ga steel",
        "40 ga galvanised",
        "99 ga",
        "16.5 ga steel",
        "0,16 ga steel",
        "-16 ga steel",
        "16 ga steel 2 mm",
    ],
)
def test_gauge_numbers_without_one_known_metal_are_refused(written):
    """A metal without a table, two metals, or a number that is not held is refused."""
    with pytest.raises(BadInput):
        parse_thickness(written)


@pytest.mark.parametrize("written", ["100 ga steel", "999 ga steel", "0 ga steel"])
def test_a_gauge_out_of_its_table_is_told_its_ends(written):
    """The metal was given, so the message is on the number."""
    with pytest.raises(BadInput, match="is not in the steel gauge table") as refused:
        parse_thickness(written)
    assert "from 3 to 38" in refused.value.hint


def test_a_length_is_no_gauge_number():
    """A plain length is read by its unit, and a bare number only where the field has one."""
    assert not names_gauge("1.5 mm")
    assert parse_thickness("1.5", unit="mm").nanometres == 1_500_000
    with pytest.raises(BadInput):
        sheet_gauge("1.5 mm")


def test_the_nearest_gauges_are_given_by_metal():
    """For 1.5 mm the nearest are 16 steel, 17 galvanised, 15 aluminium, 17 stainless."""
    near = nearest_gauges(parse_length("1.5 mm"))
    assert [(one.gauge, one.metal) for one in near] == [
        (16, "steel"),
        (17, "galvanised"),
        (15, "aluminium"),
        (17, "stainless"),
    ]


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("#7", "#7"),
        ("no. 7", "#7"),
        ("number 7", "#7"),
        ("#7 drill", "#7"),
        ("F", "F"),
        ("letter f", "F"),
        ("13/64", "13/64 in"),
        ('13/64"', "13/64 in"),
        ("2/64 in", "1/32 in"),
        ("5.1 mm", "5.1 mm"),
        ("5,1 mm", "5.1 mm"),
        ("0.201 in", "#7"),
        ("1/4", "1/4 in"),
    ],
)
def test_drills_are_found_however_they_are_written(written, name):
    """Each usual way to write a drill leads to the one that is marked so."""
    assert drill(written).name == name


@pytest.mark.parametrize(
    ("written", "named"),
    [
        ("7", "#7"),
        ("5.13 mm", "#7"),
        ("#81", "#80"),
        ("0 mm", "mm"),
        ("1/0", "13/64 in"),
        ("drill", "#7"),
        ("ö", "#7"),
        ("5.1", "5.1 mm"),
    ],
)
def test_what_is_no_drill_is_refused_with_what_would_be_right(written, named):
    """A bare number, a size that is not held, or other text is refused with choices or the nearest drills."""
    with pytest.raises(BadInput) as refused:
        drill(written)
    assert named in refused.value.hint


def test_nearest_drills_come_with_the_least_misfit_first():
    """For a 9.0 mm hole the drill of that size comes first, then T; misfit is signed."""
    first, second, _ = nearest_drills(9.0)
    assert (first.name, first.misfit_mm(9.0)) == ("9 mm", 0.0)
    assert (second.name, second.misfit_mm(9.0)) == ("T", 0.0932)


def test_nearest_drills_can_be_kept_to_a_series():
    """Asked for number drills only, only number drills are given."""
    assert {one.series for one in nearest_drills(5.0, count=4, series=("number",))} == {"number"}
    for wrong_mm, count in ((0.0, 3), (float("nan"), 3), (5.0, 0)):
        with pytest.raises(BadInput):
            nearest_drills(wrong_mm, count=count)


def test_drills_are_ordered_and_named_once():
    """Drills go from small to large, and no name stands for two of them."""
    held = drills()
    assert [one.diameter for one in held] == sorted(one.diameter for one in held)
    assert len({one.name for one in held}) == len(held)

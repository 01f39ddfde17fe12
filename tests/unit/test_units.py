"""Typed quantities: what is read, what is refused and with which choices."""

from fractions import Fraction

import pytest

from firstpull.errors import BadInput
from firstpull.units import (
    Length,
    parse_force,
    parse_length,
    parse_number,
    parse_pressure,
    parse_torque,
    show_length,
    show_mm,
)


@pytest.mark.parametrize(
    ("text", "nanometres"),
    [
        ("0.120 in", 3_048_000),
        ('.120"', 3_048_000),
        ("120 thou", 3_048_000),
        ("3/16 in", 4_762_500),
        ("1 3/16 in", 30_162_500),
        ("1-3/16 in", 30_162_500),
        ("3.05 mm", 3_050_000),
        ("3,05 mm", 3_050_000),
        ("3.05mm", 3_050_000),
        (" 3.05 mm ", 3_050_000),
        ("3.05 MM", 3_050_000),
        ("80 µm", 80_000),
        ("-0.02 mm", -20_000),
    ],
)
def test_lengths_are_read_exactly(text, nanometres):
    """A typed length is a whole number of nanometres, and the text as typed is kept."""
    read = parse_length(text)
    assert read.nanometres == nanometres
    assert read.typed == text.strip()


def test_a_bare_number_takes_the_unit_of_its_field():
    """Where a field has a unit, a bare number is in that unit."""
    assert parse_length("1.5", unit="mm").nanometres == 1_500_000
    assert parse_length("0.25", unit="in").nanometres == 6_350_000


@pytest.mark.parametrize(
    ("text", "choices"),
    [
        ("1.5", ("1.5 mm", "1.5 in")),
        ("16 ga", ("16 ga steel", "galvanised", "aluminium")),
        ("16 gauge", ("16 ga steel", "galvanised", "aluminium")),
        ("80 mil", ("thou", "mm")),
        ("1,234.5 mm", ("1234.5 mm",)),
        ("1.234,5 mm", ("1234.5 mm",)),
        ("3 furlongs", ("mm", "in")),
    ],
)
def test_ambiguous_lengths_are_refused_with_the_choices(text, choices):
    """What can be read in more than one way is refused, and the message says what would be right."""
    with pytest.raises(BadInput) as refused:
        parse_length(text, where="stack.layer[1].thickness")
    assert refused.value.where == "stack.layer[1].thickness"
    assert all(choice in refused.value.hint for choice in choices)


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "mm",
        "3//16 in",
        "1/0 in",
        "1e3 mm",
        "nan mm",
        "inf mm",
        "0x10 mm",
        "１ mm",
        "1 mm 2",
        "101 m",
        "1/3 mm",
        "1.5.2 mm",
        "9" * 61,
    ],
)
def test_what_is_not_a_length_is_refused(text):
    """Text that is not one plain number with a length unit, or not a whole number of nanometres, is refused."""
    with pytest.raises(BadInput):
        parse_length(text)


def test_lengths_compare_by_value_not_by_text():
    """3/16 in, 0.1875 in and 4.7625 mm are one length."""
    assert parse_length("3/16 in") == parse_length("0.1875 in") == parse_length("4.7625 mm")


def test_recorded_lengths_must_be_whole_nanometres():
    """A recorded length with a broken number, or of another form, is refused."""
    for data in ({"nm": 1.5}, {"nm": True}, {"nm": "3"}, {}, None, []):
        with pytest.raises(BadInput):
            Length.from_json(data)


def test_forces_torques_and_pressures_are_exact_fractions():
    """Forces are held in N, torques in N·m, pressures in MPa, without rounding."""
    assert parse_force("9 kN").value == 9000
    assert parse_torque("60 N·cm").value == Fraction(6, 10)
    assert parse_pressure("6.2 bar").value == Fraction("0.62")
    assert parse_pressure("6.2 bar").bar == pytest.approx(6.2, rel=1e-12)


@pytest.mark.parametrize("parse", [parse_force, parse_torque, parse_pressure])
@pytest.mark.parametrize("text", ["5", "5 mm", "five N", ""])
def test_quantities_without_their_unit_are_refused(parse, text):
    """A force, torque or pressure needs a unit of its own kind."""
    with pytest.raises(BadInput):
        parse(text)


def test_plain_numbers_refuse_a_unit():
    """A plain number is a number alone; point, comma and fraction are read."""
    assert parse_number("2,5") == parse_number("2.5") == parse_number("5/2") == Fraction(5, 2)
    with pytest.raises(BadInput):
        parse_number("2.5 turns")


def test_shown_lengths_round_half_to_even_and_never_show_minus_zero():
    """Showing rounds half to even at 0.01 mm and 0.0001 in, and a tiny negative shows as zero."""
    assert show_length(2_165_000, "mm") == "2.16"
    assert show_length(2_175_000, "mm") == "2.18"
    assert show_length(3_048_000, "in") == "0.1200"
    assert show_length(-1, "mm") == "0.00"
    assert show_mm(11.16, "mm") == "11.16"
    with pytest.raises(BadInput):
        show_mm(float("nan"), "mm")


@pytest.mark.parametrize(
    ("parse", "text"), [(parse_length, "1.5e1 mm"), (parse_force, "9E3 N"), (parse_number, "1e-3")]
)
def test_a_power_of_ten_is_named_as_such(parse, text):
    """A spreadsheet writes 1E-3; the message does not speak of thousands separators."""
    with pytest.raises(BadInput, match="power of ten"):
        parse(text)


def test_an_example_is_of_the_quantity_that_was_asked_for():
    """Whoever types a force is shown a force."""
    for parse, example in ((parse_force, "9 kN"), (parse_torque, "6 Nm"), (parse_length, "3.05 mm")):
        for text in ("nothing", "1" * 70):
            with pytest.raises(BadInput) as refused:
                parse(text)
            assert example in refused.value.hint

"""Typed quantities hold for any text and any length."""

import json
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from firstpull.errors import BadInput
from firstpull.units import Length, parse_force, parse_length, parse_number, parse_pressure, parse_torque, show_length

LARGEST_NM = 100 * 1000 * 1_000_000
NANOMETRES = st.integers(-LARGEST_NM, LARGEST_NM)
NUMBERS = st.from_regex(r"[+-]?(\d{1,6}([.,]\d{0,6})?|\d{1,3}/\d{1,3}|\d{1,2} \d{1,2}/\d{1,2})", fullmatch=True)
UNITS = st.sampled_from(
    [
        "mm",
        "in",
        '"',
        "thou",
        "µm",
        "m",
        "N",
        "kN",
        "lbf",
        "N·m",
        "lbf·in",
        "ft-lb",
        "bar",
        "psi",
        "ga",
        "16 ga",
        "mil",
        "",
    ]
)
NEARLY = st.one_of(
    st.text(max_size=80), st.builds("{}{}{}".format, NUMBERS, st.sampled_from(["", " ", "  ", "\t"]), UNITS)
)


def tried(call, *arguments, **options):
    """The value that ``call`` gives and no refusal, or no value and the refusal that it raised."""
    try:
        return call(*arguments, **options), None
    except BadInput as refused:
        return None, refused


@given(NANOMETRES)
def test_lengths_come_back_from_mm_unchanged(nanometres):
    """A length shown in mm with all its digits and read again is the same number of nanometres."""
    assert parse_length(f"{show_length(nanometres, 'mm', decimals=6)} mm").nanometres == nanometres


@given(st.integers(-(10**8), 10**8))
def test_hundred_thousandths_of_an_inch_come_back_unchanged(count):
    """A length of whole 0.00001 in, shown in inches and read again, is the same number of nanometres."""
    nanometres = count * 254
    assert parse_length(f"{show_length(nanometres, 'in', decimals=5)} in").nanometres == nanometres


@given(st.integers(0, 9999), st.integers(1, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_inch_fractions_and_decimals_are_the_same_length(whole, numerator, denominator):
    """A mixed fraction of an inch down to 1/64 is exactly its value, however it is written."""
    exact = (whole + Fraction(numerator, denominator)) * 25_400_000
    if abs(exact) > LARGEST_NM:
        return
    assert parse_length(f"{whole} {numerator}/{denominator} in").nanometres == exact
    assert parse_length(f"{float(whole + Fraction(numerator, denominator)):.6f} in").nanometres == exact


@given(NANOMETRES, st.text(max_size=40))
def test_recorded_lengths_come_back_with_their_text(nanometres, typed):
    """A length written to the record as JSON and read back has the same value and the same text."""
    length = Length(nanometres, typed)
    back = Length.from_json(json.loads(json.dumps(length.to_json())))
    assert (back.nanometres, back.typed) == (nanometres, typed)


@given(st.floats(-1e5, 1e5))
def test_computed_lengths_are_within_half_a_nanometre(value_mm):
    """A length made from mm is the nearest whole nanometre, and its text reads back to it."""
    length = Length.from_mm(value_mm)
    assert abs(Fraction(value_mm) * 1_000_000 - length.nanometres) <= Fraction(1, 2) + Fraction(1, 1000)
    assert parse_length(length.typed) == Length(length.nanometres)


@given(NEARLY, st.sampled_from([None, "mm", "in"]))
def test_any_text_is_a_length_or_our_refusal(text, unit):
    """Whatever is typed, a length is read exactly or BadInput says what would be right."""
    read, refused = tried(parse_length, text, unit=unit, where="field")
    if refused is not None:
        assert refused.what
        assert refused.hint
        assert refused.where == "field"
    else:
        assert isinstance(read.nanometres, int)
        assert read.typed == text.strip()


@given(NEARLY, st.sampled_from([parse_force, parse_torque, parse_pressure]))
def test_any_text_is_a_quantity_or_our_refusal(text, parse):
    """Whatever is typed, a force, torque or pressure is read exactly or BadInput says what would be right."""
    read, refused = tried(parse, text)
    if refused is not None:
        assert refused.hint
    else:
        assert isinstance(read.value, Fraction)
        assert read == parse(read.typed)


@given(st.text(max_size=80))
def test_any_text_is_a_number_or_our_refusal(text):
    """Whatever is typed, a plain number is read exactly or BadInput says what would be right."""
    read, refused = tried(parse_number, text)
    assert isinstance(read, Fraction) if refused is None else refused.hint


@given(NUMBERS)
def test_the_decimal_comma_and_point_are_the_same(number):
    """A comma and a point mean the same in every number."""
    try:
        point = parse_length(f"{number.replace(',', '.')} mm")
    except BadInput:
        return
    assert parse_length(f"{number.replace('.', ',')} mm") == point

"""The SVG writer: escaped, named, bounded, the same every time."""

from __future__ import annotations

import math

import pytest

from drawing_reader import read
from firstpull.drawing import svg
from firstpull.errors import BadInput

HOSTILE = "</text><script>alert(1)</script> & \"quoted\" 'single' ]]> \x00\x07\ud800 \u202e电池"


def test_hostile_text_stays_text() -> None:
    """Markup, control characters and lone surrogates in a text come out as text or as a replacement sign."""
    drawing = svg.sheet(svg.text(HOSTILE, (10, 20)), width=100, height=40, title=HOSTILE, description=HOSTILE)
    root = read(drawing)
    assert not [node for node in root.iter() if node.tag.endswith("script")]
    assert "</text><script>" in "".join(root.itertext())


def test_hostile_attribute_stays_inside_its_quotes() -> None:
    """A quote in an attribute can not end it."""
    drawing = svg.sheet(svg.element("g", data_part='a" onload="x'), width=1, height=1, title="t", description="d")
    assert read(drawing).find(svg_tag("g")).attrib == {"data-part": 'a" onload="x'}


def svg_tag(name: str) -> str:
    return "{http://www.w3.org/2000/svg}" + name


def test_equal_drawings_with_two_keys_have_different_ids() -> None:
    """The key keeps the ids of two equal drawings on one page apart; without it they are the same bytes."""
    made = [svg.sheet("", width=1, height=1, title="t", description="d", key=key) for key in ("", "", "b")]
    assert made[0] == made[1]
    assert read(made[0]).get("aria-labelledby") != read(made[2]).get("aria-labelledby")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_coordinate_must_be_finite(value: float) -> None:
    """No NaN or infinity reaches a drawing."""
    with pytest.raises(BadInput):
        svg.number(value)


def test_numbers_are_short_and_have_no_negative_zero() -> None:
    """Two places, no trailing zeros, no “-0”."""
    assert [svg.number(value) for value in (1.0, 2.345678, -0.001, 10.5, 100)] == ["1", "2.35", "0", "10.5", "100"]


def test_shortened_text_fits() -> None:
    """A shortened text is no wider than asked and ends in an ellipsis; a short one is untouched."""
    cut = svg.shorten("a very long name of a material", 90)
    assert cut.endswith("…")
    assert svg.text_width(cut, 14) <= 90
    assert svg.shorten("steel", 90) == "steel"


def test_wrapped_text_keeps_its_words() -> None:
    """Wrapping breaks at spaces and loses nothing while the lines last."""
    rows = svg.wrap("one two three four", 60, lines=4)
    assert " ".join(rows) == "one two three four"
    assert all(svg.text_width(row, 14) <= 60 for row in rows)


def test_hatch_stays_inside_its_outline() -> None:
    """Section lines lie inside the polygon, at 45°, and cover it evenly."""
    square = [(0.0, 0.0), (70.0, 0.0), (70.0, 70.0), (0.0, 70.0)]
    lines = svg.hatch(square, spacing=7).split("M")[1:]
    assert len(lines) == pytest.approx(2 * 70 / (7 * math.sqrt(2)), abs=1.5)
    for entry in lines:
        (x1, y1), (x2, y2) = (tuple(float(v) for v in pair.split()) for pair in entry.split("L"))
        assert x2 - x1 == pytest.approx(y1 - y2, abs=0.02)
        assert all(-0.01 <= value <= 70.01 for value in (x1, y1, x2, y2))

"""Pictures of a gauge study: what they show, and that any name and number can be drawn."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET

import pytest

from firstpull.drawing.gauge_study import ScatterBar, StudyDot, study_picture, study_tag
from firstpull.errors import BadInput

NS = "{http://www.w3.org/2000/svg}"


def _words(picture: str) -> list[str]:
    return ["".join(text.itertext()) for text in ET.fromstring(picture).iter(f"{NS}text")]


def test_the_tag_shows_the_part_and_how_far() -> None:
    """The part in large type, and how many of how many are read."""
    words = _words(study_tag("7", done=3, total=30, what="Part"))
    assert words == ["Part", "7", "3 of 30"]
    sizes = [
        float(text.get("font-size", "0"))
        for text in ET.fromstring(study_tag("7", done=3, total=30, what="Part")).iter(f"{NS}text")
    ]
    assert max(sizes) >= 150


def test_a_long_name_is_drawn_small_enough() -> None:
    """A block of many digits stays on the sheet."""
    picture = ET.fromstring(study_tag("25.00000 mm", done=0, total=3, what="Block"))
    size = float(
        next(text for text in picture.iter(f"{NS}text") if "25" in "".join(text.itertext())).get("font-size", "0")
    )
    assert size * 0.55 * len("25.00000 mm") < 504


def test_every_reading_and_person_has_a_mark() -> None:
    """Four readings by two people: four marks and two in the legend; bars with their names and numbers."""
    dots = [StudyDot(part, person, 0.01 * (part - person)) for part in (0, 1) for person in (0, 1)]
    bars = [ScatterBar("same person", 0.007, 0.006, 0.009), ScatterBar("between people", 0.005, 0.002, 9.0)]
    picture = study_picture(dots, bars, parts=["1", "2"], people=["Ada", "Ben"], unit="mm")
    assert len(list(ET.fromstring(picture).iter(f"{NS}circle"))) == 6
    words = _words(picture)
    for word in ("Ada", "Ben", "same person", "between people", "0.0070", "0.0050"):
        assert word in words, word


def test_inches_are_shown_in_inches() -> None:
    """0.0254 mm is 0.001 in."""
    bars = [ScatterBar("same person", 0.0254)]
    assert "0.00100" in _words(study_picture([StudyDot(0, 0, 0.01)], bars, parts=["1"], people=["A"], unit="in"))


def test_anything_can_be_drawn() -> None:
    """No reading at all, no bar, many people, hostile names; a number that is none is refused."""
    names = ["<script>", "\x00", "é" * 60, "A", "B", "C", "D", "E"]
    dots = [StudyDot(0, person, 0.0) for person in range(8)]
    for picture in (
        study_picture([], [], parts=["1"], people=["A"], unit="mm"),
        study_picture(dots, [ScatterBar("x", 0.0, 0.0, 0.0)], parts=["long name of a part"], people=names, unit="in"),
    ):
        ET.fromstring(picture)
        assert "<script>" not in picture
    with pytest.raises(BadInput):
        study_picture([StudyDot(0, 0, math.nan)], [], parts=["1"], people=["A"], unit="mm")

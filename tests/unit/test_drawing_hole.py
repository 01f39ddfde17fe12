"""The hole as a drawing: its limits, its drill and its pins stand on it, whatever its shape."""

from __future__ import annotations

import pytest

from drawing_reader import read, view_box, words
from firstpull.drawing.hole import HoleShape, hole_drawing
from firstpull.errors import BadInput

ROUND = HoleShape("round", 8.2, 8.3, 8.2, 8.3, "8.2 mm")
HEXAGON = HoleShape("hexagon", 8.2, 8.3, 8.2, 8.3)
SUNK = HoleShape("round", 8.76, 8.86, 8.76, 8.86, "a drill with a very long name indeed", 12.5)


@pytest.mark.parametrize("hole", [ROUND, HEXAGON, SUNK], ids=["round", "hexagon", "countersunk"])
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_every_word_stays_on_the_sheet(hole, unit):
    """No text of the drawing leaves it, with mm and with the longer inches, and none lies on another."""
    root = read(hole_drawing(hole, unit=unit))
    wide, tall = view_box(root)
    placed = words(root)
    for word in placed:
        assert word.left >= 0
        assert word.right <= wide
        assert 0 < word.base <= tall
    for one in placed:
        for other in placed:
            level = abs(one.base - other.base) < 12
            assert one is other or not level or one.right <= other.left + 1 or other.right <= one.left + 1


def test_limits_drill_and_pins_are_on_the_drawing():
    """A round hole names its drill, a hexagon says across flats and punch, a countersink its diameter."""
    texts = {
        hole.shape + str(hole.countersink_mm): {word.text for word in words(read(hole_drawing(hole)))}
        for hole in (ROUND, HEXAGON, SUNK)
    }
    assert {"least 8.20", "most 8.30", "drill 8.2 mm", "go 8.20", "no-go 8.30", "deburr both sides"} <= texts[
        "roundNone"
    ]
    assert {"across flats", "punch"} <= texts["hexagonNone"]
    assert "countersink 12.50" in texts["round12.5"]


@pytest.mark.parametrize(("least", "most"), [(0.0, 1.0), (2.0, 1.0), (float("nan"), 1.0), (1.0, 1e9)])
def test_limits_that_are_no_hole_are_refused(least, most):
    """Limits that are nothing, swapped, no number or enormous raise BadInput."""
    with pytest.raises(BadInput):
        hole_drawing(HoleShape("round", least, most, 1.0, 1.0))

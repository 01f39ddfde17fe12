"""The joint in section: to scale, its volume kept, its gaps in knowledge said."""

from __future__ import annotations

import math

import pytest

from drawing_reader import check_words, part, points, read, words
from firstpull.drawing.profile import InsertShape, profile
from firstpull.drawing.section import joint_pictures, joint_section
from firstpull.errors import BadInput

FULL = InsertShape(15.5, 6.0, 13.0, 1.5, 9.0, 6.2, 7.0)
LAYERS = [("powder coat", 0.08, True), ("EN AW-5754", 2.0, False), ("powder coat", 0.08, True)]


def _volume(outline: tuple[tuple[float, float], ...]) -> float:
    """Volume of the solid of revolution of a half-section (Pappus; trapezia), mm³."""
    total = 0.0
    for (r1, y1), (r2, y2) in zip(outline, [*outline[1:], outline[0]], strict=True):
        total += math.pi * (y2 - y1) * (r1 * r1 + r1 * r2 + r2 * r2) / 3
    return abs(total)


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_drawn_lengths_are_to_scale(unit: str) -> None:
    """Set length, free length and flange diameter are drawn in the ratio of their mm."""
    root = read(joint_section(FULL, thickness_mm=2.16, set_length_mm=11.16, unit=unit, layers=LAYERS))
    before, after = points(part(root, "insert-before")), points(part(root, "insert-after"))
    free_px = max(y for _, y in before) - min(y for _, y in before)
    set_px = max(y for _, y in after) - min(y for _, y in after)
    flange_px = 2 * (236 - min(x for x, _ in before))
    assert set_px / free_px == pytest.approx(11.16 / 15.5, rel=2e-3)
    assert flange_px / free_px == pytest.approx(13.0 / 15.5, rel=2e-3)


def test_the_numbers_stand_on_the_drawing() -> None:
    """Free length, set length, stroke, stack and protrusion are written in the unit asked for."""
    mm = " ".join(entry.text for entry in words(read(joint_section(FULL, thickness_mm=2.16, set_length_mm=11.16))))
    for number in ("15.50", "11.16", "stroke 4.34", "2.16", "7.50"):
        assert number in mm
    inch = joint_section(FULL, thickness_mm=2.16, set_length_mm=11.16, unit="in")
    shown = " ".join(entry.text for entry in words(read(inch)))
    for number in ("0.6102", "0.4394", "stroke 0.1709", "0.0850", "0.2953"):
        assert number in shown


@pytest.mark.parametrize("set_length_mm", [14.5, 13.0, 11.6, 11.0])
def test_the_blind_head_keeps_the_volume(set_length_mm: float) -> None:
    """The insert has the same volume before and after the pull within 1 %."""
    drawn = profile(FULL, thickness_mm=2.16, set_length_mm=set_length_mm)
    assert not drawn.squeezed
    assert drawn.after is not None
    assert _volume(drawn.after) == pytest.approx(_volume(drawn.before), rel=0.01)


def test_missing_lengths_are_said() -> None:
    """A drawing from filled proportions says that it is not to scale and leaves out the protrusion."""
    root = read(joint_section(InsertShape(15.5, 6.0), thickness_mm=2.0, set_length_mm=11.5))
    shown = [entry.text for entry in words(root)]
    assert "not to scale, mm" in shown
    assert "behind" not in shown
    assert "flange thickness" in "".join(root.itertext())


def test_a_full_shape_is_to_scale() -> None:
    """With every length known the drawing says “to scale” and carries a bar."""
    shown = [entry.text for entry in words(read(joint_section(FULL, thickness_mm=2.0, set_length_mm=11.5)))]
    assert "to scale, mm" in shown
    assert "5" in shown


def test_a_pull_that_does_not_fit_is_said() -> None:
    """A set length shorter than the thread block and stack allow is drawn, and marked."""
    root = read(joint_section(FULL, thickness_mm=3.0, set_length_mm=6.0))
    assert "this pull does not fit this insert" in "".join(root.itertext())
    check_words(root)


@pytest.mark.parametrize("head", ["flat", "countersunk", "low profile"])
@pytest.mark.parametrize("end", ["open", "closed"])
@pytest.mark.parametrize("set_length_mm", [None, 11.0])
def test_every_kind_keeps_its_words_inside(head: str, end: str, set_length_mm: float | None) -> None:
    """All heads and ends, before alone or with after, in both units: readable words inside the sheet."""
    for unit in ("mm", "in"):
        shape = InsertShape(15.5, 6.0, 13.0, 1.5, 9.0, 6.2, 7.0, head, end)
        layers = [*LAYERS, ("a very long name of a material " * 4, 1.0, False), ("x", 1, False)]
        check_words(read(joint_section(shape, thickness_mm=2.5, set_length_mm=set_length_mm, unit=unit, layers=layers)))


def test_layers_share_the_thickness() -> None:
    """Layers are drawn in their share of the measured thickness, from the flange down."""
    root = read(
        joint_section(FULL, thickness_mm=3.0, set_length_mm=12.0, layers=[("a", 1.0, False), ("b", 2.0, False)])
    )
    sheets = [node for node in part(root, "stack") if (node.get("d") or "").endswith("Z")]
    heights = [max(y for _, y in points(node)) - min(y for _, y in points(node)) for node in sheets]
    assert heights[2] / heights[0] == pytest.approx(2.0, rel=5e-3)


def test_a_coating_is_a_filled_line() -> None:
    """Coatings are filled with ink, sheets are white."""
    stack = part(read(joint_section(FULL, thickness_mm=2.16, set_length_mm=11.16, layers=LAYERS)), "stack")
    fills = [node.get("fill") for node in stack if (node.get("d") or "").endswith("Z")]
    assert fills == ["#1D2326"] * 2 + ["#FFFFFF"] * 2 + ["#1D2326"] * 2


@pytest.mark.parametrize("bad", [0.0, -1.0, float("nan"), float("inf"), 1e12])
def test_impossible_lengths_are_refused(bad: float) -> None:
    """Lengths that can not be drawn raise our error, never a broken drawing."""
    with pytest.raises(BadInput):
        joint_section(FULL, thickness_mm=bad, set_length_mm=11.0)
    with pytest.raises(BadInput):
        joint_section(InsertShape(bad), thickness_mm=2.0, set_length_mm=None)


def test_small_pictures_share_one_scale() -> None:
    """Several inserts in one stack are drawn to one scale, without words; one that can not be drawn is left out."""
    short = InsertShape(12.0, 6.0, 13.0, 1.5, 9.0, 5.0, 7.0)
    shapes = [(FULL, 11.16), (short, 9.0), (InsertShape(-1.0), None)]
    long_one, short_one, none = joint_pictures(shapes, thickness_mm=2.16, layers=LAYERS)
    assert none == ""
    heights = []
    for drawing in (long_one, short_one):
        root = read(drawing)
        assert not words(root)
        paths = [
            points(node) for node in root.iter() if node.tag.endswith("path") and node.get("stroke-width") == "1.4"
        ]
        assert len(paths) == 2
        heights += [max(y for _, y in path) - min(y for _, y in path) for path in paths]
    assert heights == pytest.approx([heights[0] * share / 15.5 for share in (15.5, 11.16, 12.0, 9.0)], rel=2e-3)
    assert joint_pictures([(InsertShape(-1.0), None)], thickness_mm=2.0) == [""]

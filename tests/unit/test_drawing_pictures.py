"""Knob, steps, coupon checks, state marks and QR."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable

import pytest
import segno

from drawing_reader import SVG, check_words, part, points, read, words
from firstpull.drawing.asked import loads_picture, part_picture, place_picture
from firstpull.drawing.checks import CHECKS, check_picture
from firstpull.drawing.knob import knob_turn
from firstpull.drawing.marks import MARKS, state_mark
from firstpull.drawing.qr import qr_svg
from firstpull.drawing.steps import STEPS, mandrel_picture
from firstpull.errors import BadInput


def _turned(drawing: str) -> float:
    """Turns swept by the arc about the knob's centre, clockwise plus."""
    root = read(drawing)
    middle = float(root.get("viewBox").split()[3]) / 2
    angles = [math.atan2(x - middle, middle + 2 - y) for x, y in points(part(root, "arc"))]
    total = 0.0
    for one, two in itertools.pairwise(angles):
        total += (two - one + math.pi) % (2 * math.pi) - math.pi
    return total / (2 * math.pi)


@pytest.mark.parametrize("turns", [0.25, 0.92, 1.5, 2.75])
@pytest.mark.parametrize(("direction", "sense"), [("clockwise", 1), ("anticlockwise", -1)])
def test_the_arc_sweeps_the_turns(turns: float, direction: str, sense: int) -> None:
    """The arc goes round as often as the knob, in its direction; the arrow head takes the last 14 px."""
    swept = _turned(knob_turn(turns, clicks=None, direction=direction))
    assert swept * sense <= turns + 1e-6
    assert swept * sense == pytest.approx(turns, abs=0.05)


def test_clicks_are_the_headline() -> None:
    """A knob with clicks says clicks and a direction, never a signed decimal."""
    shown = [entry.text for entry in words(read(knob_turn(11 / 12, clicks=11, direction="clockwise")))]
    assert shown[:2] == ["11 clicks", "clockwise"]
    one = [entry.text for entry in words(read(knob_turn(1 / 12, clicks=1, direction="anticlockwise")))]
    assert one[:2] == ["1 click", "anticlockwise"]


def test_many_turns_are_counted() -> None:
    """57 clicks of a 12-click knob are four full turns and nine clicks."""
    shown = [entry.text for entry in words(read(knob_turn(4.75, clicks=57, direction="clockwise")))]
    assert "4 full turns + 9 clicks" in shown


def test_nothing_to_turn_is_said() -> None:
    """No arc and the words “leave the knob”."""
    drawing = knob_turn(0.0, clicks=0, direction="clockwise")
    assert "leave the knob" in [entry.text for entry in words(read(drawing))]
    assert 'data-part="arc"' not in drawing


@pytest.mark.parametrize("turns", [0.01, 0.5, 3.0, 12.3, 999.0])
def test_every_turn_fits_its_sheet(turns: float) -> None:
    """Words stay inside at any number of turns."""
    for clicks in (None, max(1, round(turns * 12))):
        check_words(read(knob_turn(turns, clicks=clicks, direction="anticlockwise")))


def test_a_knob_needs_a_direction_by_name() -> None:
    """Negative turns and unknown directions are refused."""
    for turns, direction in ((-1.0, "clockwise"), (1.0, "left"), (float("nan"), "clockwise")):
        with pytest.raises(BadInput):
            knob_turn(turns, clicks=None, direction=direction)


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("end", ["open", "closed"])
def test_every_step_has_its_picture(step: str, end: str) -> None:
    """Each act is drawn for both ends with its words inside and the moving part in petrol."""
    drawing = mandrel_picture(step, end)
    check_words(read(drawing))
    assert "#0F4C5C" in drawing


def test_a_closed_end_is_backed_off() -> None:
    """Open ends stand flush or beyond; closed ends go to the bottom and back 1½ turns."""
    assert "back off 1½ turns" in mandrel_picture("engagement", "closed")
    assert "just beyond" in mandrel_picture("engagement", "open")


@pytest.mark.parametrize("name", CHECKS)
def test_good_and_bad_differ_in_words_and_shape(name: str) -> None:
    """Each check has a good and a bad picture with their own word, mark and caption."""
    good, bad = check_picture(name, True), check_picture(name, False)
    assert good != bad
    for drawing, word in ((good, "good"), (bad, "bad")):
        root = read(drawing)
        check_words(root)
        assert word in [entry.text for entry in words(root)]


def test_unknown_names_are_refused_with_the_choices() -> None:
    """A wrong name raises our error and lists what there is."""
    for call in (
        lambda: check_picture("paint", True),
        lambda: mandrel_picture("dance"),
        lambda: mandrel_picture("anvil", "half"),
        lambda: state_mark("fine"),
    ):
        with pytest.raises(BadInput) as problem:
            call()
        assert problem.value.hint


@pytest.mark.parametrize("state", MARKS)
def test_every_state_has_shape_and_word(state: str) -> None:
    """The word stands beside the shape and no two shapes are alike."""
    assert [entry.text for entry in words(read(state_mark(state)))] == [state]
    shapes = {re.sub(r"<(title|desc).*?</\1>|aria\S+", "", state_mark(name, with_word=False)) for name in MARKS}
    assert len(shapes) == len(MARKS)


def test_the_code_is_the_encoder_s_matrix() -> None:
    """Every dark module of the encoder, and no other, is covered, inside a quiet zone of four modules."""
    text = "job:J-0012 9f2c7a1b5e88d043"
    path = next(read(qr_svg(text)).iter(SVG + "path")).get("d")
    dark = set()
    for x, y, run in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", path):
        dark |= {(int(x) + step, int(y)) for step in range(int(run))}
    matrix = segno.make(text, error="m", micro=False, boost_error=False).matrix
    wanted = {(x + 4, y + 4) for y, row in enumerate(matrix) for x, cell in enumerate(row) if cell}
    assert dark == wanted


def test_a_text_too_long_for_a_code_is_refused() -> None:
    """Our error, not the encoder's."""
    for text in ("", "x" * 5000):
        with pytest.raises(BadInput):
            qr_svg(text)


def test_the_same_call_gives_the_same_bytes() -> None:
    """Drawings hold no clock, chance or counter."""
    assert check_picture("gap", False) == check_picture("gap", False)
    assert knob_turn(1.0, clicks=12, direction="clockwise") == knob_turn(1.0, clicks=12, direction="clockwise")
    assert qr_svg("a") == qr_svg("a")


@pytest.mark.parametrize(
    ("picture", "shown"),
    [
        (loads_picture, {"tension", "shear", "push"}),
        (part_picture, {"part", "its hole", "washer"}),
        (place_picture, {"edge", "pitch", "pocket", "deep"}),
    ],
)
def test_what_is_asked_is_drawn(picture: Callable[[], str], shown: set[str]) -> None:
    """Each word that a screen asks for stands on its picture, inside it."""
    root = read(picture())
    check_words(root)
    assert shown <= {entry.text for entry in words(root)}

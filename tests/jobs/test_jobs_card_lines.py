"""What the card says beside its numbers: where each comes from, what applies, and in which unit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from firstpull.jobs import choose, hand_over, look_after, open_job, set_up
from firstpull.jobs.workshop import Book
from firstpull.mechanics.stack import Layer, Stack
from workshop_example import ADA, a_stack, a_tool, an_insert, mm, open_workshop, proven_job


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with open_workshop(tmp_path) as workshop:
        yield workshop.bench


def draft(book: Book, *, unit: str = "mm", stack: Stack | None = None) -> dict[str, object]:
    """The card of a job that is set up, as it would be released now."""
    look_after.add_tool(book, "T1", a_tool(), doing=ADA)
    job = open_job.open_job(book, "Rack", doing=ADA, unit=unit).id
    choose.describe_stack(book, job, stack or a_stack(), doing=ADA)
    choose.take_insert_in_hand(book, job, an_insert(), doing=ADA)
    set_up.choose_tool(book, job, "T1", doing=ADA)
    set_up.compute(book, job, doing=ADA)
    return hand_over.draft_card(book, job)


def test_every_number_has_a_source(book: Book) -> None:
    """Each length that the card shows large has a row with its value and a source in words."""
    card = draft(book)
    rows = {row["what"]: row for row in card["sources"]}  # type: ignore[attr-defined]
    assert all(row["source"] for row in rows.values())
    setting = card["setting"]
    assert isinstance(setting, dict)
    for what, key in (
        ("Stroke", "stroke_mm"),
        ("Stroke, least", "stroke_min_mm"),
        ("Stroke, greatest", "stroke_max_mm"),
        ("Set length", "set_length_mm"),
        ("Air pull", "air_target_mm"),
        ("Air-to-stack shift", "air_to_stack_mm"),
        ("Set allowance", "set_allowance_mm"),
    ):
        assert rows[what]["value_mm"] == setting[key], what
    assert rows["Free length, grip"]["source"] == "insert TEST-M6, measured here"
    assert rows["Stack thickness"]["source"] == "mean of 5 readings"
    assert {"Hole", "Scatter of the tool", "Turning torque, least", "Air pressure", "Checks every"} <= set(rows)


def test_an_inch_card_speaks_in_inches(book: Book) -> None:
    """No sentence of an inch job's card holds a length in mm."""
    card = draft(book, unit="in")
    assert "a stack outside 0.0841 to 0.0859 in" in card["valid_until"]  # 2.15 − 0.0129 and 2.17 + 0.0129 mm, by hand
    words = [*card["valid_until"], *(row["source"] for row in card["sources"])]  # type: ignore[attr-defined,misc]
    assert not [text for text in words if " mm" in text]


def test_a_composite_sheet_brings_its_cautions(book: Book) -> None:
    """Crushing is cautioned of where a layer can be crushed, and only there."""
    plain = {caution["text"] for caution in draft(book)["cautions"]}  # type: ignore[attr-defined]
    assert not any("crushes" in text for text in plain)
    assert any("Hands clear" in text for text in plain)
    assert any("reject spins" in text for text in plain)


def test_a_soft_sheet_brings_its_cautions(book: Book) -> None:
    """A layer of composite brings the caution of crushing onto the card."""
    soft = Stack((Layer("carbon fibre laminate", mm("2.2"), mm("0.05")),))
    assert any("crushes" in caution["text"] for caution in draft(book, stack=soft)["cautions"])  # type: ignore[attr-defined]


def test_what_was_overdue_is_on_the_card(book: Book) -> None:
    """A gauge never checked on a block is said on the card that was proven with it, in its proof."""
    state = proven_job(book)
    card = hand_over.card_of(book, hand_over.release(book, state.id, doing=ADA))
    assert card["proof"]["overdue"] == "Overdue at the release: Caliper 1: never checked on a gauge block."


def test_a_checked_gauge_leaves_no_remark(book: Book) -> None:
    """With nothing overdue the card has no remark."""
    state = proven_job(book)
    look_after.check_gauge(book, "C1", reference=mm("20"), reading=mm("20.00"), doing=ADA)
    assert hand_over.draft_card(book, state.id)["proof"]["overdue"] == ""


def test_a_learned_knob_is_named_as_source(book: Book) -> None:
    """A scatter that came from the tool's own pulls says so."""
    look_after.add_tool(book, "T2", replace(a_tool(), name="Other"), doing=ADA)
    for turns, length in ((0, "12.50"), (0, "12.52"), (2, "11.51"), (2, "11.49")):
        look_after.try_knob(book, "T2", turns=turns, free_length=mm("15.5"), set_length=mm(length), doing=ADA)
    look_after.learn_knob(book, "T2", doing=ADA)
    assert set_up.tool_source(book.tool("T2")) == "learned from 4 pulls of this tool"

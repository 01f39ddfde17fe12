"""Identifying an insert: hand-worked chances, the stranger, alike parts, marks that only propose, what to do next."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from firstpull.errors import BadInput
from firstpull.mechanics.identify import InHand, identify, percent
from firstpull.mechanics.identify_model import (
    Belief,
    believe,
    canonical,
    columns,
    entropy_bits,
    information_bits,
)
from firstpull.mechanics.identify_rows import MOST_LOOKED, NARROW_FROM
from firstpull.mechanics.insert import ENDS, Insert
from firstpull.mechanics.shelf import Shelf
from firstpull.units import parse_length as length
from mechanics_examples import M6

SHORT = replace(M6, part="short", head_marks=0)
LONG = replace(M6, part="long", length_free=length("18 mm"), grip_max=length("5.5 mm"), head_marks=1)
CLOSED = replace(M6, part="closed", length_free=length("18 mm"), grip_max=length("5.5 mm"), end="closed", head_marks=1)
WIDE = replace(M6, part="wide", flange_diameter=length("15 mm"), head_marks=0)
ALL = (SHORT, LONG, CLOSED, WIDE)


def test_the_chances_are_those_worked_by_hand() -> None:
    """One row, one word: 0.9·0.99 against a stranger's 0.1·0.6 is 0.9369 to 0.0631."""
    found = identify((SHORT,), InHand(end="open"))
    assert found.matches[0].probability == pytest.approx(0.891 / 0.951, abs=1e-12)
    assert found.none_probability == pytest.approx(0.06 / 0.951, abs=1e-12)


def test_a_length_weighs_as_a_normal_reading() -> None:
    """0.1 mm from one row and 0.2 mm from another: row against row is exp(−½(z₁²−z₂²)) with part and gauge scatter together."""
    near = replace(SHORT, part="near", length_free=length("15.8 mm"))
    found = identify((SHORT, near), InHand(free_length=length("15.6 mm")))
    variance = 0.1**2 + 0.03**2 / 3
    odds = math.exp((0.2**2 - 0.1**2) / (2 * variance))
    assert found.matches[0].probability / found.matches[1].probability == pytest.approx(odds, rel=1e-9)


def test_the_row_that_fits_is_named_and_is_sure() -> None:
    """Thread, length, end and flange of one row leave no doubt."""
    seen = InHand(
        thread="m6", free_length=length("15.48 mm"), end="open", flange_diameter=length("13.02 mm"), head_marks=0
    )
    found = identify(ALL, seen)
    assert found.verdict == "one"
    assert found.matches[0].insert is SHORT
    assert found.text.startswith("Most likely short (")
    assert all(item.agrees for item in found.matches[0].agreements)


def test_the_measurement_that_decides_is_named() -> None:
    """Two rows that differ only in the flange want the flange measured; two that differ in the end want the end."""
    flange = identify(ALL, InHand(thread="M6", free_length=length("15.5 mm")))
    assert flange.next is not None
    assert flange.next.measurement == "flange_diameter"
    assert flange.text.endswith("Measure the flange diameter to decide.")
    end = identify(ALL, InHand(thread="M6", free_length=length("18 mm")))
    assert end.next is not None
    assert end.next.measurement == "end"


def test_an_insert_that_is_not_in_the_catalogue_is_said() -> None:
    """A length that no row has, and a thread that no row has, give “none of these”, with what does not fit."""
    stranger = identify(ALL, InHand(thread="M6", free_length=length("16.7 mm")))
    assert stranger.verdict == "none"
    assert stranger.none_probability > 0.95
    assert "Probably none of these" in stranger.text
    assert "free length 16.70 mm, its row says" in stranger.text
    assert identify(ALL, InHand(thread="1/4-20")).verdict == "none"


def test_marks_propose_and_do_not_decide() -> None:
    """Wrong marks halve nobody out: the row whose length fits stays first, and the note says why."""
    found = identify(ALL[:3], InHand(thread="M6", free_length=length("15.5 mm"), head_marks=1))
    assert found.matches[0].insert is SHORT
    assert found.matches[0].probability > 0.9
    assert "head marks 1, its row says 0" in found.text
    assert any("only propose" in note for note in found.notes)


def test_parts_that_look_alike_are_named_together() -> None:
    """What no measurement tells apart is said, with the columns in which the parts differ."""
    steel, stainless = replace(SHORT, part="steel"), replace(SHORT, part="stainless", material="stainless A2")
    found = identify((stainless, LONG, steel), InHand(thread="M6", free_length=length("15.5 mm"), end="open"))
    assert found.verdict == "several"
    assert found.matches[0].alike == ("steel",)
    assert found.matches[0].differ_in == ("material",)
    assert "stainless, steel, which look alike (together over 99 %)" in found.text
    assert "They differ in material. Nothing more that is measured here" in found.text
    assert found.next is None


def test_when_many_are_possible_none_is_put_forward() -> None:
    """With less than an even chance, for one part or for parts that look alike, the sentence says several."""
    twins = tuple(replace(row, part=f"{row.part} {n}") for row in ALL for n in (1, 2))
    found = identify(twins, InHand(thread="M6"))
    assert found.text.startswith("Several are possible: ")
    assert "and others. Measure the free length to decide." in found.text


def test_the_order_of_the_catalogue_does_not_matter() -> None:
    """Any order gives the same parts with the same chances."""
    seen = InHand(thread="M6", free_length=length("15.4 mm"))

    def shown(rows: Any) -> list[tuple[str, float]]:
        return [(match.insert.part, round(match.probability, 12)) for match in identify(rows, seen).matches]

    assert shown(ALL) == shown(tuple(reversed(ALL)))


def test_a_length_that_the_row_does_not_give_says_little() -> None:
    """A row without a flange diameter is neither helped nor ruled out by a flange; with no row giving one it is said."""
    bare = replace(SHORT, part="bare", flange_diameter=None)
    found = identify((bare, SHORT, WIDE), InHand(thread="M6", flange_diameter=length("13 mm")))
    chances = {match.insert.part: match.probability for match in found.matches}
    assert chances["short"] > chances["bare"] > chances.get("wide", 0.0)
    assert any("1 of 3 rows give no flange diameter" in note for note in found.notes)
    none = identify((bare,), InHand(thread="M6", flange_diameter=length("13 mm")))
    assert any("No row gives a flange diameter" in note for note in none.notes)
    assert none.matches[0].agreements[-1].agrees is None


def test_the_texts_are_in_the_unit_asked_for() -> None:
    """In inches no mm stands in the sentence of what does not fit."""
    found = identify(ALL, InHand(thread="M6", free_length=length("0.63 in")), unit="in")
    assert "0.6300 in" in found.text
    assert "mm" not in found.text


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({}, "in hand"),
        ({"thread": "M66"}, "thread"),
        ({"head": "round"}, "head"),
        ({"head_marks": 21}, "head_marks"),
        ({"free_length": length("0 mm")}, "free_length"),
        ({"thread": "M6", "gauge_error_mm": math.nan}, "gauge_error"),
        ({"thread": "M6", "gauge_error_mm": 2}, "gauge_error"),
    ],
)
def test_what_cannot_be_is_refused_by_name(changes: dict[str, Any], where: str) -> None:
    """Nothing seen, an unknown thread or word, and impossible numbers are refused with their place."""
    with pytest.raises(BadInput) as refused:
        identify(ALL, InHand(**changes))
    assert refused.value.where == where


def test_an_empty_catalogue_is_refused() -> None:
    """Without rows there is nothing to identify among."""
    with pytest.raises(BadInput, match="empty"):
        identify((), InHand(thread="M6"))


def test_information_of_one_sure_question_is_one_bit() -> None:
    """Two equally likely rows that a length tells apart for certain: the answer tells 1 bit; one that is alike, none."""
    table = columns((SHORT, LONG))
    even = Belief(
        believe(table, {}, {}, gauge_sd_mm=0.01).rows / 0.9, believe(table, {}, {}, gauge_sd_mm=0.01).rows * 0
    )
    assert entropy_bits(even) == pytest.approx(1, abs=1e-9)
    assert information_bits(table, even, "free_length", gauge_sd_mm=0.01) == pytest.approx(1, abs=1e-6)
    assert information_bits(table, even, "flange_diameter", gauge_sd_mm=0.01) == pytest.approx(0, abs=1e-9)


def test_small_words() -> None:
    """Percentages never claim certainty, and a thread has one name."""
    assert [percent(share) for share in (0.001, 0.93, 0.999)] == ["under 1 %", "93 %", "over 99 %"]
    assert canonical("m6×1.0") == "M6x1"
    assert canonical("M66") is None


def _many(count: int) -> tuple[Insert, ...]:
    """Rows of three threads whose lengths and looks run through what there is."""
    return tuple(
        replace(
            M6,
            part=f"P{number:05d}",
            thread=("M5", "M6", "M8")[number % 3],
            length_free=length(f"{15 + number % 41 / 10} mm"),
            end=ENDS[number % 2],
            head_marks=None if number % 5 == 0 else number % 4,
            body_diameter=None if number % 7 == 0 else length("8.9 mm"),
        )
        for number in range(count)
    )


@pytest.mark.parametrize("seen", [InHand(thread="M6", free_length=length("16.2 mm")), InHand(end="open", head_marks=3)])
@pytest.mark.parametrize("count", [500, NARROW_FROM + 10])
def test_a_shelf_gives_the_same_answer_as_a_list(seen: InHand, count: int) -> None:
    """Row by row the same parts and chances, whether inserts are there or are only made when they are looked at."""
    rows = _many(count)
    listed, shelved = identify(rows, seen), identify(Shelf.of(rows), seen)
    assert [match.insert for match in shelved.matches] == [match.insert for match in listed.matches]
    assert [match.alike for match in shelved.matches] == [match.alike for match in listed.matches]
    for one, other in zip(shelved.matches, listed.matches, strict=True):
        assert one.probability == pytest.approx(other.probability, rel=1e-9)
    assert shelved.none_probability == pytest.approx(listed.none_probability, rel=1e-9)
    assert [item.measurement for item in shelved.suggestions] == [item.measurement for item in listed.suggestions]
    assert (shelved.text, shelved.notes, shelved.verdict) == (listed.text, listed.notes, listed.verdict)


def test_among_very_many_a_thread_leaves_only_its_own() -> None:
    """From so many rows on other threads are left out, and that is said; a thread that no row has leaves all."""
    rows = _many(NARROW_FROM + 10)
    found = identify(Shelf.of(rows), InHand(thread="M8"))
    assert (
        found.notes[0] == f"Of so many rows only the {(NARROW_FROM + 10) // 3} with the thread M8x1.25 were looked at."
    )
    assert {match.insert.thread for match in found.matches} == {"M8"}
    few = identify(rows[:300], InHand(thread="M8"))
    assert "Of so many rows" not in few.notes[0]
    none = identify(Shelf.of(rows), InHand(thread="M12"))
    assert "Of so many rows" not in none.notes[0]
    assert none.others_probability + none.none_probability > 0.9


def test_few_inserts_are_made_of_very_many(monkeypatch: pytest.MonkeyPatch) -> None:
    """A shelf makes only the rows that are shown or compared, however many are equally likely."""
    shelf = Shelf.of(_many(NARROW_FROM * 2))
    made: list[int] = []
    whole = Shelf.insert
    monkeypatch.setattr(Shelf, "insert", lambda self, row: made.append(row) or whole(self, row))
    assert len(identify(shelf, InHand(end="open")).matches) == 20
    assert len(made) <= MOST_LOOKED

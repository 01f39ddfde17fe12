"""The record of gauge studies: what an event must hold, and what may follow what, typed here or imported."""

from __future__ import annotations

import json
from collections.abc import Iterator
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest

from firstpull.errors import BadInput, FirstpullError, Unsafe
from firstpull.jobs import gauge_studies, look_after
from firstpull.jobs.gauge_results import result_of
from firstpull.jobs.gauge_studies import BLOCKS, StudyPlan
from firstpull.jobs.workshop import Book, Doing, Workshop
from firstpull.record.gauge_study import find
from firstpull.units import parse_length

ADA = Doing("Ada")
LENGTH = {"nm": 11_050_000, "typed": "11.05 mm"}


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    workshop = Workshop(tmp_path / "data")
    look_after.add_gauge(workshop.bench, "C1", "Caliper 1", doing=ADA)
    yield workshop.bench
    workshop.close()


def plan(**changed: Any) -> dict[str, Any]:
    order = [[0, part, turn] for turn in (1, 2) for part in (0, 1)]
    made: dict[str, Any] = {"number": 1, "measured": "set length", "people": ["Ada"], "parts": ["1", "2"], "rounds": 2}
    return {**made, "order": order, "seed": "a", **changed}


def write(book: Book, kind: str, data: dict[str, Any]) -> None:
    book.write("gauge:C1", [(kind, data)], ADA)


@pytest.mark.parametrize(
    "changed",
    [
        {"number": 2}, {"order": []}, {"order": [[0, 0, 1]]}, {"order": [[0, 0, 1]] * 4}, {"order": [[0, 0, 1], [0, 1, 1], [0, 0, 2], [0, 9, 2]]},
        {"order": [[0, 0]] * 4}, {"order": [["a", 0, 1]] * 4}, {"people": []}, {"people": "Ada"}, {"rounds": -1}, {"seed": None},
        {"references": {"1": LENGTH}}, {"references": {"1": 3, "2": 4}}, {"half_window_mm": "wide"},
    ],
)  # fmt: skip
def test_a_study_of_the_wrong_form_is_not_written(book: Book, changed: dict[str, Any]) -> None:
    """Neither a page nor a fold meets it later."""
    with pytest.raises(FirstpullError):
        write(book, "StudyBegun", {"study": plan(**changed)})
    assert not book.gauge("C1").studies


@pytest.mark.parametrize(
    ("kind", "data"),
    [
        ("StudyRead", {"study": 1, "slot": 4, "reading": LENGTH}),
        ("StudyRead", {"study": 1, "slot": -1, "reading": LENGTH}),
        ("StudyRead", {"study": 1, "slot": 0, "reading": 11.05}),
        ("StudyRead", {"study": 2, "slot": 0, "reading": LENGTH}),
        ("StudyReadingStruckOut", {"study": 1, "of": 2, "reason": "wrong part"}),
        ("StudyGivenUp", {"study": 7, "reason": "no"}),
        ("StudyFinished", {"study": 1, "result": {"schema": "x", "kind": "parts"}}),
        ("GaugeServiced", {}),
        ("StudyAgeSet", {"days": "many"}),
    ],
)
def test_what_makes_no_sense_there_is_not_written(book: Book, kind: str, data: dict[str, Any]) -> None:
    """A place that is not there, a study that is not there, a reading that is no length."""
    write(book, "StudyBegun", {"study": plan()})
    before = book.gauge("C1")
    with pytest.raises(FirstpullError):
        write(book, kind, data)
    assert book.gauge("C1") == before


def _finished(book: Book, *, blocks: bool) -> dict[str, Any]:
    """The result of a small study that is complete and not finished yet."""
    references = {name: parse_length(name) for name in ("10 mm", "20 mm")} if blocks else None
    parts = tuple(references) if references else ("1", "2")
    made = StudyPlan(BLOCKS if blocks else "set length", ("Ada",), parts, 2, references=references)
    study = gauge_studies.begin_study(book, "C1", made, doing=ADA)
    for slot in study.slots:
        base = references[slot.part].mm if references else 11.0 + int(slot.part)
        reading = parse_length(f"{base + slot.round / 100:.2f} mm")
        study = gauge_studies.take_reading(book, "C1", 1, slot=slot.number, reading=reading, doing=ADA)
    return result_of(study, resolution_mm=0.01)


@pytest.mark.parametrize("blocks", [False, True], ids=["parts", "blocks"])
def test_a_result_that_lacks_anything_shown_is_not_written(book: Book, blocks: bool) -> None:
    """Each value that pages and other verbs read must be there and of its kind; whole, it is written."""
    result = _finished(book, blocks=blocks)
    unused = {
        "measured", "rounds", "confidence", "mean_mm", "anova", "interaction_pooled", "distinct", "window_share", "window_share_at_worst",
        "reference_u_mm", "seen_step_mm",
    }  # fmt: skip
    if blocks:
        unused |= {"parts", "people"}
    for name in set(result) - unused:
        for wrong in ({key: value for key, value in result.items() if key != name}, {**result, name: object.__name__}):
            if name == "schema" and wrong.get("schema"):
                continue
            with pytest.raises(BadInput):
                write(book, "StudyFinished", {"study": 1, "result": deepcopy(wrong)})
    write(book, "StudyFinished", {"study": 1, "result": result})
    assert book.gauge("C1").studies[0].result == json.loads(json.dumps(result))


def test_what_is_closed_stays_closed(book: Book) -> None:
    """After the result no reading is taken, struck out or given up."""
    result = _finished(book, blocks=False)
    write(book, "StudyFinished", {"study": 1, "result": result})
    for kind, data in (
        ("StudyRead", {"study": 1, "slot": 0, "reading": LENGTH}),
        ("StudyReadingStruckOut", {"study": 1, "of": 3, "reason": "late"}),
        ("StudyGivenUp", {"study": 1, "reason": "late"}),
        ("StudyFinished", {"study": 1, "result": result}),
    ):
        with pytest.raises(Unsafe):
            write(book, kind, data)


def test_an_unfinished_study_has_no_result_by_any_way(book: Book) -> None:
    """Written past the job, a result of a study with a reading missing is refused by the record itself."""
    result = _finished(book, blocks=False)
    last = book.gauge("C1").studies[0].readings[-1].sequence
    gauge_studies.strike_reading(book, "C1", 1, of=last, reason="wrong part", doing=ADA)
    with pytest.raises(Unsafe, match="still to be taken"):
        write(book, "StudyFinished", {"study": 1, "result": result})
    with pytest.raises(BadInput):
        find(book.gauge("C1").studies, 2)

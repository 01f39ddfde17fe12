"""What the checks of a run show: false looks as printed (Champ and Woodall 1987: 91.75), capability against the card."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from firstpull.jobs import hand_over, run_checks
from firstpull.jobs.run_study import run_study, study_lines
from firstpull.jobs.workshop import Book
from workshop_example import ADA, mm, open_workshop, proven_job


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with open_workshop(tmp_path) as workshop:
        yield workshop.bench


def run_of(book: Book, *lengths: str) -> str:
    job = proven_job(book).id
    hand_over.release(book, job, doing=ADA)
    for count, length in enumerate(lengths, 1):
        found = run_checks.Found(kind="tool", count=count, set_length=mm(length))
        run_checks.record_check(book, job, found, doing=ADA)
    return job


def test_the_false_look_rate_is_the_printed_one(book: Book) -> None:
    """Rules 1 to 4: 91.75 checks, said as 92."""
    study = run_study(book.job(run_of(book, "11.15")), in_air=True)
    assert study["false_look_every"] == pytest.approx(91.75, abs=0.005)
    assert "one false look in about 92 checks" in study_lines(study)[0]
    assert study_lines(study)[1] == "No capability yet: 7 more readings of this kind are wanted."


def test_capability_with_its_limits_after_eight_readings(book: Book) -> None:
    """Ppk is the nearer limit's distance in three overall sds; what is shown at least is less."""
    lengths = ("11.15", "11.17", "11.13", "11.16", "11.14", "11.15", "11.17", "11.13")
    study = run_study(book.job(run_of(book, *lengths)), in_air=True)
    found = study["capability"]
    low, high = study["window_mm"]
    ppk = {index["name"]: index for index in found["indices"]}["Ppk"]
    # mean 11.15, sd √(0.0018/7) = 0.016036, by hand
    assert ppk["value"] == pytest.approx(min(high - 11.15, 11.15 - low) / (3 * 0.016036), rel=1e-3)
    assert ppk["at_least"] < ppk["low"] + 0.5 * (ppk["value"] - ppk["low"])
    assert any(line.startswith("Cpk ") for line in study_lines(study))

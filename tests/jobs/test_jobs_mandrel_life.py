"""How long mandrels last, from this shop's own changes."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from firstpull.errors import BadInput
from firstpull.jobs import look_after
from firstpull.jobs.mandrel_life import mandrel_life
from firstpull.jobs.workshop import Book
from firstpull.statistics.weibull import weibull_fit
from workshop_example import ADA, a_tool, open_workshop


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with open_workshop(tmp_path) as workshop:
        yield workshop.bench


def used(book: Book, mark: str, cycles: int, how: str) -> None:
    look_after.add_mandrel(book, "T1", {"id": mark, "thread": "M6"}, doing=ADA)
    look_after.count_cycles(book, "T1", cycles, doing=ADA)
    if how:
        look_after.retire_mandrel(book, "T1", mark, reason="changed", doing=ADA, how=how)


def test_ended_and_running_mandrels_are_told_apart(book: Book) -> None:
    """Three ended, one was changed in time and one still runs: the limit is that of exactly these lives."""
    look_after.add_tool(book, "T1", a_tool(), doing=ADA)
    for mark, cycles, how in (("a", 9000, "ended"), ("b", 12000, "ended"), ("c", 15000, "ended")):
        used(book, mark, cycles, how)
    used(book, "d", 11000, "in time")
    used(book, "e", 4000, "")
    found = mandrel_life(book, "M6x1")
    assert (found.ended, found.running) == (3, 2)
    assert found.change_by == int(weibull_fit([9000, 12000, 15000], [11000, 4000], confidence=0.9).b10.low)
    assert 0 < found.change_by < 9000


def test_without_a_failure_the_shape_is_stated(book: Book) -> None:
    """One life of 10,000 that still runs, shape 2: 10,000·√(−ln 0.9 / −ln 0.05) = 1875, by hand."""
    look_after.add_tool(book, "T1", a_tool(), doing=ADA)
    used(book, "a", 10000, "")
    found = mandrel_life(book, "M6x1")
    assert found.change_by == 1875
    assert "wear of shape 2 assumed" in found.text


def test_how_it_went_is_one_of_two(book: Book) -> None:
    """Anything else is refused."""
    look_after.add_tool(book, "T1", a_tool(), doing=ADA)
    with pytest.raises(BadInput):
        used(book, "a", 10, "lost")

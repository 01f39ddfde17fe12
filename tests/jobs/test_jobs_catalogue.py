"""The catalogue in the record: imports with history, and large files."""

from __future__ import annotations

from pathlib import Path

import pytest

from firstpull.errors import NotFound
from firstpull.jobs import catalogue
from workshop_example import ADA, open_workshop

HEAD = "part,thread,end,length_free [mm],grip_min [mm],grip_max [mm]\n"


def table(count: int, *, free: str = "15.5") -> bytes:
    return (HEAD + "".join(f"P-{number},M6,open,{free},0.5,3.0\n" for number in range(count))).encode()


def test_a_large_file_is_one_act(tmp_path: Path) -> None:
    """Thousands of rows go in as several events of one act, and all of them are there afterwards."""
    with open_workshop(tmp_path) as workshop:
        book = workshop.bench
        proposal = catalogue.propose(book, table(4500), filename="large.csv")
        assert catalogue.take(book, proposal, filename="large.csv", doing=ADA) == 4500
        assert len(book.inserts()) == 4500
        assert book.store.last("catalogue:workshop") == 3


def test_a_second_import_keeps_the_history(tmp_path: Path) -> None:
    """A changed row is changed, its older form stays readable, an unchanged one is not written again."""
    with open_workshop(tmp_path) as workshop:
        book = workshop.bench
        for data in (table(2), table(1, free="15.6")):
            proposal = catalogue.propose(book, data, filename="shop.csv")
            catalogue.take(book, proposal, filename="shop.csv", doing=ADA)
        assert book.insert("P-0").length_free.typed.startswith("15.6")
        lengths = [item["row"]["length_free"]["nm"] for item in catalogue.history(book, "P-0")]  # type: ignore[index]
        assert lengths == [15_500_000, 15_600_000]
        assert len(catalogue.history(book, "P-1")) == 1


def test_an_unknown_part_is_told_what_would_help(tmp_path: Path) -> None:
    """Only an empty catalogue is to be imported first; else near parts are named, or the list."""
    with open_workshop(tmp_path) as workshop:
        book = workshop.bench
        hints = []
        for part in ("Z", "Z", "P-00"):
            with pytest.raises(NotFound) as refused:
                book.insert(part)
            hints.append(refused.value.hint)
            if len(hints) == 1:
                proposal = catalogue.propose(book, table(2), filename="shop.csv")
                catalogue.take(book, proposal, filename="shop.csv", doing=ADA)
        assert hints[0].startswith("Import the catalogue")
        assert hints[1].startswith("Look at the list")
        assert hints[2].startswith("Near: P-0")

"""A CSV of any size goes into the catalogue as the small one does, and what is kept of it can be lost."""

from __future__ import annotations

import csv
import errno
import io
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firstpull.errors import BadInput
from firstpull.exchange.catalogue_file import CatalogueFile
from firstpull.exchange.catalogue_table import preview
from firstpull.jobs import catalogue, shelf
from firstpull.jobs.catalogue_file import shelf_of_file, take_any, take_file
from firstpull.jobs.workshop import Doing
from firstpull.mechanics.insert import Insert
from workshop_example import ADA, open_workshop

HEAD = ("part", "thread", "end", "length_free", "grip_min [mm]", "grip_max [mm]", "set_allowance [mm]", "note")


def mostly(good: tuple[str, ...], others: tuple[str, ...]) -> st.SearchStrategy[str]:
    """Cells of which most are good, so that whole rows are."""
    return st.sampled_from(good * 8 + others)


CELLS: dict[str, st.SearchStrategy[str]] = {
    "part": mostly(("P-1", "P-2", " P-3 ", "'=P", "Ü-5", "a,b", 'c"d'), ("",)),
    "thread": mostly(("M6", "M6x1", "1/4-20"), ("M7.3", "")),
    "end": mostly(("open", "closed", "Through"), ("ajar", "")),
    "length_free": mostly(("15.5 mm", "15,5 mm", "0.61 in", "5/8 in"), ("15.5", "-3 mm", "15.5000001 mm", "")),
    "grip_min [mm]": mostly(("0.5", "0,5", "1/2", "0"), ("3.5", "x", "")),
    "grip_max [mm]": mostly(("3", "3.0", "3.00 mm", "0.1181102362204724 in"), ("12", "")),
    "set_allowance [mm]": mostly(("", "1.9", "1.9 mm"), ("0", "99")),
    "note": mostly(("", "demo data", "two\nlines", "µ", "'-1"), ("x" * 2100,)),
}
ROWS = st.lists(
    st.one_of(
        st.tuples(*(CELLS[name] for name in HEAD)),
        st.tuples(st.just("P-9"), st.just("M6")),
        st.just(("", "", "", "", "", "", "", "")),
        st.tuples(*(CELLS[name] for name in HEAD), st.just("one too many")),
    ),
    max_size=25,
)


def text_of(rows: list[tuple[str, ...]], *, delimiter: str = ",") -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter).writerows([HEAD, *rows])
    return out.getvalue().encode()


def good_row(number: int, *, free: str = "15.5 mm") -> tuple[str, ...]:
    return (f"P-{number:05d}", "M6", "open", free, "0.5", "3.0", "1.9", "demo data")


@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(ROWS, st.sampled_from((",", ";")))
def test_a_table_read_in_lots_is_the_table_read_at_once(
    tmp_path: Path, rows: list[tuple[str, ...]], delimiter: str
) -> None:
    """Inserts, texts as typed, problems and notes are those of the preview, whatever stands in the cells."""
    data = text_of(rows, delimiter=delimiter)
    path = tmp_path / "table.csv"
    path.write_bytes(data)
    at_once = preview(data, filename="table.csv")
    source = CatalogueFile(path)
    in_lots: list[tuple[int, Insert]] = []
    for lot in source.lots():
        in_lots += [(int(number), lot.insert(row)) for row, number in enumerate(lot.numbers)]
    repeated = {problem.row for problem in at_once.problems if "stands in row" in problem.what}
    assert {repr(row) for row in zip(at_once.row_numbers, at_once.rows, strict=True)} <= {repr(row) for row in in_lots}
    own = [problem for problem in at_once.problems if "stands in row" not in problem.what]
    assert source.reading.problems == own
    assert {number for number, _insert in in_lots} >= set(at_once.row_numbers) | repeated
    assert source.reading.notes == list(at_once.notes)
    assert source.reading.unit_missing == list(at_once.unit_missing)


@settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=ROWS)
def test_what_is_taken_is_what_the_preview_promises(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[str, ...]]
) -> None:
    """The catalogue afterwards holds the preview's rows, parts that stand twice are handled alike."""
    folder = tmp_path_factory.mktemp("shop")
    path = folder / "table.csv"
    path.write_bytes(text_of(rows))
    promised = preview(path.read_bytes(), filename="table.csv")
    with open_workshop(folder) as workshop:
        if not promised.rows:
            with pytest.raises(BadInput, match="no good row"):
                take_file(workshop.bench, path, doing=ADA)
            return
        taken = take_file(workshop.bench, path, doing=ADA)
        assert {repr(insert) for insert in workshop.bench.inserts().inserts()} == {repr(row) for row in promised.rows}
        assert sorted(taken.problems, key=repr) == sorted(promised.problems, key=repr)
        assert (taken.good_rows, taken.written) == (len(promised.rows), len(promised.rows))


def write(path: Path, rows: list[tuple[str, ...]]) -> Path:
    path.write_bytes(text_of(rows))
    return path


def test_a_second_import_writes_only_what_changed(tmp_path: Path) -> None:
    """Of a long table that comes again only new and changed rows are written; a look writes nothing."""
    with open_workshop(tmp_path / "shop") as workshop:
        book = workshop.bench
        take_file(book, write(tmp_path / "a.csv", [good_row(number) for number in range(5000)]), doing=ADA)
        assert book.store.last("catalogue:workshop") == 3
        again = [good_row(number) for number in range(4999)] + [good_row(4999, free="16 mm"), good_row(5000)]
        looked = take_file(book, write(tmp_path / "b.csv", again), doing=None)
        assert (looked.added, looked.changed, looked.written) == (["P-05000"], ["P-04999"], 0)
        assert book.store.last("catalogue:workshop") == 3
        taken = take_file(book, tmp_path / "b.csv", doing=ADA)
        assert (taken.added_count, taken.changed_count, taken.written) == (1, 1, 2)
        assert len(catalogue.history(book, "P-04999")) == 2
        assert len(catalogue.history(book, "P-00001")) == 1
        assert take_file(book, tmp_path / "b.csv", doing=ADA).written == 0


def test_a_retry_is_known_again(tmp_path: Path) -> None:
    """The same act sent twice under one id is one import."""
    with open_workshop(tmp_path / "shop") as workshop:
        path = write(tmp_path / "a.csv", [good_row(1)])
        doing = Doing("Ada", slip="once")
        assert take_file(workshop.bench, path, doing=doing).written == 1
        workshop.bench.write_long("catalogue:workshop", iter([("CatalogueTableImported", {})]), doing)
        assert workshop.bench.store.last("catalogue:workshop") == 1


def test_what_is_kept_beside_the_record_may_be_lost_or_damaged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The kept shelf is used when it is of this record, and made again when it is old, damaged or gone."""
    monkeypatch.setattr(shelf, "KEPT_FROM_ROWS", 10)
    kept = tmp_path / "shop" / "record.catalogue.npz"

    def parts() -> list[str]:
        with open_workshop(tmp_path / "shop") as workshop:
            return list(workshop.bench.inserts())

    with open_workshop(tmp_path / "shop") as workshop:
        take_file(workshop.bench, write(tmp_path / "a.csv", [good_row(number) for number in range(50)]), doing=ADA)
        before = list(map(repr, workshop.bench.inserts().inserts()))
    whole = kept.read_bytes()
    with open_workshop(tmp_path / "shop") as workshop:
        monkeypatch.setattr(shelf, "add_event", forbidden)
        assert list(map(repr, workshop.bench.inserts().inserts())) == before
        monkeypatch.undo()
    for place in range(0, len(whole), max(len(whole) // 60, 1)):
        kept.write_bytes(whole[:place] + bytes([whole[place] ^ 0x41]) + whole[place + 1 :])
        with open_workshop(tmp_path / "shop") as workshop:
            assert list(map(repr, workshop.bench.inserts().inserts())) == before
    kept.unlink()
    assert len(parts()) == 50
    with open_workshop(tmp_path / "shop") as workshop:
        kept.write_bytes(whole)
        catalogue.retire(workshop.bench, "P-00007", reason="no longer bought", doing=ADA)
    assert "P-00007" not in parts()


def forbidden(*_: Any, **__: Any) -> None:
    raise AssertionError("the shelf was made from the events again")


def test_a_file_beside_the_catalogue_is_read_without_taking_it(tmp_path: Path) -> None:
    """A long file serves as a catalogue for one question; one that repeats a part is refused with what to do."""
    rows = [good_row(number) for number in range(25_000)]
    found, problems, count = shelf_of_file(write(tmp_path / "long.csv", rows))
    assert (len(found), problems, count) == (25_000, (), 0)
    with pytest.raises(BadInput, match="repeat a part"):
        shelf_of_file(write(tmp_path / "twice.csv", [*rows, rows[0]]))


def test_bad_files_are_refused_in_words(tmp_path: Path) -> None:
    """What is no table, cannot be read, or hides a sign is said, and nothing is written."""
    with open_workshop(tmp_path / "shop") as workshop:
        for name, data in (("a.csv", b"\0\1\2"), ("b.pdf", b"%PDF-1.7"), ("c.csv", b""), ("d.csv", b"a,b\n1,2\n")):
            (tmp_path / name).write_bytes(data)
            with pytest.raises(BadInput):
                take_any(workshop.bench, tmp_path / name, doing=ADA)
        with pytest.raises(BadInput, match="cannot be read"):
            take_any(workshop.bench, tmp_path / "nowhere.csv", doing=ADA)
        turned = (*good_row(1)[:7], "a\u202eb")
        assert workshop.bench.store.last("catalogue:workshop") == 0
        taken = take_any(workshop.bench, write(tmp_path / "e.csv", [good_row(0), turned]), doing=ADA)
        assert (taken.written, taken.problem_count) == (1, 1)
        problem = taken.problems[0]
        assert (problem.row, problem.column) == (3, "note")
        assert "can not be printed" in problem.what
        assert "\u202e" not in problem.value


def test_a_full_disk_is_said_with_its_folder_and_takes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The rows are gathered beside the record first; where there is no room for them, the catalogue stays as it was."""

    class Full(io.StringIO):
        def write(self, _text: str) -> int:
            raise OSError(errno.ENOSPC, "No space left on device")

    with open_workshop(tmp_path / "shop") as workshop:
        monkeypatch.setattr("firstpull.jobs.catalogue_file.tempfile.TemporaryFile", lambda *_a, **_k: Full())
        with pytest.raises(BadInput, match="No space left on device") as refused:
            take_any(workshop.bench, write(tmp_path / "a.csv", [good_row(0)]), doing=ADA)
        assert refused.value.where == str(workshop.bench.path.parent)
        assert workshop.bench.store.last("catalogue:workshop") == 0


def test_what_was_taken_once_is_read_though_it_would_be_refused_today(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A check that came later does not make a record unreadable."""
    rows = [good_row(0), good_row(1, free="15.5 in")]
    with open_workshop(tmp_path / "shop") as workshop, monkeypatch.context() as before:
        for place in ("mechanics.insert", "mechanics.shelf.plausible"):
            before.setattr(f"firstpull.{place}.free_length_limits_nm", lambda _thread: (0, 10**12))
        assert take_any(workshop.bench, write(tmp_path / "old.csv", rows), doing=ADA).written == 2
    with open_workshop(tmp_path / "shop") as workshop:
        assert list(workshop.bench.inserts()) == ["P-00000", "P-00001"]
        assert workshop.bench.insert("P-00001").length_free.inch == 15.5
        again = take_any(workshop.bench, write(tmp_path / "new.csv", rows), doing=ADA)
        assert (again.written, [one.row for one in again.problems]) == (0, [3])

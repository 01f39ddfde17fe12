"""Backup, restore, export and import lose nothing and overwrite nothing."""

from __future__ import annotations

import io
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from firstpull.errors import BadInput, FirstpullError, RecordDamaged
from firstpull.exchange.record_lines import export_lines, line_of_event, read_lines
from firstpull.record.event import NewEvent
from firstpull.store import MovedOn, Store

AT = "2026-03-02T09:15:00Z"


def summed(_stream: str, events: tuple) -> dict[str, object]:
    return {"count": len(events)}


@pytest.fixture
def store(tmp_path: Path):
    with Store(tmp_path / "r", summarise=summed) as opened:
        for count in range(4):
            data = {"nm": 11_160_000 + count, "share": 0.1, "text": "“µ” \u2028\r\n\t\\"}
            opened.append("job:a", count, [NewEvent("TrialPulled", data, f"a{count}", gauge="C1")], at=AT, by="Ada")
            opened.append("tool:t", count, [NewEvent("Cycled", {"count": count}, f"t{count}")], at=AT, by="Bo")
        yield opened


def exported(store: Store) -> str:
    return "".join(export_lines(store.all_events()))


def taken_in(store: Store, text: str) -> int:
    return store.import_events(read_lines(io.StringIO(text, newline="")), place=line_of_event)


def files(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir() if not path.name.endswith("-journal")}


def test_a_backup_holds_the_same(store: Store, tmp_path: Path) -> None:
    """A backup is a record with the same events and leaves no other file behind."""
    report = store.backup(tmp_path / "b")
    assert (report.ok, report.events) == (True, 8)
    with Store(tmp_path / "b", summarise=summed, create=False) as copy:
        assert list(copy.all_events()) == list(store.all_events())
        assert copy.verify().ok
        assert len(copy.summaries()) == 2
    assert files(tmp_path) == {"r", "b"}


def test_a_backup_overwrites_nothing(store: Store, tmp_path: Path) -> None:
    """An existing file, the record itself included, is no target; nor is a folder that is not there."""
    (tmp_path / "b").write_text("mine")
    for target in (tmp_path / "b", tmp_path / "r", tmp_path / "no" / "b"):
        with pytest.raises(BadInput):
            store.backup(target)
    assert (tmp_path / "b").read_text() == "mine"


def test_a_damaged_record_gives_no_backup(store: Store, tmp_path: Path) -> None:
    """A copy that does not verify never gets the backup's name."""
    with closing(sqlite3.connect(tmp_path / "r")) as outside:
        outside.execute("DROP TRIGGER event_never_changes")
        outside.execute("UPDATE event SET by = 'Eve' WHERE number = 3")
        outside.commit()
    with pytest.raises(RecordDamaged, match="verify"):
        store.backup(tmp_path / "b")
    assert files(tmp_path) == {"r"}


def test_a_restore_keeps_what_was_there(store: Store, tmp_path: Path) -> None:
    """The present file is kept under another name, and the restored one holds what the backup held."""
    store.backup(tmp_path / "b")
    store.append("job:a", 4, [NewEvent("Stopped", {}, "late")], at=AT, by="Ada")
    store.close()
    first = Store.restore(tmp_path / "b", tmp_path / "r")
    second = Store.restore(tmp_path / "b", tmp_path / "r")
    assert first.kept == tmp_path / "r.kept-1"
    assert second.kept == tmp_path / "r.kept-2"
    with Store(tmp_path / "r.kept-1") as kept, Store(tmp_path / "r", summarise=summed) as now:
        assert (kept.last("job:a"), now.last("job:a")) == (5, 4)
        assert now.verify().ok
        assert len(now.summaries()) == 2


def test_a_restore_to_a_new_place_keeps_nothing(store: Store, tmp_path: Path) -> None:
    """Where no file was, none is kept."""
    store.backup(tmp_path / "b")
    assert Store.restore(tmp_path / "b", tmp_path / "new").kept is None
    assert files(tmp_path) == {"r", "b", "new"}


def test_a_damaged_record_can_be_replaced(store: Store, tmp_path: Path) -> None:
    """A present file that cannot be opened at all is kept as it is."""
    store.backup(tmp_path / "b")
    store.close()
    (tmp_path / "r").write_bytes(b"ruined" * 1000)
    kept = Store.restore(tmp_path / "b", tmp_path / "r").kept
    assert kept is not None
    assert kept.read_bytes() == b"ruined" * 1000


def test_an_open_bench_does_not_write_to_the_file_put_aside(store: Store, tmp_path: Path) -> None:
    """After a restore under its feet a store refuses to acknowledge anything."""
    store.backup(tmp_path / "b")
    Store.restore(tmp_path / "b", tmp_path / "r")
    with pytest.raises(BadInput, match="replaced"):
        store.append("job:a", 4, [NewEvent("Stopped", {}, "late")], at=AT, by="Ada")
    with Store(tmp_path / "r.kept-1") as kept:
        assert kept.last("job:a") == 4


def test_a_bad_backup_is_not_restored(store: Store, tmp_path: Path) -> None:
    """A backup that is missing, foreign, or changed is refused and the record stays."""
    store.backup(tmp_path / "b")
    content = (tmp_path / "b").read_bytes()
    (tmp_path / "b").write_bytes(content.replace(b"11160001", b"11160009"))
    (tmp_path / "letter").write_text("Dear workshop")
    for source in ("b", "letter", "none", "r"):
        with pytest.raises(FirstpullError):
            Store.restore(tmp_path / source, tmp_path / "r")
    assert files(tmp_path) == {"r", "b", "letter"}
    assert store.verify().ok


def test_a_record_being_written_is_not_replaced(store: Store, tmp_path: Path, monkeypatch) -> None:
    """While another program is in a write, restore waits, then refuses and changes nothing."""
    store.backup(tmp_path / "b")
    monkeypatch.setattr("firstpull.store.copies._BUSY_TIMEOUT_MS", 20)
    with closing(sqlite3.connect(tmp_path / "r", isolation_level=None)) as outside:
        outside.execute("BEGIN IMMEDIATE")
        with pytest.raises(BadInput, match="being written"):
            Store.restore(tmp_path / "b", tmp_path / "r")
        outside.execute("ROLLBACK")
    assert files(tmp_path) == {"r", "b"}


def test_export_and_import_give_the_same_bytes(store: Store, tmp_path: Path) -> None:
    """A record imported into an empty one exports byte for byte the same, and importing again adds nothing."""
    text = exported(store)
    with Store(tmp_path / "other", summarise=summed) as other:
        assert taken_in(other, text) == 8
        assert exported(other) == text
        assert taken_in(other, text) == 0
        assert other.verify().ok
        assert other.summaries() == store.summaries()


def test_an_older_copy_takes_in_what_is_new(store: Store, tmp_path: Path) -> None:
    """What both have is passed over and what only the export has is added."""
    with Store(tmp_path / "other", summarise=summed) as other:
        taken_in(other, exported(store))
        store.append("job:a", 4, [NewEvent("Stopped", {}, "late")], at=AT, by="Ada")
        assert taken_in(other, exported(store)) == 1
        assert other.read("job:a") == store.read("job:a")


def test_records_that_went_separate_ways_are_not_mixed(store: Store, tmp_path: Path) -> None:
    """Other content in the place of an event that is here is a conflict that names the line; nothing is taken in."""
    with Store(tmp_path / "other") as other:
        taken_in(other, exported(store))
        other.append("job:a", 4, [NewEvent("Stopped", {}, "theirs")], at=AT, by="Bo")
        store.append("job:b", 0, [NewEvent("JobOpened", {}, "b")], at=AT, by="Ada")
        store.append("job:a", 4, [NewEvent("Stopped", {}, "mine")], at=AT, by="Ada")
        with pytest.raises(MovedOn) as caught:
            taken_in(other, exported(store))
        assert caught.value.where == "line 11"
        assert other.streams() == ("job:a", "tool:t")


def remade(lines: list[str]) -> str:
    """An export of these lines whose end says that it is whole, as a careful forger would write it."""
    import hashlib

    digest = hashlib.sha256("".join(lines[1:]).encode()).hexdigest()
    return "".join(lines) + f'{{"events":{len(lines) - 1},"sha256":"{digest}"}}\n'


@pytest.mark.parametrize(
    ("change", "where"),
    [
        (lambda lines: remade(lines[:3] + lines[4:-1]), "line 5"),
        (lambda lines: remade([lines[0], *lines[3:-1]]), "line 2"),
        (lambda lines: remade([*lines[:3], lines[3].replace("Ada", "Eve"), *lines[4:-1]]), "line 4"),
        (lambda lines: remade([*lines[:3], lines[3].replace(":", ": ", 1), *lines[4:-1]]), "line 4"),
        (lambda lines: remade([*lines[:3], lines[3].replace('"by"', '"by":"x","by"'), *lines[4:-1]]), "line 4"),
        (lambda lines: remade([*lines[:3], lines[3].replace("0.1", "NaN"), *lines[4:-1]]), "line 4"),
        (lambda lines: remade([*lines[:3], "[" * 100_000 + "\n", *lines[4:-1]]), "line 4"),
        (lambda lines: remade([*lines[:3], "null\n", *lines[4:-1]]), "line 4"),
        (lambda lines: "".join(lines[:-1]), "after line 9"),
        (lambda lines: "".join([*lines[:-2], lines[-1]]), "line 9"),
        (lambda lines: "".join(lines[1:]), "line 1"),
        (lambda lines: "".join([*lines, lines[1]]), "line 11"),
        (lambda lines: "".join(lines[:0]), "after line 0"),
    ],
)
def test_a_changed_export_is_refused_whole(store: Store, tmp_path: Path, change, where: str) -> None:
    """A gap, an edit, a cut or a disorder is refused by its line, and nothing of the file is taken in."""
    lines = exported(store).split("\n")  # not splitlines: U+2028 stands inside a line
    text = change([line + "\n" for line in lines[:-1]])
    with Store(tmp_path / "other") as other:
        with pytest.raises(FirstpullError) as caught:
            taken_in(other, text)
        assert caught.value.where.split(",")[0] == where
        assert other.streams() == ()


def test_an_export_that_is_not_text_is_refused(tmp_path: Path) -> None:
    """Bytes that are not UTF-8 give an error of ours."""
    (tmp_path / "x").write_bytes(b"\xff\xfe" * 10)
    with (
        Store(tmp_path / "r") as store,
        open(tmp_path / "x", encoding="utf-8") as file,
        pytest.raises(BadInput, match="UTF-8"),
    ):
        store.import_events(read_lines(file))

"""A file that cannot be used is refused in plain words and left as it is."""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

import pytest

from firstpull.errors import BadInput, FirstpullError, RecordDamaged
from firstpull.record.event import NewEvent
from firstpull.store import Store

AT = "2026-03-02T09:15:00Z"


def made(path: Path) -> Path:
    with Store(path) as store:
        store.append("job:a", 0, [NewEvent("JobOpened", {}, "1")], at=AT, by="Ada")
    return path


def test_the_settings_are_in_force(tmp_path: Path) -> None:
    """The settings that durability rests on are the ones SQLite reports for the connection in use."""
    with Store(tmp_path / "r") as store:
        raw = store._database.raw
        names = ("journal_mode", "synchronous", "foreign_keys", "trusted_schema", "recursive_triggers", "busy_timeout")
        found = [raw.execute(f"PRAGMA {name}").fetchone()[0] for name in names]
    assert found == ["truncate", 3, 1, 0, 1, 5000]


def test_tables_are_strict(tmp_path: Path) -> None:
    """Every table refuses values of another type."""
    with closing(sqlite3.connect(made(tmp_path / "r"))) as outside:
        assert {row[5] for row in outside.execute("PRAGMA table_list") if not row[1].startswith("sqlite_")} == {1}


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    """A record is not made in a folder that is not there."""
    with pytest.raises(BadInput, match="is not there"):
        Store(tmp_path / "no" / "r")


def test_a_missing_file_is_not_made_when_not_asked(tmp_path: Path) -> None:
    """With create=False a wrong name is an error, and no file appears."""
    with pytest.raises(BadInput, match="no record"):
        Store(tmp_path / "r", create=False)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_is_not_a_record(tmp_path: Path) -> None:
    """A folder's name is refused."""
    with pytest.raises(BadInput, match="folder"):
        Store(tmp_path)


def test_another_kind_of_file_is_left_as_it_is(tmp_path: Path) -> None:
    """A file that is no database is refused and not touched."""
    path = tmp_path / "letter.txt"
    path.write_text("Dear workshop, " * 100)
    with pytest.raises(BadInput, match="not a firstpull record"):
        Store(path)
    assert path.read_text() == "Dear workshop, " * 100


@pytest.mark.parametrize("mode", ["DELETE", "WAL"])
def test_a_database_of_another_program_is_left_as_it_is(tmp_path: Path, mode: str) -> None:
    """A foreign SQLite file is refused; its bytes, journal mode included, stay the same."""
    path = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(path)) as outside:
        outside.execute(f"PRAGMA journal_mode={mode}")
        outside.execute("CREATE TABLE mine (a)")
        outside.commit()
    before = path.read_bytes()
    with pytest.raises(BadInput, match="another program"):
        Store(path)
    assert path.read_bytes() == before


def test_a_newer_record_is_refused(tmp_path: Path) -> None:
    """A file of a later form asks for an update and is not changed."""
    path = made(tmp_path / "r")
    with closing(sqlite3.connect(path)) as outside:
        outside.execute("PRAGMA user_version=2")
    before = path.read_bytes()
    with pytest.raises(BadInput, match="newer firstpull"):
        Store(path)
    assert path.read_bytes() == before


def test_a_record_without_its_tables_is_damaged(tmp_path: Path) -> None:
    """A missing table is damage, not a new record."""
    path = made(tmp_path / "r")
    with closing(sqlite3.connect(path)) as outside:
        outside.execute("DROP TABLE event")
    with pytest.raises(RecordDamaged, match="missing"):
        Store(path)


@pytest.mark.parametrize("keep", [0.1, 0.3, 0.6])
def test_a_record_cut_short_is_damaged(tmp_path: Path, keep: float) -> None:
    """A file that lost its end is damaged when opened or when verified, never a trace."""
    path = made(tmp_path / "r")
    content = path.read_bytes()
    path.write_bytes(content[: int(len(content) * keep)])
    try:
        with Store(path) as store:
            assert not store.verify().ok
    except RecordDamaged:
        pass


def test_an_empty_file_becomes_a_record(tmp_path: Path) -> None:
    """A file of no bytes, as a cut power leaves behind, becomes a record."""
    (tmp_path / "r").touch()
    assert made(tmp_path / "r").stat().st_size > 0


@pytest.mark.skipif(not hasattr(os, "seteuid") or os.geteuid() != 0, reason="needs to become another user")
@pytest.mark.parametrize("shut", ["file", "folder"])
def test_a_record_that_may_not_be_written_says_so(shut: str) -> None:
    """A file or folder without leave to write is named when opening."""
    folder = Path(tempfile.mkdtemp())
    try:
        path = made(folder / "r")
        folder.chmod(0o755 if shut == "folder" else 0o777)
        path.chmod(0o444 if shut == "file" else 0o666)
        (folder / "r-journal").unlink(missing_ok=True)
        os.seteuid(65534)
        with pytest.raises(BadInput, match=f"{shut} cannot be written"):
            Store(path)
    finally:
        os.seteuid(0)
        shutil.rmtree(folder)


def test_a_full_disk_says_so(tmp_path: Path) -> None:
    """When the file cannot grow, nothing is written, the error is ours and what was there stays good."""
    with Store(tmp_path / "r") as store:
        store.append("job:a", 0, [NewEvent("JobOpened", {}, "1")], at=AT, by="Ada")
        pages = store._database.raw.execute("PRAGMA page_count").fetchone()[0]
        store._database.raw.execute(f"PRAGMA max_page_count={pages}")
        with pytest.raises(FirstpullError, match="disk is full"):
            store.append("job:a", 1, [NewEvent("JobOpened", {"text": "x" * 100_000}, "2")], at=AT, by="Ada")
        store._database.raw.execute("PRAGMA max_page_count=100000")
        assert store.last("job:a") == 1
        assert store.append("job:a", 1, [NewEvent("JobOpened", {}, "2")], at=AT, by="Ada")[0].sequence == 2
        assert store.verify().ok


def test_a_removed_file_is_noticed(tmp_path: Path) -> None:
    """After the file is gone from its name, nothing is acknowledged into the void."""
    with Store(tmp_path / "r") as store:
        (tmp_path / "r").unlink()
        with pytest.raises(BadInput, match="replaced or removed"):
            store.append("job:a", 0, [NewEvent("JobOpened", {}, "1")], at=AT, by="Ada")

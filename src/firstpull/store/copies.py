"""Backup and restore: a copy counts only once it has been walked, and nothing is overwritten."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import quote

from firstpull.errors import BadInput, FirstpullError, RecordDamaged
from firstpull.store.connection import Database, our_words
from firstpull.store.results import Restored, VerifyReport
from firstpull.store.summaries import Summaries
from firstpull.store.verifying import verify

_BUSY_TIMEOUT_MS = 5000


def backup(database: Database, target: Path, *, summaries: Summaries) -> VerifyReport:
    """Copy the open record to ``target`` and verify the copy. Others may go on writing meanwhile.

    The copy has another name until it is on the disk and verified, so ``target`` is whole or not there. Raises
    BadInput when ``target`` exists or its folder does not, and RecordDamaged when the copy does not verify.
    """
    if target.exists():
        raise BadInput(
            "A file of this name is already there.", where=str(target), hint="Choose another name for the backup."
        )
    with _unfinished(target) as part:
        with our_words(part), closing(sqlite3.connect(part)) as copy, database.reading():
            database.raw.backup(copy)
        report = _checked(part, summaries=summaries, named=target)
        _put(part, target)
    return report


def restore(source: Path, target: Path) -> Restored:
    """Verify ``source`` and put a copy of it in place as ``target``.

    A file already there is kept beside it as ``NAME.kept-1`` (2, 3 …). Raises BadInput when there is no such source or
    ``target`` is being written to, and RecordDamaged when the source does not verify; nothing is changed then.
    A bench that has ``target`` open refuses to write from then on and says why.
    """
    if not source.is_file():
        raise BadInput("There is no backup here.", where=str(source), hint="Check the name.")
    if target.exists() and source.samefile(target):
        raise BadInput("The backup and the record are the same file.", where=str(source), hint="Name the backup first.")
    with _unfinished(target) as part:
        address = f"file:{quote(str(source.resolve()))}?mode=ro"
        with (
            our_words(source),
            closing(sqlite3.connect(address, uri=True)) as original,
            closing(sqlite3.connect(part)) as copy,
        ):
            original.backup(copy)
        report = _checked(part, summaries=Summaries(None, version=0), named=source)
        with _kept(target) as kept:
            _put(part, target)
    return Restored(report=report, kept=kept)


@contextmanager
def _unfinished(target: Path) -> Iterator[Path]:
    """An empty file beside ``target`` that is gone at the end unless it was put in place."""
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    except OSError as problem:
        raise BadInput(
            f"Nothing can be written to this folder ({problem.strerror}).",
            where=str(target.parent),
            hint="Choose another folder.",
        )
    os.close(handle)
    part = Path(name)
    try:
        yield part
    except OSError as problem:
        raise FirstpullError(
            f"The copy could not be finished ({problem.strerror}).", where=str(target), hint="Check the disk."
        )
    finally:
        for left in (part, _journal(part)):
            left.unlink(missing_ok=True)


def _checked(part: Path, *, summaries: Summaries, named: Path) -> VerifyReport:
    """Verify the copy; problems are said of ``named``. Its summaries are made again when it is next opened."""
    with our_words(named):
        copy = Database(part, create=False, busy_timeout_ms=_BUSY_TIMEOUT_MS, named=named)
        try:
            with copy.reading() as connection:
                report = verify(connection, summaries=summaries)
            if report.ok:
                with copy.writing() as connection:
                    summaries.forget(connection)
        finally:
            copy.close()
    if not report.ok:
        more = f" (and {len(report.problems) - 1} more)" if len(report.problems) > 1 else ""
        raise RecordDamaged(
            f"It does not verify: {report.problems[0]}{more}.",
            where=str(named),
            hint="Use another backup; keep this one.",
        )
    return report


def _put(part: Path, target: Path) -> None:
    """Give the finished copy its name, on the disk before and after."""
    _to_disk(part)
    os.replace(part, target)
    _to_disk(target.parent)


def _to_disk(path: Path) -> None:
    if path.is_dir() and os.name == "nt":
        return  # a folder cannot be opened there; the file system keeps the order
    handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def _kept(target: Path) -> Iterator[Path | None]:
    """Give the present file a second name, and hold off writers while the block puts another in its place."""
    if not target.exists():
        yield None
        return
    number = 1
    while (kept := target.with_name(f"{target.name}.kept-{number}")).exists():
        number += 1
    with closing(sqlite3.connect(target, isolation_level=None)) as present:
        try:
            present.execute(f"PRAGMA busy_timeout={_BUSY_TIMEOUT_MS}")
            present.execute("BEGIN EXCLUSIVE")  # also finishes what an interrupted write left in the journal
        except sqlite3.OperationalError as problem:
            if problem.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY:
                raise BadInput(
                    "The record is being written to.", where=str(target), hint="Stop the bench, then restore."
                )
            _move_journal(target, kept)
        except sqlite3.DatabaseError:
            _move_journal(target, kept)  # too damaged to open: keep what there is, as it is
        os.link(target, kept)
        _to_disk(target.parent)
        yield kept


def _move_journal(target: Path, kept: Path) -> None:
    if _journal(target).exists():
        os.replace(_journal(target), _journal(kept))


def _journal(path: Path) -> Path:
    return path.with_name(f"{path.name}-journal")

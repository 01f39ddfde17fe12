"""One connection to one record file: settings, transactions, and SQLite's problems in our words.

The connection is shared by all threads of the program under one lock; other programs are kept out by SQLite's own
lock, taken at the start of every write (BEGIN IMMEDIATE), so that what a write decides on cannot change under it.
"""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, create_engine
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import NullPool

from firstpull.errors import BadInput, FirstpullError, RecordDamaged
from firstpull.store.schema import APPLICATION_ID, FORM, JOURNAL, SETTINGS, create_tables

_SAFE_TO_RETRY = "Nothing was half-written, and sending the same again cannot double it."


class Database:
    """An open record file. ``reading()`` and ``writing()`` give the connection inside a transaction."""

    def __init__(self, path: Path, *, create: bool, busy_timeout_ms: int, named: Path | None = None) -> None:
        """Open ``path``; problems are said of ``named`` (``path`` if not given)."""
        self.path = path
        self._named = named or path
        self._lock = threading.RLock()
        self._inside = False
        _check_place(path, create=create)
        with our_words(self._named):
            engine = create_engine("sqlite://", creator=lambda: connect(path, busy_timeout_ms), poolclass=NullPool)
            self._connection = engine.connect()
            try:
                _apply_settings(self.raw, self._named)
                self._file = _identity(path)
                if _is_empty(self.raw, self._named):
                    self._make_tables()
            except BaseException:
                self._connection.close()
                raise

    def close(self) -> None:
        """Close the file. Safe to call twice."""
        with self._lock:
            self._connection.close()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A consistent view. Inside a write of the same thread it is the view of that write."""
        with self._lock:
            if self._inside:
                yield self._connection
            else:
                with self._transaction("BEGIN", end=self._connection.rollback):
                    yield self._connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that holds the write lock from its start; on the disk when the block ends, or undone."""
        with self._lock:
            if self._inside:
                raise BadInput(
                    "The record is being written to.", hint="A check made while writing may read, not write."
                )
            with self._transaction("BEGIN IMMEDIATE", end=self._connection.commit):
                yield self._connection

    @property
    def raw(self) -> sqlite3.Connection:
        """The driver's connection, for SQLite's backup."""
        return self._connection.connection.driver_connection  # type: ignore[return-value]

    @contextmanager
    def _transaction(self, begin: str, *, end: Callable[[], None]) -> Iterator[None]:
        if self._connection.closed:
            raise BadInput("The record is closed.", where=str(self._named), hint="Open it again.")
        with our_words(self._named):
            self._inside = True
            try:
                self._connection.exec_driver_sql(begin)
                self._same_file()
                yield
                end()  # a read is rolled back: committing it would fail on damage that was already reported
            except BaseException:
                self._connection.rollback()
                raise
            finally:
                self._inside = False

    def _same_file(self) -> None:
        """A restore may have put another file in place while this one was open: never write to the old one."""
        if _identity(self.path) != self._file:
            raise BadInput(
                "The record file was replaced or removed while it was open. Nothing was written to the old one.",
                where=str(self._named),
                hint="Start firstpull again.",
            )

    def _make_tables(self) -> None:
        with self.writing() as connection:
            if _is_empty(self.raw, self._named):  # nobody else was faster
                create_tables(connection)


def connect(path: Path, busy_timeout_ms: int) -> sqlite3.Connection:
    """Open ``path`` with SQLite, in autocommit so that BEGIN is ours."""
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    connection.execute(f"PRAGMA busy_timeout={int(busy_timeout_ms)}")
    return connection


def _apply_settings(connection: sqlite3.Connection, path: Path) -> None:
    for statement in SETTINGS:
        connection.execute(statement).fetchall()
    _is_empty(connection, path)  # a file of another program is left as it is
    mode = connection.execute(f"PRAGMA journal_mode={JOURNAL}").fetchone()[0]
    if mode.upper() != JOURNAL:
        raise BadInput(
            f"The record is held in another journal mode ({mode}).",
            where=str(path),
            hint="Close other programs that have it open.",
        )


def _is_empty(connection: sqlite3.Connection, path: Path) -> bool:
    """True when the file is empty and can become a record; False when it is one. Raises for anything else."""
    identity = connection.execute("PRAGMA application_id").fetchone()[0]
    form = connection.execute("PRAGMA user_version").fetchone()[0]
    tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()}
    if not tables and identity == 0 and form == 0:
        return True
    if identity != APPLICATION_ID:
        raise BadInput(
            "This is a database of another program.", where=str(path), hint="Choose another file for the record."
        )
    if form > FORM:
        raise BadInput(
            f"This record was written by a newer firstpull (form {form}; this one knows {FORM}).",
            where=str(path),
            hint="Update firstpull; the record is unchanged.",
        )
    if not {"event", "summary", "projection"} <= tables:
        raise RecordDamaged("Tables of the record are missing.", where=str(path), hint="Restore a backup.")
    return False


def _check_place(path: Path, *, create: bool) -> None:
    where = str(path)
    if path.is_dir():
        raise BadInput("This is a folder, not a record file.", where=where, hint="Name a file in it.")
    if not path.parent.is_dir():
        raise BadInput(
            f"The folder “{path.parent}” is not there.", where=where, hint="Make the folder first, or check the name."
        )
    if not path.exists() and not create:
        raise BadInput("There is no record file here.", where=where, hint="Check the name.")
    for place, noun in ((path, "file"), (path.parent, "folder")):
        if place.exists() and not os.access(
            place, os.R_OK | os.W_OK, effective_ids=os.access in os.supports_effective_ids
        ):
            raise BadInput(
                f"The {noun} cannot be written to.",
                where=where,
                hint=f"Allow writing to the {noun}, or work on a copy.",
            )


def _identity(path: Path) -> tuple[int, int]:
    try:
        found = path.stat()
    except OSError:
        return (0, 0)
    return (found.st_dev, found.st_ino)


@contextmanager
def our_words(path: Path) -> Iterator[None]:
    """Every problem of SQLite leaves as one of ours."""
    try:
        yield
    except DBAPIError as problem:
        raise error_of_ours(problem.orig, path) from None
    except sqlite3.Error as problem:
        raise error_of_ours(problem, path) from None
    except UnicodeDecodeError:  # SQLite's own message can hold the bytes of a damaged schema
        raise _not_text(path) from None


def error_of_ours(problem: BaseException | None, path: Path) -> FirstpullError:
    """The error of ours for a problem of SQLite, chosen by its result code (sqlite.org/rescode.html)."""
    where = str(path)
    code = getattr(problem, "sqlite_errorcode", 0) & 0xFF
    if not code and "decode" in str(problem):
        return _not_text(path)
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return BadInput(
            "Another program is writing to this record.", where=where, hint=f"Try again in a moment. {_SAFE_TO_RETRY}"
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM):
        return BadInput(
            "The record cannot be written to.", where=where, hint="Allow writing to the file and its folder."
        )
    if code == sqlite3.SQLITE_CANTOPEN:
        return BadInput(
            "The record or its journal cannot be opened.", where=where, hint="Check the folder and its permissions."
        )
    if code == sqlite3.SQLITE_NOTADB:
        return BadInput(
            "This is not a firstpull record.", where=where, hint="Choose another file, or restore a backup."
        )
    if code == sqlite3.SQLITE_CORRUPT:
        return RecordDamaged("The file is damaged.", where=where, hint="Restore a backup; keep this file.")
    if code == sqlite3.SQLITE_FULL:
        return FirstpullError(
            "The disk is full. Nothing was written.", where=where, hint=f"Make room. {_SAFE_TO_RETRY}"
        )
    if code == sqlite3.SQLITE_IOERR:
        return FirstpullError(
            "The disk did not do what was asked of it.", where=where, hint=f"Check the disk. {_SAFE_TO_RETRY}"
        )
    if code == sqlite3.SQLITE_CONSTRAINT:
        return RecordDamaged(f"The record refused a row: {problem}.", where=where, hint="Run verify.")
    return FirstpullError(f"SQLite refused: {problem}.", where=where, hint="Run verify.")


def _not_text(path: Path) -> RecordDamaged:
    return RecordDamaged(
        "The record holds text that is not Unicode.", where=str(path), hint="Run verify; restore a backup."
    )

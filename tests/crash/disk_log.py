"""A disk that remembers: every write, truncate, sync and delete of SQLite, so that the power can be cut anywhere.

The real Store runs on it: only the function that opens SQLite is exchanged, for one that opens the same SQLite through
apsw and a logging VFS. ``replay`` then builds the files as a disk may hold them after a cut: what was synced is
certain; each later write or truncate may have reached the disk, or not, or in part.
"""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import apsw

SECTOR_BYTES = 512


@dataclass(frozen=True, slots=True)
class Act:
    """One thing SQLite asked of the disk."""

    kind: str  # write, truncate, sync, delete
    name: str
    place: int = 0
    content: bytes = b""


@dataclass
class Log:
    """All acts in order."""

    acts: list[Act] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.acts)


class _File(apsw.VFSFile):
    def __init__(self, base: str, filename: object, flags: list[int], log: Log) -> None:
        name = filename.filename() if isinstance(filename, apsw.URIFilename) else filename
        self._name = Path(str(name)).name
        self._log = log
        super().__init__(base, filename, flags)

    def xWrite(self, data: bytes, offset: int) -> None:
        self._log.acts.append(Act("write", self._name, offset, bytes(data)))
        super().xWrite(data, offset)

    def xTruncate(self, size: int) -> None:
        self._log.acts.append(Act("truncate", self._name, size))
        super().xTruncate(size)

    def xSync(self, flags: int) -> None:
        super().xSync(flags)
        self._log.acts.append(Act("sync", self._name))


class LoggingDisk(apsw.VFS):
    """The default VFS with a log."""

    def __init__(self, log: Log) -> None:
        self._log = log
        super().__init__(f"logging-{id(log)}", "")
        self.vfs_name = f"logging-{id(log)}"

    def xOpen(self, name: object, flags: list[int]) -> _File:
        return _File("", name, flags, self._log)

    def xDelete(self, filename: str, sync_dir: bool) -> None:
        super().xDelete(filename, sync_dir)
        self._log.acts.append(Act("delete", Path(filename).name))


def connector(disk: LoggingDisk, *, settings: tuple[str, ...] = ()) -> Callable[[Path, int], object]:
    """What stands in for ``firstpull.store.connection.connect``; ``settings`` weaken the control modes."""

    def connect(path: Path, busy_timeout_ms: int) -> Driver:
        driver = Driver(apsw.Connection(str(path), vfs=disk.vfs_name), settings)
        driver.execute(f"PRAGMA busy_timeout={busy_timeout_ms}")
        return driver

    return connect


class Driver:
    """Enough of a sqlite3 connection over apsw for SQLAlchemy and the store."""

    isolation_level = None

    def __init__(self, connection: apsw.Connection, settings: tuple[str, ...]) -> None:
        self._connection = connection
        self._settings = settings

    def cursor(self) -> Cursor:
        return Cursor(self._connection, self._settings)

    def execute(self, sql: str) -> Cursor:
        return self.cursor().execute(sql)

    def create_function(self, *_: object, **__: object) -> None:
        """SQLAlchemy offers a regexp function that the store does not use."""

    def commit(self) -> None:
        if self._connection.in_transaction:
            self.execute("COMMIT")

    def rollback(self) -> None:
        if self._connection.in_transaction:
            self.execute("ROLLBACK")

    def close(self) -> None:
        self._connection.close()


class Cursor:
    """Enough of a sqlite3 cursor. A weakened setting is put in where the store asks for the strong one."""

    arraysize = 1
    lastrowid = 0
    rowcount = -1

    def __init__(self, connection: apsw.Connection, settings: tuple[str, ...]) -> None:
        self._connection = connection
        self._settings = settings
        self._rows: list[tuple[object, ...]] = []
        self.description: tuple[tuple[object, ...], ...] | None = None

    def execute(self, sql: str, parameters: object = ()) -> Cursor:
        for setting in self._settings:
            if sql.startswith(setting.split("=")[0] + "="):
                sql = setting
        try:
            cursor = self._connection.cursor()
            cursor.exec_trace = self._begin  # the columns of no rows are only known at the start
            self._rows = list(cursor.execute(sql, tuple(parameters)))
        except apsw.Error as problem:
            raise sqlite3.OperationalError(str(problem))
        return self

    def _begin(self, cursor: apsw.Cursor, _sql: str, _parameters: object) -> bool:
        self.description = tuple((*column, *[None] * 5)[:7] for column in cursor.get_description()) or None
        return True

    def executemany(self, sql: str, many: list[object]) -> Cursor:
        for parameters in many:
            self.execute(sql, parameters)
        return self

    def fetchone(self) -> tuple[object, ...] | None:
        return self._rows.pop(0) if self._rows else None

    def fetchall(self) -> list[tuple[object, ...]]:
        rows, self._rows = self._rows, []
        return rows

    def fetchmany(self, size: int = 1) -> list[tuple[object, ...]]:
        rows, self._rows = self._rows[:size], self._rows[size:]
        return rows

    def __iter__(self) -> Iterator[tuple[object, ...]]:
        return iter(self.fetchall())

    def close(self) -> None:
        self._rows = []


def replay(acts: list[Act], folder: Path, *, chance: random.Random) -> None:
    """Write into ``folder`` the files as the disk may hold them when the power goes after ``acts``."""
    certain = {act.name: number for number, act in enumerate(acts) if act.kind in ("sync", "delete")}
    files: dict[str, bytearray] = {}
    for number, act in enumerate(acts):
        unsure = number > certain.get(act.name, -1)
        drawn = chance.random() if unsure else 0.0
        if drawn < 0.5:
            torn = unsure and drawn < 0.1
            _do(act, files, sectors=chance.randrange(1 + len(act.content) // SECTOR_BYTES) if torn else None)
    for name, content in files.items():
        (folder / name).write_bytes(content)


def _do(act: Act, files: dict[str, bytearray], *, sectors: int | None) -> None:
    """Let ``act`` reach the files; of a torn write only the first ``sectors`` arrive."""
    if act.kind == "delete":
        files.pop(act.name, None)
        return
    content = files.setdefault(act.name, bytearray())
    if act.kind == "truncate":
        del content[act.place :]
    elif act.kind == "write":
        data = act.content if sectors is None else act.content[: SECTOR_BYTES * sectors]
        if data:
            content.extend(bytes(max(0, act.place + len(data) - len(content))))
            content[act.place : act.place + len(data)] = data

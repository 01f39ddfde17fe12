"""The projection behind lists and search: one row a stream, written with the events it sums up."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Collection, Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, Row, Select, delete, func, insert, select

from firstpull.errors import RecordDamaged
from firstpull.record.chain import canonical_json, plain_json
from firstpull.record.event import Event, stream_kind
from firstpull.store.results import Summary
from firstpull.store.rows import Summarise, events_after
from firstpull.store.schema import event_table, projection_table, summary_table

_NAME = "summary"
_NOT_KEPT = 0  # the version while rows may be missing, because events were added without a summarise


class Summaries:
    """Computes, writes and reads the summaries. Without ``summarise`` rows are only removed when they go stale."""

    def __init__(self, summarise: Summarise | None, *, version: int, bulky: Collection[str] = ()) -> None:
        self._summarise = summarise
        self._bulky = frozenset(bulky)
        self._version = version

    def passes_over(self, stream: str) -> bool:
        """Whether ``stream`` is of a kind that may be very long and has no summary."""
        return stream_kind(stream) in self._bulky

    def expected_row(self, events: tuple[Event, ...], *, number: int) -> dict[str, Any] | None:
        """The row that a stream with these events must have, or None for none."""
        if self._summarise is None:
            return None
        last = events[-1]
        found = self._summarise(last.stream, events)
        if found is None:
            return None
        data = plain_json(found, where=f"{last.stream}, summary")
        words = " ".join((last.stream, *_texts(data)))
        return {
            "stream": last.stream,
            "kind": stream_kind(last.stream),
            "last": last.sequence,
            "number": number,
            "words": fold_case(words),
            "data": canonical_json(data),
        }

    def write(self, connection: Connection, events: tuple[Event, ...], *, number: int) -> None:
        """Put the row of a stream that now has ``events``, the last of them being event ``number`` of the file."""
        if self.passes_over(events[-1].stream):
            return
        connection.execute(delete(summary_table).where(summary_table.c.stream == events[-1].stream))
        row = self.expected_row(events, number=number)
        if row is not None:
            connection.execute(insert(summary_table).values(row))
        if self._summarise is None:
            self._set_version(connection, _NOT_KEPT)

    def stale(self, connection: Connection) -> bool:
        """Whether the rows were written by another form of the summaries than this one."""
        return self._summarise is not None and self.version(connection) != self._version

    def checked(self, connection: Connection) -> bool:
        """Whether the rows can be compared with what this store would write."""
        return self._summarise is not None and self.version(connection) == self._version

    def rebuild(self, connection: Connection) -> None:
        """Make all rows again from the events."""
        connection.execute(delete(summary_table))
        columns = event_table.c
        ends = select(columns.stream, func.max(columns.number)).group_by(columns.stream)
        for stream, number in connection.execute(ends).all():
            if self.passes_over(stream):
                continue
            row = self.expected_row(events_after(connection, stream, 0), number=number)
            if row is not None:
                connection.execute(insert(summary_table).values(row))
        self._set_version(connection, self._version)

    def read(
        self, connection: Connection, *, kind: str, words: Sequence[str], limit: int | None = None
    ) -> tuple[Summary, ...]:
        """The rows of ``kind`` ("" for all) that hold every one of ``words``, the one last written to first; at most
        ``limit`` of them."""
        columns = summary_table.c
        query: Select[Any] = select(summary_table).order_by(columns.number.desc())
        if kind:
            query = query.where(columns.kind == kind)
        for word in words:
            query = query.where(func.instr(columns.words, fold_case(word)) > 0)
        if limit is not None:
            query = query.limit(limit)
        return tuple(map(_summary, connection.execute(query)))

    def read_one(self, connection: Connection, stream: str) -> Summary | None:
        """The row of ``stream``, or None."""
        row = connection.execute(select(summary_table).where(summary_table.c.stream == stream)).first()
        return None if row is None else _summary(row)

    def version(self, connection: Connection) -> int:
        """The version of the form by which the rows were written; 0 when they are not complete."""
        query = select(projection_table.c.version).where(projection_table.c.name == _NAME)
        return connection.execute(query).scalar() or _NOT_KEPT

    def forget(self, connection: Connection) -> None:
        """Have the rows made again when the file is next opened with a summarise."""
        self._set_version(connection, _NOT_KEPT)

    def _set_version(self, connection: Connection, version: int) -> None:
        if self.version(connection) == version:
            return
        connection.execute(delete(projection_table).where(projection_table.c.name == _NAME))
        connection.execute(insert(projection_table).values(name=_NAME, version=version))


def fold_case(text: str) -> str:
    """``text`` as it is compared in a search: compatible forms of characters made one, case put aside."""
    return unicodedata.normalize("NFKC", text).casefold()


def _summary(row: Row[Any]) -> Summary:
    found = row._mapping
    try:
        return Summary(found["stream"], found["kind"], found["last"], json.loads(found["data"]))
    except (ValueError, TypeError, RecursionError):
        raise RecordDamaged(
            "This summary cannot be read.", where=str(found["stream"]), hint="Run verify; restore a backup."
        )


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for item in value.values():
            yield from _texts(item)
    elif isinstance(value, list):
        for item in value:
            yield from _texts(item)
    elif isinstance(value, (str, int, float)) and not isinstance(value, bool):
        yield str(value)

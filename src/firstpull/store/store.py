"""The record on the disk: append, read, search; nothing is ever changed or removed."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, Self

from sqlalchemy import Connection, func, insert, select, text

from firstpull import __version__
from firstpull.errors import BadInput, FirstpullError, NotFound
from firstpull.record.chain import plain_json
from firstpull.record.event import Event, NewEvent, check_stream, seal, stream_kind
from firstpull.store.connection import Database
from firstpull.store.results import MovedOn, Problem, Restored, Summary, VerifyReport
from firstpull.store.rows import (
    Summarise,
    check_expected,
    event_from_row,
    events_after,
    head_of,
    last_of,
    page_after,
    row_of,
    stream_pages,
)
from firstpull.store.schema import event_table
from firstpull.store.summaries import Summaries

_WALK_EVENTS = 20
Guard = Callable[[tuple[Event, ...], tuple[Event, ...]], None]
Part = tuple[str, int, Sequence[NewEvent]]


class Store:
    """A record file at ``path``, made if it is not there (unless ``create`` is False).

    ``summarise(stream, events)`` gives the row shown in lists (a dict of JSON, or None for no row); it is called with
    all events of a stream inside each transaction that adds to it. ``summary_version`` is raised when what it computes
    changes: the rows are then made again when the file is opened. Streams of the kinds ``bulky`` may be very long: they
    are never read as a whole, have no summary, and a guard sees each of their new events alone. ``busy_timeout_ms`` is
    how long to wait for another program. Raises BadInput when the file cannot be used and RecordDamaged when it is damaged. Safe to use from
    several threads and several programs at once.
    """

    def __init__(
        self,
        path: str | os.PathLike[str],
        *,
        summarise: Summarise | None = None,
        summary_version: int = 1,
        bulky: Collection[str] = (),
        software: str = f"firstpull {__version__}",
        create: bool = True,
        busy_timeout_ms: int = 5000,
    ) -> None:
        self.path = Path(path)
        self._software = software
        self._database = Database(self.path, create=create, busy_timeout_ms=busy_timeout_ms)
        self._summaries = Summaries(summarise, version=summary_version, bulky=bulky)
        try:
            with self._database.reading() as connection:
                stale = self._summaries.stale(connection)
            if stale:
                with self._database.writing() as connection:
                    self._summaries.rebuild(connection)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Close the file. Everything acknowledged is already on the disk."""
        self._database.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def append(
        self,
        stream: str,
        expected: int,
        new_events: Sequence[NewEvent],
        *,
        at: str,
        by: str,
        guard: Guard | None = None,
    ) -> tuple[Event, ...]:
        """Add ``new_events`` after event ``expected`` (0 for a new stream) and return them once they are on the disk.

        The same client ids with the same content again write nothing and return what is stored. Raises MovedOn
        (a Conflict, with ``events``) when the stream has other events after ``expected`` or a client id stands for
        something else, BadInput for events that cannot be recorded, and whatever
        ``guard(events_so_far, new_events)`` raises inside the transaction; nothing is written then.
        """
        return self.append_many([(stream, expected, new_events)], at=at, by=by, guard=guard)

    def append_many(self, parts: Sequence[Part], *, at: str, by: str, guard: Guard | None = None) -> tuple[Event, ...]:
        """As :meth:`append` for several streams in one transaction: all is written or nothing.

        ``parts`` are (stream, expected, new events). A part without events only checks that its stream has not moved
        on. ``guard`` is called once for each part that has events.
        """
        _check_parts(parts)
        with self._database.writing() as connection:
            again = _sent_before(connection, parts, by)
            if again:
                return again
            plan = []
            for stream, expected, new_events in parts:
                whole = bool(new_events) and not self._summaries.passes_over(stream)
                before = events_after(connection, stream, 0) if whole else ()
                check_expected(connection, stream, expected)
                plan.append((before, self._seal(connection, stream, new_events, at=at, by=by)))
            for before, sealed in plan:
                if guard is not None and sealed:
                    guard(before, sealed)
            for before, sealed in plan:
                if sealed:
                    number = _insert(connection, sealed)
                    self._summaries.write(connection, before + sealed, number=number)
            return tuple(event for _, sealed in plan for event in sealed)

    def append_long(
        self,
        stream: str,
        expected: int,
        new_events: Iterable[NewEvent],
        *,
        at: str,
        by: str,
        guard: Guard | None = None,
    ) -> int:
        """Add very many events to a bulky stream as one act, each taken from ``new_events`` when its turn comes, and return
        how many once they are on the disk.

        All is written or nothing. Raises MovedOn when the stream has other events after ``expected`` or a client id is
        taken, BadInput for events that cannot be recorded or a stream that is not bulky, and what ``guard`` raises.
        """
        from firstpull.store.long_append import append_long

        if not self._summaries.passes_over(check_stream(stream)):
            raise BadInput(f"{stream} is not a long stream.", hint="Use append.")

        def sealed(new: NewEvent, sequence: int, previous: str) -> Event:
            return seal(new, stream=stream, sequence=sequence, at=at, by=by, software=self._software, previous=previous)

        return append_long(self._database, stream, expected, new_events=new_events, seal=sealed, guard=guard)

    def walk(self, stream: str, *, after: int = 0) -> Iterator[Event]:
        """The events of ``stream`` in order, a few at a time, without holding others up: for streams that may be long."""
        check_stream(stream)
        while True:
            with self._database.reading() as connection:
                events = stream_pages(connection, stream, after, count=_WALK_EVENTS)
            if not events:
                return
            after = events[-1].sequence
            yield from events

    def read(self, stream: str, *, after: int = 0) -> tuple[Event, ...]:
        """The events of ``stream`` in order, from the one after sequence ``after``; empty for an unknown stream."""
        with self._database.reading() as connection:
            return events_after(connection, check_stream(stream), after)

    def last(self, stream: str) -> int:
        """The sequence of the last event of ``stream``; 0 when there is none."""
        with self._database.reading() as connection:
            return last_of(connection, check_stream(stream))

    def streams(self, kind: str = "") -> tuple[str, ...]:
        """The names of all streams (of ``kind``, such as “job”) in the order in which they were begun."""
        # left to itself SQLite walks all events, and SQLAlchemy drops index hints for SQLite
        query = text("SELECT number, stream FROM event INDEXED BY event_first WHERE sequence = 1")
        with self._database.reading() as connection:
            first = sorted((row.number, row.stream) for row in connection.execute(query))
        return tuple(name for _, name in first if not kind or stream_kind(name) == kind)

    def summaries(self, kind: str = "", *, limit: int | None = None) -> tuple[Summary, ...]:
        """The summaries of all streams (of ``kind``), the one last written to first; at most ``limit`` of them."""
        with self._database.reading() as connection:
            return self._summaries.read(connection, kind=kind, words=(), limit=limit)

    def summary(self, stream: str) -> Summary | None:
        """The summary of ``stream``, or None."""
        with self._database.reading() as connection:
            return self._summaries.read_one(connection, check_stream(stream))

    def search(self, words: str, *, kind: str = "", limit: int | None = None) -> tuple[Summary, ...]:
        """The summaries that hold every word of ``words``, whatever its case, the one last written to first; at most
        ``limit`` of them. Raises BadInput for words that are no Unicode."""
        plain_json(words, where="search")
        with self._database.reading() as connection:
            return self._summaries.read(connection, kind=kind, words=words.split(), limit=limit)

    def all_events(self) -> Iterator[Event]:
        """Every event that is saved when the walk begins, in the order of saving, without holding others up."""
        columns = event_table.c
        with self._database.reading() as connection:
            end = connection.execute(select(func.max(columns.number))).scalar() or 0
        number = 0
        while number < end:
            with self._database.reading() as connection:
                rows = page_after(connection, number)
            if not rows:
                return
            number = rows[-1].number
            yield from (event_from_row(row) for row in rows if row.number <= end)

    def event_with_hash(self, start: str) -> Event:
        """The event whose hash begins with ``start`` (8 or more hexadecimal digits), as printed on a card.

        Raises NotFound when there is none: the record is then not the one that the card came from.
        """
        digits = start.strip().lower()
        if len(digits) < 8 or set(digits) - set("0123456789abcdef"):
            raise BadInput(
                f"“{start}” is not the start of a hash.", hint="Type at least the first 8 digits, 0–9 and a–f."
            )
        query = select(event_table).where(event_table.c.hash.startswith(digits)).order_by(event_table.c.number)
        with self._database.reading() as connection:
            row = connection.execute(query).first()
        if row is None:
            raise NotFound(
                f"No event of this record has a hash that begins with {digits}.",
                hint="Check the digits and which record this is.",
            )
        return event_from_row(row)

    def event_with_id(self, client_id: str) -> Event | None:
        """The event that was sent under ``client_id``, or None."""
        with self._database.reading() as connection:
            row = connection.execute(select(event_table).where(event_table.c.client_id == client_id)).first()
        return None if row is None else event_from_row(row)

    def import_events(
        self, events: Iterable[Event], *, place: Callable[[int], str] | None = None, guard: Guard | None = None
    ) -> int:
        """Add events that another record holds, as they are. Returns how many were new; all are added or none.

        Events that are here already are passed over. Raises RecordDamaged for a broken chain or a gap and MovedOn for
        other content in the place of an event that is here. ``place(position)`` names where the event at
        ``position`` (from 1) came from, for the error. ``guard`` is as for :meth:`append`, once for each stream that grew.
        """
        from firstpull.store.importing import add_events

        with self._database.writing() as connection:
            return add_events(connection, events, summaries=self._summaries, place=place, guard=guard)

    def verify(self) -> VerifyReport:
        """Walk everything: SQLite's own check, tables and triggers, every chain, every summary."""
        from firstpull.store.verifying import verify

        try:
            with self._database.reading() as connection:
                return verify(connection, summaries=self._summaries)
        except FirstpullError as problem:
            return VerifyReport(streams=0, events=0, problems=(Problem("", 0, str(problem)),))

    def backup(self, target: str | os.PathLike[str]) -> VerifyReport:
        """Write a consistent copy to ``target``, verified before it gets that name. See :mod:`firstpull.store.copies`."""
        from firstpull.store.copies import backup

        return backup(self._database, Path(target), summaries=self._summaries)

    @staticmethod
    def restore(source: str | os.PathLike[str], target: str | os.PathLike[str]) -> Restored:
        """Put the verified backup ``source`` in place as ``target``; a file already there is kept beside it."""
        from firstpull.store.copies import restore

        return restore(Path(source), Path(target))

    def _seal(
        self, connection: Connection, stream: str, new_events: Sequence[NewEvent], *, at: str, by: str
    ) -> tuple[Event, ...]:
        last, previous = head_of(connection, stream)
        sealed: list[Event] = []
        for sequence, new in enumerate(new_events, last + 1):
            event = seal(
                new, stream=stream, sequence=sequence, at=at, by=by, software=self._software, previous=previous
            )
            sealed.append(event)
            previous = event.hash
        return tuple(sealed)


def _check_parts(parts: Sequence[Part]) -> None:
    streams = [check_stream(stream) for stream, _, _ in parts]
    if len(set(streams)) != len(streams):
        raise BadInput("A stream stands twice in one transaction.", hint="Put its events in one part.")
    ids = [new.client_id for _, _, new_events in parts for new in new_events]
    if not ids:
        raise BadInput("There is nothing to record.", hint="Give at least one event.")
    if len(set(ids)) != len(ids):
        raise BadInput("A client id stands twice in one transaction.", hint="Make one id for each event.")


def _sent_before(connection: Connection, parts: Sequence[Part], by: str) -> tuple[Event, ...]:
    """The stored events if all of this was sent before; empty if none was. Raises MovedOn for anything between."""
    found: list[Event] = []
    fresh = 0
    for stream, _, new_events in parts:
        for new in new_events:
            row = connection.execute(select(event_table).where(event_table.c.client_id == new.client_id)).first()
            if row is None:
                fresh += 1
                continue
            event = event_from_row(row)
            if event.stream != stream or not event.says_the_same(new, by=by):
                raise MovedOn(
                    f"The id {new.client_id} already stands for something else ({event.type}).",
                    where=f"{event.stream} event {event.sequence}",
                    hint="Send what is new under a new id. Nothing was written.",
                    events=(event,),
                    stream=event.stream,
                )
            found.append(event)
    if found and fresh:
        raise MovedOn(
            "Part of this was recorded before and part of it was not.",
            where=found[0].stream,
            hint="Read the record again and send what is new under new ids. Nothing was written.",
            events=tuple(found),
            stream=found[0].stream,
        )
    return tuple(found)


def _insert(connection: Connection, sealed: Iterable[Event]) -> int:
    """Add rows and return the number of the last."""
    number: int = connection.execute(select(func.max(event_table.c.number))).scalar() or 0
    rows: list[dict[str, Any]] = [row_of(event, number=number + index) for index, event in enumerate(sealed, 1)]
    connection.execute(insert(event_table), rows)
    return number + len(rows)

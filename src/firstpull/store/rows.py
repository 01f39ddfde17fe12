"""Between rows of the table and events."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from typing import Any

from sqlalchemy import Connection, Row, func, select

from firstpull.errors import BadInput, RecordDamaged
from firstpull.record.chain import canonical_json
from firstpull.record.event import FIELDS, Event
from firstpull.store.results import MovedOn
from firstpull.store.schema import event_table

Summarise = Callable[[str, tuple[Event, ...]], dict[str, Any] | None]
_COUNTS = ("sequence", "version")
_PAGE_EVENTS = 200


def row_of(event: Event, *, number: int) -> dict[str, Any]:
    """The row of ``event`` as event ``number`` of the file."""
    return {**event.to_json(), "data": canonical_json(event.data), "number": number}


def event_from_row(row: Row[Any]) -> Event:
    """The event of a row. Raises RecordDamaged when a field is not of its type or the data is not a JSON object.

    SQLite holds to the types of a STRICT table when writing, not when it reads a page that was damaged since. Hashes
    are checked by verify.
    """
    fields = {name: row._mapping[name] for name in FIELDS}
    good = all(type(value) is (int if name in _COUNTS else str) for name, value in fields.items())
    try:
        data = json.loads(fields["data"]) if good else None
    except (ValueError, RecursionError):
        data = None
    if not isinstance(data, dict):
        raise RecordDamaged(
            "This event cannot be read.",
            where=f"{fields['stream']} event {fields['sequence']}",
            hint="Run verify; restore a backup.",
        )
    return Event(**{**fields, "data": data})


def events_after(connection: Connection, stream: str, after: int) -> tuple[Event, ...]:
    """The events of ``stream`` with a sequence over ``after``, in order."""
    columns = event_table.c
    query = select(event_table).where(columns.stream == stream, columns.sequence > after).order_by(columns.sequence)
    return tuple(map(event_from_row, connection.execute(query)))


def last_of(connection: Connection, stream: str) -> int:
    """The last sequence of ``stream``; 0 when it has no event."""
    columns = event_table.c
    return connection.execute(select(func.max(columns.sequence)).where(columns.stream == stream)).scalar() or 0


def head_of(connection: Connection, stream: str) -> tuple[int, str]:
    """The last sequence of ``stream`` and its hash; 0 and "" when it has no event."""
    columns = event_table.c
    query = select(columns.sequence, columns.hash).where(columns.stream == stream).order_by(columns.sequence.desc())
    row = connection.execute(query.limit(1)).first()
    return (0, "") if row is None else (row[0], row[1])


def check_expected(connection: Connection, stream: str, expected: int) -> None:
    """Raises MovedOn, with what came since, when ``expected`` is not the last event of ``stream``; BadInput beyond it."""
    last = last_of(connection, stream)
    if expected == last:
        return
    if expected > last or expected < 0:
        raise BadInput(f"{stream} has {last} events, not {expected}.", where=stream, hint="Read it again.")
    raise MovedOn(
        f"Since this was shown, {last - expected} more happened.",
        where=stream,
        hint="Look at what is new, then send it again. Nothing was written.",
        events=events_after(connection, stream, expected),
        stream=stream,
    )


def stream_pages(connection: Connection, stream: str, after: int, *, count: int) -> tuple[Event, ...]:
    """The next events of ``stream`` after sequence ``after``, at most ``count``."""
    columns = event_table.c
    query = select(event_table).where(columns.stream == stream, columns.sequence > after).order_by(columns.sequence)
    return tuple(map(event_from_row, connection.execute(query.limit(count))))


def page_after(connection: Connection, number: int) -> Sequence[Row[Any]]:
    """The next rows after event ``number`` of the file, at most 200, in the order of saving; empty at the end.

    Raises RecordDamaged when the numbers do not rise, as in a damaged page: a walk by pages would never end.
    """
    columns = event_table.c
    query = select(event_table).where(columns.number > number).order_by(columns.number).limit(_PAGE_EVENTS)
    rows = connection.execute(query).all()
    for row in rows:
        if not isinstance(row.number, int) or row.number <= number:
            raise RecordDamaged(
                "The events are out of order in the file.",
                where=f"after event {number} of the file",
                hint="Restore a backup.",
            )
        number = row.number
    return rows

"""Between rows of the table and events."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from sqlalchemy import Connection, Row, func, select

from firstpull.errors import RecordDamaged
from firstpull.record.chain import canonical_json
from firstpull.record.event import FIELDS, Event
from firstpull.store.schema import event_table

Summarise = Callable[[str, tuple[Event, ...]], dict[str, Any] | None]


def row_of(event: Event, *, number: int) -> dict[str, Any]:
    """The row of ``event`` as event ``number`` of the file."""
    return {**event.to_json(), "data": canonical_json(event.data), "number": number}


def event_from_row(row: Row[Any]) -> Event:
    """The event of a row. Raises RecordDamaged when its data is not JSON; hashes are checked by verify."""
    fields = row._mapping
    try:
        data = json.loads(fields["data"])
    except (ValueError, RecursionError):
        raise RecordDamaged(
            "The data of this event cannot be read.",
            where=f"{fields['stream']} event {fields['sequence']}",
            hint="Run verify; restore a backup.",
        )
    return Event(**{name: data if name == "data" else fields[name] for name in FIELDS})


def events_after(connection: Connection, stream: str, after: int) -> tuple[Event, ...]:
    """The events of ``stream`` with a sequence over ``after``, in order."""
    columns = event_table.c
    query = select(event_table).where(columns.stream == stream, columns.sequence > after).order_by(columns.sequence)
    return tuple(map(event_from_row, connection.execute(query)))


def last_of(connection: Connection, stream: str) -> int:
    """The last sequence of ``stream``; 0 when it has no event."""
    columns = event_table.c
    return connection.execute(select(func.max(columns.sequence)).where(columns.stream == stream)).scalar() or 0

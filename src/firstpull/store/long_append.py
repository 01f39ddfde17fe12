"""Adding very many events as one act, without holding them all in memory or the file for long.

They are sealed one by one into a spool file first; only then does the transaction begin, which checks that the stream
has not moved on and copies them in.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Iterable
from itertools import islice
from typing import IO, Any

from sqlalchemy import Connection, func, insert, select

from firstpull.errors import BadInput
from firstpull.record.chain import canonical_json
from firstpull.record.event import Event, NewEvent
from firstpull.store.connection import Database
from firstpull.store.results import MovedOn
from firstpull.store.rows import check_expected, head_of
from firstpull.store.schema import event_table

_ROWS_AT_ONCE = 8
Seal = Callable[[NewEvent, int, str], Event]
Guard = Callable[[tuple[Event, ...], tuple[Event, ...]], None]


def append_long(
    database: Database, stream: str, expected: int, *, new_events: Iterable[NewEvent], seal: Seal, guard: Guard | None
) -> int:
    """Add ``new_events`` after event ``expected``; see :meth:`firstpull.store.Store.append_long`."""
    with database.reading() as connection:
        check_expected(connection, stream, expected)
        _last, previous = head_of(connection, stream)
    with tempfile.TemporaryFile("w+", encoding="utf-8", dir=database.path.parent) as spool:
        count = 0
        for sequence, new in enumerate(new_events, expected + 1):
            event = seal(new, sequence, previous)
            if guard is not None:
                guard((), (event,))
            spool.write(json.dumps({**event.to_json(), "data": canonical_json(event.data)}) + "\n")
            previous = event.hash
            count += 1
        if count == 0:
            raise BadInput("There is nothing to record.", hint="Give at least one event.")
        with database.writing() as connection:
            check_expected(connection, stream, expected)
            _copy(connection, spool)
    return count


def _copy(connection: Connection, spool: IO[str]) -> None:
    number: int = connection.execute(select(func.max(event_table.c.number))).scalar() or 0
    spool.seek(0)
    rows = (json.loads(line) for line in spool)
    while some := list(islice(rows, _ROWS_AT_ONCE)):
        for row in some:
            number += 1
            row["number"] = number
            _check_id(connection, row)
        connection.execute(insert(event_table), some)


def _check_id(connection: Connection, row: dict[str, Any]) -> None:
    columns = event_table.c
    query = select(columns.type, columns.stream, columns.sequence).where(columns.client_id == row["client_id"])
    found = connection.execute(query).first()
    if found is not None:
        raise MovedOn(
            f"The id {row['client_id']} already stands for something else ({found.type}).",
            where=f"{found.stream} event {found.sequence}",
            hint="Send what is new under a new id. Nothing was written.",
            events=(),
            stream=str(row["stream"]),
        )

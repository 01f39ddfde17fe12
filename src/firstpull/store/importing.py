"""Taking in events of another copy of the record, unchanged."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from sqlalchemy import Connection, func, insert, select

from firstpull.errors import FirstpullError, RecordDamaged
from firstpull.record.event import Event, event_from_json
from firstpull.store.results import MovedOn
from firstpull.store.rows import event_from_row, events_after, head_of, row_of, stream_pages
from firstpull.store.schema import event_table
from firstpull.store.summaries import Summaries

Guard = Callable[[tuple[Event, ...], tuple[Event, ...]], None]


def add_events(
    connection: Connection,
    events: Iterable[Event],
    *,
    summaries: Summaries,
    place: Callable[[int], str] | None,
    guard: Guard | None = None,
) -> int:
    """Add what is new of ``events`` in the transaction of ``connection``; see :meth:`Store.import_events`."""
    heads: dict[str, tuple[int, str]] = {}
    heads_before: dict[str, int] = {}
    grown: dict[str, int] = {}
    places: dict[str, list[str]] = {}
    start: int = connection.execute(select(func.max(event_table.c.number))).scalar() or 0
    number = start
    for position, given in enumerate(events, 1):
        where = place(position) if place else f"{given.stream} event {given.sequence}"
        event = event_from_json(given.to_json(), where=where)
        if event.stream not in heads:
            heads[event.stream] = head_of(connection, event.stream)
            heads_before[event.stream] = heads[event.stream][0]
        last, last_hash = heads[event.stream]
        if event.sequence <= last:
            _check_same(connection, event, where)
            continue
        if event.sequence != last + 1 or event.previous != last_hash:
            gap = event.sequence != last + 1
            raise RecordDamaged(
                f"{event.stream} has a gap: event {last + 1} is missing before event {event.sequence}."
                if gap
                else f"{event.stream} event {event.sequence} does not follow from event {last}: the chain is broken.",
                where=where,
                hint="Nothing was imported. Export the whole record again.",
            )
        _check_id(connection, event, where)
        number += 1
        connection.execute(insert(event_table), row_of(event, number=number))
        heads[event.stream] = (event.sequence, event.hash)
        grown[event.stream] = number
        places.setdefault(event.stream, []).append(where)
    for stream, last_number in grown.items():
        if summaries.passes_over(stream):
            _guard_each(connection, stream, after=heads_before[stream], guard=guard, places=places[stream])
            continue
        whole = events_after(connection, stream, 0)
        if guard is not None:
            known = heads_before[stream]
            _guarded(guard, whole[:known], whole[known:], places[stream])
        summaries.write(connection, whole, number=last_number)
    return number - start


def _guard_each(connection: Connection, stream: str, *, after: int, guard: Guard | None, places: list[str]) -> None:
    """Call ``guard`` for each new event of a stream that is never read as a whole."""
    for place in places if guard is not None else ():
        (event,) = stream_pages(connection, stream, after, count=1)
        after = event.sequence
        try:
            guard((), (event,))  # type: ignore[misc]
        except FirstpullError as refused:
            raise refused.at(place) from None


def _guarded(guard: Guard, before: tuple[Event, ...], new: tuple[Event, ...], places: list[str]) -> None:
    """Call ``guard``; what it refuses is said of the place of the first event that it refuses."""
    try:
        guard(before, new)
    except FirstpullError:
        good, bad = 0, len(new)
        while bad - good > 1:  # the shortest beginning that is refused ends with the event that is wrong
            middle = (good + bad) // 2
            try:
                guard(before, new[:middle])
                good = middle
            except FirstpullError:
                bad = middle
        try:
            guard(before, new[:bad])
        except FirstpullError as refused:
            raise refused.at(places[bad - 1]) from None
        raise


def _check_same(connection: Connection, event: Event, where: str) -> None:
    columns = event_table.c
    query = select(event_table).where(columns.stream == event.stream, columns.sequence == event.sequence)
    here = event_from_row(connection.execute(query).one())
    if here.hash != event.hash:
        raise MovedOn(
            f"{event.stream} event {event.sequence} is another one here ({here.type}, {here.at}, {here.by}).",
            where=where,
            hint="Nothing was imported. The two records went separate ways; keep both files.",
            events=(here,),
            stream=event.stream,
        )


def _check_id(connection: Connection, event: Event, where: str) -> None:
    row = connection.execute(select(event_table).where(event_table.c.client_id == event.client_id)).first()
    if row is not None:
        here = event_from_row(row)
        raise MovedOn(
            f"The id {event.client_id} already stands for {here.stream} event {here.sequence}.",
            where=where,
            hint="Nothing was imported. An id stands for one event only.",
            events=(here,),
            stream=here.stream,
        )

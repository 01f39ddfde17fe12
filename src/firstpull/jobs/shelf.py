"""The catalogue's inserts, read from its events: a shelf that may hold very many."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from threading import Lock
from typing import Any

from firstpull.errors import FirstpullError, RecordDamaged
from firstpull.exchange.catalogue_lots import Lot, TableTexts, lot_of
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.shelf import Shelf, ShelfBuilder
from firstpull.record.event import Event
from firstpull.store import Store
from firstpull.store.shelf_file import Kept, load, save

KEPT_FROM_ROWS = 20_000


def add_event(builder: ShelfBuilder, event: Event, *, tables: TableTexts) -> None:
    """Do to the shelf what an event of the catalogue says. Raises RecordDamaged for one that can not be read."""
    for lot in lots_of(event, tables=tables):
        builder.add(lot.parts, lot.columns)
    if event.type == "InsertRetired":
        builder.retire(event.data["part"])


def lots_of(event: Event, *, tables: TableTexts) -> Iterable[Lot]:
    """The rows that an event brought. Raises RecordDamaged when they can not be read."""
    try:
        if event.type == "CatalogueImported":
            return [lot_of(Insert.from_json(row) for row in event.data["inserts"])]
        if event.type == "CatalogueTableImported":
            return list(tables.lots(event.data["table"]))
    except FirstpullError as problem:
        raise RecordDamaged(problem.what, where=f"{event.stream} {event.sequence}", hint="Restore a backup.")
    return []


def row_of(event: Event, part: str) -> dict[str, Any] | None:
    """The row that an event brought for ``part``, as it is kept in a job, or None."""
    if event.type == "CatalogueImported":
        rows = [row for row in event.data["inserts"] if row.get("part") == part]
        return rows[-1] if rows else None
    if event.type == "CatalogueTableImported" and part in event.data["table"]:
        for lot in lots_of(event, tables=TableTexts()):
            if part in lot.parts:
                return lot.insert(lot.parts.index(part)).to_json()
    return None


class ShelfOfBook:
    """The shelf of one record, made again when its catalogue grew. A large one is kept in a file beside the record."""

    def __init__(self, store: Store, stream: str, *, kept: Path) -> None:
        self._store = store
        self._stream = stream
        self._file = kept
        self._lock = Lock()
        self._held: Kept | None = None

    def shelf(self) -> Shelf:
        """The shelf as the record stands now. Raises RecordDamaged."""
        with self._lock:
            last = self._store.last(self._stream)
            if self._held is None or self._held.sequence != last:
                self._held = self._made()
            return self._held.shelf

    def _made(self) -> Kept:
        start = self._held or self._from_file() or Kept(Shelf.of(()), 0, "")
        builder: ShelfBuilder | None = None
        tables, last = TableTexts(), start
        for event in self._store.walk(self._stream, after=start.sequence):
            builder = builder or ShelfBuilder.continuing(start.shelf)
            add_event(builder, event, tables=tables)
            last = Kept(start.shelf, event.sequence, event.hash)
        if builder is None:
            return start
        made = Kept(builder.shelf(), last.sequence, last.hash)
        if len(made.shelf) >= KEPT_FROM_ROWS:
            save(made, self._file)
        return made

    def _from_file(self) -> Kept | None:
        """What is kept, if it was made from this record."""
        found = load(self._file)
        if found is None:
            return None
        event = next(self._store.walk(self._stream, after=found.sequence - 1), None)
        return found if event is not None and event.hash == found.hash else None

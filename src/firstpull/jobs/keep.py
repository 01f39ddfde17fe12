"""Keep: bring another record's events in, under the same rules as everything else."""

from __future__ import annotations

from collections.abc import Iterable

from firstpull.exchange.record_lines import line_of_event, read_lines
from firstpull.jobs.workshop import Book, guard


def import_lines(book: Book, lines: Iterable[str]) -> int:
    """Add the events of an export that are not here yet; returns how many. All or nothing. Raises BadInput with the
    line, RecordDamaged for a broken chain, Conflict for other content, Unsafe for what the rules refuse."""
    return book.store.import_events(
        read_lines(lines), place=lambda position: f"line {line_of_event(position)}", guard=guard
    )

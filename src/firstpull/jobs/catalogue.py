"""The catalogue: preview a file of inserts, take its good rows with history, write it out again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import islice

from firstpull.errors import BadInput, NotFound
from firstpull.exchange.catalogue_lots import LOT_ROWS, batches, heading_line, lines_of, lot_of, lot_of_shelf
from firstpull.exchange.catalogue_table import Changes, Preview, compare, preview
from firstpull.jobs.shelf import row_of
from firstpull.jobs.workshop import CATALOGUE, Book, Doing, Planned
from firstpull.mechanics.insert import Insert, check_insert
from firstpull.units import LengthUnit

ROWS_AN_EVENT = 2000  # an event of the record is limited in size; a large file is several events of one act


@dataclass(frozen=True, slots=True)
class Proposal:
    """What a file would do to the catalogue: its reading, and the difference to what is there."""

    preview: Preview
    changes: Changes


def propose(
    book: Book,
    data: bytes,
    *,
    filename: str,
    unit: LengthUnit | None = None,
    unit_by_column: Mapping[str, str] | None = None,
) -> Proposal:
    """Read a CSV or XLSX file of inserts and say what would change. Writes nothing. Raises BadInput for a file that is
    no table of inserts; bad rows are listed in the preview."""
    read = preview(data, filename=filename, unit=unit, unit_by_column=unit_by_column)
    shelf = book.inserts()
    there = [shelf[insert.part] for insert in read.rows if insert.part in shelf]
    return Proposal(read, compare(there, read.rows))


def take(book: Book, proposal: Proposal, *, filename: str, doing: Doing) -> int:
    """Take the good rows of a proposal: added and changed ones, in one act. Returns how many. Raises BadInput."""
    parts = {insert.part for insert in proposal.changes.added} | {change.part for change in proposal.changes.changed}
    rows = [insert for insert in proposal.preview.rows if insert.part in parts]
    if not rows:
        if not proposal.preview.rows:
            raise BadInput(
                "There is no good row in this file.", where=filename, hint="See the problems listed beside it."
            )
        return 0
    added = {insert.part for insert in proposal.changes.added}
    lines = ((line, insert.part in added) for line, insert in zip(lines_of(lot_of(rows)), rows, strict=True))
    events = table_events(lines, source=filename, left_out=len(proposal.preview.problems))
    return len(rows) if book.write_long(CATALOGUE, events, doing) else 0


def table_events(lines: Iterable[tuple[str, bool]], *, source: str, left_out: int) -> Iterator[Planned]:
    """Events that bring ``lines`` of CSV, each with whether it is new, some thousand in one event."""
    lines = iter(lines)
    while some := list(islice(lines, ROWS_AN_EVENT)):
        added = sum(new for _line, new in some)
        data = {
            "source": source,
            "table": "\n".join((heading_line(), *(line for line, _new in some))),
            "rows": len(some),
            "added": added,
            "changed": len(some) - added,
            "left_out": left_out,
        }
        yield ("CatalogueTableImported", data)


def add_measured(book: Book, insert: Insert, *, doing: Doing) -> None:
    """Add one insert that was measured here as a row of the catalogue. Raises BadInput."""
    book.write(CATALOGUE, [measured_event(book, insert)], doing)


def measured_event(book: Book, insert: Insert) -> Planned:
    """The row of an insert that was measured here. Raises BadInput without a name, or for what can not be."""
    if not insert.part:
        raise BadInput(
            "Give the insert a name to find it again.", where="part", hint="For example “M6 from the blue box”."
        )
    check_insert(insert)
    known = insert.part in book.inserts()
    data = {
        "source": "measured here",
        "inserts": [insert.to_json()],
        "added": [] if known else [insert.part],
        "changed": [insert.part] if known else [],
    }
    return ("CatalogueImported", data)


def retire(book: Book, part: str, *, reason: str, doing: Doing) -> None:
    """Take a part out of the catalogue, with a reason; its history and the jobs that used it stay."""
    if part not in book.inserts():
        raise NotFound(f"The catalogue has no part “{part}”.", where="part")
    if not reason.strip():
        raise BadInput("Why is it taken out?", where="reason", hint="For example “no longer bought”.")
    book.write(CATALOGUE, [("InsertRetired", {"part": part, "reason": reason.strip()})], doing)


def history(book: Book, part: str) -> list[dict[str, object]]:
    """How a row came to be as it is: each import that touched it, newest last."""
    found: list[dict[str, object]] = []
    for event in book.store.walk(CATALOGUE):
        row = row_of(event, part)
        if row is not None:
            found.append({"at": event.at, "by": event.by, "source": event.data["source"], "row": row})
        elif event.type == "InsertRetired" and event.data["part"] == part:
            found.append({"at": event.at, "by": event.by, "source": f"taken out: {event.data['reason']}", "row": None})
    return found


def csv_lines(book: Book) -> Iterator[str]:
    """The whole catalogue as CSV, with the text of each value as it was typed: the heading, then some rows at a time."""
    shelf = book.inserts()
    yield heading_line() + "\r\n"
    for rows in batches(shelf.rows_in_order(), LOT_ROWS):
        yield "".join(f"{line}\r\n" for line in lines_of(lot_of_shelf(shelf, rows)))


def search_inserts(book: Book, words: str, *, most: int | None = None) -> tuple[list[Insert], int]:
    """The inserts whose row holds every one of ``words``, at most ``most`` of them, and how many there are."""
    shelf = book.inserts()
    rows = shelf.search(words)
    return list(shelf.inserts(rows if most is None else rows[:most])), len(rows)

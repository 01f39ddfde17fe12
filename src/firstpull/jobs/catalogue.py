"""The catalogue: preview a file of inserts, take its good rows with history, write it out again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from firstpull.errors import BadInput, NotFound
from firstpull.exchange.catalogue_table import Changes, Preview, compare, preview, write_csv
from firstpull.jobs.workshop import CATALOGUE, Book, Doing, Planned
from firstpull.mechanics.insert import Insert, check_insert
from firstpull.units import LengthUnit

ROWS_AN_EVENT = 1000  # an event of the record is limited in size; a large file is several events of one act


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
    return Proposal(read, compare(list(book.inserts().values()), read.rows))


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
    planned = [
        (
            "CatalogueImported",
            {
                "source": filename,
                "inserts": [insert.to_json() for insert in some],
                "added": sorted(insert.part for insert in some if insert.part in added),
                "changed": sorted(insert.part for insert in some if insert.part not in added),
                "left_out": len(proposal.preview.problems),
            },
        )
        for some in (rows[start : start + ROWS_AN_EVENT] for start in range(0, len(rows), ROWS_AN_EVENT))
    ]
    book.write(CATALOGUE, planned, doing)
    return len(rows)


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
    for event in book.store.read(CATALOGUE):
        rows = [row for row in event.data.get("inserts", ()) if row.get("part") == part]
        if rows:
            found.append({"at": event.at, "by": event.by, "source": event.data["source"], "row": rows[-1]})
        elif event.type == "InsertRetired" and event.data["part"] == part:
            found.append({"at": event.at, "by": event.by, "source": f"taken out: {event.data['reason']}", "row": None})
    return found


def as_csv(book: Book) -> str:
    """The whole catalogue as CSV, with the text of each value as it was typed."""
    return write_csv(list(book.inserts().values()))

"""The whole record as JSON Lines: one event a line in canonical JSON (RFC 8785), nothing lost, nothing added.

The first line names the form, the last one counts the events and holds the SHA-256 of the lines between, each with
its line feed, so that a file cut short at the end of a line is noticed too. Since every event has one canonical
form, exporting an imported record gives the same bytes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator

from firstpull.errors import BadInput
from firstpull.record.chain import LARGEST_DATA_BYTES, canonical_json, read_json
from firstpull.record.event import Event, event_from_json

SCHEMA = "firstpull/record/1"
_HEAD = canonical_json({"schema": SCHEMA})
_LONGEST_LINE = LARGEST_DATA_BYTES + 8192


def export_lines(events: Iterable[Event]) -> Iterator[str]:
    """The lines of an export of ``events``, each ending in a line feed. Write them as UTF-8 with newline=""."""
    yield _HEAD + "\n"
    digest = hashlib.sha256()
    count = 0
    for event in events:
        line = canonical_json(event.to_json()) + "\n"
        digest.update(line.encode())
        count += 1
        yield line
    yield canonical_json({"events": count, "sha256": digest.hexdigest()}) + "\n"


def read_lines(lines: Iterable[str]) -> Iterator[Event]:
    """The events of an export, in order. ``lines`` is an open text file or any lines of text.

    Each event's form and hash are checked here; how the chains fit together is checked where they are added. The end of
    the file is checked when the last event has been taken, so add nothing for good before the walk is over. Raises
    BadInput or RecordDamaged, naming the line.
    """
    digest = hashlib.sha256()
    count = 0
    number = 0
    ended = False
    for number, line in enumerate(_decoded(lines), 1):
        where = f"line {number}"
        text = line.removesuffix("\n").removesuffix("\r")
        if ended:
            raise BadInput(
                "There is more after the last line of the export.", where=where, hint="Import one export at a time."
            )
        if len(text) > _LONGEST_LINE:
            raise BadInput("The line is too long for an event.", where=where, hint="Use the file as it was exported.")
        if number == 1:
            _check_head(text, where)
            continue
        found = read_json(text, where=where)
        if isinstance(found, dict) and set(found) == {"events", "sha256"}:
            _check_end(found, count, digest.hexdigest(), where=where)
            ended = True
            continue
        event = event_from_json(found, where=where)
        if canonical_json(event.to_json()) != text:
            raise BadInput(
                "The line is not in canonical form: it was edited.",
                where=where,
                hint="Use the file as it was exported.",
            )
        digest.update(text.encode() + b"\n")
        count += 1
        yield event
    if not ended:
        raise BadInput("The file ends early.", where=f"after line {number}", hint="Copy or export it again.")


def line_of_event(position: int) -> str:
    """Where the event at ``position`` (from 1) of an export stands, for errors: “line 2” for the first."""
    return f"line {position + 1}"


def _decoded(lines: Iterable[str]) -> Iterator[str]:
    try:
        yield from lines
    except UnicodeDecodeError:
        raise BadInput("The file is not UTF-8 text.", hint="Use the file as it was exported.")


def _check_head(text: str, where: str) -> None:
    if text != _HEAD:
        raise BadInput("This is not an export of a record.", where=where, hint=f"The first line is {_HEAD}")


def _check_end(found: dict[str, object], count: int, digest: str, *, where: str) -> None:
    if found["events"] != count:
        raise BadInput(
            f"The file holds {count} events, but says {found['events']}.", where=where, hint="Export it again."
        )
    if found["sha256"] != digest:
        raise BadInput("The lines are not those that were exported.", where=where, hint="Export it again.")

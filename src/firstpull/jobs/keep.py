"""Keep: bring another record's events in, under the same rules as everything else."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path

from firstpull.errors import BadInput, FirstpullError, RecordDamaged
from firstpull.exchange.catalogue_lots import TableTexts
from firstpull.exchange.record_lines import line_of_event, read_lines
from firstpull.jobs.answers import job_answer
from firstpull.jobs.prove import plan_of, verdict_of
from firstpull.jobs.shapes import allowance_from_json, insert_of, stack_of, tool_of, window_from_json
from firstpull.jobs.shelf import lots_of
from firstpull.jobs.workshop import Book, guard
from firstpull.mechanics.tool import Tool
from firstpull.record.event import Event
from firstpull.record.job import JobState, fold_job
from firstpull.record.things import fold_gauge, fold_tool
from firstpull.store import Restored, Store


def import_lines(book: Book, lines: Iterable[str]) -> int:
    """Add the events of an export that are not here yet; returns how many. All or nothing. Raises BadInput with the
    line, RecordDamaged for a broken chain, Conflict for other content, Unsafe for what the rules refuse."""

    def check(before: Sequence[Event], new: Sequence[Event]) -> None:
        guard(before, new)
        _check_book(book, new)
        _check_readable([*before, *new])

    return book.store.import_events(read_lines(lines), place=line_of_event, guard=check)


def restore(source: Path, folder: Path, *, practice: bool) -> tuple[Path, Restored]:
    """Put the backup ``source`` in place as the workshop's record in ``folder``, or as its practice book; the file that
    was there is kept beside it. The backup is verified first, and a practice book never becomes the record.

    Returns the file in place and what was restored. Raises BadInput, RecordDamaged; then nothing was changed.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder) as place:
            copy = Path(place) / "copy.sqlite"
            Store.restore(source, copy)
            _check_restored(copy, source=source, practice=practice)
            target = folder / ("practice.sqlite" if practice else "record.sqlite")
            return target, Store.restore(copy, target)
    except OSError as problem:
        raise BadInput(
            f"The backup can not be put in place: {problem.strerror}.", where=str(folder), hint="Check the data folder."
        )


def _check_restored(copy: Path, *, source: Path, practice: bool) -> None:
    with Store(copy, create=False) as store:
        opened = [store.read(stream)[0] for stream in store.streams("job")]
    wrong = [event for event in opened if (event.data.get("practice") is not None) != practice]
    if wrong:
        kind = "the workshop’s record" if practice else "a practice book"
        hint = "Leave --practice out." if practice else "Restore it with --practice."
        raise BadInput(f"This is a backup of {kind}.", where=str(source), hint=hint)


def _check_book(book: Book, new: Sequence[Event]) -> None:
    """Practice stays out of the workshop's own record."""
    for event in new:
        if event.type == "JobOpened" and event.data.get("practice") is not None and not book.practice:
            raise BadInput(
                "This is a practice job; it does not belong in the workshop’s record.",
                where=f"{event.stream} {event.sequence}",
                hint="Import it with --practice.",
            )


def _check_readable(events: Sequence[Event]) -> None:
    """What these events add up to must be what the verbs and the pages can work with: they come from elsewhere."""
    stream = events[-1].stream
    try:
        _read_all(stream.partition(":")[0], events)
    except FirstpullError as problem:
        raise problem.at(stream)
    except (LookupError, TypeError, ValueError, AttributeError, ArithmeticError) as problem:
        raise RecordDamaged(
            f"Its data can not be worked with ({type(problem).__name__}: {problem}).",
            where=stream,
            hint="Nothing was imported. Export the record again.",
        )


def _read_all(kind: str, events: Sequence[Event]) -> None:
    if kind == "job":
        _read_job(fold_job(events))
    elif kind == "tool":
        tool = fold_tool(events)
        Tool.from_json(tool.tool)
    elif kind == "gauge":
        gauge = fold_gauge(events).gauge
        float(gauge["resolution_mm"]), float(gauge["error_mm"]), int(gauge["every_days"])
    else:
        for event in events:
            lots_of(event, tables=TableTexts())


def _read_job(state: JobState) -> None:
    if state.stack is not None:
        stack_of(state)
    if state.insert is not None:
        insert_of(state)
    tool_of(state)
    allowance_from_json(state.allowance)
    window_from_json(state.window)
    plan_of(state)
    if state.setting is not None:
        verdict_of(state)
    job_answer(state)

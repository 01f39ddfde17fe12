"""Walking the whole record again: nothing is taken on trust."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Row, create_engine, func, select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import StaticPool

from firstpull.errors import FirstpullError
from firstpull.record.chain import canonical_json
from firstpull.record.event import fault
from firstpull.store.results import Problem, VerifyReport
from firstpull.store.rows import event_from_row, events_after, page_after
from firstpull.store.schema import create_tables, event_table, schema_statements, summary_table
from firstpull.store.summaries import Summaries

_UNREADABLE = (DBAPIError, FirstpullError, UnicodeDecodeError)


def verify(connection: Connection, *, summaries: Summaries) -> VerifyReport:
    """Check the file, its tables and triggers, every chain and every summary, and report all that is wrong."""
    problems: list[Problem] = []
    heads: dict[str, tuple[int, str]] = {}
    walked = before = 0
    with _any_bytes(connection):
        for check in (_file, _schema):
            problems += _caught(check, connection)
        try:
            for row in _rows(connection):
                walked += 1
                problems += _event(row, heads, before=before)
                before = row._mapping["number"]
        except _UNREADABLE as problem:
            problems.append(Problem("", 0, f"the events cannot all be read ({_short(problem)})"))
        if summaries.checked(connection):
            problems += _caught(lambda inside: _summaries(inside, summaries), connection)
    return VerifyReport(streams=len(heads), events=walked, problems=tuple(problems))


def _file(connection: Connection) -> Iterator[Problem]:
    for line in connection.exec_driver_sql("PRAGMA integrity_check").scalars():
        if line != "ok":
            yield Problem("", 0, f"the file is damaged: {line}")


def _schema(connection: Connection) -> Iterator[Problem]:
    engine = create_engine("sqlite://", poolclass=StaticPool)
    with engine.begin() as empty:
        create_tables(empty)
        right = schema_statements(empty)
    engine.dispose()
    found = schema_statements(connection)
    for name in sorted(right.keys() - found.keys()):
        yield Problem("", 0, f"“{name}” is missing: the record is not guarded against changes")
    for name in sorted(found.keys() - right.keys()):
        yield Problem("", 0, f"“{name}” does not belong in a record")
    for name in sorted(name for name in right.keys() & found.keys() if right[name] != found[name]):
        yield Problem("", 0, f"“{name}” was changed")


def _event(row: Row[Any], heads: dict[str, tuple[int, str]], *, before: int) -> Iterator[Problem]:
    """Problems of one event; ``before`` is the number of the event that stands before it in the file."""
    found = row._mapping
    stream, sequence = found["stream"], found["sequence"]
    if not isinstance(stream, str) or not isinstance(sequence, int):
        yield Problem("", 0, f"event {found['number']} of the file cannot be read")
        return
    last, last_hash = heads.get(stream, (0, ""))
    heads[stream] = (sequence, str(found["hash"]))
    if found["number"] != before + 1:
        yield Problem(
            stream, sequence, f"in the file, event {before + 1} should stand where event {found['number']} does"
        )
    try:
        event = event_from_row(row)
        canonical = canonical_json(event.data)
    except FirstpullError as problem:
        yield Problem(stream, sequence, problem.what.lower().rstrip("."))
        return
    if canonical != found["data"]:
        yield Problem(stream, sequence, "its data is not in canonical form")
    wrong = fault(event, last=last, last_hash=last_hash)
    if wrong:
        yield Problem(stream, sequence, wrong)


def _summaries(connection: Connection, summaries: Summaries) -> Iterator[Problem]:
    stored = {row._mapping["stream"]: dict(row._mapping) for row in connection.execute(select(summary_table))}
    columns = event_table.c
    ends = connection.execute(select(columns.stream, func.max(columns.number)).group_by(columns.stream)).all()
    for stream, number in ends:
        row = stored.pop(stream, None)
        if summaries.passes_over(stream):
            if row is not None:
                yield Problem(stream, 0, "there is a summary of it, and it should have none")
            continue
        try:
            events = events_after(connection, stream, 0)
            right = summaries.expected_row(events, number=number)
        except Exception as problem:  # damaged events may make a summary fail in any way; that is a finding
            yield Problem(stream, 0, f"its summary cannot be made again ({_short(problem)})")
            continue
        if row != right:
            yield Problem(stream, 0, "its summary is not what its events give")
    for stream in stored:
        yield Problem(stream, 0, "there is a summary of it, but no event")


def _rows(connection: Connection) -> Iterator[Row[Any]]:
    """All events in the order of saving, a page at a time."""
    number = 0
    while page := page_after(connection, number):
        yield from page
        number = page[-1].number


def _caught(check: Callable[[Connection], Iterator[Problem]], connection: Connection) -> list[Problem]:
    try:
        return list(check(connection))
    except _UNREADABLE as problem:
        return [Problem("", 0, f"the file cannot be read ({_short(problem)})")]


@contextmanager
def _any_bytes(connection: Connection) -> Iterator[None]:
    """Let text that is not UTF-8 through, so that the event it stands in can be named."""
    driver: Any = connection.connection.driver_connection
    before = driver.text_factory
    driver.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
    try:
        yield
    finally:
        driver.text_factory = before


def _short(problem: Exception) -> str:
    if isinstance(problem, DBAPIError):
        return str(problem.orig)
    return problem.what if isinstance(problem, FirstpullError) else f"{type(problem).__name__}: {problem}"

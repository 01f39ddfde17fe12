"""The workshop's two books and how anything is written into them.

A *book* is one record file: the workshop's own, and beside it the practice book, so that practice never mixes with
real work. Every job verb reads a state, decides, and writes through :meth:`Book.write`.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import Any

from firstpull.errors import BadInput, Conflict, NotFound
from firstpull.jobs.clean_texts import check_table, check_texts
from firstpull.jobs.shelf import ShelfOfBook
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.shelf import Shelf
from firstpull.record.event import Event, NewEvent
from firstpull.record.job import JobState, fold_job
from firstpull.record.rules import guard_job
from firstpull.record.things import (
    GaugeState,
    ToolState,
    fold_gauge,
    fold_tool,
    guard_thing,
)
from firstpull.store import Store

CATALOGUE = "catalogue:workshop"
_MOST_COMPARED = 20_000  # names that are compared for a near one
SUMMARY_VERSION = 3  # raise it when summarise changes: the rows are then made again when a book is opened


@dataclass(frozen=True, slots=True)
class Doing:
    """Who does something, the last sequence they had seen (None: whatever is last), and an id that a retry repeats."""

    by: str
    seen: int | None = None
    slip: str = ""

    def checked(self) -> Doing:
        """The same with a name for sure. Raises BadInput without one."""
        name = self.by.strip()
        if not name:
            raise BadInput("Who is doing this?", where="by", hint="Give the name of the person.")
        if len(name) > 80:
            raise BadInput("That name is too long.", where="by", hint="80 letters at most.")
        if not name.isprintable():
            raise BadInput("That name has a sign that can not be printed.", where="by", hint="Type it again.")
        return Doing(name, self.seen, self.slip or uuid.uuid4().hex)


Planned = tuple[str, Any]  # (event type, data)


class Book:
    """One record file with the clock that stamps it."""

    def __init__(self, path: Path, *, practice: bool, clock: Callable[[], datetime] | None = None) -> None:
        self.path = path
        self.practice = practice
        self._clock = clock or (lambda: datetime.now(UTC))
        self.store = Store(path, summarise=summarise, summary_version=SUMMARY_VERSION, bulky=("catalogue",))
        self._shelves = ShelfOfBook(self.store, CATALOGUE, kept=path.with_suffix(".catalogue.npz"))

    def close(self) -> None:
        self.store.close()

    def now(self) -> str:
        """The present moment, ISO 8601, UTC, to the second."""
        return self._clock().astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")

    def job(self, job_id: str) -> JobState:
        """The job. Raises NotFound with the nearest ids."""
        events = self.store.read(f"job:{job_id}")
        if not events:
            raise NotFound(f"There is no job “{job_id}”.", where="job", hint=self._nearest("job", job_id))
        return fold_job(events)

    def tool(self, tool_id: str) -> ToolState:
        """The tool. Raises NotFound."""
        events = self.store.read(f"tool:{tool_id}")
        if not events:
            raise NotFound(f"There is no tool “{tool_id}”.", where="tool", hint=self._nearest("tool", tool_id))
        return fold_tool(events)

    def gauge(self, gauge_id: str) -> GaugeState:
        """The gauge. Raises NotFound."""
        events = self.store.read(f"gauge:{gauge_id}")
        if not events:
            raise NotFound(f"There is no gauge “{gauge_id}”.", where="gauge", hint=self._nearest("gauge", gauge_id))
        return fold_gauge(events)

    def tools(self) -> tuple[ToolState, ...]:
        return tuple(fold_tool(self.store.read(stream)) for stream in self.store.streams("tool"))

    def gauges(self) -> tuple[GaugeState, ...]:
        return tuple(fold_gauge(self.store.read(stream)) for stream in self.store.streams("gauge"))

    def inserts(self) -> Shelf:
        """The catalogue's inserts by part, ready to reckon with: perhaps very many, each made when it is asked for."""
        return self._shelves.shelf()

    def insert(self, part: str) -> Insert:
        """One insert by part. Raises NotFound with near names."""
        rows = self.inserts()
        if part not in rows:
            import difflib

            near = difflib.get_close_matches(part, list(islice(rows, _MOST_COMPARED)), n=3, cutoff=0.4)
            other = "Look at the list of inserts for its code." if rows else "Import the catalogue first."
            hint = f"Near: {', '.join(near)}." if near else other
            raise NotFound(f"The catalogue has no part “{part}”.", where="part", hint=hint)
        return rows[part]

    def repeats(self, stream: str, doing: Doing) -> bool:
        """Whether ``doing``, by its id and its name, is an act that already stands in ``stream``: a retry of it."""
        first = self.store.event_with_id(f"{doing.slip}.0.0") if doing.slip else None
        return first is not None and first.stream == stream and first.by == doing.by.strip()

    def write_long(self, stream: str, planned: Iterable[Planned], doing: Doing) -> int:
        """Append very many events to a long stream as one durable act, each made when its turn comes; returns how many.

        A retry by the same id and name writes nothing and returns 0. Raises Conflict when the record moved on.
        """
        if self.repeats(stream, doing):
            return 0
        doing = doing.checked()

        def events() -> Iterator[NewEvent]:
            for index, (kind, data) in enumerate(planned):
                check_texts(
                    [{name: one for name, one in data.items() if name != "table"}], where=stream.partition(":")[0]
                )
                check_table(data.get("table", ""), where=str(data.get("source", stream)))
                yield NewEvent(kind, data, client_id=f"{doing.slip}.0.{index}")

        expected = self.store.last(stream) if doing.seen is None else doing.seen
        return self.store.append_long(stream, expected, events(), at=self.now(), by=doing.by, guard=guard)

    def write(
        self,
        stream: str,
        planned: Sequence[Planned],
        doing: Doing,
        *,
        gauge: str = "",
        tool: str = "",
        settled: Collection[str] = (),
    ) -> tuple[Event, ...]:
        """Append ``planned`` to ``stream`` as one durable act. Raises Conflict when the record moved on, or what the
        rules refuse; then nothing is written. ``settled`` is as for :meth:`write_all`."""
        return self.write_all([(stream, planned)], doing, gauge=gauge, tool=tool, settled=settled)

    def write_all(
        self,
        acts: Sequence[tuple[str, Sequence[Planned]]],
        doing: Doing,
        *,
        gauge: str = "",
        tool: str = "",
        settled: Collection[str] = (),
    ) -> tuple[Event, ...]:
        """Append to several streams, all or nothing. ``doing.seen`` speaks of the first stream.

        ``settled`` names values that follow from how things stood, such as a coupon's number: a retry keeps those of
        the first time, so that it is known again by what the person gave.
        """
        given_id = bool(doing.slip)
        doing = doing.checked()
        batches = []
        for place, (stream, planned) in enumerate(acts):
            check_texts([data for _kind, data in planned], where=stream.partition(":")[0])
            stored = {event.client_id: event.data for event in self.store.read(stream)} if settled and given_id else {}
            events = []
            for index, (kind, data) in enumerate(planned):
                client_id = f"{doing.slip}.{place}.{index}"
                before = stored.get(client_id, {})
                kept = {name: before[name] for name in settled if name in before}
                events.append(NewEvent(kind, {**data, **kept}, client_id=client_id, gauge=gauge, tool=tool))
            last = self.store.last(stream)
            expected = doing.seen if place == 0 and doing.seen is not None else last
            batches.append((stream, expected, events))
        return self.store.append_many(batches, at=self.now(), by=doing.by, guard=guard)

    def _nearest(self, kind: str, wanted: str) -> str:
        import difflib

        ids = [stream.partition(":")[2] for stream in self.store.streams(kind)]
        near = difflib.get_close_matches(wanted, ids, n=3, cutoff=0.3) or ids[:3]
        return f"Near: {', '.join(near)}." if near else f"No {kind} has been added yet."


class Workshop:
    """A data folder with its two books: ``bench`` for real work, ``practice`` for the simulated tool."""

    def __init__(self, folder: Path, *, clock: Callable[[], datetime] | None = None) -> None:
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as problem:
            raise BadInput(
                f"The data folder cannot be made: {problem.strerror}.",
                where=str(folder),
                hint="Choose another with --data.",
            )
        self.folder = folder
        self.bench = Book(folder / "record.sqlite", practice=False, clock=clock)
        self.practice = Book(folder / "practice.sqlite", practice=True, clock=clock)

    def book(self, name: str) -> Book:
        """``bench`` or ``practice``. Raises NotFound."""
        if name == "bench":
            return self.bench
        if name == "practice":
            return self.practice
        raise NotFound(f"There is no book “{name}”.", hint="bench or practice.")

    def close(self) -> None:
        self.bench.close()
        self.practice.close()


def guard(before: Sequence[Event], new: Sequence[Event]) -> None:
    """The record's rules for any stream; raised inside the transaction."""
    if new and new[0].stream.startswith("job:"):
        guard_job(before, new)
    else:
        guard_thing(before, new)


def summarise(stream: str, events: Sequence[Event]) -> dict[str, Any] | None:
    """The row that lists and searches read, made from a stream's events; None for streams that have none."""
    kind = stream.partition(":")[0]
    if kind == "job":
        job = fold_job(events)
        insert = job.insert or {}
        proven = None
        if job.released and job.setting:
            proven = {
                key: job.setting.get(key)
                for key in ("stroke_mm", "set_allowance_mm", "set_allowance_source", "stroke_min_mm", "stroke_max_mm")
            }
        last = next((check for check in reversed(job.checks) if not check.struck_out), None)
        return {
            "title": job.title,
            "part_name": job.part_name,
            "status": job.status,
            "revision": job.revision,
            "revises": job.revises,
            "insert": insert.get("part", ""),
            "thread": insert.get("thread", ""),
            "tool": job.tool_id,
            "demo": job.demo,
            "temperament": str((job.practice or {}).get("temperament", "")),
            "opened_at": job.opened_at,
            "released_at": job.released_at,
            "released_by": job.released_by,
            "touched_at": events[-1].at,
            "record": job.release_hash[:12],
            "pulls": len(job.pulls),
            "run": last.result if last else "",
            "stopped_because": job.stops[-1].reason if job.stopped else "",
            "proven": proven,
        }
    if kind == "tool":
        tool = fold_tool(events)
        return {"title": tool.tool.get("name", tool.id), "control": tool.tool.get("control", ""), "cycles": tool.cycles}
    if kind == "gauge":
        gauge = fold_gauge(events)
        last_check = gauge.last_check or {}
        return {"title": gauge.gauge.get("name", gauge.id), "due": last_check.get("due", "")}
    return None


def conflict_is_only_news(problem: Conflict) -> bool:
    """True when what came between is somebody else's reading, so that adding one's own still makes sense."""
    kinds = {event.type for event in getattr(problem, "events", ())}
    return bool(kinds) and kinds <= {
        "TrialPulled",
        "FreeLengthMeasured",
        "LotMeasured",
        "ReadAgain",
        "AdviceGiven",
        "RunChecked",
        "RunCounted",
        "NoteWritten",
    }

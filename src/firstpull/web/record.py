"""The record to read: a job's events as a table in plain words, and the whole record to verify, copy and take along."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from itertools import chain, islice
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse, Response, StreamingResponse
from starlette.background import BackgroundTask

from firstpull.exchange.record_lines import export_lines
from firstpull.jobs.workshop import Book
from firstpull.record.event import Event
from firstpull.units import LengthUnit
from firstpull.web.desk import desk, show
from firstpull.web.event_words import when, words_of
from firstpull.web.papers import job_papers
from firstpull.web.person import unit_of
from firstpull.web.render import page

router = APIRouter()

ROWS_A_PAGE = 200
_FILE_NAMES = {"bench": "record", "practice": "practice"}


@router.get("/{room}/jobs/{job}/record")
def show_job_record(request: Request, room: str, job: str, after: int = -1) -> Response:
    """The job's events, at most 200 from the one after sequence ``after``; without it the newest."""
    here = desk(request, room)
    state = here.book.job(job)
    last = state.sequence
    start = max(0, last - ROWS_A_PAGE) if after < 0 else min(after, last)
    events = here.book.store.read(state.stream, after=start)
    address = here.address(state.id, "record")
    context = {
        "title": state.title,
        "rows": record_rows(events, here.unit)[:ROWS_A_PAGE],
        "older": f"{address}?after={max(0, start - ROWS_A_PAGE)}" if start else "",
        "newer": f"{address}?after={start + ROWS_A_PAGE}" if start + ROWS_A_PAGE < last else "",
        "card_hash": state.release_hash,
        "unit_note": here.unit,
        "papers": job_papers(here.address(state.id), here.unit) if state.setting is not None else [],
    }
    return show(here, state, "record_job.html", context, step="")


@router.get("/record")
def show_record(request: Request, room: str = "bench", verify: str = "") -> Response:
    """The whole record of the workshop (or of practice); with ``verify`` it is walked at once."""
    here = desk(request, room)
    context = {
        "room": room,
        "size": _size(here.book.path),
        "file": here.book.path.name,
        "report": _report(here.book) if verify else None,
    }
    return page(request, "record.html", context, practice=here.practice)


@router.get("/record/backup")
def download_backup(request: Request, room: str = "bench") -> Response:
    """A verified copy of the record as one SQLite file. It is made in a folder of its own, which goes afterwards."""
    here = desk(request, room)
    folder = Path(tempfile.mkdtemp(prefix="firstpull-backup-"))
    target = folder / "copy.sqlite"
    try:
        here.book.store.backup(target)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return FileResponse(
        target,
        media_type="application/vnd.sqlite3",
        filename=f"firstpull-{_FILE_NAMES[room]}-{_stamp(here.book)}.sqlite",
        background=BackgroundTask(shutil.rmtree, folder, ignore_errors=True),
    )


@router.get("/record/export")
def download_export(request: Request, room: str = "bench") -> Response:
    """The whole record as JSON Lines; it can be imported again without loss."""
    here = desk(request, room)
    name = f"firstpull-{_FILE_NAMES[room]}-{_stamp(here.book)}.jsonl"
    lines = export_lines(here.book.store.all_events())
    begun = list(islice(lines, 2))  # a record that cannot be read is said before the answer has begun
    return StreamingResponse(
        _bytes(chain(begun, lines)),
        media_type="application/jsonl",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def record_rows(events: tuple[Event, ...], unit: LengthUnit) -> list[dict[str, Any]]:
    """Events as rows of a history: number, when, who, what, with what; whether and why it was struck out."""
    struck = {
        int(event.data["of"]): str(event.data.get("reason", ""))
        for event in events
        if event.type == "ReadingStruckOut" and isinstance(event.data.get("of"), int)
    }
    return [
        {
            "number": event.sequence,
            "at": when(event.at),
            "by": event.by,
            "what": words_of(event, unit),
            "using": " · ".join(name for name in (event.gauge, event.tool) if name),
            "struck": event.sequence in struck,
            "mark": event.hash[:8],
        }
        for event in events
    ]


def history_table(request: Request, events: tuple[Event, ...], *, newest: int = 40) -> dict[str, Any]:
    """The newest events of a tool or a gauge as a table, the last one first."""
    columns = [{"label": label, "number": False} for label in ("when", "who", "what")]
    rows = [[row["at"], row["by"], row["what"]] for row in record_rows(events[-newest:], unit_of(request))]
    return {"columns": columns, "rows": rows[::-1]}


def _report(book: Book) -> dict[str, Any]:
    report = book.store.verify()
    return {
        "ok": report.ok,
        "events": report.events,
        "streams": report.streams,
        "problems": [str(problem) for problem in report.problems[:20]],
        "at": when(book.now()),
    }


def _bytes(lines: Iterator[str]) -> Iterator[bytes]:
    for line in lines:
        yield line.encode()


def _stamp(book: Book) -> str:
    return book.now()[:16].replace(":", "").replace("T", "-")


def _size(path: Path) -> str:
    size = path.stat().st_size
    return f"{size / 1e6:.1f} MB" if size >= 1e6 else f"{max(size / 1e3, 1):.0f} kB"

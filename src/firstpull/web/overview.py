"""The overview: go on where you were, what is open and running, the tools, and a field that finds a job or a record.

Lists come from the summaries, so that the page stays quick however much is on record.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from firstpull.errors import BadInput, NotFound
from firstpull.jobs.look_after import DueRow, gauge_due, tool_due
from firstpull.jobs.path import next_step
from firstpull.jobs.workshop import Book, Workshop
from firstpull.record.event import stream_kind
from firstpull.store.results import Summary
from firstpull.units import LengthUnit, parse_length
from firstpull.web.event_words import when
from firstpull.web.person import unit_of
from firstpull.web.render import page

router = APIRouter()

SEEN_COOKIE = "firstpull_seen"
_YEAR_S = 365 * 24 * 3600
_RECENT_JOBS = 200
_ROWS = 8
_NEAREST = 3
_QUICK_PULLS = 40
_CODE = re.compile(
    r"(?P<kind>(?:job|tool|gauge):)?(?P<job>[^\s#]{1,120})#(?P<sequence>\d{1,9})(?:\s+(?P<mark>[0-9a-f]{8,64}))?",
    re.IGNORECASE,
)
_MARK = re.compile(r"[0-9a-f]{8,64}", re.IGNORECASE)
_READING = re.compile(r"\d+[.,]\d+\s*(?:mm|in|\")?", re.IGNORECASE)
_RUN_WORDS = {"in control": ("good", "In control"), "look": ("look", "Look"), "stop": ("stop", "Stop")}
_DUE_WORDS = {"due": ("due", "Due"), "soon": ("look", "Soon due"), "fine": ("done", "Ready")}


@dataclass(frozen=True, slots=True)
class Find:
    """What a search led to: an address to go to at once, or rows to choose from and a line that says why."""

    address: str = ""
    rows: tuple[dict[str, str], ...] = ()
    note: str = ""


@router.get("/")
def show_overview(request: Request, q: str = "", overview: str = "") -> Response:
    """Where the work stands. ``q`` is what was typed or scanned. Somebody who sees this demo (or this empty bench) for
    the first time is led to the practice job."""
    workshop: Workshop = request.app.state.workshop
    book = workshop.bench
    query = " ".join("".join(letter if letter.isprintable() else " " for letter in q).split())[:120]
    jobs = book.store.summaries("job", limit=_RECENT_JOBS)
    seen = bool(request.cookies.get(SEEN_COOKIE))
    if not seen and not query and not overview and (not jobs or any(row.data.get("demo") for row in jobs)):
        return _remember(RedirectResponse(_practice_address(workshop.practice), status_code=303))
    found = find(book, query) if query else Find()
    if found.address:
        return RedirectResponse(found.address, status_code=303)
    response = page(request, "steps/overview.html", _context(book, jobs, query, found, unit=unit_of(request)))
    return response if seen else _remember(response)


def find(book: Book, query: str) -> Find:
    """Look for ``query``: the code of a card, the start of a hash, an id, or words of jobs, parts, tools and gauges."""
    code = _CODE.fullmatch(query)
    if code is not None:
        stream = f"{code['kind'] or 'job:'}{code['job']}"
        return _by_code(book, stream, int(code["sequence"]), (code["mark"] or "").lower())
    if _MARK.fullmatch(query):
        try:
            return Find(_stream_address(book.store.event_with_hash(query).stream))
        except NotFound as problem:
            if not _has_words(book, query):
                return Find(note=f"{problem.what} {problem.hint}")
    for kind in ("job", "tool", "gauge"):
        if book.store.last(f"{kind}:{query}"):
            return Find(_stream_address(f"{kind}:{query}"))
    rows = [row for row in book.store.search(query, limit=_ROWS) if row.kind in ("job", "tool", "gauge")]
    called = [row for row in rows if _is_called(row, query)]
    if len(rows) == 1 or len(called) == 1:
        return Find(_stream_address((called or rows)[0].stream))
    if rows:
        return Find(rows=tuple(map(_row, rows)))
    if query in book.inserts():
        return Find(f"/inserts/row?part={quote(query)}")
    near = _nearest(book, query)
    return Find(rows=near, note="" if near or _READING.fullmatch(query) else "Nothing on record is like that.")


def _by_code(book: Book, stream: str, sequence: int, mark: str) -> Find:
    """A scanned paper: its job or tool, when the event that it names is on record with the hash that it prints."""
    if not book.store.last(stream):
        kind, _, name = stream.partition(":")
        return Find(rows=_nearest(book, name), note=f"This record has no {kind} “{name}”. Is it the right workshop?")
    events = book.store.read(stream, after=max(sequence - 1, 0))
    if mark and (not events or events[0].sequence != sequence or not events[0].hash.startswith(mark)):
        return Find(
            rows=tuple(_row(row) for row in (book.store.summary(stream),) if row is not None),
            note="The card’s hash is not that of this record: do not work by that card until it is cleared up.",
        )
    return Find(_stream_address(stream))


def _is_called(row: Summary, query: str) -> bool:
    """Whether the name of ``row`` is what was typed, or goes on after it with a sign that is no letter or digit."""
    title, said = str(row.data.get("title") or "").casefold(), query.casefold()
    return title.startswith(said) and not title[len(said) : len(said) + 1].isalnum()


def _has_words(book: Book, query: str) -> bool:
    return bool(book.store.search(query, limit=1))


def _nearest(book: Book, query: str) -> tuple[dict[str, str], ...]:
    rows = book.store.summaries(limit=2 * _RECENT_JOBS)
    by_name: dict[str, Summary] = {}
    for row in rows:
        for name in (str(row.data.get("title", "")), row.stream.partition(":")[2], str(row.data.get("insert", ""))):
            by_name.setdefault(name.casefold(), row)
    close = difflib.get_close_matches(query.casefold(), [name for name in by_name if name], n=6, cutoff=0.4)
    streams = dict.fromkeys(by_name[name].stream for name in close)
    chosen = {row.stream: row for row in rows}
    return tuple(_row(chosen[stream]) for stream in list(streams)[:_NEAREST])


def _stream_address(stream: str) -> str:
    kind, name = stream_kind(stream), quote(stream.partition(":")[2])
    return {"job": f"/bench/jobs/{name}", "tool": f"/tools/{name}", "gauge": f"/gauges/{name}"}.get(kind, "/inserts")


def _row(row: Summary) -> dict[str, str]:
    name = str(row.data.get("title") or row.stream.partition(":")[2])
    return {"name": name, "note": _note(row), "address": _stream_address(row.stream)}


def _note(row: Summary) -> str:
    if row.kind != "job":
        return row.kind
    data = row.data
    revision = f"r{data['revision']}" if int(data.get("revision") or 1) > 1 else ""
    return " · ".join(part for part in (str(data.get("insert") or ""), revision, str(data.get("status") or "")) if part)


def _context(book: Book, jobs: tuple[Summary, ...], query: str, found: Find, *, unit: LengthUnit) -> dict[str, Any]:
    live = [row for row in jobs if row.data.get("status") != "superseded"]
    first = live[0] if live else None
    others = [row for row in live if row.data.get("status") == "open" and row is not first]
    cards = [row for row in live if row.data.get("status") in ("released", "stopped")]
    return {
        "go_on": _go_on(book, first) if first is not None else None,
        "new_job": "/bench/jobs/new",
        "jobs": [_open_row(book, row) for row in others[:_ROWS]],
        "more_jobs": max(0, len(others) - _ROWS),
        "search": {"address": "/", "value": query, "nearest": list(found.rows), "note": found.note},
        "stray": _stray(query, live, unit),
        "cards": [_card(row) for row in sorted(cards, key=_pressing)[:_ROWS]],
        "tools": sorted([*_tools(book), *_gauges(book)], key=lambda row: ("due", "look", "done").index(row["state"])),
    }


def _open_row(book: Book, row: Summary) -> dict[str, str]:
    """An open job with the step where it was left; one of very many pulls is not read through for it."""
    if int(row.data.get("pulls") or 0) > _QUICK_PULLS:
        return _row(row)
    step = next_step(book.job(row.stream.partition(":")[2]))
    part = str(row.data.get("insert") or "")
    return {**_row(row), "note": " · ".join(text for text in (part, step) if text)}


def _go_on(book: Book, row: Summary) -> dict[str, str]:
    name = row.stream.partition(":")[2]
    if row.data.get("status") == "stopped":
        note = f"stopped: {row.data.get('stopped_because', '')}"
    elif row.data.get("status") == "released":
        note = _card(row)["word"]
    else:
        pulls = int(row.data.get("pulls") or 0)
        note = next_step(book.job(name)) + (f" · {pulls} pulls so far" if pulls > 1 else "")
    return {"label": str(row.data["title"]), "note": note, "address": _stream_address(row.stream)}


def _card(row: Summary) -> dict[str, str]:
    """A released card with its state in a word and since when."""
    data = row.data
    if data.get("status") == "stopped":
        mark, word = "stop", "Stop"
    else:
        mark, word = _RUN_WORDS.get(str(data.get("run")), ("done", "Released"))
    since = when(str(data.get("touched_at") or ""))
    why = str(data.get("stopped_because") or "") if mark == "stop" else ""
    return {**_row(row), "state": mark, "word": word, "note": why or (f"since {since}" if since else "")}


def _pressing(row: Summary) -> int:
    return ("stop", "look", "good", "done").index(_card(row)["state"])


def _stray(query: str, live: Iterable[Summary], unit: LengthUnit) -> dict[str, Any] | None:
    """A length that came in without a job: the open jobs and running cards that it could belong to."""
    if not _READING.fullmatch(query):
        return None
    try:
        parse_length(query, unit=unit, where="reading")
    except BadInput:
        return None
    jobs = []
    for row in live:
        step = "run" if row.data.get("status") == "released" else "dial-in"
        if step == "dial-in" and not row.data.get("tool"):
            continue
        label = f"{row.data['title']}: {step.replace('-', ' ')}"
        jobs.append({"label": label, "address": f"{_stream_address(row.stream)}/{step}?reading={quote(query)}"})
    return {"text": query, "jobs": jobs[:4]}


def _tools(book: Book) -> list[dict[str, str]]:
    rows = []
    for tool in book.tools():
        due = min(tool_due(tool), key=_order)
        rows.append(_thing(str(tool.tool.get("name") or tool.id), due, f"/tools/{quote(tool.id)}"))
    return rows


def _gauges(book: Book) -> list[dict[str, str]]:
    today = date.fromisoformat(book.now()[:10])
    return [
        _thing(due.name, due, f"/gauges/{quote(due.id)}") for due in (gauge_due(one, today) for one in book.gauges())
    ]


def _order(row: DueRow) -> int:
    return ("due", "soon", "fine").index(row.state)


def _thing(name: str, due: DueRow, address: str) -> dict[str, str]:
    mark, word = _DUE_WORDS[due.state]
    return {"name": name, "state": mark, "word": word, "note": due.text, "address": address}


def _practice_address(practice: Book) -> str:
    """The first practice job that is still to be dialled in, else the page that starts one."""
    for row in practice.store.summaries("job", limit=_RECENT_JOBS)[::-1]:
        name = row.stream.partition(":")[2]
        if practice.job(name).held is None:
            return f"/practice/jobs/{quote(name)}/dial-in"
    return "/practice"


def _remember(response: Response) -> Response:
    response.set_cookie(SEEN_COOKIE, "1", max_age=_YEAR_S, path="/", httponly=True, samesite="strict")
    return response

"""Bringing a table of inserts in: upload, look at what would change, then take the good rows.

Between the look and the taking the file waits in memory under the mark of its content: few files, small in all, the
oldest going first. One that is gone is simply asked for again; nothing is half-imported.
"""

from __future__ import annotations

import hashlib
import threading
import uuid
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Annotated, Any

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from firstpull.errors import BadInput, Conflict, FirstpullError
from firstpull.exchange.catalogue_columns import RULES, units_of
from firstpull.exchange.catalogue_table import Preview
from firstpull.jobs import catalogue
from firstpull.jobs.catalogue import Proposal
from firstpull.jobs.workshop import CATALOGUE, Doing
from firstpull.web.desk import Desk, desk, need_name, problem_of
from firstpull.web.insert_words import heading, label, plain_value
from firstpull.web.render import page

router = APIRouter()
_MOST_PROBLEMS = 100
_MOST_CHANGES = 60
_NO_ROWS = {
    "what": "There are headings and no rows under them.",
    "hint": "One insert a row, under the headings.",
    "buttons": [],
}


@dataclass(slots=True)
class Waiting:
    """Uploaded files that wait for their taking, by the mark of their content."""

    most_files: int = 8
    most_bytes: int = 24 * 1024 * 1024
    _files: OrderedDict[str, tuple[str, bytes]] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def keep(self, filename: str, data: bytes) -> str:
        """The mark under which the file waits. The oldest ones make room. Raises BadInput for one too large."""
        if len(data) > self.most_bytes // 2:
            raise BadInput("That file is too large.", where="file", hint="At most 12 MB; split it.")
        mark = hashlib.sha256(filename.encode() + b"\0" + data).hexdigest()[:32]
        with self._lock:
            self._files.pop(mark, None)
            self._files[mark] = (filename, data)
            while len(self._files) > self.most_files or self._size() > self.most_bytes:
                self._files.popitem(last=False)
        return mark

    def find(self, mark: str) -> tuple[str, bytes]:
        """The file's name and content. Raises BadInput when it has gone."""
        with self._lock:
            found = self._files.get(mark)
        if found is None:
            raise BadInput("That file is not here any more.", where="file", hint="Choose it again; nothing was taken.")
        return found

    def _size(self) -> int:
        return sum(len(data) for _name, data in self._files.values())


waiting = Waiting()


@router.get("/inserts/import")
def show_import(request: Request) -> Response:
    """The page that asks for a file."""
    here = desk(request, "bench")
    return need_name(here) or _ask_page(here)


@router.post("/inserts/import")
def do_import(
    request: Request,
    *,
    do: Annotated[str, Form()] = "look",
    file: Annotated[UploadFile | None, File()] = None,
    upload: Annotated[str, Form()] = "",
    unit_heading: Annotated[list[str] | None, Form()] = None,
    unit: Annotated[list[str] | None, Form()] = None,
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """Look at a file, with the units chosen so far, or take its good rows."""
    here = desk(request, "bench")
    units = {name: one for name, one in zip(unit_heading or [], unit or [], strict=False) if one}
    try:
        doing = here.doing({"expected": expected, "client_id": client_id})
        if file is not None and file.filename:
            upload = waiting.keep(file.filename[-120:], file.file.read())
        if not upload:
            raise BadInput("No file was chosen.", where="file", hint="A CSV or XLSX table with one insert a row.")
        filename, data = waiting.find(upload)
        proposal = catalogue.propose(here.book, data, filename=filename, unit_by_column=units)
    except FirstpullError as problem:
        return _ask_page(here, problem=problem_of(problem), status_code=422)
    if do != "take":
        return _look_page(here, proposal, filename=filename, mark=upload, units=units)
    try:
        count = _take(here, proposal, filename=filename, doing=doing)
    except FirstpullError as problem:
        # also when somebody else changed the catalogue meanwhile: this shows what the file would change now
        status = 409 if isinstance(problem, Conflict) else 422
        return _look_page(
            here, proposal, filename=filename, mark=upload, units=units, problem=problem_of(problem), status_code=status
        )
    return RedirectResponse(f"/inserts?taken={count}", status_code=303)


def _take(here: Desk, proposal: Proposal, *, filename: str, doing: Doing) -> int:
    if proposal.preview.unit_missing:
        raise BadInput("Some columns have no unit yet.", where="file", hint="Choose their units, then look again.")
    return catalogue.take(here.book, proposal, filename=filename, doing=doing)


def _form(here: Desk) -> dict[str, str]:
    return {
        "address": "/inserts/import",
        "expected": str(here.book.store.last(CATALOGUE)),
        "client_id": uuid.uuid4().hex,
    }


def _ask_page(here: Desk, *, problem: dict[str, Any] | None = None, status_code: int = 200) -> Response:
    needed = [heading(rule.name) for rule in RULES.values() if rule.required]
    context = {
        "form": _form(here),
        "problem": problem,
        "needed": needed,
        "others": [heading(rule.name) for rule in RULES.values() if not rule.required],
    }
    return page(here.request, "insert_import.html", context, status_code=status_code)


def _look_page(
    here: Desk,
    proposal: Proposal,
    *,
    filename: str,
    mark: str,
    units: dict[str, str],
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    read, changes = proposal.preview, proposal.changes
    changed = {change.part for change in changes.changed}
    # a column without its unit is said beside the column, once
    missing = set(read.unit_missing)
    problems = [one for one in read.problems if not (one.row == read.heading_row and one.column in missing)]
    bad = {problem.row for problem in problems}
    taken = len(changes.added) + len(changed)
    context = {
        "form": _form(here),
        "filename": filename,
        "upload": mark,
        "problem": problem or (_NO_ROWS if not read.rows and not problems and not missing else None),
        "sheet": read.sheet,
        "taken": taken,
        "counts": [
            {"name": "New", "value": str(len(changes.added))},
            {"name": "Changed", "value": str(len(changed))},
            {"name": "The same as here", "value": str(len(changes.unchanged))},
            {"name": "Here but not in the file; they stay", "value": str(len(changes.missing))},
            {"name": "Rows with something to put right", "value": str(len(bad))},
        ],
        "columns": _columns(read, units),
        "unit_missing": list(read.unit_missing),
        "problems": [problem.as_dict() for problem in problems[:_MOST_PROBLEMS]],
        "problems_more": max(len(problems) - _MOST_PROBLEMS, 0),
        "changes": [
            {
                "part": one.part,
                "field": label(one.field),
                "old": plain_value(one.field, one.old, here.unit) or "not known",
                "new": plain_value(one.field, one.new, here.unit) or "not known",
            }
            for one in changes.changed[:_MOST_CHANGES]
        ],
        "changes_more": max(len(changes.changed) - _MOST_CHANGES, 0),
        "added": [insert.part for insert in changes.added[:_MOST_CHANGES]],
        "added_more": max(len(changes.added) - _MOST_CHANGES, 0),
        "notes": list(read.notes),
    }
    return page(here.request, "insert_look.html", context, status_code=status_code)


def _columns(read: Preview, units: dict[str, str]) -> list[dict[str, Any]]:
    """How each column is understood; where its unit is not in the heading it can be chosen."""
    rows = []
    for column in read.columns:
        rule = RULES.get(column.field or "")
        choices = list(units_of(rule.kind)) if rule is not None else []
        open_unit = bool(choices) and (column.unit is None or column.heading in units)
        rows.append(
            {
                "heading": column.heading,
                "field": label(column.field or ""),
                "unit": column.unit or "",
                "choices": choices if open_unit else [],
                "missing": column.heading in read.unit_missing,
            }
        )
    return sorted(rows, key=lambda row: not row["missing"])

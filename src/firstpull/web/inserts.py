"""The catalogue: its list with a filter, one insert with its history, and the table out. Import is beside it."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response, StreamingResponse

from firstpull.errors import BadInput, FirstpullError
from firstpull.exchange.catalogue_columns import FIELDS
from firstpull.exchange.catalogue_table import value_text
from firstpull.jobs import catalogue
from firstpull.mechanics.insert import LENGTH_NAMES, Insert
from firstpull.units import LengthUnit, show_length
from firstpull.web.desk import Desk, desk, need_name, problem_of
from firstpull.web.drawings import shape_of
from firstpull.web.insert_words import label, plain_value
from firstpull.web.render import page

router = APIRouter()
_MOST_ROWS = 200


@router.get("/inserts")
def show_inserts(request: Request, q: str = "", taken: int = -1) -> Response:
    """The inserts whose row holds every word of ``q``."""
    here = desk(request, "bench")
    found, hits = catalogue.search_inserts(here.book, q[:80], most=_MOST_ROWS)
    context = {
        "q": q[:80],
        "taken": taken,
        "count": len(here.book.inserts()),
        "found": hits,
        "rows": [_row(insert, here.unit) for insert in found],
        "left_out": hits - len(found),
        "columns": [
            {"label": "part", "number": False},
            {"label": "thread", "number": False},
            {"label": "material", "number": False},
            {"label": "head, end", "number": False},
            {"label": f"grip, {here.unit}", "number": True},
            {"label": "free length", "number": True},
            {"label": "set allowance", "number": True},
        ],
    }
    return page(request, "inserts.html", context)


@router.get("/inserts/export.csv")
def export_inserts(request: Request) -> Response:
    """The whole catalogue as CSV; it reads back the same."""
    here = desk(request, "bench")
    headers = {"Content-Disposition": 'attachment; filename="inserts.csv"'}
    lines = (line.encode() for line in catalogue.csv_lines(here.book))
    return StreamingResponse(lines, media_type="text/csv; charset=utf-8", headers=headers)


@router.get("/inserts/row")
def show_insert(request: Request, part: str = "") -> Response:
    """One insert with everything known of it, and how its row came to be."""
    here = desk(request, "bench")
    return _insert_page(here, part)


@router.post("/inserts/row")
def retire_insert(
    request: Request,
    part: str = "",
    reason: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """Take the insert out of the catalogue, with a reason; its history and its jobs stay."""
    here = desk(request, "bench")
    asked = need_name(here)
    if asked is not None:
        return asked
    here.book.insert(part)
    try:
        doing = here.doing({"expected": expected, "client_id": client_id})
        if len(reason) > 200:
            raise BadInput("That is too long.", where="reason", hint="200 letters at most.")
        catalogue.retire(here.book, part, reason=reason, doing=doing)
    except FirstpullError as problem:
        return _insert_page(here, part, reason=reason, problem=problem_of(problem), status_code=422)
    return RedirectResponse("/inserts", status_code=303)


def _row(insert: Insert, unit: LengthUnit) -> dict[str, Any]:
    allowance = "–" if insert.set_allowance is None else show_length(insert.set_allowance, unit)
    grip = f"{show_length(insert.grip_min, unit)} to {show_length(insert.grip_max, unit)}"
    return {
        "part": insert.part,
        "cells": [
            insert.thread,
            insert.material,
            f"{insert.head}, {insert.end}",
            grip,
            show_length(insert.length_free, unit),
            allowance,
        ],
    }


def _insert_page(
    here: Desk, part: str, *, reason: str = "", problem: dict[str, Any] | None = None, status_code: int = 200
) -> Response:
    import uuid

    from firstpull.drawing.section import joint_section
    from firstpull.jobs.workshop import CATALOGUE

    insert = here.book.insert(part)
    middle_mm = (insert.grip_min.mm + insert.grip_max.mm) / 2
    set_mm = None
    if insert.set_allowance is not None:
        set_mm = insert.length_free.mm - (insert.grip_max.mm - middle_mm + insert.set_allowance.mm)
    try:
        drawing = joint_section(
            shape_of(insert), thickness_mm=middle_mm, set_length_mm=set_mm, unit=here.unit, height=340, key="insert"
        )
    except BadInput:
        drawing = ""
    context = {
        "form": {
            "address": here.request.url.path + "?" + here.request.url.query,
            "expected": str(here.book.store.last(CATALOGUE)),
            "client_id": uuid.uuid4().hex,
        },
        "part": part,
        "facts": _facts(insert, here.unit),
        "history": _history(here, part),
        "reason": {
            "name": "reason",
            "label": "Take it out of the catalogue, because",
            "value": reason,
            "problem": problem,
            "maxlength": 200,
        },
        "drawing": drawing,
        "drawing_notes": [f"in the middle of its grip, {here.unit}"],
    }
    return page(here.request, "insert.html", context, status_code=status_code)


def _facts(insert: Insert, unit: LengthUnit) -> list[dict[str, str]]:
    rows = []
    for rule in FIELDS:
        value = getattr(insert, rule.name)
        if value is None or value == "" or rule.name == "part":
            continue
        rows.append({"name": label(rule.name), "value": _shown(insert, rule.name, unit)})
    return rows


def _shown(insert: Insert, name: str, unit: LengthUnit) -> str:
    value = getattr(insert, name)
    return (
        f"{show_length(value, unit)} {unit}"
        if name in LENGTH_NAMES
        else plain_value(name, value_text(insert, name), unit)
    )


def _history(here: Desk, part: str) -> list[dict[str, str]]:
    """Each import that touched the row, newest first, with what it changed."""
    rows: list[dict[str, str]] = []
    before: Insert | None = None
    for item in catalogue.history(here.book, part):
        row = item["row"]
        now = Insert.from_json(row) if row is not None else None
        changed = []
        if before is not None and now is not None:
            changed = [
                f"{label(rule.name)} {_was(before, rule.name, here.unit)} → {_was(now, rule.name, here.unit)}"
                for rule in FIELDS
                if getattr(before, rule.name) != getattr(now, rule.name)
            ]
        what = "; ".join(changed) or ("new" if before is None else "the same values" if now is not None else "")
        rows.append({"at": str(item["at"])[:10], "by": str(item["by"]), "source": str(item["source"]), "what": what})
        before = now
    return rows[::-1]


def _was(insert: Insert, name: str, unit: LengthUnit) -> str:
    value = getattr(insert, name)
    return "not known" if value is None or value == "" else _shown(insert, name, unit)

"""Look after: what is due, and the fault finder: from what is seen to the usual causes and what to try."""

from __future__ import annotations

from functools import cache
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from firstpull.drawing.faults import fault_picture
from firstpull.jobs.look_after import DueRow, due_rows
from firstpull.jobs.workshop import Workshop
from firstpull.trade.faults import fault, faults
from firstpull.web.render import page

router = APIRouter()

MARKS = {"due": "due", "soon": "look", "fine": "done"}
_ROWS = 12


@router.get("/look-after")
def show_look_after(request: Request, seen: str = "") -> Response:
    """What is due, the most pressing first; with ``seen`` the causes of that fault instead."""
    workshop: Workshop = request.app.state.workshop
    rows = due_rows(workshop.bench)
    pressing = [row for row in rows if row.state != "fine"]
    context = {
        "due": [_row(row) for row in pressing[:_ROWS]],
        "fine": len(rows) - len(pressing),
        "fault": _fault(seen) if seen else None,
        "faults": [{**tile, "chosen": tile["key"] == seen} for tile in _tiles()],
    }
    return page(request, "steps/look_after.html", context)


@cache
def _tiles() -> tuple[dict[str, str], ...]:
    """The faults as tiles, drawn once."""
    return tuple(
        {
            "key": one.key,
            "label": one.seen,
            "address": f"/look-after?seen={quote(one.key)}",
            "picture": fault_picture(one.picture, title=one.seen, key=one.key),
        }
        for one in faults()
    )


def thing_address(row: DueRow) -> str:
    """Where a due row is looked after."""
    return f"/{'gauges' if row.kind == 'gauge' else 'tools'}/{quote(row.id)}"


def _row(row: DueRow) -> dict[str, str]:
    return {"text": row.name, "note": row.text, "address": thing_address(row), "kind": MARKS[row.state]}


def _fault(key: str) -> dict[str, Any]:
    found = fault(key)
    return {
        "name": found.seen,
        "causes": list(found.causes),
        "tries": [{"text": one.text, "step": one.step} for one in found.tries],
        "source": found.source,
    }

"""Learning from a real pull: what was measured is pasted in, and the virtual pull runs again for the lot as it is."""

from __future__ import annotations

import uuid
from dataclasses import replace
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from firstpull.errors import FirstpullError
from firstpull.jobs.virtual_learn import Measured, check_measured
from firstpull.record.job import JobState
from firstpull.web.desk import Desk, desk, form_of, problem_of, show
from firstpull.web.render import page
from firstpull.web.texts import TEXTS
from firstpull.web.virtual_pull import PART_ADDRESS, address_of, pull_of, pulls_of

router = APIRouter()
_LONGEST = 400_000


@router.get(PART_ADDRESS + "/{pull}/learn")
def show_learn_of_part(request: Request, pull: str) -> Response:
    """What was measured of the lot?"""
    return _page(desk(request, "bench"), None, pull, Measured())


@router.post(PART_ADDRESS + "/{pull}/learn")
def do_learn_of_part(
    request: Request, pull: str, *, curve: Annotated[str, Form()] = "", inserts: Annotated[str, Form()] = ""
) -> Response:
    """Begin the pull of the lot as it is learned."""
    return _begin(desk(request, "bench"), None, pull, Measured(curve[:_LONGEST], inserts[:_LONGEST]))


@router.get("/{room}/jobs/{job}/virtual-pull/{pull}/learn")
def show_learn_of_job(request: Request, room: str, job: str, pull: str) -> Response:
    """What was measured of the lot?"""
    here = desk(request, room)
    return _page(here, here.book.job(job), pull, Measured())


@router.post("/{room}/jobs/{job}/virtual-pull/{pull}/learn")
def do_learn_of_job(
    request: Request,
    room: str,
    job: str,
    pull: str,
    *,
    curve: Annotated[str, Form()] = "",
    inserts: Annotated[str, Form()] = "",
) -> Response:
    """Begin the pull of the lot as it is learned."""
    here = desk(request, room)
    return _begin(here, here.book.job(job), pull, Measured(curve[:_LONGEST], inserts[:_LONGEST]))


def _begin(here: Desk, state: JobState | None, pull: str, measured: Measured) -> Response:
    look = pull_of(here, state, pull)
    try:
        check_measured(measured)
        started = pulls_of(here.request).start(replace(look.asked, measured=measured))
    except FirstpullError as problem:
        return _page(here, state, pull, measured, problem=problem_of(problem), status_code=422)
    return RedirectResponse(f"{address_of(look.asked)}/{started}", status_code=303)


def _page(
    here: Desk,
    state: JobState | None,
    pull: str,
    measured: Measured,
    *,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    words = TEXTS["virtual"]
    look = pull_of(here, state, pull)
    back = f"{address_of(look.asked)}/{quote(pull)}"
    form = form_of(state, f"{back}/learn") if state else {"address": "", "expected": "", "client_id": uuid.uuid4().hex}
    context = {
        "form": {**form, "address": f"{back}/learn"},
        "inserts": measured.inserts,
        "curve": measured.curve,
        "problem": problem,
        "buttons": [
            {"label": words["learn_do"], "do": "learn", "kind": ""},
            {"label": words["back"], "address": back, "kind": "other"},
        ],
    }
    if state is None:
        return page(here.request, "virtual_learn.html", context, status_code=status_code)
    return show(here, state, "virtual_learn.html", context, step="set_up", status_code=status_code)

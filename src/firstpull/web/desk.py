"""What every page that acts on a job needs: the right book, who is working, the frame around the page, and a way to
answer a refused act with what was typed still in its field.

Two rooms share the same pages: ``bench`` for real work and ``practice`` for the simulated tool.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any
from urllib.parse import quote

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from firstpull.errors import BadInput, Conflict, FirstpullError, Unsafe
from firstpull.jobs.look_after import gauge_due
from firstpull.jobs.path import owed, path
from firstpull.jobs.workshop import Book, Doing, Workshop, conflict_is_only_news
from firstpull.record.job import JobState
from firstpull.units import Length, LengthUnit, parse_length
from firstpull.web.person import person_of, unit_of
from firstpull.web.render import ASKED_BY_PROGRAM, PATH_KEYS, page, steps

ROOMS = ("bench", "practice")
NOBODY_IN_PRACTICE = "someone practising"
_ADDRESS = {
    "choose": "choose",
    "set_up": "set-up",
    "dial_in": "dial-in",
    "prove": "prove",
    "hand_over": "hand-over",
    "run": "run",
}


@dataclass(frozen=True, slots=True)
class Desk:
    """One request about one job: the room, its book, and how the person works."""

    request: Request
    room: str
    book: Book

    @property
    def unit(self) -> LengthUnit:
        """The unit that this person sees and types in."""
        return unit_of(self.request)

    @property
    def lengths_note(self) -> str:
        """The unit of every length on this page, for the foot of its sheet."""
        return "lengths in inches" if self.unit == "in" else "lengths in mm"

    @property
    def practice(self) -> bool:
        return self.room == "practice"

    def address(self, job_id: str, step: str = "", *more: str) -> str:
        """The address of a step's page (``step`` as in :data:`PATH_KEYS`), or of the job."""
        parts = [self.room, "jobs", quote(job_id), *([_ADDRESS.get(step, step)] if step else []), *more]
        return "/" + "/".join(parts)

    def doing(self, form: Mapping[str, str]) -> Doing:
        """Who acts, what the page knew and the id that a retry repeats. Raises BadInput without a name."""
        by = person_of(self.request) or (NOBODY_IN_PRACTICE if self.practice else "")
        if not by:
            raise BadInput(
                "Who is doing this?", where="name", hint="Give your name under Menu; what you typed stays here."
            )
        seen = form.get("expected", "")
        if seen and not (seen.isascii() and seen.isdigit() and len(seen) < 10):
            raise BadInput("This page is not one of this bench.", where="expected", hint="Load the page again.")
        slip = form.get("client_id", "")
        if len(slip) > 64 or not slip.isprintable():
            raise BadInput("This page is not one of this bench.", where="client_id", hint="Load the page again.")
        return Doing(by, int(seen) if seen else None, slip)

    def length(self, text: str, where: str) -> Length:
        """A length as typed on this page: a bare number has the person's unit. Raises BadInput."""
        return parse_length(text, unit=self.unit, where=where)


def desk(request: Request, room: str) -> Desk:
    """The desk in ``room``. Raises NotFound for another room."""
    workshop: Workshop = request.app.state.workshop
    return Desk(request, room, workshop.book(room))


def need_name(here: Desk) -> Response | None:
    """Where to send somebody without a name before they type anything; None when there is one, and in practice."""
    if here.practice or person_of(here.request):
        return None
    url = here.request.url
    back = url.path + (f"?{url.query}" if url.query else "")
    return RedirectResponse(f"/person?back={quote(back)}", status_code=303)


def form_of(state: JobState, address: str) -> dict[str, str]:
    """The hidden fields of a form that writes to ``state``'s stream."""
    return {"address": address, "expected": str(state.sequence), "client_id": uuid.uuid4().hex}


def show(
    here: Desk,
    state: JobState,
    template: str,
    context: Mapping[str, Any],
    *,
    step: str,
    status_code: int = 200,
) -> Response:
    """A page of the path in its frame: steps, job, what is owed, the gauge that feeds it."""
    return page(
        here.request,
        template,
        {"live": f"{here.address(state.id)}/news?seen={state.sequence}", **context},
        path=_path(here, state, step),
        job={"name": state.title, "note": _job_note(state), "address": here.address(state.id)},
        owed=[{"text": text, "address": ""} for text in owed(state)[:2]],
        gauge=gauge_of(here.book, state),
        practice=here.practice,
        status_code=status_code,
    )


def act(perform: Callable[[], str], refused: Callable[[dict[str, Any], int], Response]) -> Response:
    """Do ``perform`` and go to the address it returns. When it is refused, show the page again by ``refused(problem,
    status)`` with the problem under its field; what was typed is still there. A program gets the problem as JSON."""
    if ASKED_BY_PROGRAM.get():
        return RedirectResponse(perform(), status_code=303)
    try:
        return RedirectResponse(perform(), status_code=303)
    except Conflict as problem:
        if not conflict_is_only_news(problem):
            return refused({"what": problem.what, "hint": problem.hint, "buttons": []}, 409)
        return refused(
            {
                "what": "Someone else added a reading meanwhile; it is shown here now.",
                "hint": "Yours is still in the field: save it again to count it too.",
                "buttons": [],
            },
            409,
        )
    except Unsafe as problem:
        return refused(problem_of(problem), 409)
    except BadInput as problem:
        return refused(problem_of(problem), 422)


def problem_of(problem: FirstpullError, *buttons: Mapping[str, str]) -> dict[str, Any]:
    """A problem as the two lines under a field."""
    hint = problem.hint
    if isinstance(problem, Unsafe) and problem.reasons:
        hint = " ".join([*problem.reasons, hint]).strip()
    return {"what": problem.what, "hint": hint, "where": problem.where, "buttons": list(buttons)}


def gauge_of(book: Book, state: JobState) -> dict[str, Any] | None:
    """The gauge that this job's lengths are read with, and whether it is overdue."""
    if not state.gauge_id or not book.store.last(f"gauge:{state.gauge_id}"):
        return None
    row = gauge_due(book.gauge(state.gauge_id), date.fromisoformat(book.now()[:10]))
    return {"name": row.name, "note": row.text, "overdue": row.state == "due"}


def gauge_line(book: Book, state: JobState) -> dict[str, Any] | None:
    """The gauge's line beside a field that it feeds; only an overdue one is said."""
    gauge = gauge_of(book, state)
    if gauge is None or not gauge["overdue"]:
        return None
    return {"text": f"{gauge['name']}: {gauge['note']}", "overdue": True}


def _path(here: Desk, state: JobState, step: str) -> list[dict[str, Any]]:
    states: dict[str, str] = {}
    addresses: dict[str, str] = {}
    for stage in path(state):
        key = stage.name.replace(" ", "_")
        states[key] = "owed" if stage.status == "now" and key != step else stage.status
        addresses[key] = here.address(state.id, key) if key in _ADDRESS else "/look-after"
    states[step] = "now"
    if state.stopped:
        states["run"] = "stop"
    reachable = {key for key in PATH_KEYS if _reachable(state, key)}
    return steps(states, addresses={key: value for key, value in addresses.items() if key in reachable})


def _reachable(state: JobState, key: str) -> bool:
    if key in ("dial_in", "prove", "hand_over"):
        return state.setting is not None
    if key == "set_up":
        return state.insert is not None and state.stack is not None
    return key != "run" or state.released


def _job_note(state: JobState) -> str:
    parts = [f"r{state.revision}" if state.revision > 1 else "", state.status if state.status != "open" else ""]
    return " · ".join(part for part in [*parts, "demo data" if state.demo else ""] if part)

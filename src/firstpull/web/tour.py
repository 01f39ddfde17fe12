"""A tour of the first job: stops on the real pages of the demo workshop, one line above each says what to look at.

Where the tour stands is a cookie of this browser; nothing is written to the record.
"""

from __future__ import annotations

from typing import Any, Final
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from firstpull.errors import NotFound
from firstpull.jobs.workshop import Workshop
from firstpull.web.render import TOUR_COOKIE, page, tour_number
from firstpull.web.tour_stops import STOPS

router = APIRouter()
_OPEN_JOB, _CARD_JOB = "cable-guide-m5", "battery-tray-lid-m6"
_DAY_S: Final = 24 * 3600
_PLACES: Final = {
    "overview": "/?overview=yes",
    "choose": f"/bench/jobs/{_OPEN_JOB}/choose?screen=pick",
    "checks": f"/bench/jobs/{_OPEN_JOB}/choose?screen=checks",
    "set_up": f"/bench/jobs/{_OPEN_JOB}/set-up",
    "prove": f"/bench/jobs/{_CARD_JOB}/prove",
    "hand_over": f"/bench/jobs/{_CARD_JOB}/hand-over",
    "run": f"/bench/jobs/{_CARD_JOB}/operator",
    "look_after": "/look-after",
}


@router.get("/tour")
def show_tour(request: Request) -> Response:
    """What the tour is, and its stops."""
    workshop: Workshop = request.app.state.workshop
    rows = [{"name": stop.name, "text": stop.text, "address": f"/tour/{n}"} for n, stop in enumerate(STOPS, 1)]
    context = {"rows": rows, "demo": _has_demo(workshop), "number": tour_number(request)}
    return page(request, "tour.html", context)


@router.get("/tour/{number}")
def go_to_stop(request: Request, number: int, own: str = "") -> Response:
    """Go to a stop; 0 ends the tour, with ``own`` at the page that starts a job. Raises NotFound for a stop that there is not."""
    if number == 0:
        response = RedirectResponse("/bench/jobs/new" if own else "/?overview=yes", status_code=303)
        response.delete_cookie(TOUR_COOKIE, path="/", httponly=True, samesite="strict")
        return response
    if not 1 <= number <= len(STOPS):
        raise NotFound("The tour has no such stop.", hint=f"1 to {len(STOPS)}; begin at /tour.")
    workshop: Workshop = request.app.state.workshop
    if not _has_demo(workshop):
        return RedirectResponse("/tour", status_code=303)
    response = RedirectResponse(_place(workshop, STOPS[number - 1].key), status_code=303)
    response.set_cookie(TOUR_COOKIE, str(number), max_age=_DAY_S, path="/", httponly=True, samesite="strict")
    return response


def _place(workshop: Workshop, key: str) -> str:
    """The address of a stop; dialling in is tried on the newest practice tool."""
    if key != "dial_in":
        return _PLACES[key]
    rows: list[Any] = list(workshop.practice.store.summaries("job", limit=50))
    for row in rows[::-1]:
        name = row.stream.partition(":")[2]
        if workshop.practice.job(name).held is None:
            return f"/practice/jobs/{quote(name)}/dial-in"
    return "/practice"


def _has_demo(workshop: Workshop) -> bool:
    return all(workshop.bench.store.last(f"job:{name}") for name in (_OPEN_JOB, _CARD_JOB))

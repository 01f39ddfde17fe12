"""A job's own address, and the news that another browser has written to it."""

from __future__ import annotations

from html import escape
from urllib.parse import urlsplit

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from firstpull.jobs.path import next_step
from firstpull.web.desk import desk
from firstpull.web.person import local_address

router = APIRouter()


@router.get("/{room}/jobs/{job}")
def show_job(request: Request, room: str, job: str) -> Response:
    """Go to the step where the work goes on."""
    here = desk(request, room)
    state = here.book.job(job)
    return RedirectResponse(here.address(job, next_step(state).replace(" ", "_")), status_code=303)


@router.get("/{room}/jobs/{job}/news")
def show_news(request: Request, room: str, job: str, seen: int = 0) -> Response:
    """Nothing (204) while the page is up to date; else a line that says so, with a link to load it."""
    here = desk(request, room)
    last = here.book.store.last(f"job:{job}")
    seen = max(seen, 0)
    if last <= seen:
        return Response(status_code=204)
    events = here.book.store.read(f"job:{job}", after=seen)
    who = escape(", ".join(sorted({event.by for event in events})))
    came_from = urlsplit(request.headers.get("referer", ""))
    there = local_address(came_from.path + (f"?{came_from.query}" if came_from.query else ""))
    back = escape(here.address(job) if there == "/" else there)
    return HTMLResponse(f'<p class="said">Something was added by {who}. <a href="{back}">Show it</a></p>')

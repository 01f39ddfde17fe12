"""Fewest part numbers: tick the jobs, let it search beside the pages, and see which insert each joint takes.

Nothing is written. A search has its own address, so that any browser here can look at it, stop it, or take its answer out.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel, Field

from firstpull.errors import BadInput, FirstpullError, Unsafe
from firstpull.jobs.standardise import tools_of_shop
from firstpull.jobs.standardise_jobs import JobJoint, answer_csv, count_live_jobs, jobs_to_pick, joints_of_jobs
from firstpull.jobs.standardise_search import Question, Searches
from firstpull.units import parse_number, show_mm
from firstpull.web.asking import entry
from firstpull.web.desk import Desk, desk, problem_of
from firstpull.web.render import environment, page
from firstpull.web.standardise_views import csv_name, found_context, progress_context
from firstpull.web.texts import TEXTS

router = APIRouter()
ADDRESS = "/inserts/fewest"
_MOST_LISTED = 100
_MOST_TICKED = 500
_SEARCH_FROM = 12
_USUAL_MARGIN = "10"
_LISTS = ("find", "all", "none")


class Asked(BaseModel):
    """The form: which jobs and tools are ticked, the least margin in percent, and what to do. ``picked`` says that the
    ticks are a person's own, ``was`` is the search that the list was made with."""

    q: str = ""
    was: str = ""
    job: list[str] = Field(default_factory=list, max_length=2000)
    tool: list[str] = Field(default_factory=list, max_length=200)
    margin: str = _USUAL_MARGIN
    worst: str = ""
    picked: str = ""
    do: str = ""
    client_id: str = ""


@dataclass(frozen=True, slots=True)
class _Picked:
    """The list as shown: rows, which of them are ticked, and ticked ones that the list does not show."""

    rows: tuple[JobJoint, ...]
    ticked: frozenset[str]
    carried: tuple[str, ...]
    found: int


@router.get(ADDRESS)
def show_fewest(request: Request, asked: Annotated[Asked, Query()]) -> Response:
    """Which jobs, how much margin, which tools."""
    return _pick_page(desk(request, "bench"), asked)


@router.post(ADDRESS)
def do_fewest(request: Request, asked: Annotated[Asked, Form()]) -> Response:
    """Begin a search; jobs that cannot take part are named, and left out when the person says so."""
    here = desk(request, "bench")
    if asked.do in _LISTS or (asked.do == "enter" and asked.q.strip() != asked.was):
        return _pick_page(here, asked)
    try:
        question = _question(here, asked)
        if not here.book.inserts():
            raise BadInput("The catalogue is empty.", where="start", hint="Bring a table of inserts in first.")
        started = _searches(request).start(question, slip=asked.client_id[:64])
    except Unsafe as problem:
        return _pick_page(here, asked, problem=problem_of(problem), leave_out=True, status_code=409)
    except FirstpullError as problem:
        return _pick_page(here, asked, problem=problem_of(problem), status_code=422)
    return RedirectResponse(f"{ADDRESS}/{started}", status_code=303)


@router.get(ADDRESS + "/{search}")
def show_search(request: Request, search: str) -> Response:
    """How far it is, or what was found."""
    here = desk(request, "bench")
    look = _searches(request).look(search)
    if look.over:
        return page(request, "fewest_found.html", found_context(here, look, address=ADDRESS))
    return page(request, "fewest_search.html", progress_context(look, address=ADDRESS))


@router.get(ADDRESS + "/{search}/progress")
def show_progress(request: Request, search: str) -> Response:
    """The part of the page that moves; once it is over the page is loaded again."""
    try:
        look = _searches(request).look(search)
    except FirstpullError:
        return Response(headers={"HX-Refresh": "true"})
    if look.over:
        return Response(headers={"HX-Refresh": "true"})
    template = environment().get_template("fewest_progress.html")
    return HTMLResponse(template.render(progress_context(look, address=ADDRESS)))


@router.post(ADDRESS + "/{search}")
def stop_search(request: Request, search: str) -> Response:
    """Stop it; the best so far is kept."""
    _searches(request).stop(search)
    return RedirectResponse(f"{ADDRESS}/{search}", status_code=303)


@router.get(ADDRESS + "/{search}/answer.csv")
def export_answer(request: Request, search: str) -> Response:
    """The answer as CSV, one joint a row."""
    here = desk(request, "bench")
    look = _searches(request).look(search)
    if look.found is None:
        raise Unsafe("There is no answer yet.", where="search", hint="Wait for the search to end, or start it again.")
    jobs = {joint.name: job for job, joint in zip(look.asked.jobs, look.asked.joints, strict=True)}
    text = answer_csv(look.found.found, jobs, not_served=look.found.not_served[here.unit])
    headers = {"Content-Disposition": f'attachment; filename="{csv_name(look)}"'}
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers)


def _searches(request: Request) -> Searches:
    found: Searches = request.app.state.searches
    return found


def _question(here: Desk, asked: Asked) -> Question:
    """What is to be searched for. Raises Unsafe with the jobs that cannot take part, unless they are to be left out."""
    margin = typed_margin(asked.margin)
    if not asked.job:
        raise BadInput("No job is ticked.", where="jobs", hint="Tick those whose joints may share their inserts.")
    if len(asked.job) > _MOST_TICKED:
        raise BadInput(f"{len(asked.job)} jobs are ticked.", where="jobs", hint=f"{_MOST_TICKED} at most.")
    rows = joints_of_jobs(here.book, asked.job, unit=here.unit)
    out = [row for row in rows if row.joint is None]
    if out and asked.do != "leave_out":
        number = "One job" if len(out) == 1 else f"{len(out)} jobs"
        raise Unsafe(
            f"{number} cannot take part yet.",
            where="jobs",
            reasons=tuple(f"{row.title}: {row.problem} {row.cure}" for row in out[:3]),
            hint="Put it right in the job, or leave it out." if len(out) == 1 else "Put them right, or leave them out.",
        )
    kept = [(row.job, row.joint) for row in rows if row.joint is not None]
    if not kept:
        raise BadInput("No job is left.", where="jobs", hint="Describe stack and thread of the jobs first.")
    return Question(
        book=here.book,
        jobs=tuple(job for job, _joint in kept),
        joints=tuple(joint for _job, joint in kept),
        tools=tools_of_shop(here.book, list(dict.fromkeys(asked.tool))),
        min_margin=margin,
        estimates="worst" if asked.worst else "expected",
    )


def typed_margin(text: str) -> float:
    """The least margin as typed, in percent, as a share. Raises BadInput."""
    plain = text.strip().removesuffix("%").strip()
    try:
        share = float(parse_number(plain, where="margin")) / 100
    except BadInput:
        raise BadInput("That is not a margin.", where="margin", hint="A number of percent; 10 is usual.")
    if not 0 <= share < 1:
        raise BadInput("A margin is from 0 to under 100 %.", where="margin", hint="10 is usual.")
    return min(round(share, 4), 0.9999)


def _picked(here: Desk, asked: Asked) -> _Picked:
    q = asked.q.strip()[:80]
    rows = jobs_to_pick(here.book, words=q, most=_MOST_LISTED, unit=here.unit)
    able = {row.job for row in rows if row.joint is not None}
    shown = {row.job for row in rows}
    ticked = set(asked.job)
    if asked.do == "none":
        ticked -= shown
    elif asked.do == "all" or (not asked.picked and not asked.job):
        ticked |= able
    carried = tuple(job for job in dict.fromkeys(asked.job) if job in ticked and job not in shown)[:_MOST_TICKED]
    return _Picked(rows, frozenset(ticked), carried, count_live_jobs(here.book, words=q))


def _pick_page(
    here: Desk,
    asked: Asked,
    *,
    problem: dict[str, Any] | None = None,
    leave_out: bool = False,
    status_code: int = 200,
) -> Response:
    words = TEXTS["fewest"]
    start = {"label": words["start"], "do": "start"}
    other = {"label": words["back"], "address": "/inserts", "kind": "other"}
    picked = _picked(here, asked)
    where = (problem or {}).get("where", "")
    margin = entry(
        "margin",
        words["margin"],
        asked.margin[:20],
        problem=problem if where == "margin" else None,
        inputmode="decimal",
    )
    tools = here.book.tools()
    context = {
        "address": ADDRESS,
        "client_id": uuid.uuid4().hex,
        "margin": {**margin, "maxlength": 20},
        "worst": bool(asked.worst),
        "buttons": [{"label": words["leave_out"], "do": "leave_out"}, {**start, "kind": "other"}]
        if leave_out
        else [start, other],
        "problem": problem if where != "margin" else None,
        "rows": [_row(here, row, ticked=row.job in picked.ticked) for row in picked.rows if row.joint is not None],
        "out": [_row(here, row, ticked=row.job in picked.ticked) for row in picked.rows if row.joint is None],
        "carried": picked.carried,
        "q": asked.q.strip()[:80],
        "searchable": bool(asked.q.strip()) or picked.found > _SEARCH_FROM,
        "left_out": picked.found - len(picked.rows),
        "tools": [
            {"id": tool.id, "name": str(tool.tool.get("name", tool.id)), "ticked": tool.id in asked.tool}
            for tool in tools
        ],
        "any_tool": any(tool.id in asked.tool for tool in tools),
    }
    return page(here.request, "fewest_pick.html", context, status_code=status_code)


def _row(here: Desk, row: JobJoint, *, ticked: bool) -> dict[str, Any]:
    parts = [row.thread]
    if row.thickness_mm is not None:
        parts.append(f"{show_mm(row.thickness_mm, here.unit)} {here.unit}")
    parts.append(row.status)
    return {
        "job": row.job,
        "title": row.title,
        "note": " · ".join(part for part in parts if part),
        "ticked": ticked,
        "problem": row.problem,
        "cure": row.cure,
        "address": here.address(row.job, "choose"),
    }

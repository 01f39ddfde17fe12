"""The choose pages: the stack layer by layer and as measured, the screw, the access, what else is known of the joint, and
the insert."""

from __future__ import annotations

import uuid
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response
from pydantic import BaseModel

from firstpull.errors import BadInput, FirstpullError, NotFound
from firstpull.jobs import choose, open_job
from firstpull.record.job import JobState
from firstpull.web import choose_joint
from firstpull.web.choose_checks import checks_page
from firstpull.web.choose_needs import access_page, keep_access, keep_thread, thread_page
from firstpull.web.choose_pick import pick_page, take
from firstpull.web.choose_stack import (
    batch_page,
    keep_batch,
    layer_page,
    measure_page,
    read_stack,
    take_reading,
    take_stack,
)
from firstpull.web.desk import Desk, act, desk, need_name, problem_of
from firstpull.web.frozen import frozen_page
from firstpull.web.render import page

router = APIRouter()


class ChooseForm(BaseModel):
    """The fields of all the short screens; each sends its own."""

    do: str = "enter"
    material: str = ""
    thickness: str = ""
    faces: str = "1"
    reading: str = ""
    thin: str = ""
    thick: str = ""
    thread: str = ""
    torque: str = ""
    end: str = ""
    head: str = ""
    room_behind: str = ""
    part: str = ""
    tension: str = ""
    shear: str = ""
    push: str = ""
    load_factor: str = ""
    mating_thickness: str = ""
    clearance_hole: str = ""
    washer: str = ""
    strength: str = ""
    condition: str = ""
    proof_share: str = ""
    edge: str = ""
    pitch: str = ""
    pocket_diameter: str = ""
    pocket_depth: str = ""
    sealed: str = ""
    surroundings: str = ""
    temperature: str = ""
    body: str = ""
    dimple: str = ""
    load_ceiling: str = ""
    expected: str = ""
    client_id: str = ""


SCREENS = ("stack", "coat", "measure", "batch", "thread", "access", *choose_joint.SCREENS, "pick", "checks")


@router.get("/bench/jobs/new")
def show_new_job(request: Request) -> Response:
    """What the job is called, which part it is for, and the unit it is proved in."""
    here = desk(request, "bench")
    return need_name(here) or _new_page(here, {"title": "", "part": "", "unit": here.unit})


@router.post("/bench/jobs/new")
def do_new_job(
    request: Request,
    title: Annotated[str, Form()] = "",
    part: Annotated[str, Form()] = "",
    unit: Annotated[str, Form()] = "mm",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """Open the job and go on to its stack."""
    here = desk(request, "bench")
    typed = {"title": title, "part": part, "unit": unit, "client_id": client_id}
    try:
        doing = here.doing({"client_id": client_id})
        part_name = " ".join(part.split())
        if len(part_name) > 120:
            raise BadInput("That name is too long.", where="part", hint="120 letters at most.")
        state = open_job.open_job(here.book, title, doing=doing, unit=unit, part_name=part_name)
    except FirstpullError as problem:
        return _new_page(here, typed, problem=problem_of(problem), status_code=422)
    return RedirectResponse(here.address(state.id, "choose"), status_code=303)


@router.get("/{room}/jobs/{job}/choose")
def show_choose(request: Request, room: str, job: str, screen: str = "", part: str = "") -> Response:
    """One of the short screens; without ``screen`` the first that lacks its answer."""
    here = desk(request, room)
    asked = need_name(here)
    if asked is not None:
        return asked
    state = here.book.job(job)
    if state.released:
        return frozen_page(here, state, step="choose")
    return _screen(here, state, _known(screen) or first_open(state), part=part)


@router.post("/{room}/jobs/{job}/choose")
def do_choose(request: Request, room: str, job: str, form: Annotated[ChooseForm, Form()], screen: str = "") -> Response:
    """A layer, a reading, the batch, the screw, the access, or the insert."""
    here = desk(request, room)
    here.book.job(job)
    name = _known(screen) or "stack"
    typed = form.model_dump(exclude={"do", "part", "expected", "client_id"})

    def perform() -> str:
        after = _do(here, job, name, form=form, typed=typed)
        return here.address(job, "set_up") if after == "set_up" else screen_address(here, job, after)

    def refused(problem: dict[str, Any], status: int) -> Response:
        state = here.book.job(job)
        if state.released:
            return frozen_page(here, state, step="choose", status_code=status)
        return _screen(here, state, name, part=form.part, typed=typed, problem=problem, status_code=status)

    return act(perform, refused)


def first_open(state: JobState) -> str:
    """The first screen that lacks its answer."""
    if state.stack is None:
        return "stack"
    return "thread" if choose.needs_of(state) is None else "pick"


def screen_address(here: Desk, job: str, screen: str) -> str:
    """The address of one screen; a part to look at may follow the name."""
    name, _, part = screen.partition(" ")
    from urllib.parse import quote

    return f"{here.address(job, 'choose')}?screen={name}" + (f"&part={quote(part)}" if part else "")


def _known(screen: str) -> str:
    if screen and screen not in SCREENS:
        raise NotFound(
            f"There is no screen “{screen[:20]}” here.", hint="stack, measure, thread, access, loads or pick."
        )
    return screen


def _do(here: Desk, job: str, screen: str, *, form: ChooseForm, typed: dict[str, str]) -> str:
    """Do one act and say which screen comes next."""
    state, do = here.book.job(job), form.do
    doing = here.doing({"expected": form.expected, "client_id": form.client_id})
    if screen in ("stack", "coat"):
        return take_stack(here, state, do, coat=screen == "coat", typed=typed, doing=doing)
    if screen == "measure":
        return take_reading(here, state, do, text=typed["reading"], doing=doing)
    if screen == "batch":
        return keep_batch(here, state, do, typed=typed, doing=doing)
    if screen == "thread":
        return keep_thread(here, state, typed=typed, doing=doing)
    if screen == "access":
        return keep_access(here, state, do, typed=typed, doing=doing)
    if screen in choose_joint.SCREENS:
        return choose_joint.keep(here, state, screen, do, typed=typed, doing=doing)
    return take(here, state, do, part=form.part, doing=doing)


def _screen(
    here: Desk,
    state: JobState,
    screen: str,
    *,
    part: str = "",
    typed: dict[str, str] | None = None,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    if state.stack is None and screen not in ("stack", "coat"):
        screen = "stack"
    if choose.needs_of(state) is None and screen in ("access", "pick", "checks", *choose_joint.SCREENS):
        screen = "thread"
    if screen in ("stack", "coat"):
        return layer_page(
            here, state, coat=screen == "coat", typed=typed or {}, problem=problem, status_code=status_code
        )
    if screen == "measure":
        text = (typed or {}).get("reading", "")
        return measure_page(here, state, read_stack(state), text=text, problem=problem, status_code=status_code)
    pages = {"batch": batch_page, "thread": thread_page, "access": access_page}
    if screen in pages:
        return pages[screen](here, state, typed=typed, problem=problem, status_code=status_code)
    if screen in choose_joint.SCREENS:
        return choose_joint.joint_page(here, state, screen, typed=typed, problem=problem, status_code=status_code)
    shown = checks_page if screen == "checks" else pick_page
    try:
        return shown(here, state, part=part, problem=problem, status_code=status_code)
    except BadInput as clash:
        # an answer that a later one made impossible, as a hole too small for another thread, is asked again
        asked, field = choose_joint.screen_of(clash.where)
        if not asked:
            raise
        clash.where = field
        return choose_joint.joint_page(here, state, asked, problem=problem_of(clash), status_code=status_code)


def _new_page(
    here: Desk, typed: dict[str, str], *, problem: dict[str, Any] | None = None, status_code: int = 200
) -> Response:
    where = (problem or {}).get("where")
    context = {
        "form": {"address": "/bench/jobs/new", "expected": "", "client_id": typed.get("client_id") or uuid.uuid4().hex},
        "title": "New job",
        "question": "What do you call this job?",
        "crumb": "",
        "said": "",
        "caution": "",
        "instruction": "",
        "note": "",
        "fields": [
            {
                "name": "title",
                "label": "Job",
                "note": "for example “Battery tray lid”",
                "value": typed["title"],
                "maxlength": 120,
                "problem": problem if where != "part" else None,
            },
            {
                "name": "part",
                "label": "Part",
                "note": "its name or number, if it has one",
                "value": typed["part"],
                "maxlength": 120,
                "problem": problem if where == "part" else None,
            },
        ],
        "choices": [],
        "choices_after": [
            {
                "name": "unit",
                "legend": "Proved in",
                "choices": [{"value": "mm", "label": "mm"}, {"value": "in", "label": "in"}],
                "chosen": typed["unit"],
            }
        ],
        "field": None,
        "readings": [],
        "why": [],
        "facts": [],
        "buttons": [
            {"label": "Open the job", "do": "open", "kind": ""},
            {"label": "Insert in my hand", "address": "/inserts/in-hand", "kind": "other"},
        ],
        "drawing": "",
        "drawing_title": "The way of a job",
        "drawing_notes": [],
        "lines": [
            "Choose: describe the stack, say what the screw asks, take an insert that fits.",
            "Set up: mandrel, anvil and knob, one act at a time.",
            "Dial in on a few sacrificial inserts; prove on coupons of exactly this stack.",
            "Hand over the card; check the run against it.",
        ],
    }
    return page(here.request, "steps/question.html", context, status_code=status_code)

"""The virtual pull: four short screens of measures, the pull beside the page with a stop, and what it gave.

For a part of the catalogue, or for a job; only “Use as set allowance” writes anything.
"""

from __future__ import annotations

import uuid
from typing import Annotated, Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel

from firstpull.drawing.collapse_measures import LETTERS, MEASURES, measures_drawing
from firstpull.errors import BadInput, FirstpullError, NotFound, Unsafe
from firstpull.jobs import virtual_work
from firstpull.jobs.long_work import Look
from firstpull.jobs.shapes import insert_of
from firstpull.jobs.virtual_ask import FRICTIONS, METALS, body_words, known_of, known_of_job, request_from
from firstpull.jobs.virtual_work import Question, VirtualPulls
from firstpull.mechanics.collapse.case import check_case
from firstpull.mechanics.insert import Insert
from firstpull.record.job import JobState
from firstpull.trade.materials import sheet_material_names
from firstpull.trade.threads import thread
from firstpull.units import Length, parse_length, show_length
from firstpull.web.desk import Desk, act, desk, form_of, need_name, problem_of, show
from firstpull.web.frozen import frozen_page
from firstpull.web.render import environment, page
from firstpull.web.texts import TEXTS
from firstpull.web.typed import with_unit
from firstpull.web.virtual_views import found_context, progress_context

router = APIRouter()
PART_ADDRESS = "/inserts/virtual-pull"
SCREENS: tuple[tuple[str, ...], ...] = (
    ("outer_diameter", "counterbore_diameter", "unthreaded_length", "threaded_length"),
    ("flange_diameter", "flange_thickness", "thickness", "hole_diameter"),
    ("thread", "grip_max"),
    ("sheet",),
)
_LENGTHS = (*MEASURES, "grip_max")
_CHOICES = {2: "metal", 3: "friction"}
"""The choice that stands under the fields of a screen."""
LAST = len(SCREENS) - 1


class Measures(BaseModel):
    """The fields of the screens."""

    outer_diameter: str = ""
    counterbore_diameter: str = ""
    unthreaded_length: str = ""
    threaded_length: str = ""
    flange_diameter: str = ""
    flange_thickness: str = ""
    thickness: str = ""
    hole_diameter: str = ""
    grip_max: str = ""
    thread: str = ""
    sheet: str = ""
    metal: str = ""
    friction: str = ""


class MeasuresForm(Measures):
    """A screen as it is sent: it carries the answers of those before it."""

    do: str = "next"
    screen: str = "0"
    part: str = ""
    expected: str = ""
    client_id: str = ""


@router.get(PART_ADDRESS)
def show_of_part(request: Request, asked: Annotated[Measures, Query()], part: str = "") -> Response:
    """The first screen for a part of the catalogue, or for none."""
    here = desk(request, "bench")
    insert = here.book.insert(part) if part else None
    return _screen(here, None, 0, _filled(here, known_of(insert) if insert else {}, asked), part=part)


@router.post(PART_ADDRESS)
def do_of_part(request: Request, form: Annotated[MeasuresForm, Form()]) -> Response:
    """The next screen, or the pull begun."""
    return _answer(desk(request, "bench"), None, form)


@router.get("/{room}/jobs/{job}/virtual-pull")
def show_of_job(request: Request, room: str, job: str, asked: Annotated[Measures, Query()]) -> Response:
    """The first screen for a job, with what it knows filled in."""
    here = desk(request, room)
    state = here.book.job(job)
    if state.released:
        return frozen_page(here, state, step="set_up")
    if state.insert is None or state.stack is None:
        return RedirectResponse(here.address(job, "choose"), status_code=303)
    return need_name(here) or _screen(here, state, 0, _filled(here, known_of_job(state), asked), part="")


@router.post("/{room}/jobs/{job}/virtual-pull")
def do_of_job(request: Request, room: str, job: str, form: Annotated[MeasuresForm, Form()]) -> Response:
    """The next screen, or the pull begun."""
    here = desk(request, room)
    return _answer(here, here.book.job(job), form)


@router.get(PART_ADDRESS + "/{pull}")
def show_pull_of_part(request: Request, pull: str) -> Response:
    """How far it is, or what it gave."""
    return _pull_page(desk(request, "bench"), None, pull)


@router.get("/{room}/jobs/{job}/virtual-pull/{pull}")
def show_pull_of_job(request: Request, room: str, job: str, pull: str) -> Response:
    """How far it is, or what it gave."""
    here = desk(request, room)
    return _pull_page(here, here.book.job(job), pull)


@router.get("/virtual-pulls/{pull}/progress")
def show_progress(request: Request, pull: str) -> Response:
    """The part of the page that moves; once it is over the page is loaded again."""
    try:
        look = pulls_of(request).look(pull)
    except FirstpullError:
        return Response(headers={"HX-Refresh": "true"})
    if look.over:
        return Response(headers={"HX-Refresh": "true"})
    template = environment().get_template("virtual_progress.html")
    return HTMLResponse(template.render(progress_context(look, address=address_of(look.asked))))


@router.post(PART_ADDRESS + "/{pull}")
def stop_of_part(request: Request, pull: str) -> Response:
    """Stop it."""
    pulls_of(request).stop(pull)
    return RedirectResponse(f"{PART_ADDRESS}/{quote(pull)}", status_code=303)


@router.post("/{room}/jobs/{job}/virtual-pull/{pull}")
def do_pull_of_job(
    request: Request,
    room: str,
    job: str,
    pull: str,
    *,
    do: Annotated[str, Form()] = "stop",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """Stop it, or use its allowance for the job."""
    here = desk(request, room)
    state = here.book.job(job)
    look = _of_job(request, state, room, pull)
    if do == "stop":
        pulls_of(request).stop(pull)
        return RedirectResponse(here.address(job, "virtual-pull", pull), status_code=303)

    def perform() -> str:
        if look.found is None:
            raise Unsafe("There is no answer yet.", where="pull", hint="Wait for the pull to end.")
        doing = here.doing({"expected": expected, "client_id": client_id})
        virtual_work.use_allowance(here.book, job, look.asked, answer=look.found, doing=doing)
        return here.address(job, "set_up")

    def refused(problem: dict[str, Any], status: int) -> Response:
        now = here.book.job(job)
        if now.released:
            return frozen_page(here, now, step="set_up", status_code=status)
        return _pull_page(here, now, pull, problem=problem, status_code=status)

    return act(perform, refused)


def pull_of(here: Desk, state: JobState | None, pull: str) -> Look[Question, dict[str, Any]]:
    """The pull as it stands; with a job, only one of this job. Raises NotFound."""
    return pulls_of(here.request).look(pull) if state is None else _of_job(here.request, state, here.room, pull)


def pulls_of(request: Request) -> VirtualPulls:
    """The bench's virtual pulls."""
    found: VirtualPulls = request.app.state.virtual_pulls
    return found


def _of_job(request: Request, state: JobState, room: str, pull: str) -> Look[Question, dict[str, Any]]:
    """The pull, if it is one of this job. Raises NotFound."""
    look = pulls_of(request).look(pull)
    if (look.asked.room, look.asked.job) != (room, state.id):
        raise NotFound("This pull is not of this job.", where="pull", hint="Start it again.")
    return look


def address_of(asked: Question) -> str:
    """Where the pages of this pull live."""
    if asked.job:
        return f"/{asked.room}/jobs/{quote(asked.job)}/virtual-pull"
    return PART_ADDRESS


def _pull_page(
    here: Desk, state: JobState | None, pull: str, *, problem: dict[str, Any] | None = None, status_code: int = 200
) -> Response:
    look = pull_of(here, state, pull)
    address = address_of(look.asked)
    if not look.over:
        template, context = "virtual_run.html", progress_context(look, address=address)
    else:
        template = "virtual_found.html"
        again = f"{address}?{urlencode([*look.asked.typed, *([('part', look.asked.part)] if look.asked.part else [])])}"
        context = found_context(look, address=address, again=again, unit=here.unit, job=state is not None)
    form = (
        form_of(state, f"{address}/{pull}") if state else {"address": "", "expected": "", "client_id": uuid.uuid4().hex}
    )
    context |= {"form": {**form, "address": f"{address}/{quote(pull)}"}, "problem": problem}
    if state is None:
        return page(here.request, template, context, status_code=status_code)
    return show(here, state, template, context, step="set_up", status_code=status_code)


def _filled(here: Desk, known: dict[str, Length | str], asked: Measures) -> dict[str, str]:
    """What is known, as typed texts; what the address brings along comes first."""
    texts = {}
    for name, given in asked.model_dump().items():
        brought = " ".join(given.split())[:60]
        value = known.get(name, "")
        shown = f"{show_length(value, here.unit)} {here.unit}" if isinstance(value, Length) else str(value)
        texts[name] = brought if brought.isprintable() and brought else shown
    return texts


def _answer(here: Desk, state: JobState | None, form: MeasuresForm) -> Response:
    typed = {name: getattr(form, name).strip()[:60] for name in Measures.model_fields}
    number = int(form.screen) if form.screen in ("0", "1", "2", "3") else 0
    if form.do == "back":
        return _screen(here, state, max(number - 1, 0), typed, part=form.part)
    try:
        sizes = _sizes(here, typed, until=number)
        if number >= 2 and not typed["metal"]:
            raise BadInput("Which metal is the insert?", where="metal", hint="Tap the nearest one.")
        if number < LAST:
            kept = {
                name: with_unit(text, here.unit) if name in _LENGTHS and text else text for name, text in typed.items()
            }
            return _screen(here, state, number + 1, kept, part=form.part)
        request = request_from(sizes, typed, state=state)
        check_case(request.case)
        insert = _insert_of(here, state, form.part)
        question = Question(
            request,
            tuple(
                (name, with_unit(text, here.unit) if name in _LENGTHS and text else text)
                for name, text in typed.items()
            ),
            here.room,
            "" if state is None else state.id,
            form.part,
            () if insert is None else body_words(insert),
        )
        started = pulls_of(here.request).start(question, slip=form.client_id[:64])
    except FirstpullError as problem:
        return _refused(here, state, typed, problem, number, part=form.part)
    return RedirectResponse(f"{address_of(question)}/{started}", status_code=303)


def _insert_of(here: Desk, state: JobState | None, part: str) -> Insert | None:
    if state is not None:
        return insert_of(state)
    return here.book.insert(part) if part else None


def _sizes(here: Desk, typed: dict[str, str], *, until: int) -> dict[str, Length]:
    """The lengths typed up to a screen. Raises BadInput naming the field."""
    found: dict[str, Length] = {}
    for name in (name for screen in SCREENS[: until + 1] for name in screen if name in _LENGTHS):
        if not typed[name]:
            if name == "grip_max":
                continue
            raise BadInput("This measure is needed.", where=name, hint="Measure it, or look it up.")
        found[name] = here.length(typed[name], name)
        if found[name].nanometres <= 0:
            raise BadInput("A length is more than nothing.", where=name, hint="Measure it again.")
    if until >= 2:
        thread(typed["thread"], where="thread")
    return found


_PLACES = {
    "body.outer_diameter": "outer_diameter",
    "body.counterbore_diameter": "counterbore_diameter",
    "body.unthreaded_length": "unthreaded_length",
    "body.threaded_length": "threaded_length",
    "body.thread_bore_diameter": "counterbore_diameter",
    "body.thread": "counterbore_diameter",
    "flange.diameter": "flange_diameter",
    "flange.thickness": "flange_thickness",
    "sheet.thickness": "thickness",
    "sheet.hole_diameter": "hole_diameter",
}


def _refused(
    here: Desk, state: JobState | None, typed: dict[str, str], problem: FirstpullError, number: int, *, part: str
) -> Response:
    """The screen that the problem belongs to, with it under its field."""
    where = _PLACES.get(problem.where, problem.where)
    screen = next((place for place, names in enumerate(SCREENS[: number + 1]) if where in names), number)
    said = {**problem_of(problem), "where": where}
    return _screen(here, state, screen, typed, part=part, problem=said, status_code=422)


def _screen(
    here: Desk,
    state: JobState | None,
    number: int,
    typed: dict[str, str],
    *,
    part: str,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    words = TEXTS["virtual"]
    names = SCREENS[number]
    where = (problem or {}).get("where", "")
    choice = _CHOICES.get(number, "")
    asked = [*names, choice]
    address = PART_ADDRESS if state is None else here.address(state.id, "virtual-pull")
    form = form_of(state, address) if state else {"address": address, "expected": "", "client_id": uuid.uuid4().hex}
    carried = [(name, typed[name]) for name in Measures.model_fields if name not in asked]
    back = {"label": words["back"], "do": "back", "kind": "other"}
    if number == 0:
        back = {"label": words["leave"], "address": _leave(here, state, part), "kind": "other"}
    context = {
        "form": form,
        "title": words["title"],
        "question": words[f"ask_{number}"],
        "crumb": f"{words['title']} · {number + 1} of {len(SCREENS)}",
        "said": "",
        "caution": "",
        "instruction": "",
        "note": "",
        "choices": [],
        "choices_after": [_group(choice, typed)] if choice else [],
        "fields": [_field(here, name, typed, problem if where == name else None) for name in names],
        "pairs": True,
        "field": None,
        "carry": [("screen", str(number)), ("part", part), *carried],
        "problem": None if where in names else problem,
        "readings": [],
        "why": [words[f"why_{number}"]],
        "facts": [],
        "buttons": [{"label": words["pull"] if number == LAST else words["next"], "do": "next", "kind": ""}, back],
        "drawing": measures_drawing(_known_mm(here, typed), names if number < 2 else ()),
        "drawing_title": words["where"],
        "drawing_notes": [here.lengths_note],
    }
    if state is None:
        return page(here.request, "steps/question.html", context, status_code=status_code)
    return show(here, state, "steps/question.html", context, step="set_up", status_code=status_code)


def _leave(here: Desk, state: JobState | None, part: str) -> str:
    if state is not None:
        return here.address(state.id, "set_up")
    return f"/inserts/row?part={quote(part, safe='')}" if part else "/inserts"


def _known_mm(here: Desk, typed: dict[str, str]) -> dict[str, float]:
    known = {}
    for name in MEASURES:
        try:
            known[name] = parse_length(typed[name], unit=here.unit).mm
        except BadInput:
            continue
    return known


def _field(here: Desk, name: str, typed: dict[str, str], problem: dict[str, Any] | None) -> dict[str, Any]:
    label = TEXTS["virtual_measures"][name]
    lettered = name in LETTERS
    if lettered:
        label = f"{LETTERS[name]} · {label}"
    field: dict[str, Any] = {"name": name, "label": label, "value": typed[name], "problem": problem, "maxlength": 60}
    if name in _LENGTHS:
        field |= {"label": label if lettered else f"{label}, {here.unit}", "inputmode": "decimal"}
    if name == "sheet":
        field["options"] = sheet_material_names()
    return field


def _group(name: str, typed: dict[str, str]) -> dict[str, Any]:
    """The choice of the insert's metal, or of the state of its surfaces."""
    values = list(METALS.values()) if name == "metal" else list(FRICTIONS)
    return {
        "name": name,
        "legend": TEXTS["virtual"][name],
        "choices": [{"value": value, "label": value.capitalize()} for value in values],
        "chosen": typed[name] or ("" if name == "metal" else "as delivered"),
        "across": 2,
    }

"""Insert in my hand: three short screens measure an insert, and it becomes a row of the catalogue, “measured here”.

What was found out while looking for it in the catalogue comes along in the address and stands in its fields.
"""

from __future__ import annotations

import uuid
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import Response
from pydantic import BaseModel

from firstpull.drawing.section import InsertShape, joint_section
from firstpull.drawing.stack import insert_on_its_side
from firstpull.errors import BadInput, Unsafe
from firstpull.jobs import catalogue, choose
from firstpull.mechanics.insert import BODIES, ENDS, HEADS, Insert, check_insert
from firstpull.record.job import JobState
from firstpull.trade.materials import insert_material_names
from firstpull.trade.threads import thread
from firstpull.units import Length, parse_length
from firstpull.web.desk import Desk, act, desk, form_of, need_name, show
from firstpull.web.render import page
from firstpull.web.typed import typed_count, with_unit

router = APIRouter()
_SCREENS = (
    ("part", "thread", "end", "head"),
    ("length_free", "flange_diameter", "flange_thickness", "body_diameter", "body"),
    ("grip_min", "grip_max", "head_marks", "material"),
)
_LENGTHS = ("length_free", "flange_diameter", "flange_thickness", "body_diameter", "grip_min", "grip_max")
_LONGEST = 80
_LABELS = {
    "part": "Name",
    "thread": "Thread",
    "length_free": "Free length",
    "flange_diameter": "Flange, across",
    "flange_thickness": "Flange, thick",
    "body_diameter": "Body, across",
    "grip_min": "Thinnest",
    "grip_max": "Thickest",
    "head_marks": "Head marks",
    "material": "Made of",
}


class Found(BaseModel):
    """The fields of the three screens."""

    part: str = ""
    thread: str = ""
    end: str = ""
    head: str = "flat"
    length_free: str = ""
    flange_diameter: str = ""
    flange_thickness: str = ""
    body_diameter: str = ""
    grip_min: str = ""
    grip_max: str = ""
    body: str = ""
    head_marks: str = ""
    material: str = ""


class InHandForm(Found):
    """A screen as it is sent: it carries the answers of those before it."""

    do: str = "next"
    screen: str = "0"
    expected: str = ""
    client_id: str = ""


@router.get("/inserts/in-hand")
def show_in_hand(request: Request, found: Annotated[Found, Query()]) -> Response:
    """The first screen, outside a job."""
    here = desk(request, "bench")
    return need_name(here) or _page(here, None, 0, _carried(found))


@router.post("/inserts/in-hand")
def do_in_hand(request: Request, form: Annotated[InHandForm, Form()]) -> Response:
    """The next screen, or the insert kept in the catalogue."""
    return _answer(desk(request, "bench"), None, form)


@router.get("/{room}/jobs/{job}/in-hand")
def show_in_hand_of_job(request: Request, room: str, job: str, found: Annotated[Found, Query()]) -> Response:
    """The first screen, for this job."""
    here = desk(request, room)
    return need_name(here) or _page(here, here.book.job(job), 0, _carried(found))


@router.post("/{room}/jobs/{job}/in-hand")
def do_in_hand_of_job(request: Request, room: str, job: str, form: Annotated[InHandForm, Form()]) -> Response:
    """The next screen, or the insert kept and taken for this job."""
    here = desk(request, room)
    return _answer(here, here.book.job(job), form)


def _carried(found: Found) -> dict[str, str]:
    """What the address brings along; a text that is no answer is left out, and the head is flat until it is said."""
    brought = {name: " ".join(text.split()) for name, text in found.model_dump().items()}
    kept = {name: text for name, text in brought.items() if len(text) <= _LONGEST and text.isprintable()}
    for name, words in (("end", ENDS), ("head", HEADS), ("body", BODIES)):
        if kept.get(name) not in words:
            kept[name] = "flat" if name == "head" else ""
    return kept


def _answer(here: Desk, state: JobState | None, form: InHandForm) -> Response:
    typed = form.model_dump(exclude={"do", "screen", "expected", "client_id"})
    number = int(form.screen) if form.screen in ("0", "1", "2") else 0
    if form.do == "back":
        return _page(here, state, max(number - 1, 0), typed)
    try:
        values = _values(here, typed, until=number)
    except BadInput as problem:
        return _refused(
            here, state, typed, {"what": problem.what, "hint": problem.hint, "where": problem.where}, number
        )
    if number < len(_SCREENS) - 1:
        kept = {
            name: with_unit(text, here.unit) if name in _LENGTHS and text.strip() else text
            for name, text in typed.items()
        }
        return _page(here, state, number + 1, kept)

    def perform() -> str:
        doing = here.doing({"expected": form.expected, "client_id": form.client_id})
        insert = Insert(**values)
        if state is None:
            catalogue.add_measured(here.book, insert, doing=doing)
            return f"/inserts/row?part={quote(insert.part, safe='')}"
        if state.released:
            raise Unsafe("This job is released and frozen.", where="part", hint="Open a new revision.")
        choose.take_insert_in_hand(here.book, state.id, insert, doing=doing)
        return here.address(state.id, "set_up" if state.stack is not None else "choose")

    def refused(problem: dict[str, Any], status: int) -> Response:
        return _refused(here, state, typed, problem, number, status_code=status)

    return act(perform, refused)


def _values(here: Desk, typed: dict[str, str], *, until: int) -> dict[str, Any]:
    """What was typed up to a screen, as the insert's values. Raises BadInput naming the field."""
    part = " ".join(typed["part"].split())
    if not part:
        raise BadInput("Give it a name to find it again.", where="part", hint="For example “M6 from the blue box”.")
    if len(part) > 80:
        raise BadInput("That name is too long.", where="part", hint="80 letters at most.")
    if typed["thread"].strip() == "":
        raise BadInput("Which thread has it?", where="thread", hint="For example M6 or 1/4-20.")
    thread(typed["thread"], where="thread")
    if typed["end"] not in ENDS:
        raise BadInput(
            "Is its far end open or closed?", where="end", hint="Tap one: it decides how the mandrel goes in."
        )
    if typed["head"] not in HEADS:
        raise BadInput("Which head has it?", where="head", hint="Tap one.")
    values: dict[str, Any] = {
        "part": part,
        "thread": typed["thread"].strip(),
        "end": typed["end"],
        "head": typed["head"],
        "note": "measured here",
    }
    if until >= 1:
        values |= _lengths(here, typed, _SCREENS[1][:4], needed=("length_free",))
        values |= _look(typed["body"])
    if until >= 2:
        values |= _lengths(here, typed, ("grip_min", "grip_max"), needed=("grip_min", "grip_max"))
        if typed["head_marks"].strip():
            values["head_marks"] = typed_count(typed["head_marks"], "head_marks", "How many marks?", hint="0, 1, 2 …")
        values["material"] = " ".join(typed["material"].split())[:80]
        check_insert(Insert(**values))
    return values


def _look(body: str) -> dict[str, Any]:
    if body not in ("", *BODIES):
        raise BadInput("What does its body look like?", where="body", hint="Tap one, or none.")
    return {"body": body} if body else {}


def _lengths(here: Desk, typed: dict[str, str], names: tuple[str, ...], *, needed: tuple[str, ...]) -> dict[str, Any]:
    found: dict[str, Length] = {}
    for name in names:
        if typed[name].strip():
            found[name] = here.length(typed[name], name)
            if found[name].nanometres <= 0:
                raise BadInput("A length is more than nothing.", where=name, hint="Measure it again.")
        elif name in needed:
            raise BadInput(f"{_LABELS[name]}: this one is needed.", where=name, hint="Measure it, or look it up.")
    return found


def _refused(
    here: Desk,
    state: JobState | None,
    typed: dict[str, str],
    problem: dict[str, Any],
    number: int,
    *,
    status_code: int = 422,
) -> Response:
    """The screen that the problem belongs to, with it under its field."""
    name = str(problem.get("where", "")).rsplit(".", 1)[-1]
    screen = next((place for place, names in enumerate(_SCREENS[: number + 1]) if name in names), number)
    return _page(here, state, screen, typed, problem={**problem, "where": name, "buttons": []}, status_code=status_code)


def _page(
    here: Desk,
    state: JobState | None,
    number: int,
    typed: dict[str, str],
    *,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    names = _SCREENS[number]
    where = (problem or {}).get("where", "")
    fields = [_field(here, name, typed, problem if where == name else None) for name in names if name in _LABELS]
    shown = {field["name"] for field in fields}
    back = [{"label": "Back", "do": "back", "kind": "other"}]
    if number == 0:
        back = [_find(state)] if here.book.inserts() else []
    address = "/inserts/in-hand" if state is None else here.address(state.id, "in-hand")
    form = (
        {"address": address, "expected": "", "client_id": uuid.uuid4().hex}
        if state is None
        else form_of(state, address)
    )
    carried = [(name, typed.get(name, "")) for group in _SCREENS for name in group if name not in names]
    context = {
        "form": form,
        "title": "Insert in my hand",
        "question": ("Which insert is it?", "Measure it.", "Which stacks may it hold?")[number],
        "crumb": f"{number + 1} of 3 · {_said(number, typed)}",
        "said": "",
        "caution": "",
        "instruction": "",
        "note": "",
        "choices": [],
        "choices_after": _groups(typed) if number == 0 else _body(typed) if number == 1 else [],
        "fields": fields,
        "pairs": True,
        "field": None,
        "carry": [("screen", str(number)), *carried],
        "problem": None if where in shown else problem,
        "readings": [],
        "why": _WHY[number],
        "facts": [],
        "buttons": [{"label": "Keep this insert" if number == 2 else "Go on", "do": "next", "kind": ""}, *back],
        "drawing": _drawing(here, typed),
        "drawing_title": "What is measured",
        "drawing_notes": [here.lengths_note],
    }
    if state is None:
        return page(here.request, "steps/question.html", context, status_code=status_code)
    return show(here, state, "steps/question.html", context, step="choose", status_code=status_code)


_WHY: tuple[list[str], ...] = (
    [],
    [],
    [
        "Without the flange’s thickness nothing can be said about the room behind.",
        "Take the grip range from the table that came with the insert. In many inch series the shortest grip has a plain "
        "head and each longer one a mark more; makers differ, so a mark only proposes.",
    ],
)


def _find(state: JobState | None) -> dict[str, str]:
    """The way to look for it in the catalogue first, and back to this job."""
    address = "/inserts/identify" if state is None else f"/inserts/identify?job={quote(state.id, safe='')}"
    return {"label": "Find it first", "address": address, "kind": "other"}


def _said(number: int, typed: dict[str, str]) -> str:
    """What is to be known of a screen: that answers were brought along, or what is needed of it."""
    brought = any(typed.get(name) for group in _SCREENS[1:] for name in group)
    if number == 0:
        return "insert in my hand" + (" · what was found is filled in" if brought else "")
    return "only the free length is needed" if number == 1 else "insert in my hand"


def _field(here: Desk, name: str, typed: dict[str, str], problem: dict[str, Any] | None) -> dict[str, Any]:
    field: dict[str, Any] = {"name": name, "label": _LABELS[name], "value": typed.get(name, ""), "problem": problem}
    if name in _LENGTHS:
        field |= {"label": f"{_LABELS[name]}, {here.unit}", "inputmode": "decimal", "maxlength": 60}
    if name == "material":
        field["options"] = insert_material_names()
    return field


def _groups(typed: dict[str, str]) -> list[dict[str, Any]]:
    ends = [{"value": "open", "label": "Open"}, {"value": "closed", "label": "Closed"}]
    heads = [
        {"value": "flat", "label": "Flat"},
        {"value": "countersunk", "label": "Sunk"},
        {"value": "low profile", "label": "Low"},
    ]
    return [
        {"name": "end", "legend": "Far end", "choices": ends, "chosen": typed.get("end", "")},
        {
            "name": "head",
            "legend": "Head: flat, countersunk or low profile",
            "choices": heads,
            "chosen": typed.get("head", "flat"),
        },
    ]


def _body(typed: dict[str, str]) -> list[dict[str, Any]]:
    choices = [{"value": word, "label": word.capitalize()} for word in BODIES]
    return [{"name": "body", "legend": "Body", "choices": choices, "chosen": typed.get("body", "")}]


def _drawing(here: Desk, typed: dict[str, str]) -> str:
    """The insert as far as it was measured, in a stack of its thickest; the drawing says what is not known."""

    def mm(name: str) -> float | None:
        try:
            value = parse_length(typed.get(name, ""), unit=here.unit).mm
        except BadInput:
            return None
        return value if value > 0 else None

    if mm("length_free") is None:
        return insert_on_its_side(typed.get("end") or "open", key="in-hand")
    try:
        major = thread(typed.get("thread", "")).major_mm
    except BadInput:
        major = 6.0
    shape = InsertShape(
        mm("length_free") or 2.6 * major,
        major,
        mm("flange_diameter"),
        mm("flange_thickness"),
        mm("body_diameter"),
        head=typed.get("head", "flat"),
        end=typed.get("end") or "open",
    )
    thick = mm("grip_max") or 0.35 * major
    try:
        return joint_section(shape, thickness_mm=thick, set_length_mm=None, unit=here.unit, key="in-hand")
    except BadInput:
        return ""  # lengths that contradict each other are said beside their field

"""A gauge study at the bench: one reading a screen, in the mixed order, each person at their own; then the result."""

from __future__ import annotations

import uuid
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from firstpull.drawing.gauge_study import study_tag
from firstpull.errors import BadInput, NotFound
from firstpull.jobs import gauge_studies
from firstpull.jobs.gauge_studies import BLOCKS
from firstpull.record.gauge_study import Study, StudyReading, StudySlot
from firstpull.record.things import GaugeState
from firstpull.units import Length, show_length
from firstpull.web.asking import asking
from firstpull.web.desk import Desk, act, desk, need_name
from firstpull.web.gauge_study_result import result_page
from firstpull.web.person import person_of
from firstpull.web.render import page
from firstpull.web.tools import blank, entry_of

router = APIRouter()

REASONS = ("wrong part", "typed wrongly", "not held square", "not settled")
"""What usually spoils a reading; anything else is typed (common practice)."""
ASK = "-"
"""In an address in place of a name: ask who measures."""
_SHOWN = 3


@router.get("/gauges/{gauge}/study/{number}")
def show_study(request: Request, gauge: str, number: int, who: str = "", window: str = "", see: str = "") -> Response:
    """The next reading of ``who`` (or of the person at this browser), who is next, or the result."""
    here = desk(request, "bench")
    state = here.book.gauge(gauge)
    study = study_of(state, number)
    return need_name(here) or _study_page(here, state, study, who, shown=(window, see))


@router.post("/gauges/{gauge}/study/{number}")
def do_study(
    request: Request,
    gauge: str,
    number: int,
    do: Annotated[str, Form()] = "read",
    who: Annotated[str, Form()] = "",
    slot: Annotated[str, Form()] = "",
    reading: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """One reading, or the result when all are in."""
    here = desk(request, "bench")
    address = study_address(gauge, number)

    def perform() -> str:
        doing = here.doing({"expected": expected, "client_id": client_id})
        if do == "finish":
            gauge_studies.finish_study(here.book, gauge, number, doing=doing)
            return address
        if do not in ("read", "keep"):
            raise BadInput("This page does not know that button.", where="do", hint="Load the page again.")
        if not (slot.isascii() and slot.isdigit() and len(slot) < 5):
            raise BadInput("This page is not one of this bench.", where="reading", hint="Load the page again.")
        value = here.length(reading, "reading")
        gauge_studies.take_reading(
            here.book, gauge, number, slot=int(slot), reading=value, doing=doing, sure=do == "keep"
        )
        return f"{address}?who={quote(who)}" if who else address

    def refused(problem: dict[str, Any], status: int) -> Response:
        state = here.book.gauge(gauge)
        if _asks(problem):
            problem = {**problem, "buttons": [{"label": "It is right", "do": "keep"}]}
        return _study_page(
            here, state, study_of(state, number), who, typed=reading, problem=problem, status_code=status
        )

    return act(perform, refused)


@router.get("/gauges/{gauge}/study/{number}/strike")
def ask_strike(request: Request, gauge: str, number: int, who: str = "", do: str = "") -> Response:
    """Which reading does not count, and why; with ``do`` “give up” why the whole study leads to nothing."""
    here = desk(request, "bench")
    state = here.book.gauge(gauge)
    return need_name(here) or _strike_page(here, state, study_of(state, number), who, {"do": do})


@router.post("/gauges/{gauge}/study/{number}/strike")
def do_strike(
    request: Request,
    gauge: str,
    number: int,
    do: Annotated[str, Form()] = "strike",
    who: Annotated[str, Form()] = "",
    of: Annotated[str, Form()] = "",
    why: Annotated[str, Form()] = "",
    reason: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """Strike a reading out, or give the whole study up; both with a reason."""
    here = desk(request, "bench")
    given = {"of": of, "why": why, "reason": reason, "do": do}

    def perform() -> str:
        doing = here.doing({"expected": expected, "client_id": client_id})
        words = reason.strip() or why
        if do == "give up":
            gauge_studies.give_study_up(here.book, gauge, number, reason=words, doing=doing)
            return f"/gauges/{quote(gauge)}/study"
        if not (of.isascii() and of.isdigit() and len(of) < 10):
            raise BadInput("Which one does not count?", where="of", hint="Choose one of them.")
        gauge_studies.strike_reading(here.book, gauge, number, of=int(of), reason=words, doing=doing)
        return study_address(gauge, number, who=who)

    def refused(problem: dict[str, Any], status: int) -> Response:
        state = here.book.gauge(gauge)
        return _strike_page(here, state, study_of(state, number), who, given, problem=problem, status_code=status)

    return act(perform, refused)


def study_of(state: GaugeState, number: int) -> Study:
    """The study with that number. Raises NotFound."""
    for study in state.studies:
        if study.number == number:
            return study
    raise NotFound(f"This gauge has no study {number}.", where="study", hint="Look at the gauge’s page.")


def study_address(gauge: str, number: int, *, who: str = "") -> str:
    """Where a study is read and shown."""
    return f"/gauges/{quote(gauge)}/study/{number}" + (f"?who={quote(who)}" if who else "")


def _asks(problem: dict[str, Any]) -> bool:
    return str(problem.get("hint", "")).startswith("Read it again, or say")


def _study_page(
    here: Desk,
    state: GaugeState,
    study: Study,
    who: str,
    *,
    typed: str = "",
    shown: tuple[str, str] = ("", ""),
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    if study.result is not None:
        return result_page(here, state, study, window=shown[0], see=shown[1])
    if study.given_up:
        return RedirectResponse(f"/gauges/{quote(state.id)}/study", status_code=303)
    person = who if who in study.people or who == ASK else person_of(here.request)
    if person not in study.people or (not study.left(person) and not study.complete):
        return _who_page(here, state, study, done=person if person in study.people else "")
    if study.complete:
        return _all_read(here, state, study, problem=problem, status_code=status_code)
    return _reading_page(
        here, state, study, study.left(person)[0], typed=typed, problem=problem, status_code=status_code
    )


def _reading_page(
    here: Desk,
    state: GaugeState,
    study: Study,
    slot: StudySlot,
    *,
    typed: str,
    problem: dict[str, Any] | None,
    status_code: int,
) -> Response:
    mine = [one for one in study.slots if one.person == slot.person]
    done = len(mine) - len(study.left(slot.person))
    what = "Block" if study.measured == BLOCKS else "Part"
    name = str(state.gauge.get("name") or state.id)
    last = _last(study, slot.person)
    address = study_address(state.id, study.number)
    context = asking(
        form=_form(address, state),
        title="Gauge study",
        crumb=f"{name} · {slot.person} · round {slot.round} of {study.rounds}",
        question=f"{what} {slot.part}: what does it read?",
        carry=[("who", slot.person), ("slot", str(slot.number))],
        field={
            "name": "reading",
            "label": "Reading",
            "unit": here.unit,
            "value": typed if problem else "",
            "expected": "",
            "saved": show_length(Length.from_json(last.value), here.unit) if last else "",
            "problem": problem,
            "gauge": None,
        },
        buttons=[
            {"label": "Save", "do": "read"},
            {
                "label": "Strike one out",
                "do": "",
                "address": f"{address}/strike?who={quote(slot.person)}",
                "kind": "other",
            },
        ],
        ways=[{"label": "Someone else measures", "address": f"{address}?who={ASK}"}],
        drawing=study_tag(slot.part, done=done, total=len(mine), what=what),
        drawing_title=f"{study.measured.capitalize()}, in mixed order",
        drawing_notes=[here.lengths_note],
    )
    return page(here.request, "steps/question.html", context, status_code=status_code)


def _who_page(here: Desk, state: GaugeState, study: Study, *, done: str) -> Response:
    address = study_address(state.id, study.number)
    rows = []
    for person in study.people:
        left = len(study.left(person))
        rows.append(
            {
                "label": person,
                "note": f"{left} to read" if left else "has read all",
                "address": study_address(state.id, study.number, who=person)
                if left
                else f"{address}/strike?who={quote(person)}",
                "kind": "now" if left else "done",
            }
        )
    name = str(state.gauge.get("name") or state.id)
    context = {
        **blank("Gauge study"),
        "question": "Who measures now?",
        "crumb": f"{name} · study {study.number}",
        "said": f"{done} has read all." if done else "",
        "said_mark": "done",
        "acts": rows,
        "buttons": [
            *_next_person(study, state.id),
            {"label": "Go on later", "do": "", "address": f"/gauges/{quote(state.id)}", "kind": "other"},
        ],
        "facts": [
            {"name": "Measured", "value": study.measured},
            {"name": "Readings", "value": f"{len(study.counting)} of {len(study.slots)}"},
        ],
        "sheet_title": "The study, kept as it stands",
    }
    return page(here.request, "thing.html", context)


def _next_person(study: Study, gauge: str) -> list[dict[str, str]]:
    """The way on for the first person who has something left to read."""
    person = next((one for one in study.people if study.left(one)), "")
    if not person:
        return []
    return [
        {"label": f"{person} measures", "do": "", "address": study_address(gauge, study.number, who=person), "kind": ""}
    ]


def _all_read(
    here: Desk, state: GaugeState, study: Study, *, problem: dict[str, Any] | None, status_code: int
) -> Response:
    address = study_address(state.id, study.number)
    context = asking(
        form=_form(address, state),
        title="Gauge study",
        crumb=f"{state.gauge.get('name') or state.id} · study {study.number}",
        question="All is read. Reckon with it?",
        buttons=[
            {"label": "Show what it is worth", "do": "finish"},
            {"label": "Strike one out", "do": "", "address": f"{address}/strike", "kind": "other"},
        ],
        problem=problem,
        facts=[{"name": "Readings", "value": f"{len(study.counting)}"}],
        lines=["After that no reading can be struck out any more."],
        drawing_title="The study",
    )
    return page(here.request, "steps/question.html", context, status_code=status_code)


def _strike_page(
    here: Desk,
    state: GaugeState,
    study: Study,
    who: str,
    given: dict[str, str],
    *,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    if given.get("do") == "give up" and study.open:
        return _give_up_page(here, state, study, given, problem=problem, status_code=status_code)
    slots = {slot.number: slot for slot in study.slots}
    counting = sorted(study.counting.values(), key=lambda one: -one.sequence)
    mine = [one for one in counting if not who or slots[one.slot].person == who][:_SHOWN] if study.open else []
    address = study_address(state.id, study.number)
    what = "Block" if study.references else "Part"

    def note(one: StudyReading) -> str:
        person = "" if who else f"{slots[one.slot].person}, "
        return f"{person}{show_length(Length.from_json(one.value), here.unit)}, round {slots[one.slot].round}"

    which = [{"value": str(one.sequence), "label": f"{what} {slots[one.slot].part}", "note": note(one)} for one in mine]
    choices = [
        _asked("of", "Reading", which, chosen=given.get("of") or (which[0]["value"] if which else ""), across=3),
        _asked(
            "why", "Why", [{"value": text, "label": text, "note": ""} for text in REASONS], chosen=given.get("why", "")
        ),
    ]
    where = (problem or {}).get("where")
    buttons = [{"label": "Strike it out", "do": "strike"}] if mine else []
    buttons.append(
        {"label": "Back", "do": "", "address": study_address(state.id, study.number, who=who), "kind": "other"}
    )
    give_up = {"label": "Give the whole study up", "address": f"{address}/strike?do=give%20up"}
    context = asking(
        form=_form(f"{address}/strike", state),
        title="Strike out",
        crumb=f"{state.gauge.get('name') or state.id} · study {study.number}",
        question="Which reading does not count, and why?" if mine else "There is nothing to strike out.",
        carry=[("who", who)],
        choices=choices if mine else [],
        fields=[entry_of("reason", "Or in your words", given, problem)] if mine else [],
        ways=[give_up] if study.open else [],
        problem=None if where == "reason" else problem,
        buttons=buttons,
        lines=["It stays in the record with its reason, and its place is read again."],
        drawing_title="The study",
        drawing_notes=[here.lengths_note],
    )
    return page(here.request, "steps/question.html", context, status_code=status_code)


def _asked(name: str, legend: str, choices: list[dict[str, str]], *, chosen: str, across: int = 2) -> dict[str, Any]:
    return {
        "name": name,
        "legend": legend,
        "choices": choices,
        "chosen": chosen,
        "hide_legend": True,
        "across": across,
    }


def _give_up_page(
    here: Desk,
    state: GaugeState,
    study: Study,
    given: dict[str, str],
    *,
    problem: dict[str, Any] | None,
    status_code: int,
) -> Response:
    address = study_address(state.id, study.number)
    context = asking(
        form=_form(f"{address}/strike", state),
        title="Give the study up",
        crumb=f"{state.gauge.get('name') or state.id} · study {study.number}",
        question="Why is this study given up?",
        fields=[entry_of("reason", "Reason", given, problem, note="for example parts were mixed up")],
        problem=None if (problem or {}).get("where") == "reason" else problem,
        buttons=[
            {"label": "Give it up", "do": "give up", "kind": "stop"},
            {"label": "Back", "do": "", "address": address, "kind": "other"},
        ],
        facts=[{"name": "Readings", "value": f"{len(study.counting)} of {len(study.slots)}"}],
        lines=["Its readings stay in the record. Nothing is reckoned from them."],
        drawing_title="The study",
        drawing_notes=[here.lengths_note],
    )
    return page(here.request, "steps/question.html", context, status_code=status_code)


def _last(study: Study, person: str) -> StudyReading | None:
    slots = {slot.number: slot for slot in study.slots}
    mine = [one for one in study.counting.values() if slots[one.slot].person == person]
    return max(mine, key=lambda one: one.sequence, default=None)


def _form(address: str, state: GaugeState) -> dict[str, str]:
    return {"address": address, "expected": str(state.sequence), "client_id": uuid.uuid4().hex}

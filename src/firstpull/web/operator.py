"""The operator's page: is this one good? No path, no choices beyond the answer; only a technician opens a stop again."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from firstpull.drawing.checks import check_picture
from firstpull.errors import BadInput, Unsafe
from firstpull.jobs import look_after, run_checks
from firstpull.jobs.slips import FAR_MM
from firstpull.record.job import JobState
from firstpull.units import Length, show_mm
from firstpull.web.asking import asking
from firstpull.web.desk import Desk, act, desk, form_of, gauge_line, need_name
from firstpull.web.render import page
from firstpull.web.run import last_count
from firstpull.web.run_views import due_text, found_text, shown_state
from firstpull.web.typed import show_pressure, slip_of, typed_count

router = APIRouter()
_EYE = (("flush", "Head flush"), ("gap", "No gap"), ("tilt", "Square"), ("turn", "Does not turn"))
_LOOK = "The readings lean or jump: tell the technician."
REASONS = ("Insert spins", "Gap under the head", "Head tilted", "Thread tight", "Length outside", "Something else")


@router.get("/{room}/jobs/{job}/operator")
def show_operator(request: Request, room: str, job: str, by: str = "") -> Response:
    """One field or a go/no-go answer (``by=eye``); ``by=stop`` asks what was seen."""
    here = desk(request, room)
    return need_name(here) or _page(here, here.book.job(job), by)


@router.post("/{room}/jobs/{job}/operator")
def do_operator(
    request: Request,
    room: str,
    job: str,
    *,
    do: Annotated[str, Form()] = "read",
    by: Annotated[str, Form()] = "",
    reading: Annotated[str, Form()] = "",
    count: Annotated[str, Form()] = "",
    reason: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """One set insert's answer, or stop and call."""
    here = desk(request, room)
    form = {"expected": expected, "client_id": client_id}
    state = here.book.job(job)
    slip = _slip(here, state, reading) if do == "read" else None
    if slip is not None:
        return _page(here, state, by, reading=reading, count=count, problem=slip, status_code=422)

    def perform() -> str:
        doing = here.doing(form)
        if do == "stop":
            if reason not in REASONS:
                raise BadInput("What did you see?", where="reason", hint="Choose the nearest.")
            last = last_count(state)
            run_checks.stop(here.book, job, reason=f"{reason} (at the machine)", count=last, doing=doing)
        elif do in ("read", "keep", "pass", "fail"):
            run_checks.record_check(here.book, job, _found(here, do, reading=reading, count=count), doing=doing)
        else:
            raise BadInput("This page does not know that button.", where="do", hint="Load the page again.")
        return here.address(job, "operator") + (f"?by={by}" if by == "eye" else "")

    def refused(problem: dict[str, Any], status: int) -> Response:
        fresh = here.book.job(job)
        return _page(here, fresh, by, reading=reading, count=count, problem=problem, status_code=status)

    return act(perform, refused)


def _found(here: Desk, do: str, *, reading: str, count: str) -> run_checks.Found:
    if do in ("pass", "fail"):
        return run_checks.Found(kind="go no-go", count=_sets(count), good=do == "pass")
    value = here.length(reading, "reading")
    if not 0 < value.mm < 1000:
        raise BadInput(f"{value.typed} can not be a reading.", where="reading", hint="More than 0 and under 1 m.")
    return run_checks.Found(kind="go no-go", count=_sets(count), set_length=value, in_air=False)


def _sets(text: str) -> int:
    return typed_count(text, "count", "How many were set so far?", hint="Count all sets of this card, this one too.")


def _slip(here: Desk, state: JobState, reading: str) -> dict[str, Any] | None:
    try:
        value: Length = here.length(reading, "reading")
    except BadInput:
        return None  # said by the act itself
    return slip_of(value, (state.card or {}).get("setting", {}).get("set_length_mm"), here.unit, far_mm=FAR_MM)


def _page(
    here: Desk,
    state: JobState,
    by: str,
    *,
    reading: str = "",
    count: str = "",
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    if state.card is None:
        raise Unsafe("There is no released card to run against.", where=state.id, hint="Call the technician.")
    halted = state.stopped or bool(state.superseded_by)
    if by == "stop" and not halted:
        return _stop_page(here, state, problem=problem, status_code=status_code)
    word, note, why = shown_state(here, state)
    eye = by == "eye" or not run_checks.has_adjuster(state)
    form = form_of(state, here.address(state.id, "operator"))
    context = {
        "form": {**form, "by": "eye" if eye else ""},
        "live": f"{here.address(state.id)}/news?seen={state.sequence}",
        "question": "Is this one good?" if not halted else "Call the technician.",
        "crumb": "" if halted else due_text(here, state),
        "state": word,
        "note": _LOOK if word == "look" else " ".join(why) if why else note,
        "stopped": halted,
        "stopped_text": _replaced(state),
        "facts": _facts(state),
        "limits": _limits(here, state),
        "field": None if eye or halted else _field(here, state, reading, problem),
        "count": None if halted else _count(count, state),
        "verdict": {"good": "Good", "bad": "Not good"} if eye and not halted else None,
        "refused": problem if eye or halted else None,
        "warnings": list(look_after.warnings_for(here.book, tool_id=state.tool_id, gauge_id=state.gauge_id))[:1],
        "buttons": _buttons(here, state, eye=eye),
        "other": _other(here, state, eye=eye),
        "eye": [
            {
                "good": check_picture(name, True, height=196, words_below=False, key=f"{name}-good"),
                "bad": check_picture(name, False, height=196, words_below=False, key=f"{name}-bad"),
                "text": text,
            }
            for name, text in _EYE
        ],
        "sheet_notes": [here.lengths_note, *(["simulated"] if here.practice else [])],
    }
    return page(here.request, "steps/operator.html", context, practice=here.practice, status_code=status_code)


def _field(here: Desk, state: JobState, reading: str, problem: dict[str, Any] | None) -> dict[str, Any]:
    low, high = run_checks.length_limits_mm(state, in_air=False)
    expected = "" if low is None or high is None else f"{show_mm(low, here.unit)} to {show_mm(high, here.unit)}"
    return {
        "name": "reading",
        "label": "Set length",
        "unit": here.unit,
        "value": reading,
        "expected": expected,
        "saved": "",
        "problem": problem,
        "gauge": gauge_line(here.book, state),
    }


def _count(count: str, state: JobState) -> dict[str, Any]:
    value = count or ("1" if not state.checks else "")
    return {
        "name": "count",
        "label": "Sets so far",
        "value": value,
        "problem": None,
        "inputmode": "numeric",
        "maxlength": 8,
    }


def _buttons(here: Desk, state: JobState, *, eye: bool) -> list[dict[str, str]]:
    stop = {"label": "Stop and call", "address": f"{here.address(state.id, 'operator')}?by=stop", "kind": "stop"}
    return [stop] if eye else [{"label": "Save", "do": "read"}, stop]


def _other(here: Desk, state: JobState, *, eye: bool) -> dict[str, str] | None:
    if not run_checks.has_adjuster(state) or state.stopped or state.superseded_by:
        return None
    address = here.address(state.id, "operator")
    return (
        {"label": "With a reading", "address": address}
        if eye
        else {"label": "By eye only", "address": f"{address}?by=eye"}
    )


def _facts(state: JobState) -> list[dict[str, str]]:
    card = state.card or {}
    insert = f"{card['insert']['part']} · {card['insert']['thread']}"
    return [
        {"name": "Part", "value": state.title},
        {"name": "Insert", "value": insert},
        {"name": "Tool", "value": str(card["tool"]["name"])},
        {"name": "Valid until", "value": "lot, stack, tool or air changes"},
    ]


def _limits(here: Desk, state: JobState) -> list[dict[str, str]]:
    if not run_checks.has_adjuster(state):
        low, high = run_checks.pressure_limits_bar(state)
        if low is None or high is None:
            return []
        return [
            {
                "name": "Pressure",
                "value": f"{show_pressure(low, here.unit, bare=True)} to {show_pressure(high, here.unit)}",
            }
        ]
    low, high = run_checks.length_limits_mm(state, in_air=False)
    if low is None or high is None:
        return []
    return [{"name": "Set length", "value": f"{show_mm(low, here.unit)} to {show_mm(high, here.unit)} {here.unit}"}]


def _replaced(state: JobState) -> str:
    return f"This card was replaced by {state.superseded_by}. Ask for the new one." if state.superseded_by else ""


def _stop_page(
    here: Desk, state: JobState, *, problem: dict[str, Any] | None = None, status_code: int = 200
) -> Response:
    tiles = [{"value": reason, "label": reason} for reason in REASONS]
    last = run_checks.last_check(state)
    context = asking(
        form=form_of(state, here.address(state.id, "operator")),
        title="Stop",
        question="What did you see?",
        crumb="The run stops, and a technician must prove it again",
        choices=[
            {"name": "reason", "legend": "What", "choices": tiles, "chosen": "", "hide_legend": True, "across": 2}
        ],
        carry=[("by", "stop")],
        problem=problem,
        buttons=[
            {"label": "Stop and call", "do": "stop", "kind": "stop"},
            {"label": "Back", "address": here.address(state.id, "operator"), "kind": "other"},
        ],
        facts=_facts(state),
        lines=[f"Last check: {found_text(here, last)}, at {last.count} sets."] if last else [],
        drawing_title=state.title,
    )
    return page(here.request, "steps/question.html", context, practice=here.practice, status_code=status_code)

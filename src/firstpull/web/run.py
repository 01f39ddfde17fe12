"""The run page: is it still the same? Tool and joint are checked by turns, each answer is on record at once."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs import dial_in, look_after, prove, run_checks
from firstpull.jobs.slips import FAR_MM
from firstpull.record.job import JobState
from firstpull.units import show_mm
from firstpull.web.desk import Desk, act, desk, form_of, gauge_line, need_name, show
from firstpull.web.run_more import ask_count, ask_stop, ask_strike, show_figures
from firstpull.web.run_views import chart_svg, due_text, shown_state
from firstpull.web.typed import (
    pressure_unit,
    show_pressure,
    show_torque,
    slip_of,
    torque_unit,
    typed_count,
    typed_pressure,
    typed_torque,
)

router = APIRouter()
# what can be checked → the kind it is recorded as
TASKS: dict[str, str] = {
    "tool": "tool",
    "front": "tool",
    "pressure": "tool",
    "stack": "joint",
    "head": "joint",
    "turning": "joint",
    "first off": "first off",
    "last off": "last off",
}
_WORDS = {
    "tool": "Air pull",
    "front": "Front gauge",
    "pressure": "Pressure",
    "stack": "Today’s stack",
    "head": "Head seated",
    "turning": "Turning test",
    "first off": "First-off",
    "last off": "Last-off",
}


@router.get("/{room}/jobs/{job}/run")
def show_run(request: Request, room: str, job: str, now: str = "", reading: str = "") -> Response:
    """What to check now; ``now`` chooses another check, or “stop”, “strike” and “count”. ``reading`` is one that came in
    elsewhere and waits in the field until it is saved."""
    here = desk(request, room)
    return need_name(here) or _page(here, here.book.job(job), now, typed={"reading": reading[:60]} if reading else None)


@router.post("/{room}/jobs/{job}/run")
def do_run(
    request: Request,
    room: str,
    job: str,
    *,
    do: Annotated[str, Form()] = "read",
    now: Annotated[str, Form()] = "",
    reading: Annotated[str, Form()] = "",
    count: Annotated[str, Form()] = "",
    reason: Annotated[str, Form()] = "",
    of: Annotated[str, Form()] = "",
    issued: Annotated[str, Form()] = "",
    rejected: Annotated[str, Form()] = "",
    returned: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """A check, a strike-out, a count of inserts, or a stop."""
    here = desk(request, room)
    form = {"expected": expected, "client_id": client_id}
    typed = {"reading": reading, "count": count, "reason": reason, "of": of}
    typed |= {"issued": issued, "rejected": rejected, "returned": returned}
    state = here.book.job(job)
    slip = _slip(here, state, now, reading) if do == "read" else None
    if slip is not None:
        return _page(here, state, now, typed=typed, problem=slip, status_code=422)

    def perform() -> str:
        _do(here, here.book.job(job), do, now=now, typed=typed, form=form)
        return here.address(job, "run")

    def refused(problem: dict[str, Any], status: int) -> Response:
        return _page(here, here.book.job(job), now, typed=typed, problem=problem, status_code=status)

    return act(perform, refused)


def _do(here: Desk, state: JobState, do: str, *, now: str, typed: dict[str, str], form: dict[str, str]) -> None:
    book, doing = here.book, here.doing(form)
    if do == "stop":
        sets = _sets(typed["count"]) if typed["count"].strip() else last_count(state)
        run_checks.stop(book, state.id, reason=typed["reason"], count=sets, doing=doing)
    elif do == "strike":
        if not typed["of"]:
            raise BadInput("Which check?", where="of", hint="Choose one of the list.")
        if not typed["reason"].strip():
            raise BadInput("A check is struck out with a reason.", where="reason", hint="For example “wrong gauge”.")
        number = typed_count(typed["of"], "of", "There is no such check.", hint="Load the page again.")
        dial_in.strike_out(book, state.id, number, reason=typed["reason"], doing=doing)
    elif do == "count":
        numbers = {
            name: typed_count(typed[name], name, "How many? A whole number.")
            for name in ("issued", "count", "rejected", "returned")
        }
        run_checks.count_inserts(
            book,
            state.id,
            doing=doing,
            issued=numbers["issued"],
            set_count=numbers["count"],
            rejected=numbers["rejected"],
            returned=numbers["returned"],
        )
    elif do in ("read", "keep", "pass", "fail"):
        found = found_of(here, state, do, now=now, reading=typed["reading"], count=typed["count"])
        run_checks.record_check(book, state.id, found, doing=doing)
    else:
        raise BadInput("This page does not know that button.", where="do", hint="Load the page again.")


def found_of(here: Desk, state: JobState, do: str, *, now: str, reading: str, count: str) -> run_checks.Found:
    """What one answer of the page found. Raises BadInput with the field that it belongs to."""
    kind = TASKS.get(now)
    if kind is None:
        raise BadInput("This page does not know that check.", where="now", hint="Load the page again.")
    if do in ("pass", "fail"):
        good = do == "pass"
        sets = _sets(count)
        if now == "head":
            return run_checks.Found(kind=kind, count=sets, seated=good)
        if now in ("first off", "last off"):
            return run_checks.Found(kind=kind, count=sets, good=good)
        raise BadInput("This check wants a value.", where="reading", hint="Read it and save it.")
    if now in ("tool", "front", "stack"):
        value = here.length(reading, "reading")
        if not 0 < value.mm < 1000:
            raise BadInput(f"{value.typed} can not be a reading.", where="reading", hint="More than 0 and under 1 m.")
        sets = _sets(count)
        if now == "stack":
            return run_checks.Found(kind=kind, count=sets, thickness=value)
        return run_checks.Found(kind=kind, count=sets, set_length=value, in_air=now == "tool")
    if now == "pressure":
        pressure = typed_pressure(reading, here.unit, "reading").bar
        return run_checks.Found(kind=kind, count=_sets(count), pressure_bar=pressure)
    if now == "turning":
        torque = typed_torque(reading, here.unit, "reading")
        return run_checks.Found(kind=kind, count=_sets(count), torque=torque, arrangement=arrangement_of(state))
    raise BadInput("This check is answered by eye.", where="now", hint="Good or not good.")


def last_count(state: JobState) -> int:
    """Sets so far at the last check that counts."""
    last = run_checks.last_check(state)
    return last.count if last is not None else 0


def arrangement_of(state: JobState) -> str:
    """The arrangement of the proof's turning tests, so that the run compares with it; on the flange without one."""
    for coupon in reversed(state.coupons):
        if coupon.passed and "torque" in coupon.checks:
            return str(coupon.checks["torque"]["arrangement"])
    return "flange"


def task_now(state: JobState, wanted: str = "") -> str:
    """The check that the page asks for: the wanted one, else the next in turn."""
    if wanted in TASKS:
        return wanted
    task = run_checks.what_now(state)
    return "pressure" if task == "tool" and not run_checks.has_adjuster(state) else task


def _sets(text: str) -> int:
    return typed_count(text, "count", "How many were set so far?", hint="Count all sets of this card, this one too.")


def _slip(here: Desk, state: JobState, now: str, reading: str) -> dict[str, Any] | None:
    if now not in ("tool", "front", "stack") or state.card is None:
        return None
    try:
        value = here.length(reading, "reading")
    except BadInput:
        return None  # said by the act itself
    key = ("stack", "thickness_mm") if now == "stack" else ("setting", "set_length_mm")
    far_mm = None if now == "stack" else FAR_MM
    return slip_of(value, state.card[key[0]].get(key[1]), here.unit, far_mm=far_mm)


def _page(
    here: Desk,
    state: JobState,
    now: str,
    *,
    typed: dict[str, str] | None = None,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    if state.card is None:
        raise Unsafe("There is no released card to run against.", where=state.id, hint="Prove and release it first.")
    given = typed or {}
    if now in ("stop", "strike", "count", "figures"):
        asked = {"stop": ask_stop, "strike": ask_strike, "count": ask_count, "figures": show_figures}[now]
        return asked(here, state, given, problem=problem, status_code=status_code)
    task = task_now(state, now)
    word, note, why = shown_state(here, state)
    if word == "look" and why:  # what makes it “look” is said before what was read last
        note, why = why[0], [*why[1:], f"Last: {note}."]
    warnings = look_after.warnings_for(here.book, tool_id=state.tool_id, gauge_id=state.gauge_id)
    context = {
        "form": {**form_of(state, here.address(state.id, "run")), "now": task},
        "crumb": due_text(here, state),
        "state": word,
        "note": note,
        "why": why,
        "quarantine": run_checks.quarantine(state),
        "warnings": [] if state.stopped else list(warnings),
        "text": "",
        "field": None,
        "verdict": None,
        "count": None,
        "refused": None,
        "buttons": [],
        "tasks": [] if state.stopped or state.superseded_by else _task_links(here, state, task),
        "ways": _ways(here, state, now),
        "chart": chart_svg(here, state),
        "sheet_title": "Set lengths in this run" if run_checks.has_adjuster(state) else "The joint as released",
        "sheet_notes": [here.lengths_note, *(["simulated"] if here.practice else [])],
        **_ask(here, state, task, given, problem),
    }
    return show(here, state, "steps/run.html", context, step="run", status_code=status_code)


def _ask(
    here: Desk, state: JobState, task: str, given: dict[str, str], problem: dict[str, Any] | None
) -> dict[str, Any]:
    if state.superseded_by:
        address = here.address(state.superseded_by)
        return {
            "question": "This card was replaced.",
            "text": f"Work on {state.superseded_by}.",
            "buttons": [_button("To the new revision", address=address)],
        }
    if state.stopped:
        return {
            "question": "Stopped. Set no more.",
            "text": "Find the cause, then prove it again on coupons. Only that opens the run.",
            "refused": problem,
            "buttons": [_button("Prove it again", address=here.address(state.id, "prove"))],
        }
    of_count = problem if problem and "set so far" in problem["what"] else None
    count = {
        "name": "count",
        "label": "Sets so far",
        "value": given.get("count") or _count_offer(state),
        "problem": None,
        "inputmode": "numeric",
        "maxlength": 8,
    }
    asked = {"question": _QUESTIONS[task], "count": count}
    if task in ("head", "first off", "last off"):
        return {
            **asked,
            "text": _HOW[task],
            "verdict": {"good": "Good", "bad": "Not good"},
            "refused": problem,
            "buttons": [],
        }
    field = {
        "name": "reading",
        "label": _LABELS[task],
        "unit": torque_unit(here.unit)
        if task == "turning"
        else pressure_unit(here.unit)
        if task == "pressure"
        else here.unit,
        "value": given.get("reading", ""),
        "expected": _limits(here, state, task),
        "saved": "",
        "problem": of_count or problem,
        "gauge": gauge_line(here.book, state) if task in ("tool", "front", "stack") else None,
    }
    text = _ARRANGED[arrangement_of(state)] if task == "turning" else ""
    buttons = [
        _button("Save", "read"),
        _button("Stop", address=f"{here.address(state.id, 'run')}?now=stop", kind="stop"),
    ]
    return {**asked, "field": field, "text": text, "buttons": buttons}


_LABELS = {
    "tool": "Set length in the air",
    "front": "Set length, set insert",
    "pressure": "Pressure at the inlet",
    "stack": "Today’s stack",
    "turning": "Torque",
}
_HOW = {
    "first off": "The first set insert: flush, no gap, square, does not turn, the thread gauge goes.",
    "last off": "The last set insert: flush, no gap, square, does not turn, the thread gauge goes.",
    "head": "Seated all round, no gap, square. A thin sheet sets loose while the length stays perfect.",
}
_ARRANGED = {
    "flange": "On the flange, free to turn, as proven.",
    "bushing": "On a held bushing, clear of the flange, as proven.",
}


_QUESTIONS = {
    "tool": "Is the tool still the same?",
    "front": "Is the tool still the same?",
    "pressure": "Is the pressure still the same?",
    "stack": "Is today’s stack the same?",
    "head": "Is the head seated?",
    "turning": "Does it hold when turned?",
    "first off": "Is the first one good?",
    "last off": "Is the last one good?",
}


def _count_offer(state: JobState) -> str:
    """The count is typed at the first check of a round and kept for the others of that round."""
    last = run_checks.last_check(state)
    if last is None:
        return "1"
    return str(last.count) if run_checks.what_now(state) != run_checks.ROUND[0] or last.kind == "first off" else ""


def _limits(here: Desk, state: JobState, task: str) -> str:
    card, unit = state.card or {}, here.unit
    if task == "turning":
        limit = prove.torque_limit_nm(state)
        return "" if limit is None else f"≥ {show_torque(limit, unit)}"
    if task == "pressure":
        low, high = run_checks.pressure_limits_bar(state)
        if low is None or high is None:
            return ""
        return f"{show_pressure(low, unit, bare=True)} to {show_pressure(high, unit, bare=True)}"
    if task == "stack":
        low, high = card["stack"]["thickness_low_mm"], card["stack"]["thickness_high_mm"]
    else:
        low, high = run_checks.length_limits_mm(state, in_air=task == "tool")
    return "" if low is None or high is None else f"{show_mm(low, unit)} to {show_mm(high, unit)}"


def _task_links(here: Desk, state: JobState, task: str) -> list[dict[str, Any]]:
    address = here.address(state.id, "run")
    first = ("tool", "front") if run_checks.has_adjuster(state) else ("pressure",)
    names = (*first, "stack", "head", "turning", "first off" if not state.checks else "last off")
    return [
        {"label": _WORDS[name], "address": f"{address}?now={name.replace(' ', '+')}", "now": name == task}
        for name in names
    ]


def _ways(here: Desk, state: JobState, now: str) -> list[dict[str, str]]:
    address = here.address(state.id, "run")
    ways = []
    eye = task_now(state, now) in ("head", "first off", "last off")  # the others have a button for it
    if eye and not state.stopped and not state.superseded_by:
        ways.append({"label": "Stop the run", "address": f"{address}?now=stop"})
    if any(not check.struck_out for check in state.checks) and not state.superseded_by:
        ways.append({"label": "Strike one out", "address": f"{address}?now=strike"})
    if not state.superseded_by:
        ways.append({"label": "Count inserts", "address": f"{address}?now=count"})
    if run_checks.has_adjuster(state) and state.checks:
        ways.append({"label": "Figures", "address": f"{address}?now=figures"})
    return [*ways, {"label": "Operator", "address": here.address(state.id, "operator")}]


def _button(label: str, do: str = "", *, address: str = "", kind: str = "") -> dict[str, str]:
    return {"label": label, "do": do, "address": address, "kind": kind}

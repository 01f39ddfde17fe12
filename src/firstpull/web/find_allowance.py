"""Find the allowance: coupons from deliberately short upward, each looked at check by check, until both ends are known."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from firstpull.drawing.checks import check_picture
from firstpull.errors import BadInput
from firstpull.jobs import dial_in, find_allowance
from firstpull.jobs.find_allowance import Ladder, Rung
from firstpull.jobs.prove import BY_KEY, CHECKS
from firstpull.jobs.shapes import insert_of, stack_of, tool_of
from firstpull.mechanics.insert import head_height_nm
from firstpull.mechanics.stack import thickness
from firstpull.record.job import JobState
from firstpull.units import parse_length, show_mm
from firstpull.web.desk import Desk, act, desk, form_of, gauge_line, need_name, show
from firstpull.web.drawings import joint_of
from firstpull.web.frozen import frozen_page
from firstpull.web.typed import read_answers, slip_of, with_unit, write_answers

_PULL = "Eye protection on, hands clear, hold through the pull."
router = APIRouter()
_ANSWERS = ("set_length", *(kind.key for kind in CHECKS))
_OPENING = "Find the allowance"


@router.get("/{room}/jobs/{job}/find-allowance")
def show_find_allowance(request: Request, room: str, job: str, coupon: str = "") -> Response:
    """The next rung; with ``coupon`` (the answers so far) the next check of the coupon in hand."""
    here = desk(request, room)
    asked = need_name(here)
    if asked is not None:
        return asked
    state = here.book.job(job)
    if state.released:
        return frozen_page(here, state, step="set_up")
    if state.insert is None or state.stack is None:
        return RedirectResponse(here.address(job, "choose"), status_code=303)
    return _page(here, state, coupon)


@router.post("/{room}/jobs/{job}/find-allowance")
def do_find_allowance(
    request: Request,
    room: str,
    job: str,
    *,
    do: Annotated[str, Form()] = "read",
    reading: Annotated[str, Form()] = "",
    coupon: Annotated[str, Form()] = "",
    reason: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """A set length, the answer to a check, a rung struck out, or the allowance taken."""
    here = desk(request, room)
    state = here.book.job(job)
    if state.insert is None or state.stack is None:
        return RedirectResponse(here.address(job, "choose"), status_code=303)
    form = {"expected": expected, "client_id": client_id}
    if do == "read":
        slip = _slip(here, state, reading)
        if slip is not None:
            return _page(here, state, "", typed=reading, problem=slip, status_code=422)

    def perform() -> str:
        if do in ("pass", "fail"):
            return _check(here, state, do, coupon=coupon, form=form)
        return _do(here, state, do, reading=reading, reason=reason, form=form)

    def refused(problem: dict[str, Any], status: int) -> Response:
        now = here.book.job(job)
        if now.released:
            return frozen_page(here, now, step="set_up", status_code=status)
        return _page(
            here, now, coupon if do in ("pass", "fail") else "", typed=reading, problem=problem, status_code=status
        )

    return act(perform, refused)


def _do(here: Desk, state: JobState, do: str, *, reading: str, reason: str, form: dict[str, str]) -> str:
    address = here.address(state.id, "find-allowance")
    if do in ("read", "keep"):
        length, free = here.length(reading, "reading"), insert_of(state).length_free
        if not 0 < length.nanometres < free.nanometres:
            raise BadInput(
                "A set insert is shorter than a free one.",
                where="reading",
                hint=f"The free length is {show_mm(free.mm, here.unit)}.",
            )
        return _carry(address, {"set_length": with_unit(reading, here.unit)})
    if do.startswith("strike "):
        number = do.partition(" ")[2]
        sequence = int(number) if number.isascii() and number.isdigit() and len(number) < 10 else 0
        why = reason or "struck out at the ladder"
        dial_in.strike_out(here.book, state.id, sequence, reason=why, doing=here.doing(form))
        return address
    if do == "take":
        find_allowance.take_allowance(here.book, state.id, doing=here.doing(form))
        return here.address(state.id, "set_up")
    raise BadInput("This page does not know that button.", where="do", hint="Load the page again.")


def _check(here: Desk, state: JobState, do: str, *, coupon: str, form: dict[str, str]) -> str:
    address = here.address(state.id, "find-allowance")
    answers = read_answers(coupon, _ANSWERS)
    key = _next_check(answers)
    if "set_length" not in answers or not key:
        raise BadInput("This page is not one of this bench.", where="coupon", hint="Begin this coupon again.")
    answers[key] = do
    if _next_check(answers):
        return _carry(address, answers)
    find_allowance.check_rung(
        here.book,
        state.id,
        doing=here.doing(form),
        set_length=parse_length(answers["set_length"], where="reading"),
        checks={kind.key: answers[kind.key] for kind in CHECKS},
    )
    return address


def _next_check(answers: dict[str, str]) -> str:
    return next((kind.key for kind in CHECKS if kind.key not in answers), "")


def _carry(address: str, answers: dict[str, str]) -> str:
    return f"{address}?coupon={quote(write_answers(answers), safe='')}"


def _slip(here: Desk, state: JobState, text: str) -> dict[str, Any] | None:
    try:
        value = here.length(text, "reading")
    except BadInput:
        return None  # said under the field by the act itself
    ladder = find_allowance.ladder(state, unit=here.unit)
    return slip_of(value, insert_of(state).length_free.mm - ladder.next_stroke_mm, here.unit)


def _page(
    here: Desk,
    state: JobState,
    coupon: str,
    *,
    typed: str = "",
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    ladder = find_allowance.ladder(state, unit=here.unit)
    answers = read_answers(coupon, _ANSWERS)
    context = {
        "form": form_of(state, here.address(state.id, "find-allowance")),
        "title": _OPENING,
        "coupon": coupon,
        "instruction": "",
        "note": "",
        "text": "",
        "caution": "",
        "problem": None,
        "field": None,
        "verdict": None,
        "buttons": [],
        "why": [],
        "pull": "",
        "rungs": [],
        "good": "",
        "bad": "",
        "drawing": "",
        "drawing_title": _OPENING,
        "drawing_notes": [here.lengths_note],
        **(_check_view(state, answers, problem) if answers else _rung_view(here, state, ladder, typed, problem)),
    }
    return show(here, state, "steps/find_allowance.html", context, step="set_up", status_code=status_code)


def _check_view(state: JobState, answers: dict[str, str], problem: dict[str, Any] | None) -> dict[str, Any]:
    key = _next_check(answers) or CHECKS[-1].key
    kind = BY_KEY[key]
    place = [one.key for one in CHECKS].index(key) + 1
    number = 1 + len(state.coupons)
    return {
        "question": kind.question,
        "crumb": f"Coupon {number} · check {place} of {len(CHECKS)} · set length {answers['set_length']}",
        "problem": problem,
        "verdict": {"good": "Passes", "bad": "Fails"},
        "good": check_picture(key, True, key="good"),
        "bad": check_picture(key, False, key="bad"),
        "good_text": kind.good,
        "bad_text": kind.bad,
        "drawing_title": "Good and bad, side by side",
        "drawing_notes": [],
        "text": "A deliberately short coupon is meant to fail: say what you see.",
    }


def _rung_view(
    here: Desk, state: JobState, ladder: Ladder, typed: str, problem: dict[str, Any] | None
) -> dict[str, Any]:
    aim_mm = insert_of(state).length_free.mm - ladder.next_stroke_mm
    known = ladder.ready and ladder.closed_above
    take = {"label": "Take it", "do": "take", "kind": "" if known else "other"}
    leave = {"label": "Leave it", "address": here.address(state.id, "set_up"), "kind": "other"}
    read = {"label": "Look at it", "do": "read", "kind": "other" if known else ""}
    gauge = gauge_line(here.book, state)
    return {
        "question": "Both ends are known. Take it?" if known else "Set the next coupon.",
        "crumb": f"{_OPENING} · {len(ladder.rungs)} set so far",
        "instruction": f"{'Stroke' if known else 'Set to'} {show_mm(ladder.next_stroke_mm if known else aim_mm, here.unit)}",
        "note": _range_text(here, ladder)
        if known
        else f"stroke {show_mm(ladder.next_stroke_mm, here.unit)} {here.unit}, in exactly this stack",
        "caution": _limit_text(here, state, ladder) or _PULL,
        "field": {
            "name": "reading",
            "label": "Set length",
            "unit": here.unit,
            "value": typed,
            "expected": f"about {show_mm(aim_mm, here.unit)}",
            "saved": "",
            "problem": problem,
            "gauge": gauge,
        },
        "buttons": [take, read] if known else [read, take] if ladder.ready else [read, leave],
        "why": [ladder.text, _range_text(here, ladder)],
        "pull": "" if ladder.rungs else here.address(state.id, "virtual-pull"),
        "rungs": [
            _rung(here, rung, coupon.sequence)
            for coupon, rung in sorted(_with_coupons(state, ladder), key=lambda pair: pair[1].stroke_mm)
        ],
        "drawing": joint_of(state, unit=here.unit, insert=insert_of(state), set_length_mm=aim_mm, height=320),
        "drawing_title": "The next coupon, as it should set",
    }


def _with_coupons(state: JobState, ladder: Ladder) -> list[tuple[Any, Rung]]:
    coupons = {coupon.number: coupon for coupon in state.coupons if coupon.purpose == "ladder"}
    return [(coupons[rung.number], rung) for rung in ladder.rungs if rung.number in coupons]


def _rung(here: Desk, rung: Rung, sequence: int) -> dict[str, Any]:
    said = "all passed" if rung.passed else "failed: " + ", ".join(key.replace("_", " ") for key in rung.failed)
    return {
        "stroke": show_mm(rung.stroke_mm, here.unit),
        "text": said,
        "state": "done" if rung.passed else "fail",
        "strike": f"strike {sequence}",
    }


def _range_text(here: Desk, ladder: Ladder) -> str:
    if ladder.low_mm is None or ladder.high_mm is None:
        return "Nothing has passed yet."
    low, high = show_mm(ladder.low_mm, here.unit), show_mm(ladder.high_mm, here.unit)
    return f"All passed from {low} to {high} {here.unit} of stroke."


def _limit_text(here: Desk, state: JobState, ladder: Ladder) -> str:
    """Why not to go on upward: the tool's stroke, or the thread drawn into the sheet; "" while there is room."""
    insert, tool = insert_of(state), tool_of(state)
    if tool is not None and tool.stroke_max is not None and ladder.next_stroke_mm > tool.stroke_max.mm:
        return f"That is past this tool’s stroke of {show_mm(tool.stroke_max.mm, here.unit)} {here.unit}: stop here."
    stack, _batch = stack_of(state)
    thread_mm = insert.thread_length.mm if insert.thread_length is not None else 0.0
    room_mm = insert.length_free.mm - (head_height_nm(insert) or 0) / 1e6 - thickness(stack).value_mm - thread_mm
    if ladder.next_stroke_mm >= room_mm:
        return "That would draw the thread into the sheet: stop here."
    return ""

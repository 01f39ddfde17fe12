"""The prove page: one check of one coupon at a time, then what the coupons show and what is still owed.

The answers of the coupon in hand travel in the page itself, so that going back loses nothing; the coupon is put on
record in one act when its last check is answered, or as soon as the person says that it failed.
"""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs import practice_bench, prove, run_checks
from firstpull.jobs.shapes import tool_of
from firstpull.record.job import JobState
from firstpull.units import parse_length, parse_torque
from firstpull.web.coupon import ANSWERS, EYE, MAY_BE_LEFT_OUT, VALUES, check_page, next_question, questions
from firstpull.web.desk import Desk, act, desk, need_name
from firstpull.web.proof import verdict_page
from firstpull.web.typed import read_answers, slip_of, typed_torque, with_unit, write_answers

router = APIRouter()


@router.get("/{room}/jobs/{job}/prove")
def show_prove(request: Request, room: str, job: str, coupon: str = "") -> Response:
    """What is proven and owed; with ``coupon`` (the answers so far) the next check of that coupon."""
    here = desk(request, room)
    return need_name(here) or _page(here, here.book.job(job), coupon)


@router.post("/{room}/jobs/{job}/prove")
def do_prove(
    request: Request,
    room: str,
    job: str,
    *,
    do: Annotated[str, Form()] = "read",
    reading: Annotated[str, Form()] = "",
    coupon: Annotated[str, Form()] = "",
    asked: Annotated[str, Form()] = "",
    arrangement: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """One answer, or the coupon put on record, or the run opened again."""
    here = desk(request, room)
    form = {"expected": expected, "client_id": client_id}

    state = here.book.job(job)
    slip = _slip(here, state, asked, reading) if do == "read" else None
    if slip is not None:
        return _page(here, state, coupon, typed=reading, problem=slip, status_code=422)

    def perform() -> str:
        if do in ("begin", "simulate", "reopen"):
            return _begin(here, state, do, form)
        answers = _answered(here, state, do, asked=asked, reading=reading, arrangement=arrangement, coupon=coupon)
        if do == "save" or (next_question(state, answers) == "" and not _asks_after_failure(answers)):
            return _save(here, state, answers, form)
        return f"{here.address(job, 'prove')}?coupon={quote(write_answers(answers))}"

    def refused(problem: dict[str, Any], status: int) -> Response:
        return _page(here, here.book.job(job), coupon, typed=reading, problem=problem, status_code=status)

    return act(perform, refused)


def _begin(here: Desk, state: JobState, do: str, form: dict[str, str]) -> str:
    address = here.address(state.id, "prove")
    if do == "simulate" and here.practice:
        practice_bench.coupon(here.book, state.id, doing=here.doing(form))
    elif do == "reopen":
        run_checks.reopen(here.book, state.id, doing=here.doing(form))
        return here.address(state.id, "run")
    elif do == "begin":
        here.doing(form)  # a name before anything is typed
        end = prove.next_end(state)
        return f"{address}?coupon={quote(write_answers({'end': end}))}"
    else:
        raise BadInput("This page does not know that button.", where="do", hint="Load the page again.")
    return address


def _answered(
    here: Desk, state: JobState, do: str, *, asked: str, reading: str, arrangement: str, coupon: str
) -> dict[str, str]:
    """The coupon's answers with the one just given."""
    answers = read_answers(coupon, ANSWERS)
    if do == "save":
        return answers
    if do == "go_on":
        return {**answers, "on": "yes"}
    if asked not in questions(state):
        raise BadInput("This page is not one of this bench.", where="asked", hint="Load the page again.")
    if do in ("pass", "fail") and asked in EYE:
        return {**answers, asked: do}
    if do == "skip" and asked in MAY_BE_LEFT_OUT:
        return {**answers, asked: "-"}
    if do in ("read", "keep") and asked in VALUES:
        return {**answers, **_value(here, asked, reading, arrangement=arrangement)}
    raise BadInput("This page does not know that button.", where="do", hint="Load the page again.")


def _value(here: Desk, asked: str, reading: str, *, arrangement: str) -> dict[str, str]:
    if asked == "torque":
        if arrangement not in prove.ARRANGEMENTS:
            raise BadInput("How was the turning test arranged?", where="arrangement", hint="Choose one of the two.")
        return {"torque": typed_torque(reading, here.unit, "reading").typed, "arrangement": arrangement}
    value = here.length(reading, "reading")
    if not 0 < value.mm < 1000:
        raise BadInput(f"{value.typed} can not be a reading.", where="reading", hint="More than 0 and under 1 m.")
    return {asked: with_unit(value.typed, here.unit)}


def _slip(here: Desk, state: JobState, asked: str, reading: str) -> dict[str, Any] | None:
    """The question about a length that looks like a slip; asked once, kept when the person says that it is right."""
    setting = state.setting or {}
    free = (state.insert or {}).get("length_free", {}).get("nm", 0) / 1e6
    expected = {
        "thickness": setting.get("thickness_mm"),
        "set_length": setting.get("set_length_mm"),
        "length_before": free,
    }
    if asked not in expected:
        return None
    try:
        return slip_of(here.length(reading, "reading"), expected[asked], here.unit)
    except BadInput:
        return None  # said by the act itself


def _save(here: Desk, state: JobState, answers: dict[str, str], form: dict[str, str]) -> str:
    """Put the coupon on record as answered."""

    def length(key: str) -> Any:
        text = answers.get(key, "-")
        return None if text == "-" else parse_length(text, where=key)

    torque = answers.get("torque", "-")
    finding = prove.Finding(
        checks={key: answers[key] for key in EYE if answers.get(key, "-") != "-"},
        end=answers.get("end", ""),
        thickness=length("thickness"),
        set_length=length("set_length"),
        length_before=length("length_before"),
        torque=None if torque == "-" else parse_torque(torque, where="torque"),
        arrangement=answers.get("arrangement", ""),
    )
    purpose = prove.purpose_of(state)
    prove.check_coupon(
        here.book, state.id, finding, doing=here.doing(form), purpose="ladder" if purpose == "ladder" else "proof"
    )
    return here.address(state.id, "dial_in" if purpose == "ladder" else "prove")


def _asks_after_failure(answers: dict[str, str]) -> bool:
    return "fail" in answers.values() and "on" not in answers


def _page(
    here: Desk,
    state: JobState,
    coupon: str,
    *,
    typed: str = "",
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    if state.setting is None:
        raise Unsafe("There is no setting yet.", where=state.id, hint="Choose the insert and set up the tool first.")
    answers = read_answers(coupon, ANSWERS)
    if answers and _may_set_coupons(state):
        return check_page(here, state, answers, typed=typed, problem=problem, status_code=status_code)
    return verdict_page(here, state, problem=problem, status_code=status_code)


def _may_set_coupons(state: JobState) -> bool:
    """Coupons are set while a setting is held, on a pressure ladder, and after a stop."""
    if state.superseded_by or (state.released and not state.stopped):
        return False
    tool = tool_of(state)
    ladder = tool is not None and tool.control == "force" and state.pressure_bar is not None
    return state.stopped or state.held is not None or ladder

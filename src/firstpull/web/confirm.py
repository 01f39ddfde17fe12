"""The confirming pull: one insert in the air after locking, which shows that the lock moved nothing."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from firstpull.errors import Unsafe
from firstpull.jobs import dial_in, practice_bench, prove
from firstpull.record.job import JobState
from firstpull.units import show_mm
from firstpull.web.asking import asking
from firstpull.web.desk import Desk, act, desk, form_of, gauge_line, need_name, show
from firstpull.web.drawings import joint_of
from firstpull.web.typed import slip_of

router = APIRouter()


@router.get("/{room}/jobs/{job}/prove/air")
def show_air(request: Request, room: str, job: str) -> Response:
    """Asks for the set length of one air pull after locking."""
    here = desk(request, room)
    return need_name(here) or _page(here, here.book.job(job))


@router.post("/{room}/jobs/{job}/prove/air")
def do_air(
    request: Request,
    room: str,
    job: str,
    *,
    do: Annotated[str, Form()] = "read",
    reading: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """The reading of that pull; in practice the simulated tool pulls and reads by itself."""
    here = desk(request, room)

    def perform() -> str:
        doing = here.doing({"expected": expected, "client_id": client_id})
        state = here.book.job(job)
        if do == "simulate" and here.practice:
            practice_bench.pull(here.book, job, doing=doing)
        else:
            value = here.length(reading, "reading")
            slip = None if do == "keep" else slip_of(value, _expected_mm(state), here.unit)
            if slip is not None:
                raise Unsafe(slip["what"], where="reading", hint=slip["hint"])
            dial_in.record_pull(here.book, job, value, doing=doing, where="air")
        return here.address(job, "prove")

    def refused(problem: dict[str, Any], status: int) -> Response:
        if "was to be expected" in problem["what"]:
            problem = {**problem, "buttons": [{"label": "It is right", "do": "keep"}]}
        return _page(here, here.book.job(job), typed=reading, problem=problem, status_code=status)

    return act(perform, refused)


def wants_air_pull(state: JobState) -> bool:
    """Whether the held setting still wants its confirming pull."""
    return any(text.startswith("One air pull") for text in prove.verdict_of(state)["owed"])


def _expected_mm(state: JobState) -> float | None:
    return (state.setting or {}).get("air_target_mm")


def _page(
    here: Desk, state: JobState, *, typed: str = "", problem: dict[str, Any] | None = None, status_code: int = 200
) -> Response:
    if state.held is None:
        raise Unsafe("The tool is not dialled in yet.", where=state.id, hint="Dial in first, then lock the adjuster.")
    target = _expected_mm(state)
    field = {
        "name": "reading",
        "label": "Set length in the air",
        "unit": here.unit,
        "value": typed,
        "expected": "" if target is None else f"about {show_mm(target, here.unit)}",
        "saved": "",
        "problem": problem,
        "gauge": gauge_line(here.book, state),
    }
    button = (
        {"label": "Pull one insert", "do": "simulate"} if here.practice else {"label": "Save the reading", "do": "read"}
    )
    context = asking(
        form=form_of(state, here.address(state.id, "prove", "air")),
        title="Prove",
        question="Pull one in the air after locking.",
        caution="Air on, hands clear of the nose, eye protection on.",
        field=None if here.practice else field,
        problem=problem if here.practice else None,
        why=[
            "Locking can move the adjuster. This pull shows that it did not, and the run’s air pulls are compared with it."
        ],
        buttons=[button, {"label": "Back", "address": here.address(state.id, "prove"), "kind": "other"}],
        drawing=joint_of(state, unit=here.unit),
        drawing_title="The joint, before and after",
        drawing_notes=[here.lengths_note, *(["simulated"] if here.practice else [])],
    )
    return show(here, state, "steps/question.html", context, step="prove", status_code=status_code)

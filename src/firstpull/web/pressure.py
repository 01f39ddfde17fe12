"""Dial in of a force-set tool: the pressure ladder upward on coupons, then the middle of what passed, then the hold."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from firstpull.drawing.ladder import LadderRung, pressure_ladder_svg
from firstpull.errors import BadInput, Unsafe
from firstpull.jobs import force_set, prove
from firstpull.record.job import JobState
from firstpull.web.asking import asking
from firstpull.web.desk import Desk, act, desk, form_of, show
from firstpull.web.drawings import joint_of
from firstpull.web.strike import strike_button
from firstpull.web.typed import pressure_unit, show_pressure, typed_pressure, write_answers

router = APIRouter()
_NEVER_IN_AIR = "Never find the pressure by pulling in the air: the pull snaps through and can strip or jam."
_FOUND = {
    "flush": "not flush",
    "gap": "gap",
    "tilt": "tilted",
    "turn": "turns",
    "thread_gauge": "thread tight",
    "blind_head": "blind head",
    "torque": "moved early",
    "set_length": "length",
}


@router.post("/{room}/jobs/{job}/pressure")
def do_pressure(
    request: Request,
    room: str,
    job: str,
    *,
    do: Annotated[str, Form()] = "read",
    reading: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """The pressure as it was set, or the hold."""
    here = desk(request, room)

    def perform() -> str:
        doing = here.doing({"expected": expected, "client_id": client_id})
        if do == "read":
            value = typed_pressure(reading, here.unit, "reading").bar
            force_set.set_pressure(here.book, job, round(value, 4), doing=doing)
        elif do == "hold":
            force_set.hold_pressure(here.book, job, doing=doing)
            return here.address(job, "prove")
        else:
            raise BadInput("This page does not know that button.", where="do", hint="Load the page again.")
        return here.address(job, "dial_in")

    def refused(problem: dict[str, Any], status: int) -> Response:
        return pressure_page(here, here.book.job(job), typed=reading, problem=problem, status_code=status)

    return act(perform, refused)


def pressure_page(
    here: Desk,
    state: JobState,
    *,
    typed: str = "",
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    """What the ladder asks for now. Without a ladder: why there is none, and the way back to the set-up."""
    form = form_of(state, f"{here.address(state.id)}/pressure")
    try:
        step = force_set.next_step(state)
    except Unsafe as refusal:
        return _no_ladder(here, state, refusal, form)
    view = _held_view(here, state) if state.held is not None else _view(here, state, step, typed=typed, problem=problem)
    if problem is not None and view.get("field") is None:
        view = {**view, "problem": problem}
    ladder = (state.setting or {}).get("pressure") or {}
    context = asking(
        form=form,
        title="Dial in",
        drawing=_ladder_svg(here, state, step),
        drawing_title="Pressure ladder, upward",
        drawing_notes=["measured while it cycles", *(["simulated"] if here.practice else [])],
        **{"why": [_NEVER_IN_AIR, *ladder.get("warnings", ())], **view},
    )
    return show(here, state, "steps/question.html", context, step="dial_in", status_code=status_code)


def _view(
    here: Desk, state: JobState, step: force_set.Step, *, typed: str, problem: dict[str, Any] | None
) -> dict[str, Any]:
    pressure = show_pressure(step.pressure_bar, here.unit)
    crumb = f"Rung {step.rung} of {step.rungs}" if step.rung else "The middle of the band"
    if step.load_n is not None:
        crumb += f" · about {step.load_n / 1000:.1f} kN"
    if step.do == "set":
        field = {
            "name": "reading",
            "label": "Pressure as set",
            "unit": pressure_unit(here.unit),
            "value": typed or show_pressure(step.pressure_bar, here.unit, bare=True),
            "expected": "at the inlet, while it cycles",
            "saved": "" if state.pressure_bar is None else show_pressure(state.pressure_bar, here.unit, bare=True),
            "problem": problem,
            "gauge": None,
        }
        return {
            "question": "Set the pressure." if state.pressure_bar is None else "Set the next pressure.",
            "crumb": crumb,
            "said": f"{_last_word(state)}{step.why}",
            "instruction": pressure,
            "caution": "Hands clear; no insert on the mandrel.",
            "why": [],
            "field": field,
            "buttons": [_button("It is set", "read"), *strike_button(here, state)],
        }
    if step.do == "coupon":
        answers = write_answers({"end": prove.next_end(state)})
        return {
            "question": "Set one coupon at this pressure.",
            "crumb": crumb,
            "instruction": pressure,
            "note": "in scrap of exactly this stack; judged by the joint, not by length",
            "caution": "Eye protection on, hands clear, hold through the pull.",
            "buttons": [
                _button("Judge the coupon", address=f"{here.address(state.id, 'prove')}?coupon={quote(answers)}")
            ],
        }
    if step.do == "hold":
        low, high = force_set.passing_range(state)
        band = "" if low is None or high is None else _band(here, low, high)
        return {
            "question": "It passed in the middle. Lock the regulator?",
            "crumb": f"{len(force_set.ladder_coupons(state))} coupons used",
            "instruction": pressure,
            "note": f"Passed from {band}.",
            "buttons": [_button("Locked: go on to coupons", "hold"), *strike_button(here, state)],
        }
    return {
        "question": "No pressure of this ladder passed.",
        "crumb": f"{step.rungs} rungs tried",
        "said": step.why,
        "buttons": [
            _button("Back to the set-up", address=here.address(state.id, "set_up")),
            *strike_button(here, state),
        ],
    }


def _held_view(here: Desk, state: JobState) -> dict[str, Any]:
    held = state.held or {}
    band = _band(here, float(held["pressure_bar_min"]), float(held["pressure_bar_max"]))
    return {
        "question": "The pressure is held.",
        "crumb": f"{held.get('coupons', 0)} coupons used",
        "instruction": show_pressure(float(held["pressure_bar"]), here.unit),
        "note": f"Passed from {band}.",
        "buttons": [_button("Prove it on coupons", address=here.address(state.id, "prove"))],
    }


def _no_ladder(here: Desk, state: JobState, refusal: Unsafe, form: dict[str, str]) -> Response:
    context = asking(
        form=form,
        title="Dial in",
        question="There is no pressure ladder yet.",
        said=" ".join(refusal.reasons) or refusal.what,
        why=list((state.setting or {}).get("warnings") or ()),
        lines=[refusal.hint],
        buttons=[_button("Back to the set-up", address=here.address(state.id, "set_up"))],
        drawing=joint_of(state, unit=here.unit),
        drawing_title="The joint, before and after",
        drawing_notes=[here.lengths_note],
    )
    return show(here, state, "steps/question.html", context, step="dial_in")


def _ladder_svg(here: Desk, state: JobState, step: force_set.Step) -> str:
    results: dict[float, tuple[bool, str]] = {}
    for coupon in force_set.ladder_coupons(state):
        if coupon.pressure_bar is not None and coupon.purpose == "ladder":
            words = "passed" if coupon.passed else ", ".join(_FOUND.get(key, key) for key in coupon.failed)
            good = coupon.passed and results.get(coupon.pressure_bar, (True, ""))[0]
            results[coupon.pressure_bar] = (good, words)
    planned = dict(force_set.ladder_rungs(state))
    slope = next(load / pressure for pressure, load in planned.items())
    tried = set(results) | ({state.pressure_bar} if state.pressure_bar is not None else set())
    left = {pressure for pressure in planned if all(abs(pressure - other) > 0.03 for other in tried)}
    rungs = [
        LadderRung(
            pressure,
            show_pressure(pressure, here.unit),
            f"{pressure * slope / 1000:.1f} kN",
            "" if pressure not in results else "passes" if results[pressure][0] else "fails",
            results.get(pressure, (True, ""))[1],
        )
        for pressure in sorted(left | tried)
    ]
    low, high = force_set.passing_range(state)
    shown = step.pressure_bar if step.do != "stuck" else None
    now = min((rung.height for rung in rungs), key=lambda height: abs(height - (shown or 0.0))) if shown else None
    if now is not None and shown is not None and abs(now - shown) > 0.03:
        now = None
    band = None if low is None or high is None else (low, high)
    return pressure_ladder_svg(rungs, now=now, band=band, key="ladder")


def _band(here: Desk, low: float, high: float) -> str:
    return f"{show_pressure(low, here.unit, bare=True)} to {show_pressure(high, here.unit)}"


def _last_word(state: JobState) -> str:
    tried = force_set.ladder_coupons(state)
    if not tried or tried[-1].passed:
        return ""
    return f"Coupon {tried[-1].number}: {', '.join(_FOUND.get(key, key) for key in tried[-1].failed)}. "


def _button(label: str, do: str = "", *, address: str = "", kind: str = "") -> dict[str, str]:
    return {"label": label, "do": do, "address": address, "kind": kind}

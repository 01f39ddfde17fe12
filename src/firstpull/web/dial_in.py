"""The dial-in page: one question, what to do now in large type, the chart with window and belief."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from firstpull.drawing.charts import convergence_chart
from firstpull.drawing.knob import knob_turn
from firstpull.errors import BadInput, Unsafe
from firstpull.jobs import dial_in, practice_bench
from firstpull.jobs.shapes import insert_of, to_mm, tool_of, unit_of
from firstpull.record.job import JobState
from firstpull.units import Length, show_length
from firstpull.web import practice
from firstpull.web.desk import Desk, act, desk, form_of, gauge_line, need_name, show
from firstpull.web.strike import strike_button
from firstpull.web.trial_views import (
    chart_of,
    counted_note,
    expected_text,
    inserts_used,
    known_lines,
    mm_text,
    promise_text,
    said_of,
    saved_of,
    suspects_of,
)

router = APIRouter()


@router.get("/{room}/jobs/{job}/dial-in")
def show_dial_in(request: Request, room: str, job: str, air: str = "", reading: str = "") -> Response:
    """What to do now. ``air`` says which of the two taps of a turn has been made: “” or “off”; ``reading`` is one that
    came in elsewhere and waits in the field until it is saved."""
    here = desk(request, room)
    return need_name(here) or _page(here, here.book.job(job), air=air, typed=reading[:60])


@router.post("/{room}/jobs/{job}/dial-in")
def do_dial_in(
    request: Request,
    room: str,
    job: str,
    do: Annotated[str, Form()] = "read",
    reading: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """A reading, a turn done, a cycle or the hold."""
    here = desk(request, room)
    form = {"expected": expected, "client_id": client_id}

    def perform() -> str:
        return _do(here, job, do, reading=reading, form=form)

    def refused(problem: dict[str, Any], status: int) -> Response:
        air = "off" if do == "turned" else ""
        return _page(here, here.book.job(job), air=air, typed=reading, problem=problem, status_code=status)

    return act(perform, refused)


_PLAIN: dict[str, Callable[..., JobState]] = {"cycled": dial_in.dry_cycle, "reconnected": dial_in.reconnect}
_SIMULATED: dict[str, Callable[..., JobState]] = {"pull": practice_bench.pull, "again": practice_bench.read_again}


def _do(here: Desk, job: str, do: str, *, reading: str, form: dict[str, str]) -> str:
    book, doing = here.book, here.doing(form)
    address = here.address(job, "dial_in")
    state = book.job(job)
    reply = state.advice or {}
    if do == "read":
        _read(here, state, here.length(reading, "reading"), doing=doing)
    elif do == "lot":
        value = here.length(reading, "reading")
        dial_in.record_lot_length(book, job, value, doing=doing, gauge=state.gauge_id)
    elif do == "air_off":
        return f"{address}?air=off"
    elif do == "turned":
        _turned(here, state, reply, doing)
    elif do in _PLAIN:
        _PLAIN[do](book, job, doing=doing)
    elif do in _SIMULATED and here.practice:
        _SIMULATED[do](book, job, doing=doing)
    elif do == "hold":
        dial_in.hold(book, job, doing=doing)
        return address if here.practice else here.address(job, "prove")
    else:
        raise BadInput("This page does not know that button.", where="do", hint="Load the page again.")
    return address


def _read(here: Desk, state: JobState, value: Length, *, doing: Any) -> None:
    """File a reading where it belongs: a free length and a set length differ enough to be told apart."""
    insert, setting = insert_of(state), state.setting or {}
    free, aim = insert.length_free.mm, float(setting.get("set_length_mm") or 0.0)
    is_free = abs(value.mm - free) < abs(value.mm - aim) and abs(value.mm - free) < 0.25 * max(free - aim, 0.1)
    reply = state.advice or {}
    if reply.get("action") == "remeasure" and not is_free:
        dial_in.read_again(here.book, state.id, value, doing=doing)
    elif is_free and dial_in.measures_before(state):
        dial_in.record_free_length(here.book, state.id, value, doing=doing, gauge=state.gauge_id)
    else:
        where = "stack" if reply.get("where") == "stack" else "air"
        dial_in.record_pull(here.book, state.id, value, doing=doing, where=where)


def _turned(here: Desk, state: JobState, reply: Mapping[str, Any], doing: Any) -> None:
    if here.book.repeats(state.stream, doing):
        return
    if reply.get("action") != "turn":
        raise Unsafe("There is no turn to make.", where="turn", hint="Look at what the page asks now.")
    cycles = int(reply.get("dry_cycles") or 0)
    if "clicks" in reply:
        dial_in.turn(here.book, state.id, doing=doing, clicks=int(reply["clicks"]), dry_cycles=cycles)
    else:
        dial_in.turn(here.book, state.id, doing=doing, turns=float(reply["turns"]), dry_cycles=cycles)


def _page(
    here: Desk,
    state: JobState,
    *,
    air: str = "",
    typed: str = "",
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    tool = tool_of(state)
    if state.setting is None or tool is None:
        raise Unsafe("There is no setting yet.", where=state.id, hint="Choose the insert and set up the tool first.")
    if tool.control == "force":
        from firstpull.web.pressure import pressure_page

        return pressure_page(here, state, typed=typed, problem=problem, status_code=status_code)
    try:
        aim = dial_in.promise(state)
    except Unsafe as refusal:
        return _no_window(here, state, refusal)
    if state.held is None and not dial_in.advice_stands(state):
        state = dial_in.refresh_advice(here.book, state.id, _system(here, state))
    if here.practice and state.held is not None:
        return practice.end_page(here, state)
    if here.practice and practice.own_moves(here.request):
        return practice.own_page(here, state, problem=problem, status_code=status_code)
    view = _view(here, state, air=air, problem=problem, typed=typed)
    if typed and problem and view.get("field") is None and state.held is None:
        view = _late_view(here, state, problem=problem, typed=typed)
    if typed and not problem and view.get("field") is None:
        view["text"] = (
            f"{view.get('text', '')} “{typed}” came in, but no reading is asked for yet: do this first.".strip()
        )
    context = {
        "form": form_of(state, here.address(state.id, "dial_in")),
        "said": said_of(here, state),
        "said_mark": "",
        "caution": "",
        "instruction": "",
        "note": "",
        "text": "",
        "field": None,
        "readings": [],
        "suspects": suspects_of(here, state),
        "why": [dial_in.why_in(here.book, state, here.unit), promise_text(here, aim), *known_lines(here, state)],
        "knob": "",
        "chart": chart_of(here, state),
        "aside": practice.aside(here, state) if here.practice else [],
        "sheet_title": "Set lengths",
        "sheet_notes": [
            *counted_note(here, state),
            here.lengths_note,
            *(["simulated"] if here.practice else []),
        ],
        **view,
    }
    return show(here, state, "steps/dial_in.html", context, step="dial_in", status_code=status_code)


def _view(here: Desk, state: JobState, *, air: str, problem: dict[str, Any] | None, typed: str) -> dict[str, Any]:
    """The parts that depend on the moment: turn, read, read again, cycle, good, refused."""
    reply = state.advice or {}
    action = str(reply.get("action", "pull"))
    pulled = sum(not pull.struck_out for pull in state.pulls)
    same = action == "remeasure"
    crumb = f"Pull {pulled} · once more" if same else f"Pull {pulled + 1} · at most {dial_in.MAX_PULLS}"
    if state.held is not None:
        return {
            "question": "The tool is dialled in.",
            "crumb": inserts_used(pulled),
            "instruction": f"Mean {mm_text(here, float(state.held['estimate_mm']))}",
            "note": f"inside its limits with {float(state.held['confidence']) * 100:.1f} % confidence",
            "buttons": [_button("Prove it on coupons", address=here.address(state.id, "prove"))],
        }
    if action == "turn":
        return _turn_view(here, state, reply, air=air, crumb=crumb)
    if action == "release":
        return {
            "question": "It is where it must be. Lock the adjuster?",
            "crumb": inserts_used(pulled),
            "instruction": f"Mean {mm_text(here, to_mm(float(reply['estimate']), unit_of(state)))}",
            "note": f"inside its limits with {float(reply['confidence']) * 100:.1f} % confidence. Air off, lock it, air on.",
            "buttons": [_button("Locked: go on to coupons", "hold"), *strike_button(here, state)],
        }
    if action == "refuse":
        return {
            "question": "This does not lead there.",
            "crumb": crumb,
            "said_mark": "stop",
            "text": dial_in.why_in(here.book, state, here.unit),
            "buttons": [
                _button("Back to the set-up", address=here.address(state.id, "set_up")),
                *strike_button(here, state),
            ],
        }
    if action == "dry_cycle":
        return {
            "question": "Cycle the tool without an insert.",
            "crumb": crumb,
            "caution": "Hands clear of the nose.",
            "buttons": [_button("Cycled once", "cycled"), *strike_button(here, state)],
        }
    return _read_view(here, state, again=same, crumb=crumb, problem=problem, typed=typed)


def _turn_view(here: Desk, state: JobState, reply: Mapping[str, Any], *, air: str, crumb: str) -> dict[str, Any]:
    tool = tool_of(state)
    clicks = reply.get("clicks")
    per_turn = tool.clicks_per_turn if tool is not None else None
    turns = float(reply["turns"]) if clicks is None else int(clicks) / (per_turn or 1)
    plus = tool.plus_direction if tool is not None else "clockwise"
    other = "anticlockwise" if plus == "clockwise" else "clockwise"
    direction = plus if turns > 0 else other
    amount = (
        f"{abs(turns):.2f} turns"
        if clicks is None
        else f"{abs(int(clicks))} click{'s' if abs(int(clicks)) != 1 else ''}"
    )
    if air != "off":
        return {
            "question": "Take the air off.",
            "crumb": crumb,
            "caution": "Disconnect and bleed the air before a hand goes to the knob.",
            "buttons": [_button("Air is off", "air_off"), *strike_button(here, state)],
        }
    cycles = int(reply.get("dry_cycles") or 0)
    back = "Air on, hands clear" + (
        f", then {cycles} cycle{'s' if cycles != 1 else ''} without an insert" if cycles else ""
    )
    return {
        "question": "Turn the knob.",
        "crumb": crumb,
        "said": said_of(here, state, brief=True),
        "instruction": f"{amount} {direction}",
        "note": f"Expect {expected_text(here, state)}.",
        "sheet_notes": ["seen from the knob’s end", here.lengths_note],
        "caution": f"{back}." if cycles else "",
        "aside": [],
        "chart": chart_of(here, state, low=True),
        "knob": knob_turn(
            abs(turns),
            clicks=None if clicks is None else abs(int(clicks)),
            direction=direction,
            clicks_per_turn=per_turn,
            key="knob",
        ),
        "buttons": [_button("Turned, air on, hands clear", "turned")],
    }


def _read_view(
    here: Desk, state: JobState, *, again: bool, crumb: str, problem: dict[str, Any] | None, typed: str
) -> dict[str, Any]:
    reply = state.advice or {}
    stack = reply.get("where") == "stack"
    before = state.length_before
    wants_free = dial_in.measures_before(state) and before is None and not again and not here.practice
    label = "Free length" if wants_free else "Set length"
    field = {
        "name": "reading",
        "label": "Read the same insert again" if again else label,
        "unit": here.unit,
        "value": typed,
        "expected": "" if wants_free else f"expected {expected_text(here, state)}",
        "saved": saved_of(here, state),
        "problem": problem,
        "gauge": gauge_line(here.book, state),
    }
    last = [pull for pull in state.pulls if not pull.struck_out][-1:]
    readings = [
        {"text": show_length(r, here.unit), "struck": False} for r in (last[0].readings if again and last else ())
    ]
    if here.practice:
        return _practice_view(here, state, again=again, crumb=crumb, readings=readings)
    place = "in scrap of exactly this stack" if stack else "in the air"
    question = (
        "What does it read now?"
        if again
        else ("How long is the insert before its pull?" if wants_free else "What did this pull read?")
    )
    caution = (
        ""
        if again or wants_free
        else f"Pull it {place}. Eye protection on, hands clear of the nose, hold through the full pull."
    )
    return {
        "question": question,
        "crumb": crumb,
        "caution": caution,
        # before the first pull: how many inserts to expect, and what would save some
        "text": "" if state.pulls or not wants_free or problem else dial_in.why_in(here.book, state, here.unit),
        "field": field,
        "readings": readings,
        "buttons": [_button("Save the reading", "read"), *_lot_button(state, wants_free), *strike_button(here, state)],
    }


def _lot_button(state: JobState, wants_free: bool) -> list[dict[str, str]]:
    """Before the first pull other inserts of the lot can be measured and kept: their lengths save pulls."""
    return [_button("Only measured", "lot", kind="other")] if wants_free and not state.pulls else []


def _late_view(here: Desk, state: JobState, *, problem: dict[str, Any], typed: str) -> dict[str, Any]:
    """A reading that was refused while the page went on to something else: it keeps its field until it is answered."""
    view = _read_view(here, state, again=False, crumb="", problem=problem, typed=typed)
    leave = _button("Leave it out", address=here.address(state.id, "dial_in"), kind="other")
    return {
        **view,
        "question": "Does this reading count too?",
        "caution": "",
        "field": {**view["field"], "label": "Your reading", "expected": ""},
        "buttons": [_button("Save the reading", "read"), leave],
    }


def _practice_view(
    here: Desk, state: JobState, *, again: bool, crumb: str, readings: list[dict[str, Any]]
) -> dict[str, Any]:
    """The simulated caliper types by itself: one button is the whole of it."""
    first = not state.pulls
    free = show_length(practice_bench.next_free_length(state), here.unit)
    place = "in scrap of the stack" if (state.advice or {}).get("where") == "stack" else "in the air"
    question = f"{state.title}. This tool is simulated. Pull one insert." if first else f"Pull one insert {place}."
    text = f"It is {free} {here.unit} long before its pull."
    if not first:
        text += f" Expect {expected_text(here, state)}."
    return {
        "question": "Read the same insert once more." if again else question,
        "crumb": crumb,
        "text": "" if again else text,
        "field": None,
        "readings": readings,
        "buttons": [
            _button("Read it again", "again") if again else _button("Pull", "pull"),
            *strike_button(here, state),
        ],
    }


def _button(label: str, do: str = "", *, address: str = "", kind: str = "") -> dict[str, str]:
    return {"label": label, "do": do, "address": address, "kind": kind}


def _system(here: Desk, state: JobState) -> Any:
    from firstpull.jobs.workshop import Doing
    from firstpull.web.person import person_of

    return Doing(person_of(here.request) or state.opened_by, None, uuid.uuid4().hex)


def _no_window(here: Desk, state: JobState, refusal: Unsafe) -> Response:
    setting = state.setting or {}
    context = {
        "form": form_of(state, here.address(state.id, "dial_in")),
        "question": "There is nothing to dial in to yet.",
        "crumb": "",
        "said": refusal.what,
        "said_mark": "stop",
        "caution": "",
        "instruction": "",
        "note": "",
        "text": refusal.hint,
        "field": None,
        "readings": [],
        "suspects": [],
        "why": list(setting.get("warnings") or ()),
        "buttons": [
            _button("Find the window on coupons", address=here.address(state.id, "find-allowance")),
            _button("Back to the set-up", address=here.address(state.id, "set_up"), kind="other"),
        ],
        "knob": "",
        "chart": convergence_chart(
            [], window=None, target=float(setting["set_length_mm"]), unit=here.unit, key="chart"
        ),
        "aside": [],
        "sheet_title": "Set lengths",
        "sheet_notes": [here.lengths_note],
    }
    return show(here, state, "steps/dial_in.html", context, step="dial_in")

"""Learn this knob: a few sacrificial inserts, starting short, two turns apart, tell lead, direction, play and scatter."""

from __future__ import annotations

import uuid
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from firstpull.drawing.knob import knob_turn
from firstpull.errors import BadInput
from firstpull.jobs import look_after
from firstpull.jobs.workshop import Doing
from firstpull.record.things import ToolState
from firstpull.statistics.knob import KnobFit
from firstpull.units import Length, LengthUnit, parse_number, show_length, show_mm
from firstpull.web.desk import Desk, act, desk, need_name
from firstpull.web.render import page
from firstpull.web.tools import entry_of

router = APIRouter()

# where the pulls are made, in turns from the start: forward, two turns apart, then once back so that the play shows
PLACES = (0.0, 2.0, 4.0, 2.0)


@router.get("/tools/{tool}/learn-knob")
def show_learn_knob(request: Request, tool: str) -> Response:
    """The next pull of the learning, or what was learned so far."""
    here = desk(request, "bench")
    return need_name(here) or _page(here, here.book.tool(tool))


@router.post("/tools/{tool}/learn-knob")
def do_learn_knob(
    request: Request,
    tool: str,
    do: Annotated[str, Form()] = "try",
    turns: Annotated[str, Form()] = "",
    free_length: Annotated[str, Form()] = "",
    set_length: Annotated[str, Form()] = "",
    reason: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """One pull, keep what was learned, or begin again."""
    here = desk(request, "bench")
    typed = {"turns": turns, "free_length": free_length, "set_length": set_length, "reason": reason}

    def perform() -> str:
        return _do(here, tool, do, typed, doing=here.doing({"expected": expected, "client_id": client_id}))

    def refused(problem: dict[str, Any], status: int) -> Response:
        return _page(here, here.book.tool(tool), typed=typed, problem=problem, status_code=status)

    return act(perform, refused)


def _do(here: Desk, tool: str, do: str, typed: dict[str, str], *, doing: Doing) -> str:
    address = f"/tools/{quote(tool)}/learn-knob"
    if do == "try":
        look_after.try_knob(
            here.book,
            tool,
            turns=_turns(typed["turns"]),
            free_length=here.length(typed["free_length"], "free_length"),
            set_length=here.length(typed["set_length"], "set_length"),
            doing=doing,
        )
    elif do == "learn":
        look_after.learn_knob(here.book, tool, doing=doing)
        return f"/tools/{quote(tool)}"
    elif do == "drop":
        look_after.drop_knob_trials(here.book, tool, reason=typed["reason"] or "begun again at the bench", doing=doing)
    else:
        raise BadInput("This page does not know that button.", where="do", hint="Load the page again.")
    return address


def _turns(text: str) -> float:
    """Signed turns as typed; a typographic minus counts."""
    plain = text.strip().replace("−", "-")
    sign = -1.0 if plain.startswith("-") else 1.0
    return sign * float(parse_number(plain.lstrip("+-").strip(), where="turns"))


def _page(
    here: Desk,
    state: ToolState,
    *,
    typed: dict[str, str] | None = None,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    name = str(state.tool.get("name") or state.id)
    done = len(state.knob_trials)
    fit, trouble = _fit(state)
    place = PLACES[done] if done < len(PLACES) else PLACES[-1]
    before = float(state.knob_trials[-1]["turns"]) if done else 0.0
    values = {"turns": f"{place:+g}".replace("+0", "0"), **{k: v for k, v in (typed or {}).items() if v}}
    fields = [
        entry_of(
            "turns", "Turns from the start", values, problem, note="plus as it counts", inputmode="text", maxlength=10
        ),
        entry_of("free_length", "Length before", values, problem, note=here.unit, inputmode="decimal", maxlength=30),
        entry_of("set_length", "Length after", values, problem, note=here.unit, inputmode="decimal", maxlength=30),
    ]
    enough = fit is not None and done >= len(PLACES)
    buttons = [{"label": "Save this pull", "do": "try", "kind": "other" if enough else ""}]
    if fit is not None:
        keep = {"label": "Keep what it learned", "do": "learn", "kind": "" if enough else "other"}
        buttons = [keep, *buttons] if enough else [*buttons, keep]
    elif done:
        buttons.append({"label": "Begin again", "do": "drop", "kind": "other"})
    at_field = problem is not None and problem.get("where") in {field["name"] for field in fields}
    context = {
        "title": "Learn this knob",
        "form": {
            "address": f"/tools/{quote(state.id)}/learn-knob",
            "expected": str(state.sequence),
            "client_id": uuid.uuid4().hex,
        },
        "question": _question(place - before, done, enough=enough),
        "crumb": f"{name} · pull {done + 1} of about {len(PLACES)}",
        "said": trouble,
        "caution": "Air off before the knob. Air on, hands clear, before the pull." if done < len(PLACES) else "",
        "instruction": "",
        "note": "",
        "choices": [],
        "fields": fields,
        "pairs": True,
        "problem": None if at_field else problem,
        "field": None,
        "readings": [_trial(trial, here.unit) for trial in state.knob_trials],
        "why": [
            "Start well short, so that no pull comes near the limit of mandrel and thread.",
            "Pull in the air, each insert measured before and after. Two turns between pulls make the lead sure.",
            "The last pull is reached backwards: it shows the play, which is lost when the knob is turned the other way.",
        ],
        "buttons": buttons,
        "facts": _facts(fit, here.unit),
        "drawing": _drawing(state, place - before),
        "drawing_title": "From where the knob stands",
        "drawing_notes": [here.lengths_note],
    }
    return page(here.request, "steps/question.html", context, status_code=status_code)


def _question(step: float, done: int, *, enough: bool) -> str:
    if enough:
        return "Is that this knob?"
    if not done:
        return "Set it well short, pull one insert: before and after?"
    way = "on" if step > 0 else "back"
    return f"Two turns {way}, pull one insert: before and after?"


def _fit(state: ToolState) -> tuple[KnobFit | None, str]:
    """What the pulls show so far, or why they show nothing."""
    try:
        return look_after.knob_fit(state), ""
    except BadInput as problem:
        return None, f"{problem.what} {problem.hint}"


def _facts(fit: KnobFit | None, unit: LengthUnit) -> list[dict[str, str]]:
    if fit is None:
        return [{"name": "Learned so far", "value": "nothing yet", "note": ""}]
    decimals = 3 if unit == "mm" else 5

    def mm(value_mm: float) -> str:
        return show_mm(value_mm, unit, decimals=decimals)

    play = "not seen yet" if fit.play_turns is None else f"{fit.play_turns:.2f} turns"
    return [
        {"name": "Stroke a turn", "value": f"{mm(abs(fit.lead_mm))} ± {mm(2 * fit.lead_sd_mm)} {unit}", "note": ""},
        {"name": "A plus turn gives", "value": "more stroke" if fit.lead_mm > 0 else "less stroke", "note": ""},
        {"name": "Play", "value": play, "note": ""},
        {"name": "Scatter of a pull", "value": f"{mm(fit.scatter_mm)} {unit}", "note": "sd"},
    ]


def _trial(trial: Any, unit: LengthUnit) -> str:
    free, after = Length.from_json(trial["free_length"]), Length.from_json(trial["set_length"])
    turns = f"{float(trial['turns']):+g}".replace("-", "−")
    return f"{turns}: {show_length(free, unit)} → {show_length(after, unit)}"


def _drawing(state: ToolState, step: float) -> str:
    plus = str(state.tool.get("plus_direction", "clockwise"))
    other = "anticlockwise" if plus == "clockwise" else "clockwise"
    return knob_turn(abs(step), clicks=None, direction=plus if step >= 0 else other, key="learn")

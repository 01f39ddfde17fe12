"""The set-up page: what is still to be answered, then one act at the tool at a time, then the tool is ready."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response
from pydantic import BaseModel

from firstpull.drawing.knob import knob_turn
from firstpull.drawing.steps import STEPS, mandrel_picture
from firstpull.errors import BadInput, NotFound
from firstpull.jobs import set_up
from firstpull.jobs.shapes import tool_of
from firstpull.mechanics.tool import Tool
from firstpull.record.job import JobState
from firstpull.units import show_mm
from firstpull.web.desk import Desk, act, desk, form_of, need_name, show
from firstpull.web.drawings import joint_of
from firstpull.web.frozen import frozen_page
from firstpull.web.set_up_answers import ASKS, answer, ask_page, next_ask
from firstpull.web.whys import WHYS, setting_lines

router = APIRouter()
_AIR_IS_OFF = ("mandrel", "engagement", "anvil", "knob")


class SetUpForm(BaseModel):
    """The fields of all the set-up's questions; each sends its own."""

    do: str = "answer"
    tool: str = ""
    mandrel: str = ""
    gauge: str = ""
    allowance: str = ""
    value: str = ""
    doubt: str = ""
    source: str = ""
    window: str = ""
    stroke_min: str = ""
    stroke_max: str = ""
    present: str = ""
    expected: str = ""
    client_id: str = ""


@router.get("/{room}/jobs/{job}/set-up")
def show_set_up(request: Request, room: str, job: str, ask: str = "") -> Response:
    """What is to be answered or done now; ``ask`` goes back to one answer."""
    here = desk(request, room)
    asked = need_name(here)
    if asked is not None:
        return asked
    state = here.book.job(job)
    if state.released:
        return frozen_page(here, state, step="set_up")
    if state.insert is None or state.stack is None:
        return RedirectResponse(here.address(job, "choose"), status_code=303)
    if ask:
        return ask_page(here, state, _known(ask))
    if state.setting is None:
        return ask_page(here, state, next_ask(here, state))
    return _acts_page(here, state)


@router.post("/{room}/jobs/{job}/set-up")
def do_set_up(request: Request, room: str, job: str, form: Annotated[SetUpForm, Form()], ask: str = "") -> Response:
    """An answer, the setting computed, or an act done."""
    here = desk(request, room)
    here.book.job(job)
    name = _known(ask) if ask else ""
    typed = form.model_dump(exclude={"do", "expected", "client_id"})

    def perform() -> str:
        doing = here.doing({"expected": form.expected, "client_id": form.client_id})
        address = here.address(job, "set_up")
        if form.do.startswith("done "):
            set_up.do_step(here.book, job, form.do.partition(" ")[2], doing=doing)
            return address
        if not name:
            raise BadInput("This page does not know that button.", where="do", hint="Load the page again.")
        after = answer(here, here.book.job(job), name, form.do, typed=typed, doing=doing)
        return f"{address}?ask={after}" if after else address

    def refused(problem: dict[str, Any], status: int) -> Response:
        state = here.book.job(job)
        if state.released:
            return frozen_page(here, state, step="set_up", status_code=status)
        if name and state.insert is not None and state.stack is not None:
            return ask_page(here, state, name, typed=typed, problem=problem, status_code=status)
        if state.setting is None:
            return ask_page(here, state, next_ask(here, state), problem=problem, status_code=status)
        return _acts_page(here, state, problem=problem, status_code=status)

    return act(perform, refused)


def _known(ask: str) -> str:
    if ask not in ASKS:
        raise NotFound(f"Set-up does not ask for “{ask[:20]}”.", hint=", ".join(ASKS))
    return ask


def _acts_page(
    here: Desk, state: JobState, *, problem: dict[str, Any] | None = None, status_code: int = 200
) -> Response:
    setting = set_up.setting_in(here.book, state, here.unit)
    acts = [step for step in setting["steps"] if step["key"] in set_up.ACTS]
    begun = bool(state.pulls or state.held)
    now = next((step for step in acts if step["key"] not in state.steps_done), None)
    if now is None or begun:
        return _ready_page(here, state, setting, problem=problem, status_code=status_code)
    place = acts.index(now) + 1
    move = _move_text(setting, tool_of(state)) if now["key"] == "knob" else ""
    context = {
        "form": form_of(state, here.address(state.id, "set_up")),
        "question": now["title"],
        "crumb": f"Act {place} of {len(acts)}",
        "act": move,
        "note": "seen from the knob’s end" if move else "",
        "text": "" if move else now["text"],
        "caution": "The air stays off." if now["key"] in _AIR_IS_OFF else "",
        "problem": problem,
        "field": None,
        "said": "",
        "why": [*([now["text"]] if move else []), *WHYS.get(f"act.{now['key']}", ()), *setting["warnings"]],
        "acts": [
            {"text": step["title"], "state": "done" if n < place else "now" if n == place else "later"}
            for n, step in enumerate(acts, 1)
        ],
        "facts": _facts(here, setting),
        "changes": [],
        "ways": _ways(here, state, now["key"]),
        "buttons": [{"label": _DONE.get(now["key"], "Done"), "do": f"done {now['key']}", "kind": ""}],
        "drawing": _act_drawing(state, setting, now["key"]),
        "drawing_title": now["title"],
        "drawing_notes": ["not to scale"],
    }
    return show(here, state, "steps/set_up.html", context, step="set_up", status_code=status_code)


_DONE = {"air_off": "Air is off", "air_on": "Air is on, hands clear", "knob": "Set"}


def _ready_page(
    here: Desk,
    state: JobState,
    setting: Mapping[str, Any],
    *,
    problem: dict[str, Any] | None,
    status_code: int,
) -> Response:
    tool = tool_of(state)
    force = tool is not None and tool.control == "force"
    blockers = list(setting["blockers"])
    context = {
        "form": form_of(state, here.address(state.id, "set_up")),
        "question": "The tool is ready.",
        "crumb": "All acts done",
        "act": f"Stroke {show_mm(float(setting['stroke_mm']), here.unit)}",
        "note": f"set length {show_mm(float(setting['set_length_mm']), here.unit)} {here.unit}",
        "text": blockers[0]
        if blockers
        else "Find the pressure on coupons, upward."
        if force
        else "Measure each insert before its pull: it saves inserts.",
        "caution": "",
        "problem": problem,
        "field": None,
        "said": "",
        "why": [
            *setting_lines(dict(setting), here.unit),
            *(line for line in setting["warnings"] if line not in blockers),
        ],
        "acts": [],
        "facts": _facts(here, setting),
        "changes": [],
        "ways": [{"label": "Change an answer", "address": f"{here.address(state.id, 'set_up')}?ask=review"}],
        "buttons": _ready_buttons(here, state, blocked=bool(blockers) and not force, force=force),
        "drawing": joint_of(state, unit=here.unit, height=300),
        "drawing_title": "The joint before and after",
        "drawing_notes": [here.lengths_note],
    }
    return show(here, state, "steps/set_up.html", context, step="set_up", status_code=status_code)


def _ready_buttons(here: Desk, state: JobState, *, blocked: bool, force: bool) -> list[dict[str, str]]:
    dial = {
        "label": "Find the pressure" if force else "Dial in",
        "address": here.address(state.id, "dial_in"),
        "kind": "",
    }
    if not blocked:
        return [dial]
    find = {"label": "Find the limits", "address": here.address(state.id, "find-allowance"), "kind": ""}
    return [
        find,
        {"label": "Give limits", "address": f"{here.address(state.id, 'set_up')}?ask=window", "kind": "other"},
    ]


def _ways(here: Desk, state: JobState, key: str) -> list[dict[str, str]]:
    address = here.address(state.id, "set_up")
    tool = tool_of(state)
    if key == "knob" and tool is not None and tool.lead_per_turn is not None and not (state.pulls or state.held):
        return [{"label": "I know what it sets now", "address": f"{address}?ask=present"}]
    if key == "air_off":
        return [{"label": "Change an answer", "address": f"{address}?ask=review"}]
    return []


def _facts(here: Desk, setting: Mapping[str, Any]) -> list[dict[str, str]]:
    def mm(key: str) -> str:
        return show_mm(float(setting[key]), here.unit)

    def limits(low: str, high: str) -> str:
        return "" if setting[low] is None or setting[high] is None else f"{mm(low)} to {mm(high)}"

    rows = [
        {"name": f"Stroke, {here.unit}", "value": mm("stroke_mm"), "note": limits("stroke_min_mm", "stroke_max_mm")},
        {
            "name": "Set length",
            "value": mm("set_length_mm"),
            "note": limits("set_length_min_mm", "set_length_max_mm"),
        },
    ]
    if setting["air_target_mm"] is not None:
        doubt = show_mm(float(setting["air_to_stack_sd_mm"]), here.unit)
        rows.append({"name": "Aim in the air", "value": mm("air_target_mm"), "note": f"± {doubt}"})
    return rows


def _move_text(setting: Mapping[str, Any], tool: Tool | None) -> str:
    """The move of the knob in a few words: “11 clicks clockwise”; "" when the present setting is not known, and for a
    move to less stroke: that is two turns, past it and back, which only the act's own sentence says whole."""
    move = setting.get("knob_move")
    if not move or tool is None or (float(move["turns"]) < 0) == (tool.plus_turns == "more stroke"):
        return ""
    if move["clicks"] is not None:
        count = abs(int(move["clicks"]))
        return f"{count} click{'' if count == 1 else 's'} {move['direction']}" if count else "Leave the knob"
    return f"{abs(float(move['turns'])):.2f} turns {move['direction']}"


def _act_drawing(state: JobState, setting: Mapping[str, Any], key: str) -> str:
    move, tool = setting.get("knob_move"), tool_of(state)
    if key == "knob" and move and tool is not None and _move_text(setting, tool):
        return knob_turn(
            abs(float(move["turns"])),
            clicks=None if move["clicks"] is None else abs(int(move["clicks"])),
            direction=move["direction"],
            clicks_per_turn=tool.clicks_per_turn,
            key="act",
        )
    end = str((state.insert or {}).get("end", "open"))
    return mandrel_picture(key, end, key="act") if key in STEPS else ""

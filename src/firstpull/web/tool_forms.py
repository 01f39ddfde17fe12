"""Adding a tool, in three short screens, and adding a gauge. Nothing is written before the last button."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response
from pydantic import BaseModel

from firstpull.errors import BadInput
from firstpull.jobs import look_after
from firstpull.mechanics.tool import Tool, check_tool
from firstpull.units import Length, LengthUnit, parse_force, parse_length, parse_number
from firstpull.web.desk import Desk, act, desk, need_name
from firstpull.web.render import page
from firstpull.web.tools import entry_of
from firstpull.web.typed import pressure_unit, typed_count, typed_pressure

router = APIRouter()

SCREENS = ("which", "adjuster", "limits")
_WORDS = {"which": "Which tool is it?", "adjuster": "How is it set?", "limits": "What can it do?"}


class ToolForm(BaseModel):
    """Everything that the three screens ask, as typed."""

    do: str = "next"
    screen: str = "which"
    id: str = ""
    name: str = ""
    control: str = "stroke"
    lead_per_turn: str = ""
    clicks_per_turn: str = ""
    plus_turns: str = "more stroke"
    plus_direction: str = "clockwise"
    piston_area_mm2: str = ""
    ratio: str = ""
    efficiency: str = ""
    stroke_max: str = ""
    stroke_min: str = ""
    load_max_n: str = ""
    rated_pressure_bar: str = ""
    line_pressure_bar: str = ""
    stiffness_kn_per_mm: str = ""
    nose_diameter: str = ""
    nose_reach: str = ""
    service_every_cycles: str = ""
    cycles: str = ""
    client_id: str = ""


class GaugeForm(BaseModel):
    """What a new gauge's form asks, as typed."""

    do: str = "add"
    id: str = ""
    name: str = ""
    resolution_mm: str = ""
    error_mm: str = ""
    every_days: str = "365"
    client_id: str = ""


_ON_SCREEN = {
    "which": ("id", "name", "control"),
    "adjuster": (
        "lead_per_turn",
        "clicks_per_turn",
        "plus_turns",
        "plus_direction",
        "piston_area_mm2",
        "ratio",
        "efficiency",
    ),
    "limits": (
        "stroke_max",
        "stroke_min",
        "load_max_n",
        "rated_pressure_bar",
        "line_pressure_bar",
        "stiffness_kn_per_mm",
        "nose_diameter",
        "nose_reach",
        "service_every_cycles",
        "cycles",
    ),
}


@router.get("/tools/new")
def show_new_tool(request: Request) -> Response:
    """The first screen: the tool's mark, name and kind."""
    here = desk(request, "bench")
    return need_name(here) or _tool_screen(here, ToolForm(), "which")


@router.post("/tools/new")
def do_new_tool(request: Request, form: Annotated[ToolForm, Form()]) -> Response:
    """The next screen, the one before, or the tool itself."""
    here = desk(request, "bench")
    place = SCREENS.index(form.screen) if form.screen in SCREENS else 0
    if form.do == "back":
        return _tool_screen(here, form, SCREENS[max(0, place - 1)])

    def perform() -> str:
        doing = here.doing({"client_id": form.client_id})
        tool = _tool(form, here.unit, screens=SCREENS[: place + 1])
        _check_mark(here, "tool", form.id)
        if place + 1 < len(SCREENS):
            raise _NextScreen
        every = _count(form.service_every_cycles, "service_every_cycles", "Serviced after how many cycles?")
        cycles = _count(form.cycles, "cycles", "How many cycles has it done?")
        look_after.add_tool(here.book, form.id, tool, doing=doing, service_every_cycles=every, cycles=cycles)
        return f"/tools/{quote(form.id)}"

    def refused(problem: dict[str, Any], status: int) -> Response:
        return _tool_screen(here, form, _screen_of(problem, SCREENS[place]), problem=problem, status_code=status)

    try:
        return act(perform, refused)
    except _NextScreen:
        return _tool_screen(here, form, SCREENS[place + 1])


@router.get("/gauges/new")
def show_new_gauge(request: Request) -> Response:
    """The form for a gauge."""
    here = desk(request, "bench")
    metric = here.unit == "mm"
    start = GaugeForm(resolution_mm="0.01" if metric else "0.0005", error_mm="0.03" if metric else "0.001")
    return need_name(here) or _gauge_screen(here, start)


@router.post("/gauges/new")
def do_new_gauge(request: Request, form: Annotated[GaugeForm, Form()]) -> Response:
    """Add the gauge; it is due for its first check at once."""
    here = desk(request, "bench")

    def perform() -> str:
        doing = here.doing({"client_id": form.client_id})
        look_after.add_gauge(
            here.book,
            form.id.strip(),
            form.name,
            doing=doing,
            resolution_mm=parse_length(form.resolution_mm, unit=here.unit, where="resolution_mm").mm,
            error_mm=parse_length(form.error_mm, unit=here.unit, where="error_mm").mm,
            every_days=typed_count(form.every_days, "every_days", "Checked every how many days?"),
        )
        return f"/gauges/{quote(form.id.strip())}"

    def refused(problem: dict[str, Any], status: int) -> Response:
        return _gauge_screen(here, form, problem=problem, status_code=status)

    return act(perform, refused)


class _NextScreen(Exception):
    """The screen is good; the next one is shown and nothing is written yet."""


def _tool_screen(
    here: Desk, form: ToolForm, screen: str, *, problem: dict[str, Any] | None = None, status_code: int = 200
) -> Response:
    values = form.model_dump()
    place = SCREENS.index(screen)
    asked = _ON_SCREEN[screen]
    carry = [(name, value) for name, value in values.items() if name not in {*asked, "do", "screen", "client_id"}]
    choices, fields = _questions(form, screen, problem, unit=here.unit)
    last = place == len(SCREENS) - 1
    buttons = [{"label": "Add the tool" if last else "Next", "do": "next", "kind": ""}]
    if place:
        buttons.append({"label": "Back", "do": "back", "kind": "other"})
    known = {name["name"] for name in fields}
    at_field = problem is not None and str(problem.get("where", "")).rpartition(".")[2] in known
    context = {
        **_plain("Add a tool", _WORDS[screen], f"{place + 1} of {len(SCREENS)}"),
        "form": _form("/tools/new", form.client_id),
        "choices": choices,
        "choices_after": [],
        "fields": fields,
        "pairs": True,
        "problem": None if at_field else problem,
        "carry": [*carry, ("screen", screen)],
        "buttons": buttons,
        "lines": _why(screen, form.control),
        "drawing_title": "Why it is asked",
    }
    return page(here.request, "steps/question.html", context, status_code=status_code)


def _questions(
    form: ToolForm, screen: str, problem: Mapping[str, Any] | None, *, unit: LengthUnit
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    values = form.model_dump()

    def entry(name: str, label: str, note: str = "", inputmode: str = "decimal") -> dict[str, Any]:
        return entry_of(name, label, values, problem, note=note, inputmode=inputmode, maxlength=40)

    if screen == "which":
        kinds = [
            ("stroke", "Stroke-set", "a knob or screw sets the stroke"),
            ("force", "Force-set", "pressure sets the pull"),
        ]
        fields = [entry("id", "Mark", "as on its label: A", "text"), entry("name", "Name", "Tool A, bench", "text")]
        return [_group("control", "How it is set", kinds, form.control)], fields
    if screen == "adjuster" and form.control == "force":
        return [], [
            entry("piston_area_mm2", "Piston area", "mm²"),
            entry("ratio", "Ratio", "hydraulic, 16"),
            entry("efficiency", "Efficiency", "0.85"),
        ]
    if screen == "adjuster":
        ways = [("more stroke", "More stroke", ""), ("less stroke", "Less stroke", "")]
        sense = [("clockwise", "Clockwise", "seen from the knob’s end"), ("anticlockwise", "Anticlockwise", "")]
        fields = [
            entry("lead_per_turn", "Stroke a turn", unit),
            entry("clicks_per_turn", "Clicks a turn", "empty: none"),
        ]
        return [
            _group("plus_direction", "A plus turn is", sense, form.plus_direction),
            _group("plus_turns", "A plus turn gives", ways, form.plus_turns),
        ], fields
    pressure, load = pressure_unit(unit), "kN" if unit == "mm" else "lbf"
    return [], [
        entry("stroke_max", "Greatest stroke", unit),
        entry("stroke_min", "Least stroke", unit),
        entry("load_max_n", "Greatest load", load),
        entry("rated_pressure_bar", "Rated pressure", pressure),
        entry("line_pressure_bar", "Pressure, cycling", pressure),
        entry("stiffness_kn_per_mm", "Stiffness", "kN/mm, if known"),
        entry("nose_diameter", "Nose across", unit),
        entry("nose_reach", "Nose reaches", f"{unit} into a pocket"),
        entry("service_every_cycles", "Serviced every", "cycles", "numeric"),
        entry("cycles", "Cycles so far", "", "numeric"),
    ]


def _why(screen: str, control: str) -> list[str]:
    """Why these things are asked."""
    if screen == "which":
        return [
            "The mark is how jobs, cards and the record name this tool. It can not be changed later.",
            "A stroke-set tool shortens each insert by the same amount; a force-set one pulls until a load is reached.",
        ]
    if screen == "adjuster" and control == "force":
        return ["Pull = pressure × piston area × ratio × efficiency. Leave empty what you do not know."]
    if screen == "adjuster":
        return [
            "Leave the stroke a turn empty when you do not know it: “Learn this knob” finds it on a few inserts.",
            "What is plus is only how this knob counts. It is kept with every turn, so that no turn is taken the wrong way.",
        ]
    return [
        "With these the bench can say before the first pull that a tool is too weak or too short.",
        "The pressure that counts is the one at the tool’s inlet while it cycles. Leave empty what you do not know.",
    ]


def _tool(form: ToolForm, unit: LengthUnit, *, screens: tuple[str, ...]) -> Tool:
    """The tool that the fields of ``screens`` describe. Raises BadInput naming the field."""
    asked = {name for screen in screens for name in _ON_SCREEN[screen]}
    values: dict[str, Any] = {}
    for name in ("lead_per_turn", "stroke_max", "stroke_min", "nose_diameter", "nose_reach"):
        if name in asked and getattr(form, name).strip():
            values[name] = _length(getattr(form, name), unit, name)
    for name in ("piston_area_mm2", "ratio", "efficiency", "stiffness_kn_per_mm"):
        if name in asked and getattr(form, name).strip():
            values[name] = float(parse_number(getattr(form, name), where=name))
    for name in ("rated_pressure_bar", "line_pressure_bar"):
        if name in asked and getattr(form, name).strip():
            values[name] = typed_pressure(getattr(form, name), unit, name).bar
    if "load_max_n" in asked and form.load_max_n.strip():
        values["load_max_n"] = _load(form.load_max_n, unit)
    if "clicks_per_turn" in asked and form.clicks_per_turn.strip():
        hint = "A whole number; empty when it has no clicks."
        values["clicks_per_turn"] = typed_count(form.clicks_per_turn, "clicks_per_turn", "How many clicks?", hint=hint)
    sides: dict[str, Any] = {"plus_turns": form.plus_turns, "plus_direction": form.plus_direction}
    control: Any = form.control
    tool = Tool(control=control, name=form.name.strip(), **sides, **values)
    check_tool(tool)
    return tool


def _check_mark(here: Desk, kind: str, mark: str) -> None:
    look_after.check_new_id(here.book, kind, mark)


def _length(text: str, unit: LengthUnit, where: str) -> Length:
    return parse_length(text, unit=unit, where=where)


def _load(text: str, unit: LengthUnit) -> float:
    try:
        parse_number(text, where="load_max_n")
    except BadInput:
        return parse_force(text, where="load_max_n").newtons
    return parse_force(f"{text.strip()} {'kN' if unit == 'mm' else 'lbf'}", where="load_max_n").newtons


def _count(text: str, where: str, what: str) -> int:
    return typed_count(text or "0", where, what)


def _screen_of(problem: Mapping[str, Any], shown: str) -> str:
    """The screen that holds the field of a problem."""
    where = str(problem.get("where", "")).rpartition(".")[2]
    return next((screen for screen, names in _ON_SCREEN.items() if where in names), shown)


def _gauge_screen(
    here: Desk, form: GaugeForm, *, problem: dict[str, Any] | None = None, status_code: int = 200
) -> Response:
    values = form.model_dump()
    fields = [
        entry_of("id", "Mark", values, problem, note="as on its label: C1", maxlength=40),
        entry_of("name", "Name", values, problem, note="Caliper 1, 150 mm", maxlength=80),
        entry_of("resolution_mm", "Reads to", values, problem, note=here.unit, inputmode="decimal", maxlength=20),
        entry_of("error_mm", "Limit of error", values, problem, note=here.unit, inputmode="decimal", maxlength=20),
        entry_of("every_days", "Checked every", values, problem, note="days", inputmode="numeric", maxlength=4),
    ]
    known = {field["name"] for field in fields}
    at_field = problem is not None and problem.get("where") in known
    context = {
        **_plain("Add a gauge", "Which gauge is it?", ""),
        "form": _form("/gauges/new", form.client_id),
        "choices": [],
        "fields": fields,
        "pairs": True,
        "problem": None if at_field else problem,
        "buttons": [{"label": "Add the gauge", "do": "add", "kind": ""}],
        "lines": [
            "The limit of error is the maker’s: ISO 13385-1 leaves it to them. 0.02 to 0.03 mm is usual for a caliper.",
            "It is checked on a gauge block next; until that check passes it is said to be due wherever it is used.",
        ],
        "drawing_title": "Why it is asked",
    }
    return page(here.request, "steps/question.html", context, status_code=status_code)


def _group(name: str, legend: str, rows: list[tuple[str, str, str]], chosen: str) -> dict[str, Any]:
    tiles = [{"value": value, "label": label, "note": note} for value, label, note in rows]
    return {"name": name, "legend": legend, "choices": tiles, "chosen": chosen}


def _form(address: str, client_id: str) -> dict[str, str]:
    return {"address": address, "expected": "", "client_id": client_id or uuid.uuid4().hex}


def _plain(title: str, question: str, crumb: str) -> dict[str, Any]:
    return {
        "title": title,
        "question": question,
        "crumb": crumb,
        "said": "",
        "caution": "",
        "instruction": "",
        "note": "",
        "field": None,
        "readings": [],
        "why": [],
        "facts": [],
        "drawing": "",
        "drawing_notes": [],
    }

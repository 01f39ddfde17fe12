"""Tools and gauges: the list, and the page of each with its history and what can be done to it."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import date
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response
from pydantic import BaseModel

from firstpull.errors import BadInput
from firstpull.jobs import look_after
from firstpull.jobs.gauge_studies import gauge_scatter
from firstpull.jobs.look_after import DueRow
from firstpull.jobs.mandrel_life import mandrel_life
from firstpull.jobs.workshop import Doing
from firstpull.record.event import Event
from firstpull.record.things import GaugeState, ToolState
from firstpull.units import Length, LengthUnit, show_length, show_mm
from firstpull.web.desk import Desk, act, desk, need_name
from firstpull.web.look_after import MARKS, thing_address
from firstpull.web.papers import paper_ways
from firstpull.web.record import history_table
from firstpull.web.render import page
from firstpull.web.typed import show_pressure, typed_count

router = APIRouter()

CLASSES = ("8.8", "10.9", "12.9")
_HOW_IT_WENT = [{"value": "ended", "label": "Broken or worn"}, {"value": "in time", "label": "Still worked"}]


class ToolAct(BaseModel):
    """What a form on a tool's page may carry."""

    do: str = ""
    what: str = ""
    cycles: str = ""
    mandrel: str = ""
    thread: str = ""
    cycle_limit: str = ""
    property_class: str = "12.9"
    reason: str = ""
    how: str = ""
    expected: str = ""
    client_id: str = ""


@router.get("/tools")
def show_tools(request: Request) -> Response:
    """Every tool and gauge with how it stands."""
    here = desk(request, "bench")
    today = date.fromisoformat(here.book.now()[:10])
    tools = [min(look_after.tool_due(tool), key=_order) for tool in here.book.tools()]
    names = {tool.id: str(tool.tool.get("name") or tool.id) for tool in here.book.tools()}
    gauges = [look_after.gauge_due(gauge, today) for gauge in here.book.gauges()]
    context = {
        **blank("Tools and gauges"),
        "question": "Which tool or gauge?",
        "acts": [_act_row(row, names.get(row.id, row.name)) for row in tools],
        "buttons": [
            _button("Add a tool", address="/tools/new"),
            _button("Add a gauge", address="/gauges/new", kind="other"),
        ],
        "sheet_title": "Gauges",
        "facts": [],
        "gauges": [_act_row(row, row.name) for row in gauges],
    }
    return page(request, "tools.html", context)


@router.get("/tools/{tool}")
def show_tool(request: Request, tool: str, do: str = "", mandrel: str = "") -> Response:
    """A tool with its history; ``do`` names the one act whose form is shown."""
    here = desk(request, "bench")
    return (need_name(here) if do else None) or _tool_page(here, here.book.tool(tool), ToolAct(do=do, mandrel=mandrel))


@router.post("/tools/{tool}")
def do_tool(request: Request, tool: str, form: Annotated[ToolAct, Form()]) -> Response:
    """Service done, cycles counted, a mandrel added, fitted or retired."""
    here = desk(request, "bench")

    def perform() -> str:
        _do_tool(here, tool, form, here.doing({"expected": form.expected, "client_id": form.client_id}))
        return f"/tools/{quote(tool)}"

    def refused(problem: dict[str, Any], status: int) -> Response:
        return _tool_page(here, here.book.tool(tool), form, problem=problem, status_code=status)

    return act(perform, refused)


@router.get("/gauges/{gauge}")
def show_gauge(request: Request, gauge: str) -> Response:
    """A gauge: its check on a block, and its history."""
    here = desk(request, "bench")
    return need_name(here) or _gauge_page(here, here.book.gauge(gauge))


@router.post("/gauges/{gauge}")
def check_gauge(
    request: Request,
    gauge: str,
    reading: Annotated[str, Form()] = "",
    block: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """A gauge-block check: the block's length and what the gauge read."""
    here = desk(request, "bench")

    def perform() -> str:
        doing = here.doing({"expected": expected, "client_id": client_id})
        reference, read = here.length(block, "block"), here.length(reading, "reading")
        if not 0.2 < read.mm / max(reference.mm, 1e-9) < 5:
            raise BadInput(
                f"{reading.strip()} on a block of {block.strip()}?",
                where="reading",
                hint="Check the unit of the gauge and which block it was.",
            )
        look_after.check_gauge(here.book, gauge, reference=reference, reading=read, doing=doing)
        return f"/gauges/{quote(gauge)}"

    def refused(problem: dict[str, Any], status: int) -> Response:
        state = here.book.gauge(gauge)
        return _gauge_page(here, state, typed=reading, block=block, problem=problem, status_code=status)

    return act(perform, refused)


def _do_tool(here: Desk, tool: str, form: ToolAct, doing: Doing) -> None:
    book = here.book
    if form.do == "service":
        look_after.service(book, tool, form.what, doing=doing)
    elif form.do == "cycles":
        count = typed_count(form.cycles, "cycles", "How many cycles since the last count?", hint="A whole number.")
        look_after.count_cycles(book, tool, count, doing=doing)
    elif form.do == "mandrel":
        limit = typed_count(form.cycle_limit or "0", "cycle_limit", "After how many cycles is it changed?")
        mandrel = {
            "id": form.mandrel.strip(),
            "thread": form.thread,
            "cycle_limit": limit,
            "property_class": form.property_class if form.property_class in CLASSES else "12.9",
        }
        look_after.add_mandrel(book, tool, mandrel, doing=doing)
    elif form.do == "fit":
        look_after.fit_mandrel(book, tool, form.mandrel, doing=doing)
    elif form.do == "retire":
        look_after.retire_mandrel(book, tool, form.mandrel, reason=form.reason, doing=doing, how=form.how)
    else:
        raise BadInput("This page does not know that button.", where="do", hint="Load the page again.")


def _tool_page(
    here: Desk, state: ToolState, form: ToolAct, *, problem: dict[str, Any] | None = None, status_code: int = 200
) -> Response:
    name = str(state.tool.get("name") or state.id)
    context = {
        **blank(name),
        "question": "What was done to it?",
        "crumb": f"{name} · {_tool_crumb(state)}",
        "due": [_due(row) for row in look_after.tool_due(state)],
        "acts": _tool_acts(state),
        "buttons": [_button("Service done", address=f"/tools/{quote(state.id)}?do=service")],
        "facts": [*tool_facts(state, here.unit), *_life(here, state)],
        "history": history_table(here.request, here.book.store.read(state.stream)),
        "papers": paper_ways(f"/tools/{quote(state.id)}/history.pdf", here.unit),
        "sheet_title": "Data and history",
        "sheet_notes": [here.lengths_note],
    }
    shown = _tool_form(state, form, problem)
    if shown is not None:
        context.update(shown)
        context["form"] = _form(f"/tools/{quote(state.id)}", state.sequence)
        context["buttons"] = [*context["buttons"], _button("Back", address=f"/tools/{quote(state.id)}", kind="other")]
    return page(here.request, "thing.html", context, status_code=status_code)


def _tool_acts(state: ToolState) -> list[dict[str, str]]:
    address = f"/tools/{quote(state.id)}"
    fitted = f"fitted: {state.fitted}" if state.fitted else "none is fitted"
    rows = [("Count cycles", f"{state.cycles} so far", f"{address}?do=cycles")]
    rows += [("Add a mandrel", fitted, f"{address}?do=mandrel")]
    for mark, mandrel in state.mandrels.items():
        if not mandrel.get("retired"):
            act_word, do = ("Retire", "retire") if mark == state.fitted else ("Fit", "fit")
            note = f"{mandrel['thread']} · {mandrel.get('cycles', 0)} cycles"
            rows.append((f"{act_word} mandrel {mark}", note, f"{address}?do={do}&mandrel={quote(mark)}"))
    if state.tool.get("control") == "stroke":
        note = f"learned from {state.learned['pulls']} pulls" if state.learned else "not learned yet"
        rows.append(("Learn this knob", note, f"{address}/learn-knob"))
    return [{"label": label, "note": note, "address": to, "kind": ""} for label, note, to in rows]


def _tool_form(state: ToolState, form: ToolAct, problem: dict[str, Any] | None) -> dict[str, Any] | None:
    """The form of the one act that was chosen, or None."""
    values = form.model_dump()
    caution = "Disconnect the air and bleed it before you touch mandrel, anvil or adjuster."

    def entry(name: str, label: str, **more: Any) -> dict[str, Any]:
        return entry_of(name, label, values, problem, **more)

    if form.do == "service":
        fields = [entry("what", "What was done", note="for example seals and oil")]
        return {
            "question": "What was serviced?",
            "caution": caution,
            "fields": fields,
            "buttons": [_button("Service done", "service")],
        }
    if form.do == "cycles":
        fields = [entry("cycles", "Cycles since the last count", inputmode="numeric", maxlength=8)]
        return {"question": "How many cycles?", "fields": fields, "buttons": [_button("Count them", "cycles")]}
    if form.do == "mandrel":
        fields = [
            entry("mandrel", "Mark", note="M6-b"),
            entry("thread", "Thread", note="M6, 1/4-20"),
            entry("cycle_limit", "Changed after cycles", note="0: not known", inputmode="numeric", maxlength=8),
            entry("property_class", "Property class", note="8.8, 10.9, 12.9", maxlength=5),
        ]
        button = _button("Add and fit it", "mandrel")
        return {"question": "Which mandrel goes in?", "caution": caution, "fields": fields, "buttons": [button]}
    if form.do == "fit":
        fields = [
            entry("mandrel", "Mandrel", options=[m for m, data in state.mandrels.items() if not data.get("retired")])
        ]
        return {
            "question": f"Fit mandrel {form.mandrel}?",
            "caution": caution,
            "fields": fields,
            "buttons": [_button("It is fitted", "fit")],
        }
    if form.do == "retire":
        fields = [
            entry("mandrel", "Mandrel", options=list(state.mandrels)),
            entry("reason", "Why", note="for example thread worn"),
        ]
        return {
            "question": f"Take mandrel {form.mandrel} out of use?",
            "caution": caution,
            "choices": [
                {"name": "how", "legend": "How did it go?", "choices": _HOW_IT_WENT, "chosen": form.how},
            ],
            "fields": fields,
            "buttons": [_button("Retire it", "retire")],
        }
    return None


def _life(here: Desk, state: ToolState) -> list[dict[str, str]]:
    """By how many sets the fitted mandrel is changed, from how long others of its thread lasted here."""
    mandrel = state.mandrels.get(state.fitted)
    if mandrel is None:
        return []
    found = mandrel_life(here.book, str(mandrel["thread"]))
    name = f"Mandrels {found.thread}"
    if not found.change_by:
        return [{"name": name, "value": "", "note": found.text}]
    return [{"name": name, "value": f"change by {found.change_by} sets", "note": found.text.partition(": ")[2]}]


def tool_facts(state: ToolState, unit: LengthUnit) -> list[dict[str, str]]:
    """What a tool can do and what was learned of it, as names and values."""
    data, rows = state.tool, []

    def add(name: str, value: str, note: str = "") -> None:
        rows.append({"name": name, "value": value, "note": note})

    for key, name in (
        ("lead_per_turn", "Stroke a turn"),
        ("stroke_max", "Greatest stroke"),
        ("stroke_min", "Least stroke"),
        ("nose_diameter", "Nose across"),
        ("nose_reach", "Nose reaches into a pocket"),
    ):
        if data.get(key):
            learned = "learned" if key == "lead_per_turn" and state.learned else ""
            add(
                name,
                f"{show_length(Length.from_json(data[key]), unit, decimals=3 if unit == 'mm' else 4)} {unit}",
                learned,
            )
    if data.get("clicks_per_turn"):
        add("Clicks a turn", str(data["clicks_per_turn"]))
    if data.get("control") == "stroke":
        add("A plus turn", f"{data.get('plus_direction', 'clockwise')}, {data.get('plus_turns', 'more stroke')}")
    if data.get("load_max_n"):
        add("Greatest load", _load(float(data["load_max_n"]), unit))
    for key, name in (("rated_pressure_bar", "Rated pressure"), ("line_pressure_bar", "Pressure while cycling")):
        if data.get(key):
            add(name, show_pressure(float(data[key]), unit))
    if state.learned:
        add("Play of the knob", f"{float(state.learned['backlash_turns']):.2f} turns", "learned")
        add(
            "Scatter of a pull",
            f"{show_mm(float(state.learned['process_sd_mm']), unit, decimals=3 if unit == 'mm' else 4)} {unit}",
            "learned",
        )
    return rows


def _load(load_n: float, unit: LengthUnit) -> str:
    return f"{load_n / 1000:.1f} kN" if unit == "mm" else f"{load_n / 4.4482216152605:.0f} lbf"


def told_events(events: tuple[Event, ...]) -> tuple[Event, ...]:
    """A gauge's events without the single readings of its studies, which would hide everything else."""
    return tuple(event for event in events if event.type != "StudyRead")


def _gauge_page(
    here: Desk,
    state: GaugeState,
    *,
    typed: str = "",
    block: str = "",
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    today = date.fromisoformat(here.book.now()[:10])
    due, last, unit = look_after.gauge_due(state, today), state.last_check, here.unit
    if not block:
        block = (
            show_length(Length.from_json(last["reference"]), unit) if last else ("20.00" if unit == "mm" else "1.0000")
        )
    name = str(state.gauge.get("name") or state.id)
    fine = 3 if unit == "mm" else 5
    step, error = (show_mm(float(state.gauge[key]), unit, decimals=fine) for key in ("resolution_mm", "error_mm"))
    at_reading = problem if problem and problem.get("where") != "block" else None
    context = {
        **blank(name),
        "question": "What does it read on the block?",
        "crumb": name,
        "due": [{**_due(due), "note": _check_words(state, unit) or due.text}],
        "form": _form(f"/gauges/{quote(state.id)}", state.sequence),
        "fields": [entry_of("block", f"Block, {unit}", {"block": block}, problem, inputmode="decimal", maxlength=30)],
        "field": {
            "name": "reading",
            "label": "It reads",
            "unit": unit,
            "value": typed,
            "expected": f"within {error}",
            "saved": "",
            "problem": at_reading,
            "gauge": None,
        },
        "buttons": [
            _button("Save the check", "read"),
            _button("Gauge study", address=f"/gauges/{quote(state.id)}/study", kind="other"),
        ],
        "facts": [
            {"name": "Reads to", "value": f"{step} {unit}", "note": ""},
            {"name": "Limit of error", "value": f"{error} {unit}", "note": ""},
            {"name": "Checked every", "value": f"{state.gauge['every_days']} days", "note": ""},
            *_studied(here, state),
        ],
        "history": history_table(here.request, told_events(here.book.store.read(state.stream))),
        "sheet_title": "Data and history",
        "sheet_notes": [here.lengths_note],
    }
    return page(here.request, "thing.html", context, status_code=status_code)


def _studied(here: Desk, state: GaugeState) -> list[dict[str, str]]:
    """What a reading scatters, by the study that counts."""
    found = gauge_scatter(here.book, state.id)
    if found is None:
        return [{"name": "Scatter of a reading", "value": "not studied", "note": ""}]
    value = show_mm(found.sd_mm, here.unit, decimals=4 if here.unit == "mm" else 5)
    return [{"name": "Scatter of a reading", "value": f"{value} {here.unit}", "note": f"study {found.study}"}]


def _check_words(state: GaugeState, unit: LengthUnit) -> str:
    last = state.last_check
    if last is None:
        return ""
    off = abs(float(last["error_mm"]))
    by = f"{show_mm(off, unit, decimals=3 if unit == 'mm' else 5)} {unit}"
    if last["passed"]:
        return f"Passed on {str(last['at'])[:10]}, off by {by}. Next check {last['due']}."
    return f"Failed on {str(last['at'])[:10]}, off by {by}. Do not measure with it."


def entry_of(
    name: str, label: str, values: Mapping[str, Any], problem: Mapping[str, Any] | None, **more: Any
) -> dict[str, Any]:
    """An ordinary field with what was typed, and the problem under it when it is this field's."""
    where = str((problem or {}).get("where", "")).rpartition(".")[2]
    return {
        "name": name,
        "label": label,
        "value": values.get(name, ""),
        "problem": problem if where == name else None,
        **more,
    }


def blank(title: str) -> dict[str, Any]:
    """Every part of a thing's page, empty."""
    return {
        "title": title,
        "question": title,
        "crumb": "",
        "said": "",
        "said_mark": "",
        "due": [],
        "acts": [],
        "form": None,
        "caution": "",
        "choices": [],
        "fields": [],
        "field": None,
        "problem": None,
        "buttons": [],
        "facts": [],
        "history": None,
        "sheet_title": title,
        "sheet_notes": [],
    }


def _form(address: str, sequence: int) -> dict[str, str]:
    return {"address": address, "expected": str(sequence), "client_id": uuid.uuid4().hex}


def _button(label: str, do: str = "", *, address: str = "", kind: str = "") -> dict[str, str]:
    return {"label": label, "do": do, "address": address, "kind": kind}


def _due(row: DueRow) -> dict[str, str]:
    return {"kind": MARKS[row.state], "text": row.name, "note": row.text}


def _act_row(row: DueRow, name: str) -> dict[str, str]:
    return {"label": name, "note": row.text, "address": thing_address(row), "kind": MARKS[row.state]}


def _order(row: DueRow) -> int:
    return ("due", "soon", "fine").index(row.state)


def _tool_crumb(state: ToolState) -> str:
    kind = "stroke-set" if state.tool.get("control") == "stroke" else "force-set"
    serviced = f" · serviced {state.serviced_at[:10]}" if state.serviced_at else ""
    return f"{state.id} · {kind}{serviced}" + (" · demo data" if state.demo else "")

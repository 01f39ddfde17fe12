"""The questions of the set-up: tool, mandrel, gauge, set allowance, limits, and what the knob sets now."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from typing import Any

from fastapi.responses import Response

from firstpull.errors import BadInput
from firstpull.jobs import set_up
from firstpull.jobs.look_after import gauge_due
from firstpull.jobs.shapes import allowance_from_json, insert_of, stack_of, tool_of, window_from_json
from firstpull.jobs.workshop import Doing
from firstpull.mechanics.setting import Allowance, GivenWindow
from firstpull.mechanics.stack import thickness
from firstpull.record.job import JobState
from firstpull.record.things import ToolState
from firstpull.trade.threads import thread
from firstpull.units import Length, show_length, show_mm
from firstpull.web.desk import Desk, form_of, show
from firstpull.web.drawings import joint_of
from firstpull.web.texts import TEXTS

ASKS = ("tool", "mandrel", "gauge", "allowance", "window", "present", "review")
_NAMES = {
    "tool": "Tool",
    "mandrel": "Mandrel",
    "gauge": "Read with",
    "allowance": "Set allowance",
    "window": "Stroke limits",
}
View = dict[str, Any]


def next_ask(here: Desk, state: JobState, *, after: str = "") -> str:
    """The first question after ``after`` that lacks its answer; “present” (then compute) when none does."""
    rest = ASKS[ASKS.index(after) + 1 :] if after else ASKS
    lacking = {
        "tool": state.tool is None,
        "mandrel": state.mandrel is None and bool(_mandrels(here, state)),
        "gauge": not state.gauge_id and bool(here.book.gauges()),
        "allowance": state.allowance is None,
        "window": state.window is None and not _catalogue_limits(state),
    }
    return next((name for name in rest if lacking.get(name)), "present")


def answer(here: Desk, state: JobState, ask: str, do: str, *, typed: dict[str, str], doing: Doing) -> str:
    """File one answer; says which question comes next, "" when the setting stands."""
    if do.startswith("tool "):
        typed, ask, do = {**typed, "tool": do.partition(" ")[2]}, "tool", "answer"
    if do == "skip":
        return next_ask(here, state, after=ask)
    if ask == "present":
        return _compute(here, state, typed["present"], doing)
    _FILE[ask](here, state, typed, doing)
    return next_ask(here, here.book.job(state.id), after=ask)


def _compute(here: Desk, state: JobState, text: str, doing: Doing) -> str:
    present = here.length(text, "present") if text.strip() else None
    if present is not None:
        free = insert_of(state).length_free
        if not 0 < present.nanometres < free.nanometres:
            raise BadInput(
                "A pulled insert is shorter than a free one.",
                where="present",
                hint=f"The free length is {show_length(free, here.unit)}.",
            )
    if state.setting is not None and present is not None:
        set_up.place_knob(here.book, state.id, present, doing=doing)
    else:
        set_up.compute(here.book, state.id, doing=doing, present_set_length=present)
    return ""


def _file_tool(here: Desk, state: JobState, typed: Mapping[str, str], doing: Doing) -> None:
    if not typed["tool"]:
        raise BadInput("Which tool?", where="tool", hint="Tap one.")
    set_up.choose_tool(here.book, state.id, typed["tool"], doing=doing, gauge_id=state.gauge_id)


def _file_mandrel(here: Desk, state: JobState, typed: Mapping[str, str], doing: Doing) -> None:
    if not typed["mandrel"]:
        raise BadInput("Which mandrel?", where="mandrel", hint="Tap one.")
    set_up.choose_tool(
        here.book, state.id, state.tool_id, doing=doing, mandrel_id=typed["mandrel"], gauge_id=state.gauge_id
    )


def _file_gauge(here: Desk, state: JobState, typed: Mapping[str, str], doing: Doing) -> None:
    if not typed["gauge"]:
        raise BadInput("Which gauge?", where="gauge", hint="Tap one.")
    mandrel = str((state.mandrel or {}).get("id", ""))
    set_up.choose_tool(here.book, state.id, state.tool_id, doing=doing, mandrel_id=mandrel, gauge_id=typed["gauge"])


def _file_allowance(here: Desk, state: JobState, typed: Mapping[str, str], doing: Doing) -> None:
    chosen = typed["allowance"]
    if chosen.startswith("offer "):
        offers = set_up.allowance_offers(here.book, insert_of(state))
        number = chosen.partition(" ")[2]
        if not (number.isascii() and number.isdigit() and int(number[:3]) < len(offers)):
            raise BadInput("That offer is not there any more.", where="value", hint="Choose again.")
        allowance = offers[int(number)].allowance
    else:
        value = here.length(typed["value"], "value")
        source = " ".join(typed["source"].split())
        if not source:
            raise BadInput("Where does it come from?", where="source", hint="For example “maker’s sheet, 2026”.")
        if len(source) > 120:
            raise BadInput("That is too long.", where="source", hint="120 letters at most.")
        allowance = Allowance(value, None, source)
    set_up.give_allowance(here.book, state.id, allowance, doing=doing)


def _file_window(here: Desk, state: JobState, typed: Mapping[str, str], doing: Doing) -> None:
    low, high = here.length(typed["stroke_min"], "stroke_min"), here.length(typed["stroke_max"], "stroke_max")
    if not 0 < low.nanometres < high.nanometres:
        raise BadInput(
            "The least stroke must be below the greatest.", where="stroke_min", hint="Swap them, or check the unit."
        )
    set_up.give_window(here.book, state.id, GivenWindow(low, high), doing=doing)


_FILE = {
    "tool": _file_tool,
    "mandrel": _file_mandrel,
    "gauge": _file_gauge,
    "allowance": _file_allowance,
    "window": _file_window,
}


def answers_given(here: Desk, state: JobState) -> list[dict[str, str]]:
    """What was answered so far, each with the way back to its question."""
    address = here.address(state.id, "set_up")
    values = {"tool": _tool_text(state), "mandrel": str((state.mandrel or {}).get("id", ""))}
    values["gauge"] = state.gauge_id
    allowance, window = allowance_from_json(state.allowance), window_from_json(state.window)
    if allowance is not None:
        values["allowance"] = f"{show_length(allowance.value, here.unit)} · {allowance.source}"
    elif insert_of(state).set_allowance is not None:
        values["allowance"] = f"{show_length(insert_of(state).set_allowance or Length(0), here.unit)} · catalogue"
    if window is not None:
        low, high = show_length(window.stroke_min, here.unit), show_length(window.stroke_max, here.unit)
        values["window"] = f"{low} to {high} · {window.source}"
    elif _catalogue_limits(state):
        values["window"] = "catalogue"
    part = str((state.insert or {}).get("part") or (state.insert or {}).get("thread", ""))
    rows = [{"name": "Insert", "value": part, "address": f"{here.address(state.id, 'choose')}?screen=pick"}]
    return rows + [
        {"name": _NAMES[name], "value": values.get(name) or "not given", "address": f"{address}?ask={name}"}
        for name in _NAMES
    ]


def stale_text(state: JobState) -> str:
    """What an answer changed now would make stale; "" while nothing stands on it."""
    if state.setting is None:
        return ""
    stale = ["the setting", *(["the knob as dialled in"] if state.held or state.pulls else [])]
    good = len(state.good_coupons)
    if good:
        stale.append(f"{good} coupon{'' if good == 1 else 's'}")
    return (
        f"Another answer makes {' and '.join([', '.join(stale[:-1]), stale[-1]] if len(stale) > 1 else stale)} stale."
    )


def ask_page(
    here: Desk,
    state: JobState,
    ask: str,
    *,
    typed: dict[str, str] | None = None,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    """One question of the set-up with what was answered before beside it."""
    if ask not in {"tool", "review"} and state.tool is None:
        ask = "tool"
    view = _VIEWS[ask](here, state, typed or {}, problem)
    names = {field["name"] for field in view.get("fields", ())}
    placed = problem is not None and problem.get("where") in names
    context = {
        "form": form_of(state, f"{here.address(state.id, 'set_up')}?ask={ask}"),
        "title": "Set up",
        "crumb": "Before the acts at the tool",
        "said": "",
        "caution": "" if ask in ("present", "review") else stale_text(state),
        "instruction": "",
        "note": "",
        "choices": [],
        "choices_after": [],
        "fields": [],
        "pairs": True,
        "field": None,
        "problem": None if placed else problem,
        "readings": [],
        "why": [],
        "ways": [],
        "facts": [],
        "changes": answers_given(here, state) if ask != "review" else [],
        "drawing": joint_of(state, unit=here.unit, height=300) if ask == "review" else "",
        "drawing_title": "The joint, to scale" if ask == "review" else "What was answered",
        "drawing_notes": [here.lengths_note],
        **view,
    }
    return show(here, state, "steps/question.html", context, step="set_up", status_code=status_code)


def _view_tool(here: Desk, state: JobState, typed: dict[str, str], _problem: Any) -> View:
    tiles = []
    size = insert_of(state).thread
    fitting = []
    for tool_state in here.book.tools():
        tool = set_up.present_tool(tool_state)
        mandrels = [str(row["id"]) for row in _mandrels(here, state, tool_state.id)]
        fitting.extend([tool_state.id] if mandrels else [])
        has = f", mandrel {', '.join(mandrels)}" if mandrels else f", no {size} mandrel"
        most = "" if tool.stroke_max is None else f", up to {show_length(tool.stroke_max, here.unit)} {here.unit}"
        tiles.append(
            {
                "value": tool_state.id,
                "label": _tool_label(tool_state.id, tool.name),
                "note": f"{tool.control}-set{most}{has}{_due(tool_state)}",
            }
        )
    if not tiles:
        return {
            "question": "Which tool sets it?",
            "said": "There is no tool yet.",
            "buttons": [{"label": "Add a tool", "address": "/tools", "kind": ""}],
        }
    only = fitting[0] if len(fitting) == 1 else ""
    group = {"name": "tool", "legend": "Tool", "choices": tiles, "chosen": typed.get("tool") or state.tool_id or only}
    return {
        "question": "Which tool sets it?",
        "choices": [{**group, "across": 1, "hide_legend": True}],
        "buttons": [{"label": "Use this tool", "do": "answer", "kind": ""}],
    }


def _due(tool_state: ToolState) -> str:
    every = tool_state.service_every_cycles
    return ", service due" if every and tool_state.cycles_since_service >= every else ""


def _mandrels(here: Desk, state: JobState, tool_id: str = "") -> list[Mapping[str, Any]]:
    """The mandrels of the insert's thread in use on ``tool_id``, else on the job's tool; those within limit first."""
    tool_id = tool_id or state.tool_id
    if not tool_id or not here.book.store.last(f"tool:{tool_id}"):
        return []
    wanted = _designation(insert_of(state).thread)
    held = here.book.tool(tool_id).mandrels.values()
    fits = [row for row in held if not row.get("retired") and _designation(str(row.get("thread", ""))) == wanted]
    return sorted(fits, key=_past_limit)


def _past_limit(mandrel: Mapping[str, Any]) -> bool:
    limit = int(mandrel.get("cycle_limit") or 0)
    return bool(limit) and int(mandrel.get("cycles") or 0) > limit


def _designation(name: str) -> str:
    try:
        return thread(name).designation
    except BadInput:
        return name


def _view_mandrel(here: Desk, state: JobState, typed: dict[str, str], _problem: Any) -> View:
    size = insert_of(state).thread
    tiles = []
    for row in _mandrels(here, state):
        limit = int(row.get("cycle_limit") or 0)
        cycles = int(row.get("cycles") or 0)
        worn = f" of {limit}" if limit else ""
        past = "past its limit: " if _past_limit(row) else ""
        tiles.append(
            {
                "value": str(row["id"]),
                "label": f"{row['id']} · {row.get('thread', '')}",
                "note": f"{past}{cycles}{worn} cycles",
            }
        )
    skip = {"label": "Go on without", "do": "skip", "kind": "other"}
    if not tiles:
        return {
            "question": f"Which {size} mandrel is fitted?",
            "said": f"No {size} mandrel is on record for this tool.",
            "buttons": [{**skip, "kind": ""}, {"label": "Add one", "address": "/tools", "kind": "other"}],
        }
    chosen = typed.get("mandrel") or str((state.mandrel or {}).get("id", "")) or tiles[0]["value"]
    group = {"name": "mandrel", "legend": "Mandrel", "choices": tiles, "chosen": chosen}
    all_worn = all(_past_limit(row) for row in _mandrels(here, state))
    return {
        "question": f"Which {size} mandrel is fitted?",
        **({"caution": "Past its cycle limit it may break in a pull: fit a new one first."} if all_worn else {}),
        "choices": [{**group, "across": 1, "hide_legend": True}],
        "buttons": [{"label": "This one", "do": "answer", "kind": ""}, skip],
    }


def _view_gauge(here: Desk, state: JobState, typed: dict[str, str], _problem: Any) -> View:
    today = date.fromisoformat(here.book.now()[:10])
    tiles = [
        {"value": row.id, "label": row.name, "note": row.text}
        for row in (gauge_due(gauge, today) for gauge in here.book.gauges())
    ]
    skip = {"label": "Another one", "do": "skip", "kind": "other"}
    if not tiles:
        return {
            "question": "What do you read the lengths with?",
            "said": "No gauge is on record.",
            "buttons": [{**skip, "label": "Go on without", "kind": ""}],
        }
    group = {"name": "gauge", "legend": "Gauge", "choices": tiles, "chosen": typed.get("gauge") or state.gauge_id}
    return {
        "question": "What do you read lengths with?",
        "choices": [{**group, "across": 1, "hide_legend": True}],
        "buttons": [{"label": "This one", "do": "answer", "kind": ""}, skip],
    }


def _view_allowance(here: Desk, state: JobState, typed: dict[str, str], problem: Any) -> View:
    tiles = []
    for number, offer in enumerate(set_up.allowance_offers(here.book, insert_of(state))):
        value = show_length(offer.allowance.value, here.unit)
        doubt = f" ± {show_mm(offer.allowance.sd_mm, here.unit)}" if offer.allowance.sd_mm else ""
        tiles.append({"value": f"offer {number}", "label": f"{value}{doubt} {here.unit}", "note": offer.text})
    tiles.append({"value": "typed", "label": "Another value"})
    held = allowance_from_json(state.allowance)
    known = held is not None and held.source not in ("catalogue",) and not held.source.startswith("own releases")
    chosen = typed.get("allowance") or ("typed" if known else tiles[0]["value"])
    where = (problem or {}).get("where")
    values = {"value": typed.get("value", ""), "source": typed.get("source", "")}
    if known and held is not None and not typed:
        values = {"value": show_length(held.value, here.unit), "source": held.source}
    fields = [
        {
            "name": "value",
            "label": f"Allowance, {here.unit}",
            "value": values["value"],
            "inputmode": "decimal",
            "problem": problem if where == "value" else None,
        },
        {
            "name": "source",
            "label": "From",
            "value": values["source"],
            "maxlength": 120,
            "problem": problem if where == "source" else None,
        },
    ]
    group = {"name": "allowance", "legend": "Set allowance", "choices": tiles, "chosen": chosen}
    return {
        "question": "Which set allowance?",
        "choices": [{**group, "across": 1, "hide_legend": True}],
        "fields": fields,
        "ways": [{"label": TEXTS["virtual"]["offer"], "address": here.address(state.id, "virtual-pull")}],
        "buttons": [
            {"label": "Use it", "do": "answer", "kind": ""},
            {"label": "Find it on coupons", "address": here.address(state.id, "find-allowance"), "kind": "other"},
        ],
    }


def _catalogue_limits(state: JobState) -> bool:
    insert = insert_of(state)
    return insert.set_allowance_min is not None and insert.set_allowance_max is not None


def _view_window(here: Desk, state: JobState, typed: dict[str, str], problem: Any) -> View:
    held = window_from_json(state.window)
    values = {name: typed.get(name, "") for name in ("stroke_min", "stroke_max")}
    if held is not None and not typed:
        values = {
            "stroke_min": show_length(held.stroke_min, here.unit),
            "stroke_max": show_length(held.stroke_max, here.unit),
        }
    where = (problem or {}).get("where")
    fields = [
        {
            "name": name,
            "label": f"{label}, {here.unit}",
            "value": values[name],
            "inputmode": "decimal",
            "problem": problem if where == name else None,
        }
        for name, label in (("stroke_min", "Least"), ("stroke_max", "Greatest"))
    ]
    catalogue = _catalogue_limits(state)
    note = (
        "The catalogue gives limits; type only what is to take their place."
        if catalogue
        else "Without limits nothing can be released. Take the maker’s or your own, or find them on coupons."
    )
    other = {"label": "Catalogue’s" if catalogue else "None known", "do": "skip", "kind": "other"}
    stack, _batch = stack_of(state)
    at = show_mm(thickness(stack).value_mm, here.unit)
    return {
        "question": "Between which strokes is it good?",
        "crumb": f"In this stack of {at} {here.unit}",
        "fields": fields,
        "said": "",
        "why": [note],
        "why_title": "Where limits come from",
        "ways": [{"label": "Find them on coupons", "address": here.address(state.id, "find-allowance")}],
        "buttons": [{"label": "Use these limits", "do": "answer", "kind": ""}, other],
    }


def _view_present(here: Desk, state: JobState, typed: dict[str, str], problem: Any) -> View:
    tool = tool_of(state)
    again = state.setting is not None
    force = tool is not None and tool.control == "force"
    view: View = {
        "question": "Ready to compute.",
        "lines_left": ["A force-set tool is set by pressure on coupons, upward; never by air pulls."] if force else [],
        "buttons": [{"label": "Place the knob" if again else "Compute the setting", "do": "answer", "kind": ""}],
    }
    if problem is not None and problem.get("where") in ("tool", "stack", "set_allowance", "allowance"):
        return {**view, **_refusal(here, state, problem)}
    if tool is not None and tool.control == "stroke" and tool.lead_per_turn is not None:
        view["question"] = "What does an air pull set now?"
        view["crumb"] = "Leave it empty when you do not know"
        view["pairs"] = False
        view["fields"] = [
            {
                "name": "present",
                "label": f"Set length now, {here.unit}",
                "note": "in the air",
                "value": typed.get("present", ""),
                "inputmode": "decimal",
                "problem": problem if (problem or {}).get("where") == "present" else None,
            }
        ]
    return view


def _refusal(here: Desk, state: JobState, problem: dict[str, Any]) -> View:
    """Why the setting can not be, and the smallest ways out of it."""
    view: View = {"question": "This can not be set so.", "said": problem["what"], "problem": None, "fields": []}
    view["lines_left"] = [problem["hint"]] if problem["hint"] else []
    insert = {"label": "Another insert", "address": f"{here.address(state.id, 'choose')}?screen=pick", "kind": "other"}
    if problem.get("where") == "tool":
        able = set_up.tools_that_can(here.book, state)
        if able:
            view["buttons"] = [{"label": f"Use {able[0].id}", "do": f"tool {able[0].id}", "kind": ""}, insert]
            view["lines_left"].append("These tools can: " + ", ".join(_named(tool) for tool in able) + ".")
        else:
            view["buttons"] = [{**insert, "kind": ""}]
            view["lines_left"].append("No other tool of this workshop can.")
        return view
    if problem.get("where") == "stack":
        view["buttons"] = [{**insert, "kind": ""}]
        return view
    allowance = {"label": "The allowance", "address": f"{here.address(state.id, 'set_up')}?ask=allowance", "kind": ""}
    view["buttons"] = [allowance, insert]
    return view


def _named(tool_state: ToolState) -> str:
    name = str(tool_state.tool.get("name", ""))
    return f"{tool_state.id} ({name})" if name else tool_state.id


def _view_review(here: Desk, state: JobState, _typed: dict[str, str], _problem: Any) -> View:
    return {
        "question": "Which answer do you change?",
        "crumb": "",
        "said": stale_text(state),
        "changes_left": answers_given(here, state),
        "buttons": [{"label": "Keep them all", "address": here.address(state.id, "set_up"), "kind": ""}],
    }


def _tool_text(state: JobState) -> str:
    tool = tool_of(state)
    if tool is None:
        return ""
    return _tool_label(state.tool_id, tool.name)


def _tool_label(tool_id: str, name: str) -> str:
    """The tool's mark and name; the mark is not said twice."""
    if tool_id in re.findall(r"[^\s,;.()]+", name):
        return name
    return f"{tool_id} · {name}" if name else tool_id


_VIEWS = {
    "tool": _view_tool,
    "mandrel": _view_mandrel,
    "gauge": _view_gauge,
    "allowance": _view_allowance,
    "window": _view_window,
    "present": _view_present,
    "review": _view_review,
}

"""The smallest contexts with which each step's template renders, as its opening comment documents them."""

from __future__ import annotations

from typing import Any

FORM = {"address": "/jobs/1", "expected": 4, "client_id": "c-1"}
SVG = '<svg viewBox="0 0 1 1" role="img" aria-label="a drawing"></svg>'
GO = [{"label": "Go on", "do": "go", "kind": ""}, {"label": "Back", "do": "back", "kind": "other"}]
STOP = [{"label": "Stop", "do": "stop", "kind": "stop"}]
PROBLEM = {"what": "1.12?", "hint": "Read again.", "buttons": [{"label": "It is right", "do": "right"}]}


def reading(problem: dict[str, Any] | None = None) -> dict[str, Any]:
    """A reading field, with or without a problem."""
    gauge = {"text": "Caliper: check overdue", "overdue": True}
    return {
        "name": "reading",
        "label": "Set length",
        "unit": "mm",
        "value": "1.12",
        "expected": "",
        "saved": "11.61",
        "problem": problem,
        "gauge": gauge,
        "save": "Save",
    }


def entry(name: str) -> dict[str, Any]:
    """An ordinary field."""
    return {"name": name, "label": name, "value": "", "problem": None}


CHOICE = {"name": "end", "legend": "Far end", "choices": [{"value": "open", "label": "Open"}], "chosen": "open"}
FACTS = [{"name": "Stroke", "value": "4.34"}]
TABLE = {"columns": [{"label": "check", "number": False}], "rows": [["grip"]]}
DRAWN = {"drawing": SVG, "drawing_title": "Insert", "drawing_notes": ["mm"]}
SHEET = {"sheet_title": "Set lengths", "sheet_notes": ["mm"]}
ASK = {"form": FORM, "question": "What now?", "crumb": "1 of 2", "buttons": GO}

CONTEXTS: dict[str, dict[str, Any]] = {
    "choose_stack": {
        "form": FORM,
        "question": "What lies next?",
        "crumb": "1 of 4",
        "material": entry("material"),
        "thickness": entry("thickness"),
        "metals": [],
        "faces": None,
        "other_kind": {"label": "It is a coating", "address": "/jobs/1/choose"},
        "layers": [{"text": "steel", "value": "1.52", "take_out": "out-1"}],
        "total": "",
        "buttons": GO,
        **DRAWN,
    },
    "choose_measure": {
        "form": FORM,
        "field": reading(),
        "said": "",
        "notes": ["Measured is more."],
        "drops": [{"label": "2.16", "do": "drop 1"}],
        "gauges": [{"label": "Q1", "do": "gauge Q1", "chosen": True}],
        "batch": "",
        "buttons": GO,
        **DRAWN,
    },
    "choose_needs": {
        "form": FORM,
        "screen": "access",
        "question": "What can you reach?",
        "crumb": "3 of 4",
        "fields": [entry("room")],
        "choices": [CHOICE],
        "said": "",
        "buttons": GO,
        **DRAWN,
    },
    "choose_pick": {
        "form": FORM,
        "candidates": [{"value": "1", "label": "A", "note": "grip"}],
        "chosen": "1",
        "question": "Which insert?",
        "crumb": "4 of 4",
        "nothing": None,
        "problem": None,
        "more": [],
        "rejected": ["B: other thread."],
        "rejected_count": 1,
        "margins": TABLE,
        "buttons": GO,
        **DRAWN,
    },
    "find_allowance": {
        **ASK,
        "title": "Find the allowance",
        "coupon": "",
        "instruction": "Set to 12.10",
        "note": "",
        "text": "",
        "caution": "",
        "problem": None,
        "field": reading(),
        "verdict": None,
        "why": [],
        "rungs": [{"stroke": "3.10", "text": "all passed", "state": "done", "strike": "strike 4"}],
        "good": "",
        "bad": "",
        **DRAWN,
    },
    "set_up": {
        **ASK,
        "act": "Mandrel in",
        "note": "",
        "text": "Spin it in.",
        "problem": PROBLEM,
        "ways": [],
        "changes": [{"name": "Tool", "value": "A", "address": "/jobs/1/set-up"}],
        "caution": "Air off.",
        "field": reading(),
        "said": "",
        "why": ["Because."],
        "acts": [{"text": "Air off", "state": "done"}],
        "facts": FACTS,
        **DRAWN,
    },
    "dial_in": {
        **ASK,
        "said": "0.45 too long",
        "said_mark": "fail",
        "caution": "",
        "instruction": "11 clicks clockwise",
        "note": "",
        "text": "",
        "field": reading(PROBLEM),
        "readings": [{"text": "15.51", "struck": True}],
        "suspects": [],
        "why": ["Because."],
        "aside": [{"label": "My own moves", "address": "/practice/advice?show=no"}],
        "knob": SVG,
        "chart": SVG,
        **SHEET,
    },
    "prove": {
        **ASK,
        "text": "Look.",
        "field": None,
        "verdict": {"good": "Passes", "bad": "Fails"},
        "failed": None,
        "achieved": "",
        "checks": [{"text": "flush", "state": "now"}],
        "why": [],
        "good": SVG,
        "bad": SVG,
        "good_text": "flat",
        "bad_text": "gap",
        **SHEET,
    },
    "hand_over": {
        "form": FORM,
        "question": "Do you release it?",
        "verdict": "Proven.",
        "proven": FACTS,
        "owed_here": [],
        "name": entry("name"),
        "release": {"label": "Release it", "do": "release"},
        "released": None,
        "why": [],
        "card": "<p>card</p>",
        "card_notes": [],
    },
    "run": {
        **ASK,
        "state": "look",
        "note": "Seven in a row",
        "field": reading(),
        "verdict": None,
        "text": "",
        "quarantine": "46 set apart",
        "why": ["Because."],
        "chart": SVG,
        **SHEET,
    },
    "look_after": {
        "due": [{"text": "Mandrel", "note": "now", "address": "/tools", "kind": "due"}],
        "fine": 2,
        "fault": None,
        "faults": [{"label": "spins", "address": "/look-after?seen=spinner", "picture": SVG, "chosen": False}],
    },
    "overview": {
        "go_on": {"label": "Lid", "note": "dial in", "address": "/jobs/1"},
        "new_job": "/new",
        "jobs": [{"name": "Rack", "note": "prove", "address": "/jobs/2"}],
        "more_jobs": 2,
        "search": {
            "address": "/find",
            "value": "rak",
            "note": "",
            "nearest": [{"name": "Rack", "note": "", "address": "/jobs/2"}],
        },
        "stray": {"text": "11.61", "jobs": [{"label": "Lid", "address": "/jobs/1/dial-in?reading=11.61"}]},
        "cards": [{"name": "Lid", "state": "good", "word": "In control", "note": "since noon", "address": "/jobs/1"}],
        "tools": [{"name": "Tool", "state": "stop", "word": "stop", "note": "stalled", "address": "/tools/1"}],
    },
    "practice_said": {
        **ASK,
        "said": "8 clicks",
        "did": "still long",
        "better": "11",
        "score": "",
        "knob": "",
        "chart": SVG,
        **SHEET,
    },
    "operator": {
        **ASK,
        "state": "good",
        "note": "",
        "stopped": False,
        "facts": FACTS,
        "field": reading(),
        "verdict": None,
        "buttons": STOP,
        "limits": FACTS,
        "eye": [{"good": SVG, "bad": SVG, "text": "flat"}],
        "sheet_notes": [],
    },
    "question": {
        **ASK,
        "title": "Insert in my hand",
        "said": "",
        "caution": "",
        "instruction": "",
        "note": "",
        "choices": [CHOICE],
        "fields": [entry("mark")],
        "field": None,
        "readings": [],
        "why": [],
        "facts": FACTS,
        **DRAWN,
    },
}

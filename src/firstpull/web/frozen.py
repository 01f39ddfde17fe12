"""What the steps before the release show once a job is released: what was chosen, and the way to change it."""

from __future__ import annotations

from fastapi.responses import Response

from firstpull.record.job import JobState
from firstpull.units import show_mm
from firstpull.web.desk import Desk, form_of, show


def frozen_page(here: Desk, state: JobState, *, step: str, status_code: int = 200) -> Response:
    """The released joint as it stands, and where a new revision is opened."""
    setting = state.setting or {}
    rows = [("Insert", str((state.insert or {}).get("part", ""))), ("Tool", state.tool_id)]
    for name, key in (("Stack", "thickness_mm"), ("Stroke", "stroke_mm"), ("Set length", "set_length_mm")):
        if setting.get(key) is not None:
            rows.append((name, f"{show_mm(float(setting[key]), here.unit)} {here.unit}"))
    context = {
        "form": form_of(state, here.address(state.id, step)),
        "title": "Released",
        "question": "This job is released and frozen.",
        "crumb": f"by {state.released_by}",
        "said": "",
        "caution": "",
        "instruction": "",
        "note": "",
        "choices": [],
        "choices_after": [],
        "fields": [],
        "field": None,
        "readings": [],
        "why": [],
        "lines": ["To change anything, open a new revision; it is dialled in and proven again."],
        "buttons": [{"label": "To the card", "address": here.address(state.id, "hand_over"), "kind": ""}],
        "facts": [{"name": name, "value": value} for name, value in rows if value],
        "drawing": "",
        "drawing_title": "As released",
        "drawing_notes": [here.lengths_note],
    }
    return show(here, state, "steps/question.html", context, step=step, status_code=status_code)

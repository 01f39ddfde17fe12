"""The plain question screen: its fields with everything that is not asked left empty."""

from __future__ import annotations

from typing import Any


def asking(**given: Any) -> dict[str, Any]:
    """The context of ``steps/question.html``: ``given`` over an empty screen (form, title, question, buttons and the
    drawing's title must be given)."""
    empty: dict[str, Any] = {
        "crumb": "",
        "said": "",
        "caution": "",
        "instruction": "",
        "note": "",
        "choices": [],
        "fields": [],
        "field": None,
        "readings": [],
        "why": [],
        "facts": [],
        "lines": [],
        "drawing": "",
        "drawing_notes": [],
        "problem": None,
    }
    return {**empty, **given}


def entry(
    name: str, label: str, value: str = "", *, note: str = "", problem: Any = None, inputmode: str = "text"
) -> dict[str, Any]:
    """An ordinary field."""
    return {"name": name, "label": label, "value": value, "note": note, "problem": problem, "inputmode": inputmode}

"""Choose 4 of 4: the inserts that fit, best first, with the margin of every check; the others with their cures."""

from __future__ import annotations

from typing import Any

from fastapi.responses import Response

from firstpull.errors import BadInput
from firstpull.jobs import choose
from firstpull.jobs.workshop import Doing
from firstpull.mechanics.choose import Candidate, Check, Choice
from firstpull.record.job import JobState
from firstpull.units import LengthUnit, show_mm
from firstpull.web.desk import Desk, form_of, show
from firstpull.web.drawings import joint_of, stack_of_job
from firstpull.web.typed import show_torque

_TILES = 3
_REJECTED = 12


def take(here: Desk, state: JobState, do: str, *, part: str, doing: Doing) -> str:
    """Take an insert, or look at another one's checks; says which screen comes next."""
    if not part:
        raise BadInput("Which insert?", where="part", hint="Tap one of those that fit.")
    if do == "look":
        here.book.insert(part)
        return f"pick {part}"
    if part not in {found.insert.part for found in choose.candidates(here.book, state.id).candidates}:
        raise BadInput(f"“{part}” does not fit this joint.", where="part", hint="Tap one of those that fit.")
    choose.take_insert(here.book, state.id, part, doing=doing)
    return "set_up"


def pick_page(
    here: Desk,
    state: JobState,
    *,
    part: str = "",
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    """Which insert to use."""
    choice = choose.candidates(here.book, state.id, unit=here.unit)
    present = part or str((state.insert or {}).get("part", ""))
    shown = next((one for one in choice.candidates if one.insert.part == present), None)
    if shown is None and choice.candidates:
        shown = choice.candidates[0]
    tiles = list(choice.candidates[:_TILES])
    if shown is not None and shown not in tiles:
        tiles[-1:] = [shown]
    address = here.address(state.id, "choose")
    context = {
        "form": form_of(state, f"{address}?screen=pick"),
        "question": "Which insert do you use?" if shown else "Nothing in the catalogue fits.",
        "crumb": "4 of 4 · pick",
        "back": {"label": "Back to access", "address": f"{address}?screen=access"},
        "candidates": [_tile(one) for one in tiles],
        "chosen": shown.insert.part if shown else "",
        "nothing": _nothing(choice) if shown is None else None,
        "problem": problem,
        "more": [_row(address, one) for one in choice.candidates if one not in tiles],
        "rejected": [f"{left.insert.name}: {left.reason} {left.cure}".strip() for left in choice.rejected[:_REJECTED]],
        "rejected_count": len(choice.rejected),
        "margins": _margins(shown, here.unit),
        "buttons": _buttons(here, state, shown),
        "drawing": _drawing(here, state, shown),
        "drawing_notes": [here.lengths_note],
    }
    return show(here, state, "steps/choose_pick.html", context, step="choose", status_code=status_code)


def _buttons(here: Desk, state: JobState, shown: Candidate | None) -> list[dict[str, str]]:
    if shown is None:
        return [
            {
                "label": "Change what it must do",
                "address": f"{here.address(state.id, 'choose')}?screen=thread",
                "kind": "",
            },
            {"label": "Insert in my hand", "address": here.address(state.id, "in-hand"), "kind": "other"},
        ]
    return [
        {"label": "Use this one", "do": "take", "kind": ""},
        {"label": "See its checks", "do": "look", "kind": "other"},
    ]


def _tile(found: Candidate) -> dict[str, str]:
    share = 100 * (found.tightest.margin or 0.0)
    unknown = [check.name for check in found.checks if check.capacity == "not known"]
    said = f"; {unknown[0]} not known" if unknown else ""
    return {
        "value": found.insert.part,
        "label": found.insert.part,
        "note": f"tightest: {found.tightest.name}, {share:.0f} % to spare{said}",
    }


def _row(address: str, found: Candidate) -> dict[str, str]:
    from urllib.parse import quote

    tile = _tile(found)
    return {**tile, "address": f"{address}?screen=pick&part={quote(found.insert.part)}"}


def _nothing(choice: Choice) -> dict[str, str]:
    if not choice.rejected:
        return {"what": "The catalogue is empty.", "cure": "Import your inserts, or measure one that you have."}
    nearest = choice.rejected[0]
    return {"what": f"Nearest is {nearest.insert.name}. {nearest.reason}", "cure": nearest.cure}


def _margins(shown: Candidate | None, unit: LengthUnit) -> dict[str, Any]:
    columns = [
        {"label": "check", "number": False},
        {"label": "joint", "number": True},
        {"label": "insert", "number": True},
        {"label": "to spare", "number": True},
    ]
    if shown is None:
        return {"columns": columns, "rows": []}
    rows = []
    for check in shown.checks:
        spare = "–" if check.margin is None else f"{100 * check.margin:.0f} %"
        rows.append([check.name, _side(check.demand, check, unit), _side(check.capacity, check, unit), spare])
    return {"columns": columns, "rows": rows}


def _side(value: float | str, check: Check, unit: LengthUnit) -> str:
    if isinstance(value, str):
        return value.replace(" to ", "–")
    if check.unit == "mm":
        return show_mm(value, unit)
    if check.name == "torque":
        return show_torque(value, unit)
    if check.unit == "N":
        return f"{value / 1000:.2f} kN"
    return f"{value:g} {check.unit}"


def _drawing(here: Desk, state: JobState, shown: Candidate | None) -> str:
    if shown is None:
        return stack_of_job(state, unit=here.unit)
    free = shown.insert.length_free.mm
    aim = None if shown.stroke_mm is None else free - shown.stroke_mm
    drawn = joint_of(state, unit=here.unit, insert=shown.insert, set_length_mm=aim, height=320)
    return drawn or stack_of_job(state, unit=here.unit)

"""Choose 2 and 3 of 4: the screw with its torque, and what can be reached."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from fastapi.responses import Response

from firstpull.errors import BadInput
from firstpull.jobs import choose
from firstpull.jobs.shapes import demand_of
from firstpull.jobs.workshop import Doing
from firstpull.mechanics.choose import Needs
from firstpull.mechanics.insert import ENDS, HEADS
from firstpull.mechanics.joint.demand import JointDemand
from firstpull.record.job import JobState
from firstpull.trade.materials import insert_material_names
from firstpull.trade.threads import thread
from firstpull.units import show_mm
from firstpull.web.desk import Desk, form_of, show
from firstpull.web.drawings import stack_of_job
from firstpull.web.typed import show_torque, torque_unit, typed_torque


def keep_thread(here: Desk, state: JobState, *, typed: dict[str, str], doing: Doing) -> str:
    """Put the screw, its torque and the insert's material on record; says which screen comes next."""
    name = typed["thread"].strip()
    if not name:
        raise BadInput("Which thread does the screw have?", where="thread", hint="For example M6 or 1/4-20.")
    designation = thread(name, where="thread").designation
    before, demand = choose.needs_of(state), demand_of(state)
    known = before or Needs(thread=designation)
    text, torque_nm = typed["torque"].strip(), _torque_nm(known, demand)
    if text != _torque(here, known, demand):
        torque_nm = typed_torque(text, here.unit, "torque").newton_metres if text else None
    if torque_nm is not None and torque_nm <= 0:
        raise BadInput("A torque is more than nothing.", where="torque", hint="Leave it empty when it is not known.")
    material = " ".join(typed["material"].split()) or None
    texts = {**_typed(state), "thread": name, "torque": text}
    if demand is not None and demand.screw.torque_nm is not None and demand.screw.torque_nm != torque_nm:
        # a torque that a job file gave to the screw would win over the one typed here
        demand = replace(demand, screw=replace(demand.screw, torque_nm=None))
        needs = replace(known, thread=designation, tightening_torque_nm=torque_nm, material=material)
        choose.state_joint(
            here.book, state.id, demand, doing=doing, needs=needs, typed=(state.joint or {}).get("typed")
        )
    else:
        given = demand is not None and demand.screw.torque_nm is not None
        kept = known.tightening_torque_nm if given else torque_nm
        needs = replace(known, thread=designation, tightening_torque_nm=kept, material=material)
        if needs != before:
            choose.state_needs(here.book, state.id, needs, doing=doing, typed=texts)
    return "access"


def keep_access(here: Desk, state: JobState, do: str, *, typed: dict[str, str], doing: Doing) -> str:
    """Put end, head and the room behind on record; says which screen comes next."""
    known = choose.needs_of(state)
    if known is None:
        return "thread"
    end, head, text = typed["end"], typed["head"], typed["room_behind"].strip()
    if end not in ("", *ENDS) or head not in ("", *HEADS):
        raise BadInput("That is not one of the choices.", where="room_behind", hint="Load the page again.")
    if known.sealed and end == "open":
        raise BadInput(
            "The joint must be sealed: an open end leaks.",
            where="room_behind",
            hint="Take “Closed” or “Any”, or say under service that it may leak.",
        )
    room_mm = known.room_behind_mm
    if text != _room(here, known):
        room_mm = None
        if text:
            room = here.length(text, "room_behind")
            if room.nanometres <= 0:
                raise BadInput(
                    "Room is more than nothing.", where="room_behind", hint="Leave it empty when there is plenty."
                )
            room_mm = room.mm
    needs: Needs = replace(known, end=end or None, head=head or None, room_behind_mm=room_mm)  # type: ignore[arg-type]
    if needs != known:
        choose.state_needs(here.book, state.id, needs, doing=doing, typed={**_typed(state), "room_behind": text})
    return "loads" if do == "more" else "pick"


def thread_page(
    here: Desk,
    state: JobState,
    *,
    typed: dict[str, str] | None = None,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    """Which screw goes in, how tight, and of what the insert must be."""
    known = choose.needs_of(state)
    values = typed or {
        "thread": known.thread if known else "",
        "torque": _torque(here, known, demand_of(state)),
        "material": (known.material or "") if known else "",
    }
    where = (problem or {}).get("where", "")
    context = {
        "form": form_of(state, f"{here.address(state.id, 'choose')}?screen=thread"),
        "screen": "thread",
        "question": "Which screw, and how tight?",
        "crumb": "2 of 4 · the screw",
        "back": {"label": "Back to the stack", "address": f"{here.address(state.id, 'choose')}?screen=stack"},
        "fields": [
            {
                "name": "thread",
                "label": "Thread",
                "note": "M6, 1/4-20",
                "value": values["thread"],
                "options": sorted(here.book.inserts().threads(), key=_thread_order),
                "problem": problem if where not in ("torque", "material") else None,
            },
            {
                "name": "torque",
                "label": f"Torque, {torque_unit(here.unit)}",
                "value": values["torque"],
                "problem": problem if where == "torque" else None,
            },
            {
                "name": "material",
                "label": "Insert of",
                "value": values["material"],
                "options": insert_material_names(),
                "problem": problem if where == "material" else None,
            },
        ],
        "choices": [],
        "said": "Leave empty what is not known or does not matter.",
        "buttons": [{"label": "Go on: access", "do": "keep", "kind": ""}],
        "drawing": stack_of_job(state, unit=here.unit),
        "drawing_notes": [f"to scale, {here.unit}"],
    }
    return show(here, state, "steps/choose_needs.html", context, step="choose", status_code=status_code)


def access_page(
    here: Desk,
    state: JobState,
    *,
    typed: dict[str, str] | None = None,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    """What can be reached: the end, the head, and the room behind the stack."""
    known = choose.needs_of(state) or Needs(thread="M6")
    values = typed or {"end": known.end or "", "head": known.head or "", "room_behind": _room(here, known)}
    context = {
        "form": form_of(state, f"{here.address(state.id, 'choose')}?screen=access"),
        "screen": "access",
        "question": "What can you reach?",
        "crumb": "3 of 4 · access",
        "back": {"label": "Back to the screw", "address": f"{here.address(state.id, 'choose')}?screen=thread"},
        "choices": [
            {
                "name": "end",
                "legend": "Far end",
                "choices": [
                    {"value": "", "label": "Any"},
                    {"value": "open", "label": "Open"},
                    {"value": "closed", "label": "Closed"},
                ],
                "chosen": values["end"],
            },
            {
                "name": "head",
                "legend": "Head",
                "choices": [
                    {"value": "", "label": "Any"},
                    {"value": "flat", "label": "Flat"},
                    {"value": "countersunk", "label": "Counter\u00adsunk"},
                    {"value": "low profile", "label": "Low profile"},
                ],
                "chosen": values["head"],
            },
        ],
        "fields": [
            {
                "name": "room_behind",
                "label": f"Room behind the stack, {here.unit}",
                "note": "empty: plenty",
                "value": values["room_behind"],
                "inputmode": "decimal",
                "problem": problem,
            }
        ],
        "said": "",
        "buttons": [
            {"label": "Show what fits", "do": "keep", "kind": ""},
            {"label": "More: loads, edges", "do": "more", "kind": "other"},
        ],
        "drawing": stack_of_job(state, unit=here.unit),
        "drawing_notes": [f"to scale, {here.unit}"],
    }
    return show(here, state, "steps/choose_needs.html", context, step="choose", status_code=status_code)


def _typed(state: JobState) -> dict[str, str]:
    return {str(name): str(text) for name, text in ((state.needs or {}).get("typed") or {}).items()}


def _torque_nm(known: Needs | None, demand: JointDemand | None) -> float | None:
    """What the screw is tightened with, from the screw's own data or from the needs."""
    if demand is not None and demand.screw.torque_nm is not None:
        return demand.screw.torque_nm
    return None if known is None else known.tightening_torque_nm


def _torque(here: Desk, known: Needs | None, demand: JointDemand | None) -> str:
    torque_nm = _torque_nm(known, demand)
    return "" if torque_nm is None else show_torque(torque_nm, here.unit)


def _room(here: Desk, known: Needs) -> str:
    return "" if known.room_behind_mm is None else show_mm(known.room_behind_mm, here.unit)


def _thread_order(name: str) -> tuple[float, str]:
    try:
        return thread(name).major_mm, name
    except BadInput:
        return 1e9, name

"""Choose 4 of 4, in full: every check of one insert with its source, the hole, the torque and the screw; to print too."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from fastapi.responses import Response

from firstpull.jobs.told import chance, pulling, share, side, told, turning, unit_of
from firstpull.mechanics.choose import Candidate, Check
from firstpull.mechanics.joint.checks import Strength
from firstpull.mechanics.joint.hole import DrillFit, Hole
from firstpull.mechanics.joint.tightening import Tightening
from firstpull.record.job import JobState
from firstpull.units import LengthUnit, show_mm
from firstpull.web.choose_joint import asked_rows
from firstpull.web.choose_pick import (
    Fitting,
    drawing_of,
    drill_name,
    drill_of,
    fitting_of,
    hole_text,
    pick_page,
    reach_text,
    screw_name,
    tool_note,
)
from firstpull.web.desk import Desk, form_of, show
from firstpull.web.drawings import hole_of

Rows = list[dict[str, str]]


def checks_page(
    here: Desk,
    state: JobState,
    *,
    part: str = "",
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    """Whether one insert holds, check by check."""
    found = fitting_of(here, state, part)
    shown = found.shown
    if shown is None or (part and shown.insert.part != part):
        return pick_page(here, state, part=part, problem=problem, status_code=status_code)
    address, unit = here.address(state.id, "choose"), here.unit
    strength = shown.strength
    context = {
        "form": form_of(state, f"{address}?screen=pick"),
        "part": shown.insert.part,
        "question": shown.insert.part,
        "crumb": f"{place_of(found)} of {found.choice.fits}",
        "back": {
            "label": "Back to the others",
            "address": f"{address}?screen=pick&part={quote(shown.insert.part)}",
        },
        "why": told(shown.why, unit),
        "facts": [] if strength is None else _facts(shown, strength, unit),
        "drills": [] if strength is None or strength.hole is None else _drills(strength.hole, unit),
        "notes": [] if strength is None or strength.hole is None else [told(n, unit) for n in strength.hole.notes],
        "checks": [_row(check, unit) for check in shown.checks],
        "any_estimate": any(check.estimate for check in shown.checks),
        "said": [told(note, unit) for note in found.choice.notes],
        "tool_note": tool_note(state, found),
        "asked": asked_rows(here, state),
        "ask": f"{address}?screen=loads",
        "problem": problem,
        "buttons": [{"label": "Use this one", "do": "take", "kind": ""}],
        "hole": ""
        if strength is None or strength.hole is None
        else hole_of(strength.hole, drill_of(strength.hole, unit), unit=unit),
        "drawing": drawing_of(here, state, shown),
        "drawing_notes": [here.lengths_note],
    }
    return show(here, state, "steps/choose_checks.html", context, step="choose", status_code=status_code)


def place_of(found: Fitting) -> str:
    """Where the shown insert stands; one far down was judged alone and has no number."""
    shown = found.shown
    return f"number {shown.rank}" if shown is not None and shown in found.choice.candidates else "one"


def _row(check: Check, unit: LengthUnit) -> dict[str, Any]:
    """One check: its sides, margin and chance, and under them where the offer comes from."""
    assumed = "; ".join(check.assumptions)
    open_side = isinstance(check.demand, str) or isinstance(check.capacity, str)
    said = check.margin is None and bool(check.unit) and (open_side or check.name in ("slip", "jack-out"))
    text = told(check.text, unit, of=check) if said else ""
    tail = unit_of(check, unit)
    bears = side(check.capacity, check, unit)
    plain = isinstance(check.capacity, str) and not check.capacity[:1].isdigit()
    short = not check.estimate and not assumed and not text and len(check.source) < 20
    return {
        "name": check.name,
        "asked": side(check.demand, check, unit),
        "bears": bears if plain else f"{bears} {tail}".strip(),
        "spare": share(check.margin),
        "short": (check.margin or 0.0) < 0,
        "chance": chance(check.probability),
        "estimate": check.estimate,
        "expected": share(check.expected_margin) if check.estimate and check.expected_margin is not None else "",
        "beside": check.source if short else "",
        "source": "" if short else check.source,
        "assumed": told(assumed, unit),
        "text": text,
    }


def _facts(shown: Candidate, strength: Strength, unit: LengthUnit) -> Rows:
    """What is wanted at the bench: hole, torque, screw."""
    rows: Rows = []
    hole, screw, found = strength.hole, strength.screw, strength.tightening
    if hole is None:
        rows.append({"name": "Hole", "value": "not in the catalogue"})
    else:
        rows.append({"name": "Hole", "value": hole_text(hole, unit)})
        pins = f"go {show_mm(hole.go_mm, unit)}, no-go {show_mm(hole.no_go_mm, unit)}"
        rows.append({"name": "Gauge pins", "value": pins})
        if hole.countersink_mm is not None:
            rows.append({"name": "Countersink", "value": show_mm(hole.countersink_mm, unit)})
    rows += _tightening(found, unit)
    name = screw_name(shown)
    if not name:
        note = "" if screw.reach_least_mm is not None else told(screw.text, unit)
        rows.append({"name": "Screw", "value": reach_text(screw, unit), "note": note})
    else:
        mesh = "" if screw.engaged_diameters is None else f"{screw.engaged_diameters:.2f} diameters in mesh"
        rows.append({"name": "Screw", "value": name, "note": mesh})
        if screw.behind_mm is not None:
            rows.append({"name": "Tip behind the stack", "value": show_mm(max(screw.behind_mm, 0.0), unit)})
    kind = f"{found.screw_class}{' assumed' if found.class_assumed else ''}, {found.condition}"
    return [*rows, {"name": "Screw class", "value": kind}]


def _tightening(found: Tightening, unit: LengthUnit) -> Rows:
    low = "up to " if found.low_nm is None else f"{turning(found.low_nm, unit, bare=True)} to "
    tension = f"{pulling(found.preload_low_n, unit, bare=True)} to {pulling(found.preload_high_n, unit)}"
    given = "given" if found.given else "found"
    given += "" if found.inside else ", outside its window"
    ends = f"ends at {found.limited_by}"
    return [
        {"name": "Tighten", "value": f"{turning(found.torque_nm, unit)}, {given}"},
        {"name": "Window", "value": f"{low}{turning(found.high_nm, unit)}", "note": ends},
        {"name": "Tension", "value": tension},
    ]


def _drills(hole: Hole, unit: LengthUnit) -> list[list[str]]:
    return [_drill(one, unit) for one in sorted(hole.drills, key=lambda one: one.diameter_mm)]


def _drill(one: DrillFit, unit: LengthUnit) -> list[str]:
    misfit = show_mm(abs(one.misfit_mm), unit, decimals=3 if unit == "mm" else 4)
    over = f"{misfit} {'over' if one.misfit_mm >= 0 else 'under'} the least"
    return [drill_name(one, unit), show_mm(one.diameter_mm, unit), over, "fits" if one.fits else ""]

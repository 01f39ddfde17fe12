"""Choose 4 of 4: the inserts that fit, best first, each drawn to scale in the stack; the others with their cures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from fastapi.responses import Response

from firstpull.errors import BadInput, NotFound
from firstpull.jobs import choose
from firstpull.jobs.told import share, told, turning
from firstpull.jobs.workshop import Doing
from firstpull.mechanics.choose import Candidate, Choice
from firstpull.mechanics.joint.hole import DrillFit, Hole
from firstpull.mechanics.joint.screw import ScrewLength
from firstpull.mechanics.joint.tightening import Tightening
from firstpull.record.job import JobState
from firstpull.units import LengthUnit, show_mm
from firstpull.web.choose_joint import asked_rows
from firstpull.web.desk import Desk, form_of, show
from firstpull.web.drawings import joint_of, pictures_of, stack_of_job
from firstpull.web.texts import TEXTS

_TILES = 3
_REJECTED = 12
_MOST = 24


@dataclass(frozen=True, slots=True)
class Fitting:
    """The choice of a job, the insert that is looked at, and why the tool on record was left out ("" when it was
    not)."""

    choice: Choice
    shown: Candidate | None
    without_tool: str


def take(here: Desk, state: JobState, do: str, *, part: str, doing: Doing) -> str:
    """Take an insert, or look at another one; says which screen comes next."""
    if not part:
        raise BadInput("Which insert?", where="part", hint="Tap one of those that fit.")
    if do == "look":
        here.book.insert(part)
        return f"pick {part}"
    try:
        fits = any(_alone(here, state, part, with_tool=with_tool) for with_tool in (True, False))
    except NotFound:
        fits = False
    if not fits:
        raise BadInput(f"“{part}” does not fit this joint.", where="part", hint="Tap one of those that fit.")
    choose.take_insert(here.book, state.id, part, doing=doing)
    return "set_up"


def fitting_of(here: Desk, state: JobState, part: str) -> Fitting:
    """What fits, and the one to show: ``part``, else the job's insert, else the best. Where nothing fits for the tool
    on record alone, the tool is left out and said."""
    choice = choose.candidates(here.book, state.id, unit=here.unit, most=_MOST)
    without = ""
    if not choice.candidates and choice.misses and choice.misses[-1][0] == "tool":
        without = told(choice.rejected[0].reason, here.unit)
        choice = choose.candidates(here.book, state.id, unit=here.unit, most=_MOST, with_tool=False)
    present = part or str((state.insert or {}).get("part", ""))
    shown = next((one for one in choice.candidates if one.insert.part == present), None)
    if shown is None and present and choice.fits > len(choice.candidates):
        try:
            shown = _alone(here, state, present, with_tool=not without)
        except NotFound:
            shown = None  # the job's insert was taken out of the catalogue
    if shown is None and choice.candidates:
        shown = choice.candidates[0]
    return Fitting(choice, shown, without)


def tool_note(state: JobState, found: Fitting) -> str:
    """What is to be said of the tool: that it was left out, or that a pocket waits for it; "" when nothing is."""
    if found.without_tool:
        return TEXTS["choose"]["without_tool"].format(found.without_tool)
    needs = choose.needs_of(state)
    pocket = needs is not None and (needs.pocket_diameter_mm is not None or needs.pocket_depth_mm is not None)
    return TEXTS["choose"]["pocket_waits"] if pocket and state.tool is None else ""


def _alone(here: Desk, state: JobState, part: str, *, with_tool: bool) -> Candidate | None:
    return choose.candidate(here.book, state.id, part, unit=here.unit, with_tool=with_tool)


def pick_page(
    here: Desk,
    state: JobState,
    *,
    part: str = "",
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    """Which insert to use."""
    found = fitting_of(here, state, part)
    choice, shown = found.choice, found.shown
    tiles = list(choice.candidates[:_TILES])
    if shown is not None and shown not in tiles:
        tiles[-1:] = [shown]
    address = here.address(state.id, "choose")
    pictures = pictures_of(state, [(one.insert, one.stroke_mm) for one in tiles])
    more = [_row(address, one) for one in choice.candidates if one not in tiles]
    context = {
        "form": form_of(state, f"{address}?screen=pick"),
        "question": "Which insert do you use?" if shown else "Nothing in the catalogue fits.",
        "crumb": "4 of 4 · pick",
        "back": {"label": "Back to access", "address": f"{address}?screen=access"},
        "candidates": [
            {**_tile(one, above), "picture": drawn}
            for one, above, drawn in zip(tiles, (None, *tiles), pictures, strict=False)
        ],
        "chosen": shown.insert.part if shown else "",
        "nothing": _nothing(choice, here.unit) if shown is None else None,
        "tool_note": tool_note(state, found),
        "problem": problem,
        "more": more,
        "more_count": choice.fits - len(tiles),
        "rejected": [
            {"name": left.insert.name, "text": told(f"{left.reason} {left.cure}".strip(), here.unit)}
            for left in choice.rejected[:_REJECTED]
        ],
        "rejected_count": choice.missed,
        "misses": " · ".join(f"{word} {count}" for word, count in choice.misses),
        "asked": asked_rows(here, state),
        "ask": f"{address}?screen=loads",
        "facts": [] if shown is None else _facts(shown, here.unit),
        "checks": None if shown is None else _checks_link(address, shown),
        "buttons": _buttons(here, state, found),
        "drawing": drawing_of(here, state, shown),
        "drawing_notes": [here.lengths_note],
    }
    return show(here, state, "steps/choose_pick.html", context, step="choose", status_code=status_code)


def _checks_link(address: str, shown: Candidate) -> dict[str, str]:
    return {
        "label": f"All {len(shown.checks)} checks, hole, torque, screw",
        "address": f"{address}?screen=checks&part={quote(shown.insert.part)}",
    }


def _buttons(here: Desk, state: JobState, found: Fitting) -> list[dict[str, str]]:
    if found.shown is None:
        address = f"{here.address(state.id, 'choose')}?screen="
        weak = bool(found.choice.misses) and found.choice.misses[-1][0] == "strength"
        change = ("Change the loads", "loads") if weak else ("Change what it must do", "thread")
        return [
            {"label": change[0], "address": address + change[1], "kind": ""},
            {"label": "Insert in my hand", "address": here.address(state.id, "in-hand"), "kind": "other"},
        ]
    return [
        {"label": "Use this one", "do": "take", "kind": ""},
        {"label": "Look at it", "do": "look", "kind": "other"},
    ]


def _tile(found: Candidate, above: Candidate | None = None) -> dict[str, str]:
    """One insert with its tightest margin, and what parts it from the one ``above`` where that is as tight."""
    tightest, margin = found.tightest, found.margin
    spare = f"{share(margin)} to spare" if margin >= 0 else f"{share(-margin)} short"
    word = ", estimated" if tightest.estimate else ""
    unknown = [check.name for check in found.checks if check.capacity == "not known"]
    said = f"; {unknown[0]} not known" if unknown else ""
    tie = found.why[found.why.index("As much as") :] if "As much as" in found.why else ""
    if tie and above is not None and above.rank == found.rank - 1:
        tie = f"Level with the one above; {tie.partition('; ')[2]}"
    return {
        "value": found.insert.part,
        "label": found.insert.part,
        "note": f"{tightest.name}: {spare}{word}{said}",
        "tie": tie,
    }


def _row(address: str, found: Candidate) -> dict[str, str]:
    return {**_tile(found), "address": f"{address}?screen=pick&part={quote(found.insert.part)}"}


def _nothing(choice: Choice, unit: LengthUnit) -> dict[str, str]:
    if not choice.rejected:
        return {"what": "The catalogue is empty.", "cure": "Import your inserts, or measure one that you have."}
    nearest = choice.rejected[0]
    return {
        "what": told(f"Nearest is {nearest.insert.name}. {nearest.reason}", unit),
        "cure": told(nearest.cure, unit),
    }


def _facts(shown: Candidate, unit: LengthUnit) -> list[dict[str, str]]:
    """The few values that are wanted beside the drawing; the two smallest margins at their worst first."""
    tight = sorted((one for one in shown.checks if one.margin is not None), key=lambda one: one.margin or 0.0)[:2]
    rows = [
        {
            "name": "At worst",
            "value": ", ".join(f"{one.name} {share(one.margin)}" for one in tight).replace(" %", "\u00a0%"),
        }
    ]
    strength = shown.strength
    if strength is None:
        return rows
    if strength.hole is not None:
        rows.append({"name": "Hole", "value": f"{hole_text(strength.hole, unit)}{drill_text(strength.hole, unit)}"})
    rows.append({"name": "Torque", "value": torque_text(strength.tightening, unit)})
    return [*rows, {"name": "Screw", "value": screw_name(shown) or reach_text(strength.screw, unit)}]


def hole_text(hole: Hole, unit: LengthUnit) -> str:
    """The limits of the hole."""
    shape = " across flats" if hole.shape == "hexagon" else ""
    return f"{show_mm(hole.least_mm, unit)} to {show_mm(hole.most_mm, unit)}{shape}"


def drill_text(hole: Hole, unit: LengthUnit) -> str:
    """The drill as it stands behind the limits of the hole; one of the person's own series where there is one."""
    name = drill_of(hole, unit)
    return f", drill {name}" if name else ""


def drill_of(hole: Hole, unit: LengthUnit) -> str:
    """The smallest drill that is inside the limits, by its name; "" when none is."""
    fits = sorted((one for one in hole.drills if one.fits), key=lambda one: one.diameter_mm)
    own = [one for one in fits if one.name.endswith("mm") == (unit == "mm")]
    first = next(iter([*own, *fits]), None)
    return "" if first is None else drill_name(first, unit)


def drill_name(one: DrillFit, unit: LengthUnit) -> str:
    """A drill's name; a metric one keeps its number where lengths are in inches."""
    if unit == "in" and one.name.endswith("mm"):
        return f"{one.name.removesuffix('mm').strip()} (metric)"
    return one.name


def torque_text(found: Tightening, unit: LengthUnit) -> str:
    """The torque and the most that it may be."""
    if found.high_nm > found.torque_nm * (1 + 1e-6):
        return f"{turning(found.torque_nm, unit)}, at most {turning(found.high_nm, unit, bare=True)}"
    word = "the most it bears" if found.inside else f"over {turning(found.high_nm, unit, bare=True)}: too much"
    return f"{turning(found.torque_nm, unit)}, {word}"


def screw_name(shown: Candidate) -> str:
    """The screw as it is ordered: “M6 × 16”, “1/4-20 × 3/4”; "" when its length cannot be said."""
    screw = shown.strength.screw if shown.strength is not None else None
    if screw is None or not screw.name:
        return ""
    thread = shown.insert.thread.partition("x")[0].partition(" ")[0]
    return f"{thread} × {screw.name.removesuffix('mm').removesuffix('in').strip()}"


def reach_text(screw: ScrewLength, unit: LengthUnit) -> str:
    """How far the screw must reach below the part that it holds, where that part's thickness is not given."""
    if not screw.ok:
        return "no usual length does"
    if screw.reach_least_mm is None:
        return "length not known"
    least = f"{show_mm(screw.reach_least_mm, unit)} under the part"
    return least if screw.reach_most_mm is None else f"{least}, at most {show_mm(screw.reach_most_mm, unit)}"


def drawing_of(here: Desk, state: JobState, shown: Candidate | None, *, height: float = 360) -> str:
    """The stack with the shown insert before and after setting."""
    if shown is None:
        return stack_of_job(state, unit=here.unit)
    free = shown.insert.length_free.mm
    aim = None if shown.stroke_mm is None else free - shown.stroke_mm
    drawn = joint_of(state, unit=here.unit, insert=shown.insert, set_length_mm=aim, height=height)
    return drawn or stack_of_job(state, unit=here.unit)

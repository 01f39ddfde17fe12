"""Choose, for whoever knows more of the joint: what pulls on it, what is screwed on, what is around it, what it must
stand. Every answer may stay open."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from fastapi.responses import Response

from firstpull.drawing.asked import loads_picture, part_picture, place_picture
from firstpull.errors import BadInput
from firstpull.jobs import choose
from firstpull.jobs.shapes import demand_of, stack_of
from firstpull.jobs.told import degree_unit, degrees
from firstpull.jobs.workshop import Doing
from firstpull.mechanics.choose import Needs
from firstpull.mechanics.insert import BODIES
from firstpull.mechanics.joint.demand import JointDemand, LoadRange
from firstpull.record.job import JobState
from firstpull.trade.galvanic import SURROUNDINGS
from firstpull.trade.materials import sheet_material
from firstpull.trade.screws import nut_factor, nut_factor_names, property_class, property_class_names
from firstpull.units import Length, LengthUnit, show_length, show_mm
from firstpull.web.desk import Desk, form_of, show
from firstpull.web.drawings import stack_of_job
from firstpull.web.typed import field_force_range, force_unit, typed_force_range, typed_share

SCREENS = ("loads", "part", "place", "service")
FIELDS = (
    "tension", "shear", "push", "load_factor",
    "mating_thickness", "clearance_hole", "washer", "strength", "condition", "proof_share",
    "edge", "pitch", "pocket_diameter", "pocket_depth",
    "sealed", "surroundings", "temperature", "body", "dimple", "load_ceiling",
)  # fmt: skip
Texts = dict[str, str]
_DEGREES = re.compile(r"([+-]?\d{1,4}(?:[.,]\d{1,3})?)\s*°?\s*([CcFf]?)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Asked:
    """What a job asks, as far as it is known."""

    needs: Needs
    demand: JointDemand


@dataclass(frozen=True, slots=True)
class _Reader:
    """Reads a screen's texts. A text that was not touched keeps the value on record to its last digit."""

    here: Desk
    typed: Texts
    shown: Texts

    def same(self, name: str) -> bool:
        return self.typed[name].strip() == self.shown[name].strip()

    def length(self, name: str, known: Length | None, *, zero: bool = False) -> Length | None:
        if self.same(name):
            return known
        text = self.typed[name].strip()
        if not text:
            return None
        value = self.here.length(text, name)
        if value.nanometres < 0 or (value.nanometres == 0 and not zero):
            raise BadInput("That is more than nothing.", where=name, hint="Leave it empty when it does not matter.")
        return value

    def mm(self, name: str, known_mm: float | None) -> float | None:
        if self.same(name):
            return known_mm
        value = self.length(name, None)
        return None if value is None else value.mm

    def load(self, name: str, known: LoadRange | None) -> LoadRange | None:
        if self.same(name):
            return known
        text = self.typed[name].strip()
        return None if not text else LoadRange(*typed_force_range(text, self.here.unit, name))

    def share(self, name: str, known: float, usual: float) -> float:
        if self.same(name):
            return known
        text = self.typed[name].strip()
        # a share of 1 is the whole, not one in a hundred
        value = usual if not text else 1.0 if text in ("1", "1.0") else typed_share(text, name)
        if not 0 <= value <= 1:
            raise BadInput("A share is from 0 to 100 %.", where=name, hint="For example 30 %.")
        return value

    def word(self, name: str, words: tuple[str, ...]) -> str:
        value = self.typed[name].strip()
        if value not in ("", *words):
            raise BadInput("That is not one of the choices.", where=name, hint=", ".join(words))
        return value

    def degrees_c(self, name: str, known: float | None) -> float | None:
        if self.same(name):
            return known
        text = self.typed[name].strip()
        if not text:
            return None
        found = _DEGREES.fullmatch(text)
        if found is None:
            raise BadInput(f"“{text[:40]}” is not a temperature.", where=name, hint="For example 80 °C, or 176 °F.")
        value = float(found.group(1).replace(",", "."))
        degree = (found.group(2) or degree_unit(self.here.unit)[1:]).upper()
        return round((value - 32) / 1.8, 9) if degree == "F" else value


def asked_of(state: JobState) -> Asked | None:
    """What the job asks of its joint; None before its thread is said."""
    needs = choose.needs_of(state)
    return None if needs is None else Asked(needs, demand_of(state) or JointDemand())


def keep(here: Desk, state: JobState, screen: str, do: str, *, typed: Texts, doing: Doing) -> str:
    """Put one screen's answers on record; says which screen comes next."""
    known = asked_of(state)
    if known is None:
        return "thread"
    reader = _Reader(here, typed, shown_texts(known, here.unit))
    try:
        needs, demand = _READ[screen](reader, known)
        texts = {**((state.joint or {}).get("typed") or {}), **_texts_of(screen, typed)}
        if demand != known.demand:
            changed = needs if needs != known.needs else None
            choose.state_joint(here.book, state.id, demand, doing=doing, needs=changed, typed=texts)
        elif needs != known.needs:
            before = (state.needs or {}).get("typed") or {}
            choose.state_needs(here.book, state.id, needs, doing=doing, typed={**before, **_texts_of(screen, typed)})
    except BadInput as problem:
        problem.where = _field_of(problem.where)
        raise
    after = SCREENS.index(screen) + 1
    return "pick" if do == "fits" or after == len(SCREENS) else SCREENS[after]


def _read_loads(reader: _Reader, known: Asked) -> tuple[Needs, JointDemand]:
    loads = known.demand.loads
    return known.needs, replace(
        known.demand,
        loads=replace(
            loads,
            tension=reader.load("tension", loads.tension),
            shear=reader.load("shear", loads.shear),
            push=reader.load("push", loads.push),
            load_factor=reader.share("load_factor", loads.load_factor, 0.3),
        ),
    )


def _read_part(reader: _Reader, known: Asked) -> tuple[Needs, JointDemand]:
    screw = known.demand.screw
    name, state = reader.typed["strength"].strip(), reader.typed["condition"].strip()
    return known.needs, replace(
        known.demand,
        screw=replace(
            screw,
            mating_thickness=reader.length("mating_thickness", screw.mating_thickness),
            clearance_hole=reader.length("clearance_hole", screw.clearance_hole),
            washer=reader.length("washer", screw.washer, zero=True),
            strength=property_class(name, where="strength").name if name else "",
            condition=nut_factor(state or "dry", where="condition").condition,
            proof_share=reader.share("proof_share", screw.proof_share, 0.75),
        ),
    )


def _read_place(reader: _Reader, known: Asked) -> tuple[Needs, JointDemand]:
    edges, needs = known.demand.edges, known.needs
    return replace(
        needs,
        pocket_diameter_mm=reader.mm("pocket_diameter", needs.pocket_diameter_mm),
        pocket_depth_mm=reader.mm("pocket_depth", needs.pocket_depth_mm),
    ), replace(
        known.demand,
        edges=replace(edges, edge=reader.length("edge", edges.edge), pitch=reader.length("pitch", edges.pitch)),
    )


def _read_service(reader: _Reader, known: Asked) -> tuple[Needs, JointDemand]:
    needs, ceiling = known.needs, known.demand.load_ceiling_n
    if not reader.same("load_ceiling"):
        text = reader.typed["load_ceiling"].strip()
        ceiling = typed_force_range(text, reader.here.unit, "load_ceiling")[0] if text else None
    sealed = reader.word("sealed", ("yes",)) == "yes"
    if sealed and needs.end == "open":
        raise BadInput("A sealed joint cannot have an open end.", where="sealed", hint="Change the far end first.")
    changed: Any = {
        "sealed": sealed,
        "surroundings": reader.word("surroundings", SURROUNDINGS) or None,
        "temperature_c": reader.degrees_c("temperature", needs.temperature_c),
        "body": reader.word("body", BODIES) or None,
        "dimple": reader.word("dimple", ("yes",)) == "yes",
    }
    return replace(needs, **changed), replace(known.demand, load_ceiling_n=ceiling)


_READ: dict[str, Callable[[_Reader, Asked], tuple[Needs, JointDemand]]] = {
    "loads": _read_loads,
    "part": _read_part,
    "place": _read_place,
    "service": _read_service,
}


def shown_texts(known: Asked, unit: LengthUnit) -> Texts:
    """Every answer as the person reads it in its field; "" where it was left open."""
    needs, demand = known.needs, known.demand
    loads, screw, edges = demand.loads, demand.screw, demand.edges
    ceiling = demand.load_ceiling_n
    found: Texts = {name: _range(getattr(loads, name), unit) for name in ("tension", "shear", "push")}
    lengths = (
        ("mating_thickness", screw.mating_thickness), ("clearance_hole", screw.clearance_hole),
        ("washer", screw.washer), ("edge", edges.edge), ("pitch", edges.pitch),
    )  # fmt: skip
    found |= {name: "" if one is None else show_length(one, unit) for name, one in lengths}
    measures = (("pocket_diameter", needs.pocket_diameter_mm), ("pocket_depth", needs.pocket_depth_mm))
    found |= {name: "" if one is None else show_mm(one, unit) for name, one in measures}
    return found | {
        "load_factor": f"{100 * loads.load_factor:g} %",
        "proof_share": f"{100 * screw.proof_share:g} %",
        "strength": screw.strength,
        "condition": screw.condition,
        "sealed": "yes" if needs.sealed else "",
        "surroundings": needs.surroundings or "",
        "temperature": "" if needs.temperature_c is None else degrees(needs.temperature_c, unit, bare=True),
        "body": needs.body or "",
        "dimple": "yes" if needs.dimple else "",
        "load_ceiling": "" if ceiling is None else field_force_range(ceiling, ceiling, unit),
    }


def _range(load: LoadRange | None, unit: LengthUnit) -> str:
    return "" if load is None else field_force_range(load.low_n, load.high_n, unit)


def _texts_of(screen: str, typed: Texts) -> Texts:
    return {name: typed[name].strip() for name in _NAMES[screen] if typed[name].strip()}


_NAMES: dict[str, tuple[str, ...]] = {
    "loads": FIELDS[:4],
    "part": FIELDS[4:10],
    "place": FIELDS[10:14],
    "service": FIELDS[14:],
}


def joint_page(
    here: Desk,
    state: JobState,
    screen: str,
    *,
    typed: Texts | None = None,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    """One of the four short screens."""
    known = asked_of(state)
    assert known is not None  # the choose pages ask for the thread first
    values = {**shown_texts(known, here.unit), **(typed or {})}
    address = f"{here.address(state.id, 'choose')}?screen="
    place = SCREENS.index(screen)
    asked = _ASKED[screen](here.unit, known, state)
    names = {field["name"] for field in (*asked["fields"], *asked["details"])} | {
        group["name"] for group in asked["choices"]
    }
    where = str((problem or {}).get("where", ""))
    where = where if where in names else next(iter(field["name"] for field in asked["fields"]))
    for field in (*asked["fields"], *asked["details"]):
        field |= {"value": values[field["name"]], "problem": problem if field["name"] == where else None}
    for group in asked["choices"]:
        group |= {"chosen": values[group["name"]], "problem": problem if group["name"] == where else None}
    last = place + 1 == len(SCREENS)
    on = [] if last else [{"label": f"Go on: {_NEXT[SCREENS[place + 1]]}", "do": "next", "kind": ""}]
    fits = {"label": "Show what fits", "do": "fits", "kind": "" if last else "other"}
    before = (
        ("access", "Back to access") if place == 0 else (SCREENS[place - 1], f"Back to {_NEXT[SCREENS[place - 1]]}")
    )
    context = {
        **asked,
        "form": form_of(state, address + screen),
        "screen": screen,
        "crumb": f"if you know it, {place + 1} of 4 · {_NEXT[screen]}",
        "back": {"label": before[1], "address": address + before[0]},
        "open_details": any(field["problem"] for field in asked["details"]),
        "buttons": [*on, fits],
        "drawing": _PICTURES[screen]() if screen in _PICTURES else stack_of_job(state, unit=here.unit),
    }
    return show(here, state, "steps/choose_joint.html", context, step="choose", status_code=status_code)


def _ask_loads(unit: LengthUnit, _known: Asked, _state: JobState) -> dict[str, Any]:
    force = force_unit(unit)
    example = "one, or a range: 1.2 to 2" if unit == "mm" else "one, or a range: 250 to 400"
    return {
        "question": "What pulls on one insert?",
        "choices": [],
        "fields": [
            {"name": "tension", "label": f"Tension, {force}", "note": example, "wide": True},
            {"name": "shear", "label": f"Shear, {force}"},
            {"name": "push", "label": f"Push, {force}"},
        ],
        "details": [{"name": "load_factor", "label": "Share of the tension that the screw feels", "note": "30 % is assumed"}],
        "details_name": "Load factor",
        "said": "",
        "drawing_title": "Loads on one insert",
        "drawing_notes": ["not to scale"],
    }  # fmt: skip


def _ask_part(unit: LengthUnit, _known: Asked, _state: JobState) -> dict[str, Any]:
    return {
        "question": "What is screwed on?",
        "choices": [],
        "fields": [
            {"name": "mating_thickness", "label": f"Part thick, {unit}"},
            {"name": "clearance_hole", "label": f"Its hole, {unit}"},
            {"name": "washer", "label": f"Washer, {unit}"},
            {"name": "strength", "label": "Screw class", "options": property_class_names()},
            {"name": "condition", "label": "Its thread is", "options": nut_factor_names()},
            {"name": "proof_share", "label": "Tight to", "note": "of proof"},
        ],
        "details": [],
        "details_name": "",
        "said": "",
        "drawing_title": "The part that is screwed on",
        "drawing_notes": ["not to scale"],
    }  # fmt: skip


def _ask_place(unit: LengthUnit, _known: Asked, _state: JobState) -> dict[str, Any]:
    return {
        "question": "What is around it?",
        "choices": [],
        "fields": [
            {"name": "edge", "label": f"Edge, {unit}"},
            {"name": "pitch", "label": f"Pitch, {unit}"},
            {"name": "pocket_diameter", "label": f"Pocket, {unit}", "note": "across"},
            {"name": "pocket_depth", "label": f"Deep, {unit}"},
        ],
        "details": [],
        "details_name": "",
        "said": "The tool’s nose must reach into a pocket.",
        "drawing_title": "Edge, pitch, pocket",
        "drawing_notes": ["not to scale"],
    }


def _ask_service(unit: LengthUnit, known: Asked, state: JobState) -> dict[str, Any]:
    groups: list[dict[str, Any]] = [
        {"name": "sealed", "legend": "May it leak?", "choices": [{"value": "", "label": "It may"}, {"value": "yes", "label": "Sealed"}]},
        {
            "name": "surroundings", "legend": "Surroundings",
            "choices": [{"value": "", "label": "Any"}, {"value": "controlled", "label": "Dry room"}, {"value": "normal", "label": "Indoors"}, {"value": "harsh", "label": "Wet, salt"}],
        },
    ]  # fmt: skip
    fields: list[dict[str, Any]] = [
        {"name": "temperature", "label": f"Hottest, {degree_unit(unit)}"},
        {"name": "body", "label": "Body", "note": "empty: any", "options": BODIES},
    ]
    if known.needs.head == "countersunk" or known.needs.dimple:
        dimple = [{"value": "", "label": "No dimple"}, {"value": "yes", "label": "May be dimpled"}]
        groups.append({"name": "dimple", "legend": "Thin sheet under a countersunk head", "choices": dimple})
    if known.demand.load_ceiling_n is not None or _any_soft(state):
        fields.append({"name": "load_ceiling", "label": f"Soft sheet bears, {force_unit(unit)}"})
    return {
        "question": "What must it stand?",
        "choices": groups,
        "fields": fields,
        "details": [],
        "details_name": "",
        "said": "",
        "drawing_title": "The stack",
        "drawing_notes": [f"to scale, {unit}"],
    }


_ASKED: dict[str, Callable[[LengthUnit, Asked, JobState], dict[str, Any]]] = {
    "loads": _ask_loads,
    "part": _ask_part,
    "place": _ask_place,
    "service": _ask_service,
}
_NEXT = {"loads": "loads", "part": "screw and part", "place": "edges", "service": "service"}
_PICTURES: dict[str, Callable[[], str]] = {"loads": loads_picture, "part": part_picture, "place": place_picture}


def _any_soft(state: JobState) -> bool:
    stack, _batch = stack_of(state)
    held = (sheet_material(layer.material) for layer in stack.layers if not layer.coating)
    return any(one is not None and one.soft for one in held)


def screen_of(where: str) -> tuple[str, str]:
    """The screen and the field that ask for what a problem names; two empty texts when none does."""
    field = _field_of(where)
    return next(((screen, field) for screen, names in _NAMES.items() if field in names), ("", ""))


def _field_of(where: str) -> str:
    name = where.rpartition(".")[2].removesuffix("_mm").removesuffix("_c")
    return {"class": "strength", "end": "sealed"}.get(name, name)


def asked_rows(here: Desk, state: JobState) -> list[dict[str, str]]:
    """What was said beside thread, torque and access, one line a screen, each with the way to change it."""
    known = asked_of(state)
    if known is None:
        return []
    unit, needs, demand = here.unit, known.needs, known.demand
    texts = shown_texts(known, unit)
    force = force_unit(unit)

    def told(*names: tuple[str, str, str]) -> str:
        return " · ".join(f"{word} {texts[name]} {after}".strip() for name, word, after in names if texts[name])

    usual = JointDemand().screw
    screw = " ".join(part for part in (demand.screw.strength, demand.screw.condition if demand.screw.condition != usual.condition else "") if part)  # fmt: skip
    rows = {
        "loads": told(("tension", "tension", force), ("shear", "shear", force), ("push", "push", force)),
        "part": " · ".join(part for part in (screw, told(("mating_thickness", "part", unit), ("clearance_hole", "hole", unit), ("washer", "washer", unit))) if part),
        "place": told(("edge", "edge", unit), ("pitch", "pitch", unit), ("pocket_diameter", "pocket", unit), ("pocket_depth", "deep", unit)),
        "service": " · ".join(part for part in ("sealed" if needs.sealed else "", _SURROUNDINGS.get(needs.surroundings or "", ""), told(("temperature", "up to", degree_unit(unit)), ("body", "body", ""), ("load_ceiling", "sheet bears", force)), "dimple" if needs.dimple else "") if part),
    }  # fmt: skip
    address = f"{here.address(state.id, 'choose')}?screen="
    return [{"name": _NEXT[name], "value": value, "address": address + name} for name, value in rows.items() if value]


_SURROUNDINGS = {"harsh": "wet, salt", "normal": "indoors", "controlled": "dry room"}

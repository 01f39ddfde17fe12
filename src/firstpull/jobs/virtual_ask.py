"""What is asked for a virtual pull at the bench: what a part and a job already tell, and from measures to a request."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from firstpull.errors import BadInput, FirstpullError
from firstpull.exchange.pull_file import PullRequest
from firstpull.jobs.shapes import demand_of, insert_of, stack_of, tool_of
from firstpull.mechanics.collapse.case import PullCase, Sheet
from firstpull.mechanics.collapse.flow_curves import library_curve
from firstpull.mechanics.collapse.limits import MANDREL_CLASS, Surroundings
from firstpull.mechanics.collapse.material import FlowCurve
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.joint.tightening import screw_data
from firstpull.mechanics.stack import thickness
from firstpull.mechanics.tool import available_load_n
from firstpull.record.job import JobState
from firstpull.trade.materials import insert_material, sheet_material
from firstpull.trade.threads import thread
from firstpull.units import Length

FRICTIONS: Mapping[str, float] = {"oiled": 0.08, "as delivered": 0.12, "dry": 0.2}
"""Friction by the state of the surfaces: common practice, no source."""
METALS: Mapping[str, str] = {
    "steel": "steel",
    "stainless steel": "stainless steel",
    "aluminium": "aluminium",
    "copper alloy": "brass",
}
"""Flow curve by the family of the insert's material."""
STROKE_SHARE, SHORTER_SHARE = 0.93, 0.85
"""The pull is simulated over so much of the free shank; where that falls apart, over the lesser share."""
EDGE_MM = 0.1
SIZES = (
    "outer_diameter",
    "counterbore_diameter",
    "unthreaded_length",
    "threaded_length",
    "flange_diameter",
    "flange_thickness",
    "thickness",
    "hole_diameter",
)


def known_of(insert: Insert) -> dict[str, Length | str]:
    """What the catalogue row of an insert tells: the sizes it holds, its thread, its metal, its greatest grip."""
    given: dict[str, Length | str | None] = {
        "outer_diameter": insert.body_diameter,
        "counterbore_diameter": insert.counterbore_diameter,
        "unthreaded_length": insert.unthreaded_length,
        "threaded_length": insert.thread_length,
        "flange_diameter": insert.flange_diameter,
        "flange_thickness": insert.flange_thickness,
        "hole_diameter": insert.hole_diameter,
        "grip_max": insert.grip_max,
        "thread": insert.thread,
        "metal": metal_of(insert.material),
    }
    return {name: value for name, value in given.items() if value}


def metal_of(material: str) -> str:
    """The flow curve that goes with an insert's material; "" when none does."""
    found = insert_material(material) if material else None
    return "" if found is None else METALS.get(found.family, "")


def known_of_job(state: JobState) -> dict[str, Length | str]:
    """What a job tells beside its insert: the stack's thickness, and the metal of its blind side."""
    known: dict[str, Length | str] = known_of(insert_of(state)) if state.insert is not None else {}
    if state.stack is not None:
        stack, _batch = stack_of(state)
        known["thickness"] = Length.from_mm(thickness(stack).value_mm)
        metals = [layer.material for layer in stack.layers if not layer.coating]
        if metals and sheet_material(metals[-1]) is not None:
            known["sheet"] = metals[-1]
    return known


def body_words(insert: Insert) -> tuple[str, ...]:
    """What of this insert's shape is not modelled, in words."""
    said = []
    if insert.body != "round":
        said.append(f"The {insert.body} body is taken as round.")
    if insert.head == "countersunk":
        said.append("The countersunk head is taken as a flat flange.")
    if insert.end == "closed":
        said.append("The closed end is left out: it stiffens nothing that folds.")
    return tuple(said)


def request_from(
    sizes: Mapping[str, Length], words: Mapping[str, str], *, state: JobState | None = None, share: float = STROKE_SHARE
) -> PullRequest:
    """The pull of these measures, over ``share`` of the free shank. ``words``: thread, metal, sheet ("" = a stiff one),
    friction (one of FRICTIONS). Tool, mandrel and screw come from the job. Raises BadInput naming the measure."""
    for name in SIZES:
        if name not in sizes:
            raise BadInput("This measure is needed.", where=name, hint="Measure it, or look it up.")
    if words.get("friction") not in FRICTIONS:
        raise BadInput("How are the surfaces?", where="friction", hint="Tap one.")
    named = thread(words.get("thread", ""), where="thread")
    mm = {name: sizes[name].mm for name in SIZES}
    free = mm["unthreaded_length"] - mm["thickness"]
    if free <= 0.0:
        raise BadInput(
            "The shank ends inside the sheet.", where="thickness", hint="Check the thickness and the shank’s length."
        )
    found = sheet_material(words.get("sheet", "")) if words.get("sheet") else None
    case = PullCase(
        outer_diameter_mm=mm["outer_diameter"],
        counterbore_diameter_mm=mm["counterbore_diameter"],
        unthreaded_length_mm=mm["unthreaded_length"],
        bore_diameter_mm=named.pitch_diameter_mm,
        threaded_length_mm=mm["threaded_length"],
        flange_diameter_mm=mm["flange_diameter"],
        flange_thickness_mm=mm["flange_thickness"],
        metal=library_curve(words.get("metal", ""), where="metal"),
        friction=FRICTIONS[words["friction"]],
        stroke_mm=round(share * free, 4),
        sheet=Sheet(
            mm["thickness"],
            mm["hole_diameter"],
            min(EDGE_MM, 0.4 * mm["thickness"]),
            None if found is None else found.e_mpa,
            None if found is None else found.yield_mpa,
        ),
        mandrel_diameter_mm=named.major_mm,
    )
    around = surroundings_of(state, named.designation)
    grip = sizes.get("grip_max")
    return PullRequest(case, None if grip is None else grip.mm, around.compliance_mm_per_kn, around)


def surroundings_of(state: JobState | None, designation: str) -> Surroundings:
    """Mandrel, tool and screw of the job, as far as they are on record. N, mm, mm/kN."""
    if state is None:
        return Surroundings(thread=designation)
    tool, demand = tool_of(state), demand_of(state)
    preload = None
    if demand is not None:
        data = screw_data(thread(designation), demand)
        torque = demand.screw.torque_nm
        wanted = demand.screw.proof_share * data.proof_n * (1.0 + data.factor.scatter)
        preload = min(data.proof_n, wanted) if torque is None else data.preload(torque).high
    return Surroundings(
        thread=designation,
        mandrel_class=str((state.mandrel or {}).get("property_class", MANDREL_CLASS)),
        tool_load_n=None if tool is None else available_load_n(tool) or tool.load_max_n,
        tool_stroke_mm=None if tool is None or tool.stroke_max is None else tool.stroke_max.mm,
        compliance_mm_per_kn=None if tool is None or not tool.stiffness_kn_per_mm else 1.0 / tool.stiffness_kn_per_mm,
        sheet_load_n=None if demand is None else demand.load_ceiling_n,
        preload_n=preload,
    )


def request_to_json(request: PullRequest) -> dict[str, Any]:
    """The request as held in the record, to be run again."""
    return asdict(request)


def request_from_json(data: Mapping[str, Any]) -> PullRequest:
    """Read back what :func:`request_to_json` wrote. Raises BadInput when it is not such a request."""
    try:
        case = dict(data["case"])
        metal = dict(case.pop("metal"))
        metal["points"] = tuple((float(strain), float(stress)) for strain, stress in metal["points"])
        sheet = case.pop("sheet")
        built = PullCase(**case, metal=FlowCurve(**metal), sheet=None if sheet is None else Sheet(**sheet))
        return PullRequest(built, data["grip_max_mm"], data["compliance_mm_per_kn"], Surroundings(**data["around"]))
    except FirstpullError:
        raise
    except (KeyError, TypeError, ValueError) as problem:
        raise BadInput("This is not a virtual pull’s question.", where="asked", hint=str(problem)[:120])

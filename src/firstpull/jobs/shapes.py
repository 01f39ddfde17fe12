"""Between the record's plain data and the shapes that mechanics reckon with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from firstpull.errors import Unsafe
from firstpull.mechanics.fields import to_record
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.joint.demand import Edges, JointDemand, LoadRange, Loads, Screw
from firstpull.mechanics.setting import AirToStack, Allowance, Batch, GivenWindow
from firstpull.mechanics.stack import Layer, Stack
from firstpull.mechanics.tool import Tool
from firstpull.record.job import JobState
from firstpull.record.things import ToolState
from firstpull.units import NM_PER_INCH, NM_PER_MM, Length, LengthUnit

Data = Mapping[str, Any]
LOADS = ("tension", "shear", "push")


def unit_of(state: JobState) -> LengthUnit:
    """The unit that the job is proved in."""
    return "in" if state.unit == "in" else "mm"


def in_unit(length_mm: float, unit: LengthUnit) -> float:
    """A length in mm as a number in ``unit``, from the nearest nanometre."""
    return round(length_mm * NM_PER_MM) / (NM_PER_MM if unit == "mm" else NM_PER_INCH)


def to_mm(value: float, unit: LengthUnit) -> float:
    """A number in ``unit`` as mm."""
    return value if unit == "mm" else value * 25.4


def stack_to_json(stack: Stack, batch: Batch | None = None) -> dict[str, Any]:
    """The stack as held in the record."""
    return {
        "layers": [to_record(layer) for layer in stack.layers],
        "readings": [reading.to_json() for reading in stack.readings],
        "gauge_error_mm": stack.gauge_error_mm,
        "resolution_mm": stack.resolution_mm,
        "batch": None if batch is None else {"thin": batch.thin.to_json(), "thick": batch.thick.to_json()},
    }


def stack_from_json(data: Data) -> tuple[Stack, Batch | None]:
    """Read back what :func:`stack_to_json` wrote."""
    layers = tuple(
        Layer(
            str(layer["material"]),
            Length.from_json(layer["thickness"]),
            None if layer.get("tolerance") is None else Length.from_json(layer["tolerance"]),
            bool(layer.get("coating", False)),
            int(layer.get("faces", 1)),
        )
        for layer in data["layers"]
    )
    readings = tuple(Length.from_json(reading) for reading in data.get("readings", ()))
    batch = data.get("batch")
    return (
        Stack(layers, readings, float(data.get("gauge_error_mm", 0.02)), float(data.get("resolution_mm", 0.01))),
        None if batch is None else Batch(Length.from_json(batch["thin"]), Length.from_json(batch["thick"])),
    )


def demand_to_json(demand: JointDemand) -> dict[str, Any]:
    """What is asked of the joint, as held in the record: loads in N, torque in N·m, lengths exact."""
    loads, screw, edges = demand.loads, to_record(demand.screw), to_record(demand.edges)
    ranges = {name: getattr(loads, name) for name in LOADS}
    return {
        "loads": {
            **{name: None if one is None else to_record(one) for name, one in ranges.items()},
            "load_factor": loads.load_factor,
        },
        "screw": screw,
        "edges": edges,
        "load_ceiling_n": demand.load_ceiling_n,
    }


def demand_from_json(data: Data) -> JointDemand:
    """Read back what :func:`demand_to_json` wrote; what is missing is as if it was never said."""
    loads, screw, edges = data["loads"], data["screw"], data["edges"]
    found = {name: loads.get(name) for name in LOADS}
    usual_loads, usual_screw = Loads(), Screw()
    torque, ceiling = screw.get("torque_nm"), data.get("load_ceiling_n")
    return JointDemand(
        loads=Loads(
            **{
                name: None if one is None else LoadRange(float(one["low_n"]), float(one["high_n"]))
                for name, one in found.items()
            },
            load_factor=float(loads.get("load_factor", usual_loads.load_factor)),
        ),
        screw=Screw(
            strength=str(screw.get("strength", "")),
            condition=str(screw.get("condition", usual_screw.condition)),
            torque_nm=None if torque is None else float(torque),
            proof_share=float(screw.get("proof_share", usual_screw.proof_share)),
            mating_thickness=_length(screw.get("mating_thickness")),
            clearance_hole=_length(screw.get("clearance_hole")),
            washer=_length(screw.get("washer")),
        ),
        edges=Edges(edge=_length(edges.get("edge")), pitch=_length(edges.get("pitch"))),
        load_ceiling_n=None if ceiling is None else float(ceiling),
    )


def demand_of(state: JobState) -> JointDemand | None:
    """What the job asks of its joint's strength; None when nothing was said of it."""
    return None if state.joint is None else demand_from_json(state.joint)


def allowance_to_json(allowance: Allowance | None) -> dict[str, Any] | None:
    return None if allowance is None else to_record(allowance)


def allowance_from_json(data: Data | None) -> Allowance | None:
    if data is None:
        return None
    doubt = data.get("sd_mm")
    return Allowance(
        Length.from_json(data["value"]), None if doubt is None else float(doubt), str(data.get("source", "typed"))
    )


def window_to_json(window: GivenWindow | None) -> dict[str, Any] | None:
    return None if window is None else to_record(window)


def window_from_json(data: Data | None) -> GivenWindow | None:
    if data is None:
        return None
    low, high = Length.from_json(data["stroke_min"]), Length.from_json(data["stroke_max"])
    source = data.get("source")
    return GivenWindow(low, high, "proven" if source == "proven" else "computed" if source == "computed" else "given")


def insert_of(state: JobState) -> Insert:
    """The job's insert. Raises Unsafe when none has been chosen."""
    if state.insert is None:
        raise Unsafe("No insert has been chosen.", where=state.id, hint="Choose one that fits the stack first.")
    return Insert.from_json(state.insert)


def tool_of(state: JobState) -> Tool | None:
    return None if state.tool is None else Tool.from_json(state.tool)


def stack_of(state: JobState) -> tuple[Stack, Batch | None]:
    """The job's stack. Raises Unsafe when it has not been described."""
    if state.stack is None:
        raise Unsafe("The stack has not been described.", where=state.id, hint="Give its layers, or measure it.")
    return stack_from_json(state.stack)


def set_length_limits_mm(state: JobState) -> tuple[float, float] | None:
    """Shortest and longest set length (mm) that serve every stack of the batch; None when there is no such window.

    Limits that were given at the working thickness are narrower here: the thinnest stack wants more stroke and the
    thickest allows less, and one knob serves both.
    """
    setting = state.setting or {}
    least, greatest = setting.get("batch_stroke_min_mm"), setting.get("batch_stroke_max_mm")
    if least is None or greatest is None:
        return None
    free_nm = insert_of(state).length_free.nanometres
    return (free_nm - round(greatest * NM_PER_MM)) / NM_PER_MM, (free_nm - round(least * NM_PER_MM)) / NM_PER_MM


def shift_key(insert: Insert, stack: Stack) -> str:
    """What the air-to-stack shift is kept under beside the tool: insert × stack, thickness to 0.1 mm."""
    nominal_nm = sum(layer.thickness.nanometres * layer.faces for layer in stack.layers)
    materials = "+".join(layer.material for layer in stack.layers if not layer.coating)
    return f"{insert.name} | {round(nominal_nm / NM_PER_MM, 1):.1f} mm {materials}"


def known_shift(tool: ToolState | None, insert: Insert, stack: Stack) -> AirToStack | None:
    """The shift that coupons have shown for this tool, insert and stack; None when none have."""
    found = None if tool is None else tool.shifts.get(shift_key(insert, stack))
    if found is None:
        return None
    return AirToStack(float(found["mean_mm"]), float(found["sd_mm"]), f"learned from {found['coupons']} coupon pull(s)")


def _length(data: Data | None) -> Length | None:
    return None if data is None else Length.from_json(data)

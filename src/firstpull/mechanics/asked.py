"""What a joint asks of every insert, prepared once for a choice among many."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from firstpull.errors import BadInput
from firstpull.mechanics.joint.checks import Case, prepare
from firstpull.mechanics.joint.demand import JointDemand, check_demand
from firstpull.mechanics.needs import Needs, check_needs
from firstpull.mechanics.request import Batch
from firstpull.mechanics.stack import Stack, thickness
from firstpull.units import NM_PER_MM, LengthUnit, show_length

# why an insert is out, in the order in which it is looked at: one that fails later is nearer
REASONS: tuple[str, ...] = (
    "thread", "end", "head", "body", "material", "grip", "room behind", "data", "temperature", "galvanic pair",
    "countersink", "pocket", "nose reach", "soft sheet", "torque", "tool", "strength",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Asked:
    """The joint: its thread's full name, thicknesses (expected, thinnest, thickest) and room behind in nm, the torque
    in N·m, the prepared strength case (``None`` without loads to reckon with), and the unit of lengths in texts."""

    needs: Needs
    thread: str
    value: int
    low: int
    high: int
    room: int | None
    unit: LengthUnit
    stack: Stack
    torque_nm: float | None
    case: Case | None
    load_ceiling_n: float | None

    def show(self, value_nm: int) -> str:
        """A length in nm as text with its unit."""
        return f"{plain_length(value_nm, self.unit)} {self.unit}"


def ask(
    stack: Stack, needs: Needs, *, unit: LengthUnit, demand: JointDemand | None, batch: Batch | None = None
) -> Asked:
    """Prepare the joint. With a ``batch`` its thinnest and thickest stack count, and the stack in hand with them, as for
    the setting. Raises BadInput for a stack, need, load or thread that cannot be right."""
    from firstpull.trade.threads import thread

    check_needs(needs)
    size = thickness(stack, unit=unit)
    value, low, high = (round(part * NM_PER_MM) for part in (size.value_mm, size.low_mm, size.high_mm))
    if batch is not None:
        low, high = min(batch.thin.nanometres, value), max(batch.thick.nanometres, value)
    found = thread(needs.thread, where="needs.thread")
    room, torque, case = needs.room_behind_mm, needs.tightening_torque_nm, None
    if demand is not None:
        check_demand(demand, thread=found)
        torque = demand.screw.torque_nm if demand.screw.torque_nm is not None else torque
        demand = replace(demand, screw=replace(demand.screw, torque_nm=torque))
        case = prepare(stack, demand, found, thickness_mm=size.value_mm, room_behind_mm=room, unit=unit)
    return Asked(
        needs=needs,
        thread=found.designation,
        value=value,
        low=low,
        high=high,
        room=None if room is None else round(room * NM_PER_MM),
        unit=unit,
        stack=stack,
        torque_nm=torque,
        case=case,
        load_ceiling_n=None if demand is None else demand.load_ceiling_n,
    )


@lru_cache(maxsize=1024)
def thread_name(name: str) -> str | None:
    """The full name of a thread as a catalogue writes it, or None when it is not held."""
    from firstpull.trade.threads import thread

    try:
        return thread(name).designation
    except BadInput:
        return None


def material_name(name: str) -> str:
    """The held material's main name, so that an alias is the same material; else the name itself."""
    from firstpull.trade.materials import insert_material

    held = insert_material(name)
    return name.casefold() if held is None else held.name


@lru_cache(maxsize=4096)
def plain_length(value_nm: int, unit: LengthUnit) -> str:
    """A length in nm as text. A catalogue repeats its sizes, and exact decimal rounding is the dearest part of a rejection."""
    return show_length(value_nm, unit)

"""What is asked of a joint: loads, the screw with the part that it holds, and distances to edge and neighbour."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from firstpull.errors import BadInput
from firstpull.mechanics import fields as field_readers
from firstpull.units import Length

if TYPE_CHECKING:
    from firstpull.trade.threads import Thread

USUAL_LOAD_FACTOR = 0.3


@dataclass(frozen=True, slots=True)
class LoadRange:
    """A load on one insert, from its lowest to its highest, in N. The limits stand two standard deviations out."""

    low_n: float
    high_n: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Loads:
    """Loads on one insert in N; ``None`` = not given.

    ``tension`` pulls the part that is screwed on away from the sheet, ``push`` presses the screw towards the blind
    side, ``shear`` acts across it. ``load_factor`` is the share of the tension that a tightened screw feels
    (0 to 1; 0.3 is an assumption for metal parts, 1 is the safe side).
    """

    tension: LoadRange | None = None
    shear: LoadRange | None = None
    push: LoadRange | None = None
    load_factor: float = USUAL_LOAD_FACTOR


@dataclass(frozen=True, slots=True, kw_only=True)
class Screw:
    """The screw and what lies between its head and the insert.

    ``strength`` is a property class (“8.8”, “grade 5”); empty = 8.8, or grade 5 for inch threads, as an assumption.
    ``torque_nm`` is what it is tightened with; ``None`` = find it. ``proof_share`` is the wanted preload as a share of
    the proof load. ``clearance_hole`` is the hole of the part that is screwed on.
    """

    strength: str = ""
    condition: str = "dry"
    torque_nm: float | None = None
    proof_share: float = 0.75
    mating_thickness: Length | None = None
    clearance_hole: Length | None = None
    washer: Length | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Edges:
    """From the insert's centre to the nearest edge of the sheet, and to the next insert's centre."""

    edge: Length | None = None
    pitch: Length | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class JointDemand:
    """All that is asked of the joint; ``load_ceiling_n`` is the pull that a soft sheet bears when the insert is set."""

    loads: Loads = field(default_factory=Loads)
    screw: Screw = field(default_factory=Screw)
    edges: Edges = field(default_factory=Edges)
    load_ceiling_n: float | None = None


def check_demand(demand: JointDemand, *, thread: Thread | None = None) -> None:
    """Raises BadInput naming the value that cannot be right; with the screw's ``thread`` also a hole that it does not
    go through."""
    from firstpull.trade.screws import nut_factor, property_class

    for name in ("tension", "shear", "push"):
        load: LoadRange | None = getattr(demand.loads, name)
        if load is not None:
            low = field_readers.positive(load.low_n, f"loads.{name}", zero=True)
            if low > field_readers.positive(load.high_n, f"loads.{name}", zero=True):
                raise BadInput("The lowest load is above the highest.", where=f"loads.{name}", hint="Swap them.")
    _share(demand.loads.load_factor, "loads.load_factor", zero=True)
    screw = demand.screw
    _goes_through(screw.clearance_hole, thread)
    if screw.strength:
        property_class(screw.strength, where="screw.class")
    nut_factor(screw.condition, where="screw.condition")
    if screw.torque_nm is not None:
        field_readers.positive(screw.torque_nm, "screw.torque")
    _share(screw.proof_share, "screw.proof_share", zero=False)
    for place, value in (
        ("screw.mating_thickness", screw.mating_thickness),
        ("screw.clearance_hole", screw.clearance_hole),
        ("edges.edge", demand.edges.edge),
        ("edges.pitch", demand.edges.pitch),
    ):
        if value is not None:
            field_readers.length(value, place)
    if screw.washer is not None:
        field_readers.length(screw.washer, "screw.washer", zero=True)
    if demand.load_ceiling_n is not None:
        field_readers.positive(demand.load_ceiling_n, "stack.load_ceiling")


def _goes_through(hole: Length | None, thread: Thread | None) -> None:
    if hole is None or thread is None or hole.mm >= thread.major_mm:
        return
    size = f"{thread.major_mm:g} mm" if thread.system == "metric" else f"{thread.major_mm / 25.4:.4f} in"
    raise BadInput(
        f"A hole of {hole.typed} does not let the {thread.designation} screw through.",
        where="screw.clearance_hole",
        hint=f"Give the hole of the part that is screwed on: more than {size}.",
    )


def _share(value: float, place: str, *, zero: bool) -> None:
    if field_readers.positive(value, place, zero=zero) > 1:
        raise BadInput(f"A share of {value:g} cannot be right.", where=place, hint="From 0 to 1, for example 0.75.")

"""The sections of a job file that say what the joint asks: needs, loads, screw, edges."""

from __future__ import annotations

from typing import Any, cast

from firstpull.errors import BadInput
from firstpull.exchange.job_fields import Section
from firstpull.exchange.texts import number_text
from firstpull.mechanics.insert import BODIES, ENDS, HEADS, Body, End, Head
from firstpull.mechanics.joint.demand import (
    USUAL_LOAD_FACTOR,
    Edges,
    JointDemand,
    LoadRange,
    Loads,
    Screw,
    check_demand,
)
from firstpull.mechanics.needs import Needs, check_needs
from firstpull.trade.galvanic import SURROUNDINGS
from firstpull.units import Length

NEEDS = (
    "thread", "end", "head", "body", "material", "room_behind", "sealed", "temperature", "surroundings", "dimple",
    "pocket_diameter", "pocket_depth",
)  # fmt: skip
LOADS = ("tension", "shear", "push", "load_factor")
SCREW = ("class", "condition", "torque", "proof_share", "mating_thickness", "clearance_hole", "washer")
EDGES = ("edge", "pitch")
_PLAIN = {
    "room_behind_mm": "room_behind",
    "pocket_diameter_mm": "pocket_diameter",
    "pocket_depth_mm": "pocket_depth",
}


def needs_of(section: Section) -> Needs:
    """[needs]. Raises BadInput naming the value."""
    needs = Needs(
        thread=section.required_text("thread", example="M6"),
        end=cast("End | None", section.choice("end", ENDS)),
        head=cast("Head | None", section.choice("head", HEADS)),
        body=cast("Body | None", section.choice("body", BODIES)),
        material=section.text("material") or None,
        room_behind_mm=section.length_mm("room_behind"),
        sealed=bool(section.yes_no("sealed")),
        temperature_c=section.temperature_c("temperature"),
        surroundings=section.choice("surroundings", SURROUNDINGS),
        dimple=bool(section.yes_no("dimple")),
        pocket_diameter_mm=section.length_mm("pocket_diameter"),
        pocket_depth_mm=section.length_mm("pocket_depth"),
    )
    try:
        check_needs(needs)
    except BadInput as error:
        head, _, name = error.where.rpartition(".")
        error.where = f"{head}.{_PLAIN.get(name, name)}"
        raise
    return needs


def joint_of(loads: Section | None, screw: Section | None, edges: Section | None) -> dict[str, Any]:
    """[loads], [screw] and [edges] as read, by name; ``None`` where not given. Raises BadInput naming the value."""
    found: dict[str, Any] = {
        "loads": None if loads is None else _loads(loads),
        "screw": None if screw is None else _screw(screw),
        "edges": None if edges is None else Edges(edge=edges.length("edge"), pitch=edges.length("pitch")),
    }
    check_demand(JointDemand(**{name: value for name, value in found.items() if value is not None}))
    return found


def _loads(section: Section) -> Loads:
    ranges = {name: section.force_range_n(name) for name in ("tension", "shear", "push")}
    factor = section.number("load_factor")
    return Loads(
        **{name: None if one is None else LoadRange(*one) for name, one in ranges.items()},
        load_factor=USUAL_LOAD_FACTOR if factor is None else factor,
    )


def _screw(section: Section) -> Screw:
    share = section.number("proof_share")
    return Screw(
        strength=section.text("class"),
        condition=section.text("condition", "dry"),
        torque_nm=section.torque_nm("torque"),
        proof_share=0.75 if share is None else share,
        mating_thickness=section.length("mating_thickness"),
        clearance_hole=section.length("clearance_hole"),
        washer=section.length("washer"),
    )


def needs_values(needs: Needs) -> dict[str, Any]:
    """[needs] as it is written."""
    hot = needs.temperature_c
    return {
        "thread": needs.thread,
        "end": needs.end,
        "head": needs.head,
        "body": needs.body,
        "material": needs.material,
        "room_behind": _mm(needs.room_behind_mm),
        "sealed": needs.sealed or None,
        "temperature": None if hot is None else f"{number_text(hot)} °C",
        "surroundings": needs.surroundings,
        "dimple": needs.dimple or None,
        "pocket_diameter": _mm(needs.pocket_diameter_mm),
        "pocket_depth": _mm(needs.pocket_depth_mm),
    }


def joint_values(loads: Loads | None, screw: Screw | None, edges: Edges | None) -> dict[str, dict[str, Any]]:
    """[loads], [screw] and [edges] as they are written."""
    found: dict[str, dict[str, Any]] = {}
    if loads is not None:
        found["loads"] = {name: _range(getattr(loads, name)) for name in ("tension", "shear", "push")}
        found["loads"]["load_factor"] = loads.load_factor
    if screw is not None:
        found["screw"] = {
            "class": screw.strength,
            "condition": screw.condition,
            "torque": None if screw.torque_nm is None else f"{number_text(screw.torque_nm)} Nm",
            "proof_share": screw.proof_share,
            "mating_thickness": screw.mating_thickness,
            "clearance_hole": screw.clearance_hole,
            "washer": screw.washer,
        }
    if edges is not None:
        found["edges"] = {"edge": edges.edge, "pitch": edges.pitch}
    return found


def _range(load: LoadRange | None) -> list[str] | None:
    return None if load is None else [f"{number_text(value)} N" for value in (load.low_n, load.high_n)]


def _mm(value_mm: float | None) -> Length | None:
    return None if value_mm is None else Length.from_mm(value_mm)

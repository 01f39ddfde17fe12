"""Mandrel and anvil: how far the mandrel goes in, and whether its threads hold the pull."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from firstpull.errors import BadInput
from firstpull.mechanics import fields as field_readers
from firstpull.mechanics.insert import Insert, check_insert
from firstpull.mechanics.steps import Step

if TYPE_CHECKING:
    from firstpull.trade.threads import Thread

BACK_OFF_TURNS = 1.5
FULL_THREADS_WANTED = 6.0
MARGIN_WANTED = 1.25
SHEAR_SHARE = 1 / math.sqrt(
    3
)  # von Mises: shear strength over tensile strength; an assumption, named wherever it is used


@dataclass(frozen=True, slots=True)
class MandrelPlan:
    """Threads engaged and the margins against the setting load; ``None`` where it is not known.

    ``strip_margin`` = strip load of the weaker thread / setting load; ``tension_margin`` = proof load of the
    mandrel / setting load. ``pull_limit_n`` is the highest pull that leaves 1.25 on both. ``weaker`` is the side
    that strips first, "insert" or "mandrel", or empty.
    """

    engaged_threads: float | None
    engagement_mm: float | None
    strip_margin: float | None
    tension_margin: float | None
    pull_limit_n: float | None
    weaker: str
    assumptions: tuple[str, ...]
    warnings: tuple[str, ...]
    steps: tuple[Step, ...]


def mandrel_plan(insert: Insert, *, setting_load_n: float | None, mandrel_class: str = "12.9") -> MandrelPlan:
    """Engagement, strip margin and the steps of fitting mandrel and anvil.

    Open end: all threads engaged, mandrel end at or just beyond the far end. Closed end: to the bottom, back off
    1½ turns, then anvil to the flange, locked (TM 10-5411-205-13, p 3-18). Strip load = strip area at minimum
    material (FED-STD-H28/2B, Appendix B) × shear strength, for the insert's thread and for the mandrel's; shear
    strength is 0.577 × tensile strength (von Mises) where no shear strength is known. Fewer than 6 full threads are
    warned of (Aircraft Engineering 23 (6), 1951). ``setting_load_n`` in N (> 0, or ``None`` when not known);
    ``mandrel_class`` is a property class of ISO 898-1. Raises BadInput.
    """
    from firstpull.trade.threads import thread as find_thread

    check_insert(insert)
    load = None if setting_load_n is None else field_readers.positive(setting_load_n, "setting_load_n")
    thread = find_thread(insert.thread, where="insert.thread")
    engagement = _engagement_mm(insert, thread)
    warnings: list[str] = []
    if engagement is None:
        warnings.append(
            "The insert's thread length is not known: count the engaged threads by hand, and strip margin is not checked."
        )
    strips: dict[str, float] = {}
    assumptions: list[str] = []
    if engagement:
        strips, assumptions = _strip_loads(insert, thread, engagement, mandrel_class)
    tension, class_assumption = _mandrel_proof_n(thread, mandrel_class)
    engaged = None if engagement is None else engagement / thread.pitch_mm
    if engaged is not None and engaged < FULL_THREADS_WANTED - 1e-9:
        warnings.append(
            f"Only {engaged:.1f} threads of the mandrel are engaged, and fewer than 6 full threads wear and strip: check the mandrel often and replace it early."
        )
    both = len(strips) == 2
    weaker = min(strips, key=lambda side: (strips[side], side)) if both else ""
    margin = strips[weaker] / load if both and load is not None else None
    _judge(insert, load, margin, tension, engagement, warnings)
    return MandrelPlan(
        engaged_threads=None if engaged is None else round(engaged, 3),
        engagement_mm=None if engagement is None else round(engagement, 6),
        strip_margin=None if margin is None else round(margin, 4),
        tension_margin=None if load is None else round(tension / load, 4),
        pull_limit_n=round(min(*strips.values(), tension) / MARGIN_WANTED, 1) if both else None,
        weaker=weaker,
        assumptions=(*assumptions, class_assumption),
        warnings=tuple(warnings),
        steps=_steps(insert, thread, engaged),
    )


def mandrel_stiffness_kn_per_mm(designation: str, *, length_mm: float, e_mpa: float = 206_000.0) -> float:
    """Stiffness of a mandrel as a bar of its tensile stress area: E · A_s / L, in kN/mm.

    ``length_mm`` is the stretched length (> 0), ``e_mpa`` the modulus of steel. Raises BadInput. Source: Hooke's law
    for a bar on the tensile stress area of ISO 898-1.
    """
    from firstpull.trade.threads import thread as find_thread

    length = field_readers.positive(length_mm, "length_mm")
    modulus = field_readers.positive(e_mpa, "e_mpa")
    if length < 1e-3:
        raise BadInput(f"A mandrel of {length:g} mm cannot be right.", where="length_mm", hint="In mm.")
    return modulus * find_thread(designation).stress_area_mm2 / length / 1000


def _engagement_mm(insert: Insert, thread: Thread) -> float | None:
    if insert.thread_length is None:
        return None
    lost = BACK_OFF_TURNS * thread.pitch_mm if insert.end == "closed" else 0.0
    return max(insert.thread_length.mm - lost, 0.0)


def _strip_loads(
    insert: Insert, thread: Thread, engagement: float, mandrel_class: str
) -> tuple[dict[str, float], list[str]]:
    """Strip load in N by side, and what was assumed. The insert's side is left out when its material is not known."""
    from firstpull.trade.materials import insert_material
    from firstpull.trade.screws import property_class
    from firstpull.trade.threads import strip_areas

    areas = strip_areas(thread, engagement)
    loads = {"mandrel": areas.external_area_mm2 * SHEAR_SHARE * property_class(mandrel_class).tensile_mpa}
    assumptions = ["Shear strength of the mandrel is taken as 0.577 of its tensile strength (von Mises)."]
    material = insert_material(insert.material) if insert.material else None
    if material is None:
        return loads, assumptions
    shear = material.shear_mpa
    if shear is None and material.tensile_mpa is not None:
        shear = SHEAR_SHARE * material.tensile_mpa
        assumptions.append("Shear strength of the insert is taken as 0.577 of its tensile strength (von Mises).")
    elif shear is not None:
        assumptions.append(f"Shear strength of the insert, {shear:g} MPa: {material.source}.")
    if shear is not None:
        loads["insert"] = areas.internal_area_mm2 * shear
    return loads, assumptions


def _mandrel_proof_n(thread: Thread, mandrel_class: str) -> tuple[float, str]:
    from firstpull.trade.screws import property_class

    found = property_class(mandrel_class)
    return thread.stress_area_mm2 * found.proof_mpa, f"The mandrel is taken as property class {mandrel_class}."


def _judge(
    insert: Insert,
    load: float | None,
    margin: float | None,
    tension: float,
    engagement: float | None,
    warnings: list[str],
) -> None:
    if load is None:
        warnings.append("The setting load is not known: the margins of threads and mandrel are not checked.")
        return
    if margin is None and engagement is not None:
        warnings.append(
            f"The strength of the insert's material{f' “{insert.material}”' if insert.material else ''} is not known: its strip margin is not checked."
        )
    if margin is not None and margin < MARGIN_WANTED:
        warnings.append(
            f"The engaged threads stand only {margin:.2f} times the setting load, and 1.25 is wanted: engage more threads, or use an insert with a longer thread."
        )
    if tension / load < MARGIN_WANTED:
        warnings.append(
            f"The mandrel's proof load is only {tension / load:.2f} times the setting load, and 1.25 is wanted: use a stronger mandrel, or an insert that sets at less load."
        )


def _steps(insert: Insert, thread: Thread, engaged: float | None) -> tuple[Step, ...]:
    name = thread.designation
    count = "" if engaged is None else f" {engaged:.1f} threads are then engaged."
    fit = Step(
        "mandrel",
        "Mandrel and anvil",
        f"Fit the {name} mandrel and the {name} anvil. The mandrel is straight, passes the thread ring gauge and is within its cycle limit.",
    )
    if insert.end == "open":
        engage = Step(
            "engagement",
            "Engage all threads",
            f"Spin an insert on until the mandrel's end is at, or just beyond, the insert's far end.{count}",
        )
        anvil = Step(
            "anvil",
            "Anvil to the flange",
            "Bring the anvil up to the flange, without a gap and without load, and lock it.",
        )
    else:
        engage = Step(
            "engagement",
            "To the bottom, then back",
            f"Wipe mandrel and insert: no oil may be trapped. Spin the insert on until the mandrel touches the bottom, then back off 1½ turns.{count}",
        )
        anvil = Step(
            "anvil",
            "Anvil to the flange",
            "Only now bring the anvil up to the flange, without a gap and without load, and lock it. Spin the insert on by hand: the flange must meet the anvil before the mandrel meets the bottom.",
        )
    return fit, engage, anvil

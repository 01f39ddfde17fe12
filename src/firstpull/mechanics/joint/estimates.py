"""Capacities by closed form: what a set insert and its sheet bear where nobody has tested it.

All of it is elementary shear and bearing on areas that are themselves estimated, so each result carries a relative
standard deviation of 0.2 (turning torque 0.3), which is a judgement. A tested value always wins. Loads in N, lengths
in mm, stresses in MPa.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from firstpull.errors import BadInput

ESTIMATE_SD = 0.20
TURNING_SD = 0.30
BEARING_SHARE = 1.5
RESIDUAL_SHARE = 0.3
FRICTION = 0.2
BLIND_HEAD_MOST = 1.5
BLIND_HEAD_UNKNOWN = 1.3
THICK_WALL = 1.9
THIN_WALL_LEAST = 0.5


@dataclass(frozen=True, slots=True)
class SheetLayer:
    """One load-bearing layer at its least thickness; strengths are ``None`` where they are not known."""

    material: str
    least_mm: float
    yield_mpa: float | None
    tensile_mpa: float | None
    shear_mpa: float | None
    source: str


@dataclass(frozen=True, slots=True)
class SetShape:
    """The set insert, mm: hole, blind head, flange and its thickness, wall and outside of the tube; its strength.

    ``sunk_mm`` is how deep a countersunk head sits in the sheet, 0 for any other.
    """

    hole_mm: float
    blind_head_mm: float
    flange_mm: float
    flange_thickness_mm: float | None
    wall_mm: float
    body_mm: float
    tensile_mpa: float
    shear_mpa: float
    sunk_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Capacity:
    """A capacity and which of its ways to fail is the weakest."""

    value: float
    weakest: str


def bearing_load_n(tensile_mpa: float, *, thickness_mm: float, diameter_mm: float) -> float:
    """The load across a hole at which the sheet fails in bearing: P = 1.5 · R_m · t · D.

    The bearing stress is P / (t · D). Source: elementary mechanics; inputs in MPa and mm, load in N. 1.5 R_m at an
    edge distance of 2 D or more is an assumption on the safe side of the ultimate bearing strengths printed for sheet;
    the hole grows oval before. All inputs over 0. Raises BadInput.
    """
    _positive(tensile_mpa, thickness_mm, diameter_mm)
    return BEARING_SHARE * tensile_mpa * thickness_mm * diameter_mm


def bearing_stress_mpa(load_n: float, *, thickness_mm: float, diameter_mm: float) -> float:
    """The bearing stress P / (t · D), MPa, of ``load_n`` (N, 0 or more) on a hole. Source: elementary mechanics.

    Raises BadInput.
    """
    _positive(thickness_mm, diameter_mm)
    if not 0 <= load_n < math.inf:
        raise BadInput(f"A load of {load_n} N cannot be used.")
    return load_n / (thickness_mm * diameter_mm)


def blind_head_mm(body_mm: float, allowance_mm: float | None) -> float:
    """The blind head's diameter, mm: body + set allowance, at most 1.5 × body; 1.3 × body without an allowance.

    A fold whose two walls take up the allowance stands out by half of it on each side. Source: geometry; an estimate.
    """
    if allowance_mm is None:
        return BLIND_HEAD_UNKNOWN * body_mm
    return min(body_mm + allowance_mm, BLIND_HEAD_MOST * body_mm)


def pull_out_n(shape: SetShape, layers: Sequence[SheetLayer]) -> Capacity | None:
    """The tension at which the insert is pulled out towards its head, N; ``None`` where the strength of
    the sheet under the blind head is not known.

    The least of: sheet sheared round the blind head, π D_b Σ t τ; sheet crushed under it, R_m π/4 (D_b² − D_h²);
    blind head sheared at the hole, π D_h 2w τ_i (a fold is two walls thick). Source: elementary shear and bearing.
    """
    ways = _sheet_ways(layers, ring_mm=shape.blind_head_mm, hole_mm=shape.hole_mm, last=True)
    if not ways:
        return None
    ways["the blind head shears"] = math.pi * shape.hole_mm * 2 * shape.wall_mm * shape.shear_mpa
    return _least(ways)


def push_out_n(shape: SetShape, layers: Sequence[SheetLayer]) -> Capacity | None:
    """The load at which the insert is pushed out towards the blind side, N; ``None`` when flange or sheet is not known.

    The least of: sheet sheared round the flange, sheet crushed under it, flange sheared at the hole, π D_h t_f τ_i.
    Under a countersunk head of height h the sheet shears half way down the cone: π (D_h + D_f) / 2 · (Σ t τ − h/2 τ_1).
    Source: elementary shear and bearing.
    """
    ways = _sheet_ways(layers, ring_mm=shape.flange_mm, hole_mm=shape.hole_mm, last=False)
    if not ways or shape.flange_thickness_mm is None:
        return None
    if shape.sunk_mm > 0:
        gone = min(shape.sunk_mm / 2, layers[0].least_mm) * (layers[0].shear_mpa or 0.0)
        left = ways["the sheet shears"] / (math.pi * shape.flange_mm) - gone
        ways["the sheet shears"] = math.pi * (shape.hole_mm + shape.flange_mm) / 2 * left
    ways["the flange shears"] = math.pi * shape.hole_mm * shape.flange_thickness_mm * shape.shear_mpa
    return _least(ways)


def tube_shear_n(shape: SetShape) -> float:
    """The load across the joint at which the insert's tube shears: π (D − w) w τ_i, N; D its outside, w its wall in mm.

    The ring's whole area at the mean shear stress; bending and the screw inside are left out. Source: elementary shear.
    """
    return math.pi * (shape.body_mm - shape.wall_mm) * shape.wall_mm * shape.shear_mpa


def thin_wall_share(outside_mm: float, major_mm: float) -> float:
    """The share (0.5 to 1, no unit) of the strip load that is left where the wall round the thread gives way.

    C1 = 3.8 x − x² − 2.61 with x = outside / major diameter below 1.9, else 1 (both mm): a loaded thin nut grows and
    the flanks slide apart. Printed for hexagon nuts with 1.4 ≤ x; used here for round tubes and below 1.4 as well, an
    assumption. Source: E. M. Alexander, SAE 770420; VDI 2230 part 1; from memory. Raises BadInput unless both are
    over 0.
    """
    _positive(outside_mm, major_mm)
    x = outside_mm / major_mm
    return 1.0 if x >= THICK_WALL else max(3.8 * x - x * x - 2.61, THIN_WALL_LEAST)


def torque_to_turn_nm(
    shape: SetShape, *, setting_load_n: float | None, preload_n: float, hexagon_mm: float | None, sheet: SheetLayer
) -> float:
    """The torque at which the insert turns while the screw is tightened, N·m.

    T = µ (0.3 F_set + F_V) (r_f + r_b), µ = 0.2: friction under flange and blind head at the middle of their rings,
    with 0.3 of the setting load left as clamp and the screw's preload F_V on top, as the blind head is pulled against
    the sheet. A hexagon adds R_e t s² / 4 (each flat presses on half its length, growing to the corner). A knurl adds
    nothing here. µ, 0.3 and the geometry are assumptions. Source: Coulomb friction on rings; loads in N, lengths in mm.
    """
    clamp_n = RESIDUAL_SHARE * (setting_load_n or 0.0) + preload_n
    arms_mm = (shape.hole_mm + shape.flange_mm) / 4 + (shape.hole_mm + shape.blind_head_mm) / 4
    torque_nmm = FRICTION * clamp_n * arms_mm
    if hexagon_mm is not None and sheet.yield_mpa is not None:
        torque_nmm += sheet.yield_mpa * sheet.least_mm * hexagon_mm**2 / 4
    return torque_nmm / 1000


def _sheet_ways(layers: Sequence[SheetLayer], *, ring_mm: float, hole_mm: float, last: bool) -> dict[str, float]:
    shear = sum(layer.least_mm * layer.shear_mpa for layer in layers if layer.shear_mpa is not None)
    if shear == 0:
        return {}
    bearing = layers[-1 if last else 0].tensile_mpa
    if bearing is None:
        # what the ring lies on may be crushed long before the rest shears
        return {}
    crushed = bearing * math.pi / 4 * (ring_mm**2 - hole_mm**2)
    return {"the sheet shears": math.pi * ring_mm * shear, "the sheet is crushed": crushed}


def _least(ways: dict[str, float]) -> Capacity:
    name = min(ways, key=lambda way: (ways[way], way))
    return Capacity(ways[name], name)


def _positive(*values: float) -> None:
    if not all(0 < value < math.inf for value in values):
        raise BadInput("Strength, thickness and diameter must be over zero.")

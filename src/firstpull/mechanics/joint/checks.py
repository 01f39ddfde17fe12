"""The table of strength checks of one insert in one joint."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

from firstpull.mechanics.check import Check
from firstpull.mechanics.joint import estimates
from firstpull.mechanics.joint.demand import JointDemand, LoadRange
from firstpull.mechanics.joint.estimates import ESTIMATE_SD, TURNING_SD, SetShape, SheetLayer
from firstpull.mechanics.joint.hole import Hole, hole_for
from firstpull.mechanics.joint.screw import ScrewLength, screw_length
from firstpull.mechanics.joint.spread import NOTHING, Spread, between, chance, from_least
from firstpull.mechanics.joint.tightening import SEATING_MARGIN, ScrewData, Tightening, screw_data, tightening
from firstpull.units import NM_PER_MM, Length, LengthUnit, show_mm

if TYPE_CHECKING:
    from firstpull.mechanics.insert import Insert
    from firstpull.mechanics.stack import Stack
    from firstpull.trade.materials import Material
    from firstpull.trade.threads import StripAreas, Thread

ROUNDING = 1e-9
METAL_SD = 0.06
TESTED_SD = 0.05
BARE_FRICTION = 0.2
COATED_FRICTION = 0.1
TENSION_REACH = 1.26
EDGE_DIAMETERS = 2.0
PITCH_DIAMETERS = 3.0


@dataclass(frozen=True, slots=True)
class Row:
    """A check with the smallest change that would cure it, and by how much it misses as a share of the offer."""

    check: Check
    cure: str


@dataclass(frozen=True, slots=True)
class Strength:
    """All that the joint asks about one insert: rows of checks, tightening, hole and screw."""

    rows: tuple[Row, ...]
    tightening: Tightening
    hole: Hole | None
    screw: ScrewLength


@dataclass(frozen=True, slots=True)
class Case:
    """What every insert of one choice shares, prepared once."""

    stack: Stack
    demand: JointDemand
    data: ScrewData
    layers: tuple[SheetLayer, ...]
    thickness_mm: float
    room_behind_mm: float | None
    unit: LengthUnit
    tension: Spread
    shear: Spread
    push: Spread
    friction: float


def prepare(
    stack: Stack,
    demand: JointDemand,
    thread: Thread,
    *,
    thickness_mm: float,
    room_behind_mm: float | None,
    unit: LengthUnit,
) -> Case:
    """Prepare the joint. Raises BadInput for a screw class or a state of the threads that is not held."""
    loads = demand.loads
    return Case(
        stack,
        demand,
        screw_data(thread, demand),
        _layers(stack),
        thickness_mm,
        room_behind_mm,
        unit,
        _spread(loads.tension),
        _spread(loads.shear),
        _spread(loads.push),
        COATED_FRICTION if any(layer.coating for layer in stack.layers) else BARE_FRICTION,
    )


def strength_of(insert: Insert, case: Case) -> Strength:
    """Every strength check of ``insert``, in the order of the table."""
    from firstpull.trade.materials import insert_material

    thread = case.data.thread
    material = insert_material(insert.material) if insert.material else None
    screw = screw_length(
        insert,
        thread,
        case.demand.screw,
        thickness_mm=case.thickness_mm,
        room_behind_mm=case.room_behind_mm,
        unit=case.unit,
    )
    strips = _strips(insert, material, screw, case)
    weaker = min((spread.low for spread in strips.loads.values()), default=None)
    torque = tightening(insert, case.data, case.demand, strip_n=weaker)
    preload = case.data.preload(torque.torque_nm)
    shape = _shape(insert, material, thread)
    rows = [
        *_screw_rows(case, torque, preload),
        *_shear_rows(case, preload),
        *_strip_rows(case, preload, strips),
        *_set_rows(insert, case, torque, preload, shape),
        *_sheet_rows(insert, case, shape),
        *_place_rows(insert, case),
    ]
    if not screw.ok:
        check = Check("screw length", "not met", "usual lengths", None, "", False, screw.text, screw.source)
        rows.append(Row(check, "Change the thickness of washer or part, or cut a screw to length."))
    turns = next((row.check for row in rows if row.check.name == "torque-to-turn"), None)
    short = turns is not None and turns.margin is not None and turns.margin < 0
    calm_nm = _calm_nm(insert, case, shape) if short else None
    if calm_nm is not None and calm_nm < (torque.low_nm or 0.0):
        calm_nm = None  # it would not keep the parts together
    hole = hole_for(insert, case.stack, turns=short, calm_nm=calm_nm, unit=case.unit)
    return Strength(tuple(rows), torque, hole, screw)


def compare(
    name: str,
    demand: Spread,
    offer: Spread,
    *,
    unit: str,
    text: str,
    source: str,
    estimate: bool = False,
    assumptions: tuple[str, ...] = (),
    highest: float | None = None,
) -> Check:
    """A row from two spreads. An estimate fails on its expected value, anything else on its worst case.

    margin = (lowest offer − highest demand) / lowest offer; expected margin the same with the means; the chance is
    Φ of the difference of the means over its standard deviation. ``highest`` is the highest demand where it is a sum
    of several, each at its own highest; else the spread's. All in ``unit``. Source: stress–strength interference of
    two normals, by definition.
    """
    most = demand.high if highest is None else highest
    worst = (offer.low - most) / offer.low if offer.low > 0 else -1.0
    expected = (offer.mean - demand.mean) / offer.mean if offer.mean > 0 else -1.0
    ok = (expected if estimate else worst) >= -ROUNDING
    if estimate:
        text += " An estimate" + (": its worst case falls short, so test it." if worst < 0 <= expected else ".")
    return Check(
        name,
        round(most, 6),
        round(offer.low, 6),
        round(worst, 6),
        unit,
        ok,
        text,
        source,
        estimate,
        round(expected, 6),
        round(chance(offer, demand), 6),
        assumptions,
    )


def _screw_rows(case: Case, torque: Tightening, preload: Spread) -> list[Row]:
    data, share = case.data, case.demand.loads.load_factor
    source, assumed = data.strength.source, _class_assumption(case)
    scatter = (f"nut factor {data.factor.factor:g} ± {100 * data.factor.scatter:.0f} %",)
    factor = (f"load factor {share:g}",) if case.tension.high else ()
    proof, tensile = (from_least(value, METAL_SD) for value in (data.proof_n, data.tensile_n))
    pull, most = _screw_pull(case, preload)
    text = f"Tightened with {torque.torque_nm:.3g} N·m the class {data.strength.name} screw feels up to {most / 1000:.2f} of {proof.low / 1000:.2f} kN of proof load."
    words = (*assumed, *scatter, *factor)
    check = compare("screw proof", pull, proof, unit="N", text=text, source=source, assumptions=words, highest=most)
    if not torque.given and check.ok:
        # As with the seated fold: the torque was found to pass, so the margin is the same small one for every insert.
        check = replace(check, margin=None)
    spare = (data.proof_n - share * case.tension.high) / (1 + data.factor.scatter)
    cure = "Take a stronger screw class, or share the load over more inserts."
    if spare > 0:
        cure = f"Tighten with {data.torque_nm(spare):.3g} N·m or less, or take a stronger screw class."
    proved = Row(check, cure)
    rows = [proved]
    if case.tension.high > 0:
        text = f"Tension of up to {case.tension.high / 1000:.2f} kN against {tensile.low / 1000:.2f} kN of tensile strength."
        check = compare("screw tension", case.tension, tensile, unit="N", text=text, source=source, assumptions=assumed)
        # what no torque can mend comes first: it is the reason that is told
        rows = [Row(check, "Take a stronger screw class, or share the load over more inserts."), proved]
        rows.append(_clamp_row(case, torque, preload, (*scatter, *factor)))
    return rows


def _clamp_row(case: Case, torque: Tightening, preload: Spread, words: tuple[str, ...]) -> Row:
    apart = case.tension.times(1 - case.demand.loads.load_factor)
    low = torque.low_nm or 0.0
    text = f"The screw clamps with at least {preload.low / 1000:.2f} kN, and {apart.high / 1000:.2f} kN would part the joint."
    cure = f"Tighten with {low:.3g} N·m or more."
    if low > torque.high_nm:
        text += f" No torque serves: it takes {low:.3g} N·m or more, and {torque.limited_by} allows {torque.high_nm:.3g} at most."
        cure = f"Lower the tension, share it over more inserts, or take what bears {low:.3g} N·m."
    return Row(
        compare("clamp", apart, preload, unit="N", text=text, source=torque.source, assumptions=words),
        cure,
    )


def _screw_pull(case: Case, preload: Spread) -> tuple[Spread, float]:
    """What a tightened screw feels, F_V + Φ_n F_A, and its highest: both parts at their highest together."""
    share = case.demand.loads.load_factor
    return preload.plus(case.tension.times(share)), preload.high + share * case.tension.high


def _shear_rows(case: Case, preload: Spread) -> list[Row]:
    """The screw in shear, in shear with tension, and whether friction holds; nothing without shear."""
    if case.shear.high == 0:
        return []
    data, shear, tension = case.data, case.shear, case.tension
    share, source = data.strength.shear_share, f"EN 1993-1-8 table 3.4; {data.strength.source}"
    offer = from_least(share * data.tensile_n, METAL_SD)
    words = (*_class_assumption(case), f"shear strength {share:g} × tensile, thread in the shear plane", "no partial factor")  # fmt: skip
    cure = "Take a stronger screw class, or share the load over more inserts."
    text = f"Shear of up to {shear.high / 1000:.2f} kN against {offer.low / 1000:.2f} kN in the screw's thread."
    check = compare("screw shear", shear, offer, unit="N", text=text, source=source, assumptions=words)
    rows = [Row(check, cure)]
    if tension.high > 0:
        weight = share / TENSION_REACH
        both, most = shear.plus(tension.times(weight)), shear.high + weight * tension.high
        text = f"Shear and tension together count as {most / 1000:.2f} kN of shear, of {offer.low / 1000:.2f} kN."
        words = (*words, "F_v / F_v,R + F_t / (1.4 · 0.9 R_m A_s) ≤ 1; preload does not count")
        check = compare("screw shear with tension", both, offer, unit="N", text=text, source=source, assumptions=words, highest=most)  # fmt: skip
        rows.append(Row(check, cure))
    rows.append(_slip_row(case, preload))
    return rows


def _slip_row(case: Case, preload: Spread) -> Row:
    """Whether friction under the part holds the shear. A joint that slips is no broken one: the screw then bears it."""
    apart = (1 - case.demand.loads.load_factor) * case.tension.high
    holds = case.friction * max(preload.low - apart, 0.0)
    text = f"Friction holds {holds / 1000:.2f} kN of the {case.shear.high / 1000:.2f} kN of shear at least"
    text += ": it does not slip." if holds >= case.shear.high else ": it may slip, then the screw bears it in shear."
    source = "Coulomb friction; values as NASA-STD-5020, from memory"
    words = (f"friction {case.friction:g} under the part, {'coated' if case.friction < BARE_FRICTION else 'bare and clean'}",)  # fmt: skip
    return Row(
        Check("slip", round(case.shear.high, 6), round(holds, 6), None, "N", True, text, source, assumptions=words), ""
    )


def _strip_rows(case: Case, preload: Spread, strips: _Strips) -> list[Row]:
    share = case.demand.loads.load_factor
    pull, most = _screw_pull(case, preload)
    if case.tension.high > most:
        pull, most = case.tension, case.tension.high
    rows = []
    for side in ("screw", "insert"):
        name, offer = f"thread strip, {side}", strips.loads.get(side)
        if offer is None:
            text = f"The {side}'s thread is not checked: the insert's thread length or material is not known."
            rows.append(Row(Check(name, round(most, 6), "not known", None, "N", True, text), ""))
            continue
        text = f"Up to {most / 1000:.2f} kN on the {side}'s thread, which strips at {offer.low / 1000:.2f} kN."
        words: tuple[str, ...] = (
            ("shear strength 0.577 × tensile (von Mises)",) if side == "screw" else ("shear strength of the table",)
        )
        if strips.wall_share < 1:
            words += (f"thin wall gives way: × {strips.wall_share:.2f}, from memory",)
        source = "FED-STD-H28/2B appendix B; ASME B1.1 appendix B"
        check = compare(name, pull, offer, unit="N", text=text, source=source, assumptions=words, highest=most)
        spare = case.data.torque_nm((offer.low - share * case.tension.high) / (1 + case.data.factor.scatter))
        cure = "Take an insert with a longer or stronger thread."
        if spare > 0 and case.tension.high <= offer.low:
            cure = f"Tighten with {spare:.3g} N·m or less, or take an insert with a longer thread."
        rows.append(Row(check, cure))
    return rows


@dataclass(frozen=True, slots=True)
class _Strips:
    """The strip load in N of each side at the thread in mesh, and the share that a thin wall leaves of it."""

    loads: dict[str, Spread]
    wall_share: float


def _strips(insert: Insert, material: Material | None, screw: ScrewLength, case: Case) -> _Strips:
    outside = insert.hole_diameter if insert.body_diameter is None else insert.body_diameter
    wall = 1.0 if outside is None else estimates.thin_wall_share(outside.mm, case.data.thread.major_mm)
    if insert.thread_length is None:
        return _Strips({}, wall)
    engaged = insert.thread_length.mm if screw.engaged_mm is None else screw.engaged_mm
    if engaged <= 0:
        return _Strips({}, wall)
    areas = _areas(case.data.thread, engaged)
    screw_mpa = case.data.strength.tensile_mpa / math.sqrt(3)
    loads = {"screw": from_least(wall * areas.external_area_mm2 * screw_mpa, METAL_SD)}
    if material is not None and material.shear_mpa is not None:
        loads["insert"] = from_least(wall * areas.internal_area_mm2 * material.shear_mpa, METAL_SD)
    return _Strips(loads, wall)


@lru_cache(maxsize=512)
def _areas(thread: Thread, engaged_mm: float) -> StripAreas:
    from firstpull.trade.threads import strip_areas

    return strip_areas(thread, engaged_mm)


def _set_rows(insert: Insert, case: Case, torque: Tightening, preload: Spread, shape: SetShape | None) -> list[Row]:
    rows = []
    if insert.setting_load_n is not None:
        felt, most = _screw_pull(case, preload)
        with_load = " with its share of the tension" if case.tension.high else ""
        text = f"Tightening{with_load} pulls with up to {most / 1000:.2f} kN; a fold set with {insert.setting_load_n / 1000:.2f} kN stays put below 1/1.1 of it."
        check = compare("seated fold", felt.times(SEATING_MARGIN), Spread(insert.setting_load_n, 0.0), unit="N", text=text, source="common practice", estimate=True, assumptions=("setting load / 1.1",), highest=SEATING_MARGIN * most)  # fmt: skip
        if not torque.given:
            # A torque that is found here is found to pass this check: its margin says nothing about the insert.
            check = replace(check, margin=None)
        spare = insert.setting_load_n / SEATING_MARGIN - case.demand.loads.load_factor * case.tension.high
        cure = "Lower the tension, or share it over more inserts."
        if spare > 0:
            cure = f"Tighten with {case.data.torque_nm(spare / (1 + case.data.factor.scatter)):.3g} N·m or less."
        rows.append(Row(check, cure))
    pull = None if shape is None else estimates.pull_out_n(shape, case.layers)
    push = None if shape is None else estimates.push_out_n(shape, case.layers)
    cure = "Lower the load, put a backing washer under the blind head, or share the load over more inserts."
    lack = _lack(case, shape)
    rows.append(_load_row("pull-out", case.tension, insert.pull_out_n, pull, cure=cure, lack=lack))
    cure = "Lower the load, or take a wider flange."
    rows.append(_load_row("push-out", case.push, insert.push_out_n, push, cure=cure, lack=lack))
    rows.append(_turn_row(insert, case, torque, preload, shape))
    return rows


def _lack(case: Case, shape: SetShape | None) -> str:
    """What keeps pull-out and push-out from being estimated, and what would help."""
    if shape is None:
        return "the insert's hole, flange, body or material is not known"
    unknown = next((layer.material for layer in case.layers if layer.tensile_mpa is None), None)
    if unknown is not None:
        return f"the strength of “{unknown}” is not known: name its grade, such as DC01 or EN AW-5754"
    return "not enough is known to estimate it"


def _load_row(
    name: str, load: Spread, tested_n: float | None, guess: estimates.Capacity | None, *, cure: str, lack: str
) -> Row:
    words: tuple[str, ...] = ()
    if tested_n is not None:
        offer, source, estimate = from_least(tested_n, TESTED_SD), "tested: catalogue", False
        what = "tested"
    elif guess is not None:
        offer = Spread(guess.value, ESTIMATE_SD * guess.value)
        source, estimate, what = "closed form, elementary shear and bearing", True, guess.weakest
        words = ("blind head as body + set allowance", "relative standard deviation 0.2")
    else:
        text = f"{name.capitalize()} is not checked: no tested value, and {lack}."
        asked = round(load.high, 6) if load.high else "not given"
        return Row(Check(name, asked, "not known", None, "N", True, text), "")
    if load.high == 0:
        text = f"No load is given; it bears {offer.low / 1000:.2f} kN at least ({what})."
        return Row(
            Check(name, "not given", round(offer.low, 6), None, "N", True, text, source, estimate, None, None, words),
            "",
        )
    text = f"Up to {load.high / 1000:.2f} kN against {offer.low / 1000:.2f} kN ({what})."
    check = compare(name, load, offer, unit="N", text=text, source=source, estimate=estimate, assumptions=words)
    return Row(check, cure)


def _turn_row(insert: Insert, case: Case, torque: Tightening, preload: Spread, shape: SetShape | None) -> Row:
    demand, name = Spread(torque.torque_nm, 0.0), "torque-to-turn"
    if insert.torque_to_turn_nm is not None:
        offer = from_least(insert.torque_to_turn_nm, TESTED_SD)
        text = (
            f"Tightened with {torque.torque_nm:.3g} N·m; tested, it turns at {insert.torque_to_turn_nm:g} N·m or more."
        )
        check = compare(name, demand, offer, unit="N·m", text=text, source="tested: catalogue")
        return Row(check, f"Tighten with {insert.torque_to_turn_nm:g} N·m or less, or take a hexagonal body.")
    if shape is None or not case.layers:
        text = "Torque-to-turn is not checked: no tested value, and not enough is known to estimate it."
        return Row(Check(name, torque.torque_nm, "not known", None, "N·m", True, text), "")
    mean = _turning_nm(insert, case, shape, preload_n=preload.mean)
    offer = Spread(mean, TURNING_SD * mean)
    text = f"Tightened with {torque.torque_nm:.3g} N·m; by friction it turns at about {mean:.3g} N·m."
    words = ("friction 0.2 under flange and blind head", "0.3 of the setting load left as clamp", "the part bears on the flange", "relative standard deviation 0.3")  # fmt: skip
    check = compare(
        name, demand, offer, unit="N·m", text=text, source="closed form, friction", estimate=True, assumptions=words
    )
    return Row(check, "Tighten less, notch the hole, or take a hexagonal body.")


def _turning_nm(insert: Insert, case: Case, shape: SetShape, *, preload_n: float) -> float:
    across = insert.hole_diameter.mm if insert.body == "hexagonal" and insert.hole_diameter is not None else None
    return estimates.torque_to_turn_nm(
        shape,
        setting_load_n=insert.setting_load_n,
        preload_n=preload_n,
        hexagon_mm=across,
        sheet=case.layers[-1],
    )


def _calm_nm(insert: Insert, case: Case, shape: SetShape | None) -> float | None:
    """The torque up to which the estimate of the turning torque holds at its worst too, N·m; ``None`` when there is none.

    The clamp of the screw holds the insert as well, so the turning torque grows with the torque T, as a + b T; at its
    worst it is (1 − 2 · 0.3) of that.
    """
    if insert.torque_to_turn_nm is not None or shape is None or not case.layers:
        return None
    share = 1 - 2 * TURNING_SD
    fixed = share * _turning_nm(insert, case, shape, preload_n=0.0)
    slope = share * _turning_nm(insert, case, shape, preload_n=case.data.preload(1.0).mean) - fixed
    return fixed / (1 - slope) if fixed > 0 and slope < 1 else None


def _sheet_rows(insert: Insert, case: Case, shape: SetShape | None) -> list[Row]:
    if case.shear.high == 0:
        return []
    return [_tube_row(case, shape), _bearing_row(insert, case)]


def _tube_row(case: Case, shape: SetShape | None) -> Row:
    """The insert's tube sheared off behind the sheet's face."""
    name = "insert shear"
    if shape is None:
        text = "The insert in shear is not checked: its body, hole or material is not known."
        return Row(Check(name, round(case.shear.high, 6), "not known", None, "N", True, text), "")
    mean = estimates.tube_shear_n(shape)
    offer = Spread(mean, ESTIMATE_SD * mean)
    text = f"Shear of up to {case.shear.high / 1000:.2f} kN; its tube shears at about {mean / 1000:.2f} kN."
    words = ("the tube alone bears it, without bending", "relative standard deviation 0.2")
    source = "closed form, elementary shear"
    check = compare(name, case.shear, offer, unit="N", text=text, source=source, estimate=True, assumptions=words)
    return Row(check, "Take an insert of stronger material or a larger thread, or share the load over more inserts.")


def _bearing_row(insert: Insert, case: Case) -> Row:
    hole = insert.hole_diameter
    known = [layer for layer in case.layers if layer.tensile_mpa is not None]
    if hole is None or not known:
        text = "Sheet bearing is not checked: the hole or the sheet's strength is not known."
        return Row(Check("sheet bearing", round(case.shear.high, 6), "not known", None, "N", True, text), "")
    least = sum(
        estimates.bearing_load_n(layer.tensile_mpa or 0.0, thickness_mm=layer.least_mm, diameter_mm=hole.mm)
        for layer in known
    )
    offer = from_least(least, METAL_SD)
    text = f"Shear of up to {case.shear.high / 1000:.2f} kN; the hole's edge bears {offer.low / 1000:.2f} kN."
    source = "P = σ t D, elementary; " + known[0].source
    words = ("bearing strength 1.5 × tensile at 2 D of edge", "all layers share the load")
    check = compare("sheet bearing", case.shear, offer, unit="N", text=text, source=source, assumptions=words)
    return Row(check, "Take thicker sheet or a larger insert, or share the load over more inserts.")


def _place_rows(insert: Insert, case: Case) -> list[Row]:
    rows, edges, clear = [], case.demand.edges, case.demand.screw.clearance_hole
    hole, flange = insert.hole_diameter, insert.flange_diameter
    source = "AC 43.13-1B, solid rivets"
    for name, share, has in (("edge distance", EDGE_DIAMETERS, edges.edge), ("pitch", PITCH_DIAMETERS, edges.pitch)):
        if has is None or hole is None:
            continue
        wants = share * hole.nanometres
        what = (
            f"{name.capitalize()} {_show(has.nanometres, case)} against {share:g} hole diameters, {_show(wants, case)}."
        )
        check = _length_check(name, wants, has.nanometres, what, source, (f"the hole's diameter counts as D of {share:g} D",))  # fmt: skip
        rows.append(
            Row(check, f"Move it {_show(wants - has.nanometres, case)} further away, or take a smaller insert.")
        )
    if clear is not None and flange is not None:
        over = clear.nanometres - flange.nanometres
        text = f"The part's hole, {_show(clear.nanometres, case)}, against the flange, {_show(flange.nanometres, case)}: the part must bear on the flange, else the screw jacks the insert out."
        check = _length_check("jack-out", clear.nanometres, flange.nanometres, text, "geometry", ())
        # A hole as wide as the flange bears on nothing.
        check = check if over != 0 else replace(check, ok=False)
        rows.append(Row(check, f"Make the part's hole more than {_show(over, case)} smaller, or put a washer between."))
    elif flange is not None:
        rows += _usual_jack_out(flange, case)
    return rows


def _usual_jack_out(flange: Length, case: Case) -> list[Row]:
    """What a usual clearance hole would mean where the part's hole is not given: said, not judged."""
    from firstpull.trade.clearance import clearance_hole

    usual = clearance_hole(case.data.thread)
    if usual is None:
        return []
    bears = "bears" if usual.medium.nanometres < flange.nanometres else "does not bear"
    text = f"The part's hole is not given: a medium one, {_show(usual.medium.nanometres, case)}, {bears} on the flange, {_show(flange.nanometres, case)}."
    check = Check("jack-out", usual.medium.mm, flange.mm, None, "mm", True, text, usual.source, assumptions=("medium clearance hole",))  # fmt: skip
    return [Row(check, "")]


def _length_check(name: str, wants_nm: float, has_nm: int, text: str, source: str, words: tuple[str, ...]) -> Check:
    margin = (has_nm - wants_nm) / has_nm
    return Check(
        name, wants_nm / NM_PER_MM, has_nm / NM_PER_MM, round(margin, 6), "mm", margin >= 0, text, source, False, None, None, words
    )  # fmt: skip


def _show(value_nm: float, case: Case) -> str:
    return f"{show_mm(value_nm / NM_PER_MM, case.unit)} {case.unit}"


def _class_assumption(case: Case) -> tuple[str, ...]:
    return (f"class {case.data.strength.name} assumed",) if case.data.class_assumed else ()


def _spread(load: LoadRange | None) -> Spread:
    return NOTHING if load is None else between(load.low_n, load.high_n)


def _layers(stack: Stack) -> tuple[SheetLayer, ...]:
    from firstpull.trade.materials import sheet_material

    found = []
    for layer in stack.layers:
        if layer.coating:
            continue
        tolerance = 0 if layer.tolerance is None else layer.tolerance.nanometres
        least = (layer.thickness.nanometres - tolerance) / NM_PER_MM
        held = sheet_material(layer.material)
        if least > 0:
            strengths = (None, None, None) if held is None else (held.yield_mpa, held.tensile_mpa, held.shear_mpa)
            found.append(SheetLayer(layer.material, least, *strengths, "" if held is None else held.source))
    return tuple(found)


def _shape(insert: Insert, material: Material | None, thread: Thread) -> SetShape | None:
    """The set insert's dimensions as far as they are known; ``None`` when hole, body, flange or strength is not."""
    hole, body, flange = insert.hole_diameter, insert.body_diameter, insert.flange_diameter
    if hole is None or flange is None or material is None:
        return None
    if material.tensile_mpa is None or material.shear_mpa is None:
        return None
    body_mm = hole.mm if body is None else body.mm
    bore_mm = thread.major_mm if insert.counterbore_diameter is None else insert.counterbore_diameter.mm
    allowance = None if insert.set_allowance is None else insert.set_allowance.mm
    ring_mm = max(estimates.blind_head_mm(body_mm, allowance), hole.mm)
    thick = None if insert.flange_thickness is None else insert.flange_thickness.mm
    wall_mm = (body_mm - bore_mm) / 2
    if wall_mm <= 0:
        return None
    sunk_mm = thick if insert.head == "countersunk" and thick is not None else 0.0
    return SetShape(
        hole.mm, ring_mm, flange.mm, thick, wall_mm, body_mm, material.tensile_mpa, material.shear_mpa, sunk_mm
    )

"""The strength checks of :mod:`firstpull.mechanics.joint.checks` on whole columns: margins only, no words.

Every formula is that of the single insert, whose docstrings name the sources; a test holds both to the same margins.
Loads in N, torques in N·m, lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from firstpull.mechanics.joint import checks, estimates
from firstpull.mechanics.joint.checks import Case
from firstpull.mechanics.joint.screw import LEAST_MESH, POINT_PITCHES, UNKNOWN_BOTTOM_MM
from firstpull.mechanics.joint.spread import LIMIT_SDS
from firstpull.mechanics.joint.tightening import SEATING_MARGIN
from firstpull.mechanics.shelf.view import Flags, Numbers, View
from firstpull.trade.materials import insert_material
from firstpull.units import NM_PER_MM


@dataclass(frozen=True, slots=True)
class Compared:
    """One check of all rows. NaN or not known is no margin and passes; ``judged`` is the margin that decides;
    ``counts`` is the one that ranks and ``worst`` the one that parts equals (:func:`firstpull.mechanics.counted.counted`)."""

    ok: Flags
    margin: Numbers | None
    unknown: Flags | None
    judged: Numbers
    counts: Numbers | None
    worst: Numbers | None


@dataclass(frozen=True, slots=True)
class _Many:
    """A mean and a standard deviation for each row, like :class:`~firstpull.mechanics.joint.spread.Spread`."""

    mean: Numbers
    sd: Numbers

    @property
    def low(self) -> Numbers:
        return np.maximum(self.mean - LIMIT_SDS * self.sd, 0.0)

    @property
    def high(self) -> Numbers:
        return self.mean + LIMIT_SDS * self.sd


@dataclass(frozen=True, slots=True)
class _Shape:
    """The set insert of each row; NaN where something is not known."""

    hole: Numbers
    ring: Numbers
    flange: Numbers
    flange_thickness: Numbers
    wall: Numbers
    body: Numbers
    sunk: Numbers
    shear_mpa: Numbers
    known: Flags


def strength_columns(view: View, case: Case) -> tuple[Compared, ...]:
    """The checks in the order of the table of a single insert."""
    engaged, length_ok = _engaged(view, case)
    screw_strip, insert_strip = _strips(view, case, engaged)
    torque, left = _torque(view, case, np.fmin(screw_strip, insert_strip))
    preload = _preload(case, torque)
    shape = _shape(view, case)
    return (
        *_screw(case, preload, left),
        *_shear(case, len(torque)),
        *(_with_torque(case, _strip(case, preload, strip)) for strip in (screw_strip, insert_strip)),
        *_set(view, case, torque, preload, shape),
        *_sheet(view, case, shape),
        *_place(view, case),
        Compared(length_ok, None, None, np.zeros(len(torque)), None, None),
    )


def _with_torque(case: Case, check: Compared) -> Compared:
    """A check that only asks for less torque: a torque that is found says nothing about the insert."""
    return check if case.demand.screw.torque_nm is not None else replace(check, counts=None, worst=None)


def _compare(
    demand: Any, offer: Any, *, estimate: Flags | bool = False, given: bool = True, highest: Any = None
) -> Compared:
    """As :func:`firstpull.mechanics.joint.checks.compare`; where the offer is NaN it is not known."""
    low, mean = offer.low, offer.mean
    most = demand.high if highest is None else highest
    with np.errstate(divide="ignore", invalid="ignore"):
        worst = np.where(low > 0, (low - most) / low, np.where(np.isnan(low), np.nan, -1.0))
        expected = np.where(mean > 0, (mean - demand.mean) / mean, np.where(np.isnan(mean), np.nan, -1.0))
    judged = np.where(estimate, expected, worst)
    unknown = np.isnan(low)
    if not given:
        return Compared(np.ones(len(low), bool), None, unknown, np.zeros(len(low)), None, None)
    return Compared(unknown | (judged >= -checks.ROUNDING), worst, unknown, judged, judged, worst)


def _engaged(view: View, case: Case) -> tuple[Numbers, Flags]:
    """Thread in mesh (NaN: the whole thread counts), and whether a usual screw length serves."""
    from firstpull.trade.service import screw_lengths

    thread, screw = case.data.thread, case.demand.screw
    allowance, length = view.mm("set_allowance"), view.mm("thread_length")
    stroke = view.mm("grip_max") - case.thickness_mm + allowance
    closed = view.is_one_of("end", ("closed",))
    point = POINT_PITCHES * thread.pitch_mm
    far = view.mm("length_free") - stroke - _bottom(view, closed, thread.pitch_mm)
    near = far - length
    if screw.mating_thickness is None:
        return np.full(len(far), np.nan), np.ones(len(far), bool)
    can = np.where(closed, np.maximum(length - point, 0.0), length)
    least = near + np.minimum(LEAST_MESH * thread.major_mm, can) + point
    below_top = case.thickness_mm + np.maximum(view.head_nm(), 0) / NM_PER_MM
    room = math.inf if case.room_behind_mm is None else below_top + case.room_behind_mm
    most = np.where(closed, far, room)
    wanted = np.where(closed, far, far + point)
    between = screw.mating_thickness.mm + (0.0 if screw.washer is None else screw.washer.mm)
    usual = np.array([one.mm for one in screw_lengths(thread.system)])
    first = np.searchsorted(usual, between + least - 1e-9, side="left")
    last = np.searchsorted(usual, between + most + 1e-9, side="right") - 1
    enough = np.searchsorted(usual, between + wanted - 1e-9, side="left")
    found = first <= last
    picked = np.where((enough <= last) & ~closed, np.maximum(enough, first), last)
    reach = usual[np.clip(picked, 0, len(usual) - 1)] - between
    known = np.isfinite(far) & np.isfinite(length)
    engaged = np.where(known & found, np.minimum(reach - point - near, length), np.nan)
    return engaged, ~known | found


def _bottom(view: View, closed: Flags, pitch_mm: float) -> Numbers:
    known = view.mm("flange_thickness") + view.mm("unthreaded_length") + view.mm("thread_length")
    rest = np.maximum(view.mm("length_free") - known, 0.0)
    return np.where(closed, np.where(np.isnan(known), 2 * pitch_mm + UNKNOWN_BOTTOM_MM, rest), 0.0)


def _strips(view: View, case: Case, engaged: Numbers) -> tuple[Numbers, Numbers]:
    """The least strip load of the screw's and the insert's thread, N; NaN where it is not known."""
    from firstpull.trade.threads import strip_areas

    one_mm = strip_areas(case.data.thread, 1.0)
    mesh = np.where(np.isnan(engaged), view.mm("thread_length"), engaged)
    mesh = np.where(mesh > 0, mesh, np.nan)
    mesh = mesh * _wall_share(view, case)
    screw = mesh * one_mm.external_area_mm2 * case.data.strength.tensile_mpa / math.sqrt(3)
    return screw, mesh * one_mm.internal_area_mm2 * _material(view, "shear_mpa")


def _wall_share(view: View, case: Case) -> Numbers:
    """As :func:`firstpull.mechanics.joint.estimates.thin_wall_share`; 1 where the outside is not known."""
    body, hole = view.mm("body_diameter"), view.mm("hole_diameter")
    x = np.where(np.isnan(body), hole, body) / case.data.thread.major_mm
    thin = np.maximum(3.8 * x - x * x - 2.61, estimates.THIN_WALL_LEAST)
    return np.where(x < estimates.THICK_WALL, thin, 1.0)


def _material(view: View, name: str) -> Numbers:
    held = (insert_material(text) if text else None for text in view.values("material"))
    found = [getattr(material, name, None) for material in held]
    table = np.array([np.nan if value is None else value for value in found], float)
    return np.asarray(view.by_value("material", table), float)


def _torque(view: View, case: Case, strip_n: Numbers) -> tuple[Numbers, Numbers | None]:
    """The tightening torque of each row, as :func:`firstpull.mechanics.joint.tightening.tightening` finds it, and the share
    of its window that is left above the lower limit (``None`` where it was given)."""
    data, demand = case.data, case.demand
    scatter, tension = data.factor.scatter, demand.loads.tension
    if demand.screw.torque_nm is not None:
        return np.full(len(strip_n), demand.screw.torque_nm), None
    added = 0.0 if tension is None else demand.loads.load_factor * tension.high_n
    per_n = data.torque_nm(1.0)
    high = np.full(len(strip_n), per_n * max(data.proof_n - added, 0.0) / (1 + scatter))
    for limit in (
        per_n * np.maximum(strip_n - added, 0.0) / (1 + scatter),
        view.number("tightening_torque_max_nm"),
        view.number("torque_to_turn_nm"),
        per_n * np.maximum(view.number("setting_load_n") / SEATING_MARGIN - added, 0.0) / (1 + scatter),
    ):
        np.fmin(high, limit, out=high)
    wanted = float(_cut(data.torque_nm(demand.screw.proof_share * data.proof_n)))
    high, low = np.floor(high * 1e6) / 1e6, 0.0
    if tension is not None and tension.high_n > 0:
        apart = case.tension.high * (1 - demand.loads.load_factor)
        low = -float(_cut(-data.torque_nm(apart / (1 - scatter))))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.minimum(max(wanted, low), high), 1 - low / high


def _cut(value: float) -> float:
    return math.floor(value * 1e6) / 1e6


def _preload(case: Case, torque: Numbers) -> _Many:
    mean = torque / case.data.torque_nm(1.0)
    return _Many(mean, mean * case.data.factor.scatter / LIMIT_SDS)


def _screw(case: Case, preload: _Many, left: Numbers | None) -> list[Compared]:
    data, share = case.data, case.demand.loads.load_factor
    proof, tensile = (
        _least(np.full(len(preload.mean), value), checks.METAL_SD) for value in (data.proof_n, data.tensile_n)
    )
    pull, most = _pull(case, preload)
    proved = _compare(pull, proof, highest=most)
    # a torque that is found passes by a margin that says nothing about the insert
    found = [proved if left is None else replace(proved, margin=None, counts=None, worst=None)]
    if case.tension.high > 0:
        found.insert(0, _compare(case.tension, tensile))
        clamp = _compare(case.tension.times(1 - share), preload)
        found.append(clamp if left is None else replace(clamp, counts=left, worst=left))
    return found


def _pull(case: Case, preload: _Many) -> tuple[_Many, Numbers]:
    share = case.demand.loads.load_factor
    return _plus(preload, case.tension.times(share)), preload.high + share * case.tension.high


def _shear(case: Case, count: int) -> list[Compared]:
    """The screw in shear, and in shear with tension. Slip is told and never decides."""
    if case.shear.high == 0:
        return []
    share = case.data.strength.shear_share
    offer = _least(np.full(count, share * case.data.tensile_n), checks.METAL_SD)
    found = [_compare(case.shear, offer)]
    if case.tension.high > 0:
        weight = share / checks.TENSION_REACH
        both, most = case.shear.plus(case.tension.times(weight)), case.shear.high + weight * case.tension.high
        found.append(_compare(both, offer, highest=most))
    return found


def _strip(case: Case, preload: _Many, strip_n: Numbers) -> Compared:
    pull, most = _pull(case, preload)
    larger = case.tension.high > most
    pull = _Many(np.where(larger, case.tension.mean, pull.mean), np.where(larger, case.tension.sd, pull.sd))
    return _compare(pull, _least(strip_n, checks.METAL_SD), highest=np.where(larger, case.tension.high, most))


def _set(view: View, case: Case, torque: Numbers, preload: _Many, shape: _Shape) -> list[Compared]:
    load = view.number("setting_load_n")
    pull, most = _pull(case, preload)
    offer = _Many(load, np.zeros(len(load)))
    seated = _compare(_times(pull, SEATING_MARGIN), offer, estimate=True, highest=SEATING_MARGIN * most)
    # a row without a setting load has no such check at all
    seated = replace(seated, unknown=None)
    found = [
        seated if case.demand.screw.torque_nm is not None else replace(seated, margin=None, counts=None, worst=None)
    ]
    for tested, guess, demand in (
        (view.number("pull_out_n"), _pull_out(shape, case), case.tension),
        (view.number("push_out_n"), _push_out(shape, case), case.push),
    ):
        offer, estimate = _tested_or(tested, guess, estimates.ESTIMATE_SD)
        found.append(_compare(demand, offer, estimate=estimate, given=demand.high != 0))
    offer, estimate = _tested_or(
        view.number("torque_to_turn_nm"), _turning(view, case, preload, shape), estimates.TURNING_SD
    )
    found.append(_with_torque(case, _compare(_Many(torque, np.zeros(len(torque))), offer, estimate=estimate)))
    return found


def _tested_or(tested: Numbers, guess: Numbers, relative_sd: float) -> tuple[_Many, Flags]:
    """The tested least values, elsewhere the estimates; and where it is an estimate."""
    by_test = _least(tested, checks.TESTED_SD)
    estimate = np.isnan(tested)
    mean = np.where(estimate, guess, by_test.mean)
    return _Many(mean, np.where(estimate, relative_sd * guess, by_test.sd)), estimate


def _shape(view: View, case: Case) -> _Shape:
    hole, body, flange, bore = (
        view.mm(name) for name in ("hole_diameter", "body_diameter", "flange_diameter", "counterbore_diameter")
    )
    allowance, shear = view.mm("set_allowance"), _material(view, "shear_mpa")
    body = np.where(np.isnan(body), hole, body)
    bore = np.where(np.isnan(bore), case.data.thread.major_mm, bore)
    head = np.where(
        np.isnan(allowance),
        estimates.BLIND_HEAD_UNKNOWN * body,
        np.minimum(body + allowance, estimates.BLIND_HEAD_MOST * body),
    )
    wall = (body - bore) / 2
    thick = view.mm("flange_thickness")
    sunk = np.where(view.is_one_of("head", ("countersunk",)), np.nan_to_num(thick), 0.0)
    known = (
        np.isfinite(hole)
        & np.isfinite(flange)
        & np.isfinite(shear)
        & np.isfinite(_material(view, "tensile_mpa"))
        & (wall > 0)
    )
    return _Shape(hole, np.maximum(head, hole), flange, thick, wall, body, sunk, shear, known)


def _pull_out(shape: _Shape, case: Case) -> Numbers:
    sheet = _Sheet.of(case, last=True)
    if sheet is None:
        return np.full(len(shape.hole), np.nan)
    blind_head = math.pi * shape.hole * 2 * shape.wall * shape.shear_mpa
    ways = np.minimum(math.pi * shape.ring * sheet.shear, sheet.crushed(shape.ring, shape.hole))
    return np.where(shape.known, np.minimum(ways, blind_head), np.nan)


def _push_out(shape: _Shape, case: Case) -> Numbers:
    sheet = _Sheet.of(case, last=False)
    if sheet is None:
        return np.full(len(shape.hole), np.nan)
    first = case.layers[0]
    gone = np.minimum(shape.sunk / 2, first.least_mm) * (first.shear_mpa or 0.0)
    cone = math.pi * (shape.hole + shape.flange) / 2 * (sheet.shear - gone)
    sheared = np.where(shape.sunk > 0, cone, math.pi * shape.flange * sheet.shear)
    ways = np.minimum(sheared, sheet.crushed(shape.flange, shape.hole))
    # an unknown flange thickness stays NaN through the minimum
    flange = math.pi * shape.hole * shape.flange_thickness * shape.shear_mpa
    return np.where(shape.known, np.minimum(ways, flange), np.nan)


@dataclass(frozen=True, slots=True)
class _Sheet:
    """What the layers bear: shear over their thickness, N/mm, and the strength of the one that the ring lies on, MPa."""

    shear: float
    bearing: float

    @classmethod
    def of(cls, case: Case, *, last: bool) -> _Sheet | None:
        shear = sum(layer.least_mm * layer.shear_mpa for layer in case.layers if layer.shear_mpa is not None)
        bearing = case.layers[-1 if last else 0].tensile_mpa if shear else None
        return None if bearing is None else cls(shear, bearing)

    def crushed(self, ring: Numbers, hole: Numbers) -> Numbers:
        return self.bearing * math.pi / 4 * (ring**2 - hole**2)


def _turning(view: View, case: Case, preload: _Many, shape: _Shape) -> Numbers:
    if not case.layers:
        return np.full(len(shape.hole), np.nan)
    clamp = estimates.RESIDUAL_SHARE * np.nan_to_num(view.number("setting_load_n")) + preload.mean
    arms = (shape.hole + shape.flange) / 4 + (shape.hole + shape.ring) / 4
    torque = estimates.FRICTION * clamp * arms
    sheet = case.layers[-1]
    if sheet.yield_mpa is not None:
        hexagon = view.is_one_of("body", ("hexagonal",)) & view.known("hole_diameter")
        torque = torque + np.where(hexagon, sheet.yield_mpa * sheet.least_mm * shape.hole**2 / 4, 0.0)
    return np.where(shape.known, torque / 1000, np.nan)


def _sheet(view: View, case: Case, shape: _Shape) -> list[Compared]:
    if case.shear.high == 0:
        return []
    tube = np.where(shape.known, math.pi * (shape.body - shape.wall) * shape.wall * shape.shear_mpa, np.nan)
    bearing = sum(
        estimates.BEARING_SHARE * layer.tensile_mpa * layer.least_mm
        for layer in case.layers
        if layer.tensile_mpa is not None
    )
    least = view.mm("hole_diameter") * (bearing or np.nan)
    return [
        _compare(case.shear, _Many(tube, estimates.ESTIMATE_SD * tube), estimate=True),
        _compare(case.shear, _least(least, checks.METAL_SD)),
    ]


def _place(view: View, case: Case) -> list[Compared]:
    edges, clear = case.demand.edges, case.demand.screw.clearance_hole
    hole, flange = view.nm("hole_diameter"), view.nm("flange_diameter")
    found = []
    for share, has in ((checks.EDGE_DIAMETERS, edges.edge), (checks.PITCH_DIAMETERS, edges.pitch)):
        if has is not None:
            margin = np.where(hole >= 0, (has.nanometres - share * hole) / has.nanometres, np.nan)
            found.append(Compared(~(margin < 0), margin, None, margin, margin, margin))
    if clear is not None:
        with np.errstate(divide="ignore", invalid="ignore"):
            margin = np.where(flange >= 0, (flange - clear.nanometres) / flange, np.nan)
        found.append(Compared(~(margin <= 0), margin, None, margin, margin, margin))
    return found


def _least(least: Numbers, relative_sd: float) -> _Many:
    mean = least / (1 - LIMIT_SDS * relative_sd)
    return _Many(mean, relative_sd * mean)


def _plus(one: _Many, other: Any) -> _Many:
    return _Many(one.mean + other.mean, np.hypot(one.sd, other.sd))


def _times(one: _Many, factor: float) -> _Many:
    return _Many(factor * one.mean, factor * one.sd)

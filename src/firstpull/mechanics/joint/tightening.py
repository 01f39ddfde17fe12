"""The tightening torque of a joint and its window."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from firstpull.mechanics.joint.demand import JointDemand
from firstpull.mechanics.joint.spread import LIMIT_SDS, Spread, between

if TYPE_CHECKING:
    from firstpull.mechanics.insert import Insert
    from firstpull.trade.screws import NutFactor, PropertyClass
    from firstpull.trade.threads import Thread

SEATING_MARGIN = 1.1


@dataclass(frozen=True, slots=True)
class Tightening:
    """A tightening torque with its window, N·m, and the screw tension that it gives, N.

    ``low_nm`` is what keeps the joint shut under its tension (``None`` without one), ``high_nm`` the first of the
    limits, named by ``limited_by``. ``given`` says whether the torque was stated or found here.
    """

    torque_nm: float
    low_nm: float | None
    high_nm: float
    limited_by: str
    given: bool
    inside: bool
    preload_low_n: float
    preload_n: float
    preload_high_n: float
    screw_class: str
    class_assumed: bool
    condition: str
    nut_factor: float
    nut_factor_scatter: float
    source: str


@dataclass(frozen=True, slots=True)
class ScrewData:
    """What the tightening of every candidate shares: thread, class, nut factor."""

    thread: Thread
    strength: PropertyClass
    factor: NutFactor
    class_assumed: bool

    @property
    def proof_n(self) -> float:
        """Proof load in N: S_p · A_s (ISO 898-1, SAE J429)."""
        return self.strength.proof_mpa * self.thread.stress_area_mm2

    @property
    def tensile_n(self) -> float:
        """Ultimate tensile load in N: R_m · A_s (ISO 898-1, SAE J429)."""
        return self.strength.tensile_mpa * self.thread.stress_area_mm2

    def torque_nm(self, tension_n: float) -> float:
        """T = K d F, in N·m."""
        return self.factor.factor * self.thread.major_mm / 1000 * tension_n

    def preload(self, torque_nm: float) -> Spread:
        """F = T / (K d) with the nut factor's scatter as its limits, N."""
        expected = torque_nm / (self.factor.factor * self.thread.major_mm / 1000)
        return Spread(expected, expected * self.factor.scatter / LIMIT_SDS)


def screw_data(thread: Thread, demand: JointDemand) -> ScrewData:
    """Class and nut factor of the demanded screw; 8.8 (grade 5 for inch threads) when none is named. Raises BadInput."""
    from firstpull.trade.screws import nut_factor, property_class

    name = demand.screw.strength or ("8.8" if thread.system == "metric" else "grade 5")
    return ScrewData(
        thread,
        property_class(name, where="screw.class"),
        nut_factor(demand.screw.condition, where="screw.condition"),
        not demand.screw.strength,
    )


def tightening(insert: Insert, data: ScrewData, demand: JointDemand, *, strip_n: float | None) -> Tightening:
    """The torque for this insert and its window.

    Upper limits, with the nut factor on its low side and the screw's share of the tension taken off: the screw's
    proof load, the strip load of the weaker thread
    (``strip_n``, its lower limit in N, ``None`` = not known), and the setting load / 1.1 (tightening is a second pull
    on the blind head: common practice); as they stand: the insert's own maximum and its tested torque-to-turn. Lower limit, nut factor on its high side: the tension that the parts would lose,
    (1 − load factor) · F_A. Wanted: ``proof_share`` of proof, raised to the lower limit, but never above the upper
    one: where the window is empty (low over high) the clamp falls short and its check says so. Limits are cut, not
    rounded, at 1e-6 N·m, so that a torque found here passes what it was found from. T = K d F.
    """
    scatter, tension = data.factor.scatter, demand.loads.tension
    added = 0.0 if tension is None else demand.loads.load_factor * tension.high_n
    limits = {"the screw's proof load": data.torque_nm(max(data.proof_n - added, 0.0) / (1 + scatter))}
    if strip_n is not None:
        limits["thread strip"] = data.torque_nm(max(strip_n - added, 0.0) / (1 + scatter))
    if insert.tightening_torque_max_nm is not None:
        limits["the insert's maximum"] = insert.tightening_torque_max_nm
    if insert.torque_to_turn_nm is not None:
        limits["its tested torque-to-turn"] = insert.torque_to_turn_nm
    if insert.setting_load_n is not None:
        seated_n = insert.setting_load_n / SEATING_MARGIN - added
        limits["the setting load"] = data.torque_nm(max(seated_n, 0.0) / (1 + scatter))
    limited_by = min(limits, key=lambda name: limits[name])
    high = _cut(limits[limited_by])
    low = None
    if tension is not None and tension.high_n > 0:
        apart = between(tension.low_n, tension.high_n).high * (1 - demand.loads.load_factor)
        low = -_cut(-data.torque_nm(apart / (1 - scatter)))
    wanted = max(_cut(data.torque_nm(demand.screw.proof_share * data.proof_n)), low or 0.0)
    torque = demand.screw.torque_nm if demand.screw.torque_nm is not None else min(wanted, high)
    preload = data.preload(torque)
    return Tightening(
        torque_nm=torque,
        low_nm=low,
        high_nm=high,
        limited_by=limited_by,
        given=demand.screw.torque_nm is not None,
        inside=torque <= high * (1 + 1e-9) and (low is None or torque >= low),
        preload_low_n=round(preload.low, 3),
        preload_n=round(preload.mean, 3),
        preload_high_n=round(preload.high, 3),
        screw_class=data.strength.name,
        class_assumed=data.class_assumed,
        condition=data.factor.condition,
        nut_factor=data.factor.factor,
        nut_factor_scatter=scatter,
        source=f"{data.factor.source}; {data.strength.source}",
    )


def _cut(value: float) -> float:
    return math.floor(value * 1e6) / 1e6

"""What earlier sessions say of a tool, a part and a shift, with forgetting.

Two rules of forgetting. A *level* (lead, drift, shift) walks: its variance grows from session to session and with the
days between, so that an old session says less (local level model: Kalman, J. Basic Engineering 82 (1960) 35; West and
Harrison, Bayesian Forecasting and Dynamic Models, 2nd edition 1997, chapter 2). A *scatter* is pooled with weights that
fall by a tenth each session and by half each year (variance discounting, the same book, section 10.8; both from memory).
The rates are our choice.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, median

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from firstpull.errors import BadInput

RATIO_WALK = 0.001
"""How far the lead may walk from one session to the next, relative standard deviation (our choice)."""
RATIO_WALK_MONTH = 0.001
"""And in a month of rest."""
DRIFT_WALK = 0.3
"""How far the drift may walk between sessions, as a share of its first doubt."""
SHIFT_WALK_MM = 0.01
SHIFT_WALK_MONTH_MM = 0.01
KEPT_A_SESSION = 0.9
HALF_LIFE_DAYS = 365.0
PRIOR_FREEDOM = 6.0
"""A stated scatter counts like so many degrees of freedom."""
CONTRADICTS = 0.001
_COLD_MM, _COLD_SD_MM, _COLD_LEFT = 0.05, 0.06, 0.25
_MONTH = 30.0
_WILD_MM = 0.25

Matrix = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class KnobPull:
    """One warm or cold pull in the air: knob place in turns towards more stroke, cycles of the session before it, cycles
    since the air came on, stroke in mm, and the variance (mm²) that its gauge and an unmeasured free length bring."""

    turns: float
    cycles: int
    cycles_since_air: int
    stroke_mm: float
    variance_mm2: float


@dataclass(frozen=True, slots=True)
class KnobSession:
    """The pulls of one session, ``day`` in days on any scale."""

    day: float
    pulls: tuple[KnobPull, ...]


@dataclass(frozen=True, slots=True)
class KnobKnown:
    """Lead as a multiple of the stated one, drift in mm a cycle (+ lengthens), scatter of a pull in mm; each with its
    doubt, ``freedom`` being what stands behind the scatter. ``sessions`` counted, ``odd`` of them contradicted."""

    ratio: float
    ratio_sd: float
    drift_mm: float
    drift_sd_mm: float
    process_sd_mm: float
    freedom: float
    sessions: int
    odd: int


@dataclass(frozen=True, slots=True)
class Lot:
    """Free lengths (mm) of one lot; ``day`` in days on any scale."""

    day: float
    lengths_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class LengthsKnown:
    """Scatter within a lot and doubt of a lot's mean about nominal, standard deviations in mm."""

    within_sd_mm: float
    lot_sd_mm: float
    lots: int
    lengths: int


@dataclass(frozen=True, slots=True)
class Level:
    """A value and its standard doubt in mm."""

    mean_mm: float
    sd_mm: float


def knob_known(
    sessions: Sequence[KnobSession], *, today: float, lead_mm: float, lead_rel_sd: float, process_sd_mm: float
) -> KnobKnown:
    """Lead, drift and scatter of a tool from ``sessions`` in the order of time; mm, days.

    In one session stroke = a + lead · ratio · turns − drift · cycles, with ``a`` unknown (another insert, another zero) and so
    taken out by centring; two-state Kalman filter over the sessions, started at 1 ± ``lead_rel_sd`` and 0 ± 0.07 ·
    ``process_sd_mm``. A session whose readings the forecast holds for likelier wrong than 1 in 1000 is not averaged in: it
    restores the first doubt, so that a changed tool is learned anew. Valid for lead > 0, scatter > 0; raises BadInput
    otherwise. Source: see the module.
    """
    if not (lead_mm > 0 and process_sd_mm > 0 and lead_rel_sd >= 0):
        raise BadInput("Lead and scatter must be more than nothing.", where="lead_mm", hint="In mm.")
    first = np.diag([max(lead_rel_sd, 1e-4) ** 2, (0.07 * process_sd_mm) ** 2])
    state, doubt = np.array([1.0, 0.0]), first.copy()
    squares, freedom = PRIOR_FREEDOM, PRIOR_FREEDOM
    day, counted, odd = sessions[0].day if sessions else today, 0, 0
    for session in sessions:
        rows = _sound(session.pulls, lead_mm)
        if len(rows) < 2:
            continue
        gap = max(session.day - day, 0.0)
        doubt = _walked(doubt, first, gap=gap, steps=min(counted, 1))
        keep = KEPT_A_SESSION * 0.5 ** (gap / HALF_LIFE_DAYS)
        squares, freedom = _discounted(squares, keep), _discounted(freedom, keep)
        day, counted = session.day, counted + 1
        factor2 = max(squares / freedom, 0.36)
        design, seen, noise = _centred(rows, lead_mm, process_variance=factor2 * process_sd_mm**2)
        misfit = seen - design @ state
        forecast = noise + design @ doubt @ design.T
        fit = float(misfit @ np.linalg.pinv(forecast, rcond=1e-9) @ misfit)
        spare = len(rows) - 1
        if fit > chi2.isf(CONTRADICTS, spare):
            odd += 1
            doubt = doubt + first
            squares, freedom = squares + 3.0 * spare * factor2, freedom + spare
            continue
        gain = doubt @ design.T @ np.linalg.pinv(forecast, rcond=1e-9)
        state = state + gain @ misfit
        doubt = doubt - gain @ design @ doubt
        squares, freedom = squares + fit * factor2, freedom + spare
    doubt = _walked(doubt, first, gap=max(today - day, 0.0), steps=min(counted, 1))
    left = 0.5 ** (max(today - day, 0.0) / HALF_LIFE_DAYS)
    squares, freedom = _discounted(squares, left), _discounted(freedom, left)
    scatter = process_sd_mm * min(max(math.sqrt(squares / freedom), 0.6), 4.0)
    return KnobKnown(
        float(state[0]),
        math.sqrt(float(doubt[0, 0])),
        float(state[1]),
        math.sqrt(float(doubt[1, 1])),
        scatter,
        freedom - PRIOR_FREEDOM,
        counted,
        odd,
    )


def lengths_known(
    lots: Sequence[Lot],
    *,
    today: float,
    nominal_mm: float,
    caliper_sd_mm: float,
    within_sd_mm: float,
    lot_sd_mm: float,
) -> LengthsKnown:
    """Scatter of free lengths within a lot and of lot means about nominal (mm), the stated values counting like
    6 degrees of freedom; analysis of variance with one random factor, the caliper's own variance taken off.

    Never below 0.4 of what was stated: few lots do not prove more. Source: one-way random model, Montgomery, Design and
    Analysis of Experiments, section 3.9 (from memory); weights as in the module. Lots without two lengths say nothing of
    the scatter within.
    """
    squares, freedom = PRIOR_FREEDOM * within_sd_mm**2, PRIOR_FREEDOM
    ordered = sorted((lot for lot in lots if lot.lengths_mm), key=lambda lot: lot.day)
    weights = [
        KEPT_A_SESSION ** (len(ordered) - 1 - place) * 0.5 ** (max(today - lot.day, 0.0) / HALF_LIFE_DAYS)
        for place, lot in enumerate(ordered)
    ]
    for lot, weight in zip(ordered, weights, strict=True):
        spare = len(lot.lengths_mm) - 1
        mean = fmean(lot.lengths_mm)
        own = math.fsum((length - mean) ** 2 for length in lot.lengths_mm)
        squares += weight * max(own - spare * caliper_sd_mm**2, 0.0)
        freedom += weight * spare
    within2 = max(squares / freedom, (0.4 * within_sd_mm) ** 2)
    between, count = PRIOR_FREEDOM * lot_sd_mm**2, PRIOR_FREEDOM
    for lot, weight in zip(ordered, weights, strict=True):
        own = (within2 + caliper_sd_mm**2) / len(lot.lengths_mm)
        between += weight * max((fmean(lot.lengths_mm) - nominal_mm) ** 2 - own, 0.0)
        count += weight
    lot2 = max(between / count, (0.4 * lot_sd_mm) ** 2)
    lengths = sum(len(lot.lengths_mm) for lot in ordered)
    return LengthsKnown(math.sqrt(within2), math.sqrt(lot2), len(ordered), lengths)


def level_after(before: Level | None, seen: Level, *, days: float, jolted: bool = False) -> Level:
    """A level (mm) after one more finding ``seen``, ``days`` after ``before``: precision-weighted mean with the walk between
    them; ``jolted`` (service, another mandrel) widens what was known by ten sessions' walk.

    Findings further apart than 3.3 of their joint doubt are not averaged: the newer stands, with their distance in
    its doubt. Source: Kalman as in the module, scalar.
    """
    if before is None:
        return seen
    walk = SHIFT_WALK_MM**2 * (10.0 if jolted else 1.0) + SHIFT_WALK_MONTH_MM**2 * max(days, 0.0) / _MONTH
    old, new = before.sd_mm**2 + walk, max(seen.sd_mm, 1e-6) ** 2
    apart = seen.mean_mm - before.mean_mm
    if abs(apart) > 3.3 * math.sqrt(old + new):
        return Level(seen.mean_mm, math.hypot(seen.sd_mm, 0.3 * apart))
    share = old / (old + new)
    return Level(before.mean_mm + share * apart, math.sqrt(share * new))


def _discounted(value: float, keep: float) -> float:
    """What is left of sums of squares or degrees of freedom above the stated scatter's own."""
    return PRIOR_FREEDOM + keep * (value - PRIOR_FREEDOM)


def _walked(doubt: Matrix, first: Matrix, *, gap: float, steps: int) -> Matrix:
    months = gap / _MONTH
    ratio = RATIO_WALK**2 * steps + RATIO_WALK_MONTH**2 * months
    drift = float(first[1, 1]) * DRIFT_WALK**2 * (steps + months)
    walked = doubt + np.diag([ratio, drift])
    # a walk without end would know less than nothing: never more than twice (drift: once) the first variance
    shrink = np.sqrt(np.minimum(1.0, np.diag(first) * np.array([2.0, 1.0]) / np.diag(walked)))
    return np.asarray(walked * np.outer(shrink, shrink))


def _sound(pulls: Sequence[KnobPull], lead_mm: float) -> list[KnobPull]:
    """The pulls without those that are wild: a bad pull or a misread that nobody struck out."""
    if len(pulls) < 2:
        return list(pulls)
    off = [pull.stroke_mm - lead_mm * pull.turns for pull in pulls]
    middle = median(off)
    reach = [_WILD_MM + 0.15 * lead_mm * abs(pull.turns - pulls[-1].turns) for pull in pulls]
    return [pull for pull, value, most in zip(pulls, off, reach, strict=True) if abs(value - middle) <= most]


def _centred(rows: Sequence[KnobPull], lead_mm: float, *, process_variance: float) -> tuple[Matrix, Matrix, Matrix]:
    """Design, strokes and covariance with the unknown zero of the session taken out."""
    count = len(rows)
    cold = np.array([_COLD_LEFT**row.cycles_since_air for row in rows])
    design = np.array([[lead_mm * row.turns, -float(row.cycles)] for row in rows])
    seen = np.array([row.stroke_mm for row in rows]) + _COLD_MM * cold
    noise = np.diag([process_variance + row.variance_mm2 for row in rows]) + _COLD_SD_MM**2 * np.outer(cold, cold)
    centre = np.eye(count) - np.full((count, count), 1.0 / count)
    return np.asarray(centre @ design), np.asarray(centre @ seen), np.asarray(centre @ noise @ centre)

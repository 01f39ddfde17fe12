"""Learning from a pull: strength, hardening and friction of a real lot from a measured curve or from set inserts.

Bounded least squares with a prior; each trial is a coarse run. Needs Numba and SciPy.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from firstpull.errors import BadInput, Unsafe
from firstpull.mechanics.collapse.case import PullCase, check_case
from firstpull.mechanics.collapse.discrepancy import PRIOR_SD_MM, Discrepancy, Observation, discrepancy
from firstpull.mechanics.collapse.events import Floats, find_events
from firstpull.mechanics.collapse.sensitivity import CoarsePull, bent_curve, coarse_pull

NAMES = ("strength", "hardening", "friction")
PRIOR_SD = (0.15, 0.06, 0.05)
"""Lots of one metal differ by some 15 % in strength, 0.06 in their exponent; friction is a guess to 0.05 (our choice)."""
LOW, HIGH = (-0.4, -0.18, -0.12), (0.4, 0.18, 0.4)
STEPS = (0.05, 0.03, 0.03)
POINTS = 40
FORCE_SHARE, FORCE_STROKE_MM = 0.02, 0.1
"""What model and gauge miss together: a share of the peak, and so much stroke where the curve is steep."""
COUNTED = 6.0
"""Neighbouring points of a curve err together: all of them count as so many independent ones."""
DIAMETER_MM = 0.06
GAUGE_MM = 0.05
SHAPE_MM = 0.1
"""A diameter shows the shape, not the moment of closure: so much of doubt stays between the two."""
TOLD, HARDLY = 0.5, 0.85
FAR_SDS, FAR_MM = 2.3, 0.3
"""Beyond this many prior doubts, or so much error of the model, the data and the dimensions do not belong together."""
MISFIT = "What was measured does not fit these dimensions: check both; nothing is taken as surer for it."


@dataclass(frozen=True, slots=True)
class SetInsert:
    """An insert of the lot as set: its permanent stroke (free length − set length) and the bulge's diameter, in mm."""

    stroke_mm: float
    outer_diameter_mm: float


@dataclass(frozen=True, slots=True)
class Told:
    """One constant of the lot: its estimate with its doubt, the prior's doubt, and what the data could tell of it."""

    name: str
    value: float
    sd: float
    prior_sd: float
    text: str


@dataclass(frozen=True, slots=True)
class Learned:
    """What was learned. ``case`` carries the calibrated metal and friction; ``closure_mm`` the closure to expect with its
    doubt ``closure_sd_mm`` (model, data and constants), both None where the fold does not close; ``runs`` coarse runs."""

    case: PullCase
    told: tuple[Told, ...]
    closure_mm: float | None
    closure_sd_mm: float | None
    discrepancy: Discrepancy
    misfit: float
    runs: int
    notes: tuple[str, ...]


def learn(
    case: PullCase,
    *,
    curve: tuple[Floats, Floats] | None = None,
    inserts: tuple[SetInsert, ...] = (),
    watch: Callable[[int], None] | None = None,
) -> Learned:
    """Calibrate a case by a measured curve (strokes in mm rising, pull in N) or by inserts that were set, or both.

    log strength, hardening turned about a strain of 0.2 and friction minimise the sum of squared misfits, each over its
    doubt, with a normal prior about the case's own metal; their doubts come from the curvature there. Closure carries
    the model's error as it shows in the data (discrepancy). ``watch`` hears the runs so far and may raise to cancel.
    Raises BadInput for data that cannot be used. Source: regularised nonlinear least squares, Levenberg–Marquardt with
    bounds (Branch, Coleman & Li 1999, as SciPy has it); linearised posterior (Gelman et al., from memory).
    """
    check_case(case)
    if curve is None and not inserts:
        raise BadInput("There is nothing to learn from.", where="data", hint="A curve, or a few set inserts.")
    if curve is not None:
        _check_curve(curve)
    case = replace(case, stroke_mm=min(0.93 * case.free_length_mm, max(case.stroke_mm, _reach(case, curve, inserts))))
    cache: dict[tuple[float, ...], CoarsePull] = {}

    def run(at: Floats) -> CoarsePull:
        key = tuple(round(float(one), 9) for one in at)
        if key not in cache:
            found = coarse_pull(bent_case(case, key))
            if not (np.isfinite(found.force_n).all() and np.isfinite(found.diameter_mm).all()):
                raise Unsafe(
                    "A simulated pull did not hold together, so nothing was learned.",
                    where="data",
                    hint="Ask for less stroke, or check the dimensions.",
                )
            cache[key] = found
            if watch is not None:
                watch(len(cache))
        return cache[key]

    sd = np.array(PRIOR_SD)

    def misfit(at: Floats) -> Floats:
        found = run(at)
        rows = [at / sd]
        if curve is not None:
            rows.append(_curve_misfit(found, curve))
        rows += [
            np.array(
                [
                    (float(np.interp(one.stroke_mm, found.stroke_mm, found.diameter_mm)) - one.outer_diameter_mm)
                    / DIAMETER_MM
                ]
            )
            for one in inserts
        ]
        return np.concatenate(rows)

    def slopes(at: Floats) -> Floats:
        base = misfit(at)
        return np.column_stack([(misfit(at + step) - base) / step.sum() for step in np.diag(STEPS)])

    low = np.maximum(LOW, [-1.0, -1.0, min(-case.friction, -1e-3)])
    fit = least_squares(misfit, np.zeros(3), jac=slopes, bounds=(low, HIGH), xtol=3e-3, ftol=3e-3, max_nfev=8)
    best, jacobian = np.asarray(fit.x, dtype=np.float64), np.asarray(fit.jac, dtype=np.float64)
    covariance = np.asarray(np.linalg.inv(jacobian.T @ jacobian), dtype=np.float64)
    return _learned(case, run, best, covariance, curve, inserts, float(fit.cost), cache)


def bent_case(case: PullCase, at: tuple[float, ...]) -> PullCase:
    """The case with log strength, hardening and friction moved by these (no unit); friction never below 0.

    Source: by definition.
    """
    metal = bent_curve(case.metal, strength=math.exp(at[0]), hardening=at[1])
    return replace(case, metal=metal, friction=min(max(case.friction + at[2], 0.0), 0.6))


def _check_curve(curve: tuple[Floats, Floats]) -> None:
    stroke, force = curve
    if len(stroke) != len(force) or len(stroke) < 20:
        raise BadInput("The curve has too few points.", where="curve", hint="20 or more pairs of stroke and pull.")
    if not (np.isfinite(stroke).all() and np.isfinite(force).all()) or float(np.diff(stroke).min()) <= 0.0:
        raise BadInput("The strokes of the curve must rise.", where="curve", hint="In mm, from 0; the pull in N.")
    if float(stroke[-1]) < 0.5 or not 100.0 <= float(force.max()) <= 200_000.0:
        raise BadInput("These are not strokes in mm and pulls in N.", where="curve", hint="Check the units.")


def _reach(case: PullCase, curve: tuple[Floats, Floats] | None, inserts: tuple[SetInsert, ...]) -> float:
    found = [one.stroke_mm for one in inserts] + ([] if curve is None else [float(curve[0][-1])])
    if min(found) <= 0.0 or any(
        not case.outer_diameter_mm * 0.98 < one.outer_diameter_mm < 2.5 * case.outer_diameter_mm for one in inserts
    ):
        raise BadInput("A stroke or a diameter cannot be right.", where="inserts", hint="Lengths in mm.")
    return max(found)


def _curve_misfit(found: CoarsePull, curve: tuple[Floats, Floats]) -> Floats:
    """Model less measured pull over its doubt, at even strokes, all of them counting as a few independent ones."""
    stroke, force = curve
    places = np.linspace(0.08, min(stroke[-1], found.stroke_mm[-1]), POINTS)
    measured = np.interp(places, stroke, force)
    slope = np.gradient(np.interp(places, found.stroke_mm, found.force_n), places)
    doubt = np.hypot(FORCE_SHARE * float(force.max()), FORCE_STROKE_MM * np.abs(slope))
    share = math.sqrt(COUNTED / POINTS)
    return np.asarray(share * (np.interp(places, found.stroke_mm, found.force_n) - measured) / doubt)


def _learned(
    case: PullCase,
    run: Callable[[Floats], CoarsePull],
    best: Floats,
    covariance: Floats,
    curve: tuple[Floats, Floats] | None,
    inserts: tuple[SetInsert, ...],
    cost: float,
    cache: dict[tuple[float, ...], CoarsePull],
) -> Learned:
    found = run(best)
    doubts = np.sqrt(np.diag(covariance))
    values = (math.exp(best[0]), float(best[1]), float(max(case.friction + best[2], 0.0)))
    told = tuple(
        Told(name, round(value, 4), round(float(doubt), 4), prior, _said(name, float(doubt) / prior))
        for name, value, doubt, prior in zip(NAMES, values, doubts, PRIOR_SD, strict=True)
    )
    shown = _observations(case, found, curve, inserts)
    error = discrepancy(shown)
    closure = found.events["closure"]
    spread = 0.0
    if closure is not None:
        rates = []
        for step in np.diag(STEPS):
            other = run(best + step).events["closure"]
            rates.append(0.0 if other is None else (other.stroke_mm - closure.stroke_mm) / float(step.sum()))
        spread = math.sqrt(max(float(np.array(rates) @ covariance @ np.array(rates)), 0.0))
    notes = [one.text for one in told if "could not" in one.text or "hardly" in one.text]
    far = [abs(one.difference_mm) for one in shown if abs(one.difference_mm) > FAR_MM]
    if far or bool(np.any(np.abs(best) > FAR_SDS * np.array(PRIOR_SD))):
        notes.insert(0, MISFIT)
        error = replace(error, sd_mm=max([error.sd_mm, PRIOR_SD_MM, *(one / 2.0 for one in far)]))
    if not shown:
        notes.append("Nothing measured reaches closure, so the model’s own doubt stays 0.1 mm.")
    return Learned(
        bent_case(case, tuple(float(one) for one in best)),
        told,
        None if closure is None else round(closure.stroke_mm + error.mean_mm, 4),
        None if closure is None else round(math.hypot(error.sd_mm, spread, 0.02), 4),
        error,
        round(cost, 3),
        len(cache),
        tuple(notes),
    )


def _said(name: str, share: float) -> str:
    if share < TOLD:
        return f"The data tell the {name}."
    if share < HARDLY:
        return f"The data hardly tell the {name}: it stays near what was assumed."
    return f"The data could not tell the {name}: it is as assumed."


def _observations(
    case: PullCase, found: CoarsePull, curve: tuple[Floats, Floats] | None, inserts: tuple[SetInsert, ...]
) -> tuple[Observation, ...]:
    """What the data show of the model's error in stroke: the closure of the curve, the diameters of set inserts."""
    shown = []
    closure = found.events["closure"]
    if curve is not None and closure is not None:
        grid = np.arange(0.0, float(curve[0][-1]), 0.01)
        seen = find_events(grid, _smooth(np.interp(grid, *curve)), wall_mm=case.wall_mm)["closure"]
        if seen is not None:
            shown.append(Observation(seen.stroke_mm - closure.stroke_mm, GAUGE_MM, "closure of the measured curve"))
    rows = []
    for one in inserts:
        places = np.array([one.stroke_mm - 0.1, one.stroke_mm, one.stroke_mm + 0.1])
        model = np.interp(places, found.stroke_mm, found.diameter_mm)
        slope = float(model[2] - model[0]) / 0.2
        if slope > 0.1:
            rows.append((-(one.outer_diameter_mm - float(model[1])) / slope, DIAMETER_MM / slope))
    if rows:
        mean = math.fsum(row[0] for row in rows) / len(rows)
        gauge = math.sqrt(math.fsum(row[1] ** 2 for row in rows)) / len(rows)
        shown.append(Observation(mean, math.hypot(gauge, SHAPE_MM), f"diameters of {len(rows)} set inserts"))
    return tuple(shown)


def _smooth(force: Floats) -> Floats:
    """A running mean over 0.07 mm, so that noise does not look like closure."""
    wide = 7
    padded = np.pad(force, wide // 2, mode="edge")
    return np.asarray(np.convolve(padded, np.ones(wide) / wide, mode="valid"))

"""The virtual pull in a millisecond: a small network fitted to many thousand simulated pulls, with its box and its errors.

It knows round inserts in a sheet that does not yield, within ``RANGES``; outside that it answers nothing. What it says is
as good as the simulation it was fitted to and no better: its own error, measured on pulls it was not fitted to, is part of
each answer. Built by ``studies/many_pulls``; how is told in docs/theory/emulator.md.
"""

from __future__ import annotations

import json
import math
from dataclasses import astuple, dataclass
from functools import cache
from importlib.resources import files
from io import BytesIO
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from firstpull.errors import BadInput
from firstpull.mechanics.collapse.case import PullCase
from firstpull.mechanics.collapse.events import Event, find_events
from firstpull.mechanics.collapse.material import FlowCurve, flow_stress_mpa

Floats = npt.NDArray[np.float64]
LEFT_WALLS = 0.8
"""Free shank that is left, in walls, where the curve ends."""
PLACES = 96
"""Places of the curve, evenly over the stroke after the first."""
GRID_MM = 0.01
CLEAR_WALLS = 0.4
FALLS = 0.97
Kind = Literal["falls", "climbs"]


@dataclass(frozen=True, slots=True)
class Features:
    """A pull as the network sees it: lengths in walls, strength as K / E of Swift's law, and the wall in mm.

    The wall counts only because closure is defined over 0.1 mm of stroke.
    """

    diameter: float
    free_length: float
    thickness: float
    clearance: float
    edge: float
    flange: float
    shoulder: float
    n: float
    e0: float
    strength: float
    friction: float
    wall_mm: float


RANGES: dict[str, tuple[float, float, Literal["even", "log"]]] = {
    "diameter": (8.0, 16.0, "even"),
    "free_length": (3.5, 9.5, "even"),
    "thickness": (0.5, 5.0, "even"),
    "clearance": (0.02, 0.3, "even"),
    "edge": (0.05, 0.45, "even"),
    "flange": (0.8, 3.0, "even"),
    "shoulder": (0.1, 0.7, "even"),
    "n": (0.06, 0.45, "even"),
    "e0": (0.002, 0.05, "log"),
    "strength": (0.0015, 0.008, "log"),
    "friction": (0.0, 0.3, "even"),
    "wall_mm": (0.3, 1.3, "even"),
}
"""The box of the fit, in the order of :class:`Features`; how each was spread."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Emulated:
    """What the network says of a pull. Forces in N, lengths in mm.

    ``clear_cut``: a definition of closure a quarter stricter or laxer would give nearly the same stroke; where it is not,
    there is no closure here, and the full pull has to be run. ``closure_sd_mm`` and ``force_sd_share``: one standard
    deviation of the network's own error against the simulation, without the simulation's; outliers are in it (half of
    what 95 in 100 held-back pulls of its kind kept within).
    """

    stroke_mm: Floats
    force_n: Floats
    outer_diameter_mm: Floats
    events: dict[str, Event | None]
    clear_cut: bool
    closure_sd_mm: float
    force_sd_share: float
    diameter_sd_mm: float


def features_of(case: PullCase) -> Features:
    """The case in walls, its flow curve as the nearest Swift law. mm, MPa. Raises BadInput for a pull in the air.

    Source: by definition; the Swift law is the least-squares fit of the logarithm over strains of 0.01 to 1. A step to the
    thread wider than the box counts as the box's widest: the block is stiff already.
    """
    if case.sheet is None:
        raise BadInput("The emulator knows pulls in a sheet only.", where="sheet", hint="Run the virtual pull.")
    wall = case.wall_mm
    k_mpa, e0, n = swift_of(case.metal)
    return Features(
        diameter=case.outer_diameter_mm / wall,
        free_length=case.free_length_mm / wall,
        thickness=case.sheet.thickness_mm / wall,
        clearance=(case.sheet.hole_diameter_mm - case.outer_diameter_mm) / 2.0 / wall,
        edge=case.sheet.edge_radius_mm / wall,
        flange=case.flange_thickness_mm / wall,
        shoulder=min((case.counterbore_diameter_mm - case.bore_diameter_mm) / 2.0 / wall, RANGES["shoulder"][1]),
        n=n,
        e0=e0,
        strength=k_mpa / case.metal.e_mpa,
        friction=case.friction,
        wall_mm=wall,
    )


def swift_of(metal: FlowCurve) -> tuple[float, float, float]:
    """K in MPa, e0 and n of the Swift law K (e0 + ε)ⁿ nearest to a flow curve over strains of 0.01 to 1.

    Source: Swift 1952 (from memory); least squares of the logarithm over e0 on a grid, exact for a Swift law.
    """
    if metal.law == "swift":
        return metal.k_mpa, metal.e0, metal.n
    strain = np.geomspace(0.01, 1.0, 60)
    logs = np.log(flow_stress_mpa(metal, strain))
    best = (math.inf, 0.0, 0.0, 0.0)
    for e0 in np.geomspace(0.002, 0.05, 40).tolist():
        n, log_k = np.polyfit(np.log(e0 + strain), logs, 1)
        left = float(np.sum((logs - log_k - n * np.log(e0 + strain)) ** 2))
        best = min(best, (left, math.exp(log_k), e0, float(n)))
    return best[1], best[2], best[3]


def outside(features: Features) -> tuple[str, ...]:
    """What of a pull lies outside the box of the fit, in words; empty when nothing does. Lengths in walls and mm.

    Source: by definition of the box.
    """
    said = []
    for name, value in zip(RANGES, astuple(features), strict=True):
        low, high, _scale = RANGES[name]
        if not low * (1 - 1e-9) <= value <= high * (1 + 1e-9):
            said.append(f"{WORDS[name]} is {value:.3g}; the fit covers {low:g} to {high:g}.")
    return tuple(said)


WORDS = {
    "diameter": "The outer diameter in walls",
    "free_length": "The free shank behind the sheet in walls",
    "thickness": "The sheet in walls",
    "clearance": "The gap between shank and hole in walls",
    "edge": "The hole's edge radius in walls",
    "flange": "The flange's thickness in walls",
    "shoulder": "The step from counterbore to thread in walls",
    "n": "The hardening exponent",
    "e0": "The pre-strain of Swift's law",
    "strength": "Swift's K over the modulus",
    "friction": "The friction",
    "wall_mm": "The wall in mm",
}


@cache
def _network() -> dict[str, Any]:
    data = files("firstpull.mechanics.collapse").joinpath("data", "emulator.npz").read_bytes()
    with np.load(BytesIO(data), allow_pickle=False) as stored:
        return {name: stored[name].astype(np.float64) for name in stored.files}


def scaled(points: Floats) -> Floats:
    """Rows of features as the network's inputs: −1 … 1 over the box (no unit). Source: by definition."""
    columns = []
    for column, (low, high, scale) in enumerate(RANGES.values()):
        value = points[:, column]
        share = np.log(value / low) / math.log(high / low) if scale == "log" else (value - low) / (high - low)
        columns.append(2.0 * share - 1.0)
    return np.stack(columns, axis=1)


def curves(points: Floats) -> tuple[Floats, Floats]:
    """Force over K · 2π r wall (mean radius) and growth of the outer diameter in walls, rows × PLACES, for rows of features.

    Place j is at (j + 1) / PLACES of (free length − 0.8) walls. Source: the fit of studies/many_pulls.
    """
    net = _network()
    layer = scaled(points)
    for number in range(int(net["layers"])):
        layer = layer @ net[f"w{number}"] + net[f"b{number}"]
        if number + 1 < int(net["layers"]):
            layer = layer / (1.0 + np.exp(-layer))
    out = layer * net["spread"] + net["middle"]
    return np.exp(out[:, :PLACES]), np.exp(out[:, PLACES:]) - 0.05


def strokes(points: Floats) -> Floats:
    """The strokes in mm of the curves' places, rows × PLACES. Source: by definition."""
    end = (points[:, 1] - LEFT_WALLS) * points[:, 11]
    return end[:, None] * (np.arange(1, PLACES + 1) / PLACES)[None, :]


def emulate(case: PullCase) -> Emulated:
    """Curve and events of a pull, in about a millisecond. mm, N. Raises BadInput outside the box of the fit.

    Source: the fit of studies/many_pulls; its errors were measured on pulls that it was not fitted to.
    """
    features = features_of(case)
    beyond = outside(features)
    if beyond:
        raise BadInput(
            f"The quick answer does not cover this pull. {beyond[0]}", where="case", hint="Run the virtual pull."
        )
    point = np.array([astuple(features)])
    force, growth = curves(point)
    places = np.concatenate([[0.0], strokes(point)[0]])
    grid = np.arange(0.0, places[-1], GRID_MM)
    force_n = np.interp(grid, places, np.concatenate([[0.0], force[0] * unit_force_n(case)]))
    diameter = case.outer_diameter_mm + case.wall_mm * np.interp(grid, places, np.concatenate([[0.0], growth[0]]))
    events, kind = clear_events(grid, force_n, wall_mm=case.wall_mm)
    errors = network_errors()
    return Emulated(
        stroke_mm=grid,
        force_n=force_n,
        outer_diameter_mm=diameter,
        events=events,
        clear_cut=events["closure"] is not None,
        closure_sd_mm=errors[kind]["closure_walls"] * case.wall_mm,
        force_sd_share=errors[kind]["load_share"],
        diameter_sd_mm=errors[kind]["growth_walls"] * case.wall_mm,
    )


def clear_events(stroke_mm: Floats, force_n: Floats, *, wall_mm: float) -> tuple[dict[str, Event | None], Kind]:
    """Events whose closure is left out where it hangs on the definition's factor, and the kind of curve. mm, N.

    Kinds: ``falls`` (by 3 % or more after the peak) and ``climbs``. Source: by definition, see events.
    """
    events = find_events(stroke_mm, force_n, wall_mm=wall_mm)
    others = [find_events(stroke_mm, force_n, wall_mm=wall_mm * factor)["closure"] for factor in (0.8, 1.25)]
    strict, lax = (None if event is None else event.stroke_mm for event in others)
    peak, lowest = events["peak"], events["minimum"]
    falls = peak is not None and lowest is not None and lowest.force_n < FALLS * peak.force_n
    if strict is None or lax is None or abs(strict - lax) > CLEAR_WALLS * wall_mm:
        events["closure"] = None
    return events, "falls" if falls else "climbs"


def unit_force_n(case: PullCase) -> float:
    """K of the nearest Swift law times the shank's section, N: what the network's forces are counted in. By definition."""
    k_mpa, _e0, _n = swift_of(case.metal)
    return k_mpa * math.pi * (case.outer_diameter_mm - case.wall_mm) * case.wall_mm


def closures(points: Floats) -> Floats:
    """The stroke at closure in mm for rows of features; NaN where it is not reached or not clear-cut. Source: events, on the fit."""
    force, _growth = curves(points)
    places = strokes(points)
    found = np.full(len(points), np.nan)
    for row, wall in enumerate(points[:, 11].tolist()):
        grid = np.arange(0.0, places[row, -1], GRID_MM)
        load = np.interp(grid, np.concatenate([[0.0], places[row]]), np.concatenate([[0.0], force[row]]))
        closure = clear_events(grid, load, wall_mm=wall)[0]["closure"]
        if closure is not None:
            found[row] = closure.stroke_mm
    return found


@cache
def network_errors() -> dict[str, dict[str, float]]:
    """Standard deviations of the network's own errors by kind of curve: closure and growth in walls, load as a share.

    Source: half of what 95 in 100 of the pulls held back from the fit kept within (studies/many_pulls/judge.py).
    """
    text = files("firstpull.mechanics.collapse").joinpath("data", "emulator_errors.json").read_text()
    return dict(json.loads(text)["sd"])

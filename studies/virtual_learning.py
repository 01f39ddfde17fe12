"""How well learning from a pull finds a lot that is not in its own family: synthetic lots, finer mesh, other laws, noise.

Each lot differs from what the learner is told: another hardening law, strength, friction, wall, hole and edge; its curve
comes from the fine mesh and carries a gauge's scatter and an offset. Run: python studies/virtual_learning.py [lots]
"""

from __future__ import annotations

import math
import sys
import time
from dataclasses import replace

import numpy as np

from firstpull.errors import Unsafe
from firstpull.mechanics.collapse.case import PullCase, Sheet
from firstpull.mechanics.collapse.events import find_events
from firstpull.mechanics.collapse.flow_curves import library_curve
from firstpull.mechanics.collapse.learn import PRIOR_SD, SetInsert, learn
from firstpull.mechanics.collapse.material import FlowCurve, flow_stress_mpa
from firstpull.mechanics.collapse.pull import FINE
from firstpull.mechanics.collapse.simulate import simulate

STRAINS = np.array([0.02, 0.05, 0.1, 0.2, 0.4, 0.8, 1.2])


def drawn(rng: np.random.Generator) -> tuple[PullCase, PullCase, tuple[float, float, float]]:
    """What the learner is told, the true lot, and the true constants in the learner's terms."""
    metal = library_curve(str(rng.choice(["steel", "aluminium", "brass"])))
    outer = float(rng.uniform(7.0, 11.0))
    wall = float(rng.uniform(0.09, 0.12)) * outer
    thick = float(rng.uniform(1.2, 2.5))
    told = PullCase(
        outer_diameter_mm=outer,
        counterbore_diameter_mm=outer - 2.0 * wall,
        unthreaded_length_mm=thick + float(rng.uniform(5.5, 7.0)) * wall,
        bore_diameter_mm=0.74 * (outer - 2.0 * wall),
        threaded_length_mm=0.7 * outer,
        flange_diameter_mm=1.45 * outer,
        flange_thickness_mm=1.3,
        metal=metal,
        friction=0.12,
        stroke_mm=1.0,
        sheet=Sheet(thick, outer + 0.15, 0.1, 210_000.0, 300.0),
    )
    told = replace(told, stroke_mm=0.9 * told.free_length_mm)
    strength = math.exp(rng.normal(0.0, 0.1))
    turn, friction = float(rng.normal(0.0, 0.04)), float(np.clip(rng.normal(0.12, 0.04), 0.02, 0.3))
    stress = strength * flow_stress_mpa(metal, STRAINS) * (STRAINS / 0.2) ** turn
    # the truth follows another law: Voce with a straight tail through the same stresses at 0.02, 0.2 and 1.2
    s0, q, h = voce_through(stress[0], stress[3], stress[6])
    truth_metal = FlowCurve("voce", metal.e_mpa, metal.poisson, s0_mpa=s0, q_mpa=q, b=9.0, h_mpa=h)
    sheet = replace(
        told.sheet, hole_diameter_mm=told.sheet.hole_diameter_mm + float(rng.uniform(-0.08, 0.08)), edge_radius_mm=0.15
    )
    truth = replace(
        told,
        metal=truth_metal,
        friction=friction,
        sheet=sheet,
        counterbore_diameter_mm=told.counterbore_diameter_mm + float(rng.normal(0.0, 0.01)),
    )
    real = flow_stress_mpa(truth_metal, STRAINS)
    base = flow_stress_mpa(metal, STRAINS)
    slope, level = np.polyfit(np.log((STRAINS + 0.01) / 0.21), np.log(real / base), 1)
    return told, truth, (math.exp(level), float(slope), friction)


def voce_through(low: float, middle: float, high: float) -> tuple[float, float, float]:
    """s0, Q and H of s0 + Q (1 − exp(−9 ε)) + H ε through stresses at strains 0.02, 0.2, 1.2; H and Q not below 0."""
    rows = [[1.0, 1.0 - math.exp(-9.0 * e), e] for e in (0.02, 0.2, 1.2)]
    s0, q, h = np.linalg.solve(np.array(rows), np.array([low, middle, high]))
    return float(max(s0, 20.0)), float(max(q, 0.0)), float(max(h, 0.0))


def measure(truth: PullCase, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray, float | None]:
    """Stroke, pull and diameter as a gauge would give them, and the true closure."""
    run = simulate(truth, effort=FINE)
    found = find_events(run.stroke_mm, run.force_n, wall_mm=truth.wall_mm)["closure"]
    places = np.arange(0.0, run.stroke_mm[-1] - 0.05, 0.02)
    force = np.interp(places, run.stroke_mm, run.force_n)
    peak = float(force.max())
    force = force * (1.0 + rng.normal(0.0, 0.005)) + rng.normal(0.0, 0.004 * min(peak, 12_000.0), len(force))
    diameter = np.interp(places, run.stroke_mm, run.diameter_mm) + rng.normal(0.0, 0.02, len(places))
    return places + rng.normal(0.0, 0.02), np.maximum(force, 0.0), diameter, None if found is None else found.stroke_mm


def main(lots: int) -> None:
    hits = {name: [] for name in ("strength", "hardening", "friction", "closure", "closure, triples")}
    shrink = []
    for lot in range(lots):
        rng = np.random.default_rng(7000 + lot)
        told, truth, values = drawn(rng)
        start = time.process_time()
        stroke, force, diameter, closure = measure(truth, rng)
        keep = stroke > 0.0
        if not np.isfinite(force).all():
            print(lot, "the true lot did not hold together; left out", flush=True)
            continue
        try:
            found = learn(told, curve=(stroke[keep], force[keep]))
        except Unsafe as problem:
            print(lot, problem.what, flush=True)
            continue
        for one, value in zip(found.told, values, strict=True):
            error = math.log(one.value / value) if one.name == "strength" else one.value - value
            hits[one.name].append(abs(error) / one.sd)
        line = " ".join(
            f"{one.name} {one.value:.3f}±{one.sd:.3f} ({value:.3f})"
            for one, value in zip(found.told, values, strict=True)
        )
        if closure is not None and found.closure_mm is not None:
            hits["closure"].append(abs(found.closure_mm - closure) / found.closure_sd_mm)
            line += f" closure {found.closure_mm:.2f}±{found.closure_sd_mm:.2f} ({closure:.2f})"
            shrink.append(found.closure_sd_mm)
            at = np.linspace(0.5, 0.85, 4) * closure
            three = tuple(SetInsert(float(s), float(np.interp(s, stroke, diameter))) for s in at)
            again = learn(told, inserts=three)
            if again.closure_mm is not None:
                hits["closure, triples"].append(abs(again.closure_mm - closure) / again.closure_sd_mm)
                line += f" by inserts {again.closure_mm:.2f}±{again.closure_sd_mm:.2f}"
        print(lot, line, f"runs {found.runs} cpu {time.process_time() - start:.1f} s", flush=True)
    print(f"prior sd {PRIOR_SD}")
    for name, shares in hits.items():
        if shares:
            inside = sum(one <= 2.0 for one in shares)
            print(f"{name:18} within 2 sd: {inside} of {len(shares)}, within 1 sd: {sum(one <= 1.0 for one in shares)}")
    if shrink:
        print(f"closure's doubt with a curve: {np.mean(shrink):.3f} mm in the mean")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 24)

"""The virtual pull beside recorded pulls of a general-purpose implicit finite-element program.

CalculiX 2.20 (Debian package calculix-ccx), eight-node elements CAX8R. The first line of each file says how it was made;
studies/collapse_reference.py makes it again. docs/theory/collapse.md holds the whole table and what is not met.
"""

from __future__ import annotations

import gzip
import importlib.util
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from firstpull.mechanics.collapse.events import find_events
from firstpull.mechanics.collapse.pull import FINE
from firstpull.mechanics.collapse.simulate import simulate

ROOT = Path(__file__).resolve().parents[2]


def cases() -> ModuleType:
    """The cases, from the study that had them computed."""
    spec = importlib.util.spec_from_file_location("collapse_cases", ROOT / "studies" / "collapse_cases.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(
    ("name", "case", "rms", "worst", "width"),
    [
        ("m4_alu_air_finer", "m4_alu_air", 0.010, 0.030, 0.005),
        ("m5_alu_sheet_finer", "m5_alu_sheet", 0.010, 0.035, 0.005),
        ("m5_alu_sheet_mesh", "m5_alu_sheet", 0.020, 0.050, 0.005),
        ("m5_steel_loose", "m5_steel_loose", 0.020, 0.050, 0.005),
        ("m6_stainless_sheet_finer", "m6_stainless_sheet", 0.010, 0.025, 0.005),
        ("m8_alu_soft_sheet", "m8_alu_soft_sheet", 0.005, 0.010, 0.005),
        ("m8_stainless_air_mesh", "m8_stainless_air", 0.010, 0.020, 0.005),
        ("m6_steel_air_mesh", "m6_steel_air", 0.010, 0.025, 0.005),
        ("m6_steel_sheet_finer", "m6_steel_sheet", 0.018, 0.048, 0.005),
    ],
)
def test_a_pull_follows_the_recorded_one(name: str, case: str, rms: float, worst: float, width: float) -> None:
    """Peak within 2 %, and until 0.1 mm before closure the curve and the diameter within what the note says."""
    text = gzip.decompress((ROOT / "tests" / "reference" / "data" / f"collapse_{name}.csv.gz").read_bytes()).decode()
    curve = np.array([[float(value) for value in line.split(",")] for line in text.splitlines()[2:]])
    asked = cases().CASES[case]
    asked = replace(asked, stroke_mm=min(asked.stroke_mm, float(curve[-1, 0])))
    run = simulate(asked, effort=FINE)
    at = run.stroke_mm
    force, diameter = (np.interp(at, curve[:, 0], curve[:, column]) for column in (1, 2))
    ours, theirs = (find_events(at, load, wall_mm=asked.wall_mm) for load in (run.force_n, force))
    assert ours["peak"] is not None
    assert theirs["peak"] is not None
    assert ours["peak"].force_n == pytest.approx(theirs["peak"].force_n, rel=0.02)
    ends = [found["closure"].stroke_mm for found in (ours, theirs) if found["closure"]]
    until = (at >= 0.1) & (at < min([*ends, float(at[-1]) + 0.1]) - 0.1)
    error = (run.force_n - force)[until] / theirs["peak"].force_n
    assert float(np.sqrt(np.mean(error**2))) < rms
    assert float(np.abs(error).max()) < worst
    assert float(np.abs(run.diameter_mm / diameter - 1.0)[until].max()) < width
    assert run.energy_error < 0.02
    assert run.kinetic_share < 0.02


def test_a_fold_in_a_sheet_closes_where_the_recorded_one_does() -> None:
    """The closure of the steel case in 2 mm of sheet lies within 0.05 mm of 5.63 mm, as recorded with increments of 0.2 %."""
    asked = cases().CASES["m6_steel_sheet"]
    run = simulate(asked, effort=FINE)
    closure = find_events(run.stroke_mm, run.force_n, wall_mm=asked.wall_mm)["closure"]
    assert closure is not None
    assert closure.stroke_mm == pytest.approx(5.63, abs=0.05)

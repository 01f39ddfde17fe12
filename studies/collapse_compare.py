"""Print one table: the virtual pull beside the recorded reference pulls, and the estimate by hand beside both.

    python studies/collapse_compare.py [LAYERS [PACE]]

Errors are shares of the reference's peak, between 0.1 mm and 0.1 mm before the earlier of the two closures.
"""

from __future__ import annotations

import gzip
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from collapse_cases import BUILD, CASES

from firstpull.mechanics.collapse.closed_form import estimate_collapse
from firstpull.mechanics.collapse.events import find_events
from firstpull.mechanics.collapse.simulate import Effort, simulate

DATA = Path(__file__).resolve().parents[1] / "tests" / "reference" / "data"


def main() -> None:
    """Compare every recorded case."""
    layers = int(sys.argv[1]) if len(sys.argv) > 1 else 4
    pace = float(sys.argv[2]) if len(sys.argv) > 2 else 0.0012
    first = next(iter(CASES.values()))
    simulate(replace(first, stroke_mm=0.05), effort=Effort(layers=layers, pace=0.01))  # compiled before it is timed
    print(
        "case                        use    peak %   rms %  worst %  diameter %  closure mm (ref)  after mm  cpu s  ratio  hand %"
    )
    for path in sorted(DATA.glob("collapse_*.csv.gz")):
        name = path.name.removeprefix("collapse_").removesuffix(".csv.gz")
        case = CASES[name.removesuffix("_finer")]
        text = gzip.decompress(path.read_bytes()).decode()
        seconds = float(text.splitlines()[0].split()[-5])
        curve = np.array([[float(value) for value in line.split(",")] for line in text.splitlines()[2:]])
        case = replace(case, stroke_mm=min(case.stroke_mm, float(curve[-1, 0])))
        start = time.process_time()
        run = simulate(case, effort=Effort(layers=layers, pace=pace))
        took = time.process_time() - start
        at = run.stroke_mm
        force, width = (np.interp(at, curve[:, 0], curve[:, column]) for column in (1, 2))
        ours, theirs = (find_events(at, load, wall_mm=case.wall_mm) for load in (run.force_n, force))
        ends = [found["closure"].stroke_mm for found in (ours, theirs) if found["closure"]]
        end = min([*ends, at[-1] + 0.1]) - 0.1
        until = (at >= 0.1) & (at < end)
        peak = theirs["peak"].force_n
        error = (run.force_n - force)[until] / peak
        both = ours["closure"] and theirs["closure"]
        closures = f"{ours['closure'].stroke_mm:.2f} ({theirs['closure'].stroke_mm:.2f})" if both else "–"
        after = f"{shift(at, run.force_n, force, ends):.2f}" if both else "–"
        hand = estimate_collapse(case).mean_n / float(np.mean(force[until])) - 1.0
        print(
            f"{name:27s} {'build' if name.removesuffix('_finer') in BUILD else 'judge'} {100 * (ours['peak'].force_n / peak - 1):8.2f}"
            f" {100 * np.sqrt(np.mean(error**2)):7.2f} {100 * np.abs(error).max():8.2f}"
            f" {100 * np.abs(run.diameter_mm / width - 1)[until].max():11.2f} {closures:>17s} {after:>9s} {took:6.2f} {seconds / took:6.0f} {100 * hand:7.0f}"
        )


def shift(at: np.ndarray, ours: np.ndarray, theirs: np.ndarray, ends: list[float]) -> float:
    """Largest difference of the strokes at which both reach the same force after both folds closed."""
    late = at > max(ends)
    if not late.any():
        return float("nan")
    most = min(ours[late].max(), theirs[late].max())
    loads = np.linspace(max(ours[late][0], theirs[late][0]), most, 20)
    reached = [np.array([at[late][np.argmax(curve[late] >= load)] for load in loads]) for curve in (ours, theirs)]
    return float(np.abs(reached[0] - reached[1]).max())


if __name__ == "__main__":
    main()

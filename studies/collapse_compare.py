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
        case = CASES[plain(name)]
        curve, seconds = recorded(path)
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
            f"{name:27s} {'build' if plain(name) in BUILD else 'judge'} {100 * (ours['peak'].force_n / peak - 1):8.2f}"
            f" {100 * np.sqrt(np.mean(error**2)):7.2f} {100 * np.abs(error).max():8.2f}"
            f" {100 * np.abs(run.diameter_mm / width - 1)[until].max():11.2f} {closures:>17s} {after:>9s} {took:6.2f} {seconds / took:6.0f} {100 * hand:7.0f}"
        )


def plain(name: str) -> str:
    """The case's name without what was changed: smaller increments (finer), a third of the slope (softer), another mesh."""
    for suffix in ("_finer", "_softer", "_mesh"):
        name = name.removesuffix(suffix)
    return name


def recorded(path: Path) -> tuple[np.ndarray, float]:
    """A recorded curve and the seconds it took."""
    text = gzip.decompress(path.read_bytes()).decode()
    rows = [[float(value) for value in line.split(",")] for line in text.splitlines()[2:]]
    return np.array(rows), float(text.splitlines()[0].split()[-5])


def spread() -> None:
    """How far the reference's own variants lie from its first run, until 0.1 mm before the earlier closure."""
    print("\nreference beside itself             until mm    rms %  worst %   (last 0.5 mm %)  closure mm (first run)")
    for path in sorted(DATA.glob("collapse_*_*.csv.gz")):
        name = path.name.removeprefix("collapse_").removesuffix(".csv.gz")
        if name == plain(name):
            continue
        first, other = recorded(DATA / f"collapse_{plain(name)}.csv.gz")[0], recorded(path)[0]
        at = np.arange(0.1, min(first[-1, 0], other[-1, 0]), 0.01)
        loads = [np.interp(at, curve[:, 0], curve[:, 1]) for curve in (first, other)]
        found = [find_events(at, load, wall_mm=CASES[plain(name)].wall_mm) for load in loads]
        closed = [one["closure"].stroke_mm if one["closure"] else None for one in found]
        until = at < min([*(stroke for stroke in closed if stroke), at[-1] + 0.1]) - 0.1
        error = ((loads[1] - loads[0]) / loads[0][until].max())[until]
        print(
            f"{name:35s} {at[until][-1]:8.2f} {100 * np.sqrt(np.mean(error**2)):8.2f} {100 * np.abs(error).max():8.2f}"
            f" {100 * float(np.mean(error[-50:])):14.2f}      {closed[1] or float('nan'):.2f} ({closed[0] or float('nan'):.2f})"
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
    spread()

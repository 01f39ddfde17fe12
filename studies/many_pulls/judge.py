"""The errors of the emulator on the pulls that it was not fitted to, kind by kind, as the product will say them.

    python -m studies.many_pulls.judge FOLDER

Reads curves_*.npz of FOLDER and the packaged network; writes emulator_errors.json beside the network.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
from studies.many_pulls.fit import FITTED, GROWTH_SHIFT, loaded

from firstpull.mechanics.collapse import emulator
from firstpull.mechanics.collapse.emulator import PLACES, clear_events, curves, strokes

QUANTILES = (0.5, 0.683, 0.9, 0.95, 0.99)
DATA = Path(emulator.__file__).parent / "data" / "emulator_errors.json"


def main() -> None:
    """Compare pull by pull, write quantiles and the standard deviations that answers carry."""
    points, targets, of = loaded(Path(sys.argv[1]))
    cut = int(FITTED * len(points))
    points, targets = points[cut:], targets[cut:]
    force, growth = curves(points)
    true_force, true_growth = np.exp(targets[:, :PLACES]), np.exp(targets[:, PLACES:]) - GROWTH_SHIFT
    off: dict[str, dict[str, list[float]]] = {
        kind: {"closure_walls": [], "load_share": [], "growth_walls": []} for kind in ("falls", "climbs")
    }
    count = {"falls": 0, "climbs": 0, "clear": 0, "clear_here_only": 0}
    for row, point in enumerate(points):
        wall = float(point[11])
        places = np.concatenate([[0.0], strokes(point[None, :])[0]])
        grid = np.arange(0.0, places[-1], emulator.GRID_MM)
        said, kind = clear_events(grid, np.interp(grid, places, np.concatenate([[0.0], force[row]])), wall_mm=wall)
        load = np.interp(grid, places, np.concatenate([[0.0], true_force[row]]))
        true = clear_events(grid, load, wall_mm=wall)[0]
        count[kind] += 1
        closure, real = said["closure"], true["closure"]
        if closure is None:
            continue
        count["clear"] += 1
        if real is None:
            count["clear_here_only"] += 1
            continue
        off[kind]["closure_walls"].append(abs(closure.stroke_mm - real.stroke_mm) / wall)
        off[kind]["load_share"].append(abs(closure.force_n / float(np.interp(closure.stroke_mm, grid, load)) - 1.0))
        at = np.interp(closure.stroke_mm, places[1:], np.abs(growth[row] - true_growth[row]))
        off[kind]["growth_walls"].append(float(at))
    said_all = {
        "pulls": of,
        "sound": round(len(targets) / (1.0 - FITTED)),
        "held_back": len(points),
        "force_rms_share": float(np.sqrt(np.mean((np.log(force) - targets[:, :PLACES]) ** 2))),
        "growth_rms_walls": float(np.sqrt(np.mean((growth - true_growth) ** 2))),
        "count": count,
        "quantiles": {
            kind: {name: dict(zip(map(str, QUANTILES), np.quantile(values, QUANTILES).round(4).tolist(), strict=True))
                   for name, values in of_kind.items()}
            for kind, of_kind in off.items()
        },
        "sd": {
            kind: {name: round(float(np.quantile(values, 0.95)) / 1.96, 5) for name, values in of_kind.items()}
            for kind, of_kind in off.items()
        },
    }  # fmt: skip
    DATA.write_text(json.dumps(said_all, indent=1) + "\n")
    print(json.dumps(said_all, indent=1))


if __name__ == "__main__":
    main()

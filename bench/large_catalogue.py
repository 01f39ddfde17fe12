"""A made-up catalogue of any size, for the benches of size.

Every row is a row of the demo catalogue with its grip range, lengths, loads and finish varied, so that sizes, kinds and
what is not known are spread as they are there. Always the same for a given count. Demo data: no such inserts exist.
"""

from __future__ import annotations

import csv
import sys
from importlib import resources
from pathlib import Path

import numpy as np

LENGTHS = ("length_free", "grip_min", "grip_max")
FINISHES = ("zinc", "zinc-nickel", "plain", "black", "blue", "yellow", "tin", "waxed")


def write(path: Path, count: int) -> None:
    """Write ``count`` rows to ``path`` as CSV."""
    text = resources.files("firstpull.jobs").joinpath("demo/inserts.csv").read_text(encoding="utf-8")
    heading, *rows = list(csv.reader(text.splitlines()))
    at = {name: index for index, name in enumerate(heading)}
    chance = np.random.default_rng(20261125)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(heading)
        for start in range(0, count, 50_000):
            size = min(50_000, count - start)
            pick = chance.integers(len(rows), size=size)
            shift = chance.integers(-3, 12, size=size) * 0.05
            longer = chance.integers(0, 20, size=size) * 0.05
            load = chance.integers(90, 121, size=size) / 100
            for index in range(size):
                row = list(rows[pick[index]])
                row[0] = f"DEMO-{start + index:07d}"
                grip_min = max(_mm(row[at["grip_min"]]) + shift[index], 0.1)
                grip_max = _mm(row[at["grip_max"]]) + shift[index]
                row[at["grip_min"]], row[at["grip_max"]] = f"{grip_min:.2f} mm", f"{grip_max:.2f} mm"
                row[at["length_free"]] = f"{_mm(row[at['length_free']]) + abs(shift[index]) + longer[index]:.2f} mm"
                if row[at["setting_load [N]"]]:
                    row[at["setting_load [N]"]] = f"{float(row[at['setting_load [N]']]) * load[index]:.0f}"
                row[at["note"]] = f"demo data, {FINISHES[index % len(FINISHES)]}"
                writer.writerow(row)


def _mm(text: str) -> float:
    return float(text.removesuffix(" mm").removesuffix(" in")) * (25.4 if text.endswith("in") else 1.0)


if __name__ == "__main__":
    write(Path(sys.argv[1]), int(sys.argv[2]))

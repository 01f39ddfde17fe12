"""How long the setup card takes, cold and warm: python bench/card_speed.py writes bench/results/card_speed.md.

Every warm run sets another title, so that nothing can be answered from the typesetter's memory of the same card.
Wall time is what a person waits; CPU time of the same runs shows how much of it is another program's load.
"""

from __future__ import annotations

import os
import platform
import statistics
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]
RUNS = 30
GOAL_MS = 150


def main() -> None:
    from paper_example import CARD

    start = time.perf_counter()
    from firstpull.paper.card import card_pdf

    card_pdf(CARD, size="A4", unit="mm")
    first_ms = 1000 * (time.perf_counter() - start)
    rows = []
    for size in ("A5", "A4"):
        wall, cpu = [], []
        for run in range(RUNS):
            card = {**CARD, "title": f"Tray lid {run}"}
            wall_start, cpu_start = time.perf_counter(), time.process_time()
            made = card_pdf(card, size=size, unit="mm")
            wall.append(1000 * (time.perf_counter() - wall_start))
            cpu.append(1000 * (time.process_time() - cpu_start))
        nearly_all = sorted(wall)[int(0.9 * RUNS)]
        kilobytes = len(made) / 1000
        rows.append(
            f"| {size} | {statistics.median(wall):.0f} | {nearly_all:.0f} | {statistics.median(cpu):.0f} | {kilobytes:.0f} |"
        )
    text = "\n".join(
        [
            "# Setup card as PDF",
            "",
            f"`python bench/card_speed.py`, {RUNS} cards a size, each with another title. Goal: under {GOAL_MS} ms warm.",
            f"Python {platform.python_version()}, {os.cpu_count()} cores, load average {os.getloadavg()[0]:.1f} at the end.",
            f"The first card of a process, imports and fonts included: {first_ms:.0f} ms.",
            "",
            "| size | wall, median ms | wall, 90 % ms | CPU, median ms | kB |",
            "|---|---|---|---|---|",
            *rows,
            "",
        ]
    )
    (ROOT / "bench" / "results").mkdir(exist_ok=True)
    (ROOT / "bench" / "results" / "card_speed.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()

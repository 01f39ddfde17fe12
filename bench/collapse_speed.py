"""How long a virtual pull takes, beside the implicit reference program in the same run.

    python bench/collapse_speed.py          writes bench/results/collapse_speed.md

CPU time of one process on one core. The kernels are compiled (or read from their cache) before anything is timed. Where
``ccx`` (Debian package calculix-ccx) is not installed, its column holds a dash.
"""

from __future__ import annotations

import os
import platform
import resource
import shutil
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "studies")]
TIMED = ("m4_brass_air", "m6_steel_sheet", "m5_alu_sheet", "m6_stainless_sheet", "m8_stainless_air")
BESIDE = "m4_brass_air"
GOAL_S, RATIO = 1.0, 100.0
RUNS = 3


def reference_s() -> float | None:
    """CPU seconds of the reference program for the case it solves soonest, or None where it is not installed."""
    from collapse_cases import CASES
    from collapse_reference import run

    if shutil.which("ccx") is None:
        return None
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    with tempfile.TemporaryDirectory() as folder:
        curve, _, _ = run(
            CASES[BESIDE], BESIDE, layers=3, slope=1e6, first=0.001, most=0.003, work=Path(folder), limit_s=400.0
        )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if curve[-1, 0] < 0.99 * CASES[BESIDE].stroke_mm:
        return None
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


def main() -> None:
    """Time every case and write the table."""
    from collapse_cases import CASES

    from firstpull.mechanics.collapse.pull import COARSE, FINE, virtual_pull
    from firstpull.mechanics.collapse.simulate import simulate

    start = time.perf_counter()
    virtual_pull(replace(CASES["m5_alu_sheet"], stroke_mm=1.0))
    first_s = time.perf_counter() - start
    beside_s = reference_s()
    rows = []
    for name in TIMED:
        times: dict[str, list[float]] = {"fine": [], "coarse": [], "whole": []}
        for _ in range(RUNS):
            start = time.process_time()
            run = simulate(CASES[name], effort=FINE)
            times["fine"].append(time.process_time() - start)
            start = time.process_time()
            simulate(CASES[name], effort=COARSE)
            times["coarse"].append(time.process_time() - start)
            start = time.process_time()
            virtual_pull(CASES[name])
            times["whole"].append(time.process_time() - start)
        fine, coarse, whole = (min(spent) for spent in times.values())
        step_ns = 1e9 * fine / (run.steps * run.quads)
        ratio = f"{beside_s / fine:.0f}" if name == BESIDE and beside_s else "–"
        rows.append(
            f"| {name} | {run.quads} | {run.steps} | {fine:.2f} | {step_ns:.0f} | {coarse:.2f} | {whole:.2f} | {ratio} |"
        )
    shown = "not run" if beside_s is None else f"{beside_s:.1f} s of CPU for {BESIDE}"
    text = "\n".join(
        [
            "# A virtual pull",
            "",
            f"`python bench/collapse_speed.py`, best of {RUNS}. Goals: the whole answer in {GOAL_S:.0f} s of CPU, one pull",
            f"{RATIO:.0f} times sooner than the implicit program at its recorded settings ({shown}, the same run).",
            f"Python {platform.python_version()}, {os.cpu_count()} cores, load average {os.getloadavg()[0]:.1f} at the end.",
            f"The first answer of the process, kernels read or compiled: {first_s:.1f} s.",
            "",
            "| case | elements | steps | fine run, s | ns an element step | coarse run, s | whole answer, s | implicit / fine |",
            "|---|---|---|---|---|---|---|---|",
            *rows,
            "",
        ]
    )
    (ROOT / "bench" / "results" / "collapse_speed.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()

"""How much sooner the quick answer is than the pull it stands for: ``python bench/emulator_speed.py`` writes results.

One M6 insert in 1.5 mm of sheet, one core, processor time: the emulator beside the coarse and the fine run, in one process.
"""

from __future__ import annotations

import platform
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "src"))

from firstpull.mechanics.collapse.case import PullCase, Sheet
from firstpull.mechanics.collapse.emulator import emulate
from firstpull.mechanics.collapse.material import FlowCurve
from firstpull.mechanics.collapse.pull import COARSE, FINE
from firstpull.mechanics.collapse.simulate import simulate

METAL = FlowCurve("swift", 210_000.0, 0.3, k_mpa=700.0, e0=0.01, n=0.2)
CASE = PullCase(9.0, 7.4, 6.8, 6.0, 7.0, 13.0, 1.5, METAL, 0.12, 4.6, Sheet(1.5, 9.1, 0.15))


def milliseconds(act: Callable[[], object], *, times: int) -> float:
    """Processor time of one call, after one that warms up."""
    act()
    begin = time.process_time()
    for _ in range(times):
        act()
    return 1000.0 * (time.process_time() - begin) / times


def main() -> None:
    quick = milliseconds(lambda: emulate(CASE), times=200)
    rows = [("quick answer", quick)]
    rows += [(name, milliseconds(lambda e=effort: simulate(CASE, effort=e), times=3))
             for name, effort in (("coarse run", COARSE), ("fine run", FINE))]  # fmt: skip
    lines = [
        "# The quick answer beside the pull",
        "",
        f"`python bench/emulator_speed.py`, Python {platform.python_version()}; what is measured stands there.",
        "",
        "| what | ms | times the quick answer |",
        "|---|---|---|",
        *(f"| {name} | {spent:.2f} | {spent / quick:.0f} |" for name, spent in rows),
    ]
    text = "\n".join(lines) + "\n"
    print(text)
    (Path(__file__).parent / "results" / "emulator_speed.md").write_text(text)


if __name__ == "__main__":
    main()

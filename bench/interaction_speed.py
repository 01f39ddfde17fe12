"""How soon a press answers: ``python bench/interaction_speed.py`` writes bench/results/interaction_speed.md.

A real browser on a real server: from the press of the next action until the page that it leads to has been painted, with
the durable save and the next advice in between. Measured inside the page: the time to the second animation frame after
the new page's question stands. Medians over a practice dial-in that is walked again and again. Needs Chromium.
"""

from __future__ import annotations

import os
import platform
import statistics
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from playwright.sync_api import Page, sync_playwright

from browser_bench import SMALL, served, workshop_in
from firstpull.jobs import practice_bench
from firstpull.jobs.demo_workshop import fill_demo
from firstpull.jobs.workshop import Doing, Workshop

CHROMIUM = "/usr/bin/chromium"
QUIET = [
    "--no-sandbox",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
GOAL_MS, WALKS, MOST_ACTS = 100, 8, 14

PRESS = """() => new Promise((done) => {
  const before = document.querySelector("main"), start = performance.now();
  const watch = () => document.querySelector("main") !== before
    ? requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - start)))
    : requestAnimationFrame(watch);
  document.querySelector("main .actions .action").click();
  watch();
})"""


def walk(page: Page, address: str, times: dict[str, list[float]]) -> None:
    """One practice dial-in by the largest button; each press is timed under its label."""
    page.goto(address)
    for _act in range(MOST_ACTS):
        label = page.locator("main .actions .action").first.inner_text().strip()
        if page.locator("main .actions button.action").count() == 0:
            return
        times.setdefault(label, []).append(float(page.evaluate(PRESS)))
        page.wait_for_load_state()


def main() -> None:
    times: dict[str, list[float]] = {}
    with tempfile.TemporaryDirectory() as folder:
        made = Workshop(Path(folder) / "data")
        fill_demo(made)
        jobs = [practice_bench.start(made.practice, doing=Doing("Ada"), seed=70 + n).id for n in range(WALKS)]
        made.close()
        with served(workshop_in(Path(folder) / "data", demo=True)) as bench, sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
            page = browser.new_context(viewport=SMALL).new_page()
            page.context.add_cookies(
                [
                    {"name": f"firstpull_{name}", "value": value, "url": bench.address}
                    for name, value in (("person", "Ada"), ("seen", "1"))
                ]
            )
            for job in jobs:
                walk(page, f"{bench.address}/practice/jobs/{job}/dial-in", times)
            browser.close()
    write(times)


def write(times: dict[str, list[float]]) -> None:
    when, load = datetime.now(UTC).date().isoformat(), os.getloadavg()[0]
    rows = [
        "# How soon a press answers\n",
        f"{when}, Python {platform.python_version()}, {os.cpu_count()} cores, load {load:.1f}. Written by "
        "`bench/interaction_speed.py`, which says what is measured.\n",
        "| press | times | median | slowest | goal |\n|---|---|---|---|---|",
    ]
    for label, values in times.items():
        rows.append(
            f"| {label} | {len(values)} | {statistics.median(values):.0f} ms | {max(values):.0f} ms | {GOAL_MS} ms |"
        )
    everything = [value for values in times.values() for value in values]
    rows.append(
        f"| all | {len(everything)} | {statistics.median(everything):.0f} ms | {max(everything):.0f} ms | {GOAL_MS} ms |"
    )
    text = "\n".join(rows) + "\n"
    (Path(__file__).parent / "results" / "interaction_speed.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()

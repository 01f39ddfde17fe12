"""A catalogue of a million rows: python bench/catalogue_size.py [ROWS] writes bench/results/catalogue_size.md.

The catalogue is invented (bench/large_catalogue.py, always the same). Measured on one core: the import of the CSV file by
the command line with its greatest memory, also of a quarter of the rows; the first use after it; and choosing from the
warm shelf, in turns with a plain SQL filter over the same rows (SQLite in memory, with an index on thread and
grip) that makes the same hard checks, counts what fits and sorts it by the grip's margin. The SQL filter reckons no
strength, gives no reasons and no cures. An import is disk, reading and hashing; repeat it on a quiet machine.
"""

from __future__ import annotations

import os
import platform
import resource
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "bench")]
ROUNDS = 40
TOLD = 20


def main() -> None:
    import large_catalogue

    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        imports = []
        for rows in (count // 4, count):
            large_catalogue.write(folder / f"{rows}.csv", rows)
            imports.append((rows, *_import(folder / f"{rows}.csv", folder / f"data{rows}")))
        from firstpull.jobs.workshop import Workshop

        workshop = Workshop(folder / f"data{count}")
        began = time.perf_counter()
        shelf = workshop.bench.inserts()
        first_s = time.perf_counter() - began
        workshop.close()
        again = Workshop(folder / f"data{count}")
        began = time.perf_counter()
        shelf = again.bench.inserts()
        again_s = time.perf_counter() - began
        table = _sql_table(shelf)
        choices = [_compare(name, shelf, table, question) for name, question in _questions().items()]
        again.close()
    _write(imports, first_s, again_s, choices, rows=len(shelf))


def _import(file: Path, data: Path) -> tuple[float, float, float]:
    """Wall seconds, CPU seconds and the greatest memory in MiB of an import by the command line."""
    code = (
        "import resource, sys; from firstpull.cli.main import main\n"
        "try: main(sys.argv[1:])\n"
        "finally: print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)"
    )
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began = time.perf_counter()
    found = subprocess.run(
        [sys.executable, "-c", code, "--data", str(data), "--by", "Bench", "catalogue", "import", str(file)],
        env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
        capture_output=True,
        text=True,
        check=False,
    )
    wall = time.perf_counter() - began
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if "0 problem(s)" not in found.stdout:
        raise SystemExit(found.stdout + found.stderr)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return wall, cpu, int(found.stderr.split()[-1]) / 1024


def _questions() -> dict[str, dict[str, Any]]:
    from firstpull.mechanics.joint import Edges, JointDemand, LoadRange, Loads, Screw
    from firstpull.mechanics.needs import Needs
    from firstpull.mechanics.stack import Layer, Stack
    from firstpull.units import parse_length

    thin = Stack(layers=(Layer("steel", parse_length("1.5 mm"), parse_length("0.05 mm")),))
    thick = Stack(layers=(*thin.layers, Layer("aluminium 5052-H32", parse_length("1 mm"), parse_length("0.05 mm"))))

    def joint(hole: str) -> JointDemand:
        return JointDemand(
            loads=Loads(tension=LoadRange(500, 2000), shear=LoadRange(0, 800)),
            screw=Screw(strength="8.8", mating_thickness=parse_length("3 mm"), clearance_hole=parse_length(hole)),
            edges=Edges(edge=parse_length("30 mm")),
        )

    return {
        "M6, hard checks": {"stack": thick, "needs": Needs(thread="M6")},
        "M6 closed flat, 20 mm of room, hard checks": {
            "stack": thick,
            "needs": Needs(thread="M6", end="closed", head="flat", room_behind_mm=20),
        },
        "M6 with loads, every check": {"stack": thick, "needs": Needs(thread="M6"), "joint": joint("6.6 mm")},
        "M8 with loads, every check": {"stack": thin, "needs": Needs(thread="M8"), "joint": joint("9 mm")},
    }


def _sql_table(shelf: Any) -> sqlite3.Connection:
    import numpy as np

    from firstpull.mechanics.asked import thread_name

    base = sqlite3.connect(":memory:")
    base.execute(
        "CREATE TABLE item (part TEXT, thread TEXT, head TEXT, end TEXT, free INT, low INT, high INT, flange INT)"
    )
    columns = [shelf.parts]
    for name in ("thread", "head", "end"):
        column = shelf.columns[name]
        words = [thread_name(word) if name == "thread" else word for word in column.values]
        columns.append(np.array(words, object)[column.codes].tolist())
    columns += [shelf.numbers(name).tolist() for name in ("length_free", "grip_min", "grip_max", "flange_thickness")]
    base.executemany("INSERT INTO item VALUES (?, ?, ?, ?, ?, ?, ?, ?)", zip(*columns, strict=True))
    base.execute("CREATE INDEX item_fit ON item (thread, high, low)")
    base.execute("ANALYZE")
    return base


def _sql(base: sqlite3.Connection, question: dict[str, Any]) -> tuple[int, list[str]]:
    """What fits, counted, and the parts with the roomiest grip."""
    from firstpull.mechanics.stack import thickness
    from firstpull.trade.threads import thread

    size, needs = thickness(question["stack"]), question["needs"]
    low, high = round(size.low_mm * 1e6), round(size.high_mm * 1e6)
    where, values = "thread = ? AND high >= ? AND low <= ?", [thread(needs.thread).designation, high, low]
    for name in ("end", "head"):
        if getattr(needs, name) is not None:
            where += f" AND {name} = ?"
            values.append(getattr(needs, name))
    if needs.room_behind_mm is not None:
        where += " AND free - max(flange, 0) - ? <= ?"
        values += [low, round(needs.room_behind_mm * 1e6)]
    (count,) = base.execute(f"SELECT count(*) FROM item WHERE {where}", values).fetchone()
    rows = base.execute(
        f"SELECT part FROM item WHERE {where} ORDER BY -2.0 * min(? - low, high - ?) / (high - low), high, free, part LIMIT {TOLD}",
        [*values, low, high],
    )
    return count, [part for (part,) in rows]


def _compare(name: str, shelf: Any, base: sqlite3.Connection, question: dict[str, Any]) -> dict[str, Any]:
    from firstpull.mechanics.choose import choose

    ours, theirs = [], []
    choice, sql = choose(shelf, most=TOLD, **question), _sql(base, question)
    for _round in range(ROUNDS):
        ours.append(_timed(lambda: choose(shelf, most=TOLD, **question)))
        theirs.append(_timed(lambda: _sql(base, question)))
    return {
        "name": name,
        "fits": choice.fits,
        "sql_fits": sql[0],
        "ours": statistics.median(ours),
        "ours_95": sorted(ours)[int(0.95 * ROUNDS)],
        "sql": statistics.median(theirs),
    }


def _timed(act: Callable[[], Any]) -> float:
    began = time.perf_counter()
    act()
    return 1000 * (time.perf_counter() - began)


def _write(
    imports: list[tuple[int, float, float, float]],
    first_s: float,
    again_s: float,
    choices: list[dict[str, Any]],
    *,
    rows: int,
) -> None:
    lines = [
        "# A catalogue of a million rows",
        "",
        f"`python bench/catalogue_size.py`, {rows:,} invented rows of 28 columns. Python {platform.python_version()}, one core of",
        f"{os.cpu_count()}, load average {os.getloadavg()[0]:.1f} at the end.",
        "",
        "| import of | wall s | CPU s | rows a second | greatest memory MiB |",
        "|---|---|---|---|---|",
        *(
            f"| {count:,} rows | {wall:.1f} | {cpu:.1f} | {count / wall:,.0f} | {memory:.0f} |"
            for count, wall, cpu, memory in imports
        ),
        "",
        f"First use after the import (the shelf is made from the record): {first_s:.1f} s. When the program starts again (it",
        f"was kept beside the record): {again_s:.2f} s.",
        "",
        f"Choosing, warm, the {TOLD} best with every check in words and the {TOLD} nearest misses with their cures; in the same",
        "run, in turns, the plain SQL filter that only sorts by grip. Milliseconds, medians of",
        f"{ROUNDS} rounds.",
        "",
        "| question | fit (ours) | pass (SQL) | ours ms | 95 % ms | SQL ms | SQL / ours |",
        "|---|---|---|---|---|---|---|",
        *(
            f"| {row['name']} | {row['fits']:,} | {row['sql_fits']:,} | {row['ours']:.1f} | {row['ours_95']:.1f} "
            f"| {row['sql']:.1f} | {row['sql'] / row['ours']:.1f} |"
            for row in choices
        ),
        "",
    ]
    target = ROOT / "bench" / "results" / "catalogue_size.md"
    target.write_text("\n".join(lines), encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()

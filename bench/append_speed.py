"""How long a durable append and the reading of a job take, with 100,000 readings in the record.

    python bench/append_speed.py [FOLDER]

The record is made in FOLDER (the system's temporary folder if not given), so name one on the disk that matters. A
durable append is mostly waiting for the disk: the time of a bare fsync there is measured beside it, since a virtual
disk may acknowledge without having written, and a median from it then says little about a workshop's computer.
"""

from __future__ import annotations

import os
import platform
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from firstpull.record.event import Event, NewEvent
from firstpull.store import Store

READINGS = 100_000
PER_JOB = 200
AT = "2026-03-02T09:15:00Z"
RESULTS = Path(__file__).parent / "results" / "append_speed.md"


def pulled(number: int) -> NewEvent:
    length = {"nm": 11_160_000 + number % 40 * 10_000, "typed": f"{11.16 + number % 40 / 100:.2f}"}
    free = {"nm": 15_500_000, "typed": "15.50"}
    return NewEvent("TrialPulled", {"free": free, "set": length, "where": "air"}, f"r{number}", gauge="C1", tool="T1")


def summed(_stream: str, events: tuple[Event, ...]) -> dict[str, Any]:
    return {"title": "Battery tray lid, demo", "pulls": len(events)}


def median_ms(act: Callable[[int], object], *, times: int) -> tuple[float, float]:
    """The median and the 95th percentile of ``times`` calls, in ms."""
    taken = []
    for number in range(times):
        start = time.perf_counter()
        act(number)
        taken.append((time.perf_counter() - start) * 1000)
    return statistics.median(taken), sorted(taken)[int(0.95 * times)]


def bare_fsync_ms(folder: Path) -> tuple[float, float]:
    with open(folder / "probe", "wb", buffering=0) as probe:

        def act(number: int) -> None:
            probe.seek(4096 * (number % 8))
            probe.write(os.urandom(4096))
            os.fsync(probe.fileno())

        return median_ms(act, times=200)


def measure(folder: Path) -> list[tuple[str, float, float]]:
    rows = [("bare 4 kB write and fsync on this disk", *bare_fsync_ms(folder))]
    with Store(folder / "record", summarise=summed) as store:
        for number in range(0, READINGS, PER_JOB):
            store.append(
                f"job:{number // PER_JOB}", 0, [pulled(number + count) for count in range(PER_JOB)], at=AT, by="Demo"
            )
        # one job that holds as many readings as a very long dial-in, and one that has just begun
        rows.append(
            (
                "append 1 reading, acknowledged, new job",
                *median_ms(lambda n: store.append("job:new", n, [pulled(READINGS + n)], at=AT, by="Demo"), times=100),
            )
        )
        rows.append(
            (
                f"append 1 reading, acknowledged, job of {PER_JOB}+",
                *median_ms(
                    lambda n: store.append("job:250", PER_JOB + n, [pulled(READINGS + 1000 + n)], at=AT, by="Demo"),
                    times=100,
                ),
            )
        )
        rows.append((f"read a job of {PER_JOB} readings", *median_ms(lambda n: store.read(f"job:{n}"), times=200)))
        rows.append(
            (
                "read what is new in that job (after=199)",
                *median_ms(lambda n: store.read(f"job:{n}", after=199), times=200),
            )
        )
        rows.append(("summaries of all 501 jobs", *median_ms(lambda _: store.summaries("job"), times=50)))
        rows.append(("search the summaries", *median_ms(lambda _: store.search("tray job:77"), times=50)))
        rows.append(("names of all streams", *median_ms(lambda _: store.streams("job"), times=50)))
        rows.append(("verify the whole record", *median_ms(lambda _: store.verify(), times=1)))
    rows.append(("open the record", *median_ms(lambda _: Store(folder / "record", summarise=summed).close(), times=20)))
    return rows


def main(arguments: list[str]) -> None:
    with tempfile.TemporaryDirectory(dir=arguments[0] if arguments else None) as name:
        rows = measure(Path(name))
    lines = [
        "# Append and read with 100,000 readings in the record",
        "",
        f"`python bench/append_speed.py` · Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}, {os.cpu_count()} cores,",
        "other programs running beside it.",
        "",
        "| what | median ms | 95th percentile ms |",
        "|---|---|---|",
        *(f"| {what} | {median:.2f} | {late:.2f} |" for what, median, late in rows),
        "",
        "An append makes 5 syncs (3 of the journal, 1 of its folder, 1 of the record; counted with strace). Here a bare",
        f"fsync took {rows[0][1]:.2f} ms. Where that is a small part of a millisecond, either the disk's cache is protected against a",
        "power cut or a virtual disk acknowledges before its medium has the data; it cannot be told from inside, so the",
        "append times above are those of our code and SQLite, and no evidence for a durable write on a workshop's disk.",
        "On a disk whose sync takes 5 ms, five syncs alone are 25 ms (computed, not measured). Run it on the computer",
        "that will hold the record.",
        "",
    ]
    RESULTS.write_text("\n".join(lines), encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main(sys.argv[1:])

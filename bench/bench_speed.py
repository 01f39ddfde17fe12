"""How quick the bench is: ``python bench/bench_speed.py`` writes bench/results/bench_speed.md.

Measures, on this machine, medians over repeated runs:

- ``firstpull --help`` as a new process;
- the bench from its start to the first page answered, on a record that is there already;
- pages over HTTP (one client, a real server in another process) with 100,000 readings in the record;
- a reading sent over HTTP until its answer: by then it is on the disk and the next advice is computed.

The record is filled through the store with 500 jobs of 200 pulls each. The time of a durable commit is that of this
machine's disk; ``bench/append_speed.py`` says what a bare sync costs here.
"""

from __future__ import annotations

import http.client
import os
import platform
import re
import statistics
import subprocess
import sys
import tempfile
import time
import uuid
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlencode

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from firstpull.jobs import hand_over, open_job
from firstpull.jobs.workshop import Book, Doing
from firstpull.record.event import NewEvent
from firstpull.record.job import JobState
from workshop_example import ADA, mm, open_workshop, proven_job, set_up_job

JOBS, PULLS = 500, 200
COOKIE = {"Cookie": "firstpull_person=Ada; firstpull_seen=yes", "Accept": "text/html"}


def fill(folder: Path) -> tuple[str, str, list[str]]:
    """A record with 100,000 pulls, one job open at the dial-in, one released and five fresh; returns their ids."""
    with open_workshop(folder) as workshop:
        book = workshop.bench
        job = set_up_job(book).id
        done = _released(book)
        for number in range(JOBS):
            state = open_job.open_job(book, f"Filled {number}", doing=ADA)
            copied = [
                ("StackDescribed", dict(book.job(job).stack or {})),
                ("InsertChosen", {"insert": book.job(job).insert}),
            ]
            copied.append(("SettingComputed", {"setting": book.job(job).setting}))
            book.write(f"job:{state.id}", copied, ADA)
            last = book.store.last(f"job:{state.id}")
            reading = mm("11.26").to_json()
            events = [
                NewEvent(
                    "TrialPulled", {"readings": [reading], "length_before": None, "where": "air"}, uuid.uuid4().hex
                )
                for _pull in range(PULLS)
            ]
            book.store.append(f"job:{state.id}", last, events, at=book.now(), by="Ada")
        fresh = [str(_set_up_again(book).id) for _job in range(5)]
        return job, done, fresh


def _released(book: Book) -> str:
    """The job of ``set_up_job`` done once more, up to the release, with tools of its own."""
    import workshop_example

    kept = workshop_example.set_up_job
    try:
        workshop_example.set_up_job = _set_up_again
        job = proven_job(book).id
    finally:
        workshop_example.set_up_job = kept
    hand_over.release(book, job, doing=ADA)
    return job


def _set_up_again(book: Book) -> JobState:
    from firstpull.jobs import choose, dial_in, set_up
    from workshop_example import a_stack

    job = open_job.open_job(book, "Cable guide M6", doing=ADA).id
    choose.describe_stack(book, job, a_stack(), doing=ADA)
    choose.take_insert(book, job, "TEST-M6", doing=ADA)
    set_up.choose_tool(book, job, "T1", doing=ADA, mandrel_id="M6-a", gauge_id="C1")
    state = set_up.compute(book, job, doing=ADA)
    for act in set_up.acts(state):
        set_up.do_step(book, job, act["key"], doing=Doing("Ada"))
    return dial_in.refresh_advice(book, job, ADA)


def timed_help(runs: int = 15) -> float:
    times = []
    for _run in range(runs):
        began = time.perf_counter()
        subprocess.run([sys.executable, "-m", "firstpull", "--help"], check=True, stdout=subprocess.DEVNULL)
        times.append(time.perf_counter() - began)
    return statistics.median(times)


class Server:
    """The bench in another process on a free port."""

    def __init__(self, folder: Path) -> None:
        self.began = time.perf_counter()
        command = [sys.executable, "-m", "firstpull", "--data", str(folder), "bench", "--port", "0", "--no-browser"]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        found = re.search(r"127\.0\.0\.1:(\d+)", self.process.stdout.readline())
        assert found is not None
        self.port = int(found.group(1))
        self.connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)

    def get(self, path: str) -> tuple[int, str, float]:
        began = time.perf_counter()
        self.connection.request("GET", path, headers=COOKIE)
        answer = self.connection.getresponse()
        text = answer.read().decode()
        return answer.status, text, time.perf_counter() - began

    def post(self, path: str, fields: dict[str, str]) -> tuple[int, float]:
        began = time.perf_counter()
        headers = {**COOKIE, "Content-Type": "application/x-www-form-urlencoded"}
        self.connection.request("POST", path, urlencode(fields), headers)
        answer = self.connection.getresponse()
        answer.read()
        return answer.status, time.perf_counter() - began

    def close(self) -> None:
        self.process.terminate()
        self.process.wait(10)


def timed_start(folder: Path, runs: int = 5) -> float:
    times = []
    for _run in range(runs):
        server = Server(folder)
        try:
            status, _text, _took = server.get("/inserts")
            times.append(time.perf_counter() - server.began)
            assert status == 200, status
        finally:
            server.close()
    return statistics.median(times)


def timed_pages(server: Server, paths: list[str], runs: int = 25) -> list[tuple[str, float, float, int]]:
    rows = []
    for path in paths:
        server.get(path)
        times = []
        size = 0
        for _run in range(runs):
            status, text, took = server.get(path)
            assert status == 200, (path, status)
            times.append(took)
            size = len(text)
        rows.append((path, statistics.median(times), sorted(times)[int(0.95 * runs)], size))
    return rows


def timed_readings(server: Server, jobs: list[str], runs: int = 6) -> tuple[float, float]:
    """The first ``runs`` readings of each job: a dial-in rarely takes more."""
    times = []
    for job in jobs:
        for number in range(runs):
            fields = {"do": "read", "reading": f"11.{60 + number % 9}", "client_id": uuid.uuid4().hex, "expected": ""}
            status, took = server.post(f"/bench/jobs/{job}/dial-in", fields)
            assert status == 303, status
            times.append(took)
    return statistics.median(times), sorted(times)[int(0.95 * len(times))]


def main() -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        job, done, fresh = fill(folder)
        help_s = timed_help()
        start_s = timed_start(folder)
        server = Server(folder)
        try:
            pages = timed_pages(
                server,
                [
                    "/",
                    f"/bench/jobs/{job}/dial-in",
                    f"/bench/jobs/{job}/set-up",
                    f"/bench/jobs/{done}/prove",
                    f"/bench/jobs/{done}/hand-over",
                    f"/bench/jobs/{done}/run",
                    "/look-after",
                    "/inserts",
                ],
            )
            reading = timed_readings(server, fresh)
        finally:
            server.close()
    lines = [
        "# How quick the bench is",
        "",
        f"{datetime.now(UTC):%Y-%m-%d}, Python {platform.python_version()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; "
        f"{JOBS * PULLS:,} readings in the record. Written by `bench/bench_speed.py`, which says what is measured.",
        "",
        "| what | median | 95 % | goal |",
        "|---|---|---|---|",
        f"| `firstpull --help` | {help_s * 1000:.0f} ms | | 300 ms |",
        f"| bench from start to first page | {start_s:.2f} s | | 2 s |",
        f"| a reading acknowledged (durable, with the next advice) | {reading[0] * 1000:.0f} ms | {reading[1] * 1000:.0f} ms | 60 ms |",
    ]
    lines += [
        f"| page `{re.sub(r'jobs/[^/]+', 'jobs/…', path)}` ({size / 1000:.0f} kB) | {mid * 1000:.0f} ms | {high * 1000:.0f} ms | 50 ms |"
        for path, mid, high, size in pages
    ]
    text = "\n".join(lines) + "\n"
    (Path(__file__).resolve().parent / "results" / "bench_speed.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()

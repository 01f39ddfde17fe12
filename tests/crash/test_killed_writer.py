"""A program that is killed in the middle of writing loses nothing that it had acknowledged.

kill -9 leaves the operating system's cache whole, so this says nothing about the power going; see test_power_cut.
"""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from firstpull.store import Store

WRITER = """
import sys
import time
from firstpull.record.event import NewEvent
from firstpull.store import Store
with Store(sys.argv[1]) as store:
    last = store.last("job:a")
    while True:
        new = NewEvent("TrialPulled", {"note": "x" * 3000}, f"r{last}")
        last = store.append("job:a", last, [new], at="2026-03-02T09:15:00Z", by="Ada")[-1].sequence
        print(last, flush=True)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs kill -9")
def test_a_killed_writer_loses_nothing_acknowledged(tmp_path: Path) -> None:
    """After each of ten kills the record verifies, holds all that was acknowledged and at most one event more."""
    chance = random.Random(3)
    acknowledged = 0
    for _ in range(10):
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(tmp_path / "r")], stdout=subprocess.PIPE, text=True
        )
        assert writer.stdout is not None
        for _ in range(chance.randrange(1, 30)):
            acknowledged = int(writer.stdout.readline())
        writer.kill()
        for line in writer.stdout:
            acknowledged = int(line)
        writer.stdout.close()
        assert writer.wait() == -signal.SIGKILL
        with Store(tmp_path / "r") as store:
            assert acknowledged <= store.last("job:a") <= acknowledged + 1
            assert store.verify().ok
            acknowledged = store.last("job:a")


IMPORTER = """
import sys
import time
from pathlib import Path
from firstpull.jobs.catalogue_file import take_file
from firstpull.jobs.workshop import Doing, Workshop
book = Workshop(Path(sys.argv[1])).bench
print("ready", flush=True)
take_file(book, Path(sys.argv[2]), doing=Doing("Ada"))
print("taken", flush=True)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs kill -9")
def test_a_killed_import_is_whole_or_not_there(tmp_path: Path) -> None:
    """An import of many rows that is killed at some moment leaves a record that verifies, with all rows or none."""
    rows = 12_000
    table = tmp_path / "table.csv"
    lines = (f"P-{number},M6,open,15.5 mm,0.5 mm,3 mm" for number in range(rows))
    table.write_text("part,thread,end,length_free,grip_min,grip_max\n" + "\n".join(lines), encoding="utf-8")
    chance = random.Random(5)
    seen = set()
    for turn in range(8):
        folder = tmp_path / f"shop{turn}"
        importer = subprocess.Popen(
            [sys.executable, "-c", IMPORTER, str(folder), str(table)], stdout=subprocess.PIPE, text=True
        )
        assert importer.stdout is not None
        assert importer.stdout.readline() == "ready\n"
        time.sleep(chance.uniform(0.02, 0.6))
        importer.kill()
        said = importer.stdout.read()
        importer.stdout.close()
        importer.wait()
        with Store(folder / "record.sqlite", create=False) as store:
            assert store.verify().ok
            count = sum(event.data["rows"] for event in store.walk("catalogue:workshop"))
        assert count in ((rows,) if said else (0, rows))
        seen.add(count)
    assert 0 in seen

"""A program that is killed in the middle of writing loses nothing that it had acknowledged.

kill -9 leaves the operating system's cache whole, so this says nothing about the power going; see test_power_cut.
"""

from __future__ import annotations

import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from firstpull.store import Store

WRITER = """
import sys
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

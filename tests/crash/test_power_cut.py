"""No acknowledged reading is lost, and the record is never damaged, wherever the power is cut.

The control modes run the same program with weaker settings and do lose: so this test can fail.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import pytest

from crash.disk_log import Act, Log, LoggingDisk, connector, replay
from firstpull.errors import FirstpullError
from firstpull.record.event import Event, NewEvent
from firstpull.store import Store

AT = "2026-03-02T09:15:00Z"
CUTS = 300
CONTROL_CUTS = 100


@dataclass(frozen=True, slots=True)
class Run:
    """What the disk was asked, and after which act each event had been acknowledged."""

    acts: list[Act]
    acknowledged: list[tuple[int, Event]]


@dataclass(frozen=True, slots=True)
class Outcome:
    """Over all cuts: how often an acknowledged event was missing, and how often the record was damaged."""

    lost: int
    damaged: int


def summed(_stream: str, events: tuple[Event, ...]) -> dict[str, object]:
    return {"count": len(events), "last": events[-1].client_id}


def reading(number: int) -> NewEvent:
    # some events are longer than a page, so that a commit touches several
    return NewEvent("TrialPulled", {"set": f"11.{number:02}", "note": "x" * (number % 5) * 1500}, f"r{number}")


def write(store: Store, log: Log) -> list[tuple[int, Event]]:
    """A morning's work: readings in a job, and now and then a job and its tool in one transaction."""
    acknowledged: list[tuple[int, Event]] = []
    for number in range(24):
        parts = [("job:a", store.last("job:a"), [reading(number)])]
        if number % 4 == 3:
            parts.append(("tool:t", store.last("tool:t"), [NewEvent("Cycled", {"n": number}, f"t{number}")]))
        for event in store.append_many(parts, at=AT, by="Ada"):
            acknowledged.append((len(log), event))
    return acknowledged


def record_a_run(folder: Path, monkeypatch: pytest.MonkeyPatch, *, settings: tuple[str, ...] = ()) -> Run:
    log = Log()
    disk = LoggingDisk(log)
    with monkeypatch.context() as patched:
        patched.setattr("firstpull.store.connection.connect", connector(disk, settings=settings))
        for weak in settings:
            if "journal_mode" in weak:
                patched.setattr("firstpull.store.connection.JOURNAL", weak.split("=")[1])
        folder.mkdir()
        with Store(folder / "record", summarise=summed) as store:
            acknowledged = write(store, log)
            acts = list(log.acts)
    disk.unregister()
    return Run(acts, acknowledged)


def cut_everywhere(run: Run, folder: Path, *, cuts: int) -> Outcome:
    chance = random.Random(20260302)
    lost = damaged = 0
    for count in range(cuts):
        end = chance.randrange(len(run.acts) + 1)
        place = folder / str(count)
        place.mkdir(parents=True)
        replay(run.acts[:end], place, chance=chance)
        due = [event for number, event in run.acknowledged if number <= end]
        try:
            with Store(place / "record", summarise=summed) as store:
                held = set(store.all_events())
                lost += any(event not in held for event in due)
                damaged += not store.verify().ok
                damaged += not resends_cleanly(store, run)
        except FirstpullError:
            damaged += 1
            lost += bool(due)
    return Outcome(lost=lost, damaged=damaged)


def resends_cleanly(store: Store, run: Run) -> bool:
    """The person types the reading again whose acknowledgement never came: it is there once, whatever had happened."""
    last = store.last("job:a")
    if last == 0:
        return True
    again = store.append("job:a", last - 1, [reading(last - 1)], at=AT, by="Ada")
    following = store.append("job:a", last, [reading(last)], at=AT, by="Ada") if last < 24 else again
    return again[0].sequence == last and following[0].sequence == min(last + 1, 24) and store.verify().ok


def test_no_acknowledged_reading_is_lost(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """At 300 cuts every acknowledged event is there, the record verifies, and sending again doubles nothing."""
    run = record_a_run(tmp_path / "run", monkeypatch)
    assert len(run.acknowledged) == 30
    assert cut_everywhere(run, tmp_path / "cuts", cuts=CUTS) == Outcome(lost=0, damaged=0)


def test_a_release_is_never_half_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """After any cut, the job's and the tool's event of one transaction are both there or neither is."""
    run = record_a_run(tmp_path / "run", monkeypatch)
    chance = random.Random(7)
    for count in range(CONTROL_CUTS):
        place = tmp_path / f"cut{count}"
        place.mkdir()
        replay(run.acts[: chance.randrange(len(run.acts) + 1)], place, chance=chance)
        with Store(place / "record", summarise=summed) as store:
            held = {event.client_id for event in store.all_events()}
        assert all((f"r{number}" in held) == (f"t{number}" in held) for number in range(3, 24, 4))


def test_without_syncs_the_record_is_damaged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Control: synchronous=OFF loses readings and damages the record at many of the cuts."""
    run = record_a_run(tmp_path / "run", monkeypatch, settings=("PRAGMA synchronous=OFF",))
    outcome = cut_everywhere(run, tmp_path / "cuts", cuts=CONTROL_CUTS)
    assert outcome.lost > CONTROL_CUTS // 2
    assert outcome.damaged > CONTROL_CUTS // 2


def test_with_late_syncs_readings_are_lost(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Control: write-ahead logging with synchronous=NORMAL loses acknowledged readings at most of the cuts."""
    weak = ("PRAGMA synchronous=NORMAL", "PRAGMA journal_mode=WAL")
    run = record_a_run(tmp_path / "run", monkeypatch, settings=weak)
    outcome = cut_everywhere(run, tmp_path / "cuts", cuts=CONTROL_CUTS)
    assert outcome.lost > CONTROL_CUTS // 2


def test_every_commit_is_synced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between two acknowledgements the journal and the record are both synced, and nothing is written after the sync."""
    run = record_a_run(tmp_path / "run", monkeypatch)
    for start, end in pairwise(sorted({number for number, _ in run.acknowledged})):
        acts = run.acts[start:end]
        assert acts[-1].kind == "sync"
        assert {act.name for act in acts if act.kind == "sync"} >= {"record", "record-journal"}

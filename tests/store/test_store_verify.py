"""Verify finds what was changed behind the store's back, and says where."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from firstpull.errors import FirstpullError, RecordDamaged
from firstpull.record.event import NewEvent
from firstpull.store import Store

AT = "2026-03-02T09:15:00Z"


def summed(_stream: str, events: tuple) -> dict[str, object]:
    return {"lengths": [event.data["length"] for event in events]}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A record of two streams of three events."""
    with Store(tmp_path / "r", summarise=summed) as store:
        for stream in ("job:a", "job:b"):
            new = [NewEvent("TrialPulled", {"length": f"11.1{count}"}, f"{stream}{count}") for count in range(3)]
            store.append(stream, 0, new, at=AT, by="Ada")
    return tmp_path / "r"


@contextmanager
def unguarded(path: Path) -> Iterator[sqlite3.Connection]:
    """The file with its triggers taken away, and put back afterwards, as someone with intent would."""
    with closing(sqlite3.connect(path)) as outside:
        triggers = outside.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            outside.execute(f"DROP TRIGGER {name}")
        yield outside
        for _, statement in triggers:
            outside.execute(statement)
        outside.commit()


def problems(path: Path) -> list[tuple[str, int, str]]:
    with Store(path, summarise=summed) as store:
        return [(problem.stream, problem.sequence, problem.what) for problem in store.verify().problems]


def test_an_untouched_record_verifies(path: Path) -> None:
    """All events and streams are counted and nothing is found."""
    with Store(path, summarise=summed) as store:
        report = store.verify()
    assert (report.streams, report.events, report.problems, report.ok) == (2, 6, (), True)


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("data", '{"length":"11.99"}'),
        ("at", "2026-03-02T09:15:01Z"),
        ("by", "Bo"),
        ("type", "CouponChecked"),
        ("client_id", "other"),
        ("gauge", "C9"),
        ("tool", "T9"),
        ("software", "another"),
        ("version", 2),
        ("hash", "0" * 64),
    ],
)
def test_a_changed_field_is_found_at_its_event(path: Path, column: str, value: object) -> None:
    """Whatever field of an event is changed, the event is named."""
    with unguarded(path) as outside:
        outside.execute(f"UPDATE event SET {column} = ? WHERE stream = 'job:a' AND sequence = 2", [value])
    found = problems(path)
    assert ("job:a", 2) in [place[:2] for place in found]
    assert not [place for place in found if place[0] == "job:b"]


def test_a_byte_changed_in_the_file_is_found(path: Path) -> None:
    """One byte of a reading changed on the disk, past SQLite and its triggers, is found at its event."""
    content = path.read_bytes()
    assert content.count(b'{"length":"11.11"}') == 2
    path.write_bytes(content.replace(b'{"length":"11.11"}', b'{"length":"11.71"}', 1))
    found = problems(path)
    assert [place[1] for place in found if place[1]] == [2]
    assert "not what was hashed" in found[0][2]


def test_bytes_that_are_not_text_are_found(path: Path) -> None:
    """A byte that is no UTF-8 is reported at its event and never a trace."""
    content = path.read_bytes()
    path.write_bytes(content.replace(b'{"length":"11.11"}', b'{"length":"11.\xff1"}', 1))
    assert [place[1] for place in problems(path) if place[1]] == [2]


def test_data_that_is_not_json_is_found(path: Path) -> None:
    """Data that cannot be read is reported at its event."""
    with unguarded(path) as outside:
        outside.execute("UPDATE event SET data = '{' WHERE stream = 'job:b' AND sequence = 3")
    assert ("job:b", 3) in [place[:2] for place in problems(path)]


def test_other_spelling_of_the_same_data_is_found(path: Path) -> None:
    """The same JSON written with a space is not what was recorded."""
    with unguarded(path) as outside:
        outside.execute("UPDATE event SET data = '{\"length\": \"11.11\"}' WHERE stream = 'job:b' AND sequence = 2")
    assert [(place[:2], "canonical" in place[2]) for place in problems(path)] == [(("job:b", 2), True)]


def test_a_removed_event_is_found(path: Path) -> None:
    """A missing event in the middle is named by the one that should follow it."""
    with unguarded(path) as outside:
        outside.execute("DELETE FROM event WHERE stream = 'job:a' AND sequence = 2")
    assert ("job:a", 3, "event 2 should stand here, but this is event 3") in problems(path)


def test_a_removed_last_event_is_found(path: Path) -> None:
    """The chain cannot show a missing end; the count in the file or the summary does."""
    with unguarded(path) as outside:
        outside.execute("DELETE FROM event WHERE stream = 'job:b' AND sequence = 3")
    assert ("job:b", 0, "its summary is not what its events give") in problems(path)
    with unguarded(path) as outside:
        outside.execute("DELETE FROM event WHERE stream = 'job:a' AND sequence = 3")
    assert ("job:b", 1) in [place[:2] for place in problems(path)]


def test_a_stream_rewritten_with_new_hashes_is_shown_by_the_card(path: Path) -> None:
    """A full rewrite verifies, as any chain would; the hash on the card is what shows it."""
    with Store(path, summarise=summed) as store:
        printed = store.read("job:a")[2].hash
    other = path.with_name("other")
    with Store(other, summarise=summed) as store:
        for stream in ("job:a", "job:b"):
            new = [NewEvent("TrialPulled", {"length": f"11.2{count}"}, f"{stream}{count}") for count in range(3)]
            store.append(stream, 0, new, at=AT, by="Ada")
        assert store.verify().ok
        with pytest.raises(Exception, match="No event"):
            store.event_with_hash(printed)


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE summary SET data = '{}' WHERE stream = 'job:a'",
        "UPDATE summary SET words = '' WHERE stream = 'job:a'",
        "DELETE FROM summary WHERE stream = 'job:a'",
        "UPDATE summary SET stream = 'job:c' WHERE stream = 'job:a'",
    ],
)
def test_a_wrong_summary_is_found(path: Path, change: str) -> None:
    """A summary that was changed, removed or moved is named by its stream."""
    with closing(sqlite3.connect(path)) as outside:
        outside.execute(change)
        outside.commit()
    assert "job:a" in [place[0] for place in problems(path)]


@pytest.mark.parametrize(
    "change",
    [
        "DROP TRIGGER event_never_changes",
        "DROP INDEX event_first",
        "CREATE TABLE extra (a)",
        "CREATE TRIGGER sly AFTER INSERT ON event BEGIN SELECT 1; END",
    ],
)
def test_a_changed_schema_is_found(path: Path, change: str) -> None:
    """Missing or added triggers, indexes and tables are reported."""
    with closing(sqlite3.connect(path)) as outside:
        outside.execute(change)
        outside.commit()
    assert problems(path)


def test_a_weakened_trigger_is_found(path: Path) -> None:
    """A trigger of the right name that guards nothing is reported."""
    with closing(sqlite3.connect(path)) as outside:
        outside.execute("DROP TRIGGER event_never_removed")
        outside.execute("CREATE TRIGGER event_never_removed BEFORE DELETE ON event BEGIN SELECT 1; END")
        outside.commit()
    assert problems(path) == [("", 0, "“event_never_removed” was changed")]


def test_every_byte_that_may_be_wrong_gives_an_answer(path: Path) -> None:
    """Whatever byte is inverted, opening and verifying gives a report or an error of ours, never a trace."""
    content = path.read_bytes()
    unseen = 0
    for place in range(0, len(content), 331):
        damaged = bytearray(content)
        damaged[place] ^= 0xFF
        copy = path.with_name("copy")
        copy.write_bytes(damaged)
        try:
            with Store(copy, summarise=summed) as store:
                unseen += store.verify().ok
                store.summaries()
                store.read("job:a")
        except FirstpullError:
            pass
    assert unseen < len(range(0, len(content), 331))


def test_every_page_in_the_place_of_another_gives_an_answer(path: Path) -> None:
    """A page written to the wrong place (rows out of order, of other types) ends in a finding, never a trace or a loop."""
    content = path.read_bytes()
    pages = [content[start : start + 4096] for start in range(0, len(content), 4096)]
    copy = path.with_name("copy")
    for place in range(len(pages)):
        for other in range(len(pages)):
            if pages[place] == pages[other]:
                continue
            copy.write_bytes(b"".join([*pages[:place], pages[other], *pages[place + 1 :]]))
            try:
                with Store(copy, summarise=summed) as store:
                    assert not store.verify().ok
                    assert len(list(store.all_events())) <= 100
            except FirstpullError:
                pass


def test_events_out_of_order_in_the_file_end_the_walk(path: Path) -> None:
    """Rows whose numbers fall instead of rising are damage; a walk by pages must not go round for ever."""
    content = bytearray(path.read_bytes())
    with closing(sqlite3.connect(path)) as outside:
        root = outside.execute("SELECT rootpage FROM sqlite_master WHERE name = 'event'").fetchone()[0]
    start = 4096 * (root - 1)
    assert content[start] == 13  # a leaf of a table: two-byte cell pointers from byte 8
    first, last = content[start + 8 : start + 10], content[start + 18 : start + 20]
    content[start + 8 : start + 10], content[start + 18 : start + 20] = last, first
    path.write_bytes(content)
    assert [what for _, _, what in problems(path) if "out of order" in what]
    with Store(path) as store, pytest.raises(RecordDamaged, match="out of order"):
        list(store.all_events())

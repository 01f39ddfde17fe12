"""The store keeps what happened, once, in order, for several writers at once."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from firstpull.errors import BadInput, Conflict, FirstpullError, NotFound, Unsafe
from firstpull.record.event import Event, NewEvent, check_chain
from firstpull.store import MovedOn, Store

AT = "2026-03-02T09:15:00Z"


def pulled(client_id: str, **data: object) -> NewEvent:
    return NewEvent(
        "TrialPulled", {"set": {"nm": 11_160_000, "typed": "11.16"}, **data}, client_id, gauge="C1", tool="T1"
    )


def lid(stream: str, events: tuple[Event, ...]) -> dict[str, object] | None:
    return {"title": "Tray lid, Größe M6", "pulls": len(events)} if stream.startswith("job:") else None


@pytest.fixture
def store(tmp_path: Path):
    with Store(tmp_path / "record.sqlite", summarise=lid) as opened:
        yield opened


def test_what_is_appended_is_read_back(store: Store) -> None:
    """Events come back as they were returned, with sequences from 1 and a chain that holds."""
    first = store.append("job:a", 0, [pulled("1"), pulled("2", turns=0.25)], at=AT, by="Ada")
    second = store.append(
        "job:a", 2, [pulled("3", whole=2.0, text="§ µ \u2028 \0", none=None, yes=True)], at=AT, by="Bo"
    )
    assert store.read("job:a") == first + second
    assert [event.sequence for event in first + second] == [1, 2, 3]
    assert store.read("job:a", after=2) == second
    assert store.last("job:a") == 3
    check_chain(store.read("job:a"))


def test_it_is_still_there_after_closing(tmp_path: Path) -> None:
    """A record that is closed and opened again holds the same events."""
    with Store(tmp_path / "r") as store:
        written = store.append("tool:t", 0, [pulled("1")], at=AT, by="Ada")
    with Store(tmp_path / "r", create=False) as store:
        assert store.read("tool:t") == written


def test_unknown_streams_are_empty(store: Store) -> None:
    """Reading a stream that was never written to gives nothing, and it is at 0."""
    assert store.read("job:none") == ()
    assert store.last("job:none") == 0


@pytest.mark.parametrize("name", ["job", "job:", "shed:a", "", "job:a\nb", "JOB:a"])
def test_streams_have_names_of_one_form(store: Store, name: str) -> None:
    """Only job:, tool:, gauge: and catalogue: with a name are streams."""
    with pytest.raises(BadInput, match="name of a stream"):
        store.append(name, 0, [pulled("1")], at=AT, by="Ada")


def test_streams_are_listed_in_the_order_they_began(store: Store) -> None:
    """Streams come by their first event and can be asked for by kind."""
    for client_id, name in enumerate(("tool:z", "job:b", "job:a")):
        store.append(name, 0, [pulled(str(client_id))], at=AT, by="Ada")
    assert store.streams() == ("tool:z", "job:b", "job:a")
    assert store.streams("job") == ("job:b", "job:a")


def test_a_retry_writes_nothing_and_returns_what_is_stored(store: Store) -> None:
    """The same ids with the same content again give the stored events, though expected and time are old or new."""
    written = store.append("job:a", 0, [pulled("1"), pulled("2")], at=AT, by="Ada")
    store.append("job:a", 2, [pulled("3")], at=AT, by="Ada")
    again = store.append("job:a", 0, [pulled("1"), pulled("2")], at="2027-01-01T00:00:00Z", by="Ada")
    assert again == written
    assert store.last("job:a") == 3


@pytest.mark.parametrize(
    ("stream", "new", "by"),
    [
        ("job:a", pulled("1", other=1), "Ada"),
        ("job:a", pulled("1"), "Bo"),
        ("job:b", pulled("1"), "Ada"),
        ("job:a", NewEvent("CouponChecked", pulled("1").data, "1", gauge="C1", tool="T1"), "Ada"),
    ],
)
def test_an_id_stands_for_one_event(store: Store, stream: str, new: NewEvent, by: str) -> None:
    """The same id with other content, person, stream or type is refused and shows what it stands for."""
    written = store.append("job:a", 0, [pulled("1")], at=AT, by="Ada")
    with pytest.raises(MovedOn) as caught:
        store.append(stream, 1 if stream == "job:a" else 0, [new], at=AT, by=by)
    assert caught.value.events == written
    assert len(tuple(store.all_events())) == 1


def test_half_a_retry_is_refused(store: Store) -> None:
    """A batch of which only a part was stored is neither a retry nor new."""
    store.append("job:a", 0, [pulled("1")], at=AT, by="Ada")
    with pytest.raises(MovedOn, match="Part of this"):
        store.append("job:a", 1, [pulled("1"), pulled("2")], at=AT, by="Ada")
    assert store.last("job:a") == 1


def test_a_stream_that_moved_on_shows_what_happened(store: Store) -> None:
    """An old expected sequence is a Conflict that carries the events not seen, and writes nothing."""
    store.append("job:a", 0, [pulled("1")], at=AT, by="Ada")
    unseen = store.append("job:a", 1, [pulled("2"), pulled("3")], at=AT, by="Bo")
    with pytest.raises(Conflict) as caught:
        store.append("job:a", 1, [pulled("4")], at=AT, by="Ada")
    assert isinstance(caught.value, MovedOn)
    assert caught.value.events == unseen
    assert store.last("job:a") == 3


@pytest.mark.parametrize("expected", [5, -1])
def test_a_sequence_that_never_was_is_bad_input(store: Store, expected: int) -> None:
    """An expected sequence beyond the end is not a conflict but an error of the caller."""
    with pytest.raises(BadInput) as caught:
        store.append("job:a", expected, [pulled("1")], at=AT, by="Ada")
    assert not isinstance(caught.value, Conflict)


def test_the_guard_sees_before_and_after_and_can_refuse(store: Store) -> None:
    """The guard runs inside the transaction, may read, and what it raises leaves nothing written."""
    first = store.append("job:a", 0, [pulled("1")], at=AT, by="Ada")
    seen = []

    def guard(before: tuple[Event, ...], new: tuple[Event, ...]) -> None:
        seen.append((before, new[0].client_id, store.last("job:a")))
        raise Unsafe("Not proven.")

    with pytest.raises(Unsafe):
        store.append("job:a", 1, [pulled("2")], at=AT, by="Ada", guard=guard)
    assert seen == [(first, "2", 1)]
    assert store.read("job:a") == first
    assert store.append("job:a", 1, [pulled("2")], at=AT, by="Ada")[0].sequence == 2


def test_a_guard_may_not_write(store: Store) -> None:
    """Writing from inside a guard is refused in our words and nothing is written."""
    with pytest.raises(BadInput, match="being written"):
        store.append(
            "job:a",
            0,
            [pulled("1")],
            at=AT,
            by="Ada",
            guard=lambda *_: store.append("job:b", 0, [pulled("2")], at=AT, by="A"),
        )
    assert store.streams() == ()


def test_several_streams_are_written_together_or_not_at_all(store: Store) -> None:
    """A conflict in one stream keeps the others from being written; a part without events only checks."""
    store.append("tool:t", 0, [pulled("1")], at=AT, by="Ada")
    with pytest.raises(MovedOn):
        store.append_many([("job:a", 0, [pulled("2")]), ("tool:t", 0, [pulled("3")])], at=AT, by="Ada")
    with pytest.raises(MovedOn):
        store.append_many([("job:a", 0, [pulled("2")]), ("tool:t", 0, [])], at=AT, by="Ada")
    assert store.streams() == ("tool:t",)
    parts = [("job:a", 0, [pulled("2")]), ("tool:t", 1, [pulled("3")]), ("gauge:g", 0, [])]
    written = store.append_many(parts, at=AT, by="Ada")
    assert [(event.stream, event.sequence) for event in written] == [("job:a", 1), ("tool:t", 2)]
    assert store.append_many(parts, at=AT, by="Ada") == written


@pytest.mark.parametrize("parts", [[], [("job:a", 0, [])], [("job:a", 0, [pulled("1")]), ("job:a", 1, [pulled("2")])]])
def test_a_transaction_holds_something_and_each_stream_once(store: Store, parts: list) -> None:
    """Nothing to write, or one stream twice, is refused."""
    with pytest.raises(BadInput):
        store.append_many(parts, at=AT, by="Ada")


def test_an_id_stands_once_in_a_batch(store: Store) -> None:
    """Two events of one batch with the same id are refused."""
    with pytest.raises(BadInput, match="client id"):
        store.append("job:a", 0, [pulled("1"), pulled("1")], at=AT, by="Ada")


def test_summaries_follow_the_events_and_can_be_searched(store: Store) -> None:
    """Summaries are written with the events, the last written first, and found by words in any case."""
    store.append("job:a", 0, [pulled("1")], at=AT, by="Ada")
    store.append("job:b", 0, [pulled("2")], at=AT, by="Ada")
    store.append_many([("job:a", 1, [pulled("3")]), ("tool:t", 0, [pulled("4")])], at=AT, by="Ada")
    assert [(row.stream, row.last, row.data["pulls"]) for row in store.summaries()] == [
        ("job:a", 2, 2),
        ("job:b", 1, 1),
    ]
    assert [row.stream for row in store.search("GRÖSSE  m6")] == ["job:a", "job:b"]
    assert [row.stream for row in store.search("lid job:b")] == ["job:b"]
    assert store.search("100%") == ()
    assert store.summary("tool:t") is None


def test_summaries_of_another_form_are_made_again(tmp_path: Path) -> None:
    """A raised summary_version, or events added without summarise, has the rows made again on opening."""
    with Store(tmp_path / "r", summarise=lid) as store:
        store.append("job:a", 0, [pulled("1")], at=AT, by="Ada")
    with Store(tmp_path / "r", summarise=lambda *_: {"new": 1}, summary_version=2) as store:
        assert store.summaries()[0].data == {"new": 1}
        assert store.verify().ok
    with Store(tmp_path / "r") as store:
        store.append("job:a", 1, [pulled("2")], at=AT, by="Ada")
        assert store.summaries() == ()
    with Store(tmp_path / "r", summarise=lid) as store:
        assert store.summaries()[0].data["pulls"] == 2


def test_a_card_finds_its_event(store: Store) -> None:
    """The start of a hash finds its event; one that is not here says so."""
    event = store.append("job:a", 0, [pulled("1")], at=AT, by="Ada")[0]
    assert store.event_with_hash(event.hash[:10].upper()) == event
    with pytest.raises(NotFound):
        store.event_with_hash("0" * 20)
    with pytest.raises(BadInput):
        store.event_with_hash("%______%")


def test_rows_are_never_changed_or_removed(store: Store) -> None:
    """SQL that would change, remove, replace or insert out of order is refused by the file itself."""
    store.append("job:a", 0, [pulled("1"), pulled("2")], at=AT, by="Ada")
    outside = sqlite3.connect(store.path)
    columns = "stream, sequence, type, version, client_id, at, by, gauge, tool, software, data, previous, hash"
    for statement in (
        "UPDATE event SET by = 'Bo'",
        "DELETE FROM event WHERE sequence = 2",
        f"INSERT OR REPLACE INTO event SELECT 2, {columns} FROM event WHERE sequence = 2",
        f"REPLACE INTO event SELECT 2, {columns.replace('sequence', '3', 1)} FROM event WHERE sequence = 2",
        f"INSERT INTO event SELECT 3, {columns.replace('sequence', '4', 1).replace('client_id', 'hash')} FROM event WHERE sequence = 2",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="events"):
            outside.execute(statement)
    outside.close()
    assert store.verify().ok


def test_threads_and_conflicts_lose_nothing(store: Store) -> None:
    """Eight threads that take each conflict as “read again” write every event once, without a gap."""

    def work(name: int) -> None:
        for count in range(5):
            while True:
                try:
                    store.append("job:a", store.last("job:a"), [pulled(f"{name}-{count}")], at=AT, by=f"P{name}")
                except MovedOn:
                    continue
                break

    threads = [threading.Thread(target=work, args=(name,)) for name in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    events = store.read("job:a")
    assert sorted(event.client_id for event in events) == sorted(
        f"{name}-{count}" for name in range(8) for count in range(5)
    )
    assert store.verify().ok


WRITER = """
import sys
from firstpull.record.event import NewEvent
from firstpull.store import MovedOn, Store
with Store(sys.argv[1], busy_timeout_ms=60000) as store:
    for count in range(15):
        while True:
            try:
                new = NewEvent("TrialPulled", {}, f"{sys.argv[2]}-{count}")
                store.append("job:a", store.last("job:a"), [new], at="2026-03-02T09:15:00Z", by=sys.argv[2])
                break
            except MovedOn:
                pass
"""


def test_two_programs_write_to_one_record(tmp_path: Path) -> None:
    """Two processes that start on a file that is not there yet both write all their events."""
    running = [subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path / "r"), name]) for name in ("x", "y")]
    assert [process.wait(120) for process in running] == [0, 0]
    with Store(tmp_path / "r") as store:
        assert store.last("job:a") == 30
        assert store.verify().ok


def test_a_busy_record_says_so(store: Store) -> None:
    """While another program holds the write lock, appending is refused after the wait; reading works."""
    store.append("job:a", 0, [pulled("1")], at=AT, by="Ada")
    outside = sqlite3.connect(store.path, isolation_level=None)
    outside.execute("BEGIN IMMEDIATE")
    with Store(store.path, busy_timeout_ms=20) as impatient:
        assert impatient.last("job:a") == 1
        with pytest.raises(BadInput, match="Another program"):
            impatient.append("job:a", 1, [pulled("2")], at=AT, by="Ada")
        outside.execute("ROLLBACK")
        outside.close()
        assert impatient.append("job:a", 1, [pulled("2")], at=AT, by="Ada")[0].sequence == 2


def test_a_closed_store_says_so(tmp_path: Path) -> None:
    """Using a closed store is an error of ours; closing twice is not."""
    store = Store(tmp_path / "r")
    store.close()
    store.close()
    with pytest.raises(FirstpullError, match="closed"):
        store.last("job:a")


@pytest.mark.parametrize(
    ("act", "index"),
    [
        (lambda store: store.streams(), "event_first"),
        (lambda store: store.read("job:a", after=1), "sqlite_autoindex_event_1"),
        (lambda store: store.last("job:a"), "sqlite_autoindex_event_1"),
    ],
)
def test_long_records_are_read_by_index(store: Store, act, index: str) -> None:
    """No list or stream is found by walking all events: SQLite's plan for the very statement names the index."""
    for count in range(3):
        store.append("job:a", count, [pulled(str(count))], at=AT, by="Ada")
    said: list[str] = []
    raw = store._database.raw
    raw.set_trace_callback(said.append)
    act(store)
    raw.set_trace_callback(None)
    statement = next(line for line in said if line.startswith("SELECT"))
    plan = raw.execute(f"EXPLAIN QUERY PLAN {statement}").fetchall()
    assert index in plan[0][3]


def test_words_that_are_no_unicode_are_refused(tmp_path: Path) -> None:
    """Half of a surrogate pair, as an odd command line gives it, is said to be no text."""
    with Store(tmp_path / "r") as store, pytest.raises(BadInput, match="not Unicode"):
        store.search("\udcff")

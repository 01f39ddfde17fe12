"""Events have one form, one canonical spelling and one hash."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from enum import StrEnum
from typing import Any

import pytest

from firstpull.errors import BadInput, RecordDamaged
from firstpull.record.chain import canonical_json, plain_json, read_json
from firstpull.record.event import Event, NewEvent, check_chain, event_from_json, fault, seal

AT = "2026-03-02T09:15:00Z"


def sealed(
    data: Any = None, *, sequence: int = 1, previous: str = "", at: str = AT, by: str = "Ada", **new: Any
) -> Event:
    fields = {"type": "TrialPulled", "client_id": f"c{sequence}", **new}
    return seal(
        NewEvent(data={} if data is None else data, **fields),
        stream="job:a", sequence=sequence, at=at, by=by, software="firstpull", previous=previous,
    )  # fmt: skip


def chain(count: int) -> list[Event]:
    events: list[Event] = []
    for sequence in range(1, count + 1):
        events.append(sealed({"n": sequence}, sequence=sequence, previous=events[-1].hash if events else ""))
    return events


def test_the_hash_can_be_found_with_plain_json() -> None:
    """The hash is SHA-256 over the sorted, compact JSON of all other fields: any language can find it."""
    event = sealed({"b": [1, "µ"], "a": None})
    fields = {key: value for key, value in event.to_json().items() if key != "hash"}
    plain = json.dumps(fields, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert event.hash == hashlib.sha256(plain.encode()).hexdigest()


def test_an_event_comes_back_as_it_was() -> None:
    """Written as JSON and read back, an event is equal to itself, also where floats are whole."""
    event = sealed({"whole": 2.0, "minus": -0.0, "share": 0.1, "nm": 11_160_000, "deep": [{"a": (1, 2)}]})
    assert event_from_json(json.loads(canonical_json(event.to_json()))) == event
    assert event.data["deep"] == [{"a": [1, 2]}]


def test_what_was_sealed_does_not_change_with_the_senders_dict() -> None:
    """The event holds a copy of the data."""
    data = {"lengths": [1]}
    event = sealed(data)
    data["lengths"].append(2)
    assert event.data == {"lengths": [1]}


class Word(StrEnum):
    OPEN = "open"


@pytest.mark.parametrize(
    "value",
    [float("nan"), float("inf"), 2**53, -(2**53), 1e300, {1: 2}, {1, 2}, b"x", object(), "\ud800", {"\ud800": 1}, 1j],
)
def test_what_is_not_json_is_refused_by_its_place(value: object) -> None:
    """NaN, infinity, numbers beyond 2⁵³ − 1, keys that are no text and other types are refused where they stand."""
    with pytest.raises(BadInput) as caught:
        sealed({"list": [0, {"here": value}]})
    assert "list[2].here" in caught.value.where


def test_enumerations_are_recorded_as_their_text() -> None:
    """A StrEnum member is recorded as the text it stands for."""
    assert plain_json([Word.OPEN, 2**53 - 1, True]) == ["open", 9007199254740991, True]


def test_nesting_and_size_have_limits() -> None:
    """Data nested without end or over 4 MiB is refused, never a trace."""
    nested: list[Any] = []
    nested.append(nested)
    with pytest.raises(BadInput, match="nested"):
        sealed({"a": nested})
    with pytest.raises(BadInput, match="bytes"):
        sealed({"a": "x" * (4 * 1024 * 1024)})


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("at", "2026-03-02 09:15"), ("at", "2026-13-02T09:15:00Z"), ("at", "2026-03-02T09:15:00"), ("by", " "), ("by", "a\nb"),
        ("type", "two words"), ("client_id", ""), ("client_id", "x" * 201), ("gauge", None), ("version", True), ("version", 0),
        ("previous", "abc"), ("tool", "\ud800"), ("data", [1]),
    ],
)  # fmt: skip
def test_fields_have_their_form(field: str, value: object) -> None:
    """A field that is not of its form is refused."""
    with pytest.raises(BadInput):
        sealed(**{field: value})


def test_json_is_read_strictly() -> None:
    """A key twice, NaN, bad JSON and endless nesting are refused."""
    for text in ('{"a":1,"a":2}', "[NaN]", "{", "[" * 100_000):
        with pytest.raises(BadInput):
            read_json(text)


def test_a_good_chain_passes() -> None:
    """Chains of several streams may be mixed."""
    check_chain(chain(3))
    assert fault(chain(2)[1], last=1, last_hash=chain(1)[0].hash) == ""


@pytest.mark.parametrize(
    "broken",
    [
        lambda events: [*events[:1], *events[2:]],
        lambda events: events[1:],
        lambda events: [events[1], events[0], events[2]],
        lambda events: [events[0], replace(events[1], data={"n": 9}), events[2]],
        lambda events: [events[0], sealed({"n": 9}, sequence=2, previous=events[0].hash), events[2]],
        lambda events: [*events, events[2]],
    ],
)
def test_a_broken_chain_names_the_place(broken: Any) -> None:
    """A gap, a missing start, a swap, an edit, a rewrite and a repeat are each found."""
    with pytest.raises(RecordDamaged, match="chain is broken") as caught:
        check_chain(broken(chain(3)))
    assert caught.value.where.startswith("job:a event ")


@pytest.mark.parametrize(
    "change", [{"hash": "0" * 64}, {"extra": 1}, {"data": {"n": 2}}, {"sequence": "1"}, {"stream": 5}]
)
def test_a_wrong_event_is_not_read_back(change: dict[str, Any]) -> None:
    """Another hash, another field, other content and other types are refused."""
    with pytest.raises((BadInput, RecordDamaged)):
        event_from_json({**sealed({"n": 1}).to_json(), **change})

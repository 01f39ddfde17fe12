"""Events: what happened, in order, each tied to the one before.

A :class:`NewEvent` is what a job wants to write down; :func:`seal` gives it its place in a stream and its hash and
makes it an :class:`Event`. Streams are named ``job:…``, ``tool:…``, ``gauge:…`` and ``catalogue:…``. The hash is
the SHA-256 of the canonical JSON (RFC 8785) of all the other fields, ``previous`` included, so a change to any
event breaks the chain from there on. A chain alone cannot expose a full rewrite: for that the hash printed on a
released card is compared with the record.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from firstpull.errors import BadInput, RecordDamaged
from firstpull.record.chain import LARGEST_DATA_BYTES, LARGEST_WHOLE_NUMBER, canonical_json, plain_json, sha256_of

STREAM_KINDS = ("job", "tool", "gauge", "catalogue")
FIELDS = (
    "stream", "sequence", "type", "version", "client_id", "at", "by", "gauge", "tool", "software", "data", "previous", "hash",
)  # fmt: skip

_STREAM = re.compile(rf"(?:{'|'.join(STREAM_KINDS)}):[^\x00-\x1f\x7f]{{1,120}}")
_TYPE = re.compile(r"[A-Z][A-Za-z0-9]{0,59}")
_AT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{1,6})?(?:Z|[+-]\d\d:\d\d)", re.ASCII)
_HASH = re.compile(r"[0-9a-f]{64}")
_LINE = re.compile(r"[^\x00-\x1f\x7f]{0,200}")


@dataclass(frozen=True, slots=True)
class NewEvent:
    """Something that happened and is not yet in the record.

    ``type`` is one word such as ``TrialPulled``; ``data`` is JSON with finite numbers; ``client_id`` is made by whoever
    sends it, once per act, so that a retry cannot write it twice; ``gauge`` and ``tool`` name what was used;
    ``version`` is the version of this type's form of data.
    """

    type: str
    data: dict[str, Any]
    client_id: str
    gauge: str = ""
    tool: str = ""
    version: int = 1


@dataclass(frozen=True, slots=True)
class Event:
    """One line of the record. ``sequence`` counts from 1 in its stream; ``previous`` is "" for the first.

    ``at`` is an RFC 3339 time, ``by`` the person's name. Do not change ``data``: it is what was hashed.
    """

    stream: str
    sequence: int
    type: str
    version: int
    client_id: str
    at: str
    by: str
    gauge: str
    tool: str
    software: str
    data: dict[str, Any] = field(hash=False)
    previous: str
    hash: str

    def to_json(self) -> dict[str, Any]:
        """All fields by name, as exported."""
        return {name: getattr(self, name) for name in FIELDS}

    def content_hash(self) -> str:
        """The hash that this event must have: SHA-256 over its other fields. Raises BadInput if it has none."""
        return sha256_of({name: getattr(self, name) for name in FIELDS if name != "hash"})

    def says_the_same(self, other: NewEvent, *, by: str) -> bool:
        """Whether ``other``, sent by ``by``, is this event sent again. The time may differ in a retry."""
        mine = (self.type, self.version, self.gauge, self.tool, self.by)
        if mine != (other.type, other.version, other.gauge, other.tool, by):
            return False
        return canonical_json(self.data) == canonical_json(plain_json(other.data))


def seal(new: NewEvent, *, stream: str, sequence: int, at: str, by: str, software: str, previous: str) -> Event:
    """Give ``new`` its place: ``sequence`` (from 1) in ``stream`` after the event whose hash is ``previous``.

    ``at`` is a time with its offset, for example ``2026-03-02T09:15:00Z``. Raises BadInput, naming the field, when
    a field is not of its form or the data is not JSON with finite numbers or is over 4 MiB.
    """
    where = f"{stream} event {sequence}"
    check_stream(stream)
    if not isinstance(new.data, dict):
        raise BadInput("The data of an event must be an object.", where=where, hint='{"reading": …}')
    data = plain_json(new.data, where=f"{where}, data")
    size = len(canonical_json(data).encode())
    if size > LARGEST_DATA_BYTES:
        raise BadInput(
            f"The data is {size} bytes.", where=where, hint=f"At most {LARGEST_DATA_BYTES} in one event; write several."
        )
    event = Event(
        stream=stream, sequence=sequence, type=new.type, version=new.version, client_id=new.client_id, at=at, by=by,
        gauge=new.gauge, tool=new.tool, software=software, data=data, previous=previous, hash="0" * 64,
    )  # fmt: skip
    _check_form(event, where)
    return Event(**{**event.to_json(), "hash": event.content_hash()})


def event_from_json(fields: Any, *, where: str = "") -> Event:
    """Read back what :meth:`Event.to_json` gave. Checks the form of every field and the event's own hash.

    Raises BadInput when the form is wrong and RecordDamaged when the hash is not that of the content.
    """
    if not isinstance(fields, dict) or set(fields) != set(FIELDS):
        found = set(fields) if isinstance(fields, dict) else set()
        wrong = sorted(set(FIELDS) - found) + sorted(map(str, found - set(FIELDS)))
        raise BadInput(
            f"This is not an event (look at {', '.join(wrong)}).",
            where=where,
            hint=f"An event has {', '.join(FIELDS)}.",
        )
    if not isinstance(fields["data"], dict):
        raise BadInput("The data of an event must be an object.", where=where, hint='{"reading": …}')
    event = Event(**{**fields, "data": plain_json(fields["data"], where=f"{where}, data")})
    _check_form(event, where)
    if event.hash != event.content_hash():
        raise RecordDamaged(
            f"{event.stream} event {event.sequence}: the content is not what was hashed.", where=where, hint=_RESTORE
        )
    return event


_RESTORE = "Compare with a backup."


def fault(event: Event, *, last: int, last_hash: str) -> str:
    """What is wrong with ``event`` as the one after event ``last`` whose hash is ``last_hash``; "" when nothing is."""
    if event.sequence != last + 1:
        return f"event {last + 1} should stand here, but this is event {event.sequence}"
    if event.previous != last_hash:
        return "it does not follow from the event before it: the hash it names is another one"
    try:
        right = event.content_hash()
    except BadInput as problem:
        return f"its content cannot be hashed: {problem.what}"
    return "" if event.hash == right else "its content is not what was hashed"


def check_chain(events: Iterable[Event]) -> None:
    """Walk ``events`` (of one stream or several, each from its first event) and raise RecordDamaged at the first fault."""
    heads: dict[str, tuple[int, str]] = {}
    for event in events:
        last, last_hash = heads.get(event.stream, (0, ""))
        problem = fault(event, last=last, last_hash=last_hash)
        if problem:
            raise RecordDamaged(
                f"The chain is broken: {problem}.", where=f"{event.stream} event {event.sequence}", hint=_RESTORE
            )
        heads[event.stream] = (event.sequence, event.hash)


def check_stream(stream: object) -> str:
    """Return ``stream`` if it is a stream's name, such as ``job:tray-lid-m6``. Raises BadInput."""
    if not isinstance(stream, str) or not _STREAM.fullmatch(stream):
        raise BadInput(
            f"“{stream}” is not the name of a stream.",
            hint=f"One of {', '.join(STREAM_KINDS)}, a colon and a name: “job:tray-lid”.",
        )
    plain_json(stream, where="stream")
    return stream


def stream_kind(stream: str) -> str:
    """The part before the colon: “job” for ``job:tray-lid``."""
    return stream.partition(":")[0]


def _check_form(event: Event, where: str) -> None:
    got = event.to_json()  # an imported event may hold anything, whatever the types say
    check_stream(got["stream"])
    _check(_is_count(got["sequence"]), "sequence", "a whole number from 1", where)
    _check(_is_count(got["version"]), "version", "a whole number from 1", where)
    _check(_matches(_TYPE, got["type"]), "type", "one word such as “TrialPulled”", where)
    _check(_is_time(got["at"]), "at", "a time with its offset such as “2026-03-02T09:15:00Z”", where)
    _check(_is_hash(got["previous"]) or got["previous"] == "", "previous", "64 hexadecimal digits, or empty", where)
    _check(_is_hash(got["hash"]), "hash", "64 hexadecimal digits", where)
    for name in ("client_id", "by", "gauge", "tool", "software"):
        _check(_matches(_LINE, got[name]), name, "one line of at most 200 characters", where)
        plain_json(got[name], where=f"{where}, {name}")
    for name in ("client_id", "by"):
        _check(got[name].strip(), name, "not empty", where)


def _check(good: object, name: str, wanted: str, where: str) -> None:
    if not good:
        raise BadInput(f"The field “{name}” of the event is not right.", where=where, hint=f"It must be {wanted}.")


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= LARGEST_WHOLE_NUMBER


def _matches(form: re.Pattern[str], value: object) -> bool:
    return isinstance(value, str) and form.fullmatch(value) is not None


def _is_hash(value: object) -> bool:
    return _matches(_HASH, value)


def _is_time(value: object) -> bool:
    if not isinstance(value, str) or not _AT.fullmatch(value):
        return False
    try:
        datetime.fromisoformat(value)
    except ValueError:
        return False
    return True

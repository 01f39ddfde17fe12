"""What the store gives back."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from firstpull.errors import Conflict
from firstpull.record.event import Event


@dataclass(frozen=True, slots=True)
class Summary:
    """One stream's row in the lists: ``data`` as computed from its events up to number ``last`` of the stream."""

    stream: str
    kind: str
    last: int
    data: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Problem:
    """Something that does not verify. ``stream`` is "" and ``sequence`` 0 when it is about the whole file."""

    stream: str
    sequence: int
    what: str

    def __str__(self) -> str:
        place = f"{self.stream} event {self.sequence}" if self.sequence else self.stream
        return f"{place}: {self.what}" if place else self.what


@dataclass(frozen=True, slots=True)
class VerifyReport:
    """How many streams and events were walked, and every problem found."""

    streams: int
    events: int
    problems: tuple[Problem, ...]

    @property
    def ok(self) -> bool:
        """True when nothing is wrong."""
        return not self.problems


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restore did: the checked copy now in place, and where the file that was there is kept (or None)."""

    report: VerifyReport
    kept: Path | None


class MovedOn(Conflict):
    """The record moved on; ``events`` are those that the caller has not seen, or that hold the client id already."""

    def __init__(
        self, what: str, *, where: str = "", hint: str = "", events: tuple[Event, ...] = (), stream: str = ""
    ) -> None:
        super().__init__(what, where=where, hint=hint)
        self.events = events
        self.stream = stream

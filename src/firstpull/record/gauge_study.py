"""A guided gauge study as its events tell it: who reads what in which order, what was read, what came out of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from firstpull.errors import BadInput, Unsafe
from firstpull.record.event import Event

Data = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class StudySlot:
    """One reading to be taken: its ``number`` in the order, by whom, of which part, in which round (from 1)."""

    number: int
    person: str
    part: str
    round: int


@dataclass(frozen=True, slots=True)
class StudyReading:
    """One reading: its event's ``sequence``, its slot, the length as held in the record; ``struck_out`` says why not."""

    sequence: int
    slot: int
    value: Data
    at: str
    by: str
    struck_out: str = ""


@dataclass(frozen=True, slots=True)
class Study:
    """A study of a gauge. ``references`` are known lengths by part, for gauge blocks; empty for parts of the shop.
    ``finished`` is the sequence of the event that holds the result, 0 before."""

    number: int
    measured: str
    people: tuple[str, ...]
    parts: tuple[str, ...]
    rounds: int
    slots: tuple[StudySlot, ...]
    begun_at: str
    begun_by: str
    plan: Data
    references: Mapping[str, Data] = field(default_factory=dict)
    readings: tuple[StudyReading, ...] = ()
    result: Data | None = None
    finished_at: str = ""
    finished: int = 0
    given_up: str = ""

    @property
    def open(self) -> bool:
        return self.result is None and not self.given_up

    @property
    def counting(self) -> dict[int, StudyReading]:
        """The readings that count, by slot."""
        return {reading.slot: reading for reading in self.readings if not reading.struck_out}

    @property
    def complete(self) -> bool:
        return len(self.counting) == len(self.slots)

    def left(self, person: str) -> tuple[StudySlot, ...]:
        """What ``person`` has still to read, in order."""
        done = self.counting
        return tuple(slot for slot in self.slots if slot.person == person and slot.number not in done)


Studies = tuple[Study, ...]


def begun(studies: Studies, event: Event, data: Data) -> Studies:
    """One study more."""
    plan = data["study"]
    people, parts = tuple(plan["people"]), tuple(plan["parts"])
    slots = tuple(
        StudySlot(number, people[who], parts[part], turn) for number, (who, part, turn) in enumerate(plan["order"])
    )
    study = Study(
        number=plan["number"],
        measured=plan["measured"],
        people=people,
        parts=parts,
        rounds=plan["rounds"],
        slots=slots,
        begun_at=event.at,
        begun_by=event.by,
        plan=plan,
        references=plan.get("references") or {},
    )
    return (*studies, study)


def read(studies: Studies, event: Event, data: Data) -> Studies:
    """One reading more."""
    reading = StudyReading(event.sequence, data["slot"], data["reading"], event.at, event.by)
    return _with(studies, data["study"], lambda study: replace(study, readings=(*study.readings, reading)))


def struck_out(studies: Studies, _event: Event, data: Data) -> Studies:
    """A reading that does not count; its slot is open again."""

    def strike(study: Study) -> Study:
        readings = tuple(
            replace(one, struck_out=data["reason"]) if one.sequence == data["of"] else one for one in study.readings
        )
        return replace(study, readings=readings)

    return _with(studies, data["study"], strike)


def finished(studies: Studies, event: Event, data: Data) -> Studies:
    """The result, as it was computed then."""

    def close(study: Study) -> Study:
        return replace(study, result=data["result"], finished_at=event.at, finished=event.sequence)

    return _with(studies, data["study"], close)


def given_up(studies: Studies, _event: Event, data: Data) -> Studies:
    """A study that leads to nothing, and why."""
    return _with(studies, data["study"], lambda study: replace(study, given_up=data["reason"]))


def guard_study(studies: Studies, event: Event) -> None:
    """Whether ``event`` may follow a gauge's ``studies``. Raises BadInput or Unsafe; other events pass."""
    data = event.data
    if event.type == "StudyBegun":
        _guard_plan(studies, data["study"])
        return
    if event.type not in ("StudyRead", "StudyReadingStruckOut", "StudyFinished", "StudyGivenUp"):
        return
    study = find(studies, data["study"])
    if not study.open:
        raise Unsafe(f"Study {study.number} is closed.", where="study", hint="Begin another one.")
    if event.type == "StudyRead":
        _guard_reading(study, data["slot"])
    elif event.type == "StudyReadingStruckOut":
        _guard_strike(study, data)
    elif event.type == "StudyFinished" and not study.complete:
        left = len(study.slots) - len(study.counting)
        raise Unsafe(f"{left} readings are still to be taken.", where="study", hint="Read them first.")


def _guard_reading(study: Study, slot: int) -> None:
    if not 0 <= slot < len(study.slots):
        raise BadInput("This study has no such reading.", where="slot", hint="Load the page again.")
    if slot in study.counting:
        raise Unsafe(
            "This one has been read already, perhaps on another screen.",
            where="reading",
            hint="Load the page again: it shows what comes next.",
        )


def _guard_strike(study: Study, data: Data) -> None:
    if data["of"] not in {one.sequence for one in study.counting.values()}:
        raise BadInput("There is no such reading that counts.", where="of", hint="Choose one of those shown.")
    if not data["reason"].strip():
        raise BadInput("Why does it not count?", where="reason", hint="For example “wrong part”.")


def find(studies: Studies, number: int) -> Study:
    """The study with that number. Raises BadInput."""
    for study in studies:
        if study.number == number:
            return study
    raise BadInput(f"This gauge has no study {number}.", where="study", hint="Look at its history.")


def _guard_plan(studies: Studies, plan: Data) -> None:
    if plan["number"] != len(studies) + 1:
        raise BadInput("The studies of a gauge are numbered on.", where="number", hint=f"This is {len(studies) + 1}.")
    if studies and studies[-1].open:
        raise Unsafe(
            f"Study {studies[-1].number} is not finished.",
            where="study",
            hint="Finish it, or give it up with a reason.",
        )
    everything = {
        (who, part, turn)
        for who in range(len(plan["people"]))
        for part in range(len(plan["parts"]))
        for turn in range(1, plan["rounds"] + 1)
    }
    order = [tuple(one) for one in plan["order"]]
    if not order or len(order) != len(everything) or set(order) != everything:
        raise BadInput("The order must hold every reading once.", where="order", hint="Begin the study again.")
    if plan.get("references") and set(plan["references"]) != set(plan["parts"]):
        raise BadInput("Every block needs its length.", where="references", hint="Begin the study again.")


def _with(studies: Studies, number: int, change: Any) -> Studies:
    find(studies, number)
    return tuple(change(study) if study.number == number else study for study in studies)

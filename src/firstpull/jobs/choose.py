"""Choose: describe the stack, say what the joint needs, take an insert."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from firstpull.errors import BadInput
from firstpull.jobs.catalogue import measured_event
from firstpull.jobs.shapes import stack_of, stack_to_json
from firstpull.jobs.workshop import CATALOGUE, Book, Doing, Planned
from firstpull.mechanics.choose import Choice, Needs
from firstpull.mechanics.choose import choose as choose_among
from firstpull.mechanics.fields import to_record
from firstpull.mechanics.insert import Insert, check_insert
from firstpull.mechanics.setting import Batch
from firstpull.mechanics.stack import Stack, thickness
from firstpull.mechanics.tool import Tool
from firstpull.record.job import JobState
from firstpull.units import LengthUnit

_NEEDS = frozenset(field.name for field in fields(Needs))


def describe_stack(
    book: Book, job_id: str, stack: Stack, *, doing: Doing, batch: Batch | None = None, gauge: str = ""
) -> JobState:
    """Put the stack on record, with the gauge that its readings were taken with. What stood on another stack (setting,
    proof) is stale from here."""
    kind, data = stack_event(stack, batch)
    book.write(f"job:{job_id}", [(kind, {**data, "gauge_id": gauge})], doing, gauge=gauge)
    return book.job(job_id)


def state_needs(
    book: Book, job_id: str, needs: Needs, *, doing: Doing, typed: Mapping[str, str] | None = None
) -> JobState:
    """Put on record what the joint asks of the insert, with the texts of its measures as ``typed``."""
    book.write(f"job:{job_id}", [needs_event(needs, typed=typed)], doing)
    return book.job(job_id)


def candidates(book: Book, job_id: str, *, unit: LengthUnit = "mm") -> Choice:
    """The catalogue's inserts for this job, best first, with the rejected ones and their cures; sentences in ``unit``."""
    state = book.job(job_id)
    needs = needs_of(state)
    if needs is None:
        raise BadInput("Which thread does the joint need?", where="thread", hint="For example M6 or 1/4-20.")
    stack, _batch = stack_of(state)
    return choose_among(list(book.inserts().values()), stack=stack, needs=needs, unit=unit)


def take_insert(book: Book, job_id: str, part: str, *, doing: Doing) -> JobState:
    """Take an insert of the catalogue for this job."""
    insert = book.insert(part)
    book.write(f"job:{job_id}", [insert_event(insert, source="catalogue")], doing)
    return book.job(job_id)


def take_insert_in_hand(book: Book, job_id: str, insert: Insert, *, doing: Doing) -> JobState:
    """Take an insert that was measured here; it becomes a row of the catalogue, marked so. Raises BadInput."""
    row = measured_event(book, insert)
    state = book.job(job_id)
    seen = state.sequence if doing.seen is None else doing.seen
    book.write_all(
        [(f"job:{job_id}", [insert_event(insert, source="measured here")]), (CATALOGUE, [row])],
        Doing(doing.by, seen, doing.slip),
    )
    return book.job(job_id)


def stack_event(stack: Stack, batch: Batch | None = None) -> Planned:
    """The stack with its computed thickness. Raises BadInput for a stack that makes no sense."""
    found = thickness(stack)
    return (
        "StackDescribed",
        {**stack_to_json(stack, batch), "thickness": {**to_record(found), "value_mm": found.value_mm}},
    )


def needs_event(needs: Needs, *, typed: Mapping[str, str] | None = None) -> Planned:
    """What the joint asks for, with the texts of its measures as ``typed``."""
    data = to_record(needs)
    tool = data.pop("tool", None)
    return ("NeedsStated", {**data, "tool": None if tool is None else tool.to_json(), "typed": dict(typed or {})})


def insert_event(insert: Insert, *, source: str) -> Planned:
    check_insert(insert)
    return ("InsertChosen", {"insert": insert.to_json(), "allowance": None, "window": None, "source": source})


def needs_of(state: JobState) -> Needs | None:
    """What was stated, or None."""
    if state.needs is None:
        return None
    data: dict[str, Any] = dict(state.needs)
    tool = data.get("tool")
    data["tool"] = None if tool is None else Tool.from_json(tool)
    return Needs(**{name: value for name, value in data.items() if name in _NEEDS})

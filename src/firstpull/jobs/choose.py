"""Choose: describe the stack, say what the joint needs, take an insert."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields, replace
from typing import Any

from firstpull.errors import BadInput
from firstpull.jobs.catalogue import measured_event
from firstpull.jobs.shapes import demand_of, demand_to_json, insert_of, stack_of, stack_to_json, tool_of
from firstpull.jobs.workshop import CATALOGUE, Book, Doing, Planned
from firstpull.mechanics.choose import Candidate, Choice, Needs
from firstpull.mechanics.choose import choose as choose_among
from firstpull.mechanics.fields import to_record
from firstpull.mechanics.insert import Insert, check_insert
from firstpull.mechanics.joint.demand import JointDemand, check_demand
from firstpull.mechanics.needs import check_needs
from firstpull.mechanics.setting import Batch
from firstpull.mechanics.shelf import Shelf
from firstpull.mechanics.stack import Stack, thickness
from firstpull.mechanics.tool import Tool
from firstpull.record.job import JobState
from firstpull.trade.threads import thread
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
    """Put on record what the joint asks of the insert, with the texts of its measures as ``typed``. Raises BadInput for
    what cannot be right."""
    check_needs(needs)
    book.write(f"job:{job_id}", [needs_event(needs, typed=typed)], doing)
    return book.job(job_id)


def state_joint(
    book: Book,
    job_id: str,
    demand: JointDemand,
    *,
    doing: Doing,
    needs: Needs | None = None,
    typed: Mapping[str, str] | None = None,
) -> JobState:
    """Put on record what is asked of the joint's strength, with the texts as ``typed``; ``needs`` that changed with it
    go in the same act. Raises BadInput for what cannot be right."""
    known = needs or needs_of(book.job(job_id))
    check_demand(demand, thread=None if known is None else thread(known.thread, where="thread"))
    planned = [joint_event(demand, typed=typed)]
    if needs is not None:
        check_needs(needs)
        planned.append(needs_event(needs, typed=(book.job(job_id).needs or {}).get("typed")))
    book.write(f"job:{job_id}", planned, doing)
    return book.job(job_id)


def candidates(
    book: Book, job_id: str, *, unit: LengthUnit = "mm", most: int | None = None, with_tool: bool = True
) -> Choice:
    """The catalogue's inserts for this job, best first, with the rejected ones and their cures; sentences in ``unit``.

    The same question as ``firstpull choose`` asks of the job's file: stack, batch, needs, loads, screw, edges, and the tool
    where one is on record (not ``with_tool`` False). ``most`` limits how many are told.
    """
    return _choose(book.job(job_id), book.inserts(), unit=unit, most=most, with_tool=with_tool)


def candidate(
    book: Book, job_id: str, part: str, *, unit: LengthUnit = "mm", with_tool: bool = True
) -> Candidate | None:
    """One insert of the catalogue with its checks, its rank as if it were alone; None when it does not fit. Raises
    NotFound."""
    choice = _choose(book.job(job_id), [book.insert(part)], unit=unit, most=None, with_tool=with_tool)
    return choice.candidates[0] if choice.candidates else None


def _choose(
    state: JobState, inserts: Iterable[Insert] | Shelf, *, unit: LengthUnit, most: int | None, with_tool: bool
) -> Choice:
    needs = needs_of(state)
    if needs is None and state.insert is not None:
        needs = Needs(thread=insert_of(state).thread)
    if needs is None:
        raise BadInput("Which thread does the joint need?", where="thread", hint="For example M6 or 1/4-20.")
    tool = tool_of(state) if with_tool else None
    needs = replace(needs, tool=tool if tool is not None or not with_tool else needs.tool)
    stack, batch = stack_of(state)
    demand = demand_of(state) or JointDemand()
    return choose_among(inserts, stack=stack, needs=needs, unit=unit, joint=demand, batch=batch, most=most)


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


def joint_event(demand: JointDemand, *, typed: Mapping[str, str] | None = None) -> Planned:
    """What is asked of the joint's strength, with the texts as ``typed``."""
    return ("JointStated", {**demand_to_json(demand), "typed": dict(typed or {})})


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

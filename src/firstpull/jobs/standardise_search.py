"""The search for the fewest part numbers over jobs of the book, as long work beside the pages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from firstpull.errors import BadInput
from firstpull.jobs.long_work import LongWork
from firstpull.jobs.standardise import standardise_joints
from firstpull.jobs.told import told
from firstpull.jobs.workshop import Book
from firstpull.mechanics.counted import Estimates
from firstpull.mechanics.cover import Progress
from firstpull.mechanics.identify_model import canonical
from firstpull.mechanics.shelf import Shelf
from firstpull.mechanics.standardise import Joint, NotServed, Standard, why_not_served
from firstpull.mechanics.tool import Tool
from firstpull.units import LengthUnit

LONGEST_S = 900.0
_UNITS: tuple[LengthUnit, ...] = ("mm", "in")


@dataclass(frozen=True, slots=True)
class Question:
    """What is searched for: joints with the ids of their jobs (in the same order), and tools by name."""

    book: Book
    jobs: tuple[str, ...]
    joints: tuple[Joint, ...]
    tools: tuple[tuple[str, Tool], ...]
    min_margin: float
    estimates: Estimates = "expected"
    time_limit_s: float = LONGEST_S


@dataclass(frozen=True, slots=True)
class Answer:
    """What was found, and who is not served in each unit."""

    found: Standard
    not_served: dict[LengthUnit, tuple[NotServed, ...]]


Searches = LongWork[Question, Answer]


def searches() -> Searches:
    """A place for searches; closing it is the caller's."""
    return LongWork(_search)


def inserts_for(book: Book, joints: Sequence[Joint]) -> Shelf:
    """The catalogue. Raises BadInput when it has no insert of any of the joints' threads."""
    shelf, wanted = book.inserts(), sorted({str(canonical(joint.needs.thread)) for joint in joints})
    if not any(shelf.rows_of_thread(name) for name in wanted):
        raise BadInput(
            f"The catalogue has no insert with {', '.join(wanted)}.",
            where="catalogue",
            hint="Bring a table with it in.",
        )
    return shelf


def _search(asked: Question, stopped: Callable[[], bool], progress: Callable[[Progress], None]) -> Answer:
    rows = inserts_for(asked.book, asked.joints)
    found = standardise_joints(
        asked.joints,
        rows,
        min_margin=asked.min_margin,
        estimates=asked.estimates,
        tools=asked.tools,
        time_limit_s=asked.time_limit_s,
        cancelled=stopped,
        progress=progress,
    )
    return Answer(found, {unit: _not_served(asked, rows, found, unit=unit, stopped=stopped) for unit in _UNITS})


def _not_served(
    asked: Question, rows: Shelf, found: Standard, *, unit: LengthUnit, stopped: Callable[[], bool]
) -> tuple[NotServed, ...]:
    """Who is not served, with the lengths of the reasons in ``unit`` (as they were said, once it is stopped)."""
    by_name = {joint.name: joint for joint in asked.joints}
    said = []
    for row in found.not_served:
        joint = by_name[row.joint]
        same = joint.unit == unit or stopped()
        found_again = row if same else _again(asked, replace(joint, unit=unit), rows) or row
        said.append(in_words_of(found_again, unit))
    return tuple(said)


def in_words_of(row: NotServed, unit: LengthUnit) -> NotServed:
    """The reason and the cure with forces and torques in the units that go with ``unit``."""
    return replace(row, reason=told(row.reason, unit), cure=told(row.cure, unit))


def _again(asked: Question, joint: Joint, rows: Shelf) -> NotServed | None:
    return why_not_served(joint, rows, min_margin=asked.min_margin, estimates=asked.estimates, tools=asked.tools)

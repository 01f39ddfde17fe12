"""Standardise over jobs of the book: which jobs can take part, why the others cannot, and the answer as a table."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from firstpull.errors import FirstpullError
from firstpull.exchange.table_cells import guard
from firstpull.jobs.choose import needs_of
from firstpull.jobs.shapes import demand_of, insert_of, stack_of, tool_of
from firstpull.jobs.workshop import Book
from firstpull.mechanics.choose import Needs
from firstpull.mechanics.joint.demand import JointDemand, check_demand
from firstpull.mechanics.needs import check_needs
from firstpull.mechanics.stack import thickness
from firstpull.mechanics.standardise import Joint, NotServed, Standard
from firstpull.record.job import JobState
from firstpull.trade.threads import thread
from firstpull.units import LengthUnit

_LIVE = ("open", "released", "stopped")
_HEADINGS = (
    "joint", "job", "part", "thread", "tool", "margin [%]", "tightest check", "an estimate", "margin at worst [%]",
    "own best part", "own best margin [%]", "given up [points]", "not checked", "why not, and what to do",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class JobJoint:
    """A job of the book as a joint. Without ``joint`` it cannot take part: ``problem`` says why, ``cure`` what to do.
    ``thickness_mm`` is that of the stack, ``thread`` what it needs; ``None`` and "" when they are not known."""

    job: str
    title: str
    status: str
    joint: Joint | None
    thread: str = ""
    thickness_mm: float | None = None
    problem: str = ""
    cure: str = ""


def jobs_to_pick(book: Book, *, words: str = "", most: int = 100, unit: LengthUnit = "mm") -> tuple[JobJoint, ...]:
    """The open, released and stopped jobs that hold every one of ``words``, the one last written to first; at most
    ``most`` of them. One that was superseded is left to its newer revision."""
    rows = book.store.search(words, kind="job") if words.strip() else book.store.summaries("job")
    live = [row.stream.partition(":")[2] for row in rows if row.data.get("status") in _LIVE]
    return joints_of_jobs(book, live[:most], unit=unit)


def count_live_jobs(book: Book, *, words: str = "") -> int:
    """How many jobs :func:`jobs_to_pick` could list."""
    rows = book.store.search(words, kind="job") if words.strip() else book.store.summaries("job")
    return sum(row.data.get("status") in _LIVE for row in rows)


def joints_of_jobs(book: Book, ids: Sequence[str], *, unit: LengthUnit = "mm") -> tuple[JobJoint, ...]:
    """A joint for each job, named by its title (and its id, where titles are alike), with texts in ``unit``: the same
    question as is asked when its insert is chosen. A job without stated needs needs the thread of its insert; the tool
    on record counts. Raises NotFound for a job that is not there."""
    states = [book.job(one) for one in dict.fromkeys(ids)]
    titles = [state.title for state in states]
    return tuple(
        _joint(state, name=state.title if titles.count(state.title) == 1 else f"{state.title} ({state.id})", unit=unit)
        for state in states
    )


def _joint(state: JobState, *, name: str, unit: LengthUnit) -> JobJoint:
    found = JobJoint(state.id, state.title, state.status, None)
    try:
        needs = _needs(state)
        if needs is not None:
            check_needs(needs)
            found = replace(found, thread=thread(needs.thread).designation)
        if state.stack is None:
            return replace(found, problem="Its stack is not described.", cure="Describe the stack.")
        stack, batch = stack_of(state)
        found = replace(found, thickness_mm=thickness(stack).value_mm)
        demand = demand_of(state) or JointDemand()
        check_demand(demand)
    except FirstpullError as problem:
        return replace(found, problem=problem.what, cure=problem.hint or "Look at the job.")
    if needs is None:
        return replace(found, problem="It is not said which thread it needs.", cure="Say the thread.")
    return replace(found, joint=Joint(name, stack, needs, unit, demand, batch))


def _needs(state: JobState) -> Needs | None:
    needs = needs_of(state)
    if needs is None and state.insert is not None:
        needs = Needs(thread=insert_of(state).thread)
    tool = tool_of(state)
    return needs if needs is None or tool is None else replace(needs, tool=tool)


def answer_csv(found: Standard, jobs: Mapping[str, str], *, not_served: Sequence[NotServed] | None = None) -> str:
    """The answer as CSV (comma, CR LF), one joint a row, those that are not served last; ``jobs`` maps the joints' names
    to job ids, ``not_served`` is the same list in another unit. Cells that a spreadsheet would run are guarded."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(_HEADINGS)
    for row in found.served:
        cells = [row.joint, jobs.get(row.joint, ""), row.insert.part, row.insert.thread, row.tool]
        cells += [_points(row.margin), row.tightest.name, "yes" if row.tightest.estimate else ""]
        cells += [_points(row.worst_margin), row.own_best.part, _points(row.own_margin), _points(row.price)]
        writer.writerow([guard(cell) for cell in (*cells, "; ".join(row.not_checked), "")])
    for left in found.not_served if not_served is None else not_served:
        why = f"not served; nearest is {left.nearest}. {left.reason} {left.cure}".strip()
        middle = [""] * (len(_HEADINGS) - 3)
        writer.writerow([guard(cell) for cell in (left.joint, jobs.get(left.joint, ""), *middle, why)])
    return out.getvalue()


def _points(share: float) -> str:
    return f"{100 * share:.2f}"

"""Standardise: the fewest part numbers that serve a list of job files, within a time that the person gives."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from firstpull.errors import BadInput
from firstpull.exchange.job_file import JobFile
from firstpull.jobs.open_job import demand_of_file
from firstpull.jobs.workshop import Book
from firstpull.mechanics.choose import Needs
from firstpull.mechanics.counted import Estimates
from firstpull.mechanics.cover import Progress
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.joint.demand import JointDemand
from firstpull.mechanics.shelf import Shelf
from firstpull.mechanics.standardise import Joint, Standard
from firstpull.mechanics.standardise import standardise as standardise_among
from firstpull.mechanics.tool import Tool

LONGEST_S = 24 * 3600.0


def joints_of_files(jobs: Sequence[tuple[str, JobFile]], inserts: Sequence[Insert] | Shelf) -> tuple[Joint, ...]:
    """One joint for each (place, job file), named by its title; the place is added where titles are alike or missing.

    The same questions as ``firstpull choose`` asks: a file without needs needs the thread of its insert, the tool that
    it describes counts, and without loads, screw and edges a usual screw. Raises BadInput for a file with neither needs
    nor insert.
    """
    by_part = inserts if isinstance(inserts, Shelf) else {insert.part: insert for insert in inserts}
    titles = [_line(job.title) for _place, job in jobs]
    joints = []
    for (place, job), title in zip(jobs, titles, strict=True):
        needs = job.needs
        insert = job.insert if job.part_name is None else by_part.get(job.part_name)
        if needs is None and insert is not None:
            needs = Needs(thread=insert.thread)
        if needs is None:
            raise BadInput(
                "Which thread does the joint need?",
                where=f"{place}: needs.thread",
                hint='Add [needs] with thread = "M6".',
            )
        if needs.tool is None and job.tool is not None:
            needs = replace(needs, tool=job.tool)
        name = place if not title else title if titles.count(title) == 1 else f"{title} ({place})"
        joints.append(Joint(name, job.stack, needs, job.unit, demand_of_file(job) or JointDemand(), job.batch))
    return tuple(joints)


def _line(text: str) -> str:
    """A title as it stands in a line of a list."""
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())


def tools_of_shop(book: Book, ids: Sequence[str]) -> tuple[tuple[str, Tool], ...]:
    """Tools of the shop by id. Raises NotFound."""
    return tuple((one, Tool.from_json(book.tool(one).tool)) for one in ids)


def standardise_joints(
    joints: Sequence[Joint],
    inserts: Sequence[Insert] | Shelf,
    *,
    min_margin: float = 0.1,
    estimates: Estimates = "expected",
    tools: Sequence[tuple[str, Tool]] = (),
    time_limit_s: float | None = None,
    cancelled: Callable[[], bool] = lambda: False,
    progress: Callable[[Progress], None] = lambda _step: None,
) -> Standard:
    """The fewest part numbers for ``joints``, stopping with the best so far after ``time_limit_s`` (0 to a day) or when
    ``cancelled`` says so. Raises BadInput, also when the time was too short to look at every joint."""
    if time_limit_s is not None and not 0 < time_limit_s <= LONGEST_S:
        raise BadInput("The time limit is from above 0 s to a day.", where="time_limit", hint="For example 30.")
    end_s = None if time_limit_s is None else time.monotonic() + time_limit_s

    def stop() -> bool:
        return cancelled() or (end_s is not None and time.monotonic() >= end_s)

    return standardise_among(
        joints, inserts, min_margin=min_margin, estimates=estimates, tools=tools, cancelled=stop, progress=progress
    )


def standardise_answer(found: Standard) -> Mapping[str, Any]:
    """``firstpull/standardise/1``: the part numbers, who takes which at what price, and who is not served."""
    return {
        "schema": "firstpull/standardise/1",
        "proven": found.proven,
        "counts": {
            "inserts": len(found.inserts),
            "threads": len(found.threads),
            "tools": len(found.tools),
            "own_best_inserts": found.own_best_inserts,
            "least_inserts": found.least_inserts,
        },
        "inserts": [
            {
                "part": insert.part,
                "thread": insert.thread,
                "joints": [row.joint for row in found.served if row.insert == insert],
            }
            for insert in found.inserts
        ],
        "threads": list(found.threads),
        "tools": list(found.tools),
        "joints": [
            {
                "joint": row.joint,
                "part": row.insert.part,
                "tool": row.tool or None,
                "margin": row.margin,
                "worst_margin": row.worst_margin,
                "tightest": row.tightest.name,
                "estimate": row.tightest.estimate,
                "not_checked": list(row.not_checked),
                "own_best": row.own_best.part,
                "own_margin": row.own_margin,
                "price": row.price,
                "text": row.text,
            }
            for row in found.served
        ],
        "not_served": [
            {"joint": row.joint, "nearest": row.nearest, "reason": row.reason, "cure": row.cure}
            for row in found.not_served
        ],
        "min_margin": found.min_margin,
        "tightest_margin": found.tightest_margin,
        "mean_margin": found.mean_margin,
        "text": found.text,
        "notes": list(found.notes),
    }

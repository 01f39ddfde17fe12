"""Fewest part numbers over jobs of the book: who can take part, what is searched among, and the answer as a table."""

from __future__ import annotations

import csv
import io
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from firstpull.errors import BadInput, NotFound
from firstpull.jobs import catalogue, choose, look_after, open_job, set_up
from firstpull.jobs.long_work import Look
from firstpull.jobs.standardise_jobs import answer_csv, count_live_jobs, jobs_to_pick, joints_of_jobs
from firstpull.jobs.standardise_search import Answer, Question, inserts_for, searches
from firstpull.jobs.workshop import Book, Workshop
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.joint.demand import JointDemand, LoadRange, Loads
from firstpull.mechanics.needs import Needs
from firstpull.mechanics.request import Batch
from firstpull.mechanics.stack import Layer, Stack
from workshop_example import ADA, a_tool, an_insert, mm, open_workshop, proven_job


@pytest.fixture
def workshop(tmp_path: Path) -> Iterator[Workshop]:
    with open_workshop(tmp_path / "data") as made:
        yield made


def insert(part: str, low: str, high: str, thread: str = "M6") -> Insert:
    return replace(an_insert(), part=part, thread=thread, grip_min=mm(low), grip_max=mm(high), length_free=mm("24"))


def job(book: Book, title: str, thick: str = "", thread: str = "M6") -> str:
    """A job with a sheet of ``thick`` mm that needs ``thread``; "" = not said."""
    one = open_job.open_job(book, title, doing=ADA).id
    if thick:
        choose.describe_stack(book, one, Stack((Layer("EN AW-5754", mm(thick)),)), doing=ADA)
    if thread:
        choose.state_needs(book, one, Needs(thread=thread), doing=ADA)
    return one


def searched(question: Question) -> Look[Question, Answer]:
    """The end of a search."""
    work = searches()
    try:
        one = work.start(question)
        until = time.monotonic() + 30
        while not work.look(one).over:
            assert time.monotonic() < until
            time.sleep(0.01)
        return work.look(one)
    finally:
        work.close()


def question(book: Book, *jobs: str) -> Question:
    joints = tuple(row.joint for row in joints_of_jobs(book, jobs) if row.joint is not None)
    return Question(book=book, jobs=jobs, joints=joints, tools=(), min_margin=0.1)


def test_jobs_become_joints_and_what_lacks_is_said(workshop: Workshop) -> None:
    """A job with stack and needs is a joint; one without stack, or without thread, says what to do."""
    book = workshop.bench
    lid, bare, loose = job(book, "Lid", "2"), job(book, "Bare"), job(book, "Loose", "2", thread="")
    rows = {row.job: row for row in joints_of_jobs(book, (lid, bare, loose))}
    assert rows[lid].joint is not None
    assert (rows[lid].joint.name, rows[lid].thread, rows[lid].thickness_mm) == ("Lid", "M6x1", 2.0)
    assert (rows[bare].joint, rows[bare].problem) == (None, "Its stack is not described.")
    assert (rows[loose].joint, rows[loose].cure) == (None, "Say the thread.")
    with pytest.raises(NotFound):
        joints_of_jobs(book, ("never",))


def test_the_thread_of_the_chosen_insert_will_do(workshop: Workshop) -> None:
    """A job that never stated needs, but has an insert, needs that thread."""
    book = workshop.bench
    one = job(book, "Lid", "2", thread="")
    choose.take_insert_in_hand(book, one, an_insert(), doing=ADA)
    (row,) = joints_of_jobs(book, (one,))
    assert row.joint is not None
    assert row.joint.needs == Needs(thread="M6")


def test_jobs_of_one_title_are_told_apart(workshop: Workshop) -> None:
    """Two jobs with one title are named by their ids as well; the same job twice is one joint."""
    first, second = job(workshop.bench, "Lid", "2"), job(workshop.bench, "Lid", "3")
    rows = joints_of_jobs(workshop.bench, (first, second, first))
    assert [row.joint.name for row in rows if row.joint] == [f"Lid ({first})", f"Lid ({second})"]


def test_the_list_has_what_is_alive(workshop: Workshop) -> None:
    """Open and released jobs are listed, the last touched first, at most so many, and by words; a superseded one is not."""
    book = workshop.bench
    released = proven_job(book).id
    from firstpull.jobs import hand_over

    hand_over.release(book, released, doing=ADA)
    newer = open_job.revise(book, released, reason="thicker coat", doing=ADA).id
    lid = job(book, "Lid", "2")
    assert [row.job for row in jobs_to_pick(book)] == [lid, newer]
    assert [row.job for row in jobs_to_pick(book, most=1)] == [lid]
    assert [row.job for row in jobs_to_pick(book, words="tray")] == [newer]
    assert (count_live_jobs(book), count_live_jobs(book, words="tray")) == (2, 1)


def test_a_search_finds_and_says_who_is_left_out_in_both_units(workshop: Workshop) -> None:
    """One part for two jobs; the third is too thick, and the reason is said in mm and in inches."""
    book = workshop.bench
    for row in (insert("WIDE", "0.5", "4.5"), insert("THIN", "0.5", "3"), insert("FIVE", "1", "3", thread="M5")):
        catalogue.add_measured(book, row, doing=ADA)
    jobs = job(book, "Lid", "1.5"), job(book, "Beam", "4"), job(book, "Block", "6")
    look = searched(question(book, *jobs))
    assert look.found is not None
    found = look.found.found
    assert [part.part for part in found.inserts] == ["WIDE"]
    assert (found.proven, len(found.served)) == (True, 2)
    for unit, said in (("mm", "1.50 mm above"), ("in", "0.0591 in above")):
        assert said in look.found.not_served[unit][0].reason  # type: ignore[index]
    assert set(inserts_for(book, question(book, jobs[0]).joints)) == {"WIDE", "THIN", "FIVE"}


def test_the_batch_counts_as_when_the_insert_is_chosen(workshop: Workshop) -> None:
    """A batch that runs thicker than the stack in hand needs an insert that holds its thickest."""
    book = workshop.bench
    for row in (insert("THIN", "0.5", "2.5"), insert("WIDE", "0.5", "4.5")):
        catalogue.add_measured(book, row, doing=ADA)
    one = job(book, "Lid", "2")
    stack = Stack((Layer("EN AW-5754", mm("2")),))
    choose.describe_stack(book, one, stack, doing=ADA, batch=Batch(mm("1.9"), mm("2.6")))
    assert [found.insert.part for found in choose.candidates(book, one).candidates] == ["WIDE"]
    look = searched(question(book, one))
    assert look.found is not None
    assert [row.insert.part for row in look.found.found.served] == ["WIDE"]
    assert look.found.found.served[0].own_best.part == "WIDE"


def test_forces_of_a_reason_follow_the_persons_unit(workshop: Workshop) -> None:
    """Whoever works in inches reads pound-force where others read kilonewton."""
    book = workshop.bench
    catalogue.add_measured(book, replace(insert("WEAK", "0.5", "3"), pull_out_n=400.0), doing=ADA)
    one = job(book, "Lid", "1.5")
    choose.state_joint(book, one, JointDemand(loads=Loads(tension=LoadRange(0, 600))), doing=ADA)
    look = searched(question(book, one))
    assert look.found is not None
    reasons = {unit: rows[0].reason for unit, rows in look.found.not_served.items()}
    assert reasons["mm"].startswith("Up to 0.60 kN against 0.40 kN")
    assert reasons["in"].startswith("Up to 135 lbf against 89.9 lbf")


def test_a_catalogue_without_the_thread_is_said(workshop: Workshop) -> None:
    """With no row of any thread asked for, the search ends with what to bring in."""
    book = workshop.bench
    catalogue.add_measured(book, insert("FIVE", "1", "3", thread="M5"), doing=ADA)
    look = searched(question(book, job(book, "Lid", "1.5")))
    assert look.condition == "failed"
    assert isinstance(look.problem, BadInput)
    assert "no insert with M6x1" in str(look.problem)


def test_loads_and_tool_on_record_count_as_when_the_insert_is_chosen(workshop: Workshop) -> None:
    """What “choose” rejects for a job (a pull-out too weak, a stroke too long for its tool) does not serve it here."""
    book = workshop.bench
    weak = replace(insert("WEAK", "0.5", "3"), pull_out_n=400.0)
    good = replace(insert("GOOD", "0.5", "3.4"), pull_out_n=900.0)
    far = replace(insert("FAR", "0.5", "9"), pull_out_n=900.0)
    for row in (weak, good, far):
        catalogue.add_measured(book, row, doing=ADA)
    one = job(book, "Lid", "1.5")
    loads = JointDemand(loads=Loads(tension=LoadRange(0, 600)))
    choose.state_joint(book, one, loads, doing=ADA)
    look_after.add_tool(book, "T1", a_tool(), doing=ADA)
    choose.take_insert(book, one, "GOOD", doing=ADA)
    set_up.choose_tool(book, one, "T1", doing=ADA)
    (row,) = joints_of_jobs(book, (one,))
    assert row.joint is not None
    assert row.joint.demand == loads
    assert row.joint.needs.tool is not None
    allowed = {candidate.insert.part for candidate in choose.candidates(book, one).candidates}
    assert allowed == {"GOOD"}
    look = searched(question(book, one))
    assert look.found is not None
    assert [served.insert.part for served in look.found.found.served] == ["GOOD"]


def test_the_answer_as_a_table(workshop: Workshop) -> None:
    """One joint a row with job, part, margin and price; who is not served last; nothing that a spreadsheet would run."""
    book = workshop.bench
    catalogue.add_measured(book, insert("WIDE", "0.5", "4.5"), doing=ADA)
    catalogue.add_measured(book, insert("THIN", "0.5", "2.5"), doing=ADA)
    jobs = job(book, "=Lid", "1.5"), job(book, "Beam, long", "4"), job(book, "Block", "6")
    asked = question(book, *jobs)
    look = searched(asked)
    assert look.found is not None
    names = {joint.name: one for one, joint in zip(asked.jobs, asked.joints, strict=True)}
    text = answer_csv(look.found.found, names, not_served=look.found.not_served["in"])
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert [(row["joint"], row["job"], row["part"]) for row in rows] == [
        ("'=Lid", jobs[0], "WIDE"),
        ("Beam, long", jobs[1], "WIDE"),
        ("Block", jobs[2], ""),
    ]
    assert (rows[0]["margin [%]"], rows[0]["own best part"], rows[0]["given up [points]"]) == ("50.00", "THIN", "50.00")
    assert rows[2]["why not, and what to do"].startswith("not served; nearest is WIDE.")
    assert "0.0591 in" in rows[2]["why not, and what to do"]
    assert text.count("\r\n") == 4

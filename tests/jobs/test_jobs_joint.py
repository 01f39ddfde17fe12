"""What is asked of a joint beside its thread stays with the job: from file to record, to the choice, to a revision."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from firstpull.errors import BadInput
from firstpull.exchange.job_file import JobFile, read_job, write_job
from firstpull.jobs import catalogue, choose, hand_over, open_job, set_up
from firstpull.jobs.demo_workshop import demo_text
from firstpull.jobs.shapes import demand_from_json, demand_of, demand_to_json
from firstpull.jobs.workshop import Book, Doing
from firstpull.mechanics.choose import Choice, Needs
from firstpull.mechanics.choose import choose as choose_among
from firstpull.mechanics.joint.demand import Edges, JointDemand, LoadRange, Loads, Screw
from firstpull.record.event import NewEvent, seal
from firstpull.record.forms import check_form
from firstpull.units import parse_length
from workshop_example import proven_job

ADA = Doing("Ada")
FILE = """[job]
title = "Tray lid"

[[stack.layer]]
material = "EN AW-5754"
thickness = "2.0 mm"
tolerance = "0.09 mm"

[stack]
load_ceiling = "9 kN"

[needs]
thread = "M6"
sealed = false
temperature = "60 °C"
surroundings = "controlled"
dimple = true
body = "knurled"
pocket_diameter = "60 mm"
pocket_depth = "4 mm"

[loads]
tension = ["200 N", "600 N"]
shear = "400 N"
push = "100 N"
load_factor = 0.4

[screw]
class = "8.8"
condition = "lubricated"
torque = "4.5 Nm"
proof_share = 0.6
mating_thickness = "3 mm"
clearance_hole = "6.6 mm"
washer = "1.6 mm"

[edges]
edge = "20 mm"
pitch = "60 mm"

[tool]
control = "stroke"
lead_per_turn = "0.5 mm"
stroke_max = "7 mm"
nose_diameter = "22 mm"
nose_reach = "12 mm"
"""


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    made = Book(tmp_path / "record.sqlite", practice=False, clock=lambda: datetime(2026, 3, 2, 8, 0, tzinfo=UTC))
    proposal = catalogue.propose(made, demo_text("inserts.csv").encode(), filename="inserts.csv")
    catalogue.take(made, proposal, filename="inserts.csv", doing=ADA)
    yield made
    made.close()


def of_command(book: Book, job: JobFile) -> Choice:
    """What ``firstpull choose`` answers for the file."""
    assert job.needs is not None
    demand = open_job.demand_of_file(job) or JointDemand()
    needs = replace(job.needs, tool=job.tool)
    inserts = list(book.inserts().values())
    return choose_among(inserts, stack=job.stack, needs=needs, unit=job.unit, joint=demand, batch=job.batch)


@pytest.mark.parametrize("whole", [True, False])
def test_the_bench_chooses_as_the_command_does(book: Book, whole: bool) -> None:
    """A job opened from a file has the same candidates with the same checks, and the same rejected ones."""
    job = read_job(FILE if whole else FILE[: FILE.index("[loads]")])
    state = open_job.open_from_file(book, job, doing=ADA)
    assert choose.candidates(book, state.id) == of_command(book, job)
    best = choose.candidates(book, state.id).candidates[0]
    alone = choose.candidate(book, state.id, best.insert.part)
    assert alone is not None
    assert alone.checks == best.checks


def test_the_batch_counts_in_the_grip(book: Book) -> None:
    """An insert whose grip ends below the thickest stack of the batch is out, for the bench and for the command."""
    narrow = read_job(FILE)
    wide = read_job(FILE.replace("[stack]\n", '[stack]\nthin = "1.9 mm"\nthick = "3.2 mm"\n'))
    one, other = (open_job.open_from_file(book, job, doing=ADA).id for job in (narrow, wide))
    before, after = choose.candidates(book, one), choose.candidates(book, other, most=50)
    assert after.fits < before.fits
    assert dict(after.misses)["grip"] > dict(before.misses)["grip"]
    assert "3.20 mm" in next(left.reason for left in after.rejected if "thickest" in left.reason)
    assert [one.insert.part for one in after.candidates] == [
        one.insert.part for one in of_command(book, wide).candidates
    ]


def test_a_job_keeps_all_that_its_file_asks(book: Book) -> None:
    """Needs, loads, screw, edges and the ceiling read back from the record as the file said them."""
    job = read_job(FILE)
    state = open_job.open_from_file(book, job, doing=ADA)
    assert demand_of(state) == open_job.demand_of_file(job)
    assert choose.needs_of(state) == job.needs
    asked = demand_of(state)
    assert asked is not None
    again = replace(job, loads=asked.loads, screw=asked.screw, edges=asked.edges, load_ceiling_n=asked.load_ceiling_n)
    assert write_job(again) == write_job(job)


def test_what_is_asked_can_be_said_again(book: Book) -> None:
    """The last word counts; needs that change with it go in one act, and a retry writes nothing twice."""
    state = open_job.open_from_file(book, read_job(FILE), doing=ADA)
    needs = choose.needs_of(state)
    assert needs is not None
    demand = JointDemand(loads=Loads(tension=LoadRange(0, 500)), load_ceiling_n=9000)
    doing = Doing("Ada", state.sequence, "slip-1")
    for _time in range(2):
        choose.state_joint(
            book, state.id, demand, doing=doing, needs=replace(needs, sealed=True), typed={"tension": "0 to 0.5 kN"}
        )
    after = book.job(state.id)
    assert after.sequence == state.sequence + 2
    assert demand_of(after) == demand
    sealed = choose.needs_of(after)
    assert sealed is not None
    assert sealed.sealed
    assert (after.joint or {})["typed"] == {"tension": "0 to 0.5 kN"}


def test_what_cannot_be_asked_is_not_written(book: Book) -> None:
    """A load that cannot be right leaves the record as it was."""
    state = open_job.open_from_file(book, read_job(FILE), doing=ADA)
    with pytest.raises(BadInput):
        choose.state_joint(book, state.id, JointDemand(loads=Loads(tension=LoadRange(2, 1))), doing=ADA)
    assert book.job(state.id).sequence == state.sequence


def test_only_the_ceiling_of_the_pull_makes_a_setting_stale(book: Book) -> None:
    """Loads say nothing of the stroke; the pull that a soft sheet bears limits the setting, which is computed with it."""
    text = FILE + '\n[insert]\npart = "DEMO-M6-STFO-30"\n'
    state = open_job.open_from_file(book, read_job(text), doing=ADA)
    asked = demand_of(state)
    assert asked is not None
    assert state.setting is not None
    assert set_up.request_of(book, state).load_ceiling_n == 9000
    state = choose.state_joint(book, state.id, replace(asked, loads=Loads()), doing=ADA)
    assert state.setting is not None
    state = choose.state_joint(book, state.id, replace(asked, load_ceiling_n=5000.0), doing=ADA)
    assert state.setting is None


def test_a_job_without_a_word_of_its_joint_asks_for_the_thread_alone(book: Book) -> None:
    """An old record, without loads and with needs of the old form, reads and chooses as before."""
    state = open_job.open_job(book, "Old", doing=ADA)
    stack = read_job(FILE).stack
    choose.describe_stack(book, state.id, stack, doing=ADA)
    old = {"thread": "M6", "end": None, "head": None, "material": None, "room_behind_mm": 20.0, "tool": None}
    book.write(f"job:{state.id}", [("NeedsStated", old)], ADA)
    state = book.job(state.id)
    assert demand_of(state) is None
    assert choose.needs_of(state) == Needs(thread="M6", room_behind_mm=20.0)
    assert choose.candidates(book, state.id).candidates


def test_a_revision_asks_the_same_of_its_joint(book: Book) -> None:
    """The next revision of a released job starts with the loads and needs of the one before."""
    job = proven_job(book).id
    demand = JointDemand(loads=Loads(shear=LoadRange(100, 300)), edges=Edges(edge=parse_length("20 mm")))
    needs = Needs(thread="M6", surroundings="harsh", temperature_c=60.0)
    choose.state_joint(book, job, demand, needs=needs, doing=ADA)
    hand_over.release(book, job, doing=ADA)
    after = open_job.revise(book, job, reason="new sheet", doing=ADA)
    assert (demand_of(after), choose.needs_of(after)) == (demand, needs)


def test_the_form_of_what_is_asked_reads_back() -> None:
    """Every field of what is asked survives the record's form; only the kinds that belong there pass."""
    mm = parse_length
    demand = JointDemand(
        loads=Loads(tension=LoadRange(1, 2), push=LoadRange(0, 1), load_factor=1.0),
        screw=Screw(strength="grade 5", torque_nm=3.2, washer=mm("0.06 in"), clearance_hole=mm("9/32 in")),
        edges=Edges(pitch=mm("2 in")),
        load_ceiling_n=None,
    )
    data: dict[str, Any] = demand_to_json(demand)
    assert demand_from_json(data) == demand
    check_form(_event(data))
    for wrong in ({"loads": []}, {"screw": {"torque_nm": "3"}}, {"edges": {"edge": 3}}, {"load_ceiling_n": "9 kN"}):
        with pytest.raises(BadInput):
            check_form(_event({**data, **wrong}))


def _event(data: dict[str, Any]) -> Any:
    new = NewEvent("JointStated", data, client_id="a")
    return seal(new, stream="job:a", sequence=2, at="2026-03-02T08:00:00Z", by="Ada", software="1", previous="0" * 64)

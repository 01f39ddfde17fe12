"""Two tabs, doubled clicks, old pages, struck-out readings and forged numbers: what must not get through."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from firstpull.errors import BadInput, Conflict, NotFound, Unsafe
from firstpull.jobs import dial_in, hand_over, look_after, open_job, practice_bench, prove, run_checks
from firstpull.jobs.workshop import Book, Doing, Workshop
from workshop_example import (
    ADA,
    a_tool,
    follow_advice,
    good_finding,
    mm,
    open_workshop,
    proven_job,
    set_up_job,
    simulated,
)

BEN = Doing("Ben")


@pytest.fixture
def workshop(tmp_path: Path) -> Iterator[Workshop]:
    with open_workshop(tmp_path) as made:
        yield made


@pytest.fixture
def book(workshop: Workshop) -> Book:
    return workshop.bench


def held(book: Book) -> str:
    job = follow_advice(book, set_up_job(book).id, simulated()).id
    dial_in.hold(book, job, doing=ADA)
    return job


def events_of(book: Book, job: str, kind: str) -> int:
    return sum(event.type == kind for event in book.store.read(f"job:{job}"))


def test_a_pull_sent_twice_counts_once(book: Book) -> None:
    """The same pull under the same id is one pull, also when a free length had been measured for it beforehand."""
    job = set_up_job(book).id
    dial_in.record_free_length(book, job, mm("15.51"), doing=ADA)
    slip = Doing("Ada", book.job(job).sequence, "once")
    first = dial_in.record_pull(book, job, mm("11.9"), doing=slip)
    assert dial_in.record_pull(book, job, mm("11.9"), doing=slip) == first
    assert len(first.pulls) == 1
    assert first.pulls[0].length_before == mm("15.51")


def test_another_reading_under_an_old_id_is_not_swallowed(book: Book) -> None:
    """A page sent again with another reading is refused, so that nothing typed is lost silently."""
    job = set_up_job(book).id
    slip = Doing("Ada", book.job(job).sequence, "once")
    dial_in.record_pull(book, job, mm("11.9"), doing=slip)
    with pytest.raises(Conflict):
        dial_in.record_pull(book, job, mm("11.8"), doing=slip)


def test_a_coupon_sent_twice_counts_once(book: Book) -> None:
    """A doubled click on a coupon keeps its number; the verdict stands once."""
    job = held(book)
    slip = Doing("Ada", book.job(job).sequence, "coupon")
    first = prove.check_coupon(book, job, good_finding(), doing=slip)
    assert prove.check_coupon(book, job, good_finding(), doing=slip) == first
    assert (len(first.coupons), events_of(book, job, "ProofJudged")) == (1, 1)


def test_release_reopening_and_revision_sent_twice_are_done_once(book: Book) -> None:
    """The second click on release, on “go on” and on “revise” leads where the first one did."""
    job = proven_job(book).id
    slip = Doing("Ada", book.job(job).sequence, "release")
    released = hand_over.release(book, job, doing=slip)
    assert hand_over.release(book, job, doing=slip) == released
    run_checks.stop(book, job, reason="insert spun", count=5, doing=ADA)
    for _coupon in range(3):
        prove.check_coupon(book, job, good_finding(), doing=ADA)
    again = Doing("Ada", None, "reopen")
    assert run_checks.reopen(book, job, doing=again) == run_checks.reopen(book, job, doing=again)
    with pytest.raises(Unsafe, match="go on"):
        run_checks.reopen(book, job, doing=Doing("Ada", None, "another"))
    revision = Doing("Ada", None, "revise")
    new = open_job.revise(book, job, reason="new sheet", doing=revision).id
    assert open_job.revise(book, job, reason="new sheet", doing=revision).id == new
    with pytest.raises(Unsafe, match="replaced"):
        open_job.revise(book, job, reason="new sheet", doing=Doing("Ada", None, "second"))


def test_a_stop_sent_twice_quarantines_once(book: Book) -> None:
    """A check that stops the run, sent again, is the same check and the same stop."""
    job = proven_job(book).id
    hand_over.release(book, job, doing=ADA)
    found = run_checks.Found(kind="tool", count=20, set_length=mm("12.9"))
    slip = Doing("Ada", book.job(job).sequence, "check")
    first = run_checks.record_check(book, job, found, doing=slip)
    assert first.stopped
    assert run_checks.record_check(book, job, found, doing=slip) == first


def test_a_tool_and_a_gauge_added_twice_are_there_once(book: Book) -> None:
    """A doubled click on adding is no second tool and no refusal."""
    slip = Doing("Ada", None, "add")
    assert look_after.add_tool(book, "T9", a_tool(), doing=slip) == look_after.add_tool(
        book, "T9", a_tool(), doing=slip
    )
    gauge = Doing("Ada", None, "gauge")
    for _click in range(2):
        look_after.add_gauge(book, "C9", "Caliper", doing=gauge)
    with pytest.raises(BadInput, match="already"):
        look_after.add_gauge(book, "C9", "Caliper", doing=BEN)


def test_a_practice_pull_sent_twice_pulls_one_insert(workshop: Workshop) -> None:
    """A doubled click in practice uses one insert of the simulated tool."""
    book = workshop.practice
    job = practice_bench.start(book, doing=ADA).id
    slip = Doing("Ada", None, "pull")
    first = practice_bench.pull(book, job, doing=slip)
    assert practice_bench.pull(book, job, doing=slip) == first


def test_a_saved_coupon_never_looks_refused(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """When somebody writes between a coupon and its verdict, the coupon is saved, nothing is raised, and the verdict
    takes both in."""
    job = held(book)
    once = iter([True])
    whole = prove.verdict_of

    def while_ben_writes(state: object) -> object:
        verdict = whole(state)  # type: ignore[arg-type]
        if next(once, False):
            dial_in.record_pull(book, job, mm("11.15"), doing=BEN)
        return verdict

    monkeypatch.setattr(prove, "verdict_of", while_ben_writes)
    state = prove.check_coupon(book, job, good_finding(), doing=Doing("Ada", None, "mine"))
    assert [coupon.by for coupon in state.coupons] == ["Ada"]
    assert state.proof is not None
    assert state.proof_sequence > state.changed_sequence


def test_striking_the_confirming_pull_takes_the_proof_along(book: Book) -> None:
    """Without the air pull after locking the proof is owed again, and nothing is released."""
    state = proven_job(book)
    state = dial_in.strike_out(book, state.id, state.pulls[-1].sequence, reason="wrong insert", doing=ADA)
    assert state.held is not None
    assert state.proof is not None
    assert not state.proof["passed"]
    with pytest.raises(Unsafe):
        hand_over.release(book, state.id, doing=ADA)


def test_striking_a_pull_of_the_dial_in_takes_the_hold_along(book: Book) -> None:
    """A setting that was held on the word of a reading is not held without it."""
    state = proven_job(book)
    state = dial_in.strike_out(book, state.id, state.pulls[0].sequence, reason="wrong insert", doing=ADA)
    assert (state.held, state.proof) == (None, None)
    assert state.advice_sequence == state.sequence
    with pytest.raises(Unsafe, match="dialled in"):
        hand_over.release(book, state.id, doing=ADA)


def test_striking_a_coupon_is_judged_at_once(book: Book) -> None:
    """After a strike-out the verdict is that of the coupons left, without a further act."""
    state = proven_job(book)
    bad = replace(good_finding(), checks={**good_finding().checks, "flush": "fail"})
    state = prove.check_coupon(book, state.id, bad, doing=ADA)
    assert state.proof is not None
    assert not state.proof["passed"]
    state = dial_in.strike_out(book, state.id, state.coupons[-1].sequence, reason="chip under the head", doing=ADA)
    assert state.proof is not None
    assert state.proof["passed"]
    assert hand_over.release(book, state.id, doing=ADA).released


def test_a_changed_plan_is_judged_at_once(book: Book) -> None:
    """A plan that asks for more is owed at once; the old verdict does not stand."""
    state = proven_job(book)
    state = prove.change_plan(book, state.id, {"coupons_each_end": 5}, doing=ADA)
    assert state.proof is not None
    assert state.proof["owed"] == ["2 more good coupons."]
    state = prove.change_plan(book, state.id, {"coupons_each_end": 3}, doing=ADA)
    assert hand_over.release(book, state.id, doing=ADA).released


@pytest.mark.parametrize(("reading", "fits"), [("11.15", True), ("11.45", True), ("14.9", False), ("9.9", False)])
def test_the_confirming_pull_must_fit(book: Book, reading: str, fits: bool) -> None:
    """An air pull after locking that lies far outside the limits does not confirm the lock."""
    job = held(book)
    dial_in.record_pull(book, job, mm(reading), doing=ADA)
    for length in ("11.26", "11.27", "11.25"):
        state = prove.check_coupon(book, job, good_finding(length), doing=ADA)
    moved = [text for text in prove.verdict_of(state)["owed"] if "after locking read" in text]
    assert bool(moved) is not fits
    if not fits:
        with pytest.raises(Unsafe):
            hand_over.release(book, job, doing=ADA)
        dial_in.strike_out(book, job, state.pulls[-1].sequence, reason="misread", doing=ADA)
        assert hand_over.release(book, dial_in.record_pull(book, job, mm("11.15"), doing=ADA).id, doing=ADA).released


def test_an_old_page_releases_nothing(book: Book) -> None:
    """A release that had not seen the last event is a conflict, and the job stays open."""
    state = proven_job(book)
    with pytest.raises(Conflict):
        hand_over.release(book, state.id, doing=Doing("Ada", state.sequence - 1, "old"))
    assert not book.job(state.id).released


def test_a_verdict_above_too_few_coupons_releases_nothing(book: Book) -> None:
    """A verdict that says passed over fewer coupons than planned is not believed, whoever wrote it."""
    job = held(book)
    prove.check_coupon(book, job, good_finding(), doing=ADA)
    planned = [("ProofJudged", {"passed": True, "owed": []}), ("Released", {"name": "Ada", "card": {}})]
    with pytest.raises(Unsafe, match="good coupons"):
        book.write(f"job:{job}", planned, ADA)


def test_a_card_of_other_numbers_is_refused(book: Book) -> None:
    """A release with an empty card, or with one of another setting, is refused by the record itself."""
    state = proven_job(book)
    for card in ({}, {"job": state.id, "setting": {"stroke_mm": 1.0}}, {"job": "other", "setting": state.setting}):
        with pytest.raises(BadInput, match="card"):
            book.write(f"job:{state.id}", [("Released", {"name": "Ada", "card": card})], ADA)


def test_practice_and_work_do_not_meet(workshop: Workshop) -> None:
    """A practice job is not there under the workshop's own book."""
    job = practice_bench.start(workshop.practice, doing=ADA).id
    with pytest.raises(NotFound):
        workshop.bench.job(job)


@pytest.mark.parametrize("text", ["a\x00b", "\u202eevil", "x\u2066y", "bell\x07"])
def test_texts_that_hide_or_turn_are_refused(book: Book, text: str) -> None:
    """A title, a name or a reason with a control sign or one that turns the letters round is not kept."""
    with pytest.raises(BadInput, match="printed"):
        open_job.open_job(book, f"Lid {text}", doing=ADA)
    with pytest.raises(BadInput, match="printed"):
        open_job.open_job(book, "Lid", doing=Doing(text))
    job = set_up_job(book).id
    dial_in.record_pull(book, job, mm("11.9"), doing=ADA)
    with pytest.raises(BadInput, match="printed"):
        dial_in.strike_out(book, job, book.job(job).pulls[0].sequence, reason=text, doing=ADA)


def test_very_long_texts_are_refused(book: Book) -> None:
    """Nobody keeps a novel as a reason."""
    job = set_up_job(book).id
    dial_in.record_pull(book, job, mm("11.9"), doing=ADA)
    with pytest.raises(BadInput, match="too long"):
        dial_in.strike_out(book, job, book.job(job).pulls[0].sequence, reason="x" * 5000, doing=ADA)


def test_a_job_is_never_called_like_another_address(book: Book) -> None:
    """A job titled “New” gets an id that no page of the bench has taken."""
    assert open_job.open_job(book, "New", doing=ADA).id == "new-2"


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("check_every_minutes", 10**14),
        ("check_every_sets", 10**9),
        ("sections", -1),
        ("torque_tests", 10**6),
        ("confidence", float("nan")),
    ],
)
def test_plans_beyond_reason_are_refused(book: Book, name: str, value: float) -> None:
    """Numbers that no clock or workshop can keep make no plan."""
    job = set_up_job(book).id
    with pytest.raises(BadInput):
        prove.change_plan(book, job, {name: value}, doing=ADA)


@pytest.mark.parametrize("count", [-5, 10**30])
def test_a_stop_wants_a_count(book: Book, count: int) -> None:
    """A stop at a count that can not be is refused; nothing is quarantined by it."""
    job = proven_job(book).id
    hand_over.release(book, job, doing=ADA)
    with pytest.raises(BadInput, match="set so far"):
        run_checks.stop(book, job, reason="insert spun", count=count, doing=ADA)

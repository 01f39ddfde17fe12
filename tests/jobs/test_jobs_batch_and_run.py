"""A batch from thin to thick, allowances from own releases, and what a stop keeps apart."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from firstpull.errors import Unsafe
from firstpull.jobs import choose, dial_in, hand_over, look_after, open_job, prove, run_checks, set_up
from firstpull.jobs.shapes import set_length_limits_mm
from firstpull.jobs.workshop import Book
from firstpull.mechanics.setting import Batch, GivenWindow
from firstpull.mechanics.stack import Layer, Stack
from firstpull.record.job import JobState
from workshop_example import ADA, a_tool, an_insert, good_finding, mm, open_workshop, proven_job


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with open_workshop(tmp_path) as workshop:
        yield workshop.bench


def given_job(book: Book, *, low: str, high: str, batch: Batch | None) -> JobState:
    """A job of one 2.0 mm sheet whose stroke limits were given by the user; stroke 3.0 − 2.0 + 3.4 = 4.4 mm."""
    insert = replace(an_insert(), part="GIVEN", set_allowance_min=None, set_allowance_max=None)
    look_after.add_tool(book, "T1", a_tool(), doing=ADA)
    job = open_job.open_job(book, "Given limits", doing=ADA).id
    stack = Stack((Layer("EN AW-5754", mm("2.0"), mm("0")),))
    choose.describe_stack(book, job, stack, doing=ADA, batch=batch)
    choose.take_insert_in_hand(book, job, insert, doing=ADA)
    set_up.choose_tool(book, job, "T1", doing=ADA)
    set_up.give_window(book, job, GivenWindow(mm(low), mm(high)), doing=ADA)
    return set_up.compute(book, job, doing=ADA)


def test_the_mean_is_held_to_what_serves_the_whole_batch(book: Book) -> None:
    """Limits given at 2.0 mm are narrowed by a batch of 1.9 to 2.1 mm: 4.1…4.7 leaves 4.2…4.6, lengths 10.9…11.3."""
    state = given_job(book, low="4.1", high="4.7", batch=Batch(mm("1.9"), mm("2.1")))
    assert set_length_limits_mm(state) == (10.9, 11.3)
    aim = dial_in.promise(state)
    assert 10.9 < aim.low_mm < aim.high_mm < 11.3
    assert aim.tolerance_mm == pytest.approx(0.2 - 2.3263 * 0.02, abs=1e-3)  # off centre only one limit cuts: z = 2.326
    assert hand_over.draft_card(book, state.id)["setting"]["set_length_max_mm"] == 11.3


def test_a_stack_without_spread_keeps_the_given_limits(book: Book) -> None:
    """Without a spread of thickness the window is the one given, to the nanometre."""
    state = given_job(book, low="4.1", high="4.7", batch=None)
    assert set_length_limits_mm(state) == (10.8, 11.4)


def test_a_batch_that_no_setting_serves_is_not_dialled_in(book: Book) -> None:
    """When the thinnest wants more stroke than the thickest allows, the dial-in refuses and says why."""
    state = given_job(book, low="4.3", high="4.5", batch=Batch(mm("1.8"), mm("2.2")))
    assert state.setting is not None
    assert state.setting["one_setting_serves"] is False
    with pytest.raises(Unsafe) as refused:
        dial_in.promise(state)
    assert "No single setting serves" in refused.value.reasons[0]


def test_both_ends_of_a_batch_are_owed(book: Book) -> None:
    """A batch that spreads wants good coupons of its thinnest and of its thickest stack."""
    state = given_job(book, low="4.1", high="4.7", batch=Batch(mm("1.9"), mm("2.1")))
    assert prove.ends(state) == ("thin", "thick")
    owed = prove.verdict_of(state)["owed"]
    assert owed[0] == "3 more good coupons of the thinnest stack."
    assert owed[1] == "3 more good coupons of the thickest stack."


def test_a_measured_free_length_counts_in_the_interval(book: Book) -> None:
    """Two coupons whose inserts were 0.1 mm apart before the pull and after it had the same stroke."""
    state = proven_job(book)
    for before, after in (("15.45", "11.22"), ("15.55", "11.30")):
        finding = replace(good_finding(after), length_before=mm(before))
        state = prove.check_coupon(book, state.id, finding, doing=ADA)
    measured = prove.verdict_of(state)["measured"]
    assert measured["n"] == 5
    # 11.22 + 0.05 and 11.30 − 0.05 beside 11.26, 11.27 and 11.25, by hand
    assert measured["mean_mm"] == pytest.approx(11.26, abs=1e-9)
    assert measured["sd_mm"] == pytest.approx(0.01, abs=1e-9)


def test_one_finding_is_counted_once(book: Book) -> None:
    """Revisions of one job and allowances that came from own releases do not make an allowance surer."""
    job = proven_job(book).id
    hand_over.release(book, job, doing=ADA)
    revision = open_job.revise(book, job, reason="other sheet supplier", doing=ADA)
    first = set_up.allowance_offers(book, an_insert())[1].allowance
    assert (first.source, first.sd_mm) == ("own releases (1)", 0.1)
    set_up.give_allowance(book, revision.id, first, doing=ADA)
    state = set_up.compute(book, revision.id, doing=ADA)
    assert state.setting is not None
    assert state.setting["set_allowance_source"] == "own releases (1)"
    assert len(set_up.allowance_offers(book, an_insert())) == 2


def test_a_stopped_run_offers_no_allowance(book: Book) -> None:
    """While a run is stopped its release says nothing of the part's allowance."""
    job = proven_job(book).id
    hand_over.release(book, job, doing=ADA)
    run_checks.stop(book, job, reason="insert spun", count=10, doing=ADA)
    assert [offer.allowance.source for offer in set_up.allowance_offers(book, an_insert())] == ["catalogue"]


def run_of(book: Book) -> str:
    job = proven_job(book).id
    hand_over.release(book, job, doing=ADA)
    for found in (
        run_checks.Found(kind="first off", count=1, good=True),
        run_checks.Found(kind="joint", count=20, seated=True),
        run_checks.Found(kind="tool", count=45, set_length=mm("11.15")),
    ):
        run_checks.record_check(book, job, found, doing=ADA)
    return job


def test_a_good_air_pull_does_not_clear_joints(book: Book) -> None:
    """A joint that fails at 50 makes suspect all since the last good look at a joint (20), not since the air pull (45)."""
    job = run_of(book)
    state = run_checks.record_check(book, job, run_checks.Found(kind="joint", count=50, seated=False), doing=ADA)
    assert (state.stops[-1].first_suspect, state.stops[-1].last_suspect) == (21, 50)


def test_a_drifted_tool_is_suspect_since_its_last_good_pull(book: Book) -> None:
    """A set length outside at 60 makes suspect what was set since the air pull at 45."""
    job = run_of(book)
    found = run_checks.Found(kind="tool", count=60, set_length=mm("11.60"))
    state = run_checks.record_check(book, job, found, doing=ADA)
    assert (state.stops[-1].first_suspect, state.stops[-1].last_suspect) == (46, 60)


def test_what_was_kept_apart_is_not_told_again(book: Book) -> None:
    """A second stop begins behind the sets that the first one kept apart."""
    job = run_of(book)
    run_checks.stop(book, job, reason="insert spun", count=50, doing=ADA)
    for length in ("11.26", "11.27", "11.25"):
        prove.check_coupon(book, job, good_finding(length), doing=ADA)
    run_checks.reopen(book, job, doing=ADA)
    state = run_checks.stop(book, job, reason="tilted head", count=70, doing=ADA)
    assert (state.stops[-1].first_suspect, state.stops[-1].last_suspect) == (51, 70)


def test_the_next_check_is_due_by_count(book: Book) -> None:
    """After 50 sets a check is overdue, whatever the clock says; before the first-off one is due at once."""
    job = proven_job(book).id
    hand_over.release(book, job, doing=ADA)
    assert run_checks.next_due(book.job(job), book.now()).sets_left == 0
    run_checks.record_check(book, job, run_checks.Found(kind="first off", count=1, good=True), doing=ADA)
    state = book.job(job)
    assert run_checks.next_due(state, book.now(), 30).sets_left == 21
    assert not run_checks.next_due(state, book.now(), 50).overdue
    assert run_checks.next_due(state, book.now(), 51).overdue


def test_a_trend_asks_for_a_look(book: Book) -> None:
    """Set lengths that creep inside the limits bring a run rule: look, not stop, and in its words."""
    job = proven_job(book).id
    hand_over.release(book, job, doing=ADA)
    state = book.job(job)
    low, high = run_checks.length_limits_mm(state, in_air=True)
    assert low is not None
    assert high is not None
    for count in range(1, 16):
        length = mm(f"{high - 0.001 * (16 - count):.3f}")
        state = run_checks.record_check(
            book, job, run_checks.Found(kind="tool", count=count, set_length=length), doing=ADA
        )
    assert state.checks[-1].result == "look"
    assert state.checks[-1].reasons
    assert not state.stopped


def test_coupons_that_scatter_make_the_shift_doubtful(book: Book) -> None:
    """Three coupons 0.1 mm apart and one air pull: the doubt is 0.1·√(1/3 + 1) mm, not the tool's stated scatter."""
    state = proven_job(book)
    for coupon in state.coupons:
        dial_in.strike_out(book, state.id, coupon.sequence, reason="for this test", doing=ADA)
    for length in ("11.16", "11.26", "11.36"):
        state = prove.check_coupon(book, state.id, good_finding(length), doing=ADA)
    shift = dial_in.observed_shift(state)
    assert shift is not None
    assert shift.mean_mm == pytest.approx(0.11, abs=1e-6)  # 11.26 − 11.15, by hand
    assert shift.sd_mm == pytest.approx(0.1 * (4 / 3) ** 0.5, abs=1e-6)

"""A job taken along its whole path by the library: from the joint to the card, the run, a stop and a new revision."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from firstpull.errors import BadInput, Conflict, Unsafe
from firstpull.jobs import choose, dial_in, hand_over, look_after, open_job, prove, run_checks, set_up
from firstpull.jobs.path import next_step, owed, path
from firstpull.jobs.workshop import Book, Doing
from firstpull.mechanics.stack import Layer, Stack
from workshop_example import (
    ADA,
    Clock,
    a_stack,
    an_insert,
    follow_advice,
    good_finding,
    mm,
    open_workshop,
    proven_job,
    set_up_job,
    simulated,
)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def book(tmp_path: Path, clock: Clock) -> Iterator[Book]:
    with open_workshop(tmp_path, clock) as workshop:
        yield workshop.bench


def released(book: Book) -> str:
    job = proven_job(book).id
    hand_over.release(book, job, doing=ADA)
    return job


def test_the_path_is_walked_in_order(book: Book) -> None:
    """Each step becomes the next one only when the one before it is done."""
    job = open_job.open_job(book, "Rack", doing=ADA).id
    assert next_step(book.job(job)) == "choose"
    choose.describe_stack(book, job, a_stack(), doing=ADA)
    assert owed(book.job(job))[0] == "Choose the insert."
    choose.take_insert_in_hand(book, job, an_insert(), doing=ADA)
    assert next_step(book.job(job)) == "set up"
    assert [stage.status for stage in path(book.job(job))][:3] == ["done", "now", "later"]


def test_a_job_goes_from_joint_to_card(book: Book) -> None:
    """A proven setting is released in a person's name, and the card carries what it stands on."""
    state = proven_job(book)
    assert owed(state) == ()
    state = hand_over.release(book, state.id, doing=ADA)
    card = hand_over.card_of(book, state)
    assert card["released_by"] == "Ada"
    assert card["hash"] == book.store.read(f"job:{state.id}")[-1].hash
    assert card["setting"]["set_length_mm"] == pytest.approx(11.26, abs=1e-9)  # 15.5 − (3.0 − 2.16 + 3.4), by hand
    assert card["setting"]["window_source"] == "catalogue"
    assert "36.8" in card["proof"]["sentence"]


@pytest.mark.parametrize("size", ["A5", "A4"])
def test_the_card_prints(book: Book, size: str) -> None:
    """A released card comes out as PDF in both sizes."""
    job = released(book)
    assert hand_over.card_pdf(book, job, size=size).startswith(b"%PDF")


def test_nothing_is_released_unproven(book: Book) -> None:
    """Before the proof the release is refused with every reason, by the verb and by the record itself."""
    state = set_up_job(book)
    with pytest.raises(Unsafe) as refused:
        hand_over.release(book, state.id, doing=ADA)
    assert len(refused.value.reasons) >= 2
    with pytest.raises(Unsafe):
        book.write(f"job:{state.id}", [("Released", {"name": "Ada", "card": {}})], ADA)
    assert not book.job(state.id).released


def test_a_forged_verdict_releases_nothing(book: Book) -> None:
    """A verdict written without coupons does not open the release."""
    state = set_up_job(book)
    book.write(f"job:{state.id}", [("ProofJudged", {"passed": True, "owed": []})], ADA)
    with pytest.raises(Unsafe):
        book.write(f"job:{state.id}", [("Released", {"name": "Ada", "card": {}})], ADA)


def test_a_release_needs_a_name(book: Book) -> None:
    """Nobody can not release."""
    state = proven_job(book)
    with pytest.raises(BadInput, match="Who"):
        hand_over.release(book, state.id, doing=Doing("  "))


def test_the_lock_is_confirmed_by_an_air_pull(book: Book) -> None:
    """Without an air pull after locking something is owed; the pull alone settles it."""
    state = set_up_job(book)
    state = follow_advice(book, state.id, simulated())
    dial_in.hold(book, state.id, doing=ADA)
    for length in ("11.26", "11.27", "11.25"):
        state = prove.check_coupon(book, state.id, good_finding(length), doing=ADA)
    assert any("after locking" in text for text in owed(state))
    state = dial_in.record_pull(book, state.id, mm("11.15"), doing=ADA)
    assert owed(state) == ()
    shift = dial_in.observed_shift(state)
    assert shift is not None
    assert shift.mean_mm == pytest.approx(0.11, abs=1e-6)  # (11.26 + 11.27 + 11.25)/3 − 11.15, by hand


def test_a_failed_coupon_blocks_and_says_why(book: Book) -> None:
    """One failed coupon holds the release back until it is struck out with a reason or the setting is changed."""
    state = proven_job(book)
    bad = good_finding("11.26")
    worse = prove.Finding(checks={**bad.checks, "gap": "fail"}, thickness=bad.thickness, set_length=bad.set_length)
    state = prove.check_coupon(book, state.id, worse, doing=ADA)
    assert prove.failing_cures(state.coupons[-1])[0].cure == "dial in"
    with pytest.raises(Unsafe, match="failed"):
        hand_over.release(book, state.id, doing=ADA)
    dial_in.strike_out(book, state.id, state.coupons[-1].sequence, reason="chip under the flange", doing=ADA)
    prove.judge(book, state.id, ADA)
    assert hand_over.release(book, state.id, doing=ADA).released


def test_a_turn_after_the_proof_undoes_it(book: Book) -> None:
    """Turning the adjuster makes hold, coupons and proof stale."""
    state = proven_job(book)
    state = dial_in.turn(book, state.id, doing=ADA, clicks=1)
    assert state.held is None
    assert state.proof is None
    assert not state.good_coupons


def test_another_stack_undoes_the_setting(book: Book) -> None:
    """A new stack leaves no setting, no window and no proof behind."""
    state = proven_job(book)
    state = choose.describe_stack(book, state.id, Stack((Layer("steel", mm("1.5")),)), doing=ADA)
    assert state.setting is None
    assert state.proof is None


def test_a_released_job_is_frozen(book: Book) -> None:
    """After the release nothing changes the card; a new revision starts unproven and the old card is superseded."""
    job = released(book)
    with pytest.raises(Unsafe, match="frozen"):
        dial_in.turn(book, job, doing=ADA, clicks=1)
    with pytest.raises(Unsafe, match="frozen"):
        choose.describe_stack(book, job, a_stack(), doing=ADA)
    new = open_job.revise(book, job, reason="other sheet supplier", doing=ADA)
    assert (new.revision, new.revises, new.released) == (2, job, False)
    assert book.job(job).superseded_by == new.id
    assert hand_over.card_of(book, book.job(job))["standing"].startswith("replaced")


def test_the_window_is_never_invented(book: Book) -> None:
    """Without the maker's limits or a proven ladder there is a warning and no way to a release."""
    from dataclasses import replace

    insert = replace(an_insert(), part="NO-LIMITS", set_allowance_min=None, set_allowance_max=None)
    look_after.add_tool(book, "T9", __import__("workshop_example").a_tool(), doing=ADA)
    job = open_job.open_job(book, "No limits", doing=ADA).id
    choose.describe_stack(book, job, a_stack(), doing=ADA)
    choose.take_insert_in_hand(book, job, insert, doing=ADA)
    set_up.choose_tool(book, job, "T9", doing=ADA)
    state = set_up.compute(book, job, doing=ADA)
    assert state.setting is not None
    assert state.setting["window_source"] is None
    assert not state.setting["releasable"]
    with pytest.raises(Unsafe, match="window"):
        dial_in.promise(state)


def test_a_conflict_keeps_the_other_reading(book: Book) -> None:
    """Two browsers on one job: the second to save sees a conflict, and the first reading stays."""
    state = set_up_job(book)
    seen = state.sequence
    dial_in.record_pull(book, state.id, mm("11.7"), doing=Doing("Ada", seen, "one"))
    with pytest.raises(Conflict):
        dial_in.record_pull(book, state.id, mm("11.6"), doing=Doing("Ben", seen, "two"))
    assert [pull.reading.typed for pull in book.job(state.id).pulls] == ["11.7"]


def test_a_retry_is_counted_once(book: Book) -> None:
    """The same act sent twice with one id is stored once."""
    state = set_up_job(book)
    for _try in range(2):
        dial_in.record_pull(book, state.id, mm("11.7"), doing=Doing("Ada", state.sequence, "same-id"))
    assert len(book.job(state.id).pulls) == 1


def test_a_unit_slip_is_kept_and_questioned(book: Book) -> None:
    """A reading in inches typed as mm is stored, and the advice asks to read again."""
    state = set_up_job(book)
    tool = simulated()
    before = mm(f"{tool.next_length_before_mm:.2f}")
    state = dial_in.record_pull(book, state.id, mm("0.46"), doing=ADA, length_before=before)
    assert state.pulls[-1].reading.typed == "0.46"
    assert (state.advice or {})["action"] == "remeasure"


def test_a_run_outside_stops_and_quarantines(book: Book, clock: Clock) -> None:
    """A set length outside the card's limits stops the run, quarantines since the last good check and locks the card."""
    job = released(book)
    run_checks.record_check(book, job, run_checks.Found(kind="tool", count=50, set_length=mm("11.27")), doing=ADA)
    clock.put_on(minutes=30)
    state = run_checks.record_check(
        book, job, run_checks.Found(kind="tool", count=100, set_length=mm("11.60")), doing=ADA
    )
    assert state.stopped
    assert (state.stops[-1].first_suspect, state.stops[-1].last_suspect) == (51, 100)
    with pytest.raises(Unsafe, match="stopped"):
        run_checks.record_check(book, job, run_checks.Found(kind="tool", count=101, set_length=mm("11.27")), doing=ADA)
    with pytest.raises(Unsafe):
        run_checks.reopen(book, job, doing=ADA)
    assert "STOPPED" in hand_over.card_of(book, state)["standing"]


def test_only_a_new_proof_reopens(book: Book) -> None:
    """After a stop three good coupons reopen the run; a failed one does not."""
    job = released(book)
    run_checks.stop(book, job, reason="insert spun", count=40, doing=ADA)
    for length in ("11.26", "11.27", "11.25"):
        prove.check_coupon(book, job, good_finding(length), doing=ADA)
    state = run_checks.reopen(book, job, doing=ADA)
    assert not state.stopped
    assert state.status == "released"


def test_a_thin_stack_stops_although_the_length_is_right(book: Book) -> None:
    """The joint is checked apart from the tool: a stack outside the card's limits stops the run."""
    job = released(book)
    found = run_checks.Found(
        kind="joint", count=10, set_length=mm("11.26"), in_air=False, thickness=mm("1.90"), seated=True
    )
    state = run_checks.record_check(book, job, found, doing=ADA)
    assert state.stopped
    assert "stack" in state.stops[-1].reason


def test_a_limit_belongs_to_the_window(book: Book) -> None:
    """A reading exactly on the limit is in; one nanometre beyond is out: stored values are compared, not shown ones."""
    job = released(book)
    state = book.job(job)
    low, _high = run_checks.length_limits_mm(state, in_air=True)
    assert low is not None
    on = {"set_length": {"nm": round(low * 1e6), "typed": "limit"}, "in_air": True}
    under = {"set_length": {"nm": round(low * 1e6) - 1, "typed": "beyond"}, "in_air": True}
    assert run_checks.judge_check(state, on)[0] != "stop"
    assert run_checks.judge_check(state, under)[0] == "stop"


def test_inserts_are_accounted_for(book: Book) -> None:
    """Issued = set + rejected + returned; what is missing is said."""
    job = released(book)
    state = run_checks.count_inserts(book, job, doing=ADA, issued=200, set_count=190, rejected=4, returned=5)
    assert (state.counts or {})["missing"] == 1


def test_the_next_check_is_due_by_time(book: Book, clock: Clock) -> None:
    """A check is overdue when its minutes have passed, whatever the count."""
    job = released(book)
    run_checks.record_check(book, job, run_checks.Found(kind="tool", count=10, set_length=mm("11.27")), doing=ADA)
    assert not run_checks.next_due(book.job(job), book.now()).overdue
    clock.put_on(minutes=121)
    assert run_checks.next_due(book.job(job), book.now()).overdue


def test_an_unchecked_gauge_is_said(book: Book) -> None:
    """A gauge that was never checked is due, and said beside what it feeds; a check on a block sets the next date."""
    set_up_job(book)
    assert look_after.warnings_for(book, gauge_id="C1")
    look_after.check_gauge(book, "C1", reference=mm("20"), reading=mm("20.01"), doing=ADA)
    assert look_after.warnings_for(book, gauge_id="C1") == ()
    look_after.check_gauge(book, "C1", reference=mm("20"), reading=mm("20.05"), doing=ADA)
    assert "failed" in look_after.warnings_for(book, gauge_id="C1")[0]


def test_a_tool_past_its_service_is_said(book: Book) -> None:
    """Cycles past the service interval are due until the service is recorded."""
    set_up_job(book)
    look_after.count_cycles(book, "T1", 5000, doing=ADA)
    assert "past service" in look_after.warnings_for(book, tool_id="T1")[0]
    look_after.service(book, "T1", "seals changed", doing=ADA)
    assert look_after.warnings_for(book, tool_id="T1") == ()


def test_coupons_teach_the_shift(book: Book) -> None:
    """The shift from air to stack is learned from measured coupons and used for the next job of the same kind."""
    job = released(book)
    shifts = book.tool("T1").shifts
    assert len(shifts) == 1
    assert next(iter(shifts.values()))["coupons"] == 3
    new = open_job.revise(book, job, reason="again", doing=ADA)
    state = set_up.compute(book, new.id, doing=ADA)
    assert state.setting is not None
    assert "learned" in state.setting["air_to_stack_source"]


def test_own_releases_offer_an_allowance(book: Book) -> None:
    """A released job's allowance is offered for the same part, with its source and a doubt."""
    released(book)
    offers = set_up.allowance_offers(book, an_insert())
    assert [offer.allowance.source for offer in offers] == ["catalogue", "own releases (1)"]
    assert offers[1].allowance.value.mm == pytest.approx(3.4, abs=1e-6)


def test_the_record_verifies_after_all_of_it(book: Book) -> None:
    """The whole path leaves a record in which every chain holds."""
    released(book)
    assert book.store.verify().ok

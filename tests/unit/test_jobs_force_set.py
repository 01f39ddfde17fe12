"""Force-set tools from the first rung to the checked run: the ladder, what it refuses, and what the card says."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs import choose, force_set, hand_over, open_job, path, prove, run_checks, set_up
from firstpull.jobs.demo_workshop import fill_demo
from firstpull.jobs.workshop import Book, Doing, Workshop
from firstpull.mechanics.stack import Layer, Stack
from firstpull.units import parse_length, parse_torque

ADA = Doing("Ada")
EYE = {kind.key: "pass" for kind in prove.CHECKS}


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    made = Workshop(tmp_path_factory.mktemp("force"))
    fill_demo(made)
    yield made
    made.close()


@pytest.fixture
def book(workshop: Workshop) -> Book:
    return workshop.bench


@pytest.fixture
def job(book: Book) -> str:
    """An M8 job with its setting computed on the demo's force-set tool."""
    made = open_job.open_job(book, "Foot plate M8", doing=ADA).id
    readings = tuple(parse_length(text) for text in ("2.49 mm", "2.50 mm", "2.51 mm"))
    stack = Stack((Layer("EN AW-5754", parse_length("2.5 mm"), parse_length("0.1 mm")),), readings)
    choose.describe_stack(book, made, stack, doing=ADA)
    choose.take_insert(book, made, "DEMO-M8-STFO-30", doing=ADA)
    set_up.choose_tool(book, made, "F", doing=ADA, mandrel_id="M8-a", gauge_id="C1")
    set_up.compute(book, made, doing=ADA)
    return made


def coupon(book: Book, job: str, **fails: str) -> None:
    checks = {**EYE, **fails}
    state = book.job(job)
    prove.check_coupon(book, job, prove.Finding(checks=checks), doing=ADA, purpose=prove.purpose_of(state))


def climb(book: Book, job: str, *, low_bar: float = 0.0, high_bar: float = 99.0) -> None:
    """Follow the ladder; coupons turn below ``low_bar`` and the thread gauge sticks above ``high_bar``."""
    for _act in range(40):
        step = force_set.next_step(book.job(job))
        if step.do == "set":
            force_set.set_pressure(book, job, step.pressure_bar, doing=ADA)
        elif step.do == "coupon":
            low = {"turn": "fail"} if step.pressure_bar < low_bar else {}
            high = {"thread_gauge": "fail"} if step.pressure_bar > high_bar else {}
            coupon(book, job, **low, **high)
        else:
            return


def proven(book: Book, job: str) -> None:
    climb(book, job, low_bar=4.2, high_bar=5.7)
    force_set.hold_pressure(book, job, doing=ADA)
    for cut in ("pass", "", ""):
        checks = {**EYE, **({"section": cut} if cut else {})}
        finding = prove.Finding(checks=checks, torque=parse_torque("20 Nm"), arrangement="flange")
        prove.check_coupon(book, job, finding, doing=ADA)


def test_the_ladder_starts_at_its_lowest_rung(book: Book, job: str) -> None:
    """The first pressure asked for is the lowest rung."""
    step = force_set.next_step(book.job(job))
    assert (step.do, step.rung) == ("set", 1)
    assert step.pressure_bar == force_set.ladder_rungs(book.job(job))[0][0]


def test_the_ladder_ends_in_the_middle_of_what_passed(book: Book, job: str) -> None:
    """Climbing stops at the first sign of too much; the middle of the band is proven and held with its ends."""
    climb(book, job, low_bar=4.2, high_bar=5.7)
    low, high = force_set.passing_range(book.job(job))
    assert low is not None
    assert high is not None
    assert low >= 4.2
    assert high <= 5.7
    assert book.job(job).pressure_bar == pytest.approx((low + high) / 2, abs=0.006)
    held = force_set.hold_pressure(book, job, doing=ADA).held
    assert held is not None
    assert (held["pressure_bar_min"], held["pressure_bar_max"]) == (low, high)


def test_a_ladder_without_a_failure_is_proven_in_its_middle(book: Book, job: str) -> None:
    """When the last rung passes too, the tool may come down into the band that passed."""
    climb(book, job)
    low, high = force_set.passing_range(book.job(job))
    assert low is not None
    assert high is not None
    assert low < book.job(job).pressure_bar < high
    assert force_set.hold_pressure(book, job, doing=ADA).held is not None


def test_a_ladder_that_never_passes_is_stuck(book: Book, job: str) -> None:
    """Without a good coupon on any rung the ladder says so instead of giving a pressure."""
    climb(book, job, low_bar=98.0)
    assert force_set.next_step(book.job(job)).do == "stuck"
    with pytest.raises(Unsafe, match="No coupon has passed"):
        force_set.hold_pressure(book, job, doing=ADA)


def test_only_one_good_rung_is_proven_again_there(book: Book, job: str) -> None:
    """A band of one rung is its own middle; a second coupon stands there before it is held."""
    rungs = force_set.ladder_rungs(book.job(job))
    climb(book, job, low_bar=rungs[2][0] - 0.01, high_bar=rungs[2][0] + 0.01)
    state = book.job(job)
    assert force_set.passing_range(state) == (rungs[2][0], rungs[2][0])
    assert state.pressure_bar == pytest.approx(rungs[2][0], abs=0.006)


def test_the_ladder_refuses_to_go_down_where_nothing_passed(book: Book, job: str) -> None:
    """Going down is for a coupon that showed too much, or for a pressure that has passed."""
    force_set.set_pressure(book, job, 4.5, doing=ADA)
    with pytest.raises(Unsafe, match="upward only"):
        force_set.set_pressure(book, job, 4.0, doing=ADA)
    coupon(book, job, thread_gauge="fail")
    assert force_set.set_pressure(book, job, 4.0, doing=ADA).pressure_bar == 4.0


def test_pressures_that_can_not_be_are_refused(book: Book, job: str) -> None:
    """Nothing at or below zero, nothing above the tool's rating."""
    with pytest.raises(BadInput):
        force_set.set_pressure(book, job, 0.0, doing=ADA)
    with pytest.raises(Unsafe, match="rated"):
        force_set.set_pressure(book, job, 6.3, doing=ADA)


def test_a_new_setting_begins_the_ladder_anew(book: Book, job: str) -> None:
    """A pressure and a band found for another stack say nothing about this one."""
    climb(book, job)
    set_up.compute(book, job, doing=ADA)
    state = book.job(job)
    assert state.pressure_bar is None
    assert force_set.passing_range(state) == (None, None)
    assert force_set.next_step(state).rung == 1


def test_coupons_of_the_ladder_do_not_prove(book: Book, job: str) -> None:
    """The coupon that held the pressure is no proof: the whole plan is still owed."""
    climb(book, job, low_bar=4.2, high_bar=5.7)
    force_set.hold_pressure(book, job, doing=ADA)
    state = prove.judge(book, job, ADA)
    assert state.proof is not None
    assert state.proof["good"] == 0
    with pytest.raises(Unsafe):
        hand_over.release(book, job, doing=ADA)


def test_lengths_are_noted_and_not_judged(book: Book, job: str) -> None:
    """Under a force-set tool a set length outside the stroke window does not fail a coupon."""
    climb(book, job, low_bar=4.2, high_bar=5.7)
    force_set.hold_pressure(book, job, doing=ADA)
    finding = prove.Finding(checks=EYE, set_length=parse_length("17 mm"))
    assert prove.check_coupon(book, job, finding, doing=ADA).coupons[-1].passed


def test_from_ladder_to_run(book: Book, job: str) -> None:
    """A force-set job is proven, released, and its run is stopped by a pressure outside the band that passed."""
    proven(book, job)
    assert path.owed(book.job(job)) == ()
    card = hand_over.card_of(book, hand_over.release(book, job, doing=ADA))
    assert card["setting"]["pressure_bar"] == card["tool"]["pressure_bar"] == book.job(job).pressure_bar
    assert hand_over.card_pdf(book, job)[:5] == b"%PDF-"
    low, high = run_checks.pressure_limits_bar(book.job(job))
    assert low is not None
    assert high is not None
    found = run_checks.Found(kind="tool", count=1, pressure_bar=low)
    assert run_checks.standing(run_checks.record_check(book, job, found, doing=ADA)) == "in control"
    found = run_checks.Found(kind="tool", count=50, pressure_bar=high + 0.01)
    state = run_checks.record_check(book, job, found, doing=ADA)
    assert state.stopped
    assert "above" in state.stops[-1].reason
    assert run_checks.quarantine(state) == "Sets 2 to 50 are kept apart: everything since the last good check."
    for _number in range(3):
        coupon(book, job)
    assert prove.again_of(book.job(job)).owed == ()
    assert not run_checks.reopen(book, job, doing=ADA).stopped


def test_a_stroke_set_job_has_no_ladder(workshop: Workshop) -> None:
    """A stroke-set tool is dialled in by its knob."""
    with pytest.raises(BadInput, match="not a force-set tool"):
        force_set.next_step(workshop.bench.job("cable-guide-m5"))


def test_a_failed_coupon_need_not_be_looked_at_further(book: Book, job: str) -> None:
    """After a failed check the others may stay open; without one every check must be answered."""
    force_set.set_pressure(book, job, 4.5, doing=ADA)
    found = prove.Finding(checks={"flush": "pass", "gap": "fail"})
    assert prove.check_coupon(book, job, found, doing=ADA, purpose="ladder").coupons[-1].failed == ("gap",)
    with pytest.raises(BadInput, match="not answered"):
        prove.check_coupon(book, job, prove.Finding(checks={"flush": "pass"}), doing=ADA, purpose="ladder")

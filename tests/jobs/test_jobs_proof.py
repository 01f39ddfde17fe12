"""What a proof says: what was reached and not what was wished, individuals apart from their mean, the gauge's doubt counted.

Published values, through the verb: success runs of 36.8 % (3 good ones at 95 %) and 299 coupons (99/95), as in
tests/reference; JCGM 106 and ISO 14253-1 (1.65 u for 95 %, from memory); one-sided tolerance factors as commonly
printed (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from firstpull.errors import BadInput
from firstpull.jobs import dial_in, hand_over, proof_shows, proof_words, prove
from firstpull.jobs.proof_plan import Plan
from firstpull.jobs.shapes import set_length_limits_mm
from firstpull.jobs.workshop import Book
from firstpull.record.job import JobState
from firstpull.statistics.tolerance_intervals import two_sided_factor
from firstpull.units import parse_torque
from workshop_example import ADA, good_finding, mm, open_workshop, proven_job


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with open_workshop(tmp_path) as workshop:
        yield workshop.bench


def near_the_limit(state: JobState, by_mm: float) -> str:
    """A set length that lies inside the longest one by ``by_mm``."""
    limits = set_length_limits_mm(state)
    assert limits is not None
    return f"{limits[1] - by_mm:.3f}"


def test_three_good_coupons_show_what_is_printed(book: Book) -> None:
    """36.8 % at 95 %, and 299 coupons are needed for the wanted 99 %: success run, as printed."""
    verdict = prove.verdict_of(proven_job(book))
    assert verdict["sentence"] == (
        "3 good coupons alone show 36.8 % reliability at 95 % confidence; 99 % by pass or fail needs 299 in all."
    )
    assert verdict["pass_or_fail"]["more_at_most"] == 296
    assert verdict["next"] == "As planned: no more coupons are needed."


def test_the_promise_of_each_set_is_kept_apart_from_the_mean(book: Book) -> None:
    """The interval of the sets is mean ± k·s with the exact factor; that of the mean is narrower and another sentence."""
    state = proven_job(book)
    measured = prove.verdict_of(state)["measured"]
    reach = two_sided_factor(3, 0.99, 0.95) * 0.01
    assert measured["low_mm"] == pytest.approx(11.26 - reach, abs=1e-9)
    assert measured["high_mm"] == pytest.approx(11.26 + reach, abs=1e-9)
    assert measured["low_mm"] < measured["mean_low_mm"] < 11.26 < measured["mean_high_mm"] < measured["high_mm"]
    assert measured["sentence"].startswith("With 95 % confidence at least 99 % of sets lie within 11.")
    assert measured["mean_sentence"].endswith("That is no promise for each set.")


def test_promised_limits_are_rounded_outward() -> None:
    """11.234 to 11.286 is promised as 11.23 to 11.29, in inches likewise."""
    data = {"confidence": 0.95, "share_wanted": 0.99, "low_mm": 11.234, "high_mm": 11.286}
    assert "11.23 to 11.29 mm" in proof_words.sets_sentence(data, "mm")
    assert "0.4422 to 0.4444 in" in proof_words.sets_sentence(data, "in")


def test_the_gauge_narrows_the_window(book: Book) -> None:
    """The guard band is 1.65 u of a reading (ISO 14253-1), u from the gauge's limit of error and step (GUM)."""
    measured = prove.verdict_of(proven_job(book))["measured"]
    assert measured["u_mm"] == pytest.approx((0.03**2 / 3 + 0.01**2 / 12) ** 0.5, rel=1e-9)
    assert measured["guard_mm"] == pytest.approx(1.65 * measured["u_mm"], rel=0.005)
    assert "Caliper 1" in measured["gauge_sentence"]


def test_a_length_near_its_limit_is_not_shown(book: Book) -> None:
    """Inside by half a guard band it neither fails nor counts: its chance is said and another coupon is owed."""
    state = proven_job(book)
    finding = good_finding(near_the_limit(state, 0.015))
    state = prove.check_coupon(book, state.id, finding, doing=ADA)
    last = state.coupons[-1]
    assert last.passed
    assert last.open == ("set_length",)
    verdict = prove.verdict_of(state)
    assert (verdict["good"], verdict["bad"]) == (3, 0)
    assert not verdict["passed"]
    # Φ(0.015 / u) with u = 0.01756: 0.8035, by a table of the normal distribution
    assert verdict["open"][0]["chance"] == pytest.approx(0.8035, abs=0.01)  # the limit has a digit more
    assert "chance to conform 80.8 %" in verdict["owed"][0]
    dial_in.strike_out(book, state.id, last.sequence, reason="set again", doing=ADA)
    assert prove.verdict_of(book.job(state.id))["passed"]


def test_a_length_beyond_its_limit_still_fails(book: Book) -> None:
    """Outside by less than the guard it fails: doubt never lets a value pass."""
    state = proven_job(book)
    state = prove.check_coupon(book, state.id, good_finding(near_the_limit(state, -0.005)), doing=ADA)
    assert state.coupons[-1].failed == ("set_length",)


def test_the_window_ends_where_it_did(book: Book) -> None:
    """A value farther inside than the guard counts as before."""
    state = proven_job(book)
    state = prove.check_coupon(book, state.id, good_finding(near_the_limit(state, 0.04)), doing=ADA)
    assert state.coupons[-1].shown


def test_a_torque_at_its_least_is_not_shown(book: Book) -> None:
    """8.1 N·m read to ± 4 % does not show 8 N·m; 12 N·m does."""
    state = proven_job(book)
    finding = replace(good_finding("11.26"), torque=parse_torque("8.1 Nm"))
    state = prove.check_coupon(book, state.id, finding, doing=ADA)
    assert state.coupons[-1].open == ("torque",)


def test_turning_torques_promise_a_least_torque(book: Book) -> None:
    """Values of 12, 12, 12 and 13 N·m: 12.25 − k·0.5 with the one-sided factor, which the sentence rounds down."""
    state = proven_job(book)
    state = prove.check_coupon(book, state.id, good_finding("11.26", torque="13 Nm"), doing=ADA)
    torque = prove.verdict_of(state)["torque"]
    # one-sided factor of 4 values for 99/95: 7.042, NIST/SEMATECH e-Handbook 7.2.6.3 and common tables (from memory)
    assert torque["factor"] == pytest.approx(7.042, abs=1e-3)
    assert torque["least_nm"] == pytest.approx(12.25 - 7.042 * 0.5, abs=1e-3)
    # 8.73 is more than 8 and 1.645·0.04·12.25/√3 = 0.465 for the torque tool
    assert torque["shown"] is True
    assert torque["guard_nm"] == pytest.approx(0.465, abs=1e-3)
    assert "hold 8.7 N·m (4 turning tests). 8.0 N·m is wanted: shown." in torque["sentence"]


def test_how_many_more_is_the_exact_factor(book: Book) -> None:
    """The number foretold is the first at which the interval fits, and one less does not."""
    measured = prove.verdict_of(proven_job(book))["measured"]
    room = min(
        measured["mean_mm"] - measured["window_low_mm"] - measured["guard_mm"],
        measured["window_high_mm"] - measured["guard_mm"] - measured["mean_mm"],
    )
    needed = measured["needed"]
    assert two_sided_factor(needed, 0.99, 0.95) * measured["sd_mm"] <= room
    assert needed == 2 or two_sided_factor(needed - 1, 0.99, 0.95) * measured["sd_mm"] > room


def test_a_coarse_gauge_shows_nothing(book: Book) -> None:
    """Where even the middle of the window is doubtful, no share is shown and the sentence says why."""
    state = proven_job(book)
    coupons = [replace(coupon, u_mm=0.2) for coupon in state.coupons]
    measured = proof_shows.lengths_shown(state, coupons, Plan(), planned=3)
    assert measured is not None
    assert (measured["share_inside"], measured["guard_mm"], measured["needed"]) == (0.0, None, None)
    assert "Measure with a finer one." in proof_words.window_sentence(measured, "mm")


def test_looking_until_it_passes_keeps_the_confidence(book: Book) -> None:
    """A process of which 98.9 % lies inside is called 99 % at most 5 times in 100, though it is looked at five times."""
    state = proven_job(book)
    limits = set_length_limits_mm(state)
    assert limits is not None
    half, middle = (limits[1] - limits[0]) / 2, (limits[0] + limits[1]) / 2
    plan, chance = Plan(show_claim_first=True), np.random.default_rng(20261125)
    fine = [replace(state.coupons[0], u_mm=1e-9, u_source="none") for _place in range(96)]
    wrong = 0
    for _lot in range(200):
        lengths = chance.normal(middle, half / 2.5427, 96)  # Φ(2.5427) − Φ(−2.5427) = 0.989
        lot = [replace(c, set_length=mm(f"{value:.6f}")) for c, value in zip(fine, lengths, strict=True)]
        found = proof_shows.lengths_shown(state, lot, plan, planned=6)
        assert found is not None
        wrong += found["claim_shown"]
    assert wrong <= 18  # 5 % of 200 and two standard errors


def test_a_promise_to_be_shown_says_its_next_look(book: Book) -> None:
    """With the claim asked for first, three coupons are not enough, and how many at most is said."""
    state = proven_job(book)
    for coupon in state.coupons:
        dial_in.strike_out(book, state.id, coupon.sequence, reason="for this test", doing=ADA)
    for length in ("11.18", "11.26", "11.32"):
        prove.check_coupon(book, state.id, good_finding(length), doing=ADA)
    state = prove.change_plan(book, state.id, {"show_claim_first": True}, doing=ADA)
    assert any("next look after 3 more, at most 45 more" in text for text in (state.proof or {})["owed"])


def test_a_released_card_says_all_of_it(book: Book) -> None:
    """Sets, mean, gauge and pass or fail stand on the card as they were reached."""
    state = proven_job(book)
    card = hand_over.card_of(book, hand_over.release(book, state.id, doing=ADA))
    proof = card["proof"]
    assert "at least 99 % of sets lie within" in proof["measured"]
    assert "no promise for each set" in proof["mean"]
    assert "standard uncertainty" in proof["gauge"]
    assert "36.8 %" in proof["sentence"]


@pytest.mark.parametrize("change", [{"share_inside": 0.3}, {"coupons_each_end": 0}, {"torque_error_share": -0.1}])
def test_a_plan_that_can_not_be_is_refused(book: Book, change: dict[str, float]) -> None:
    """Each names its field."""
    state = proven_job(book)
    with pytest.raises(BadInput) as refused:
        prove.change_plan(book, state.id, change, doing=ADA)
    assert refused.value.where == next(iter(change))


def test_a_coupon_of_an_older_record_is_read(book: Book) -> None:
    """Events without a doubt count with that of a usual caliper, and say so."""
    state = proven_job(book)
    old = [replace(coupon, u_mm=None, u_source="") for coupon in state.coupons]
    measured = proof_shows.lengths_shown(state, old, Plan(), planned=3)
    assert measured is not None
    assert "a usual caliper (assumed" in measured["u_source"]

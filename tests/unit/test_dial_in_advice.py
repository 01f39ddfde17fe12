"""The dial-in adviser: one test per trouble and per promise of the conversation."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from firstpull.statistics.dial_in import advise, expected_reading

Event = dict[str, Any]

WARM: list[Event] = [{"type": "dry_cycle"}, {"type": "dry_cycle"}]


def job(**changes: Any) -> dict[str, Any]:
    """A metric job with an ordinary tool."""
    body: dict[str, Any] = {
        "units": "mm",
        "insert_nominal_length": 15.5,
        "target_length": 11.2,
        "tolerance": 0.12,
        "confidence": 0.95,
        "knob_lead": 0.5,
        "lead_rel_sd": 0.03,
        "clicks_per_turn": 12,
        "plus_turns": "more_stroke",
        "max_backlash_turns": 0.2,
        "caliper_resolution": 0.01,
        "caliper_sd": 0.015,
        "insert_length_sd": 0.03,
        "lot_mean_sd": 0.03,
        "process_sd": 0.03,
        "prior": {"length_mean": 11.9, "length_sd": 0.6},
        "max_pulls": 12,
    }
    return body | changes


def pull(*readings: float, **more: Any) -> Event:
    return {"type": "pull", "reading": readings[0], "readings": list(readings)} | more


def turn(clicks: int) -> Event:
    return {"type": "turn", "clicks": clicks}


def ask(history: list[Event], **changes: Any) -> dict[str, Any]:
    return advise({"v": 1, "job": job(**changes), "history": history})


SETTLED = [turn(6), *WARM]
GOOD = [pull(11.21, 11.20), pull(11.18, 11.19), pull(11.22, 11.21), pull(11.20, 11.19)]


def test_every_reply_says_why_and_what_it_believes() -> None:
    """Each reply has one action, one sentence in the job's unit, the belief and the next reading to expect."""
    for history in ([], SETTLED, [*SETTLED, pull(11.8)], [*SETTLED, pull(11.8, 11.81)], [*SETTLED, *GOOD]):
        answer = ask(history)
        assert answer["why"].endswith(".")
        assert set(answer["belief"]) == {"length_mean", "length_sd", "p_inside", "usual_sd"}
        assert answer["expected"]["reading_sd"] > 0


def test_a_long_trial_is_turned_towards_more_stroke() -> None:
    """0.6 mm long on a 0.5 mm lead with 12 clicks is about 14 clicks of more stroke, with two dry cycles."""
    answer = ask([*SETTLED, pull(11.8, 11.81)])
    assert answer["action"] == "turn"
    assert 12 <= answer["clicks"] <= 16
    assert answer["dry_cycles"] == 2
    assert answer["expected"]["reading"] == pytest.approx(11.2, abs=0.05)


def test_plus_may_mean_less_stroke() -> None:
    """On a knob whose plus is less stroke the same history, told in its own sign, gives the opposite sign."""
    more = ask([*SETTLED, pull(11.8, 11.81)])
    less = ask([turn(-6), *WARM, pull(11.8, 11.81)], plus_turns="less_stroke")
    assert less["clicks"] == -more["clicks"]


def test_a_short_trial_is_approached_from_less_stroke() -> None:
    """Towards less stroke the knob goes past the aim first, and finishes in the more-stroke direction."""
    history = [*SETTLED, pull(10.8, 10.81)]
    back = ask(history)
    assert back["action"] == "turn"
    assert back["clicks"] < -10
    assert "dry_cycles" not in back
    assert back["then"]["clicks"] > 0
    assert back["expected"]["reading"] == pytest.approx(11.2, abs=0.06)
    forward = ask([*history, turn(back["clicks"])])
    assert forward["action"] == "turn"
    assert forward["clicks"] >= 3


def test_good_pulls_are_released_with_a_confidence() -> None:
    """Four good pulls at the target release it with at least the wanted confidence and its estimate."""
    answer = ask([*SETTLED, *GOOD])
    assert answer["action"] == "release"
    assert answer["confidence"] >= 0.95
    assert answer["estimate"] == pytest.approx(11.2, abs=0.03)
    assert answer["suspect_readings"] == []


def test_one_reading_inside_is_not_a_release_at_high_confidence() -> None:
    """The first reading inside proves little where inserts scatter."""
    answer = ask([*SETTLED, pull(11.2, 11.2)], confidence=0.99, insert_length_sd=0.06)
    assert answer["action"] != "release"


def test_nothing_is_released_without_a_pull() -> None:
    """However sure the prior is, at least one insert is pulled."""
    answer = ask(SETTLED, prior={"length_mean": 11.45, "length_sd": 0.001})
    assert answer["action"] in {"pull", "turn"}


def test_an_inch_reading_in_a_metric_job_is_read_again_and_then_suspect() -> None:
    """A reading 25.4 times too small is questioned; with the re-read it is kept and named as suspect."""
    slip = 11.2 / 25.4
    asked = ask([*SETTLED, pull(slip)])
    assert asked["action"] == "remeasure"
    history = [*SETTLED, pull(slip, 11.21, 11.20), *GOOD]
    answer = ask(history)
    assert answer["action"] == "release"
    assert answer["suspect_readings"] == [[0, 0]]


def test_a_digit_slip_is_found_by_the_second_reading() -> None:
    """Two readings of one insert that disagree grossly are read once more."""
    assert ask([*SETTLED, *GOOD[:2], pull(11.2, 12.2)])["action"] in {"remeasure", "release"}
    answer = ask([*SETTLED, *GOOD, pull(12.2, 11.2, 11.21)])
    assert answer["suspect_readings"] == [[4, 0]]


def test_a_first_single_reading_is_read_twice() -> None:
    """A re-read costs no insert, so the first reading is never taken alone."""
    assert ask([*SETTLED, pull(11.8)])["action"] == "remeasure"


def test_the_tool_is_warmed_before_a_pull() -> None:
    """After the air was off, dry cycles come before the next insert."""
    assert ask([*SETTLED, *GOOD[:1], {"type": "reconnect"}], insert_length_sd=0.2)["action"] == "dry_cycle"


def test_a_stroke_at_its_limit_is_refused() -> None:
    """Sets that stay long however far the knob goes are refused as out of reach, with the probability of that."""
    stuck = [turn(16), *WARM, pull(11.61, 11.6), turn(8), *WARM, pull(11.62, 11.61), turn(8), *WARM]
    answer = ask([*SETTLED, pull(11.9, 11.91), *stuck, pull(11.6, 11.61)])
    assert answer["action"] == "refuse"
    assert answer["reason"] == "unreachable_max"
    assert answer["confidence"] > 0.7


def test_a_stroke_that_cannot_be_made_small_is_refused() -> None:
    """Sets that stay short however far the knob goes back are refused."""
    back = [turn(-20), turn(5), *WARM]
    history = [
        *SETTLED,
        pull(10.7, 10.71),
        *back,
        pull(10.71, 10.7),
        *back,
        pull(10.69, 10.7),
        *back,
        pull(10.7, 10.71),
    ]
    answer = ask(history)
    assert (answer["action"], answer["reason"]) == ("refuse", "unreachable_min")


def test_a_stall_in_the_stack_is_refused() -> None:
    """Fine in the air, long in the stack and unmoved by the knob is a stall, not a matter of turning."""
    history = [*SETTLED, pull(11.2, 11.21), pull(11.19, 11.2)]
    for _ in range(3):
        history += [pull(11.72, 11.71, where="stack"), turn(8), *WARM]
    history += [pull(11.71, 11.72, where="stack")]
    answer = ask(history, air_to_stack={"mean": 0.05, "sd": 0.06}, insert_length_sd=0.01, lot_mean_sd=0.01)
    assert (answer["action"], answer["reason"]) == ("refuse", "stalled")


def test_clicks_coarser_than_the_window_are_refused() -> None:
    """Where the sets straddle the window from one click to the next no click position is inside."""
    history = [turn(1), *WARM, pull(11.32, 11.33), pull(11.33, 11.32), turn(1), *WARM, pull(10.92, 10.93)]
    answer = ask(history, clicks_per_turn=1, knob_lead=0.4, tolerance=0.05, insert_length_sd=0.01, lot_mean_sd=0.01)
    assert (answer["action"], answer["reason"]) == ("refuse", "detent_limited")


def test_two_pulls_that_stopped_early_are_refused() -> None:
    """A second pull that reads far too long, and reads so again, points to an incomplete cycle."""
    history = [*SETTLED, *GOOD[:3], pull(12.3, 12.31), GOOD[3], pull(11.9, 11.91)]
    answer = ask(history, confidence=0.9999, insert_length_sd=0.03)
    assert (answer["action"], answer["reason"]) == ("refuse", "incomplete_cycle")
    assert answer["suspect_pulls"] == [3, 5]


def test_readings_that_make_no_sense_are_refused() -> None:
    """Readings of no possible length on every pull are a matter of the gauge."""
    history = [*SETTLED, *[pull(3.1, 2.2, 40.5, 1.7)] * 4]
    assert ask(history)["reason"] == "inconsistent_data"


def test_a_gauge_left_in_inch_is_used_and_named() -> None:
    """Readings that are only possible in the other unit count, converted, and every one is named as suspect."""
    answer = ask([*SETTLED, *[pull(0.441, 0.441)] * 4])
    assert answer["action"] == "release"
    assert answer["estimate"] == pytest.approx(11.2, abs=0.02)
    assert answer["suspect_readings"] == [[number, reading] for number in range(4) for reading in range(2)]


def test_the_inserts_run_out() -> None:
    """When max_pulls are used without a sure mean, the adviser says so instead of going on."""
    wild = [pull(10.9 + 0.15 * (i % 5), 10.9 + 0.15 * (i % 5)) for i in range(4)]
    answer = ask([*SETTLED, *wild], max_pulls=4, confidence=0.999)
    assert (answer["action"], answer["reason"]) == ("refuse", "not_converged")


def test_a_move_never_risks_the_stroke_ceiling() -> None:
    """With a ceiling close below the window a vague belief is not turned on at full length."""
    free = ask([turn(3), *WARM], prior={"length_mean": 12.2, "length_sd": 0.4})
    held = ask([turn(3), *WARM], prior={"length_mean": 12.2, "length_sd": 0.4}, stroke_ceiling=11.0)
    assert free["action"] == "turn"
    assert held["action"] == "pull" or held["clicks"] < free["clicks"]


def test_air_pulls_alone_do_not_release_a_doubtful_shift() -> None:
    """While the shift's doubt exceeds a quarter of the tolerance the release waits for a coupon."""
    known = {"mean": 0.0, "sd": 0.02}
    doubtful = {"mean": 0.0, "sd": 0.031}
    assert ask([*SETTLED, *GOOD], air_to_stack=known)["action"] == "release"
    answer = ask([*SETTLED, *GOOD], air_to_stack=doubtful)
    assert answer["action"] == "pull"
    assert answer["where"] == "stack"
    coupons = [pull(11.2, 11.21, where="stack"), pull(11.19, 11.2, where="stack")]
    assert ask([*SETTLED, *GOOD, *coupons], air_to_stack=doubtful)["action"] == "release"


def test_a_lopsided_window_moves_the_aim() -> None:
    """The mean is put in the middle of the window given, not at the target."""
    answer = ask([*SETTLED, pull(11.8, 11.81)], window=[11.1, 11.2])
    assert answer["expected"]["reading"] == pytest.approx(11.15, abs=0.05)


def test_a_measured_free_length_sharpens_the_belief() -> None:
    """Measuring each insert before its pull removes the scatter of the inserts."""
    plain = ask([*SETTLED, pull(11.2, 11.2)], insert_length_sd=0.1)
    known = ask([*SETTLED, pull(11.2, 11.2, length_before=15.5)], insert_length_sd=0.1)
    assert known["belief"]["length_sd"] < plain["belief"]["length_sd"]


def test_a_free_knob_is_turned_in_turns() -> None:
    """Without click stops the order is in turns."""
    answer = ask([{"type": "turn", "turns": 0.5}, *WARM, pull(11.8, 11.81)], clicks_per_turn=None)
    assert answer["turns"] == pytest.approx(1.2, abs=0.1)


def test_what_is_known_of_the_tool_is_used() -> None:
    """A tool whose lead is known to be 10 % long is turned 10 % less."""
    history = [*SETTLED, pull(12.8, 12.81)]
    plain = ask(history, prior=None)
    known = ask(history, prior=None, tool_history={"lead_ratio": 1.1, "lead_rel_sd": 0.005, "backlash_turns": 0.1})
    assert known["clicks"] < plain["clicks"]


def test_struck_out_readings_are_ignored() -> None:
    """What a struck-out pull read makes no difference."""
    replies = [ask([*SETTLED, pull(11.8, 11.81), pull(value, value, struck_out=True)]) for value in (11.8, 3.0, 400.0)]
    assert replies[0] == replies[1] == replies[2]


def test_the_same_request_brings_the_same_reply_and_is_left_alone() -> None:
    """Nothing is kept between calls, nothing is random, and the request is not changed."""
    request = {"v": 1, "job": job(), "history": [*SETTLED, pull(11.8, 11.81)]}
    before = copy.deepcopy(request)
    first = advise(request)
    ask([*SETTLED, *GOOD])
    assert advise(request) == first
    assert request == before


def test_expected_reading_is_that_of_the_next_pull() -> None:
    """Right after good pulls the next reading is expected where they were; a bad request has none."""
    expected = expected_reading({"v": 1, "job": job(), "history": [*SETTLED, *GOOD]})
    assert expected is not None
    assert expected["mean"] == pytest.approx(11.2, abs=0.03)
    assert 0.02 < expected["sd"] < 0.1
    assert expected_reading({"v": 1}) is None

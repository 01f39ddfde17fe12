"""What the dial-in adviser does to spare inserts: one test per lever."""

from __future__ import annotations

from typing import Any

from firstpull.statistics.dial_in import advise
from firstpull.statistics.dial_in import replay as memory

Event = dict[str, Any]
WARM: list[Event] = [{"type": "dry_cycle"}, {"type": "dry_cycle"}]
JOB: dict[str, Any] = {
    "units": "in",
    "insert_nominal_length": 1.025,
    "target_length": 0.79,
    "tolerance": 0.005,
    "confidence": 0.99,
    "knob_lead": 0.022,
    "lead_rel_sd": 0.03,
    "clicks_per_turn": 12,
    "max_backlash_turns": 0.2,
    "caliper_resolution": 0.0005,
    "caliper_sd": 0.0007,
    "insert_length_sd": 0.0025,
    "lot_mean_sd": 0.0015,
    "process_sd": 0.0012,
    "prior": {"length_mean": 0.8, "length_sd": 0.03},
    "max_pulls": 12,
}


def pull(reading: float, *, times: int = 2, **more: Any) -> Event:
    return {"type": "pull", "reading": reading, "readings": [reading] * times} | more


def turn(clicks: int) -> Event:
    return {"type": "turn", "clicks": clicks}


def ask(history: list[Event], **changes: Any) -> dict[str, Any]:
    return advise({"v": 1, "job": JOB | changes, "history": history})


SETTLED = [turn(6), *WARM]


def test_the_first_pull_says_how_many_inserts_to_expect() -> None:
    """About three on an ordinary tool, about two where each insert is measured first, and that this would save one."""
    near = {"prior": {"length_mean": 0.79, "length_sd": 0.03}}
    assert "about 3 in all are to be expected, about 2 if each" in ask(SETTLED, **near)["why"]
    assert "about 2 in all are to be expected." in ask(SETTLED, **near, length_before_available=True)["why"]
    assert "more than 30 inserts" in ask(SETTLED, **near, tolerance=0.0009)["why"]


def test_a_small_last_move_is_released_without_another_pull() -> None:
    """Four pulls a click and a half long: clicks of more stroke, no dry cycles, then the release."""
    history = [*SETTLED, pull(0.7925), pull(0.7935), pull(0.7925), pull(0.793)]
    move = ask(history)
    assert (move["action"], move.get("dry_cycles")) == ("turn", None)
    assert ask([*history, turn(move["clicks"])])["action"] == "release"


def test_a_long_move_is_not_released_without_a_pull_after_it() -> None:
    """However sure the belief, a long move is confirmed by a pull."""
    history = [*SETTLED, pull(0.83), pull(0.83), pull(0.83), pull(0.83)]
    move = ask(history, confidence=0.9)
    after = ask([*history, turn(move["clicks"])], confidence=0.9)
    assert after["belief"]["p_inside"] > 0.9
    assert after["action"] != "release"


def test_a_knob_that_seems_dead_is_turned_further_and_not_undone() -> None:
    """After a move without effect the knob goes on the same way, and the pull comes next."""
    history = [*SETTLED, pull(0.82), turn(17), *WARM, pull(0.82)]
    move = ask(history)
    assert move["action"] == "turn"
    assert move["clicks"] >= 6
    assert ask([*history, turn(move["clicks"]), *WARM])["action"] == "pull"
    refused = ask([*history, turn(move["clicks"]), *WARM, pull(0.821)])
    assert (refused["action"], refused["reason"]) == ("refuse", "unreachable_max")


def test_a_set_shorter_than_a_supposed_limit_clears_it() -> None:
    """Two incomplete pulls of one length are no limit of the stroke once a set came out shorter between them."""
    history = [*SETTLED, pull(0.83), turn(26), *WARM, pull(0.77), turn(-17), turn(5), *WARM, pull(0.83)]
    answer = ask(history, prior=None)
    assert answer.get("reason") not in ("unreachable_max", "unreachable_min", "stalled")


def test_two_readings_that_differ_are_read_a_third_time() -> None:
    """A difference beyond the scatter of the gauge is settled by a majority."""
    answer = ask([*SETTLED, {"type": "pull", "readings": [0.79, 0.80]}])
    assert answer["action"] == "remeasure"


def test_what_is_remembered_changes_nothing() -> None:
    """A conversation held step by step ends with the reply that the whole history brings at once."""
    history = [*SETTLED, pull(0.8, times=1), turn(4), *WARM, pull(0.79), pull(19.9, times=1)]
    memory._memory.clear()
    for length in range(len(history)):
        ask(history[:length])
    step_by_step = ask(history)
    memory._memory.clear()
    assert ask(history) == step_by_step


def test_sets_near_the_aim_are_followed_by_one_that_stands_apart() -> None:
    """After one set inside, the next stands a window's width long, reached from less stroke, to show that the knob acts."""
    history = [*SETTLED, pull(0.79)]
    back = ask(history)
    assert back["action"] == "turn"
    assert back["clicks"] < 0
    forward = ask([*history, turn(back["clicks"])])
    assert forward["clicks"] == back["then"]["clicks"] > 0
    apart = [*history, turn(back["clicks"]), turn(forward["clicks"]), *WARM]
    there = ask(apart)
    assert there["action"] == "pull"
    assert abs(there["expected"]["reading"] - 0.8) < 0.0015
    home = ask([*apart, pull(0.8)])
    assert (home["action"], home["clicks"] > 0) == ("turn", True)


def test_a_knob_that_was_seen_to_act_is_not_tried_again() -> None:
    """A first pull far off and a second near the aim have shown it: the next is pulled where the knob stands."""
    assert ask([*SETTLED, pull(0.815), turn(13), *WARM, pull(0.7905)])["action"] == "pull"


def test_a_trial_that_could_show_nothing_is_not_made() -> None:
    """Where one reading scatters by more than half the window, a pull that far apart tells nothing of the knob."""
    assert ask([*SETTLED, pull(0.79)], insert_length_sd=0.006)["action"] == "pull"


def test_short_sets_that_do_not_follow_are_turned_far_back() -> None:
    """The stroke may be at its limit with the knob turned well beyond: the next move is several windows long."""
    history = [*SETTLED, pull(0.778), turn(-12), turn(5), *WARM, pull(0.7765)]
    back = ask(history)
    assert back["action"] == "turn"
    assert (back["clicks"] + back["then"]["clicks"]) * 0.022 / 12 < -0.035
    assert "without effect" in ask([*history, turn(back["clicks"])])["why"]


def test_sets_held_long_but_inside_are_only_pulled() -> None:
    """On the long side of the window nothing is gained by turning to and fro; the next pull tells as much."""
    history = [*SETTLED, pull(0.7935), turn(-9), turn(3), *WARM, pull(0.794), turn(20), *WARM, pull(0.7925)]
    assert ask(history)["action"] == "pull"


def test_two_bad_pulls_far_apart_do_not_end_a_dial_in() -> None:
    """Two incomplete pulls with three good ones between are named; with one between they are a fault of the tool."""
    good = [pull(0.7905), pull(0.79), pull(0.7895)]
    apart = ask([*SETTLED, *good, pull(0.82), *good, pull(0.83)], confidence=0.9999)
    assert apart["action"] != "refuse"
    close = ask([*SETTLED, *good, pull(0.82), good[0], pull(0.83)], confidence=0.9999)
    assert (close["reason"], close["suspect_pulls"]) == ("incomplete_cycle", [3, 5])


def test_three_bad_pulls_end_a_dial_in_however_far_apart() -> None:
    """A third incomplete pull is a fault of the tool."""
    good = [pull(0.7905), pull(0.79)]
    answer = ask([*SETTLED, pull(0.82), *good, pull(0.825), *good, pull(0.83)], confidence=0.9999)
    assert (answer["action"], answer["reason"]) == ("refuse", "incomplete_cycle")


def test_where_misreads_are_frequent_a_bare_majority_is_not_enough() -> None:
    """Two readings that agree against two that do not are read once more, until they lead by two."""
    four = {"type": "pull", "readings": [0.772, 0.79, 0.8105, 0.7905]}
    first = {"type": "pull", "readings": [0.762, 0.7905, 0.79]}
    assert ask([*SETTLED, first, four])["action"] == "remeasure"
    five = {"type": "pull", "readings": [0.772, 0.79, 0.8105, 0.7905, 0.79]}
    assert ask([*SETTLED, first, five])["action"] != "remeasure"


def test_it_is_never_surer_than_its_model_may_be() -> None:
    """However many good pulls, a doubt of the model remains, below the one that was allowed."""
    good = [pull(0.79) for _ in range(8)]
    for confidence in (0.95, 0.99, 0.999):
        p = ask([*SETTLED, *good], confidence=confidence)["belief"]["p_inside"]
        assert confidence <= p <= 1.0 - min(0.004, 0.4 * (1.0 - confidence)) + 1e-6


def test_measuring_more_of_the_lot_is_advised_where_it_saves_an_insert() -> None:
    """At ±0.003 in the doubt of the lot's mean length is the larger part; once it is known nothing more is advised."""
    tight = {"tolerance": 0.003, "confidence": 0.95, "length_before_available": True}
    near = {"prior": {"length_mean": 0.79, "length_sd": 0.03}}
    assert "more free lengths of the lot" in ask(SETTLED, **tight, **near)["why"]
    lengths = [1.0251, 1.0249, 1.025, 1.0275, 1.0225, 1.0262, 1.0238, 1.025, 1.0255, 1.0245]
    known = ask(SETTLED, **tight, **near, lot_lengths=lengths)["why"]
    assert "more free lengths" not in known
    assert "about 2 in all" in known or "about 3 in all" in known


def test_no_far_move_is_made_towards_more_stroke() -> None:
    """Long sets that do not follow, the setting unknown beforehand: the next move is measured by what they are off."""
    history = [*SETTLED, pull(0.7985), pull(0.798), turn(6), *WARM, pull(0.7985), pull(0.7985)]
    move = ask(history, prior=None)
    assert move["action"] == "turn"
    assert 0 < move["clicks"] * 0.022 / 12 < 0.03


def test_one_pull_in_the_stack_does_not_show_that_the_knob_acts_there() -> None:
    """After the first coupon and a turn another coupon is asked for, however sure the belief; then it is released."""
    coupons = {
        "confidence": 0.95,
        "air_to_stack": {"mean": 0.0, "sd": 0.0098},
        "length_before_available": True,
        "tolerance": 0.008,
    }
    air = {"length_before": 1.025, "where": "air"}
    stack = {"length_before": 1.025, "where": "stack"}
    turned = [*SETTLED, pull(0.79, **air), pull(0.79, **air), pull(0.798, **stack), turn(4), *WARM]
    answer = ask(turned, **coupons)
    assert answer["belief"]["p_inside"] > 0.95
    assert (answer["action"], answer["where"]) == ("pull", "stack")
    assert "shows that the knob moved the sets there" in answer["why"]
    assert ask([*turned, pull(0.7905, **stack)], **coupons)["action"] == "release"

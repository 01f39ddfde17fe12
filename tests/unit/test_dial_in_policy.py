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

"""The advice of version 1 has one form for each action and reason, whatever the history."""

from __future__ import annotations

import json
from typing import Any

import pytest

from firstpull.statistics.dial_in import advise

Event = dict[str, Any]
WARM: list[Event] = [{"type": "dry_cycle"}, {"type": "dry_cycle"}]
ALWAYS = {"action", "why", "belief", "expected"}
FIELDS: dict[str, tuple[set[str], set[str]]] = {  # action: what it must have, what it may have
    "turn": (set(), {"clicks", "turns", "dry_cycles", "then"}),
    "dry_cycle": (set(), set()),
    "pull": (set(), {"where"}),
    "remeasure": (set(), set()),
    "release": ({"confidence", "estimate", "suspect_readings", "suspect_pulls"}, set()),
    "refuse": ({"confidence", "reason", "suspect_readings", "suspect_pulls"}, set()),
}


def turn(clicks: int) -> Event:
    return {"type": "turn", "clicks": clicks}


def pull(*readings: float, **more: Any) -> Event:
    return {"type": "pull", "reading": readings[0], "readings": list(readings)} | more


def ask(history: list[Event], **changes: Any) -> dict[str, Any]:
    job = {
        "units": "mm",
        "insert_nominal_length": 15.5,
        "target_length": 11.2,
        "tolerance": 0.12,
        "confidence": 0.95,
        "knob_lead": 0.5,
        "clicks_per_turn": 12,
        "plus_turns": "more_stroke",
        "caliper_resolution": 0.01,
        "caliper_sd": 0.015,
        "insert_length_sd": 0.03,
        "lot_mean_sd": 0.03,
        "process_sd": 0.03,
        "prior": {"length_mean": 11.9, "length_sd": 0.6},
        "max_pulls": 12,
    }
    return advise({"v": 1, "job": job | changes, "history": history})


SETTLED = [turn(6), *WARM]
GOOD = [pull(11.21, 11.20), pull(11.18, 11.19), pull(11.22, 11.21), pull(11.20, 11.19)]
STUCK = [turn(16), *WARM, pull(11.61, 11.6), turn(8), *WARM, pull(11.62, 11.61), turn(8), *WARM, pull(11.6, 11.61)]
CASES: dict[str, tuple[list[Event], dict[str, Any]]] = {
    "turn": ([*SETTLED, pull(11.8, 11.81)], {}),
    "turn without clicks": (
        [{"type": "turn", "turns": 0.5}, *WARM, pull(11.8, 11.81)],
        {"clicks_per_turn": None},
    ),
    "dry_cycle": ([*SETTLED, GOOD[0], {"type": "reconnect"}], {"insert_length_sd": 0.2}),
    "pull": ([*SETTLED, *GOOD], {"air_to_stack": {"mean": 0.0, "sd": 0.031}}),
    "remeasure": ([*SETTLED, pull(11.8)], {}),
    "release": ([*SETTLED, *GOOD], {}),
    "unreachable_max": ([*SETTLED, pull(11.9, 11.91), *STUCK], {}),
    "gave_up": ([turn(1 if place % 2 else -1) for place in range(60)], {}),
    "not_converged": (
        [*SETTLED, *[pull(10.9 + 0.15 * place, 10.9 + 0.15 * place) for place in range(4)]],
        {"max_pulls": 4, "confidence": 0.999},
    ),
    "inconsistent_data": ([*SETTLED, *[pull(3.1, 2.2, 40.5, 1.7)] * 4], {}),
}


@pytest.mark.parametrize("name", CASES)
def test_a_reply_has_the_form_of_its_action(name: str) -> None:
    """Each action has its own fields and no others, a sentence, a belief, finite numbers, and is plain JSON."""
    history, changes = CASES[name]
    answer = ask(history, **changes)
    word = name.partition(" ")[0]
    assert word in (answer["action"], answer.get("reason")), answer
    must, may = FIELDS[answer["action"]]
    assert (ALWAYS | must) <= set(answer) <= (ALWAYS | must | may)
    assert answer["why"].endswith(".")
    assert {"length_mean", "length_sd", "p_inside"} <= set(answer["belief"])
    assert 0 <= answer["belief"]["p_inside"] <= 1
    assert 0 <= answer.get("confidence", 0.5) <= 1
    if answer["action"] == "turn":
        assert ("clicks" in answer) == (changes.get("clicks_per_turn", 12) is not None)
        assert answer.get("clicks", answer.get("turns")) != 0
        assert isinstance(answer.get("clicks", 1), int)
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer


def test_a_force_set_tool_is_refused_as_a_bad_request() -> None:
    """The error has what, where and hint, and nothing else is said."""
    answer = ask([], control="force")
    assert set(answer) == {"error"}
    assert set(answer["error"]) == {"what", "where", "hint"}
    assert "coupon" in answer["error"]["what"] + answer["error"]["hint"]


def test_the_confidence_of_a_release_is_that_of_the_mean_inside() -> None:
    """A release declares the belief's own probability, at least the one wanted, and an estimate inside."""
    answer = ask([*SETTLED, *GOOD])
    assert answer["confidence"] == answer["belief"]["p_inside"] >= 0.95
    assert abs(answer["estimate"] - 11.2) < 0.12

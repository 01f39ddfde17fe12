"""Whatever JSON can hold brings a reply or an error; units change nothing."""

from __future__ import annotations

import json
import math
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firstpull.statistics.dial_in import advise, expected_reading

JSON_VALUE = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)
LENGTHS = [
    "tolerance",
    "knob_lead",
    "caliper_resolution",
    "caliper_sd",
    "insert_length_sd",
    "lot_mean_sd",
    "process_sd",
    "stroke_ceiling",
]
NAMES = [
    *LENGTHS,
    *["confidence", "lead_rel_sd", "clicks_per_turn", "plus_turns", "prior", "tool_history", "window", "air_to_stack"],
]
GOOD_JOB: dict[str, Any] = {
    "units": "mm",
    "insert_nominal_length": 15.5,
    "target_length": 11.2,
    "tolerance": 0.12,
    "confidence": 0.95,
    "knob_lead": 0.5,
    "clicks_per_turn": 12,
    "prior": {"length_mean": 11.8, "length_sd": 0.5},
}
READING = st.one_of(st.floats(10.5, 12.5), st.floats(-1e6, 1e6), st.sampled_from([0.44, 284.5, 112.0]))
EVENT = st.one_of(
    st.builds(lambda n: {"type": "turn", "clicks": n}, st.integers(-60, 60)),
    st.just({"type": "dry_cycle"}),
    st.just({"type": "reconnect"}),
    st.builds(
        lambda readings, where, struck: {"type": "pull", "readings": readings, "where": where, "struck_out": struck},
        st.lists(READING, min_size=1, max_size=8),
        st.sampled_from(["air", "stack"]),
        st.booleans(),
    ),
)
SLOW = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def check_shape(answer: dict[str, Any]) -> None:
    json.dumps(answer, allow_nan=False)
    if "error" in answer:
        assert set(answer["error"]) == {"what", "where", "hint"}
        return
    assert answer["action"] in {"turn", "dry_cycle", "pull", "remeasure", "release", "refuse"}
    assert 0.0 <= answer["belief"]["p_inside"] <= 1.0
    assert answer["why"]
    if answer["action"] == "turn":
        assert answer.get("clicks", answer.get("turns")) != 0


@SLOW
@given(JSON_VALUE)
def test_any_json_brings_an_answer(value: Any) -> None:
    """Nothing that JSON can hold raises."""
    check_shape(advise(value))
    check_shape(advise({"v": 1, "job": value, "history": value}))
    assert expected_reading(value) is None


@SLOW
@given(st.dictionaries(st.sampled_from(NAMES), JSON_VALUE | st.floats(0, 1000), max_size=3))
def test_any_job_field_brings_an_answer(changes: dict[str, Any]) -> None:
    """A job with any value in any field brings a reply or names the field."""
    check_shape(advise({"v": 1, "job": GOOD_JOB | changes, "history": [{"type": "pull", "reading": 11.4}]}))


@SLOW
@given(st.lists(EVENT, max_size=9), st.booleans())
def test_any_history_brings_the_same_finite_answer_twice(history: list[Any], shifted: bool) -> None:
    """Whatever was done and read, the reply is finite, well formed and repeatable."""
    job = GOOD_JOB | ({"air_to_stack": {"mean": 0.05, "sd": 0.1}} if shifted else {})
    request = {"v": 1, "job": job, "history": history}
    answer = advise(request)
    assert "error" not in answer
    check_shape(answer)
    assert advise(request) == answer
    expected = expected_reading(request)
    assert expected is not None
    assert math.isfinite(expected["mean"])
    assert expected["sd"] > 0


@SLOW
@given(st.lists(st.floats(11.0, 11.6), min_size=1, max_size=4), st.integers(4, 12))
def test_units_do_not_change_the_decision(readings: list[float], clicks: int) -> None:
    """The same job in inch and in millimetres gets the same decision."""
    readings = [round(value, 2) for value in readings]
    pulls = [{"type": "pull", "reading": value, "readings": [value, value]} for value in readings]
    history = [{"type": "turn", "clicks": clicks}, {"type": "dry_cycle"}, {"type": "dry_cycle"}, *pulls]
    metric = advise({"v": 1, "job": GOOD_JOB, "history": history})
    scale = 25.4
    inch_job = GOOD_JOB | {"units": "in", "prior": {"length_mean": 11.8 / scale, "length_sd": 0.5 / scale}}
    for name in ("insert_nominal_length", "target_length", "tolerance", "knob_lead"):
        inch_job[name] = GOOD_JOB[name] / scale
    inch_pulls = [
        {"type": "pull", "reading": value / scale, "readings": [value / scale, value / scale]} for value in readings
    ]
    inch = advise({"v": 1, "job": inch_job, "history": [*history[:3], *inch_pulls]})
    assert (inch["action"], inch.get("clicks"), inch.get("reason")) == (
        metric["action"],
        metric.get("clicks"),
        metric.get("reason"),
    )
    assert math.isclose(inch["belief"]["length_mean"] * scale, metric["belief"]["length_mean"], abs_tol=1e-5)


@SLOW
@given(READING, READING)
def test_what_is_struck_out_does_not_matter(first: float, second: float) -> None:
    """A struck-out pull counts as an insert used, never as a reading."""
    start = [{"type": "turn", "clicks": 6}, {"type": "pull", "readings": [11.5, 11.51]}]
    replies = [
        advise({"v": 1, "job": GOOD_JOB, "history": [*start, {"type": "pull", "reading": value, "struck_out": True}]})
        for value in (first, second)
    ]
    assert replies[0] == replies[1]


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.floats(11.0, 11.45), min_size=1, max_size=6), st.floats(10.6, 12.2))
def test_whatever_the_sets_read_the_knob_finishes_towards_more_stroke(readings: list[float], prior_mm: float) -> None:
    """In a conversation with any readings no pull and no release follows a turn towards less stroke, and it ends."""
    job = GOOD_JOB | {"prior": {"length_mean": prior_mm, "length_sd": 0.4}, "max_pulls": 6}
    history: list[dict[str, Any]] = []
    pulls, direction = 0, 1
    for _ in range(80):
        answer = advise({"v": 1, "job": job, "history": history})
        if answer["action"] == "turn":
            direction = 1 if answer["clicks"] > 0 else -1
            history += [
                {"type": "turn", "clicks": answer["clicks"]},
                *[{"type": "dry_cycle"}] * answer.get("dry_cycles", 0),
            ]
            continue
        assert direction > 0 or answer["action"] in ("refuse", "remeasure")
        if answer["action"] == "pull":
            value = round(readings[pulls % len(readings)], 2)
            history.append({"type": "pull", "readings": [value, value]})
            pulls += 1
        elif answer["action"] == "remeasure":
            history[-1]["readings"].append(history[-1]["readings"][0])
        elif answer["action"] == "dry_cycle":
            history.append({"type": "dry_cycle"})
        else:
            break
    assert answer["action"] in ("release", "refuse")
    assert pulls <= 6

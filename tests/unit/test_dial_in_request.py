"""What the dial-in adviser refuses to read, and how it says so."""

from __future__ import annotations

from typing import Any

import pytest

from firstpull.statistics.dial_in import advise

JOB: dict[str, Any] = {
    "units": "in",
    "insert_nominal_length": 1.0,
    "target_length": 0.8,
    "tolerance": 0.005,
    "knob_lead": 0.022,
}


def error_of(request: Any) -> dict[str, str]:
    answer = advise(request)
    assert set(answer) == {"error"}
    return dict(answer["error"])


def with_job(**changes: Any) -> dict[str, Any]:
    return {"v": 1, "job": JOB | changes, "history": []}


def test_the_least_job_is_enough() -> None:
    """Five fields make a job; all others have defaults."""
    assert "action" in advise({"v": 1, "job": JOB})


def test_force_set_tools_are_refused_with_the_other_way() -> None:
    """Force-set tools are sent to the pressure ladder on coupons."""
    error = error_of(with_job(control="force"))
    assert error["where"] == "job.control"
    assert "pressure ladder" in error["hint"]


@pytest.mark.parametrize(
    ("request_", "where"),
    [
        (None, "request"),
        ([], "request"),
        ({"job": JOB}, "v"),
        ({"v": True, "job": JOB}, "v"),
        ({"v": 2, "job": JOB}, "v"),
        ({"v": 1}, "job"),
        ({"v": 1, "job": JOB, "history": {}}, "history"),
        ({"v": 1, "job": JOB, "history": [7]}, "history[0]"),
        ({"v": 1, "job": JOB, "history": [{"type": "jump"}]}, "history[0].type"),
        ({"v": 1, "job": JOB, "history": [{"type": "turn"}]}, "history[0].clicks"),
        ({"v": 1, "job": JOB, "history": [{"type": "turn", "clicks": 2}]}, "history[0].clicks"),
        (
            {"v": 1, "job": JOB | {"clicks_per_turn": 12}, "history": [{"type": "turn", "clicks": 1.5}]},
            "history[0].clicks",
        ),
        ({"v": 1, "job": JOB, "history": [{"type": "pull"}]}, "history[0].reading"),
        ({"v": 1, "job": JOB, "history": [{"type": "pull", "reading": "0.8"}]}, "history[0].reading"),
        ({"v": 1, "job": JOB, "history": [{"type": "pull", "readings": [float("nan")]}]}, "history[0].readings[0]"),
        ({"v": 1, "job": JOB, "history": [{"type": "pull", "reading": 0.8, "readings": [0.7]}]}, "history[0].reading"),
        ({"v": 1, "job": JOB, "history": [{"type": "pull", "reading": 0.8, "where": "sheet"}]}, "history[0].where"),
        ({"v": 1, "job": JOB, "history": [{"type": "pull", "reading": 0.8, "struck_out": 1}]}, "history[0].struck_out"),
        ({"v": 1, "job": JOB, "history": [{"type": "dry_cycle"}] * 401}, "history"),
        (with_job(units="cm"), "job.units"),
        (with_job(target_length=None), "job.target_length"),
        (with_job(target_length=1.2), "job.target_length"),
        (with_job(tolerance=-0.1), "job.tolerance"),
        (with_job(tolerance=10**400), "job.tolerance"),
        (with_job(confidence=1.0), "job.confidence"),
        (with_job(clicks_per_turn=2.5), "job.clicks_per_turn"),
        (with_job(plus_turns="clockwise"), "job.plus_turns"),
        (with_job(length_before_available="yes"), "job.length_before_available"),
        (with_job(lot_lengths=1.0), "job.lot_lengths"),
        (with_job(lot_lengths=[1.0, "x"]), "job.lot_lengths[1]"),
        (with_job(window=[0.8]), "job.window"),
        (with_job(window=[0.81, 0.80]), "job.window"),
        (with_job(prior={"length_mean": 0.9}), "job.prior.length_sd"),
        (with_job(prior=3), "job.prior"),
        (with_job(tool_history={"lead_ratio": 0}), "job.tool_history.lead_ratio"),
        (with_job(control="torque"), "job.control"),
        (with_job(max_pulls=0), "job.max_pulls"),
    ],
)
def test_what_cannot_be_used_is_named(request_: Any, where: str) -> None:
    """Every error names its place and says what would be right."""
    error = error_of(request_)
    assert error["where"] == where
    assert error["what"]
    assert error["hint"]


def test_unknown_fields_are_ignored_and_named() -> None:
    """A field from a newer caller, or a misspelt one, does no harm and does not stay hidden."""
    answer = advise({"v": 1, "job": JOB | {"procces_sd": 0.001}, "history": [], "mood": "calm"})
    assert answer["ignored"] == ["job.procces_sd", "mood"]


def test_lot_lengths_sharpen_the_lot() -> None:
    """Free lengths measured beforehand narrow what a reading is expected to be."""
    job = JOB | {"insert_length_sd": 0.002, "lot_mean_sd": 0.004, "prior": {"length_mean": 0.8, "length_sd": 0.0005}}
    plain = advise({"v": 1, "job": job})
    known = advise({"v": 1, "job": job | {"lot_lengths": [1.001, 0.999, 1.0, 1.002, 0.998]}})
    assert known["belief"]["length_sd"] < 0.6 * plain["belief"]["length_sd"]

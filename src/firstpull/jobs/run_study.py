"""What the checks of a run show beside “still the same?”: how often the rules cry wolf, and what the tool is shown to hold."""

from __future__ import annotations

from typing import Any

from firstpull.jobs import run_checks
from firstpull.jobs.measuring import capability_answer
from firstpull.jobs.proof_plan import plan_of
from firstpull.record.job import JobState
from firstpull.statistics.capability_indices import capability
from firstpull.statistics.run_lengths import rules_run_length

LEAST_READINGS = 8  # fewer say nothing of a capability that is worth reading (our choice)


def run_study(state: JobState, *, in_air: bool) -> dict[str, Any]:
    """``firstpull/run/1``: readings, the chart's limits in mm, after how many checks of a steady tool one look is false on
    average, and the capability against the card's window once there are eight readings that scatter."""
    lengths = run_checks.tool_lengths_mm(state, in_air=in_air)
    chart = run_checks.chart_of(state, lengths, in_air=in_air)
    low, high = run_checks.length_limits_mm(state, in_air=in_air)
    found = None
    if len(lengths) >= LEAST_READINGS and max(lengths) > min(lengths) and low is not None and high is not None:
        found = capability_answer(capability(lengths, low=low, high=high, confidence=plan_of(state).confidence))
    return {
        "schema": "firstpull/run/1",
        "job": state.id,
        "standing": run_checks.standing(state),
        "in_air": in_air,
        "readings_mm": lengths,
        "centre_mm": None if chart is None else chart.centre,
        "sigma_mm": None if chart is None else chart.sigma,
        "control_mm": None if chart is None else [chart.lower, chart.upper],
        "window_mm": None if low is None or high is None else [low, high],
        "signals": []
        if chart is None
        else [{"check": s.index + 1, "rule": s.rule, "text": s.text} for s in chart.signals],
        "rules": list(run_checks.RULES_USED),
        "false_look_every": rules_run_length(run_checks.RULES_USED),
        "readings_wanted": max(LEAST_READINGS - len(lengths), 0),
        "capability": found,
    }


def study_lines(study: dict[str, Any]) -> list[str]:
    """The study in plain sentences."""
    every = round(study["false_look_every"])
    lines = [f"While nothing changes, the rules ask for one false look in about {every} checks."]
    found = study["capability"]
    if found is None:
        wanted = study["readings_wanted"]
        why = f"{wanted} more readings of this kind are wanted." if wanted else "The readings do not scatter."
        return [*lines, f"No capability yet: {why}"]
    sure = f"{100 * found['confidence']:g} %"
    for index in found["indices"]:
        lines.append(
            f"{index['name']} {index['value']:.2f}, {index['low']:.2f} to {index['high']:.2f} at {sure} confidence; "
            f"at least {index['at_least']:.2f} is shown."
        )
    share = int(found["inside_at_least"] * 1000) / 10
    return [*lines, f"At least {share:g} % of readings lie inside the window, at {sure} confidence.", *found["notes"]]

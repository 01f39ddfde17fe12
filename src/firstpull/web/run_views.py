"""What the run page shows of the run so far: its word, why, the chart, what is due, and the checks in words."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from firstpull.drawing.run_chart import ChartSignal, MovingRanges, individuals_chart
from firstpull.jobs import run_checks
from firstpull.jobs.prove import plan_of
from firstpull.record.job import JobState, RunCheck
from firstpull.units import Length, show_length
from firstpull.web.desk import Desk
from firstpull.web.drawings import joint_of
from firstpull.web.typed import show_pressure, show_torque

_MOST_POINTS = 30
_KINDS = {run_checks.IN_CONTROL: "good", run_checks.LOOK: "look", run_checks.STOP: "stop"}


def shown_state(here: Desk, state: JobState) -> tuple[str, str, list[str]]:
    """The state's kind, a note of a few words, and the reasons behind it."""
    standing = run_checks.standing(state)
    if state.superseded_by:
        return "stop", "replaced by a new revision", []
    if standing == run_checks.STOP:
        stop = state.stops[-1]
        return "stop", f"{stop.reason} · {stop.by}, {moment(stop.at)}", []
    last = run_checks.last_check(state)
    if last is None:
        return "later", "no check of this run yet", []
    return _KINDS[standing], f"{found_text(here, last)}, at {last.count} sets", list(last.reasons)


def due_text(here: Desk, state: JobState) -> str:
    """When the next check is due, by count or by time."""
    if state.stopped or state.superseded_by:
        return ""
    if not state.checks:
        return "First-off is due now"
    due, plan = run_checks.next_due(state, here.book.now()), plan_of(state)
    if due.overdue:
        return "A check is due now"
    last = run_checks.last_check(state)
    at = (last.count if last is not None else 0) + plan.check_every_sets
    return f"Next check at {at} sets, or {moment(due.at)}"


def chart_svg(here: Desk, state: JobState) -> str:
    """Individuals and moving ranges of the kind of reading taken last: air pulls and set inserts are never mixed."""
    if not run_checks.has_adjuster(state):
        return joint_of(state, unit=here.unit)
    in_air = last_in_air(state)
    lengths = run_checks.tool_lengths_mm(state, in_air=in_air)
    chart = run_checks.chart_of(state, lengths, in_air=in_air)
    low, high = run_checks.length_limits_mm(state, in_air=in_air)
    if chart is None:
        return joint_of(state, unit=here.unit)
    cut = max(len(lengths) - _MOST_POINTS, 0)
    signals = [ChartSignal(signal.index - cut, signal.text) for signal in chart.signals if signal.index >= cut]
    return individuals_chart(
        chart.values[cut:],
        centre=chart.centre,
        lower=chart.lower,
        upper=chart.upper,
        moving=MovingRanges(chart.moving_ranges[cut:], chart.mr_centre, chart.mr_upper),
        signals=signals,
        window=None if low is None or high is None else (low, high),
        unit=here.unit,
        first_number=cut + 1,
        key="run",
    )


def found_text(here: Desk, check: RunCheck) -> str:
    """What one check found, in a few words."""
    data, unit = check.data, here.unit
    parts = []
    if data.get("set_length") is not None:
        place = "in the air" if data.get("in_air") else "on a set insert"
        parts.append(f"{show_length(Length.from_json(data['set_length']), unit)} {unit} {place}")
    if data.get("thickness") is not None:
        parts.append(f"stack {show_length(Length.from_json(data['thickness']), unit)} {unit}")
    if data.get("pressure_bar") is not None:
        parts.append(show_pressure(float(data["pressure_bar"]), unit))
    if data.get("torque_nm") is not None:
        parts.append(show_torque(float(data["torque_nm"]), unit))
    if data.get("seated") is not None:
        parts.append("head seated" if data["seated"] else "head not seated")
    if data.get("good") is not None:
        word = {"first off": "first-off", "last off": "last-off"}.get(check.kind, "set insert")
        parts.append(f"{word} {'good' if data['good'] else 'not good'}")
    return ", ".join(parts)


def moment(text: str) -> str:
    """A moment of the record as people here read it: today's as the time alone, else with its day."""
    there = datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC).astimezone()
    today = datetime.now(UTC).astimezone().date()
    return there.strftime("%H:%M") if there.date() == today else there.strftime("%Y-%m-%d %H:%M")


def last_in_air(state: JobState) -> bool:
    """Whether the newest length of the run was read on an air pull."""
    for check in reversed(state.checks):
        if not check.struck_out and check.data.get("set_length") is not None:
            return bool(check.data.get("in_air"))
    return True


def count_rows(state: JobState) -> list[dict[str, Any]]:
    """The last count of inserts, and what is missing."""
    counts = state.counts
    if counts is None:
        return []
    rows = [{"name": name, "value": str(counts[name])} for name in ("issued", "set", "rejected", "returned")]
    missing = int(counts["missing"])
    word = "none" if missing == 0 else f"{missing} not accounted for" if missing > 0 else f"{-missing} too many"
    return [*rows, {"name": "difference", "value": word}]

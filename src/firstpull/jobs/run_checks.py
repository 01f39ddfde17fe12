"""Run: checks against the released card, the tool's and the joint's kept apart, until something says stop."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs.prove import plan_of, torque_limit_nm
from firstpull.jobs.shapes import tool_of, unit_of
from firstpull.jobs.workshop import Book, Doing, Planned
from firstpull.record.job import JobState, RunCheck
from firstpull.record.rules import reopen_hindrances
from firstpull.statistics.control_charts import IndividualsChart, individuals_chart
from firstpull.units import Length, Torque, show_mm

KINDS: dict[str, str] = {
    "tool": "Tool: air pull, front gauge or, force-set, the pressure",
    "joint": "Joint: today's stack, head seated, turning test",
    "go no-go": "Go / no-go on a set insert",
    "first off": "First-off",
    "last off": "Last-off",
}
# those whose false alarms are known exactly (Champ and Woodall 1987): one in about 92 checks; more rules cry wolf oftener
RULES_USED: tuple[int, ...] = (1, 2, 3, 4)
IN_CONTROL, LOOK, STOP = "in control", "look", "stop"
# a pressure proven at one value only has no band: this much, the reading of a common gauge, is let pass [assumption]
PRESSURE_READING_BAR = 0.1
# whose last good check ends the doubt: an air pull says nothing of the joints set before it, and a turning test nothing
# of the tool; a first-off or last-off looks at both
_LOOKS_AT: dict[str, frozenset[str]] = {
    "tool": frozenset({"tool"}),
    "go no-go": frozenset({"tool"}),
    "joint": frozenset({"joint"}),
    "first off": frozenset({"tool", "joint"}),
    "last off": frozenset({"tool", "joint"}),
}
# what is asked one after the other in a round of checks; tool and joint are never judged by each other's values
ROUND: tuple[str, ...] = ("tool", "stack", "head", "turning")


@dataclass(frozen=True, slots=True)
class Due:
    """When the next check is due: after how many more sets, at what moment (ISO 8601), and whether that has passed."""

    sets_left: int
    at: str
    overdue: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What one check found at ``count`` sets so far.

    Tool checks have ``set_length`` (``in_air`` or on a set insert by the front gauge), or ``pressure_bar`` under a
    force-set tool; joint checks ``thickness``, ``seated`` and ``torque``; go/no-go, first-off and last-off ``good``,
    with or without values.
    """

    kind: str
    count: int
    set_length: Length | None = None
    in_air: bool = True
    thickness: Length | None = None
    seated: bool | None = None
    torque: Torque | None = None
    arrangement: str = ""
    good: bool | None = None
    pressure_bar: float | None = None


def record_check(book: Book, job_id: str, found: Found, *, doing: Doing, gauge: str = "") -> JobState:
    """One check of the run. What it means is put on record with it, and a stop stops the job. Raises BadInput."""
    state = book.job(job_id)
    if found.kind not in KINDS:
        raise BadInput(f"“{found.kind}” is not a check of the run.", where="kind", hint=f"Use {', '.join(KINDS)}.")
    count = found.count
    last_count = max((check.count for check in state.checks if not check.struck_out), default=0)
    _sensible_count(count)
    if count < last_count:
        raise BadInput(
            f"{count} sets is fewer than at the last check ({last_count}).",
            where="count",
            hint="Count all sets of this card.",
        )
    values_given = (found.set_length, found.thickness, found.seated, found.torque, found.good, found.pressure_bar)
    if all(value is None for value in values_given):
        raise BadInput("Nothing was checked.", where="reading", hint="Give a value or an answer.")
    values: dict[str, Any] = {
        "kind": found.kind,
        "count": count,
        "set_length": found.set_length.to_json() if found.set_length else None,
        "in_air": found.in_air,
        "thickness": found.thickness.to_json() if found.thickness else None,
        "seated": found.seated,
        "torque_nm": found.torque.newton_metres if found.torque else None,
        "torque_typed": found.torque.typed if found.torque else "",
        "arrangement": found.arrangement,
        "good": found.good,
        "pressure_bar": found.pressure_bar,
    }
    result, reasons = judge_check(state, values)
    planned: list[Planned] = [("RunChecked", {**values, "result": result, "reasons": list(reasons)})]
    if result == STOP:
        planned.append(_stop_event(state, count, reasons[0], kind=found.kind))
    book.write(
        f"job:{job_id}",
        planned,
        doing,
        gauge=gauge or state.gauge_id,
        tool=state.tool_id,
        settled=("result", "reasons", "reason", "first_suspect", "last_suspect"),
    )
    return book.job(job_id)


def judge_check(state: JobState, values: Mapping[str, Any]) -> tuple[str, tuple[str, ...]]:
    """``in control``, ``look`` or ``stop`` for these values against the card and the run so far, with reasons.

    Limits are those of the frozen card, compared on exact nanometres; the run rules speak on the tool's set lengths
    only and ask for a look, never for a stop.
    """
    stops = _stops_of(state, values)
    if stops:
        return STOP, tuple(stops)
    if values.get("set_length") is not None:
        lengths = [
            *tool_lengths_mm(state, in_air=bool(values.get("in_air"))),
            Length.from_json(values["set_length"]).mm,
        ]
        chart = chart_of(state, lengths, in_air=bool(values.get("in_air")))
        last = len(lengths) - 1
        looks = tuple(signal.text for signal in chart.signals if signal.index == last) if chart else ()
        if looks:
            return LOOK, looks
    return IN_CONTROL, ()


def _stops_of(state: JobState, values: Mapping[str, Any]) -> list[str]:
    """Everything in these values that stops the run."""
    card = _card(state)
    stops: list[str] = []
    if values.get("good") is False:
        stops.append("Not good: the set insert fails its check.")
    if values.get("seated") is False:
        stops.append("The head is not seated: a thin sheet sets loose while the length stays perfect.")
    if values.get("thickness") is not None:
        stack = card["stack"]
        _outside(
            Length.from_json(values["thickness"]),
            stack["thickness_low_mm"],
            stack["thickness_high_mm"],
            "Today's stack",
            state,
            stops,
        )
    limit = torque_limit_nm(state)
    if values.get("torque_nm") is not None and limit is not None and values["torque_nm"] < limit:
        stops.append(f"It moved at {values['torque_nm']:.2f} N·m; the least is {limit:.2f} N·m.")
    if values.get("pressure_bar") is not None:
        stops.extend(_pressure_outside(state, float(values["pressure_bar"])))
    if values.get("set_length") is not None:
        low, high = length_limits_mm(state, in_air=bool(values.get("in_air")))
        if low is not None and high is not None:
            _outside(Length.from_json(values["set_length"]), low, high, "The set length", state, stops)
    return stops


def length_limits_mm(state: JobState, *, in_air: bool) -> tuple[float | None, float | None]:
    """The set-length limits of the card in mm; for a pull in the air they are moved by the air-to-stack shift."""
    setting = _card(state)["setting"]
    low, high = setting.get("set_length_min_mm"), setting.get("set_length_max_mm")
    if low is None or high is None:
        return None, None
    shift = float(setting.get("air_to_stack_mm") or 0.0) if in_air else 0.0
    return low - shift, high - shift


def pressure_limits_bar(state: JobState) -> tuple[float | None, float | None]:
    """The band of pressure (bar) that the card was proven in; None for a stroke-set tool."""
    setting = _card(state)["setting"]
    low, high = setting.get("pressure_bar_min"), setting.get("pressure_bar_max")
    if low is None or high is None:
        return None, None
    if high - low < 2 * PRESSURE_READING_BAR:
        middle = float(setting.get("pressure_bar") or low)
        return min(low, middle - PRESSURE_READING_BAR), max(high, middle + PRESSURE_READING_BAR)
    return low, high


def what_now(state: JobState) -> str:
    """What to check next: "first off" before anything else, then the members of :data:`ROUND` in turn."""
    last = last_check(state)
    if last is None:
        return "first off"
    if last.kind != "joint":
        return ROUND[1] if last.kind == "tool" else ROUND[0]
    data = last.data
    done = "turning" if data.get("torque_nm") is not None else "head" if data.get("seated") is not None else "stack"
    return ROUND[(ROUND.index(done) + 1) % len(ROUND)]


def quarantine(state: JobState) -> str:
    """What the present stop keeps apart, in a sentence; "" when the run is not stopped."""
    if not state.stopped:
        return ""
    first, last = state.stops[-1].first_suspect, state.stops[-1].last_suspect
    if last < first:
        return "Nothing was set since the last good check."
    sets = f"Set {first}" if first == last else f"Sets {first} to {last}"
    verb = "is" if first == last else "are"
    return f"{sets} {verb} kept apart: everything since the last good check."


def tool_lengths_mm(state: JobState, *, in_air: bool) -> list[float]:
    """The set lengths of the run that count, in mm, in order; air pulls and set inserts are not mixed."""
    return [
        Length.from_json(check.data["set_length"]).mm
        for check in state.checks
        if not check.struck_out
        and check.data.get("set_length") is not None
        and bool(check.data.get("in_air")) == in_air
    ]


def chart_of(state: JobState, lengths_mm: list[float], *, in_air: bool) -> IndividualsChart | None:
    """The individuals and moving-range chart about what was held at release; None without values.

    Centre: the dial-in's estimate of the mean; sigma: what one reading scatters by (tool, insert, gauge). Both are from before the
    run, so that a drifting run can not widen its own limits.
    """
    if not lengths_mm:
        return None
    held = state.held or {}
    setting = _card(state)["setting"]
    centre = held.get("estimate_mm", setting.get("set_length_mm"))
    sigma = float(held.get("reading_sigma_mm") or 0.0) or None
    if centre is None:
        return _by_rules_used(individuals_chart(lengths_mm))
    if in_air:
        centre = float(centre) - float(setting.get("air_to_stack_mm") or 0.0)
    return _by_rules_used(individuals_chart(lengths_mm, centre=float(centre), sigma=sigma))


def _by_rules_used(chart: IndividualsChart) -> IndividualsChart:
    return replace(chart, signals=tuple(signal for signal in chart.signals if signal.number in RULES_USED))


def count_inserts(
    book: Book, job_id: str, *, doing: Doing, issued: int, set_count: int, rejected: int, returned: int
) -> JobState:
    """Inserts issued = set + rejected + returned. A difference is kept and said. Raises BadInput below zero."""
    for name, value in (("issued", issued), ("set", set_count), ("rejected", rejected), ("returned", returned)):
        if not 0 <= value < 10_000_000:
            raise BadInput("A count is a whole number, 0 or more.", where=name)
    data = {
        "issued": issued,
        "set": set_count,
        "rejected": rejected,
        "returned": returned,
        "missing": issued - set_count - rejected - returned,
    }
    book.write(f"job:{job_id}", [("RunCounted", data)], doing)
    return book.job(job_id)


def stop(book: Book, job_id: str, *, reason: str, count: int, doing: Doing) -> JobState:
    """A person stops the run: everything since the last good check is quarantined. Raises BadInput without a reason."""
    if not reason.strip():
        raise BadInput("Why is it stopped?", where="reason", hint="For example “insert spun”.")
    _sensible_count(count)
    state = book.job(job_id)
    planned = [_stop_event(state, count, reason.strip())]
    book.write(f"job:{job_id}", planned, doing, tool=state.tool_id, settled=("first_suspect",))
    return book.job(job_id)


def reopen(book: Book, job_id: str, *, doing: Doing) -> JobState:
    """Let the run go on after it was proven again. Raises Unsafe with what is still owed."""
    state = book.job(job_id)
    if book.repeats(state.stream, doing):
        return state
    reasons = reopen_hindrances(state)
    if reasons:
        raise Unsafe("The run can not go on yet.", where=job_id, reasons=reasons)
    seen = state.sequence if doing.seen is None else doing.seen
    book.write(f"job:{job_id}", [("Reopened", {"name": doing.by})], Doing(doing.by, seen, doing.slip))
    return book.job(job_id)


def standing(state: JobState) -> str:
    """The run in one word: ``stop``, ``look``, ``in control``, or ``not begun``."""
    if state.stopped:
        return STOP
    last = last_check(state)
    return last.result if last is not None else "not begun"


def last_check(state: JobState) -> RunCheck | None:
    return next((check for check in reversed(state.checks) if not check.struck_out), None)


def next_due(state: JobState, now: str, count: int | None = None) -> Due:
    """When the next check is due by count or time, whichever is first. ``count`` is the number set so far."""
    plan, last = plan_of(state), last_check(state)
    since = last.at if last is not None else state.released_at
    at = _moment(since) + timedelta(minutes=plan.check_every_minutes)
    done = (count if count is not None else (last.count if last else 0)) - (last.count if last else 0)
    left = plan.check_every_sets - done if last is not None else 0
    overdue = _moment(now) >= at or (last is not None and left <= 0)
    return Due(max(left, 0), at.strftime("%Y-%m-%dT%H:%M:%SZ"), overdue)


def _sensible_count(count: int) -> None:
    if not 0 <= count < 10_000_000:
        raise BadInput("How many were set so far?", where="count", hint="A whole number, 0 or more.")


def _stop_event(state: JobState, count: int, reason: str, *, kind: str = "joint") -> Planned:
    """Everything since the last good check of what failed is suspect: from the set after it to the present one. A
    person's stop (``kind`` "joint") says that a joint is not right. What an earlier stop kept apart is not told again."""
    failed = _LOOKS_AT[kind]
    good = [c.count for c in state.checks if not c.struck_out and c.result != STOP and failed <= _LOOKS_AT[c.kind]]
    kept_apart = [earlier.last_suspect for earlier in state.stops]
    first = max([0, *good[-1:], *kept_apart]) + 1
    return ("Stopped", {"reason": reason, "first_suspect": first, "last_suspect": max(count, first - 1)})


def _pressure_outside(state: JobState, pressure_bar: float) -> list[str]:
    low, high = pressure_limits_bar(state)
    if not 0 < pressure_bar < 1000:
        raise BadInput("A pressure is more than 0 bar.", where="reading", hint="For example 4.8 bar.")
    if low is not None and pressure_bar < low - 1e-9:
        return [f"The pressure ({pressure_bar:.2f} bar) is below {low:.2f} bar."]
    if high is not None and pressure_bar > high + 1e-9:
        return [f"The pressure ({pressure_bar:.2f} bar) is above {high:.2f} bar."]
    return []


def _outside(value: Length, low_mm: float, high_mm: float, what: str, state: JobState, stops: list[str]) -> None:
    unit = unit_of(state)
    if value.nanometres < round(low_mm * 1e6):
        stops.append(f"{what} ({value.typed}) is below {show_mm(low_mm, unit)} {unit}.")
    elif value.nanometres > round(high_mm * 1e6):
        stops.append(f"{what} ({value.typed}) is above {show_mm(high_mm, unit)} {unit}.")


def _card(state: JobState) -> Any:
    if state.card is None:
        raise Unsafe(
            "There is no released card to run against.", where=state.id, hint="Prove and release the setting first."
        )
    return state.card


def _moment(text: str) -> datetime:
    return datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)


def has_adjuster(state: JobState) -> bool:
    """Whether the tool is stroke-set, so that an air pull checks it."""
    tool = tool_of(state)
    return tool is None or tool.control == "stroke"

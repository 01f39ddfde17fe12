"""One dial-in request, read and checked: the job and the whole history, in millimetres.

Version 1 of the conversation. A missing optional field takes the default written in ``_read_job``. A field that
this version does not know is not an error (a newer caller may send it); its name is handed back in ``ignored`` so
that a misspelt option does not stay hidden.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal, cast

from firstpull.errors import BadInput

Where = Literal["air", "stack"]

MM_PER_INCH = 25.4
MAX_EVENTS = 400
MAX_READINGS = 20
_MAX_MM = 1000.0

_JOB_FIELDS = frozenset(
    [
        "units",
        "insert_nominal_length",
        "target_length",
        "tolerance",
        "confidence",
        "knob_lead",
        "lead_rel_sd",
        "clicks_per_turn",
        "plus_turns",
        "max_backlash_turns",
        "caliper_resolution",
        "caliper_sd",
        "insert_length_sd",
        "lot_mean_sd",
        "process_sd",
        "lot_lengths",
        "length_before_available",
        "prior",
        "tool_history",
        "control",
        "window",
        "stroke_ceiling",
        "air_to_stack",
        "max_pulls",
    ]
)


@dataclass(frozen=True, slots=True)
class Gaussian:
    """A value and its standard deviation, mm."""

    mean_mm: float
    sd_mm: float


@dataclass(frozen=True, slots=True)
class ToolHistory:
    """What earlier jobs say about this tool; ``None`` where nothing is known. Drift: + lengthens the set."""

    lead_ratio: float | None = None
    lead_rel_sd: float | None = None
    process_sd_mm: float | None = None
    backlash_turns: float | None = None
    drift_per_cycle_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """What is wanted, and what is believed of tool, lot and gauge. ``low_mm`` and ``high_mm`` bound the mean."""

    units: Literal["mm", "in"]
    nominal_length_mm: float
    target_mm: float
    tolerance_mm: float
    confidence: float
    lead_mm: float
    lead_rel_sd: float
    clicks_per_turn: int | None
    plus_is_more: bool
    max_backlash_turns: float
    resolution_mm: float
    caliper_sd_mm: float
    insert_sd_mm: float
    lot_mean_sd_mm: float
    process_sd_mm: float
    lot_lengths_mm: tuple[float, ...]
    length_before_available: bool
    prior: Gaussian | None
    history: ToolHistory
    low_mm: float
    high_mm: float
    ceiling_mm: float | None
    shift: Gaussian | None
    max_pulls: int

    @property
    def millimetres(self) -> float:
        """Length of one job unit, mm."""
        return MM_PER_INCH if self.units == "in" else 1.0

    @property
    def aim_mm(self) -> float:
        """Where to put the mean: the middle of the window, which is the target when no window is given."""
        return 0.5 * (self.low_mm + self.high_mm)

    @property
    def step_turns(self) -> float | None:
        """One click, turns; ``None`` without click stops."""
        return None if self.clicks_per_turn is None else 1.0 / self.clicks_per_turn

    @property
    def step_turns_mm(self) -> float:
        """What one click moves, mm; 0 without click stops."""
        return (self.step_turns or 0.0) * self.lead_mm


@dataclass(frozen=True, slots=True)
class Turn:
    """An ordered move of the knob, turns, + towards more stroke whatever the tool's own plus is."""

    more_turns: float


@dataclass(frozen=True, slots=True)
class DryCycle:
    """A cycle without an insert."""


@dataclass(frozen=True, slots=True)
class Reconnect:
    """Air taken off and on without a turn."""


@dataclass(frozen=True, slots=True)
class Pull:
    """One sacrificial insert or coupon: all its readings, and its free length where it was measured."""

    readings_mm: tuple[float, ...]
    length_before_mm: float | None
    where: Where
    struck_out: bool


Event = Turn | DryCycle | Reconnect | Pull


@dataclass(frozen=True, slots=True)
class Request:
    """A checked request. ``ignored`` names the fields that this version does not know."""

    job: Job
    events: tuple[Event, ...]
    case: str
    ignored: tuple[str, ...]


def read_request(request: object) -> Request:
    """The request as a checked value in mm.

    Raises ``BadInput`` with what is wrong, where (``job.tolerance``, ``history[3].reading``) and what would be right.
    """
    if not isinstance(request, dict):
        raise BadInput(
            "A request is one JSON object.", where="request", hint="Send {“v”: 1, “job”: {…}, “history”: […]}."
        )
    if request.get("v") != 1 or isinstance(request.get("v"), bool):
        raise BadInput("This is not version 1 of the conversation.", where="v", hint="Send “v”: 1.")
    body = request.get("job")
    if not isinstance(body, dict):
        raise BadInput("The job is missing.", where="job", hint="Send “job” as an object.")
    job = _read_job(_Fields(body, "job", scale=1.0))
    raw = request.get("history", [])
    if not isinstance(raw, list):
        raise BadInput("The history is not a list.", where="history", hint="Send a list of what was done, in order.")
    if len(raw) > MAX_EVENTS:
        raise BadInput(
            f"The history has {len(raw)} entries.", where="history", hint=f"At most {MAX_EVENTS}; start a new dial-in."
        )
    events = tuple(_read_event(entry, f"history[{index}]", job=job) for index, entry in enumerate(raw))
    known = {"v", "case", "job", "history"}
    ignored = [str(key) for key in request if key not in known]
    ignored += [f"job.{key}" for key in body if key not in _JOB_FIELDS]
    return Request(job, events, str(request.get("case", ""))[:200], tuple(sorted(ignored)))


class _Fields:
    """Reads fields of one JSON object and names the place of whatever is wrong."""

    def __init__(self, body: dict[str, Any], where: str, *, scale: float) -> None:
        self.body, self.where, self.scale = body, where, scale

    def fail(self, name: str, what: str, *, hint: str) -> BadInput:
        return BadInput(what, where=f"{self.where}.{name}", hint=hint)

    def number(self, name: str, default: float | None, *, low: float, high: float) -> float:
        """A number within [low, high]; ``default`` None = the field is required."""
        value = self.optional(name, low=low, high=high)
        if value is not None:
            return value
        if default is None:
            raise self.fail(name, f"“{name}” is missing.", hint=f"Give a number from {low:g} to {high:g}.")
        return default

    def optional(self, name: str, *, low: float, high: float) -> float | None:
        value = self.body.get(name)
        return None if value is None else checked_number(value, f"{self.where}.{name}", low=low, high=high)

    def length(self, name: str, default: float | None, *, low: float = 0.0, high: float = _MAX_MM) -> float:
        """A length in job units → mm. ``default``, ``low`` and ``high`` are in mm."""
        value = self.optional_length(name, low=low, high=high)
        if value is not None:
            return value
        if default is None:
            raise self.fail(name, f"“{name}” is missing.", hint="Give a length in the job's unit.")
        return default

    def optional_length(self, name: str, *, low: float = 0.0, high: float = _MAX_MM) -> float | None:
        value = self.optional(name, low=low / self.scale, high=high / self.scale)
        return None if value is None else value * self.scale

    def choice(self, name: str, default: str | None, *, allowed: tuple[str, ...]) -> str:
        value = self.body.get(name, default)
        if isinstance(value, str) and value in allowed:
            return value
        names = " or ".join(f"“{word}”" for word in allowed)
        what = f"“{name}” is missing." if value is None else f"“{name}” is not one of its words."
        raise self.fail(name, what, hint=f"Use {names}.")

    def part(self, name: str) -> _Fields | None:
        value = self.body.get(name)
        if value is None:
            return None
        if not isinstance(value, dict):
            raise self.fail(name, f"“{name}” is not an object.", hint="Send an object, or null.")
        return _Fields(value, f"{self.where}.{name}", scale=self.scale)


def checked_number(value: object, where: str, *, low: float, high: float) -> float:
    """A finite number within [low, high]; raises ``BadInput`` otherwise."""
    hint = f"Give a number from {low:g} to {high:g}."
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise BadInput("This is not a number.", where=where, hint=hint)
    try:
        number = float(value)
    except OverflowError:
        raise BadInput("This number is too large.", where=where, hint=hint)
    if not math.isfinite(number):
        raise BadInput("This is not a finite number.", where=where, hint=hint)
    if not low <= number <= high:
        raise BadInput(f"{number:g} is out of range.", where=where, hint=hint)
    return number


def _read_job(fields: _Fields) -> Job:
    units = cast("Literal['mm', 'in']", fields.choice("units", None, allowed=("mm", "in")))
    fields.scale = MM_PER_INCH if units == "in" else 1.0
    _refuse_force_set(fields)
    nominal = fields.length("insert_nominal_length", None, low=1.0, high=200.0)
    target = fields.length("target_length", None, low=0.5, high=200.0)
    if target >= nominal:
        raise fields.fail("target_length", "The set length is not shorter than the free length.", hint="Check both.")
    tolerance = fields.length("tolerance", None, low=0.001, high=20.0)
    low, high = _read_window(fields, target, tolerance=tolerance)
    history = _read_tool_history(fields.part("tool_history"))
    return Job(
        units=units,
        nominal_length_mm=nominal,
        target_mm=target,
        tolerance_mm=tolerance,
        confidence=fields.number("confidence", 0.95, low=0.5, high=0.9999),
        lead_mm=fields.length("knob_lead", None, low=0.001, high=20.0),
        lead_rel_sd=max(fields.number("lead_rel_sd", 0.03, low=0.0, high=1.0), 1e-5),
        clicks_per_turn=_read_clicks_per_turn(fields),
        plus_is_more=fields.choice("plus_turns", "more_stroke", allowed=("more_stroke", "less_stroke"))
        == "more_stroke",
        max_backlash_turns=fields.number("max_backlash_turns", 0.2, low=0.0, high=5.0),
        resolution_mm=fields.length("caliper_resolution", 0.01, high=1.0),
        caliper_sd_mm=max(fields.length("caliper_sd", 0.01, high=2.0), 1e-4),
        insert_sd_mm=max(fields.length("insert_length_sd", 0.05, high=5.0), 1e-5),
        lot_mean_sd_mm=max(fields.length("lot_mean_sd", 0.05, high=5.0), 1e-5),
        process_sd_mm=max(fields.length("process_sd", 0.03, high=5.0), 5e-4),
        lot_lengths_mm=_read_lot_lengths(fields),
        length_before_available=_flag(fields, "length_before_available"),
        prior=_read_gaussian(fields.part("prior"), "length_mean", sd="length_sd", low=0.0),
        history=history,
        low_mm=low,
        high_mm=high,
        ceiling_mm=fields.optional_length("stroke_ceiling"),
        shift=_read_gaussian(fields.part("air_to_stack"), "mean", sd="sd", low=-20.0),
        max_pulls=_whole(fields, "max_pulls", default=12, high=200),
    )


def _refuse_force_set(fields: _Fields) -> None:
    control = fields.body.get("control", "stroke")
    if control == "force":
        raise fields.fail(
            "control",
            "A force-set tool cannot be dialled in by set length.",
            hint="Use the pressure ladder upward on coupons, judged by the blind head and the turning test.",
        )
    fields.choice("control", "stroke", allowed=("stroke",))


def _read_window(fields: _Fields, target: float, *, tolerance: float) -> tuple[float, float]:
    raw = fields.body.get("window")
    if raw is None:
        return target - tolerance, target + tolerance
    if not isinstance(raw, list) or len(raw) != 2:
        raise fields.fail("window", "The window is not a pair.", hint="Send [low, high] in the job's unit, or null.")
    ends = [
        checked_number(end, f"job.window[{index}]", low=0.0, high=_MAX_MM / fields.scale) * fields.scale
        for index, end in enumerate(raw)
    ]
    if ends[1] - ends[0] < 0.001:
        raise fields.fail("window", "The window is empty.", hint="Send [low, high] with low below high.")
    return ends[0], ends[1]


def _read_clicks_per_turn(fields: _Fields) -> int | None:
    return (
        None if fields.body.get("clicks_per_turn") is None else _whole(fields, "clicks_per_turn", default=1, high=1000)
    )


def _whole(fields: _Fields, name: str, *, default: int, high: int) -> int:
    number = fields.number(name, float(default), low=1, high=high)
    if number != int(number):
        raise fields.fail(name, f"“{name}” is not a whole number.", hint=f"Give a whole number from 1 to {high}.")
    return int(number)


def _flag(fields: _Fields, name: str) -> bool:
    value = fields.body.get(name)
    if value is None:
        return False
    if not isinstance(value, bool):
        raise fields.fail(name, f"“{name}” is neither true nor false.", hint="Send true or false.")
    return value


def _read_lot_lengths(fields: _Fields) -> tuple[float, ...]:
    raw = fields.body.get("lot_lengths")
    if raw is None:
        return ()
    if not isinstance(raw, list) or len(raw) > 1000:
        raise fields.fail("lot_lengths", "The lot's lengths are not a list.", hint="Send up to 1000 lengths, or null.")
    high = _MAX_MM / fields.scale
    return tuple(
        checked_number(value, f"job.lot_lengths[{index}]", low=0.0, high=high) * fields.scale
        for index, value in enumerate(raw)
    )


def _read_gaussian(fields: _Fields | None, mean: str, *, sd: str, low: float) -> Gaussian | None:
    if fields is None:
        return None
    return Gaussian(fields.length(mean, None, low=low), max(fields.length(sd, None, high=100.0), 1e-4))


def _read_tool_history(fields: _Fields | None) -> ToolHistory:
    if fields is None:
        return ToolHistory()
    return ToolHistory(
        lead_ratio=fields.optional("lead_ratio", low=0.2, high=5.0),
        lead_rel_sd=fields.optional("lead_rel_sd", low=0.0, high=1.0),
        process_sd_mm=fields.optional_length("process_sd", high=5.0),
        backlash_turns=fields.optional("backlash_turns", low=0.0, high=5.0),
        drift_per_cycle_mm=fields.optional_length("drift_per_cycle", low=-2.0, high=2.0),
    )


def _read_event(entry: object, where: str, *, job: Job) -> Event:
    if not isinstance(entry, dict):
        raise BadInput(
            "A history entry is an object.", where=where, hint="Send {“type”: “pull”, “reading”: …} or alike."
        )
    fields = _Fields(entry, where, scale=job.millimetres)
    kind = fields.choice("type", None, allowed=("turn", "dry_cycle", "reconnect", "pull"))
    if kind == "turn":
        return _read_turn(fields, job=job)
    if kind == "pull":
        return _read_pull(fields)
    return DryCycle() if kind == "dry_cycle" else Reconnect()


def _read_turn(fields: _Fields, *, job: Job) -> Turn:
    sign = 1.0 if job.plus_is_more else -1.0
    clicks = fields.optional("clicks", low=-10_000, high=10_000)
    turns = fields.optional("turns", low=-1000, high=1000)
    if (clicks is None) == (turns is None):
        raise fields.fail("clicks", "A turn needs either “clicks” or “turns”.", hint="Give one of the two.")
    if turns is not None:
        return Turn(sign * turns)
    if job.clicks_per_turn is None:
        raise fields.fail("clicks", "This knob has no click stops.", hint="Give “turns”, or job.clicks_per_turn.")
    if clicks is None or clicks != int(clicks):
        raise fields.fail("clicks", "Clicks are whole.", hint="Give a whole number of clicks.")
    return Turn(sign * clicks / job.clicks_per_turn)


def _read_pull(fields: _Fields) -> Pull:
    first = fields.optional("reading", low=-1e6, high=1e6)
    raw = fields.body.get("readings")
    if raw is None:
        raw = [] if first is None else [first]
    if not isinstance(raw, list) or len(raw) > MAX_READINGS:
        raise fields.fail("readings", "The readings are not a list.", hint=f"Send up to {MAX_READINGS} readings.")
    readings = [
        checked_number(value, f"{fields.where}.readings[{index}]", low=-1e6, high=1e6)
        for index, value in enumerate(raw)
    ]
    struck_out = _flag(fields, "struck_out")
    if not readings and not struck_out:
        raise fields.fail("reading", "This pull has no reading.", hint="Give “reading”, or strike the pull out.")
    if first is not None and readings and abs(first - readings[0]) > 1e-9:
        raise fields.fail("reading", "“reading” is not the first of “readings”.", hint="Put the first reading first.")
    return Pull(
        readings_mm=tuple(value * fields.scale for value in readings),
        length_before_mm=fields.optional_length("length_before", high=1e6),
        where=cast("Where", fields.choice("where", "air", allowed=("air", "stack"))),
        struck_out=struck_out,
    )

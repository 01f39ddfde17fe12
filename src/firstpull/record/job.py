"""What a job's events add up to: the state of one joint from opening to the checked run.

A fold never computes: events carry their results, and the fold only puts them where they belong and says what a
later change has made stale. The step functions are one per event type, in the order of the work.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from firstpull.errors import RecordDamaged
from firstpull.record.event import Event
from firstpull.units import Length

Data = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Pull:
    """One trial pull: every reading of that insert, where it was pulled, and whether it still counts."""

    sequence: int
    at: str
    by: str
    gauge: str
    readings: tuple[Length, ...]
    length_before: Length | None
    where: str  # "air" or "stack"
    struck_out: str = ""  # the reason, or ""

    @property
    def reading(self) -> Length:
        return self.readings[0]


@dataclass(frozen=True, slots=True)
class Move:
    """Something done to the tool between pulls: a ``turn`` (signed as the knob counts), ``dry_cycle`` or ``reconnect``."""

    sequence: int
    kind: str
    turns: float = 0.0
    clicks: int | None = None


@dataclass(frozen=True, slots=True)
class Coupon:
    """One coupon pull and what was found on it. ``stale`` once the setting it stood for was changed."""

    sequence: int
    at: str
    by: str
    number: int
    end: str  # "thin", "thick" or "as measured"
    purpose: str  # "proof", "ladder" or "re-proof"
    thickness: Length | None
    set_length: Length | None
    length_before: Length | None
    pressure_bar: float | None
    checks: Mapping[str, Data]
    passed: bool
    failed: tuple[str, ...]
    stale: bool = False
    struck_out: str = ""
    open: tuple[str, ...] = ()  # values inside their limits by less than the gauge can tell
    u_mm: float | None = None  # standard uncertainty of one reading of a length
    u_source: str = ""

    @property
    def shown(self) -> bool:
        """Whether it passed every check by more than the doubt of the reading."""
        return self.passed and not self.open

    @property
    def counts(self) -> bool:
        return not self.stale and not self.struck_out


@dataclass(frozen=True, slots=True)
class RunCheck:
    """One check during the run, its values as given and the word it led to."""

    sequence: int
    at: str
    by: str
    kind: str
    count: int
    data: Data
    result: str  # "in control", "look" or "stop"
    reasons: tuple[str, ...]
    struck_out: str = ""


@dataclass(frozen=True, slots=True)
class Stop:
    """A stop and what it quarantined: the sets numbered ``first_suspect`` to ``last_suspect``."""

    sequence: int
    at: str
    by: str
    reason: str
    first_suspect: int
    last_suspect: int
    reopened_at: str = ""


@dataclass(frozen=True, slots=True)
class JobState:
    """Everything a page, a card or a rule needs to know of one job."""

    stream: str
    sequence: int = 0
    title: str = ""
    part_name: str = ""
    unit: str = "mm"
    demo: bool = False
    practice: Data | None = None
    revision: int = 1
    revises: str = ""
    superseded_by: str = ""
    opened_at: str = ""
    opened_by: str = ""
    stack: Data | None = None
    needs: Data | None = None
    joint: Data | None = None  # loads, screw, edges, load ceiling
    insert: Data | None = None
    insert_source: str = ""
    allowance: Data | None = None
    tool: Data | None = None
    tool_source: str = ""
    mandrel: Data | None = None
    tool_id: str = ""
    gauge_id: str = ""
    window: Data | None = None
    plan: Data = field(default_factory=dict)
    setting: Data | None = None
    setting_sequence: int = 0
    steps_done: tuple[str, ...] = ()
    pulls: tuple[Pull, ...] = ()
    moves: tuple[Move, ...] = ()
    length_before: Length | None = None
    lot_lengths: tuple[Length, ...] = ()  # free lengths of inserts of this lot that were not pulled
    advice: Data | None = None
    advice_sequence: int = 0
    held: Data | None = None
    held_sequence: int = 0
    pressure_bar: float | None = None
    coupons: tuple[Coupon, ...] = ()
    proof: Data | None = None
    proof_sequence: int = 0
    changed_sequence: int = 0  # the last event that a proof must be newer than
    card: Data | None = None
    released_at: str = ""
    released_by: str = ""
    release_sequence: int = 0
    release_hash: str = ""
    checks: tuple[RunCheck, ...] = ()
    counts: Data | None = None
    stops: tuple[Stop, ...] = ()
    simulated: Data | None = None  # the last virtual pull of this insert in this stack: what was asked and found

    @property
    def id(self) -> str:
        return self.stream.partition(":")[2]

    @property
    def released(self) -> bool:
        return self.release_sequence > 0

    @property
    def stopped(self) -> bool:
        return bool(self.stops) and not self.stops[-1].reopened_at

    @property
    def status(self) -> str:
        """One word: ``open``, ``released``, ``stopped`` or ``superseded``."""
        if self.superseded_by:
            return "superseded"
        if self.stopped:
            return "stopped"
        return "released" if self.released else "open"

    @property
    def history(self) -> tuple[Pull | Move, ...]:
        """Pulls and moves of the dial-in in the order they happened."""
        return tuple(sorted((*self.pulls, *self.moves), key=lambda item: item.sequence))

    @property
    def good_coupons(self) -> tuple[Coupon, ...]:
        return tuple(coupon for coupon in self.coupons if coupon.counts and coupon.shown)


def fold_job(events: Iterable[Event], state: JobState | None = None) -> JobState:
    """The state after ``events`` (of one stream, in order). Raises RecordDamaged for an event it does not know."""
    for event in events:
        step = _STEPS.get((event.type, event.version))
        if step is None:
            raise RecordDamaged(
                f"Event “{event.type}” version {event.version} is not known to this version of firstpull.",
                where=f"{event.stream} {event.sequence}",
                hint="Open the record with the version that wrote it, or a newer one.",
            )
        if state is None:
            state = JobState(stream=event.stream)
        try:
            state = replace(step(state, event, event.data), sequence=event.sequence)
        except (LookupError, TypeError, ValueError, AttributeError, OverflowError) as problem:
            raise RecordDamaged(
                f"Event “{event.type}” lacks or garbles {problem}.", where=f"{event.stream} {event.sequence}"
            )
    if state is None:
        raise RecordDamaged("A job without events.")
    return state


def _length(data: Any) -> Length | None:
    return None if data is None else Length.from_json(data)


def _changed(state: JobState, event: Event) -> JobState:
    """The setting is no longer what was held and proven: hold, proof and coupons are stale from here."""
    return replace(
        state,
        held=None,
        held_sequence=0,
        proof=None,
        proof_sequence=0,
        coupons=tuple(replace(coupon, stale=True) for coupon in state.coupons),
        changed_sequence=event.sequence,
    )


def _setting_stale(state: JobState, event: Event) -> JobState:
    # a pressure found for another setting says nothing about this one
    return replace(
        _changed(state, event),
        setting=None,
        setting_sequence=0,
        steps_done=(),
        advice=None,
        advice_sequence=0,
        pressure_bar=None,
    )


def _opened(state: JobState, event: Event, data: Data) -> JobState:
    return replace(
        state,
        title=data["title"],
        part_name=data.get("part_name", ""),
        unit=data["unit"],
        demo=data.get("demo", False),
        practice=data.get("practice"),
        revision=data.get("revision", 1),
        revises=data.get("revises", ""),
        opened_at=event.at,
        opened_by=event.by,
    )


def _ladder_over(state: JobState, reason: str) -> JobState:
    """Coupons of an allowance ladder speak of one insert in one stack only."""
    coupons = tuple(
        replace(coupon, struck_out=reason) if coupon.purpose == "ladder" and not coupon.struck_out else coupon
        for coupon in state.coupons
    )
    return replace(state, coupons=coupons)


def _stack(state: JobState, event: Event, data: Data) -> JobState:
    # limits of the stroke hold for the thickness they were given for
    cleared = _setting_stale(_ladder_over(state, "the stack was changed"), event)
    return replace(cleared, stack=data, window=None, simulated=None)


def _needs(state: JobState, _event: Event, data: Data) -> JobState:
    return replace(state, needs=data)


def _joint(state: JobState, event: Event, data: Data) -> JobState:
    stated = replace(state, joint=data)
    # the pull that a soft sheet bears limits the setting; loads, screw and distances do not
    same = data.get("load_ceiling_n") == (state.joint or {}).get("load_ceiling_n")
    return stated if same else _setting_stale(stated, event)


def _insert(state: JobState, event: Event, data: Data) -> JobState:
    # trial pulls of another insert say nothing about this one
    return replace(
        _setting_stale(_ladder_over(state, "the insert was changed"), event),
        insert=data["insert"],
        insert_source=data.get("source", ""),
        allowance=data.get("allowance"),
        window=data.get("window"),
        pulls=(),
        moves=(),
        length_before=None,
        lot_lengths=(),
        simulated=None,
    )


def _simulated(state: JobState, _event: Event, data: Data) -> JobState:
    return replace(state, simulated=data)


def _allowance(state: JobState, event: Event, data: Data) -> JobState:
    return replace(_setting_stale(state, event), allowance=data["allowance"], window=data.get("window", state.window))


def _window(state: JobState, event: Event, data: Data) -> JobState:
    return replace(_setting_stale(state, event), window=data["window"])


def _tool(state: JobState, event: Event, data: Data) -> JobState:
    kept = state if data["tool_id"] == state.tool_id else replace(state, pulls=(), moves=(), length_before=None)
    return replace(
        _setting_stale(kept, event),
        tool=data["tool"],
        tool_source=data.get("source", ""),
        tool_id=data["tool_id"],
        mandrel=data.get("mandrel"),
        gauge_id=data.get("gauge_id", state.gauge_id),
    )


def _plan(state: JobState, event: Event, data: Data) -> JobState:
    return replace(state, plan=data["plan"], proof=None, proof_sequence=0, changed_sequence=event.sequence)


def _setting(state: JobState, event: Event, data: Data) -> JobState:
    return replace(_setting_stale(state, event), setting=data["setting"], setting_sequence=event.sequence)


def _step(state: JobState, _event: Event, data: Data) -> JobState:
    return state if data["step"] in state.steps_done else replace(state, steps_done=(*state.steps_done, data["step"]))


def _measured(state: JobState, _event: Event, data: Data) -> JobState:
    return replace(state, length_before=_length(data["length_before"]))


def _lot_measured(state: JobState, _event: Event, data: Data) -> JobState:
    return replace(state, lot_lengths=(*state.lot_lengths, Length.from_json(data["length"])))


def _pulled(state: JobState, event: Event, data: Data) -> JobState:
    readings = tuple(Length.from_json(item) for item in data["readings"])
    if not readings:
        raise ValueError("readings")
    before = _length(data.get("length_before"))
    pull = Pull(event.sequence, event.at, event.by, event.gauge, readings, before, data["where"])
    return replace(state, pulls=(*state.pulls, pull), length_before=None)


def _read_again(state: JobState, _event: Event, data: Data) -> JobState:
    again = Length.from_json(data["reading"])
    pulls = tuple(replace(p, readings=(*p.readings, again)) if p.sequence == data["of"] else p for p in state.pulls)
    return replace(state, pulls=pulls)


def _turned(state: JobState, event: Event, data: Data) -> JobState:
    move = Move(event.sequence, "turn", float(data["turns"]), data.get("clicks"))
    return replace(_changed(state, event), moves=(*state.moves, move))


def _cycled(state: JobState, event: Event, _data: Data) -> JobState:
    return replace(state, moves=(*state.moves, Move(event.sequence, "dry_cycle")))


def _reconnected(state: JobState, event: Event, _data: Data) -> JobState:
    return replace(state, moves=(*state.moves, Move(event.sequence, "reconnect")))


def _struck(state: JobState, event: Event, data: Data) -> JobState:
    of, reason = data["of"], data["reason"]
    pulls = tuple(replace(p, struck_out=reason) if p.sequence == of else p for p in state.pulls)
    coupons = tuple(replace(c, struck_out=reason) if c.sequence == of else c for c in state.coupons)
    checks = tuple(replace(c, struck_out=reason) if c.sequence == of else c for c in state.checks)
    struck = replace(state, pulls=pulls, coupons=coupons, checks=checks)
    if checks != state.checks or state.released:
        return struck
    if pulls != state.pulls and of < state.held_sequence:
        struck = replace(struck, held=None, held_sequence=0)  # it was held on the word of that reading
    return replace(struck, proof=None, proof_sequence=0, changed_sequence=event.sequence)


def _advised(state: JobState, event: Event, data: Data) -> JobState:
    return replace(state, advice=data["reply"], advice_sequence=event.sequence)


def _held(state: JobState, event: Event, data: Data) -> JobState:
    return replace(state, held=data, held_sequence=event.sequence, changed_sequence=event.sequence)


def _pressure(state: JobState, event: Event, data: Data) -> JobState:
    return replace(_changed(state, event), pressure_bar=float(data["pressure_bar"]))


def _coupon(state: JobState, event: Event, data: Data) -> JobState:
    coupon = Coupon(
        event.sequence,
        event.at,
        event.by,
        data["number"],
        data["end"],
        data.get("purpose", "proof"),
        _length(data.get("thickness")),
        _length(data.get("set_length")),
        _length(data.get("length_before")),
        data.get("pressure_bar"),
        data["checks"],
        data["passed"],
        tuple(data.get("failed", ())),
        open=tuple(data.get("open", ())),
        u_mm=data.get("u_mm"),
        u_source=data.get("u_source", ""),
    )
    return replace(
        state, coupons=(*state.coupons, coupon), proof=None, proof_sequence=0, changed_sequence=event.sequence
    )


def _proof(state: JobState, event: Event, data: Data) -> JobState:
    return replace(state, proof=data, proof_sequence=event.sequence)


def _released(state: JobState, event: Event, data: Data) -> JobState:
    return replace(
        state,
        card=data["card"],
        released_at=event.at,
        released_by=data["name"],
        release_sequence=event.sequence,
        release_hash=event.hash,
    )


def _checked(state: JobState, event: Event, data: Data) -> JobState:
    check = RunCheck(
        event.sequence,
        event.at,
        event.by,
        data["kind"],
        data["count"],
        data,
        data["result"],
        tuple(data.get("reasons", ())),
    )
    return replace(state, checks=(*state.checks, check))


def _counted(state: JobState, _event: Event, data: Data) -> JobState:
    return replace(state, counts=data)


def _stopped(state: JobState, event: Event, data: Data) -> JobState:
    stop = Stop(event.sequence, event.at, event.by, data["reason"], data["first_suspect"], data["last_suspect"])
    return replace(state, stops=(*state.stops, stop))


def _reopened(state: JobState, event: Event, _data: Data) -> JobState:
    return replace(state, stops=(*state.stops[:-1], replace(state.stops[-1], reopened_at=event.at)))


def _superseded(state: JobState, _event: Event, data: Data) -> JobState:
    return replace(state, superseded_by=data["by"])


def _noted(state: JobState, _event: Event, _data: Data) -> JobState:
    return state


_STEPS: dict[tuple[str, int], Callable[[JobState, Event, Data], JobState]] = {
    ("JobOpened", 1): _opened,
    ("StackDescribed", 1): _stack,
    ("NeedsStated", 1): _needs,
    ("JointStated", 1): _joint,
    ("InsertChosen", 1): _insert,
    ("AllowanceFound", 1): _allowance,
    ("WindowGiven", 1): _window,
    ("ToolChosen", 1): _tool,
    ("ProofPlanned", 1): _plan,
    ("SettingComputed", 1): _setting,
    ("StepDone", 1): _step,
    ("FreeLengthMeasured", 1): _measured,
    ("LotMeasured", 1): _lot_measured,
    ("TrialPulled", 1): _pulled,
    ("ReadAgain", 1): _read_again,
    ("AdjusterTurned", 1): _turned,
    ("DryCycled", 1): _cycled,
    ("AirReconnected", 1): _reconnected,
    ("ReadingStruckOut", 1): _struck,
    ("AdviceGiven", 1): _advised,
    ("SettingHeld", 1): _held,
    ("PressureSet", 1): _pressure,
    ("CouponChecked", 1): _coupon,
    ("ProofJudged", 1): _proof,
    ("Released", 1): _released,
    ("RunChecked", 1): _checked,
    ("RunCounted", 1): _counted,
    ("Stopped", 1): _stopped,
    ("Reopened", 1): _reopened,
    ("Superseded", 1): _superseded,
    ("NoteWritten", 1): _noted,
    ("VirtuallyPulled", 1): _simulated,
}

JOB_EVENT_TYPES = frozenset(name for name, _version in _STEPS)

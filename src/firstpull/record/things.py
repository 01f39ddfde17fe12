"""What the events of a tool, a gauge and a catalogue add up to."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from firstpull.errors import BadInput, RecordDamaged
from firstpull.record import gauge_study
from firstpull.record.event import Event
from firstpull.record.forms import check_form
from firstpull.record.gauge_study import Studies, Study

Data = Mapping[str, Any]
_State = TypeVar("_State")
_MARK = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}")


@dataclass(frozen=True, slots=True)
class ToolState:
    """A setting tool: what it can do, what is fitted, what was learned about it, and how it was looked after."""

    stream: str
    sequence: int = 0
    tool: Data = field(default_factory=dict)
    demo: bool = False
    mandrels: Mapping[str, Data] = field(default_factory=dict)
    fitted: str = ""
    cycles: int = 0
    cycles_at_service: int = 0
    service_every_cycles: int = 0
    serviced_at: str = ""
    learned: Data | None = None
    knob_trials: tuple[Data, ...] = ()
    shifts: Mapping[str, Data] = field(default_factory=dict)
    notes: tuple[Data, ...] = ()

    @property
    def id(self) -> str:
        return self.stream.partition(":")[2]

    @property
    def cycles_since_service(self) -> int:
        return self.cycles - self.cycles_at_service


@dataclass(frozen=True, slots=True)
class GaugeState:
    """A measuring instrument: its resolution and error, its checks, studies and services. Dates are ISO 8601 days.
    ``serviced`` is the sequence of its last service; ``study_days`` how long a study counts, 0 where the shop set none."""

    stream: str
    sequence: int = 0
    gauge: Data = field(default_factory=dict)
    demo: bool = False
    checks: tuple[Data, ...] = ()
    studies: tuple[Study, ...] = ()
    serviced_at: str = ""
    serviced: int = 0
    study_days: int = 0

    @property
    def id(self) -> str:
        return self.stream.partition(":")[2]

    @property
    def last_check(self) -> Data | None:
        return self.checks[-1] if self.checks else None

    @property
    def open_study(self) -> Study | None:
        """The study that is not finished yet; there is one at most."""
        return self.studies[-1] if self.studies and self.studies[-1].open else None


@dataclass(frozen=True, slots=True)
class CatalogueState:
    """How often the shop's catalogue was added to. The inserts themselves may be very many, and are read from the events
    one by one."""

    stream: str
    sequence: int = 0
    imports: int = 0


def fold_tool(events: Iterable[Event], state: ToolState | None = None) -> ToolState:
    """The tool after ``events``. Raises RecordDamaged for an event it does not know."""
    return _fold(events, state, ToolState, _TOOL_STEPS)


def fold_gauge(events: Iterable[Event], state: GaugeState | None = None) -> GaugeState:
    """The gauge after ``events``. Raises RecordDamaged for an event it does not know."""
    return _fold(events, state, GaugeState, _GAUGE_STEPS)


def fold_catalogue(events: Iterable[Event], state: CatalogueState | None = None) -> CatalogueState:
    """The catalogue after ``events``. Raises RecordDamaged for an event it does not know."""
    return _fold(events, state, CatalogueState, _CATALOGUE_STEPS)


def guard_thing(before: Iterable[Event], new: Iterable[Event]) -> None:
    """Check that ``new`` can follow ``before`` in a tool's, gauge's or catalogue's stream. Raises BadInput."""
    past, coming = list(before), list(new)
    kind = (past or coming)[0].stream.partition(":")[0]
    folds: dict[str, Callable[..., Any]] = {"tool": fold_tool, "gauge": fold_gauge, "catalogue": fold_catalogue}
    if kind not in folds:
        raise BadInput(f"“{kind}” is not a kind of stream.", hint="job, tool, gauge or catalogue.")
    if kind in ("tool", "gauge"):
        mark = (past or coming)[0].stream.partition(":")[2]
        if not past and not _MARK.fullmatch(mark):
            raise BadInput(
                f"“{mark}” can not be the mark of a {kind}.", hint="Letters, digits, dash and dot, up to 40."
            )
        first = "ToolAdded" if kind == "tool" else "GaugeAdded"
        for index, event in enumerate([*past, *coming]):
            if (index == 0) != (event.type == first):
                raise BadInput(f"A {kind} begins with being added, once.", where=f"{event.stream} {event.sequence}")
    for event in coming:
        check_form(event)
    if kind == "gauge":
        _guard_gauge(past, coming)
    folds[kind]([*past, *coming])


def _guard_gauge(past: list[Event], coming: list[Event]) -> None:
    """Check each coming event against the studies as they stand before it."""
    state = fold_gauge(past) if past else None
    for event in coming:
        gauge_study.guard_study(() if state is None else state.studies, event)
        state = fold_gauge([event], state)


def _fold(
    events: Iterable[Event],
    state: _State | None,
    make: Callable[..., _State],
    steps: Mapping[tuple[str, int], Callable[[Any, Event, Data], Any]],
) -> _State:
    for event in events:
        step = steps.get((event.type, event.version))
        if step is None:
            raise RecordDamaged(
                f"Event “{event.type}” version {event.version} is not known here.",
                where=f"{event.stream} {event.sequence}",
                hint="Open the record with the version that wrote it, or a newer one.",
            )
        current = make(stream=event.stream) if state is None else state
        try:
            state = replace(step(current, event, event.data), sequence=event.sequence)
        except (LookupError, TypeError, ValueError, AttributeError, OverflowError) as problem:
            raise RecordDamaged(
                f"Event “{event.type}” lacks or garbles {problem}.", where=f"{event.stream} {event.sequence}"
            )
    if state is None:
        raise RecordDamaged("A stream without events.")
    return state


def _tool_added(state: ToolState, _event: Event, data: Data) -> ToolState:
    return replace(
        state,
        tool=data["tool"],
        demo=data.get("demo", False),
        service_every_cycles=data.get("service_every_cycles", 0),
        mandrels={item["id"]: item for item in data.get("mandrels", ())},
        cycles=data.get("cycles", 0),
        cycles_at_service=data.get("cycles_at_service", 0),
    )


def _tool_changed(state: ToolState, _event: Event, data: Data) -> ToolState:
    every = data.get("service_every_cycles", state.service_every_cycles)
    return replace(state, tool=data["tool"], service_every_cycles=every)


def _mandrel_added(state: ToolState, _event: Event, data: Data) -> ToolState:
    return replace(state, mandrels={**state.mandrels, data["mandrel"]["id"]: data["mandrel"]})


def _mandrel_fitted(state: ToolState, _event: Event, data: Data) -> ToolState:
    return replace(state, fitted=data["mandrel_id"])


def _mandrel_retired(state: ToolState, _event: Event, data: Data) -> ToolState:
    gone = dict(state.mandrels[data["mandrel_id"]], retired=data["reason"], how=data.get("how", ""))
    fitted = "" if state.fitted == data["mandrel_id"] else state.fitted
    return replace(state, mandrels={**state.mandrels, data["mandrel_id"]: gone}, fitted=fitted)


def _cycled(state: ToolState, _event: Event, data: Data) -> ToolState:
    mandrels = dict(state.mandrels)
    worked = data.get("mandrel_id") or state.fitted
    if worked in mandrels:
        mandrels[worked] = dict(mandrels[worked], cycles=int(mandrels[worked].get("cycles", 0)) + int(data["cycles"]))
    return replace(state, cycles=state.cycles + int(data["cycles"]), mandrels=mandrels)


def _serviced(state: ToolState, event: Event, data: Data) -> ToolState:
    note = {"at": event.at, "by": event.by, "what": data["what"], "kind": "service"}
    return replace(state, cycles_at_service=state.cycles, serviced_at=event.at, notes=(*state.notes, note))


def _knob_tried(state: ToolState, event: Event, data: Data) -> ToolState:
    return replace(
        state, knob_trials=(*state.knob_trials, dict(data, at=event.at, by=event.by, sequence=event.sequence))
    )


def _knob_learned(state: ToolState, event: Event, data: Data) -> ToolState:
    learned = dict(data["learned"], at=event.at, by=event.by)
    return replace(state, learned=learned, tool=data.get("tool", state.tool), knob_trials=())


def _knob_forgotten(state: ToolState, _event: Event, _data: Data) -> ToolState:
    return replace(state, knob_trials=())


def _shift_learned(state: ToolState, event: Event, data: Data) -> ToolState:
    return replace(state, shifts={**state.shifts, data["key"]: dict(data["shift"], at=event.at)})


def _noted(state: ToolState, event: Event, data: Data) -> ToolState:
    note = {"at": event.at, "by": event.by, "what": data["what"], "kind": data.get("kind", "note")}
    return replace(state, notes=(*state.notes, note))


def _gauge_added(state: GaugeState, _event: Event, data: Data) -> GaugeState:
    return replace(state, gauge=data["gauge"], demo=data.get("demo", False))


def _gauge_changed(state: GaugeState, _event: Event, data: Data) -> GaugeState:
    return replace(state, gauge=data["gauge"])


def _gauge_checked(state: GaugeState, event: Event, data: Data) -> GaugeState:
    return replace(state, checks=(*state.checks, dict(data["check"], at=event.at, by=event.by)))


def _gauge_serviced(state: GaugeState, event: Event, data: Data) -> GaugeState:
    _ = data["what"]
    return replace(state, serviced_at=event.at, serviced=event.sequence)


def _study_age(state: GaugeState, _event: Event, data: Data) -> GaugeState:
    return replace(state, study_days=data["days"])


def _study_step(change: Callable[[Studies, Event, Data], Studies]) -> Callable[[GaugeState, Event, Data], GaugeState]:
    return lambda state, event, data: replace(state, studies=change(state.studies, event, data))


def _imported(state: CatalogueState, _event: Event, data: Data) -> CatalogueState:
    _ = [insert["part"] for insert in data["inserts"]]
    return replace(state, imports=state.imports + 1)


def _table_imported(state: CatalogueState, _event: Event, data: Data) -> CatalogueState:
    _ = data["table"]
    return replace(state, imports=state.imports + 1)


def _retired(state: CatalogueState, _event: Event, data: Data) -> CatalogueState:
    _ = data["part"]
    return state


_Steps = dict[tuple[str, int], Callable[[Any, Event, Data], Any]]
_TOOL_STEPS: _Steps = {
    ("ToolAdded", 1): _tool_added,
    ("ToolChanged", 1): _tool_changed,
    ("MandrelAdded", 1): _mandrel_added,
    ("MandrelFitted", 1): _mandrel_fitted,
    ("MandrelRetired", 1): _mandrel_retired,
    ("CyclesCounted", 1): _cycled,
    ("Serviced", 1): _serviced,
    ("KnobTried", 1): _knob_tried,
    ("KnobLearned", 1): _knob_learned,
    ("KnobTrialsDropped", 1): _knob_forgotten,
    ("ShiftLearned", 1): _shift_learned,
    ("NoteWritten", 1): _noted,
}
_GAUGE_STEPS: _Steps = {
    ("GaugeAdded", 1): _gauge_added,
    ("GaugeChanged", 1): _gauge_changed,
    ("GaugeChecked", 1): _gauge_checked,
    ("GaugeServiced", 1): _gauge_serviced,
    ("StudyAgeSet", 1): _study_age,
    ("StudyBegun", 1): _study_step(gauge_study.begun),
    ("StudyRead", 1): _study_step(gauge_study.read),
    ("StudyReadingStruckOut", 1): _study_step(gauge_study.struck_out),
    ("StudyFinished", 1): _study_step(gauge_study.finished),
    ("StudyGivenUp", 1): _study_step(gauge_study.given_up),
}
_CATALOGUE_STEPS: _Steps = {
    ("CatalogueImported", 1): _imported,
    ("CatalogueTableImported", 1): _table_imported,
    ("InsertRetired", 1): _retired,
}

"""Look after: tools, mandrels and gauges with their history, what is due, and how a knob is learned."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs.workshop import Book, Doing
from firstpull.mechanics.tool import Tool, check_tool
from firstpull.record.things import GaugeState, ToolState
from firstpull.statistics.knob import KnobFit, fit_knob
from firstpull.units import Length

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}")
SOON_SHARE = 0.9
SOON_DAYS = 14


@dataclass(frozen=True, slots=True)
class DueRow:
    """One thing that wants looking after: ``state`` is "due", "soon" or "fine"."""

    kind: str  # "tool", "mandrel" or "gauge"
    id: str
    name: str
    state: str
    text: str


def add_tool(
    book: Book,
    tool_id: str,
    tool: Tool,
    *,
    doing: Doing,
    service_every_cycles: int = 0,
    mandrels: tuple[dict[str, Any], ...] = (),
    cycles: int = 0,
    demo: bool = False,
) -> ToolState:
    """A new tool. ``service_every_cycles`` 0: no interval known. Raises BadInput for a bad id or one in use."""
    if book.repeats(f"tool:{tool_id}", doing):
        return book.tool(tool_id)
    check_new_id(book, "tool", tool_id)
    check_tool(tool)
    if service_every_cycles < 0 or cycles < 0:
        raise BadInput("Cycles can not be below zero.", where="cycles")
    data = {
        "tool": tool.to_json(),
        "service_every_cycles": service_every_cycles,
        "mandrels": [_checked_mandrel(mandrel) for mandrel in mandrels],
        "cycles": cycles,
        "cycles_at_service": cycles,
        "demo": demo,
    }
    planned = [("ToolAdded", data)]
    if mandrels:
        planned.append(("MandrelFitted", {"mandrel_id": mandrels[0]["id"]}))
    book.write(f"tool:{tool_id}", planned, Doing(doing.by, 0, doing.slip), tool=tool_id)
    return book.tool(tool_id)


def change_tool(
    book: Book, tool_id: str, tool: Tool, *, doing: Doing, service_every_cycles: int | None = None
) -> ToolState:
    """Correct a tool's data; the old data stays in its history."""
    check_tool(tool)
    data: dict[str, Any] = {"tool": tool.to_json()}
    if service_every_cycles is not None:
        data["service_every_cycles"] = service_every_cycles
    book.write(f"tool:{tool_id}", [("ToolChanged", data)], doing, tool=tool_id)
    return book.tool(tool_id)


def add_mandrel(book: Book, tool_id: str, mandrel: dict[str, Any], *, doing: Doing, fit: bool = True) -> ToolState:
    """A mandrel: ``id``, ``thread``, ``cycle_limit`` (0: unknown), ``property_class``. Fitted at once unless not ``fit``."""
    state = book.tool(tool_id)
    if book.repeats(state.stream, doing):
        return state
    checked = _checked_mandrel(mandrel)
    if checked["id"] in state.mandrels:
        raise BadInput(
            f"{tool_id} has a mandrel “{checked['id']}” already.", where="mandrel", hint="Give another mark."
        )
    planned: list[tuple[str, Any]] = [("MandrelAdded", {"mandrel": checked})]
    if fit:
        planned.append(("MandrelFitted", {"mandrel_id": checked["id"]}))
    book.write(f"tool:{tool_id}", planned, doing, tool=tool_id)
    return book.tool(tool_id)


def fit_mandrel(book: Book, tool_id: str, mandrel_id: str, *, doing: Doing) -> ToolState:
    """Put another of the tool's mandrels in. Raises BadInput for one it does not have, Unsafe for a retired one."""
    mandrel = book.tool(tool_id).mandrels.get(mandrel_id)
    if mandrel is None:
        raise BadInput(f"{tool_id} has no mandrel “{mandrel_id}”.", where="mandrel", hint="Add it first.")
    if mandrel.get("retired"):
        raise Unsafe(f"Mandrel {mandrel_id} was retired: {mandrel['retired']}.", where="mandrel", hint="Fit another.")
    book.write(f"tool:{tool_id}", [("MandrelFitted", {"mandrel_id": mandrel_id})], doing, tool=tool_id)
    return book.tool(tool_id)


def retire_mandrel(book: Book, tool_id: str, mandrel_id: str, *, reason: str, doing: Doing, how: str = "") -> ToolState:
    """Take a mandrel out of use, with a reason; ``how``: "ended" (broken, worn out) or "in time" (it still worked)."""
    if mandrel_id not in book.tool(tool_id).mandrels:
        raise BadInput(f"{tool_id} has no mandrel “{mandrel_id}”.", where="mandrel")
    if not reason.strip():
        raise BadInput("Why is it retired?", where="reason", hint="For example “thread worn”.")
    if how not in ("", "ended", "in time"):
        raise BadInput(f"“{how}” is not how a mandrel goes.", where="how", hint="ended, or in time.")
    data = {"mandrel_id": mandrel_id, "reason": reason.strip(), "how": how}
    book.write(f"tool:{tool_id}", [("MandrelRetired", data)], doing)
    return book.tool(tool_id)


def count_cycles(book: Book, tool_id: str, cycles: int, *, doing: Doing, mandrel_id: str = "") -> ToolState:
    """Cycles that the tool (and the mandrel fitted, or the named one) has done since the last count."""
    if not 0 < cycles < 10_000_000:
        raise BadInput("How many cycles?", where="cycles", hint="A whole number above 0.")
    book.write(
        f"tool:{tool_id}", [("CyclesCounted", {"cycles": cycles, "mandrel_id": mandrel_id})], doing, tool=tool_id
    )
    return book.tool(tool_id)


def service(book: Book, tool_id: str, what: str, *, doing: Doing) -> ToolState:
    """The tool was serviced: what was done. Its cycle count since service begins again."""
    if not what.strip():
        raise BadInput("What was done?", where="what", hint="For example “seals and oil changed”.")
    book.write(f"tool:{tool_id}", [("Serviced", {"what": what.strip()})], doing, tool=tool_id)
    return book.tool(tool_id)


def add_gauge(
    book: Book,
    gauge_id: str,
    name: str,
    *,
    doing: Doing,
    resolution_mm: float = 0.01,
    error_mm: float = 0.03,
    every_days: int = 365,
    demo: bool = False,
) -> GaugeState:
    """A gauge with its resolution and limit of error in mm (ISO 13385-1 leaves the limit to the maker: user's input)."""
    if book.repeats(f"gauge:{gauge_id}", doing):
        return book.gauge(gauge_id)
    check_new_id(book, "gauge", gauge_id)
    if not name.strip():
        raise BadInput("What is this gauge called?", where="name", hint="For example “Caliper 1, 150 mm”.")
    if not 0 < resolution_mm <= 1 or not 0 < error_mm <= 1 or not 1 <= every_days <= 3660:
        raise BadInput("Resolution and error above 0 and up to 1 mm; a check every 1 to 3660 days.", where="gauge")
    data = {
        "gauge": {"name": name.strip(), "resolution_mm": resolution_mm, "error_mm": error_mm, "every_days": every_days},
        "demo": demo,
    }
    book.write(f"gauge:{gauge_id}", [("GaugeAdded", data)], Doing(doing.by, 0, doing.slip), gauge=gauge_id)
    return book.gauge(gauge_id)


def check_gauge(book: Book, gauge_id: str, *, reference: Length, reading: Length, doing: Doing) -> GaugeState:
    """Check a gauge on a block: ``reading`` against ``reference``. Passes when the difference is inside its limit of
    error; then the next check is due after its interval."""
    state = book.gauge(gauge_id)
    error_nm = reading.nanometres - reference.nanometres
    passed = abs(error_nm) <= round(float(state.gauge["error_mm"]) * 1e6)
    today = date.fromisoformat(book.now()[:10])
    due = today + timedelta(days=int(state.gauge["every_days"])) if passed else today
    check = {
        "reference": reference.to_json(),
        "reading": reading.to_json(),
        "error_mm": error_nm / 1e6,
        "passed": passed,
        "due": due.isoformat(),
    }
    book.write(f"gauge:{gauge_id}", [("GaugeChecked", {"check": check})], doing, gauge=gauge_id)
    return book.gauge(gauge_id)


def due_rows(book: Book) -> tuple[DueRow, ...]:
    """Everything that wants looking after in the workshop, the most pressing first."""
    today = date.fromisoformat(book.now()[:10])
    rows = [row for tool in book.tools() for row in tool_due(tool)]
    rows += [gauge_due(gauge, today) for gauge in book.gauges()]
    order = {"due": 0, "soon": 1, "fine": 2}
    return tuple(sorted(rows, key=lambda row: (order[row.state], row.kind, row.id)))


def tool_due(tool: ToolState) -> tuple[DueRow, ...]:
    """How a tool and its fitted mandrel stand by their cycles."""
    name = str(tool.tool.get("name") or tool.id)
    rows = [_by_cycles("tool", tool.id, name, tool.cycles_since_service, tool.service_every_cycles, "service")]
    mandrel = tool.mandrels.get(tool.fitted)
    if mandrel is not None:
        label = f"Mandrel {mandrel['id']} ({mandrel['thread']})"
        rows.append(
            _by_cycles("mandrel", tool.id, label, int(mandrel["cycles"]), int(mandrel["cycle_limit"]), "its limit")
        )
    return tuple(rows)


def gauge_due(gauge: GaugeState, today: date) -> DueRow:
    """How a gauge stands by its last check."""
    name, last = str(gauge.gauge.get("name") or gauge.id), gauge.last_check
    if last is None:
        return DueRow("gauge", gauge.id, name, "due", "never checked on a gauge block")
    if not last["passed"]:
        return DueRow("gauge", gauge.id, name, "due", f"failed its last check by {abs(last['error_mm']):.3f} mm")
    days = (date.fromisoformat(last["due"]) - today).days
    if days < 0:
        return DueRow("gauge", gauge.id, name, "due", f"out of date since {last['due']}")
    return DueRow("gauge", gauge.id, name, "soon" if days <= SOON_DAYS else "fine", f"next check {last['due']}")


def warnings_for(book: Book, *, tool_id: str = "", gauge_id: str = "") -> tuple[str, ...]:
    """What must be said beside a field that this tool or gauge feeds: only what is due."""
    rows: list[DueRow] = []
    if tool_id and book.store.last(f"tool:{tool_id}"):
        rows += tool_due(book.tool(tool_id))
    if gauge_id and book.store.last(f"gauge:{gauge_id}"):
        rows.append(gauge_due(book.gauge(gauge_id), date.fromisoformat(book.now()[:10])))
    return tuple(f"{row.name}: {row.text}." for row in rows if row.state == "due")


def try_knob(
    book: Book, tool_id: str, *, turns: float, free_length: Length, set_length: Length, doing: Doing
) -> ToolState:
    """One sacrificial insert while learning a knob: pulled ``turns`` from where the learning began (plus as the knob
    counts), with its length before and after."""
    state = book.tool(tool_id)
    if state.tool.get("control") != "stroke":
        raise BadInput("A force-set tool has no stroke knob to learn.", where="tool")
    if not -60 <= turns <= 60:
        raise BadInput("Between −60 and 60 turns.", where="turns")
    if not 0 < set_length.nanometres < free_length.nanometres:
        raise BadInput(
            "A set insert is shorter than a free one.",
            where="set_length",
            hint=f"The free length is {free_length.typed}.",
        )
    data = {"turns": turns, "free_length": free_length.to_json(), "set_length": set_length.to_json()}
    book.write(f"tool:{tool_id}", [("KnobTried", data)], doing, tool=tool_id)
    return book.tool(tool_id)


def knob_fit(state: ToolState) -> KnobFit | None:
    """The lead, play and scatter that the trials so far show; None before three pulls at two places."""
    trials = [
        (float(t["turns"]), Length.from_json(t["free_length"]).mm - Length.from_json(t["set_length"]).mm)
        for t in state.knob_trials
    ]
    if len(trials) < 3 or len({turns for turns, _stroke in trials}) < 2:
        return None
    return fit_knob(trials)


def learn_knob(book: Book, tool_id: str, *, doing: Doing) -> ToolState:
    """Keep what the trials showed: lead with its doubt, which way is more stroke, scatter. Raises Unsafe too early."""
    state = book.tool(tool_id)
    if book.repeats(state.stream, doing):
        return state
    fit = knob_fit(state)
    if fit is None:
        raise Unsafe(
            "Not enough pulls to learn this knob.", where=tool_id, hint="At least three, at two places two turns apart."
        )
    tool = dict(
        state.tool,
        plus_turns="more stroke" if fit.lead_mm > 0 else "less stroke",
        lead_per_turn=Length.from_mm(abs(fit.lead_mm)).to_json(),
    )
    learned = {
        "lead_per_turn_mm": abs(fit.lead_mm),
        "lead_rel_sd": min(max(fit.lead_sd_mm / abs(fit.lead_mm), 0.002), 0.5),
        "process_sd_mm": max(fit.scatter_mm, 0.005),
        "backlash_turns": fit.play_turns
        if fit.play_turns is not None
        else float(state.tool.get("backlash_turns", 0.2)),
        "pulls": fit.n,
    }
    book.write(f"tool:{tool_id}", [("KnobLearned", {"learned": learned, "tool": tool})], doing, tool=tool_id)
    return book.tool(tool_id)


def drop_knob_trials(book: Book, tool_id: str, *, reason: str, doing: Doing) -> ToolState:
    """Begin the learning again, with a reason; the trials stay in the history."""
    if not reason.strip():
        raise BadInput("Why are they dropped?", where="reason", hint="For example “air pressure was low”.")
    book.write(f"tool:{tool_id}", [("KnobTrialsDropped", {"reason": reason.strip()})], doing)
    return book.tool(tool_id)


def _by_cycles(kind: str, thing_id: str, name: str, done: int, limit: int, what: str) -> DueRow:
    if limit <= 0:
        return DueRow(kind, thing_id, name, "fine", f"{done} cycles; no interval given")
    text = f"{done} of {limit} cycles to {what}"
    if done >= limit:
        return DueRow(kind, thing_id, name, "due", f"past {what}: {done} of {limit} cycles")
    return DueRow(kind, thing_id, name, "soon" if done >= SOON_SHARE * limit else "fine", text)


def _checked_mandrel(mandrel: dict[str, Any]) -> dict[str, Any]:
    from firstpull.trade.threads import thread

    mark = str(mandrel.get("id", "")).strip()
    if not _ID.fullmatch(mark):
        raise BadInput("A mandrel needs a mark.", where="mandrel", hint="Letters, digits, dash; for example “M6-a”.")
    size = thread(str(mandrel.get("thread", "")), where="thread").designation
    limit, cycles = int(mandrel.get("cycle_limit", 0)), int(mandrel.get("cycles", 0))
    if limit < 0 or cycles < 0:
        raise BadInput("Cycles can not be below zero.", where="cycle_limit")
    return {
        "id": mark,
        "thread": size,
        "cycle_limit": limit,
        "cycles": cycles,
        "property_class": str(mandrel.get("property_class", "12.9")),
    }


def check_new_id(book: Book, kind: str, thing_id: str) -> None:
    """Raises BadInput when ``thing_id`` can not be the mark of a new tool or gauge (``kind``)."""
    if not _ID.fullmatch(thing_id) or thing_id == "new":
        raise BadInput(
            f"“{thing_id}” can not be the mark of a {kind}.",
            where="id",
            hint="Letters, digits, dash and dot, up to 40.",
        )
    if book.store.last(f"{kind}:{thing_id}"):
        raise BadInput(f"There is a {kind} “{thing_id}” already.", where="id", hint="Choose another mark.")

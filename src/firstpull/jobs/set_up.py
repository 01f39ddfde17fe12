"""Set up: the tool, the allowance and its source, the window and its source, the setting, the acts at the tool."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs.shapes import (
    allowance_from_json,
    allowance_to_json,
    demand_of,
    insert_of,
    known_shift,
    stack_of,
    tool_of,
    unit_of,
    window_from_json,
    window_to_json,
)
from firstpull.jobs.virtual_pull import shift_of
from firstpull.jobs.workshop import Book, Doing, Planned
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.setting import AirToStack, Allowance, GivenWindow, SettingRequest, compute_setting
from firstpull.mechanics.tool import Tool, take_up
from firstpull.record.job import JobState
from firstpull.record.things import ToolState
from firstpull.units import Length, LengthUnit

MANDREL_CLASS = "12.9"
# the acts at the tool before the first pull; what follows them in the setting's steps is dial-in and proof
ACTS = ("air_off", "mandrel", "engagement", "anvil", "knob", "air_on")
OWN = "own releases"
LEAST_DOUBT_MM = 0.1
_TEXTS = ("warnings", "blockers", "steps", "knob_move", "capacity", "mandrel", "pressure")


@dataclass(frozen=True, slots=True)
class AllowanceOffer:
    """A set allowance that could be used: its value, doubt, source in words, and the releases behind it."""

    allowance: Allowance
    text: str


def choose_tool(
    book: Book, job_id: str, tool_id: str, *, doing: Doing, mandrel_id: str = "", gauge_id: str = ""
) -> JobState:
    """Take a tool of the workshop for this job, with the mandrel fitted and the gauge used. Raises NotFound, Unsafe."""
    tool_state = book.tool(tool_id)
    if gauge_id:
        book.gauge(gauge_id)
    mandrel = None
    if mandrel_id:
        mandrel = tool_state.mandrels.get(mandrel_id)
        if mandrel is None:
            known = ", ".join(tool_state.mandrels) or "none yet"
            raise BadInput(f"{tool_id} has no mandrel “{mandrel_id}”.", where="mandrel", hint=f"Known: {known}.")
        if mandrel.get("retired"):
            raise Unsafe(
                f"Mandrel {mandrel_id} was retired: {mandrel['retired']}.", where="mandrel", hint="Fit another."
            )
    event = tool_event(
        present_tool(tool_state),
        tool_id=tool_id,
        mandrel=mandrel,
        gauge_id=gauge_id,
        source=tool_source(tool_state),
    )
    book.write(f"job:{job_id}", [event], doing, tool=tool_id, gauge=gauge_id)
    return book.job(job_id)


def give_allowance(book: Book, job_id: str, allowance: Allowance, *, doing: Doing) -> JobState:
    """Use this set allowance, with its source."""
    book.write(f"job:{job_id}", [allowance_event(allowance)], doing)
    return book.job(job_id)


def give_window(book: Book, job_id: str, window: GivenWindow, *, doing: Doing) -> JobState:
    """Use these limits of the stroke, as the maker's data or the shop's own rule gives them."""
    book.write(f"job:{job_id}", [window_event(window)], doing)
    return book.job(job_id)


def compute(book: Book, job_id: str, *, doing: Doing, present_set_length: Length | None = None) -> JobState:
    """Compute the setting from what is on record and put it there. Raises Unsafe with reasons when it can not be."""
    state = book.job(job_id)
    request = request_of(book, state, present_set_length=present_set_length)
    book.write(f"job:{job_id}", [setting_event(request, unit=unit_of(state))], doing, tool=state.tool_id)
    return book.job(job_id)


def place_knob(book: Book, job_id: str, present_set_length: Length, *, doing: Doing) -> JobState:
    """Compute the setting again with what an air pull at the present knob gave, so that the move of the knob can be
    said. Acts that are done stay done. Raises Unsafe without a setting, or once dial-in has begun."""
    state = book.job(job_id)
    if state.setting is None:
        raise Unsafe("There is no setting yet.", where=job_id, hint="Compute it first.")
    if state.pulls or state.held is not None:
        raise Unsafe("Dial-in has begun; it says how far to turn.", where=job_id, hint="Go on at “dial in”.")
    request = request_of(book, state, present_set_length=present_set_length)
    planned = [
        setting_event(request, unit=unit_of(state)),
        *(("StepDone", {"step": step}) for step in state.steps_done),
    ]
    book.write(f"job:{job_id}", planned, doing, tool=state.tool_id)
    return book.job(job_id)


def request_of(
    book: Book, state: JobState, *, tool: Tool | None = None, present_set_length: Length | None = None
) -> SettingRequest:
    """What the job's setting is computed from, as it stands on record; with another ``tool`` to see what it could do."""
    stack, batch = stack_of(state)
    tool_state = book.tool(state.tool_id) if state.tool_id and book.store.last(f"tool:{state.tool_id}") else None
    insert, demand = insert_of(state), demand_of(state)
    return SettingRequest(
        insert=insert,
        stack=stack,
        batch=batch,
        tool=tool_of(state) if tool is None else tool,
        allowance=allowance_from_json(state.allowance),
        window=window_from_json(state.window),
        shift=known_shift(tool_state, insert, stack) or computed_shift(state),
        present_set_length=present_set_length,
        load_ceiling_n=None if demand is None else demand.load_ceiling_n,
        mandrel_class=str((state.mandrel or {}).get("property_class", MANDREL_CLASS)),
    )


def computed_shift(state: JobState) -> AirToStack | None:
    """The air-to-stack shift of the job's virtual pull, for want of one that coupons have shown; None without it."""
    found = shift_of(state)
    return None if found is None else AirToStack(*found)


def setting_in(book: Book, state: JobState, unit: LengthUnit) -> Mapping[str, Any]:
    """The standing setting with its sentences in ``unit``; what is on record stays in the job's unit. Raises Unsafe
    without one."""
    held = state.setting
    if held is None:
        raise Unsafe("There is no setting yet.", where=state.id, hint="Compute it first.")
    if unit == unit_of(state):
        return held
    present = held.get("present_set_length")
    request = replace(
        request_of(book, state, present_set_length=None if present is None else Length.from_json(present)),
        shift=AirToStack(
            float(held["air_to_stack_mm"]), float(held["air_to_stack_sd_mm"]), str(held["air_to_stack_source"])
        ),
    )
    return {
        **held,
        **{key: value for key, value in setting_event(request, unit=unit)[1]["setting"].items() if key in _TEXTS},
    }


def tools_that_can(book: Book, state: JobState) -> tuple[ToolState, ...]:
    """The workshop's tools with which this job's setting can be computed, the chosen one left out."""
    able = []
    for tool_state in book.tools():
        if tool_state.id == state.tool_id:
            continue
        try:
            compute_setting(request_of(book, state, tool=present_tool(tool_state)))
        except (BadInput, Unsafe):
            continue
        able.append(tool_state)
    return tuple(able)


def do_step(book: Book, job_id: str, step: str, *, doing: Doing) -> JobState:
    """Say that one act at the tool is done. Raises BadInput for a step that the setting does not have."""
    state = book.job(job_id)
    if state.setting is None:
        raise Unsafe("There is no setting yet.", where=job_id, hint="Compute it first.")
    known = [item["key"] for item in acts(state)]
    if step not in known:
        raise BadInput(f"“{step}” is not a step of this set-up.", where="step", hint=f"Known: {', '.join(known)}.")
    book.write(f"job:{job_id}", [("StepDone", {"step": step}), *_done_along(state, step)], doing, tool=state.tool_id)
    return book.job(job_id)


WARMED: tuple[Planned, ...] = (("DryCycled", {}), ("DryCycled", {}))


def knob_settled(tool: Tool) -> tuple[Planned, ...]:
    """The knob of a stroke-set tool left turned towards more stroke with its play used up, as the knob act ends."""
    turns, clicks = take_up(tool)
    return (("AdjusterTurned", {"turns": turns, "clicks": clicks}),)


def _done_along(state: JobState, step: str) -> tuple[Planned, ...]:
    """What an act does to the tool that dial-in counts on, so that it does not ask for it again: play taken up where
    the knob started at little stroke, the cycles without an insert after the air came on."""
    tool = tool_of(state)
    if tool is None or tool.control != "stroke" or state.pulls or step in state.steps_done:
        return ()
    if step == "knob" and not (state.setting or {}).get("knob_move"):
        return knob_settled(tool)
    return WARMED if step == "air_on" else ()


def acts(state: JobState) -> tuple[dict[str, str], ...]:
    """The acts at the tool of this job's setting, in order, each with ``key``, ``title`` and ``text``."""
    steps = (state.setting or {}).get("steps", ())
    return tuple(dict(step) for step in steps if step["key"] in ACTS)


def allowance_offers(book: Book, insert: Insert) -> tuple[AllowanceOffer, ...]:
    """Where a set allowance for this insert could come from, in the order of trust: maker's data in the catalogue,
    then this part's own proven releases.

    One finding is counted once: of a job's revisions only the last release, and none whose allowance was itself taken
    from own releases. A release whose run is stopped does not count.
    """
    offers = []
    if insert.set_allowance is not None:
        offers.append(
            AllowanceOffer(Allowance(insert.set_allowance, 0.0, "catalogue"), "From the catalogue row of this part.")
        )
    proven = _proven_allowances_mm(book, insert.part)
    if proven:
        count = len(proven)
        mean = math.fsum(proven) / count
        spread = math.sqrt(math.fsum((value - mean) ** 2 for value in proven) / max(count - 1, 1))
        # one release says nothing of its own spread; 0.1 mm is the least doubt until several agree (our assumption)
        doubt = max(spread, LEAST_DOUBT_MM / math.sqrt(count))
        offers.append(
            AllowanceOffer(
                Allowance(Length.from_mm(mean), doubt, f"{OWN} ({count})"),
                f"Mean of {count} proven release{'s' if count > 1 else ''} here.",
            )
        )
    return tuple(offers)


def _proven_allowances_mm(book: Book, part: str) -> tuple[float, ...]:
    """The set allowances (mm) that this part was released with, one a job."""
    latest: dict[str, tuple[int, float]] = {}
    for row in book.store.summaries("job"):
        proven = row.data.get("proven") or {}
        if row.data.get("insert") != part or proven.get("set_allowance_mm") is None or row.data["status"] == "stopped":
            continue
        if str(proven.get("set_allowance_source")).startswith(OWN):
            continue
        first = re.sub(r"\.r\d+$", "", row.stream)
        revision = int(row.data["revision"])
        if revision >= latest.get(first, (0, 0.0))[0]:
            latest[first] = (revision, float(proven["set_allowance_mm"]))
    return tuple(allowance for _revision, allowance in latest.values())


def present_tool(tool_state: ToolState) -> Tool:
    """The tool as it is known now: what was learned about its knob and scatter replaces the assumptions."""
    tool = Tool.from_json(tool_state.tool)
    learned = tool_state.learned
    if learned is None:
        return tool
    lead = learned.get("lead_per_turn_mm")
    return replace(
        tool,
        lead_per_turn=Length.from_mm(lead) if lead else tool.lead_per_turn,
        lead_rel_sd=float(learned.get("lead_rel_sd", tool.lead_rel_sd)),
        backlash_turns=float(learned.get("backlash_turns", tool.backlash_turns)),
        process_sd_mm=float(learned.get("process_sd_mm", tool.process_sd_mm)),
    )


def allowance_event(allowance: Allowance) -> Planned:
    if allowance.value.nanometres <= 0:
        raise BadInput(
            "A set allowance must be more than zero.", where="allowance", hint="It forms and seats the blind head."
        )
    return ("AllowanceFound", {"allowance": allowance_to_json(allowance)})


def window_event(window: GivenWindow) -> Planned:
    if window.stroke_min.nanometres >= window.stroke_max.nanometres:
        raise BadInput("The least stroke must be below the greatest.", where="window", hint="Check the two limits.")
    return ("WindowGiven", {"window": window_to_json(window)})


def tool_event(tool: Tool, *, tool_id: str, mandrel: object = None, gauge_id: str = "", source: str = "") -> Planned:
    data = {"tool": tool.to_json(), "tool_id": tool_id, "mandrel": mandrel, "gauge_id": gauge_id, "source": source}
    return ("ToolChosen", data)


def tool_source(tool_state: ToolState) -> str:
    """Where the tool's lead and scatter come from: its own trial pulls, or what was stated when it was added."""
    learned = tool_state.learned
    return "as stated for this tool" if learned is None else f"learned from {learned['pulls']} pulls of this tool"


def setting_event(request: SettingRequest, *, unit: LengthUnit = "mm") -> Planned:
    """The computed setting. Raises Unsafe with reasons outside the grip or without a set allowance, BadInput for data
    that can not be. ``unit`` is that of the lengths in its sentences."""
    if request.allowance is None and request.insert.set_allowance is None:
        raise Unsafe(
            f"The set allowance of {request.insert.name} is not known.",
            where="allowance",
            hint="Take it from the maker's data, or find it on coupons: “Find the allowance”.",
        )
    present = request.present_set_length
    setting = {
        **compute_setting(request, unit=unit).as_dict(),
        "present_set_length": None if present is None else present.to_json(),
    }
    return ("SettingComputed", {"setting": setting})

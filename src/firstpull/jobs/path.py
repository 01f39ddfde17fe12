"""The path of the work: where a job stands, what is done, what is owed, and what to do next."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from firstpull.jobs.set_up import acts
from firstpull.jobs.shapes import tool_of
from firstpull.record.job import JobState
from firstpull.record.rules import release_hindrances

Status = Literal["done", "now", "owed", "later"]
STEPS: tuple[str, ...] = ("choose", "set up", "dial in", "prove", "hand over", "run", "look after")


@dataclass(frozen=True, slots=True)
class Stage:
    """One step of the path: its name, how it stands, and in a few words what is owed there."""

    name: str
    status: Status
    note: str


def path(state: JobState) -> tuple[Stage, ...]:
    """The seven steps as they stand. Exactly one is ``now`` unless the job is superseded."""
    owed = {name: _owed(state, name) for name in STEPS}
    now = next_step(state)
    stages = []
    for name in STEPS:
        note = owed[name]
        if name == now:
            status: Status = "now"
        elif not note:
            status = "done"
        else:
            status = "owed" if STEPS.index(name) < STEPS.index(now) else "later"
        stages.append(Stage(name, status, note))
    return tuple(stages)


def next_step(state: JobState) -> str:
    """The step where the work goes on."""
    if state.stopped:
        return "prove"
    if state.released:
        return "run"
    for name in ("choose", "set up", "dial in", "prove"):
        if _owed(state, name):
            return name
    return "hand over"


def owed(state: JobState) -> tuple[str, ...]:
    """Everything still owed before a release, in words, in the order of the path."""
    if state.released:
        return ()
    found = [note for name in ("choose", "set up", "dial in") if (note := _owed(state, name))]
    if found:
        return tuple(found)
    return release_hindrances(state)


def _owed(state: JobState, name: str) -> str:
    return _OWED[name](state)


def _owed_choose(state: JobState) -> str:
    if state.stack is None:
        return "Describe the stack."
    return "Choose the insert." if state.insert is None else ""


def _owed_set_up(state: JobState) -> str:
    if state.tool is None:
        return "Choose the tool."
    if state.setting is None:
        return "Compute the setting."
    undone = [act["key"] for act in acts(state) if act["key"] not in state.steps_done]
    begun = bool(state.pulls or state.held or state.released)
    if undone and not begun:
        return f"{len(undone)} {'act' if len(undone) == 1 else 'acts'} at the tool."
    return ""


def _owed_dial_in(state: JobState) -> str:
    if state.held is not None or state.released:
        return ""
    tool = tool_of(state)
    if tool is not None and tool.control == "force":
        return "Find the pressure on coupons."
    return "Dial in on sacrificial inserts."


def _owed_prove(state: JobState) -> str:
    if state.released and not state.stopped:
        return ""
    if state.stopped:
        return "Prove again after the stop."
    if state.proof is not None and state.proof.get("passed") and state.proof_sequence > state.changed_sequence:
        return ""
    items = (state.proof or {}).get("owed") or ["Coupons of exactly this stack."]
    return str(items[0])


def _owed_hand_over(state: JobState) -> str:
    return "" if state.released else "Release by a named person."


def _owed_run(state: JobState) -> str:
    return "" if state.checks else "First-off check."


def _owed_look_after(_state: JobState) -> str:
    return "when due"


_OWED: dict[str, Callable[[JobState], str]] = {
    "choose": _owed_choose,
    "set up": _owed_set_up,
    "dial in": _owed_dial_in,
    "prove": _owed_prove,
    "hand over": _owed_hand_over,
    "run": _owed_run,
    "look after": _owed_look_after,
}

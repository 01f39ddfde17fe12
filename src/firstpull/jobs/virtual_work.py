"""Virtual pulls beside the pages, what is kept of one, and its allowance taken for a job."""

from __future__ import annotations

import logging
import subprocess
import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from firstpull.errors import BadInput, Unsafe
from firstpull.exchange.pull_file import PullRequest
from firstpull.jobs.long_work import LongWork
from firstpull.jobs.shapes import allowance_to_json, insert_of, window_to_json
from firstpull.jobs.virtual_ask import SHORTER_SHARE, STROKE_SHARE, request_to_json
from firstpull.jobs.virtual_learn import Measured, learn_virtually
from firstpull.jobs.virtual_pull import SOURCE, pull_virtually
from firstpull.jobs.workshop import Book, Doing, Planned
from firstpull.mechanics.cover import Progress
from firstpull.mechanics.setting import Allowance, GivenWindow
from firstpull.record.job import JobState
from firstpull.units import Length

log = logging.getLogger("firstpull.jobs")
OF = 100
_KEPT = (
    "events", "stroke_plus_thickness_mm", "set_allowance_mm", "set_allowance_sd_mm", "air_to_stack_mm", "clamp_n",
    "setting_load_n", "mandrel_stress_mpa", "strip_margin", "mandrel_proof_margin", "blind_head_diameter_mm",
    "room_before_mm", "room_after_mm", "window", "energy_error", "limits", "learned",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Question:
    """One pull to be simulated: the request, what was typed (to begin again with), and the job it is for ("" = none)."""

    request: PullRequest
    typed: tuple[tuple[str, str], ...]
    room: str
    job: str
    part: str
    words: tuple[str, ...] = ()
    measured: Measured = field(default_factory=Measured)


VirtualPulls = LongWork[Question, dict[str, Any]]


class _Stopped(Exception):
    """The person pressed Stop."""


def virtual_pulls() -> VirtualPulls:
    """The bench's virtual pulls: one at a time, since each keeps a core busy."""
    return LongWork(_perform, at_once=1, most_open=8, keep=20)


def warm_up() -> Callable[[], None]:
    """Compile the solver's kernels into the user's cache in a process of its own, at low priority, so that neither the
    first page nor the first pull waits for them. Returns what ends it, for when the bench closes."""
    try:
        process = subprocess.Popen(
            [sys.executable, "-m", "firstpull.jobs.virtual_warm"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
    except OSError:
        log.exception("The kernels of the virtual pull could not be made ready")
        return lambda: None

    def end() -> None:
        if process.poll() is None:
            process.terminate()
        process.wait()

    return end


def _perform(asked: Question, stopped: Callable[[], bool], progress: Callable[[Progress], None]) -> dict[str, Any]:
    def watch(share: float) -> None:
        if stopped():
            raise _Stopped
        progress(Progress("pull", min(round(OF * share), OF), OF, None))

    progress(Progress("kernels", 0, OF, None))
    try:
        try:
            return _pull(asked.request, asked.measured, watch)
        except Unsafe:
            case = asked.request.case
            shorter = replace(case, stroke_mm=round(case.stroke_mm * SHORTER_SHARE / STROKE_SHARE, 4))
            return _pull(replace(asked.request, case=shorter), asked.measured, watch)
    except _Stopped:
        raise BadInput("The virtual pull was stopped.", where="pull", hint="Nothing was kept. Start it again.")


def _pull(request: PullRequest, measured: Measured, watch: Callable[[float], None]) -> dict[str, Any]:
    """The pull, of the lot as it is learned where something was measured."""
    if measured.any:
        return learn_virtually(request, measured, watch=watch, whole=True)
    return pull_virtually(request, watch=watch, whole=True)


def kept_of(answer: dict[str, Any]) -> dict[str, Any]:
    """What of an answer goes into the record: everything but the curves and outlines, which the inputs give again."""
    return {name: answer[name] for name in _KEPT if name in answer}


TYPED_MM = 0.006
"""A grip shown to a hundredth and sent back may differ by so much."""
LEARNED_SOURCE = "virtual pull, learned from real ones"


def use_allowance(book: Book, job_id: str, question: Question, *, answer: dict[str, Any], doing: Doing) -> JobState:
    """Use a virtual pull's allowance for a job, with its doubt and, where both ends are known, its window as *computed*.

    The inputs go on record with it, so that it can be run again. Raises Unsafe when the fold did not close or the job
    has another insert by now.
    """
    state, asked = book.job(job_id), question.request
    insert = insert_of(state)
    value, doubt = answer.get("set_allowance_mm"), answer.get("set_allowance_sd_mm")
    if value is None or doubt is None or value <= 0.0:
        raise Unsafe(
            "This pull gives no set allowance.", where="allowance", hint="Find it on coupons: “Find the allowance”."
        )
    if asked.grip_max_mm is None or abs(asked.grip_max_mm - insert.grip_max.mm) > TYPED_MM:
        raise Unsafe(
            "The job’s insert has another greatest grip than this pull.", where="allowance", hint="Pull it again."
        )
    target = float(value) + asked.grip_max_mm - insert.grip_max.mm  # the grip was typed, perhaps rounded
    allowance = Allowance(
        Length.from_mm(round(target, 3)),
        round(float(doubt), 4),
        LEARNED_SOURCE if question.measured.any else SOURCE,
    )
    planned: list[Planned] = [
        (
            "VirtuallyPulled",
            {"asked": {**request_to_json(asked), "measured": asdict(question.measured)}, "found": kept_of(answer)},
        ),
        ("AllowanceFound", {"allowance": allowance_to_json(allowance)}),
    ]
    low, high = answer["window"]["stroke_min_mm"], answer["window"]["stroke_max_mm"]
    if low is not None and high is not None and low < high and state.window is None:
        window = GivenWindow(Length.from_mm(round(low, 3)), Length.from_mm(round(high, 3)), "computed")
        planned.append(("WindowGiven", {"window": window_to_json(window)}))
    book.write(f"job:{job_id}", planned, doing)
    return book.job(job_id)

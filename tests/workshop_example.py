"""A workshop in a temporary folder with a clock that stands where it is put, and the acts that take a job along its path.

The tool behind the readings is the practice bench's simulated tool, so that readings are what a tool would give.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from firstpull.jobs import choose, dial_in, look_after, open_job, practice_bench, prove, set_up
from firstpull.jobs.workshop import Book, Doing, Workshop
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.stack import Layer, Stack
from firstpull.mechanics.tool import Tool
from firstpull.practice import Nominals, SimulatedTool
from firstpull.record.job import JobState
from firstpull.units import Length, parse_length, parse_torque

ADA = Doing("Ada")


@dataclass
class Clock:
    """A clock for tests: stands at ``now`` until it is put on."""

    now: datetime = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def put_on(self, **by: float) -> None:
        self.now += timedelta(**by)


@contextmanager
def open_workshop(folder: Path, clock: Clock | None = None) -> Iterator[Workshop]:
    """The workshop in ``folder``, closed at the end."""
    workshop = Workshop(folder, clock=clock or Clock())
    try:
        yield workshop
    finally:
        workshop.close()


def mm(text: str) -> Length:
    return parse_length(text, unit="mm")


def an_insert() -> Insert:
    """An M6 insert whose numbers are those of the simulated tool's default job."""
    return Insert(
        part="TEST-M6",
        thread="M6",
        material="steel",
        head="flat",
        end="open",
        length_free=mm("15.5"),
        grip_min=mm("0.5"),
        grip_max=mm("3.0"),
        set_allowance=mm("3.4"),
        set_allowance_min=mm("3.2"),
        set_allowance_max=mm("3.6"),
        flange_diameter=mm("12"),
        flange_thickness=mm("1.2"),
        body_diameter=mm("8.6"),
        hole_diameter=mm("8.7"),
        thread_length=mm("6.8"),
        setting_load_n=9000,
        tightening_torque_max_nm=8,
    )


def a_tool() -> Tool:
    return Tool(
        control="stroke",
        name="Test tool",
        lead_per_turn=mm("0.5"),
        clicks_per_turn=12,
        stroke_max=mm("8"),
        load_max_n=14000,
        rated_pressure_bar=6.2,
        line_pressure_bar=6.2,
        process_sd_mm=0.02,
    )


def a_stack() -> Stack:
    return Stack(
        (
            Layer("EN AW-5754", mm("2.0"), mm("0.09")),
            Layer("powder coat", mm("0.08"), mm("0.02"), coating=True, faces=2),
        ),
        tuple(mm(text) for text in ("2.16", "2.17", "2.15", "2.16", "2.16")),
        gauge_error_mm=0.01,
    )


def set_up_job(book: Book) -> JobState:
    """A job with tool T1, gauge C1, the test insert and a computed setting, every act at the tool done."""
    mandrel = {"id": "M6-a", "thread": "M6", "cycle_limit": 20000}
    look_after.add_tool(book, "T1", a_tool(), doing=ADA, service_every_cycles=5000, mandrels=(mandrel,))
    look_after.add_gauge(book, "C1", "Caliper 1", doing=ADA)
    job = open_job.open_job(book, "Battery tray lid M6", doing=ADA).id
    choose.describe_stack(book, job, a_stack(), doing=ADA)
    choose.take_insert_in_hand(book, job, an_insert(), doing=ADA)
    set_up.choose_tool(book, job, "T1", doing=ADA, mandrel_id="M6-a", gauge_id="C1")
    state = set_up.compute(book, job, doing=ADA)
    for act in set_up.acts(state):
        state = set_up.do_step(book, job, act["key"], doing=ADA)
    return dial_in.refresh_advice(book, job, ADA)


def simulated(seed: int = 5) -> SimulatedTool:
    return SimulatedTool.from_seed(seed, "steady", nominals=Nominals(thickness_mm=2.16))


def follow_advice(book: Book, job: str, tool: SimulatedTool) -> JobState:
    """Do what the advice says until it says release or refuses."""
    return practice_bench.follow_advice(book, job, tool, doing=ADA)


def good_finding(set_length: str = "11.26", *, cut: bool = True, torque: str | None = "12 Nm") -> prove.Finding:
    """A coupon on which everything is good."""
    checks = {kind.key: "pass" for kind in prove.CHECKS}
    if cut:
        checks["section"] = "pass"
    return prove.Finding(
        checks=checks,
        thickness=mm("2.16"),
        set_length=mm(set_length),
        torque=parse_torque(torque) if torque else None,
        arrangement="flange" if torque else "",
    )


def proven_job(book: Book) -> JobState:
    """A job that is dialled in and proven, one release away from its card."""
    state = set_up_job(book)
    state = follow_advice(book, state.id, simulated())
    assert (state.advice or {}).get("action") == "release", state.advice
    dial_in.hold(book, state.id, doing=ADA)
    dial_in.record_pull(book, state.id, mm("11.15"), doing=ADA)  # the confirming pull in the air, after locking
    for length in ("11.26", "11.27", "11.25"):
        state = prove.check_coupon(book, state.id, good_finding(length), doing=ADA)
    return state

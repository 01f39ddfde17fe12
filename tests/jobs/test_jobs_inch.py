"""An inch job from the stack to a stop in the run: exact values inside, inches in every sentence."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from firstpull.jobs import choose, dial_in, hand_over, look_after, open_job, prove, run_checks, set_up
from firstpull.jobs.workshop import Book
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.stack import Layer, Stack
from firstpull.mechanics.tool import Tool
from firstpull.practice import Nominals, SimulatedTool
from firstpull.record.job import JobState
from firstpull.units import Length, parse_length, parse_torque
from workshop_example import ADA, open_workshop


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with open_workshop(tmp_path) as workshop:
        yield workshop.bench


def inch(text: str) -> Length:
    return parse_length(text, unit="in")


def read(value_mm: float) -> Length:
    """What an inch caliper shows of a length, to half a thousandth."""
    return inch(f"{round(value_mm / 25.4 / 0.0005) * 0.0005:.4f}")


INSERT = Insert(
    part="TEST-1/4",
    thread="1/4-20",
    material="steel",
    head="flat",
    end="open",
    length_free=inch("0.610"),
    grip_min=inch("0.020"),
    grip_max=inch("0.118"),
    set_allowance=inch("0.134"),
    set_allowance_min=inch("0.126"),
    set_allowance_max=inch("0.142"),
    thread_length=inch("0.265"),
    setting_load_n=9000,
    tightening_torque_max_nm=8,
)
TOOL = Tool(
    control="stroke",
    name="Inch tool",
    lead_per_turn=inch("0.020"),
    clicks_per_turn=12,
    stroke_max=inch("0.315"),
    process_sd_mm=0.02,
)


def set_up_inch(book: Book) -> JobState:
    """A stack of 0.085 in under an insert of 0.118 in: stroke 0.118 − 0.085 + 0.134 = 0.167 in."""
    look_after.add_tool(book, "T1", TOOL, doing=ADA)
    job = open_job.open_job(book, "Bracket", doing=ADA, unit="in").id
    choose.describe_stack(book, job, Stack((Layer("steel", inch("0.085"), inch("0")),)), doing=ADA)
    choose.take_insert_in_hand(book, job, INSERT, doing=ADA)
    set_up.choose_tool(book, job, "T1", doing=ADA)
    set_up.compute(book, job, doing=ADA)
    return dial_in.refresh_advice(book, job, ADA)


def test_inches_are_exact_inside(book: Book) -> None:
    """Stroke 0.167 in, set length 0.443 in and its limits 0.435 to 0.451 in are whole nanometres, not roundings."""
    setting = set_up_inch(book).setting
    assert setting is not None
    assert setting["stroke_mm"] == 4.2418  # 0.167 · 25.4
    assert setting["set_length_mm"] == 11.2522  # 0.443 · 25.4
    assert (setting["set_length_min_mm"], setting["set_length_max_mm"]) == (11.049, 11.4554)  # 0.435, 0.451 · 25.4
    assert "0.2500" not in " ".join(setting["warnings"])
    assert not [text for text in setting["warnings"] if " mm" in text]


def test_the_advice_speaks_in_inches(book: Book) -> None:
    """The conversation is in inches: its target is 0.443 in and its window lies inside 0.435 to 0.451 in."""
    state = set_up_inch(book)
    request = dial_in.advise_request(state, None, None)
    assert request["job"]["units"] == "in"
    assert request["job"]["target_length"] == pytest.approx(0.443, abs=1e-9)
    low, high = request["job"]["window"]
    assert 0.435 < low < 0.443 < high < 0.451
    assert request["job"]["knob_lead"] == pytest.approx(0.020, abs=1e-9)


def walked(book: Book) -> JobState:
    """Dialled in on a simulated tool whose numbers are those of this job, proven and released."""
    state = set_up_inch(book)
    nominals = Nominals(
        lead_mm=0.508, insert_length_mm=15.494, grip_max_mm=2.9972, thickness_mm=2.159, set_allowance_mm=3.4036
    )
    tool = SimulatedTool.from_seed(7, "steady", nominals=nominals)
    for _act in range(60):
        reply = book.job(state.id).advice or {}
        if reply["action"] == "pull":
            where = "stack" if reply.get("where") == "stack" else "air"
            before = read(tool.next_length_before_mm)
            reading = read(tool.pull(where).reading_mm)
            dial_in.record_pull(book, state.id, reading, doing=ADA, where=where, length_before=before)
        elif reply["action"] == "turn":
            tool.turn_clicks(int(reply["clicks"]))
            cycles = int(reply.get("dry_cycles") or 0)
            for _cycle in range(cycles):
                tool.dry_cycle()
            dial_in.turn(book, state.id, doing=ADA, clicks=int(reply["clicks"]), dry_cycles=cycles)
        elif reply["action"] == "dry_cycle":
            tool.dry_cycle()
            dial_in.dry_cycle(book, state.id, doing=ADA)
        elif reply["action"] == "remeasure":
            taken = len(book.job(state.id).pulls[-1].readings)
            dial_in.read_again(book, state.id, read(tool.pulls[-1].read_again(taken)), doing=ADA)
        else:
            break
    dial_in.hold(book, state.id, doing=ADA)
    dial_in.record_pull(book, state.id, inch("0.441"), doing=ADA)
    checks = {kind.key: "pass" for kind in (*prove.CHECKS, prove.SECTION)}
    for length in ("0.443", "0.4435", "0.4425"):
        finding = prove.Finding(
            checks=checks, set_length=inch(length), torque=parse_torque("106 lbf·in"), arrangement="flange"
        )
        prove.check_coupon(book, state.id, finding, doing=ADA)
    return hand_over.release(book, state.id, doing=ADA)


def test_an_inch_job_goes_to_its_card_and_its_stop(book: Book) -> None:
    """Held near the target in mm, a card without a word in mm, and a stop that names the limit in inches."""
    state = walked(book)
    assert (state.held or {})["estimate_mm"] == pytest.approx(11.2522, abs=0.2)
    card = hand_over.card_of(book, state)
    words = " ".join([*card["valid_until"], card["proof"]["dial_in"], *(row["source"] for row in card["sources"])])
    assert " mm" not in words
    assert "0.0850 to 0.0850 in" in words
    shift = card["setting"]["air_to_stack_mm"]
    assert shift == pytest.approx(0.002 * 25.4, abs=1e-6)  # 0.443 − 0.441 in
    low, _high = run_checks.length_limits_mm(state, in_air=True)
    assert low == pytest.approx((0.435 - 0.002) * 25.4, abs=1e-6)
    found = run_checks.Found(kind="tool", count=5, set_length=inch("0.432"))
    state = run_checks.record_check(book, state.id, found, doing=ADA)
    assert state.stops[-1].reason == "The set length (0.432) is below 0.4330 in."

"""The virtual pull's pages: four screens filled in from what is known, a pull with its stop, its answer and its use."""

from __future__ import annotations

import html
import re
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from firstpull.errors import BadInput
from firstpull.jobs import catalogue, set_up
from firstpull.jobs.long_work import LongWork
from firstpull.jobs.virtual_ask import request_from_json
from firstpull.jobs.virtual_pull import shift_of
from firstpull.jobs.virtual_work import Question
from firstpull.jobs.workshop import Book
from firstpull.mechanics.cover import Progress
from firstpull.units import parse_length
from web.bench_client import TestClient
from web.bench_desk import ADA, bench, fields, m6, stacked_job

Desk = tuple[TestClient, Book]
SHAPE = {
    "body_diameter": "9 mm",
    "counterbore_diameter": "7.2 mm",
    "unthreaded_length": "7.5 mm",
    "thread_length": "6 mm",
    "flange_diameter": "13 mm",
    "flange_thickness": "1.5 mm",
    "hole_diameter": "9.1 mm",
}
ANSWER: dict[str, Any] = {
    "stroke_mm": [0.0, 1.0, 4.0],
    "force_n": [0.0, 9_000.0, 12_000.0],
    "events": {
        "peak": {"stroke_mm": 1.0, "force_n": 9_000.0},
        "minimum": None,
        "closure": {"stroke_mm": 3.6, "force_n": 10_500.0},
        "seating": {"stroke_mm": 3.7, "force_n": 11_000.0},
    },
    "contact": {"stroke_mm": 1.5, "force_n": 8_800.0},
    "stroke_plus_thickness_mm": 5.6,
    "set_allowance_mm": 2.6,
    "set_allowance_sd_mm": 0.15,
    "air_to_stack_mm": 0.06,
    "clamp_n": 1_200.0,
    "setting_load_n": 10_500.0,
    "mandrel_stress_mpa": 520.0,
    "strip_margin": 1.3,
    "mandrel_proof_margin": 1.9,
    "blind_head_diameter_mm": 12.4,
    "room_before_mm": 11.5,
    "room_after_mm": 7.9,
    "window": {
        "stroke_min_mm": 3.7,
        "min_by": "Less leaves too little clamp on the sheet.",
        "stroke_max_mm": 4.2,
        "max_by": "More, and the engaged threads would strip (margin 1.25).",
        "preload_n": None,
        "source": "computed",
        "ceilings": [],
        "notes": ["The screw’s preload is not known: only the clamp counts for the lower end."],
    },
    "energy_error": 0.001,
    "limits": ["Cracking is not modelled: a brittle lot may split where this bulges."],
    "sensitivity": [{"what": "hole", "target_mm": 0.1, "text": "Hole 0.2 mm wider: 0.10 mm more allowance."}],
    "stages": [
        {
            "stroke_mm": s,
            "force_n": 0.0,
            "insert": [[4.5, 0.0], [6.5, 0.0], [6.5, 1.5], [3.6, 1.5], [3.6, -9.0 + s]],
            "sheet": None,
        }
        for s in (0.0, 1.3, 2.6, 4.0)
    ],
}


class Held:
    """Pulls that go on until they are let go or stopped."""

    def __init__(self, client: TestClient) -> None:
        self.go = threading.Event()
        self.work: LongWork[Question, dict[str, Any]] = LongWork(self.perform, at_once=1)
        client.app.state.virtual_pulls = self.work  # type: ignore[attr-defined]

    def perform(
        self, _asked: Question, stopped: Callable[[], bool], tell: Callable[[Progress], None]
    ) -> dict[str, Any]:
        tell(Progress("pull", 30, 100, None))
        while not self.go.is_set():
            if stopped():
                raise BadInput("The virtual pull was stopped.", hint="Nothing was kept. Start it again.")
            time.sleep(0.005)
        return ANSWER


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """A job with a stack and an insert whose shape is known."""
    with bench(tmp_path / "data") as (client, book):
        row = replace(
            m6("SHAPED"),
            material="steel",
            length_free=parse_length("15 mm"),
            **{name: parse_length(text) for name, text in SHAPE.items()},
        )
        catalogue.add_measured(book, row, doing=ADA)
        stacked_job(book, part="SHAPED")
        yield client, book
        client.app.state.virtual_pulls.close()  # type: ignore[attr-defined]


def address(book: Book) -> str:
    job = book.store.streams("job")[0].partition(":")[2]
    return f"/bench/jobs/{job}/virtual-pull"


def begin(client: TestClient, page: str) -> str:
    """Go through the four screens; where the pull is."""
    text = client.get(page).text
    for _screen in range(3):
        text = client.post(page, data={**fields(text), **_typed(text), "do": "next"}).text
    answer = client.post(page, data={**fields(text), **_typed(text), "do": "next"})
    assert answer.status_code == 303, html.unescape(answer.text)
    return str(answer.headers["location"])


def _typed(page: str) -> dict[str, str]:
    found = dict(re.findall(r'<input[^>]*\bid="(\w+)"[^>]*\bvalue="([^"]*)"', page))
    found |= {name: value for name, value in re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page)}
    chosen = re.findall(r'type="radio"[^>]*name="(\w+)"[^>]*value="([^"]*)"[^>]*checked', page)
    return found | dict(chosen)


def test_the_screens_are_filled_in_from_the_row_and_the_stack(desk: Desk) -> None:
    """The shank of the catalogue's row stands in its fields, and a missing measure is said under its own."""
    client, book = desk
    page = client.get(address(book)).text
    assert 'value="9.00 mm"' in page
    assert 'value="7.20 mm"' in page
    refused = client.post(
        address(book), data={**fields(page), **_typed(page), "do": "next", "counterbore_diameter": ""}
    )
    assert refused.status_code == 422
    assert "This measure is needed." in refused.text
    focused = [tag for tag in re.findall(r"<input[^>]*>", refused.text) if " autofocus" in tag]
    assert len(focused) == 1
    assert 'name="counterbore_diameter"' in focused[0]


def test_a_pull_can_be_stopped_and_nothing_is_kept(desk: Desk) -> None:
    """While it runs the page has a stop; stopped, it says so, and the job's record is as before."""
    client, book = desk
    Held(client)
    before = book.store.last(book.store.streams("job")[0])
    pull = begin(client, address(book))
    assert "Stop" in client.get(pull).text
    assert client.post(pull, data={"do": "stop"}).status_code == 303
    until = time.monotonic() + 10
    while "was stopped" not in (page := html.unescape(client.get(pull).text)):
        assert time.monotonic() < until
        time.sleep(0.02)
    assert "Use as set allowance" not in page
    assert book.store.last(book.store.streams("job")[0]) == before


def test_the_answer_is_used_with_its_source_doubt_window_and_inputs(desk: Desk) -> None:
    """“Use as set allowance” puts value, doubt, computed limits and the question on record; the shift can be read."""
    client, book = desk
    held = Held(client)
    pull = begin(client, address(book))
    held.go.set()
    until = time.monotonic() + 10
    while "Set allowance 2.60 ± 0.30 mm" not in (page := html.unescape(client.get(pull).text)):
        assert time.monotonic() < until
        time.sleep(0.02)
    for said in ("blind-side contact: 1.50 mm", "engaged threads would strip", "Hole 0.2 mm wider", "Cracking"):
        assert said in page
    answer = client.post(pull, data={**fields(page), "do": "use"})
    assert answer.status_code == 303, html.unescape(answer.text)
    state = book.job(book.store.streams("job")[0].partition(":")[2])
    assert state.allowance is not None
    assert (state.allowance["source"], state.allowance["sd_mm"]) == ("virtual pull", 0.15)
    assert state.window is not None
    assert state.window["source"] == "computed"
    assert shift_of(state) == (0.06, 0.05, "virtual pull")
    assert state.simulated is not None
    asked = request_from_json({name: one for name, one in state.simulated["asked"].items() if name != "measured"})
    assert asked.case.outer_diameter_mm == 9.0
    assert "Virtual pull: set allowance 2.60" in html.unescape(client.get(f"/bench/jobs/{state.id}/record").text)


def test_learning_refuses_what_is_no_numbers_and_keeps_it_in_the_field(desk: Desk) -> None:
    """A typed word is said to be no number and still stands there; good rows begin another pull."""
    client, book = desk
    held = Held(client)
    pull = begin(client, address(book))
    held.go.set()
    refused = client.post(f"{pull}/learn", data={"inserts": "rubbish here\nx y", "curve": ""})
    assert refused.status_code == 422
    assert "x y" in refused.text
    good = client.post(f"{pull}/learn", data={"inserts": "2.5 10.9 -", "curve": ""})
    assert good.status_code == 303
    assert good.headers["location"] != pull


def test_the_ways_to_a_virtual_pull(desk: Desk) -> None:
    """An insert's page, the question for the set allowance and the allowance ladder lead to it."""
    client, book = desk
    job = address(book).rpartition("/")[0]
    assert "/inserts/virtual-pull?part=SHAPED" in client.get("/inserts/row?part=SHAPED").text
    set_up.choose_tool(book, job.rpartition("/")[2], book.tools()[0].id, doing=ADA)
    assert f"{job}/virtual-pull" in client.get(f"{job}/set-up?ask=allowance").text
    assert f"{job}/virtual-pull" in client.get(f"{job}/find-allowance").text

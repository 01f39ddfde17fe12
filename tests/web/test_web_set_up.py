"""The set-up page: its answers in order, the setting, the acts, and the ways back."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from firstpull.jobs import set_up
from firstpull.jobs.workshop import Book
from web.bench_client import TestClient
from web.bench_desk import ADA, bench, fields, stacked_job

Desk = tuple[TestClient, Book]


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with bench(tmp_path / "data") as both:
        yield both


def _post(client: TestClient, address: str, **data: str) -> tuple[int, str, str]:
    form = fields(client.get(address).text)
    answer = client.post(address, data={**form, **data})
    return answer.status_code, answer.text, answer.headers.get("location", "")


def test_the_answers_lead_to_the_acts_and_the_acts_to_dial_in(desk: Desk) -> None:
    """Tool, mandrel, gauge, allowance, compute; then one act at a time, air off first; then the tool is ready."""
    client, book = desk
    page = f"/bench/jobs/{stacked_job(book, part='OUR-M6')}/set-up"
    assert "Which tool sets it?" in client.get(page).text
    assert _post(client, f"{page}?ask=tool", tool="A")[2] == f"{page}?ask=mandrel"
    assert _post(client, f"{page}?ask=mandrel", mandrel="M6-a")[2] == f"{page}?ask=gauge"
    assert _post(client, f"{page}?ask=gauge", gauge="C1")[2] == f"{page}?ask=allowance"
    assert _post(client, f"{page}?ask=allowance", allowance="offer 0")[2] == f"{page}?ask=present"
    assert _post(client, f"{page}?ask=present")[2] == page
    job = book.job("tray-lid")
    assert job.setting is not None
    assert job.setting["stroke_mm"] == 2.9
    assert (job.mandrel or {})["id"] == "M6-a"
    assert job.gauge_id == "C1"
    text = client.get(page).text
    assert "Act 1 of" in text
    assert "Air is off" in text
    assert "2.90" in text
    assert "<svg" in text
    for act in set_up.acts(job):
        status, _text, _to = _post(client, page, do=f"done {act['key']}")
        assert status == 303
    text = client.get(page).text
    assert "The tool is ready." in text
    assert "/dial-in" in text
    assert "saves inserts" in text


def _computed(client: TestClient, book: Book) -> str:
    job = stacked_job(book, part="OUR-M6")
    set_up.choose_tool(book, job, "A", doing=ADA, mandrel_id="M6-a", gauge_id="C1")
    set_up.compute(book, job, doing=ADA)
    return f"/bench/jobs/{job}/set-up"


def test_a_known_knob_is_placed_without_undoing_the_acts(desk: Desk) -> None:
    """What an air pull sets now gives the clicks to turn; the acts that are done stay done."""
    client, book = desk
    page = _computed(client, book)
    for key in ("air_off", "mandrel", "engagement", "anvil"):
        _post(client, page, do=f"done {key}")
    assert _post(client, f"{page}?ask=present", present="13.3")[2] == page
    text = client.get(page).text
    assert "24 clicks clockwise" in text
    assert "Act 5 of" in text
    assert "air_off" in book.job("tray-lid").steps_done


def test_a_typed_allowance_needs_its_source(desk: Desk) -> None:
    """A value without its source is asked for it and stays typed; with it, the source stands in the setting."""
    client, book = desk
    page = f"/bench/jobs/{stacked_job(book, part='OUR-M6-BARE')}/set-up"
    _post(client, f"{page}?ask=tool", tool="A")
    status, text, _to = _post(client, f"{page}?ask=allowance", allowance="typed", value="1.95")
    assert status == 422
    assert "Where does it come from?" in text
    assert 'value="1.95"' in text
    _post(client, f"{page}?ask=allowance", allowance="typed", value="1.95", source="our own sheet")
    _post(client, f"{page}?ask=window", stroke_min="2.8", stroke_max="3.1")
    _post(client, f"{page}?ask=present")
    setting = book.job("tray-lid").setting
    assert setting is not None
    assert (setting["set_allowance_source"], setting["window_source"], setting["releasable"]) == (
        "our own sheet",
        "given",
        True,
    )


def test_limits_the_wrong_way_round_are_refused(desk: Desk) -> None:
    """The least stroke must be below the greatest; nothing is written."""
    client, book = desk
    page = _computed(client, book)
    before = book.store.last("job:tray-lid")
    status, text, _to = _post(client, f"{page}?ask=window", stroke_min="3.2", stroke_max="2.8")
    assert status == 422
    assert 'value="3.2"' in text
    assert book.store.last("job:tray-lid") == before


def test_a_tool_with_too_little_stroke_is_refused_with_those_that_can(desk: Desk) -> None:
    """The short tool's reason is said, and the tool that can is one tap away."""
    client, book = desk
    page = f"/bench/jobs/{stacked_job(book, part='OUR-M6')}/set-up"
    _post(client, f"{page}?ask=tool", tool="S")
    status, text, _to = _post(client, f"{page}?ask=present")
    assert status == 409
    assert "cannot set this insert" in text
    assert "A (Bench tool)" in text
    assert book.job("tray-lid").setting is None
    _post(client, f"{page}?ask=present", do="tool A")
    assert book.job("tray-lid").tool_id == "A"


def test_another_answer_says_what_becomes_stale(desk: Desk) -> None:
    """Going back to an answer warns that the setting falls, and changing it asks to compute again."""
    client, book = desk
    page = _computed(client, book)
    assert "makes the setting stale" in client.get(f"{page}?ask=window").text
    assert _post(client, f"{page}?ask=window", stroke_min="2.8", stroke_max="3.0")[2] == f"{page}?ask=present"
    assert book.job("tray-lid").setting is None


def test_sentences_are_in_the_persons_unit(desk: Desk) -> None:
    """In inches no length of the page is in mm."""
    client, book = desk
    page = _computed(client, book)
    client.cookies.set("firstpull_unit", "in")
    text = client.get(page).text
    assert "0.1142" in text
    assert " mm." not in text
    assert " mm " not in text.split("<main")[1]


@pytest.mark.parametrize(
    "address", ["/shed/jobs/tray-lid/set-up", "/bench/jobs/none/set-up", "/bench/jobs/tray-lid/set-up?ask=x"]
)
def test_what_is_not_there_is_not_found(desk: Desk, address: str) -> None:
    """Another room, job or question is 404."""
    client, book = desk
    stacked_job(book, part="OUR-M6")
    assert client.get(address).status_code == 404


def test_without_an_insert_the_set_up_sends_to_choose(desk: Desk) -> None:
    """There is nothing to set up before an insert is chosen."""
    client, book = desk
    job = stacked_job(book)
    assert client.get(f"/bench/jobs/{job}/set-up").headers["location"] == f"/bench/jobs/{job}/choose"

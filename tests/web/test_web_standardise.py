"""The pages of the fewest part numbers: tick jobs, a search with its own address, stop, the answer, the table out."""

from __future__ import annotations

import csv
import html
import io
import re
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from firstpull.errors import BadInput
from firstpull.jobs import catalogue, choose, open_job
from firstpull.jobs.long_work import LongWork
from firstpull.jobs.standardise_search import Answer, Question, Searches, searches
from firstpull.jobs.workshop import Book
from firstpull.mechanics.cover import Progress
from firstpull.mechanics.needs import Needs
from firstpull.mechanics.stack import Layer, Stack
from firstpull.units import parse_length
from firstpull.web.standardise import typed_margin
from web.bench_client import TestClient
from web.bench_desk import ADA, bench, fields, m6, stacked_job

Desk = tuple[TestClient, Book]
PAGE = "/inserts/fewest"


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """Two jobs that can take part (one too thick for every row but one), and one without a stack."""
    with bench(tmp_path / "data") as (client, book):
        row = replace(
            m6("LONG"),
            grip_min=parse_length("1 mm"),
            grip_max=parse_length("5.5 mm"),
            length_free=parse_length("18 mm"),
        )
        catalogue.add_measured(book, row, doing=ADA)
        stacked_job(book)
        beam = open_job.open_job(book, "Beam", doing=ADA).id
        choose.describe_stack(book, beam, Stack((Layer("EN AW-5754", parse_length("4 mm")),)), doing=ADA)
        choose.state_needs(book, beam, Needs(thread="M6"), doing=ADA)
        open_job.open_job(book, "Bare", doing=ADA)
        yield client, book
        client.app.state.searches.close()  # type: ignore[attr-defined]


def ticked(page: str) -> list[str]:
    """The jobs that are ticked, in the order of the page."""
    return re.findall(r'<input type="checkbox" name="job" value="([^"]+)"[^>]* checked>', page)


def start(client: TestClient, **more: Any) -> str:
    """Start a search for both jobs; its address."""
    form = {"job": ["tray-lid", "beam"], "margin": "10", "picked": "yes", "do": "start", **more}
    answer = client.post(PAGE, data=form)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def found(client: TestClient, address: str) -> str:
    """The page once the search is over."""
    until = time.monotonic() + 30
    while 'id="progress"' in (page := html.unescape(client.get(address).text)):
        assert time.monotonic() < until
        time.sleep(0.02)
    return page


class Held:
    """A search that goes on until it is let go."""

    def __init__(self, client: TestClient) -> None:
        self.go = threading.Event()
        self.work: Searches = LongWork(self.perform, at_once=1)
        client.app.state.searches = self.work  # type: ignore[attr-defined]

    def perform(self, asked: Question, stopped: Callable[[], bool], tell: Callable[[Progress], None]) -> Answer:
        tell(Progress("items", 1, 6, 7, 5))
        while not (self.go.is_set() or stopped()):
            time.sleep(0.005)
        raise BadInput(f"It was let go with {len(asked.joints)} joints.", hint="Only here.")


@pytest.fixture
def held(desk: Desk) -> Held:
    return Held(desk[0])


def test_the_inserts_lead_there_and_all_that_can_take_part_is_ticked(desk: Desk) -> None:
    """The list of inserts has the link; jobs with stack and thread are ticked, another says what it lacks and where."""
    client, _book = desk
    assert f'href="{PAGE}"' in client.get("/inserts").text
    page = client.get(PAGE).text
    assert ticked(page) == ["beam", "tray-lid"]
    assert "Its stack is not described." in page
    assert 'href="/bench/jobs/bare/choose"' in page
    assert "4.00 mm" in page
    assert 'name="margin" value="10"' in page


def test_ticks_are_kept_and_turned_by_the_buttons(desk: Desk) -> None:
    """All, none, and what a search does not show stays ticked and is carried."""
    client, _book = desk
    assert ticked(client.get(f"{PAGE}?picked=yes&job=beam&do=find").text) == ["beam"]
    assert ticked(client.get(f"{PAGE}?picked=yes&job=beam&do=none").text) == []
    assert ticked(client.get(f"{PAGE}?picked=yes&do=all").text) == ["beam", "tray-lid"]
    page = client.get(f"{PAGE}?picked=yes&job=beam&q=tray&do=find").text
    assert ticked(page) == []
    assert '<input type="hidden" name="job" value="beam">' in page
    assert "1 ticked ones are not shown." in page
    assert "No job has all these words." in client.get(f"{PAGE}?q=zzz").text
    assert ticked(client.post(PAGE, data={"picked": "yes", "do": "all"}).text) == ["beam", "tray-lid"]


def test_enter_in_the_search_finds_and_elsewhere_starts(desk: Desk) -> None:
    """The Enter key lists when the search was changed, else it starts."""
    client, _book = desk
    form = {"job": ["beam"], "margin": "10", "picked": "yes", "do": "enter", "was": ""}
    listed = client.post(PAGE, data={**form, "q": "tray"})
    assert (listed.status_code, "Tray lid" in listed.text) == (200, True)
    assert client.post(PAGE, data={**form, "q": "tray", "was": "tray"}).status_code == 303


def test_a_search_ends_at_who_takes_what(desk: Desk) -> None:
    """One part for both jobs, its joints with margin and price, the mandrel needed and where the shop has it."""
    client, book = desk
    before = {stream: book.store.last(stream) for stream in book.store.streams()}
    page = found(client, start(client))
    assert "1 part number for 2 joints." in page
    assert re.search(r"Asked for</dt><dd>10\u00a0%</dd>", page)
    assert "Proven: no smaller set serves these joints" in page
    assert 'href="/inserts/row?part=LONG"' in page
    assert re.search(r'Tray lid</a>.*?<b>44\u00a0%</b><br><span class="quiet">grip</span>', page, re.DOTALL)
    assert "36 points; own best OUR-M6" in page
    assert "Mandrel M6x1" in page
    assert "M6-a (A)" in page
    assert {stream: book.store.last(stream) for stream in book.store.streams()} == before


def test_the_answer_comes_out_as_csv(desk: Desk) -> None:
    """The table has a row a joint and a name of its own; before there is an answer it is refused."""
    client, _book = desk
    address = start(client)
    found(client, address)
    answer = client.get(f"{address}/answer.csv")
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert 'filename="fewest-part-numbers-10-percent.csv"' in answer.headers["content-disposition"]
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [(row["joint"], row["part"]) for row in rows] == [("Tray lid", "LONG"), ("Beam", "LONG")]


def test_who_is_not_served_is_said_in_the_persons_unit(desk: Desk) -> None:
    """At 70 % nothing serves the beam: the reason has mm or inches as the person works, whatever it was started in."""
    client, _book = desk
    address = start(client, margin="70")
    page = found(client, address)
    assert "1 joint is not served" in page
    assert "Grip 1.00 to 5.50 mm" in page
    client.cookies.set("firstpull_unit", "in")
    inches = html.unescape(client.get(address).text)
    assert "Grip 0.0394 to 0.2165 in" in inches
    assert " mm" not in re.sub(r"<[^>]*>", "", inches.split("<main")[1].split("</main>")[0])


def test_tools_and_estimates_can_be_asked_for(desk: Desk) -> None:
    """With a tool ticked each joint has one; one with too little stroke serves nothing; the way back keeps the ticks."""
    client, _book = desk
    page = found(client, start(client, tool=["A"], worst="yes"))
    assert "set with A" in page
    again = re.search(r'href="(/inserts/fewest\?[^"]+)"', page)
    assert again is not None
    form = client.get(again[1]).text
    assert sorted(ticked(form)) == ["beam", "tray-lid"]
    assert re.search(r'name="tool" value="A" checked', form)
    assert re.search(r'name="worst" value="yes" checked', form)
    short = found(client, start(client, tool=["S"]))
    assert "1 joint is not served" in short
    assert "not checked: tool" in short  # a row without set allowance: whether the tool can is not known


def test_a_job_that_cannot_take_part_is_said_and_can_be_left_out(desk: Desk) -> None:
    """It is refused with the job, what it lacks and what to do; “leave out” starts without it."""
    client, _book = desk
    form = {"job": ["beam", "bare"], "margin": "10", "picked": "yes"}
    refused = client.post(PAGE, data={**form, "do": "start"})
    assert refused.status_code == 409
    assert "Bare: Its stack is not described. Describe the stack." in refused.text
    assert sorted(ticked(refused.text)) == ["bare", "beam"]
    assert 'value="leave_out"' in refused.text
    started = client.post(PAGE, data={**form, "do": "leave_out"})
    assert "1 part number for 1 joint." in found(client, started.headers["location"])
    none = client.post(PAGE, data={"job": ["bare"], "margin": "10", "do": "leave_out"})
    assert (none.status_code, "No job is left." in none.text) == (422, True)


@pytest.mark.parametrize(
    ("form", "said", "status"),
    [
        ({"job": []}, "No job is ticked.", 422),
        ({"margin": "100"}, "from 0 to under 100 %", 422),
        ({"margin": "-5"}, "from 0 to under 100 %", 422),
        ({"margin": "much"}, "That is not a margin.", 422),
        ({"margin": "1e999"}, "That is not a margin.", 422),
        ({"job": ["never"]}, "There is no job “never”.", 422),
        ({"tool": ["never"]}, "There is no tool “never”.", 422),
        ({"job": [f"j{n}" for n in range(501)]}, "501 jobs are ticked.", 422),
    ],
)
def test_what_cannot_be_is_said_with_the_ticks_kept(desk: Desk, form: dict[str, Any], said: str, status: int) -> None:
    """Wrong margins, jobs and tools are said in our words; nothing is started."""
    client, _book = desk
    data = {"job": ["tray-lid", "beam"], "margin": "10", "picked": "yes", "do": "start", **form}
    answer = client.post(PAGE, data=data)
    assert answer.status_code == status
    assert said in html.unescape(answer.text)
    if form.get("job") is None:
        assert sorted(ticked(answer.text)) == ["beam", "tray-lid"]


def test_a_margin_is_a_percentage() -> None:
    """With or without the sign, with a comma or a point."""
    assert [typed_margin(text) for text in ("10", " 12,5 % ", "0", "0.5", "99.999")] == [0.1, 0.125, 0.0, 0.005, 0.9999]


def test_an_empty_catalogue_is_said(desk: Desk) -> None:
    """Without a row there is nothing to search among."""
    client, book = desk
    for part in list(book.inserts()):
        catalogue.retire(book, part, reason="no longer bought", doing=ADA)
    answer = client.post(PAGE, data={"job": ["beam"], "margin": "10", "do": "start"})
    assert (answer.status_code, "The catalogue is empty." in answer.text) == (422, True)


def test_while_it_searches_the_page_says_how_far_and_loads_itself_again(desk: Desk, held: Held) -> None:
    """Step, best so far and what is certainly needed; with scripts a part of the page moves, without the page reloads."""
    client, _book = desk
    address = start(client)
    until = time.monotonic() + 10
    while "Certainly needed" not in (page := client.get(address).text):
        assert time.monotonic() < until
    assert '<noscript><meta http-equiv="refresh" content="2"></noscript>' in page
    assert f'hx-get="{address}/progress" hx-trigger="every 1s"' in page
    assert re.search(r"Part numbers so far</dt><dd>7</dd>", page)
    assert re.search(r"Certainly needed</dt><dd>5</dd>", page)
    moving = client.get(f"{address}/progress")
    assert moving.text.lstrip().startswith('<div class="sheet-text')
    assert "hx-refresh" not in moving.headers
    assert client.get(f"{address}/answer.csv").status_code == 409
    held.go.set()
    assert "It was let go with 2 joints." in found(client, address)
    assert client.get(f"{address}/progress").headers["hx-refresh"] == "true"


def test_a_search_can_be_stopped_and_another_waits(desk: Desk, held: Held) -> None:
    """Each has its own address; stopping one lets the next begin, and stopping it again does no harm."""
    client, _book = desk
    first, second = start(client), start(client, margin="20")
    assert first != second
    until = time.monotonic() + 10
    while "Searching." not in client.get(first).text:
        assert time.monotonic() < until
    assert "it waits for its turn" in client.get(second).text
    for _again in range(2):
        stopped = client.post(first, data={"do": "stop"})
        assert (stopped.status_code, stopped.headers["location"]) == (303, first)
    assert "It was let go" in found(client, first)
    client.post(second, data={"do": "stop"})
    found(client, second)


def test_a_button_pressed_twice_starts_one_search(desk: Desk, held: Held) -> None:
    """The page's own id makes the second press the first one's search."""
    client, _book = desk
    page = client.get(PAGE).text
    slip = fields(page).get("client_id", "")
    assert slip
    assert start(client, client_id=slip) == start(client, client_id=slip)
    assert held.work is client.app.state.searches  # type: ignore[attr-defined]


def test_a_search_that_is_gone_is_said(desk: Desk) -> None:
    """An unknown or dropped search is a page with what to do; the moving part asks for that page."""
    client, _book = desk
    for method, address in (("GET", f"{PAGE}/never"), ("POST", f"{PAGE}/never"), ("GET", f"{PAGE}/never/answer.csv")):
        answer = client.request(method, address)
        assert answer.status_code == 404
        assert "This search is not here any longer." in answer.text
    assert client.get(f"{PAGE}/never/progress").headers["hx-refresh"] == "true"


def test_when_the_server_ends_searches_end(desk: Desk) -> None:
    """The end of the application stops what is searching, and nothing can be started after it."""
    client, book = desk
    held = Held(client)
    real = searches()
    client.app.state.searches = held.work  # type: ignore[attr-defined]
    start(client)
    held.work.close(wait_s=5)
    refused = client.post(PAGE, data={"job": ["beam"], "margin": "10", "do": "start"})
    assert (refused.status_code, "Too many searches" in refused.text) == (422, True)
    real.close()
    with bench(book.path.parent / "other") as (other, _other_book), other:
        pass
    assert other.app.state.searches._closed  # type: ignore[attr-defined]

"""Find the insert in my hand: one question at a time, the answers in the address, nothing written."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from firstpull.jobs import catalogue
from firstpull.jobs.workshop import CATALOGUE, Book, Workshop
from firstpull.units import parse_length
from firstpull.web.bench import create_bench
from web.bench_client import TestClient
from web.bench_desk import ADA, CLOCK, bench, m6, stacked_job

Desk = tuple[TestClient, Book]
PAGE = "/inserts/identify"


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with bench(tmp_path / "data") as (client, book):
        catalogue.add_measured(book, replace(m6("LONG"), length_free=parse_length("18 mm"), end="closed"), doing=ADA)
        wide = replace(m6("WIDE"), flange_diameter=parse_length("15 mm"))
        catalogue.add_measured(book, wide, doing=ADA)
        catalogue.retire(book, "OUR-M6-BARE", reason="only in the way here", doing=ADA)
        yield client, book


def question(page: str) -> str:
    """The page's question."""
    found = re.search(r'<h1 id="question"[^>]*>([^<]*)</h1>', page)
    assert found is not None, page
    return html.unescape(found[1])


def test_it_begins_with_the_thread_and_is_linked_from_the_catalogue_and_the_opening(desk: Desk) -> None:
    """The first question is the thread; the list of inserts and the opening “insert in my hand” lead here."""
    client, _book = desk
    assert question(client.get(PAGE).text) == "Which thread has it?"
    for place in ("/inserts", "/inserts/in-hand"):
        assert f'href="{PAGE}"' in client.get(place).text


def test_it_asks_what_decides_until_the_row_is_known(desk: Desk) -> None:
    """Thread, then free length, then the flange that tells two rows apart, then the row with a way to open it."""
    client, _book = desk
    page = client.get(f"{PAGE}?thread=M6&asked=thread&do=next").text
    assert question(page) == "How long is it?"
    page = client.get(f"{PAGE}?thread=M6&free_length=15.2&asked=free_length&do=next").text
    assert question(page) == "How wide is its flange?"
    assert 'name="free_length" value="15.2 mm"' in page
    page = client.get(f"{PAGE}?thread=M6&free_length=15.2+mm&flange_diameter=13&asked=flange_diameter&do=next").text
    assert question(page).startswith("Most likely OUR-M6, ")
    assert 'href="/inserts/row?part=OUR-M6"' in page
    chances = re.findall(r'<td class="number">([^<]*)</td><td[^>]*>(?:<a[^>]*>)?([^<]*)', page)
    assert chances[0][1] == "OUR-M6"
    assert chances[-1] == ("under 1\u00a0%", "none of these: ")


def test_what_cannot_be_told_is_not_asked_again(desk: Desk) -> None:
    """“I cannot tell” passes on to the next best question, and stays passed over."""
    client, _book = desk
    page = client.get(f"{PAGE}?thread=M6&asked=free_length&do=skip").text
    assert question(page) != "How long is it?"
    assert 'name="skipped" value="free_length"' in page
    assert question(client.get(f"{PAGE}?asked=thread&do=skip").text) == "How long is it?"


def test_when_nothing_more_can_be_told_several_are_named(desk: Desk) -> None:
    """With every other question passed over, the page says that several are possible."""
    client, _book = desk
    rest = "free_length,end,head,flange_diameter,body_diameter,body,head_marks"
    assert question(client.get(f"{PAGE}?thread=M6&skipped={rest}").text) == "Several are possible."


def test_an_answer_can_be_changed(desk: Desk) -> None:
    """Each answer given has a way back to its question, with what was typed in the field."""
    client, _book = desk
    page = client.get(f"{PAGE}?thread=M6&free_length=15.2+mm").text
    assert f"{PAGE}?thread=M6&amp;free_length=15.2+mm&amp;ask=free_length" in page
    again = client.get(f"{PAGE}?thread=M6&free_length=15.2+mm&ask=free_length").text
    assert question(again) == "How long is it?"
    assert 'id="free_length" name="free_length" value="15.2 mm"' in again


def test_a_stranger_is_said_with_a_way_to_measure_it_in(desk: Desk) -> None:
    """A length that no row has ends at “not in the catalogue”, with what does not fit."""
    client, _book = desk
    page = client.get(f"{PAGE}?thread=M6&free_length=16.6&asked=free_length&do=next").text
    assert question(page) == "It is probably not in the catalogue."
    assert "free length 16.60 mm, its row says" in page
    assert 'href="/inserts/in-hand?thread=M6&amp;free_length' not in page
    assert 'href="/inserts/in-hand?thread=M6&amp;length_free=16.6+mm"' in page


def test_parts_that_look_alike_are_said(desk: Desk) -> None:
    """Twins end the questions: no measurement tells them apart, and what differs is named."""
    client, book = desk
    catalogue.add_measured(book, replace(m6("TWIN"), material="stainless A2"), doing=ADA)
    address = (
        f"{PAGE}?thread=M6&free_length=15.2+mm&flange_diameter=13+mm&body_diameter=9+mm&end=open&head=flat&body=round"
    )
    page = client.get(address).text
    assert question(page) == "One of 2 that look alike."
    assert "They differ in material" in page


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("thread=M66&asked=thread&do=next", "M66"),
        ("thread=M6&free_length=long&asked=free_length&do=next", "long"),
        ("thread=M6&free_length=-3&asked=free_length&do=next", "A length is more than nothing."),
        ("thread=M6&end=ajar&asked=end&do=next", "ajar"),
        ("thread=M6&head_marks=99&asked=head_marks&do=next", "99 marks cannot be right."),
        ("thread=M6&head_marks=one&asked=head_marks&do=next", "How many marks?"),
        (f"thread={'M' * 200}&asked=thread&do=next", "That is too long."),
        ("thread=&asked=thread&do=next", "There is no answer yet."),
        ("thread=M6&end=&asked=end&do=next", "There is no answer yet."),
    ],
)
def test_a_wrong_answer_is_said_under_its_field(desk: Desk, query: str, said: str) -> None:
    """What cannot be used is said in our words at its question, and what was answered before is kept."""
    client, _book = desk
    answer = client.get(f"{PAGE}?{query}")
    assert answer.status_code == 422
    assert said in html.unescape(answer.text)
    assert "problem-what" in answer.text
    if query.startswith("thread=M6&"):
        assert 'name="thread" value="M6"' in answer.text


def test_in_inches_no_mm_is_shown_and_the_answer_keeps_its_unit(desk: Desk) -> None:
    """A person who works in inches types and reads inches; what was typed in mm before stays what it was."""
    client, _book = desk
    client.cookies.set("firstpull_unit", "in")
    page = client.get(f"{PAGE}?thread=M6&free_length=0.5984&asked=free_length&do=next").text
    assert 'name="free_length" value="0.5984 in"' in page
    assert "grip, in" in page
    assert "0.0197 to 0.1181" in page
    assert "a gauge within 0.0012 in and" in page
    same = client.get(f"{PAGE}?thread=M6&free_length=15.2+mm").text
    assert question(same) == question(page)


def test_it_writes_nothing_and_bears_any_address(desk: Desk) -> None:
    """Nothing of the record moves, and what no page of ours wrote is passed over."""
    client, book = desk
    before = book.store.last(CATALOGUE)
    for query in (
        "ask=nothing&asked=what&do=dance&skipped=a,b",
        "skipped=" + "thread," * 50,
        "thread=M6&ask=end&do=skip",
    ):
        assert client.get(f"{PAGE}?{query}").status_code == 200
    assert book.store.last(CATALOGUE) == before


def test_without_a_catalogue_it_leads_to_one(tmp_path: Path) -> None:
    """With no insert there is nothing to find, and the way on is to bring a table in."""
    workshop = Workshop(tmp_path / "empty", clock=lambda: CLOCK)
    try:
        client = TestClient(create_bench(workshop), base_url="http://127.0.0.1:8742", headers={"accept": "text/html"})
        page = client.get(PAGE).text
        assert question(page) == "There is no catalogue to find it in."
        assert 'href="/inserts/import"' in page
    finally:
        workshop.close()


def test_what_was_answered_comes_along_to_measure_it_in(desk: Desk) -> None:
    """“Measure it in” fills thread, head, end, lengths, body and marks into the screens: nothing is typed twice."""
    client, book = desk
    answers = "thread=M6&free_length=16.6&end=closed&head=low+profile&body_diameter=8.9&body=knurled&head_marks=2&asked=free_length&do=next"
    page = client.get(f"{PAGE}?{answers}").text
    found = re.search(r'<a class="action" href="(/inserts/in-hand\?[^"]+)">Measure it in</a>', page)
    assert found is not None, page
    assert found[1] in page.rsplit("none of these", 1)[1]
    first = client.get(html.unescape(found[1])).text
    assert 'name="thread" value="M6"' in first
    assert re.search(r'name="end" value="closed" checked', first)
    assert re.search(r'name="head" value="low profile" checked', first)
    assert "what was found is filled in" in first
    form = {**dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', first)), "do": "next"}
    second = client.post(
        "/inserts/in-hand", data={**form, "part": "BOX 7", "thread": "M6", "end": "closed", "head": "low profile"}
    ).text
    assert 'name="length_free" value="16.6 mm"' in second
    assert 'name="body_diameter" value="8.9 mm"' in second
    assert re.search(r'name="body" value="knurled" checked', second)
    form = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', second))
    sizes = {"length_free": "16.6 mm", "body_diameter": "8.9 mm", "flange_diameter": "13", "body": "knurled"}
    third = client.post("/inserts/in-hand", data={**form, **sizes, "do": "next"}).text
    assert 'name="head_marks" value="2"' in third
    form = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', third))
    grip = {"grip_min": "0.5", "grip_max": "3", "head_marks": "2", "do": "next"}
    assert client.post("/inserts/in-hand", data={**form, **grip}).status_code == 303
    kept = book.insert("BOX 7")
    assert (kept.thread, kept.end, kept.head, kept.body, kept.head_marks) == (
        "M6",
        "closed",
        "low profile",
        "knurled",
        2,
    )
    assert (kept.length_free.typed, kept.body_diameter and kept.body_diameter.typed) == ("16.6 mm", "8.9 mm")


def test_a_name_is_asked_for_without_losing_the_answers(desk: Desk) -> None:
    """Who has given no name is sent to give one, and comes back to the filled screens."""
    client, _book = desk
    client.cookies.clear()
    sent = client.get("/inserts/in-hand?thread=M6&length_free=16.6+mm")
    assert sent.headers["location"] == "/person?back=/inserts/in-hand%3Fthread%3DM6%26length_free%3D16.6%2Bmm"
    back = client.post("/person", data={"name": "Ada", "back": "/inserts/in-hand?thread=M6&length_free=16.6+mm"})
    assert back.headers["location"] == "/inserts/in-hand?thread=M6&length_free=16.6+mm"


def test_the_job_that_it_is_looked_for_comes_along(desk: Desk) -> None:
    """From a job's “Find it first” the way leads back to that job, also when it is measured in."""
    client, book = desk
    job = stacked_job(book)
    opened = client.get(f"/bench/jobs/{job}/in-hand").text
    assert f'href="/inserts/identify?job={job}"' in opened
    asked = client.get(f"{PAGE}?job={job}").text
    assert f'<input type="hidden" name="job" value="{job}">' in asked
    none = client.get(f"{PAGE}?thread=M6&free_length=16.6&asked=free_length&do=next&job={job}").text
    assert f'href="/bench/jobs/{job}/in-hand?thread=M6&amp;length_free=16.6+mm"' in none
    assert f'href="/bench/jobs/{job}/choose"' in none
    row = f"{PAGE}?thread=M6&free_length=15.2+mm&flange_diameter=13&asked=flange_diameter&do=next&job={job}"
    there = f"/bench/jobs/{job}/choose?screen=pick&amp;part=OUR-M6"
    assert f'href="{there}">See it in the job</a>' in client.get(row).text
    assert client.get(html.unescape(there)).status_code == 200
    first = client.get(f"/bench/jobs/{job}/in-hand?thread=M6&length_free=16.6+mm").text
    assert 'name="length_free" value="16.6 mm"' in first
    for unknown in ("never", "a:b", "x" * 300, "\u202e"):
        page = client.get(PAGE, params={"job": unknown})
        assert (page.status_code, 'name="job"' in page.text) == (200, False)


def test_what_no_page_of_ours_brings_along_is_left_out(desk: Desk) -> None:
    """Words that are no answer and texts that are too long do not reach the fields."""
    client, _book = desk
    page = client.get(
        "/inserts/in-hand", params={"thread": "M" * 300, "head": "pointed", "end": "ajar", "body": "<b>"}
    ).text
    assert 'name="thread" value=""' in page
    assert re.search(r'name="head" value="flat" checked', page)
    assert "&lt;b&gt;" not in page

"""Striking out a pull asks which one and why, and nothing is struck without both."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from firstpull.jobs import dial_in
from firstpull.jobs.workshop import Book
from firstpull.web.bench import create_bench
from web.bench_client import TestClient
from workshop_example import ADA, mm, open_workshop, set_up_job

Desk = tuple[Book, TestClient, str]


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """A job with one pull, and a client that works on it as Ada."""
    with open_workshop(tmp_path) as workshop:
        job = set_up_job(workshop.bench).id
        dial_in.record_pull(workshop.bench, job, mm("11.7"), doing=ADA)
        headers = {"accept": "text/html"}
        client = TestClient(
            create_bench(workshop), base_url="http://127.0.0.1", follow_redirects=False, headers=headers
        )
        client.cookies.set("firstpull_person", "Ada")
        yield workshop.bench, client, job


def test_the_screen_offers_pulls_and_reasons(desk: Desk) -> None:
    """Pulls to choose from, the usual reasons, and a field for one's own words."""
    _book, client, job = desk
    page = client.get(f"/bench/jobs/{job}/dial-in/strike").text
    assert "11.70" in page
    assert "read the wrong insert" in page
    assert 'name="reason"' in page


@pytest.mark.parametrize(
    ("of", "why"), [("", "typed wrongly"), ("x", "typed wrongly"), ("9999", "typed wrongly"), ("last", "")]
)
def test_nothing_is_struck_without_which_and_why(desk: Desk, of: str, why: str) -> None:
    """Without a pull that is there, or without a reason, nothing is struck and the page says so."""
    book, client, job = desk
    pull = book.job(job).pulls[-1]
    form = {"of": str(pull.sequence) if of == "last" else of, "why": why}
    answer = client.post(f"/bench/jobs/{job}/dial-in/strike", data=form)
    assert answer.status_code == 422
    assert not book.job(job).pulls[-1].struck_out


def test_own_words_go_before_the_tile(desk: Desk) -> None:
    """What was typed is the reason; the advice then starts again without that pull."""
    book, client, job = desk
    form = {"of": str(book.job(job).pulls[-1].sequence), "why": "typed wrongly", "reason": "dropped the caliper"}
    assert client.post(f"/bench/jobs/{job}/dial-in/strike", data=form).status_code == 303
    assert book.job(job).pulls[-1].struck_out == "dropped the caliper"

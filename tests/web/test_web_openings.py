"""The guided openings: an insert measured in the hand, and the ladder that finds its allowance."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from firstpull.jobs.find_allowance import ladder
from firstpull.jobs.prove import CHECKS
from firstpull.jobs.workshop import Book
from web.bench_client import TestClient
from web.bench_desk import bench, fields, stacked_job

Desk = tuple[TestClient, Book]
HAND = {"part": "Blue box M6", "thread": "M6", "end": "open", "head": "flat"}
LENGTHS = {"length_free": "15.5 mm", "flange_diameter": "13", "flange_thickness": "1.5", "body_diameter": "9"}


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with bench(tmp_path / "data") as both:
        yield both


def test_an_insert_in_the_hand_becomes_a_row(desk: Desk) -> None:
    """Three screens carry their answers along; the last one keeps the row, marked “measured here”."""
    client, book = desk
    address = "/inserts/in-hand"
    form = fields(client.get(address).text)
    second = client.post(address, data={**form, "screen": "0", **HAND})
    assert "2 of 3" in second.text
    assert 'name="part" value="Blue box M6"' in second.text
    third = client.post(address, data={**form, "screen": "1", **HAND, **LENGTHS})
    assert "3 of 3" in third.text
    assert 'value="13 mm"' in third.text
    assert not book.store.last("job:x")
    last = client.post(address, data={**form, "screen": "2", **HAND, **LENGTHS, "grip_min": "0.5", "grip_max": "3"})
    assert last.headers["location"] == "/inserts/row?part=Blue%20box%20M6"
    assert book.insert("Blue box M6").length_free.mm == 15.5
    assert "measured here" in client.get(last.headers["location"]).text


def test_an_insert_in_the_hand_of_a_job_is_taken_for_it(desk: Desk) -> None:
    """Inside a job the row is kept and the job goes on to its set-up, in one act."""
    client, book = desk
    job = stacked_job(book)
    address = f"/bench/jobs/{job}/in-hand"
    form = fields(client.get(address).text)
    data = {**form, "screen": "2", **HAND, **LENGTHS, "grip_min": "0.5", "grip_max": "3", "head_marks": "1"}
    assert client.post(address, data=data).headers["location"] == f"/bench/jobs/{job}/set-up"
    assert (book.job(job).insert or {})["part"] == "Blue box M6"
    assert book.insert("Blue box M6").head_marks == 1


@pytest.mark.parametrize(
    ("screen", "wrong", "said"),
    [
        ("0", {"end": ""}, "open or closed"),
        ("0", {"thread": "M6.5"}, "M6.5"),
        ("1", {"length_free": ""}, "needed"),
        ("2", {"grip_min": "3.5", "grip_max": "3"}, "below"),
        ("2", {"grip_min": "0.5", "grip_max": "3", "head_marks": "many"}, "How many marks?"),
    ],
)
def test_what_cannot_be_is_said_on_its_own_screen(desk: Desk, screen: str, wrong: dict[str, str], said: str) -> None:
    """A wrong answer comes back on its screen with everything typed, and no row is made."""
    client, book = desk
    form = fields(client.get("/inserts/in-hand").text)
    before = len(book.inserts())
    answer = client.post("/inserts/in-hand", data={**form, **HAND, **LENGTHS, "screen": screen, **wrong})
    assert answer.status_code == 422
    assert said in answer.text
    assert "Blue box M6" in answer.text
    assert f"{int(screen) + 1} of 3" in answer.text
    assert len(book.inserts()) == before


def _rung(client: TestClient, address: str, length: str, *, fails: tuple[str, ...] = ()) -> None:
    form = fields(client.get(address).text)
    place = client.post(address, data={**form, "do": "read", "reading": length}).headers["location"]
    for kind in CHECKS:
        page = client.get(place)
        assert kind.question.replace("?", "") in page.text
        assert page.text.count("<svg") >= 2
        coupon = place.partition("coupon=")[2]
        from urllib.parse import unquote

        answer = client.post(
            address,
            data={**fields(page.text), "coupon": unquote(coupon), "do": "fail" if kind.key in fails else "pass"},
        )
        assert answer.status_code == 303, answer.text
        place = answer.headers["location"]


def test_the_ladder_finds_the_allowance_before_any_setting(desk: Desk) -> None:
    """Short coupons fail, good ones pass, one too far fails: the middle is taken with a window proven from both ends."""
    client, book = desk
    job = stacked_job(book, part="OUR-M6-BARE")
    address = f"/bench/jobs/{job}/find-allowance"
    assert "Set to 14.00" in client.get(address).text
    _rung(client, address, "13.9", fails=("gap", "turn"))
    for length in ("12.5", "12.3", "12.1"):
        _rung(client, address, length)
    _rung(client, address, "11.9", fails=("thread_gauge",))
    text = client.get(address).text
    assert "Take it" in text
    assert "failed: gap, turn" in text
    answer = client.post(address, data={**fields(text), "do": "take"})
    assert answer.headers["location"] == f"/bench/jobs/{job}/set-up"
    state = book.job(job)
    assert state.allowance is not None
    assert state.allowance["value"]["nm"] == 1_900_000
    assert state.window is not None
    assert state.window["source"] == "proven"


def test_the_ladder_cannot_be_taken_early_and_a_rung_is_struck_out(desk: Desk) -> None:
    """Taking needs a proven lower end; a rung struck out no longer counts and stays on record."""
    client, book = desk
    job = stacked_job(book, part="OUR-M6-BARE")
    address = f"/bench/jobs/{job}/find-allowance"
    _rung(client, address, "12.5")
    form = fields(client.get(address).text)
    assert client.post(address, data={**form, "do": "take"}).status_code == 409
    sequence = book.job(job).coupons[0].sequence
    assert client.post(address, data={**form, "do": f"strike {sequence}"}).status_code == 303
    assert not ladder(book.job(job)).rungs
    assert book.job(job).coupons[0].struck_out


def test_another_stack_ends_the_ladder(desk: Desk) -> None:
    """Coupons of one stack say nothing of another."""
    client, book = desk
    job = stacked_job(book, part="OUR-M6-BARE")
    _rung(client, f"/bench/jobs/{job}/find-allowance", "12.5")
    page = f"/bench/jobs/{job}/choose?screen=stack"
    client.post(page, data={**fields(client.get(page).text), "do": "add", "material": "steel", "thickness": "0.5"})
    assert not ladder(book.job(job)).rungs


def test_a_reading_that_slipped_is_asked_about(desk: Desk) -> None:
    """A length in the other unit is questioned, kept in its field, and not carried on."""
    client, book = desk
    address = f"/bench/jobs/{stacked_job(book, part='OUR-M6-BARE')}/find-allowance"
    answer = client.post(address, data={**fields(client.get(address).text), "do": "read", "reading": "0.551"})
    assert answer.status_code == 422
    assert "It is right" in answer.text
    assert 'value="0.551"' in answer.text
    assert client.get(f"{address}?coupon=nonsense%3D1").status_code == 422

"""The choose pages: each screen shows, each act is put on record, and what cannot be is said with its text kept."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from firstpull.jobs import choose
from firstpull.jobs.shapes import stack_from_json
from firstpull.jobs.workshop import Book
from web.bench_client import TestClient
from web.bench_desk import ADA, bench, fields, stacked_job

Desk = tuple[TestClient, Book]


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with bench(tmp_path / "data") as both:
        yield both


def _stack(book: Book, job: str) -> list[tuple[str, float, int]]:
    state = book.job(job)
    assert state.stack is not None
    return [(layer.material, layer.thickness.mm, layer.faces) for layer in stack_from_json(state.stack)[0].layers]


def _post(client: TestClient, address: str, **data: str) -> tuple[int, str, str]:
    form = fields(client.get(address).text)
    answer = client.post(address, data={**form, **data})
    return answer.status_code, answer.text, answer.headers.get("location", "")


def test_a_job_is_opened_once_however_often_its_form_is_sent(desk: Desk) -> None:
    """The same form sent twice opens one job."""
    client, book = desk
    form = {**fields(client.get("/bench/jobs/new").text), "title": "Rack lug", "part": "", "unit": "mm"}
    first, second = (client.post("/bench/jobs/new", data=form) for _time in range(2))
    assert first.headers["location"] == second.headers["location"] == "/bench/jobs/rack-lug/choose"
    assert len(book.store.streams("job")) == 1


def test_a_job_without_a_title_is_asked_for_it(desk: Desk) -> None:
    """Without a title nothing is opened and the part typed is still there."""
    client, book = desk
    status, text, _to = _post(client, "/bench/jobs/new", title=" ", part="Lug 7")
    assert status == 422
    assert "What is this job called?" in text
    assert "Lug 7" in text
    assert not book.store.streams("job")


@pytest.mark.parametrize(
    ("typed", "layer"),
    [
        ({"material": "EN AW-5754", "thickness": "2,0 ± 0.09"}, ("EN AW-5754", 2.0, 1)),
        ({"thickness": "16 ga steel"}, ("steel", 1.51892, 1)),
        ({"material": "door", "thickness": "18 ga aluminium"}, ("door", 1.02362, 1)),
    ],
)
def test_a_layer_is_added_as_typed(desk: Desk, typed: dict[str, str], layer: tuple[str, float, int]) -> None:
    """A length with its ±, or a gauge number with its metal, becomes a layer."""
    client, book = desk
    job = stacked_job(book)
    status, _text, _to = _post(client, f"/bench/jobs/{job}/choose?screen=stack", do="add", **typed)
    assert status == 303
    name, thickness, faces = _stack(book, job)[-1]
    assert (name, faces) == (layer[0], layer[2])
    assert thickness == pytest.approx(layer[1], abs=1e-6)


def test_a_bare_gauge_number_shows_the_metals_with_their_values(desk: Desk) -> None:
    """“16 ga” alone is refused, each metal is offered with its thickness, and one tap adds it."""
    client, book = desk
    job = stacked_job(book)
    address = f"/bench/jobs/{job}/choose?screen=stack"
    status, text, _to = _post(client, address, do="add", thickness="16 ga")
    assert status == 422
    assert 'value="16 ga"' in text
    assert "galvanised 1.61" in text
    assert len(_stack(book, job)) == 1
    status, _text, _to = _post(client, address, do="gauge galvanised", thickness="16 ga")
    assert status == 303
    assert _stack(book, job)[-1][0] == "galvanised"


def test_a_coating_counts_by_its_faces_and_a_layer_is_taken_out(desk: Desk) -> None:
    """A coating on two faces is one layer of two faces; the only layer left stays."""
    client, book = desk
    job = stacked_job(book)
    _post(
        client, f"/bench/jobs/{job}/choose?screen=coat", do="add", material="powder coat", thickness="0.08", faces="2"
    )
    assert _stack(book, job)[-1] == ("powder coat", 0.08, 2)
    address = f"/bench/jobs/{job}/choose?screen=stack"
    _post(client, address, do="out 1")
    assert [layer[0] for layer in _stack(book, job)] == ["powder coat"]
    status, text, _to = _post(client, address, do="out 1")
    assert status == 422
    assert "only layer" in text


def test_readings_are_kept_one_by_one_with_mean_and_doubt(desk: Desk) -> None:
    """Readings add up, a slip of the unit is asked about, and one can be taken out again."""
    client, book = desk
    job = stacked_job(book)
    address = f"/bench/jobs/{job}/choose?screen=measure"
    for reading in ("2.02", "2.04", "2.03"):
        assert _post(client, address, do="read", reading=reading)[0] == 303
    text = client.get(address).text
    assert "Mean 2.030 ± " in text
    assert "of 3 readings" in text
    status, text, _to = _post(client, address, do="read", reading="51.5")
    assert status == 422
    assert "It is right" in text
    assert 'value="51.5"' in text
    _post(client, address, do="drop 2")
    state = book.job(job)
    assert state.stack is not None
    assert [row["typed"] for row in state.stack["readings"]] == ["2.02", "2.03"]


def test_the_gauge_gives_the_readings_its_doubt(desk: Desk) -> None:
    """Naming the gauge puts its error on the stack."""
    client, book = desk
    job = stacked_job(book)
    _post(client, f"/bench/jobs/{job}/choose?screen=measure", do="gauge C1")
    state = book.job(job)
    assert state.stack is not None
    assert state.stack["gauge_error_mm"] == 0.03
    assert state.stack["gauge_id"] == "C1"


def test_the_batch_has_a_thin_and_a_thick_end(desk: Desk) -> None:
    """Thin and thick are kept; the wrong way round is refused."""
    client, book = desk
    job = stacked_job(book)
    address = f"/bench/jobs/{job}/choose?screen=batch"
    status, text, _to = _post(client, address, do="keep", thin="2.2", thick="1.9")
    assert status == 422
    assert 'value="2.2"' in text
    assert _post(client, address, do="keep", thin="1.9", thick="2.2")[0] == 303
    state = book.job(job)
    assert state.stack is not None
    assert state.stack["batch"]["thick"]["typed"] == "2.2"


def test_thread_and_access_become_needs(desk: Desk) -> None:
    """What the screw and the access ask for is read back as typed, in the person's unit."""
    client, book = desk
    job = stacked_job(book)
    base = f"/bench/jobs/{job}/choose"
    assert _post(client, f"{base}?screen=thread", thread="M6", torque="6", material="steel")[2].endswith("=access")
    assert _post(client, f"{base}?screen=access", end="open", head="", room_behind="20")[2].endswith("=pick")
    needs = choose.needs_of(book.job(job))
    assert needs is not None
    assert (needs.thread, needs.tightening_torque_nm, needs.end, needs.room_behind_mm) == ("M6x1", 6.0, "open", 20.0)
    client.cookies.set("firstpull_unit", "in")
    assert "0.7874" in client.get(f"{base}?screen=access").text


def test_the_pick_shows_margins_and_takes_the_insert(desk: Desk) -> None:
    """The ranked inserts stand with every check, and “Use this one” leads to the set-up."""
    client, book = desk
    job = stacked_job(book)
    address = f"/bench/jobs/{job}/choose?screen=pick"
    text = client.get(address).text
    assert "OUR-M6" in text
    assert "to spare" in text
    assert "<svg" in text
    status, _text, to = _post(client, address, do="take", part="OUR-M6")
    assert (status, to) == (303, f"/bench/jobs/{job}/set-up")
    assert (book.job(job).insert or {})["part"] == "OUR-M6"


def test_when_nothing_fits_the_smallest_cure_is_said(desk: Desk) -> None:
    """Too much torque leaves no insert; the nearest one's reason and cure stand there."""
    client, book = desk
    job = stacked_job(book)
    _post(client, f"/bench/jobs/{job}/choose?screen=thread", thread="M6", torque="8")
    text = client.get(f"/bench/jobs/{job}/choose?screen=pick").text
    assert "Nothing in the catalogue fits." in text
    assert "6.8 N·m or less" in text
    assert "Use this one" not in text
    assert _post(client, f"/bench/jobs/{job}/choose?screen=pick", do="take", part="OUR-M6")[0] == 422
    assert book.job(job).insert is None


def test_a_job_that_moved_on_is_shown_again(desk: Desk) -> None:
    """A form of an older page writes nothing when the stack was changed meanwhile; what was typed stays."""
    client, book = desk
    job = stacked_job(book)
    address = f"/bench/jobs/{job}/choose?screen=stack"
    form = fields(client.get(address).text)
    choose.take_insert(book, job, "OUR-M6", doing=ADA)
    before = book.store.last(f"job:{job}")
    answer = client.post(address, data={**form, "do": "add", "material": "steel", "thickness": "1.5"})
    assert answer.status_code == 409
    assert 'value="1.5"' in answer.text
    assert book.store.last(f"job:{job}") == before


@pytest.mark.parametrize(
    "address", ["/shed/jobs/tray-lid/choose", "/bench/jobs/none/choose", "/bench/jobs/tray-lid/choose?screen=x"]
)
def test_what_is_not_there_is_not_found(desk: Desk, address: str) -> None:
    """Another room, job or screen is 404."""
    client, book = desk
    stacked_job(book)
    assert client.get(address).status_code == 404

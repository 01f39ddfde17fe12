"""A gauge study through its pages: begun, read by two people in their own units, struck out, finished; and the doubt page."""

from __future__ import annotations

import csv
import html
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from firstpull.jobs.workshop import Book
from web.bench_client import TestClient
from web.bench_desk import bench

MANUAL = Path(__file__).resolve().parents[1] / "reference" / "data" / "statistics_gauge_study_readings.csv"
STUDY = "/gauges/C1/study"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[tuple[TestClient, Book]]:
    with bench(tmp_path / "shop") as made:
        yield made


def hidden(page: str) -> dict[str, str]:
    """The hidden fields of the page's form."""
    return {
        name: html.unescape(value)
        for name, value in re.findall(
            r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page.partition("<main")[2]
        )
    }


def question(page: str) -> str:
    return html.unescape(re.findall(r"<h1[^>]*>([^<]*)", page)[0])


def words(page: str) -> str:
    """The page's own words, without its marks."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page.partition("<main")[2])).split())


def send(client: TestClient, page: str, address: str, **fields: str) -> str:
    """Post the page's form and follow where it leads; what comes back."""
    answer = client.post(address, data={**hidden(page), **fields})
    return client.get(answer.headers["location"]).text if answer.status_code == 303 else answer.text


def begin(
    client: TestClient,
    people: str,
    *,
    parts: str = "5",
    rounds: str = "2",
    measured: str = "set length",
    half: str = "",
) -> str:
    """Walk the three screens; the first page of the study."""
    page = client.get(f"{STUDY}/new").text
    page = send(client, page, f"{STUDY}/new", do="next", measured=measured)
    page = send(client, page, f"{STUDY}/new", do="next", parts=parts, rounds=rounds)
    return send(client, page, f"{STUDY}/new", do="begin", people=people, half_window=half)


def part_of(page: str) -> str:
    """Which part the page asks for, "" when it asks for none."""
    found = re.match(r"Part (\d+): what does it read", question(page))
    return found[1] if found else ""


def test_the_manuals_study_typed_in_gives_the_manuals_numbers(shop: tuple[TestClient, Book]) -> None:
    """The published 90 readings, 10 mm added, typed into the pages: the sds, shares and limits that stand in print."""
    client, book = shop
    with MANUAL.open(encoding="utf-8", newline="") as lines:
        rows = [row for row in csv.DictReader(lines) if row["study"] == "manual"]
    values = {(r["appraiser"], r["part"], r["trial"]): 10 + float(r["value"]) for r in rows}
    begin(client, "A, B and C", parts="10", rounds="3", half="1")
    address = f"{STUDY}/1"
    seen: dict[tuple[str, str], int] = {}
    for person in "ABC":
        page = client.get(f"{address}?who={person}").text
        while part := part_of(page):
            seen[person, part] = seen.get((person, part), 0) + 1
            value = values[person, part, str(seen[person, part])]
            page = send(client, page, address, do="read", reading=f"{value:.2f}")
    assert len(book.gauge("C1").studies[0].counting) == 90
    shown = words(send(client, client.get(address).text, address, do="finish"))
    assert "Good for ±3.03" in shown  # 10 · 0.302373, rounded up
    numbers = words(client.get(f"{address}?see=numbers").text)
    for text in ("same person 0.1999 0.1769 to 0.2306", "people 0.2268", "gauge 0.3024", "parts 1.0423", "27.9 %"):
        assert text in numbers, text
    assert "It tells 4 groups of these parts apart" in numbers


def test_each_person_reads_in_their_own_unit_and_order(shop: tuple[TestClient, Book]) -> None:
    """Ada types mm; Ben, on another device, inches; both stand in the record as typed, each in its own order."""
    client, book = shop
    page = begin(client, "Ada, Ben")
    page = send(client, page, f"{STUDY}/1", do="read", reading="11.05")
    ben = TestClient(
        client.app, base_url="http://127.0.0.1:8742", follow_redirects=False, headers={"accept": "text/html"}
    )
    ben.cookies.set("firstpull_person", "Ben")
    ben.cookies.set("firstpull_unit", "in")
    page = ben.get(f"{STUDY}/1").text
    assert "Ben · round 1 of 2" in words(page)
    send(ben, page, f"{STUDY}/1", do="read", reading=".4355")
    study = book.gauge("C1").studies[0]
    typed = [one.value["typed"] for one in study.readings]
    assert [text.split()[0] for text in typed] == ["11.05", ".4355"]
    assert [one.by for one in study.readings] == ["Ada", "Ben"]
    assert study.left("Ada")[0].number == 1
    assert len(study.left("Ben")) == 9


def test_nobody_sees_what_another_one_read(shop: tuple[TestClient, Book]) -> None:
    """Ben’s page holds none of Ada’s readings; it shows his own last one as saved."""
    client, _book = shop
    page = begin(client, "Ada, Ben")
    for place in range(10):
        page = send(client, page, f"{STUDY}/1", do="read", reading=f"11.{70 + place}")
    page = client.get(f"{STUDY}/1?who=Ben").text
    assert "11.7" not in words(page)
    page = send(client, page, f"{STUDY}/1", do="read", reading="11.31")
    assert "Saved 11.31" in words(page)


def test_half_done_it_goes_on_where_it_was_left(shop: tuple[TestClient, Book]) -> None:
    """Somebody who takes no part is asked who measures; whose name is chosen goes on with their next part."""
    client, _book = shop
    page = begin(client, "Ada, Ben")
    page = send(client, page, f"{STUDY}/1", do="read", reading="11.05")
    next_part = part_of(page)
    client.cookies.set("firstpull_person", "Cleo")
    page = client.get(f"{STUDY}/1").text
    assert question(page) == "Who measures now?"
    assert "Ada 9 to read" in words(page)
    assert part_of(client.get(f"{STUDY}/1?who=Ada").text) == next_part
    assert "Go on with study 1" in words(client.get(STUDY).text)
    assert "Study 1 is not finished" in words(client.get(f"{STUDY}/new").text)


def test_a_slip_is_asked_about_and_kept_when_it_is_right(shop: tuple[TestClient, Book]) -> None:
    """110.5 where 11 was read before: asked with what was typed still there, and kept by “It is right”."""
    client, book = shop
    page = begin(client, "Ada")
    page = send(client, page, f"{STUDY}/1", do="read", reading="11.05")
    page = send(client, page, f"{STUDY}/1", do="read", reading="110.5")
    assert "was to be expected" in words(page)
    assert 'value="110.5"' in page
    page = send(client, page, f"{STUDY}/1", do="keep", reading="110.5")
    assert len(book.gauge("C1").studies[0].counting) == 2


def test_what_is_no_length_stays_in_its_field(shop: tuple[TestClient, Book]) -> None:
    """Refused under the field; nothing is written."""
    client, book = shop
    page = begin(client, "Ada")
    answer = client.post(f"{STUDY}/1", data={**hidden(page), "do": "read", "reading": "about ten"})
    assert answer.status_code == 422
    assert 'value="about ten"' in answer.text
    assert not book.gauge("C1").studies[0].readings


def test_two_screens_of_one_person_take_no_place_twice(shop: tuple[TestClient, Book]) -> None:
    """The second screen is told, shows the next part, and keeps what was typed."""
    client, book = shop
    page = begin(client, "Ada")
    send(client, page, f"{STUDY}/1", do="read", reading="11.05")
    late = client.post(f"{STUDY}/1", data={**hidden(page), "client_id": "another", "do": "read", "reading": "11.09"})
    assert late.status_code == 409
    assert "read already" in words(late.text)
    assert 'value="11.09"' in late.text
    assert len(book.gauge("C1").studies[0].counting) == 1


def test_a_reading_is_struck_out_with_a_reason(shop: tuple[TestClient, Book]) -> None:
    """It asks which and why; then that part is asked for again."""
    client, book = shop
    page = begin(client, "Ada")
    part = part_of(page)
    page = send(client, page, f"{STUDY}/1", do="read", reading="11.05")
    page = client.get(f"{STUDY}/1/strike?who=Ada").text
    of = re.findall(r'name="of" value="(\d+)"', page)[0]
    refused = client.post(f"{STUDY}/1/strike", data={**hidden(page), "of": of, "do": "strike"})
    assert refused.status_code == 422
    page = send(client, page, f"{STUDY}/1/strike", do="strike", of=of, why="wrong part")
    assert part_of(page) == part
    assert book.gauge("C1").studies[0].readings[0].struck_out == "wrong part"


def test_a_study_is_given_up_with_a_reason(shop: tuple[TestClient, Book]) -> None:
    """Without a reason it is refused; afterwards it is said not to count and another may begin."""
    client, book = shop
    begin(client, "Ada")
    page = client.get(f"{STUDY}/1/strike?do=give%20up").text
    assert client.post(f"{STUDY}/1/strike", data={**hidden(page), "do": "give up"}).status_code == 422
    page = send(client, page, f"{STUDY}/1/strike", do="give up", reason="parts mixed up")
    assert "does not count: given up: parts mixed up" in words(page)
    assert book.gauge("C1").open_study is None


def test_blocks_from_begin_to_result(shop: tuple[TestClient, Book]) -> None:
    """Three blocks, five times each, 0.02 too long: the bias is said, and the table holds each block."""
    client, book = shop
    page = client.get(f"{STUDY}/new").text
    page = send(client, page, f"{STUDY}/new", do="next", measured="gauge blocks")
    refused = send(client, page, f"{STUDY}/new", do="next", blocks="none", doubt="", rounds="5")
    assert "Which blocks?" in words(refused)
    page = send(client, page, f"{STUDY}/new", do="next", blocks="5 10 20", doubt="0.001", doubt_is="2", rounds="5")
    page = send(client, page, f"{STUDY}/new", do="begin", people="Ada")
    assert question(page).startswith("Block ")
    offs = iter((0.02, 0.02, 0.02, 0.01, 0.03) * 3)
    while found := re.match(r"Block (\d+) mm", question(page)):
        page = send(client, page, f"{STUDY}/1", do="read", reading=f"{int(found[1]) + next(offs):.2f}")
    page = send(client, page, f"{STUDY}/1", do="finish")
    assert "too long" in words(page)
    assert book.gauge("C1").studies[0].plan["reference_u_mm"] == pytest.approx(0.0005, rel=1e-12)
    assert "20 mm" in words(client.get(f"{STUDY}/1?see=numbers").text)
    assert "Bias +0.0200 mm study 1" in words(client.get(STUDY).text)


def test_another_window_is_held_against_it(shop: tuple[TestClient, Book]) -> None:
    """By hand: readings ± 0.01 about each part’s mean; the page says what share of ± 1 mm that takes."""
    client, book = shop
    page = begin(client, "Ada", parts="5", rounds="2")
    study = book.gauge("C1").studies[0]
    for slot in study.slots:
        value = 11 + 0.05 * int(slot.part) + (0.01 if slot.round == 1 else -0.01)
        page = send(client, page, f"{STUDY}/1", do="read", reading=f"{value:.2f}")
    send(client, page, f"{STUDY}/1", do="finish")
    # five pairs 0.02 apart: variance 0.0002, sd 0.01414; 6 · 0.01414 of a width of 2 is 4.2 %
    assert "Of ±1.000 mm it takes 4 %: good." in words(client.get(f"{STUDY}/1?window=1").text)
    assert client.get(f"{STUDY}/1?window=wide").status_code == 422


@pytest.mark.parametrize("half", ["0", "-1", "wide"])
def test_a_window_that_is_none_is_refused_under_its_field(shop: tuple[TestClient, Book], half: str) -> None:
    """Nothing begins, and what was typed stays."""
    client, book = shop
    page = begin(client, "Ada", half=half)
    if half != "-1":
        assert 'aria-invalid="true"' in page
        assert not book.gauge("C1").studies


def test_service_and_age_are_noted(shop: tuple[TestClient, Book]) -> None:
    """Both by a form of their own; without words or with no days they are refused."""
    client, book = shop
    page = client.get(f"{STUDY}?do=service").text
    assert "What was done?" in words(send(client, page, STUDY, do="service", what=""))
    page = send(client, page, STUDY, do="service", what="jaws lapped")
    assert "Serviced: jaws lapped" in words(page)
    page = client.get(f"{STUDY}?do=age").text
    assert 'aria-invalid="true"' in send(client, page, STUDY, do="age", days="soon")
    send(client, page, STUDY, do="age", days="90")
    assert book.gauge("C1").study_days == 90


def test_the_doubt_page_reckons_and_refuses(shop: tuple[TestClient, Book]) -> None:
    """The table and its simulation; aluminium at 30 °C is corrected by hand’s 0.0115 mm; what is wrong is said."""
    client, _book = shop
    page = words(client.get("/gauges/C1/doubt").text)
    assert "limit of error" in page
    assert "simulated readings" in page
    warm = words(client.get("/gauges/C1/doubt?length=100&material=aluminium&temperature=30").text)
    assert "0.0115 mm shorter than it reads" in warm
    for wrong in ("length=long", "temperature=hot", "readings=0", "material=wood", "difference_half=999"):
        answer = client.get(f"/gauges/C1/doubt?{wrong}")
        assert answer.status_code == 422, wrong


def test_a_study_that_is_not_there(shop: tuple[TestClient, Book]) -> None:
    """An unknown study or gauge is said to be so."""
    client, _book = shop
    assert client.get(f"{STUDY}/7").status_code == 404
    assert client.get("/gauges/none/study").status_code == 404
    assert client.get("/gauges/none/doubt").status_code == 404

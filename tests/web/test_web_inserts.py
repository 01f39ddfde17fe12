"""The catalogue's pages: list, row, table in by way of a look, table out."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from firstpull.errors import BadInput
from firstpull.exchange.catalogue_columns import FIELDS, match_heading
from firstpull.exchange.catalogue_table import preview
from firstpull.jobs import catalogue
from firstpull.jobs.workshop import Book
from firstpull.web.insert_import import Waiting
from firstpull.web.insert_words import heading
from web.bench_client import TestClient
from web.bench_desk import ADA, bench, fields, m6

Desk = tuple[TestClient, Book]
TABLE = b"""part,thread,end,free length,grip min,grip max
NEW-1,M6,open,15.5,0.5,3.0
NEW-2,M66,open,15.5,0.5,3.0
OUR-M6,M6,open,15.3,0.5,3.0
"""


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with bench(tmp_path / "data") as both:
        yield both


def _upload(client: TestClient, data: bytes = TABLE, name: str = "table.csv") -> tuple[dict[str, str], str]:
    form = fields(client.get("/inserts/import").text)
    page = client.post("/inserts/import", data={**form, "do": "look"}, files={"file": (name, data)}).text
    mark = re.search(r'name="upload" value="([0-9a-f]+)"', page)
    assert mark is not None, page
    return {**fields(page), "upload": mark[1]}, page


UNITS = {"unit_heading": ["free length", "grip min", "grip max"], "unit": ["mm", "mm", "mm"]}


def test_the_list_is_filtered_by_every_word(desk: Desk) -> None:
    """Words narrow the list; none found is said."""
    client, _book = desk
    text = client.get("/inserts?q=bare+m6").text
    assert "OUR-M6-BARE" in text
    assert "1 of 2 inserts" in text
    assert "None has all these words." in client.get("/inserts?q=m9").text


def test_units_are_asked_for_before_anything_is_taken(desk: Desk) -> None:
    """Columns without a unit are listed with the choices; taking them as they are is refused."""
    client, book = desk
    form, page = _upload(client)
    assert "Which units are these?" in page
    assert page.count('<select name="unit"') == 3
    refused = client.post("/inserts/import", data={**form, "do": "take"})
    assert refused.status_code == 422
    assert "no unit yet" in refused.text
    assert len(book.inserts()) == 2


def test_good_rows_are_taken_and_bad_ones_named(desk: Desk) -> None:
    """With units chosen, the look says new, changed and what is wrong where; taking keeps the good rows in one act."""
    client, book = desk
    form, _page = _upload(client)
    page = client.post("/inserts/import", data={**form, **UNITS, "do": "look"}).text
    assert "Row 3, thread" in page
    assert "M66" in page
    assert "Take 2 good rows" in page
    assert "NEW-1" in page
    before = book.store.last("catalogue:workshop")
    done = client.post("/inserts/import", data={**form, **UNITS, "do": "take"})
    assert done.headers["location"] == "/inserts?taken=2"
    assert book.store.last("catalogue:workshop") == before + 1
    assert book.insert("OUR-M6").length_free.typed == "15.3 mm"
    assert "NEW-2" not in book.inserts()
    history = client.get("/inserts/row?part=OUR-M6").text
    assert "15.20 mm → 15.30 mm" in history
    assert "table.csv" in history


def test_a_catalogue_that_moved_on_is_shown_again(desk: Desk) -> None:
    """When somebody changed the catalogue meanwhile nothing is taken and the look is made anew."""
    client, book = desk
    form, _page = _upload(client)
    catalogue.add_measured(book, m6("ANOTHER"), doing=ADA)
    answer = client.post("/inserts/import", data={**form, **UNITS, "do": "take"})
    assert answer.status_code == 409
    assert "Take 2 good rows" in answer.text
    assert "NEW-1" not in book.inserts()


@pytest.mark.parametrize("data", [b"", b"\x00\xff\x00", b"just words\n", b"PK\x03\x04broken"])
def test_a_file_that_is_no_table_is_said(desk: Desk, data: bytes) -> None:
    """Anything but a table of inserts is refused in our words."""
    client, book = desk
    form = fields(client.get("/inserts/import").text)
    answer = client.post("/inserts/import", data={**form, "do": "look"}, files={"file": ("x.csv", data)})
    assert answer.status_code == 422
    assert "problem-what" in answer.text
    assert len(book.inserts()) == 2


def test_no_file_and_a_forgotten_file_are_asked_for_again(desk: Desk) -> None:
    """Without a file, or with one that waits no longer, the page asks for it."""
    client, _book = desk
    form = fields(client.get("/inserts/import").text)
    assert "No file was chosen." in client.post("/inserts/import", data={**form, "do": "look"}).text
    gone = client.post("/inserts/import", data={**form, "do": "take", "upload": "0" * 32})
    assert gone.status_code == 422
    assert "not here any more" in gone.text


def test_waiting_files_are_few_and_small() -> None:
    """The oldest waiting file makes room, and one too large is refused."""
    waiting = Waiting(most_files=2, most_bytes=100)
    marks = [waiting.keep(f"{number}.csv", b"x" * 30) for number in range(3)]
    assert waiting.find(marks[2])[0] == "2.csv"
    with pytest.raises(BadInput):
        waiting.find(marks[0])
    with pytest.raises(BadInput):
        waiting.keep("big.csv", b"x" * 60)


def test_the_table_out_reads_back_the_same(desk: Desk) -> None:
    """What is exported is what the catalogue holds."""
    client, book = desk
    answer = client.get("/inserts/export.csv")
    assert "attachment" in answer.headers["content-disposition"]
    assert {row.part: row for row in preview(answer.content, filename="inserts.csv").rows} == dict(book.inserts())


def test_a_row_is_taken_out_with_a_reason(desk: Desk) -> None:
    """Without a reason it stays; with one it leaves the catalogue."""
    client, book = desk
    address = "/inserts/row?part=OUR-M6"
    form = fields(client.get(address).text)
    assert client.post(address, data={**form, "reason": ""}).status_code == 422
    assert "OUR-M6" in book.inserts()
    assert client.post(address, data={**form, "reason": "no longer bought"}).headers["location"] == "/inserts"
    assert "OUR-M6" not in book.inserts()
    assert client.get(address).status_code == 404


def test_tested_strengths_are_named_and_in_the_persons_unit(desk: Desk) -> None:
    """Pull-out, push-out and torque to turn have plain names; forces and torques change with the unit."""
    client, book = desk
    tested = replace(m6("TESTED"), pull_out_n=4500.0, push_out_n=3000.0, torque_to_turn_nm=9.5, hole_diameter=None)
    catalogue.add_measured(book, tested, doing=ADA)
    text = client.get("/inserts/row?part=TESTED").text
    assert "pull-out, tested</dt><dd>4.50 kN" in text
    assert "push-out, tested</dt><dd>3.00 kN" in text
    assert "torque to turn, tested</dt><dd>9.5 N·m" in text
    assert "_" not in "".join(re.findall(r"<dt>([^<]*)</dt>", text))
    client.cookies.set("firstpull_unit", "in")
    text = client.get("/inserts/row?part=TESTED").text
    assert "pull-out, tested</dt><dd>1012 lbf" in text
    assert "torque to turn, tested</dt><dd>84 lbf·in" in text
    assert "kN" not in "".join(re.findall(r"<dd>([^<]*)", text))


def test_every_heading_that_the_import_names_is_understood() -> None:
    """The words that the import page lists for a column are read as that column."""
    assert {rule.name: match_heading(heading(rule.name))[0] for rule in FIELDS} == {
        rule.name: rule.name for rule in FIELDS
    }


def test_a_long_list_shows_its_first_rows_and_their_count(desk: Desk) -> None:
    """At most 200 rows are shown, with how many more there are."""
    client, book = desk
    head = "part,thread,end,free length [mm],grip min [mm],grip max [mm]\n"
    rows = "".join(f"LONG-{number:03},M6,open,15.5,0.5,3.0\n" for number in range(300))
    proposal = catalogue.propose(book, (head + rows).encode(), filename="long.csv")
    catalogue.take(book, proposal, filename="long.csv", doing=ADA)
    text = client.get("/inserts?q=long").text
    assert "300 of 302 inserts" in text
    assert text.count('href="/inserts/row') == 200
    assert "100 more" in text


def test_a_table_of_headings_alone_is_said(desk: Desk) -> None:
    """A file with headings and no rows says so and offers another file, instead of looking good."""
    _form, page = _upload(desk[0], b"part,thread,end,length free (mm),grip min (mm),grip max (mm)\n")
    assert "There are headings and no rows under them." in page

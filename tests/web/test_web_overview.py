"""The overview, the practice pages and the record: every page renders, every act works, bad input writes nothing."""

from __future__ import annotations

import json
import re
import sqlite3
from datetime import UTC, datetime

import pytest

from firstpull.jobs.demo_workshop import fill_demo
from firstpull.jobs.workshop import Workshop
from firstpull.web.bench import create_bench
from web.bench_client import TestClient

PAGE = {"accept": "text/html"}
NOW = datetime(2026, 3, 2, 9, 15, tzinfo=UTC)
LID = "battery-tray-lid-m6"
DIAL_IN = f"/practice/jobs/{LID}/dial-in"


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """One demo workshop for the tests that only read."""
    workshop = Workshop(tmp_path_factory.mktemp("demo"), clock=lambda: NOW)
    fill_demo(workshop)
    yield workshop
    workshop.close()


@pytest.fixture
def practice(tmp_path):
    """An empty bench with the practice job of the demo."""
    from firstpull.jobs import practice_bench
    from firstpull.jobs.workshop import Doing

    workshop = Workshop(tmp_path / "data", clock=lambda: NOW)
    practice_bench.start(workshop.practice, doing=Doing("you"))
    yield workshop
    workshop.close()


def client_of(workshop, **cookies):
    client = TestClient(create_bench(workshop), base_url="http://127.0.0.1:8742", follow_redirects=False)
    client.headers.update(PAGE)
    for name, value in cookies.items():
        client.cookies.set(name, value)
    return client


@pytest.fixture
def reader(filled):
    return client_of(filled, firstpull_person="Ada", firstpull_seen="1")


def act(client, address, **fields):
    """Post a form as its page would send it: with what the page knew."""
    page = client.get(address)
    found = dict(re.findall(r'name="(expected|client_id)" value="([^"]*)"', page.text))
    target = re.search(r'<form[^>]* action="([^"]+)" method="post"', page.text.split("<main")[1])
    return client.post(target.group(1) if target else address, data={**found, **fields})


# ---- overview


def test_the_first_visit_opens_the_practice_job_and_the_next_the_overview(filled):
    """Somebody new is led to the first pull; from then on the start is the overview."""
    client = client_of(filled)
    first = client.get("/")
    assert (first.status_code, first.headers["location"]) == (303, DIAL_IN)
    assert client.get("/").status_code == 200


def test_an_empty_bench_opens_practice(tmp_path):
    """Without any job, real or simulated, the start is the page that starts practice."""
    workshop = Workshop(tmp_path / "data", clock=lambda: NOW)
    assert client_of(workshop).get("/").headers["location"] == "/practice"
    workshop.close()


def test_the_overview_says_where_the_work_stands(reader):
    """It goes on with the last job, lists open jobs, cards with a state word, and tools with word and reason."""
    text = reader.get("/").text
    assert "Go on: Rack for the overseas customer" in text
    assert "Cable guide, M5" in text
    assert re.search(r"Battery tray lid, M6.*?In control.*?since 2026-03-02 09:15", text, re.DOTALL)
    assert re.search(r"Tool A, bench.*?Due.*?past its limit", text, re.DOTALL)


@pytest.mark.parametrize(
    ("query", "address"),
    [
        ("battery tray", f"/bench/jobs/{LID}"),
        (LID, f"/bench/jobs/{LID}"),
        ("A", "/tools/A"),
        ("C1", "/gauges/C1"),
        ("micrometer", "/gauges/Q1"),
    ],
)
def test_a_single_find_is_opened_at_once(reader, query, address):
    """A job by its words or id, a tool or gauge by its mark or name."""
    assert reader.get("/", params={"q": query}).headers["location"] == address


def test_a_scanned_card_leads_to_its_job(filled, reader):
    """The code on a card and the start of its hash find the job; a wrong hash is said, not followed."""
    state = filled.bench.job(LID)
    code = f"{LID}#{state.release_sequence}"
    for query in (f"{code} {state.release_hash[:16]}", state.release_hash[:12], state.release_hash[:8].upper()):
        assert reader.get("/", params={"q": query}).headers["location"] == f"/bench/jobs/{LID}"
    wrong = reader.get("/", params={"q": f"{code} {'0' * 16}"})
    assert wrong.status_code == 200
    assert "hash is not that of this record" in wrong.text


def test_a_near_name_brings_the_nearest(reader):
    """A slip in a name still finds; nothing alike is said."""
    assert "Battery tray lid, M6" in reader.get("/", params={"q": "batery tray lidd"}).text
    assert "Nothing on record is like that" in reader.get("/", params={"q": "zzzzzz"}).text


def test_a_stray_reading_asks_which_job(reader, filled):
    """A length scanned on the overview is offered to the jobs that can take it, and is not saved by itself."""
    before = filled.bench.store.verify().events
    text = reader.get("/", params={"q": "11,61"}).text
    assert "A reading came in without a job: 11,61" in text
    assert f"/bench/jobs/{LID}/run?reading=11%2C61" in text
    assert filled.bench.store.verify().events == before


@pytest.mark.parametrize("query", ["\x00", "job:", "<script>", "a" * 500, "#", "#1", "1e999", "../x"])
def test_any_search_is_answered(reader, query):
    """Whatever is typed or scanned, the page answers and shows it harmlessly."""
    answer = reader.get("/", params={"q": query})
    assert answer.status_code == 200
    assert "<script>" not in answer.text


# ---- practice


def test_the_practice_job_begins_with_a_pull_and_the_reading_lands_on_its_dot(practice):
    """Pull, turn what is said, pull: the reading was foretold; then it is dialled in and only what is owed is shown."""
    client = client_of(practice, firstpull_seen="1")
    first = client.get(DIAL_IN).text
    assert "This tool is simulated. Pull one insert." in first
    assert 'value="pull"' in first
    assert act(client, DIAL_IN, do="pull").status_code == 303
    assert "Read the same insert once more." in client.get(DIAL_IN).text
    assert act(client, DIAL_IN, do="again").status_code == 303
    assert "too long" in client.get(DIAL_IN).text
    assert act(client, DIAL_IN, do="air_off").headers["location"] == f"{DIAL_IN}?air=off"
    turn = client.get(f"{DIAL_IN}?air=off").text
    assert re.search(r"\d+ clicks? (anti)?clockwise", turn)
    assert 'data-part="expected"' in turn
    act(client, DIAL_IN, do="turned")
    act(client, DIAL_IN, do="pull")
    landed = client.get(DIAL_IN).text
    assert "It landed on the dot" in landed
    assert 'data-part="foretold"' in landed
    for _act in range(8):
        reply = practice.practice.job(LID).advice
        if reply["action"] == "release":
            break
        act(client, DIAL_IN, do={"turn": "turned", "remeasure": "again"}.get(reply["action"], "pull"))
    assert act(client, DIAL_IN, do="hold").headers["location"] == DIAL_IN
    end = client.get(DIAL_IN).text
    assert "not been proven on coupons" in end
    assert "Start with my own insert" in end
    assert 'value="release"' not in end
    assert len(practice.practice.job(LID).pulls) <= 4


def test_with_the_advice_hidden_each_move_is_reviewed(practice):
    """One's own turn and pull are recorded, and said, did and better are shown; a bad number writes nothing."""
    client = client_of(practice)
    assert client.get(f"/practice/advice?show=no&back={DIAL_IN}").headers["location"] == DIAL_IN
    assert "What is your move?" in client.get(DIAL_IN).text
    assert act(client, DIAL_IN, do="pull").headers["location"] == f"/practice/jobs/{LID}/said"
    said = client.get(f"/practice/jobs/{LID}/said").text
    assert "the caliper read 11.74 mm" in said
    assert "towards more stroke" in said
    seen = practice.practice.job(LID).sequence
    wrong = act(client, DIAL_IN, do="turn", clicks="many", way="more")
    assert wrong.status_code == 422
    assert 'value="many"' in wrong.text
    assert practice.practice.job(LID).sequence == seen
    act(client, DIAL_IN, do="turn", clicks="9", way="more")
    assert practice.practice.job(LID).moves[-1].clicks == 9
    early = act(client, DIAL_IN, do="hold")
    assert early.status_code == 409
    assert "not dialled in yet" in early.text
    assert client.get("/practice/advice?show=yes&back=//else.example").headers["location"] == "/"


def test_each_temperament_can_be_started_and_reviewed(practice):
    """Every tool on the page starts a job that opens at the pull, and its truth can be seen."""
    client = client_of(practice)
    for temperament in re.findall(r'name="temperament" value="([^"]+)"', client.get("/practice").text):
        started = client.post("/practice", data={"temperament": temperament})
        assert started.status_code == 303
        address = started.headers["location"]
        assert "Pull" in client.get(address).text
        assert "Air to stack" in client.get(address.replace("dial-in", "review")).text
    assert client.post("/practice", data={"temperament": "haunted"}).status_code == 422


def test_practice_reviews_speak_the_unit_of_the_reader(practice):
    """With inches chosen no page of practice says mm."""
    client = client_of(practice, firstpull_unit="in")
    act(client, DIAL_IN, do="pull")
    for page in ("dial-in", "said", "review"):
        text = re.sub(
            r"<(header|script|style).*?</\1>", "", client.get(f"/practice/jobs/{LID}/{page}").text, flags=re.DOTALL
        )
        assert not re.search(r"\d mm", text), page


@pytest.mark.parametrize("page", ["dial-in", "said", "review"])
def test_an_unknown_practice_job_is_not_found(practice, page):
    """A job that is not there brings 404 in our words."""
    assert client_of(practice).get(f"/practice/jobs/nowhere/{page}").status_code == 404


# ---- record


def test_the_job_record_reads_in_words(reader):
    """Every event is a sentence with its number, time and person; none is left as a bare type."""
    text = reader.get(f"/bench/jobs/{LID}/record").text
    assert "Released by Demo technician." in text
    assert "Pulled in the air" in text
    assert "Adjuster turned" in text
    from firstpull.record.job import JOB_EVENT_TYPES

    assert not [name for name in JOB_EVENT_TYPES if f"<td>{name}</td>" in text]
    assert reader.get("/bench/jobs/nowhere/record").status_code == 404
    assert reader.get(f"/shed/jobs/{LID}/record").status_code == 404


def test_a_struck_out_reading_stays_and_is_marked(practice):
    """A struck-out pull is still there, struck through, with its reason."""
    client = client_of(practice)
    act(client, DIAL_IN, do="pull")
    pull = practice.practice.job(LID).pulls[-1].sequence
    act(client, f"{DIAL_IN}/strike", of=str(pull), reason="wrong insert")
    text = client.get(f"/practice/jobs/{LID}/record").text
    assert re.search(r"<s>Pulled in the air: 11\.74[^<]*</s> <b>struck out</b>", text)
    assert f"Event {pull} struck out: wrong insert" in text


def test_the_record_is_verified_on_asking(reader):
    """Verify walks the record and says how much it walked."""
    assert "It is whole." not in reader.get("/record").text
    assert "It is whole." in reader.get("/record?verify=now").text
    assert reader.get("/record?room=shed").status_code == 404


def test_the_backup_is_a_whole_record(reader, filled, tmp_path):
    """The download is an SQLite file with every event; nothing is left behind."""
    answer = reader.get("/record/backup")
    assert 'filename="firstpull-record-2026-03-02-0915.sqlite"' in answer.headers["content-disposition"]
    copy = tmp_path / "copy.sqlite"
    copy.write_bytes(answer.content)
    with sqlite3.connect(copy) as connection:
        (events,) = connection.execute("select count(*) from event").fetchone()
    assert events == filled.bench.store.verify().events


def test_the_export_holds_every_event(reader, filled):
    """The JSON Lines download ends by counting its events."""
    lines = reader.get("/record/export").text.splitlines()
    assert json.loads(lines[-1])["events"] == len(lines) - 2 == filled.bench.store.verify().events


def test_a_stray_reading_waits_at_the_job_it_was_given_to(reader):
    """It stands in the field of the run, unsaved; a dial-in that asks for something else first says that it came."""
    assert 'value="11.61"' in reader.get(f"/bench/jobs/{LID}/run?now=tool&reading=11.61").text
    assert "“11.61” came in" in reader.get("/bench/jobs/cable-guide-m5/dial-in?reading=11.61").text


def test_the_review_goes_through_every_pull(practice):
    """Pull by pull the review shows the reading, the truth, the best move and what was done; a wrong turn is marked."""
    from firstpull.jobs import dial_in, practice_bench
    from firstpull.jobs.workshop import Doing

    client, book, you = client_of(practice), practice.practice, Doing("you")
    practice_bench.pull(book, LID, doing=you)
    dial_in.turn(book, LID, doing=you, clicks=1)
    practice_bench.pull(book, LID, doing=you)
    first, second = practice_bench.looked_back(book.job(LID))
    assert (first.right, first.done, second.right, second.done) == (False, "1 click more", None, "")
    assert first.better.endswith("more stroke")
    text = client.get(f"/practice/jobs/{LID}/review").text
    for word in (first.said, first.did, first.better, "✗ 1 click more"):
        assert f">{word}<" in text


def test_a_tool_short_of_air_is_told_as_stalled(practice):
    """On the tool whose air is too low the best move in the review is to stop, and turning on is marked as wrong."""
    from firstpull.jobs import dial_in, practice_bench
    from firstpull.jobs.workshop import Doing

    book, you = practice.practice, Doing("you")
    job = practice_bench.start(book, doing=you, temperament="short of air", seed=101).id
    assert practice_bench.simulated_tool(book.job(job)).truth().target_length_mm > 0
    for _pull in range(2):
        practice_bench.pull(book, job, doing=you)
        dial_in.turn(book, job, doing=you, clicks=12)
    last = practice_bench.looked_back(book.job(job))[-1]
    assert (last.better, last.right) == ("stop: too little air", False)


def test_what_is_due_comes_first(reader):
    """On the overview tools and gauges that are due stand before those that are ready, and an open job says its step."""
    text = reader.get("/?overview=yes").text
    words = re.findall(r'class="thing thing-(\w+)"', text[text.rindex("<h2>Tools and gauges") :])
    assert words == sorted(words, key=("due", "look", "done").index)
    assert "· set up" in text


def test_a_part_and_a_paper_of_a_tool_are_found(reader):
    """The search opens a part of the catalogue that no job uses, and the code on a tool's history leads to the tool."""
    assert reader.get("/?q=DEMO-U500-13-SSFO-140").headers["location"] == "/inserts/row?part=DEMO-U500-13-SSFO-140"
    assert reader.get("/?q=tool:A%234").headers["location"] == "/tools/A"

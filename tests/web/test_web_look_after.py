"""Look after: due rows, the fault finder, tools and gauges with their acts, and learning a knob."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest

from firstpull.jobs.workshop import Workshop
from firstpull.trade.faults import faults
from firstpull.web.bench import create_bench
from web.bench_client import TestClient

NOW = datetime(2026, 3, 2, 9, 15, tzinfo=UTC)


@pytest.fixture
def shop(tmp_path):
    workshop = Workshop(tmp_path / "data", clock=lambda: NOW)
    yield workshop
    workshop.close()


@pytest.fixture
def client(shop):
    made = TestClient(create_bench(shop), base_url="http://127.0.0.1:8742", follow_redirects=False)
    made.headers.update({"accept": "text/html"})
    made.cookies.set("firstpull_person", "Ada")
    return made


def act(client, address, **fields):
    """Post the form of a page with the hidden fields that it carries."""
    page = client.get(address).text
    form = page.split("<main")[1]
    hidden = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form))
    return client.post(address.partition("?")[0], data={**hidden, **fields})


def add_tool(client, **more):
    """Walk the three screens as a browser would, carrying what each page holds."""
    answers = {"id": "T1", "name": "Tool 1", "control": "stroke", **more}
    carried = {"screen": "which"}
    for screen in ("which", "adjuster", "limits"):
        answer = client.post("/tools/new", data={**carried, **answers, "screen": screen, "do": "next"})
        if answer.status_code != 200:
            return answer
        carried = dict(
            re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', answer.text.split("<main")[1])
        )
    return answer


def add_gauge(client, **more):
    given = {"id": "C9", "name": "Caliper 9", "resolution_mm": "0.01", "error_mm": "0.03", "every_days": "365", **more}
    return client.post("/gauges/new", data=given)


# ---- what is due and what is seen


def test_nothing_is_due_in_an_empty_shop(client):
    """Without tools and gauges the page says so, and the faults are there."""
    text = client.get("/look-after").text
    assert "Nothing is due." in text
    assert all(one.seen in text for one in faults())


@pytest.mark.parametrize("key", [one.key for one in faults()])
def test_each_fault_shows_causes_and_what_to_try(client, key):
    """A tap on a picture leads to causes and tries in order."""
    text = client.get(f"/look-after?seen={key}").text
    assert "Usual causes" in text
    assert "What to try, in this order" in text
    assert client.get("/look-after?seen=rust").status_code == 404


def test_a_new_gauge_is_due_until_its_block_check(client, shop):
    """It is due at once, passes on the block with a date, and fails loudly when it is off."""
    assert add_gauge(client).headers["location"] == "/gauges/C9"
    assert "never checked on a gauge block" in client.get("/look-after").text
    assert act(client, "/gauges/C9", do="read", block="20", reading="20.02").status_code == 303
    assert "Passed on 2026-03-02, off by 0.020 mm. Next check 2027-03-02." in client.get("/gauges/C9").text
    assert act(client, "/gauges/C9", do="read", block="20", reading="20.05").status_code == 303
    assert "Failed on 2026-03-02" in client.get("/gauges/C9").text
    assert len(shop.bench.gauge("C9").checks) == 2


@pytest.mark.parametrize(
    ("block", "reading", "said"), [("20", "abc", "abc"), ("20", "0.787", "Check the unit"), ("", "20", "")]
)
def test_a_wrong_block_reading_writes_nothing(client, shop, block, reading, said):
    """A text that is no length, an inch reading and a missing block are refused with what was typed kept."""
    add_gauge(client)
    answer = act(client, "/gauges/C9", do="read", block=block, reading=reading)
    assert answer.status_code == 422
    assert f'value="{reading}"' in answer.text
    assert said in answer.text
    assert not shop.bench.gauge("C9").checks


def test_a_check_on_a_page_that_moved_on_is_a_conflict(client, shop):
    """The same page sent twice with other content is shown again and writes nothing more."""
    add_gauge(client)
    assert (
        client.post("/gauges/C9", data={"do": "read", "block": "20", "reading": "20", "expected": "1"}).status_code
        == 303
    )
    late = client.post("/gauges/C9", data={"do": "read", "block": "20", "reading": "20.01", "expected": "1"})
    assert late.status_code == 409
    assert 'value="20.01"' in late.text
    assert len(shop.bench.gauge("C9").checks) == 1


@pytest.mark.parametrize(
    "wrong",
    [
        {"id": ""},
        {"id": "new"},
        {"id": "a b"},
        {"name": " "},
        {"resolution_mm": "x"},
        {"error_mm": "5"},
        {"every_days": "0"},
    ],
)
def test_a_gauge_that_can_not_be_is_refused(client, shop, wrong):
    """Each wrong field brings 422 and no gauge."""
    assert add_gauge(client, **wrong).status_code == 422
    assert not shop.bench.store.streams("gauge")


# ---- tools


def test_a_stroke_set_tool_is_added_in_three_screens(client, shop):
    """Nothing is written before the last one; then the tool stands as typed."""
    done = add_tool(
        client, lead_per_turn="0.5", clicks_per_turn="12", stroke_max="7.5", load_max_n="16", rated_pressure_bar="6.2",
        line_pressure_bar="5.8", service_every_cycles="5000", cycles="120",
    )  # fmt: skip
    assert done.headers["location"] == "/tools/T1"
    tool = shop.bench.tool("T1")
    assert tool.tool["lead_per_turn"]["nm"] == 500_000
    assert tool.tool["clicks_per_turn"] == 12
    assert tool.tool["load_max_n"] == 16000
    assert (tool.cycles, tool.service_every_cycles) == (120, 5000)
    text = client.get("/tools/T1").text
    assert "16.0 kN" in text
    assert "0 of 5000 cycles to service" in text


def test_a_force_set_tool_in_inches(client, shop):
    """With inches chosen, bare numbers are inches, pounds and psi."""
    client.cookies.set("firstpull_unit", "in")
    done = add_tool(
        client,
        control="force",
        piston_area_mm2="2000",
        ratio="16",
        efficiency="0.85",
        stroke_max="0.3",
        load_max_n="4000",
        rated_pressure_bar="90",
    )
    assert done.status_code == 303
    tool = shop.bench.tool("T1").tool
    assert tool["stroke_max"]["nm"] == 7_620_000
    assert tool["load_max_n"] == pytest.approx(17792.9, abs=0.1)
    assert tool["rated_pressure_bar"] == pytest.approx(6.2053, abs=1e-4)


@pytest.mark.parametrize(
    ("wrong", "question"),
    [
        ({"id": "a b"}, "Which tool is it?"),
        ({"lead_per_turn": "much"}, "How is it set?"),
        ({"clicks_per_turn": "0"}, "How is it set?"),
        ({"stroke_max": "1", "stroke_min": "2"}, "What can it do?"),
        ({"load_max_n": "strong"}, "What can it do?"),
        ({"cycles": "-1"}, "What can it do?"),
        ({"control": "magic"}, "Which tool is it?"),
    ],
)
def test_a_wrong_field_is_asked_again_on_its_screen(client, shop, wrong, question):
    """The screen that holds the field comes back with the text in it, and nothing is written."""
    answer = add_tool(client, **wrong)
    assert answer.status_code == 422
    assert question in answer.text
    assert 'class="problem-what"' in answer.text
    assert not shop.bench.store.streams("tool")


def test_what_is_done_to_a_tool_is_in_its_history(client, shop):
    """Service, cycles, mandrels added, fitted and retired: each act is recorded and read back in words."""
    add_tool(client)
    assert (
        act(client, "/tools/T1?do=mandrel", do="mandrel", mandrel="M6-a", thread="M6", cycle_limit="100").status_code
        == 303
    )
    assert (
        act(client, "/tools/T1?do=mandrel", do="mandrel", mandrel="M6-b", thread="M6", cycle_limit="0").status_code
        == 303
    )
    assert act(client, "/tools/T1?do=fit", do="fit", mandrel="M6-a").status_code == 303
    assert act(client, "/tools/T1?do=cycles", do="cycles", cycles="120").status_code == 303
    assert "change by 22 sets" in client.get("/tools/T1").text  # 120·√(−ln 0.9 / −ln 0.05) = 22.5, by hand
    assert "past its limit" in client.get("/look-after").text
    assert (
        act(client, "/tools/T1?do=retire", do="retire", mandrel="M6-a", reason="thread worn", how="ended").status_code
        == 303
    )
    assert act(client, "/tools/T1?do=service", do="service", what="seals and oil").status_code == 303
    assert shop.bench.tool("T1").mandrels["M6-a"]["how"] == "ended"
    text = client.get("/tools/T1").text
    for words in ("Mandrel M6-a fitted.", "120 cycles counted.", "retired: thread worn", "Serviced: seals and oil"):
        assert words in text
    assert act(client, "/tools/T1?do=fit", do="fit", mandrel="M6-a").status_code == 409
    assert shop.bench.tool("T1").fitted == ""


@pytest.mark.parametrize(
    "wrong",
    [
        {"do": "service", "what": " "},
        {"do": "cycles", "cycles": "many"},
        {"do": "mandrel", "mandrel": "M6-a", "thread": "M99"},
        {"do": "mandrel", "mandrel": "", "thread": "M6"},
        {"do": "fit", "mandrel": "none"},
        {"do": "retire", "mandrel": "none", "reason": "x"},
        {"do": "explode"},
    ],
)
def test_a_wrong_act_on_a_tool_writes_nothing(client, shop, wrong):
    """Each is refused in our words and the tool stays as it was."""
    add_tool(client)
    before = shop.bench.tool("T1").sequence
    answer = act(client, f"/tools/T1?do={wrong['do']}", **wrong)
    assert answer.status_code == 422
    assert shop.bench.tool("T1").sequence == before


@pytest.mark.parametrize("address", ["/tools/none", "/gauges/none", "/tools/none/learn-knob"])
def test_an_unknown_thing_is_not_found(client, address):
    """404 in our words."""
    assert client.get(address).status_code == 404


def test_without_a_name_the_forms_ask_for_one(shop):
    """Whoever has not given a name is asked before typing anything."""
    nobody = TestClient(create_bench(shop), base_url="http://127.0.0.1:8742", follow_redirects=False)
    assert nobody.get("/tools/new").headers["location"].startswith("/person")


# ---- learn this knob


def test_a_knob_is_learned_from_four_pulls(client, shop):
    """Three pulls forward and one back show lead, direction and play; kept, they belong to the tool."""
    add_tool(client)
    page = "/tools/T1/learn-knob"
    for turns, after in (("0", "13.50"), ("+2", "12.46"), ("+4", "11.44"), ("+2", "12.41")):
        assert act(client, page, do="try", turns=turns, free_length="15.50", set_length=after).status_code == 303
    text = client.get(page).text
    assert "Stroke a turn" in text
    assert "more stroke" in text
    assert "Is that this knob?" in text
    assert act(client, page, do="learn").headers["location"] == "/tools/T1"
    learned = shop.bench.tool("T1").learned
    assert learned["lead_per_turn_mm"] == pytest.approx(0.515, abs=0.005)
    assert learned["backlash_turns"] == pytest.approx(0.1, abs=0.03)
    assert "Knob learned from 4 pulls" in client.get("/tools/T1").text


def test_a_knob_that_counts_the_other_way(client, shop):
    """Typographic minus signs are read, and plus is found to mean less stroke."""
    add_tool(client)
    page = "/tools/T1/learn-knob"
    for turns, after in (("0", "13.50"), ("−2", "12.50"), ("−4", "11.50")):
        assert act(client, page, do="try", turns=turns, free_length="15.50", set_length=after).status_code == 303
    act(client, page, do="learn")
    assert shop.bench.tool("T1").tool["plus_turns"] == "less stroke"


@pytest.mark.parametrize(
    "wrong",
    [
        {"turns": "some"},
        {"turns": "900"},
        {"set_length": ""},
        {"set_length": "16"},
        {"free_length": "long"},
    ],
)
def test_a_wrong_pull_is_not_learned_from(client, shop, wrong):
    """It is refused with the typed text kept; learning too early is refused as well."""
    add_tool(client)
    given = {"turns": "0", "free_length": "15.5", "set_length": "13.5", **wrong}
    answer = act(client, "/tools/T1/learn-knob", do="try", **given)
    assert answer.status_code == 422
    assert all(f'value="{value}"' in answer.text for value in wrong.values() if value)
    assert not shop.bench.tool("T1").knob_trials
    assert act(client, "/tools/T1/learn-knob", do="learn").status_code == 409

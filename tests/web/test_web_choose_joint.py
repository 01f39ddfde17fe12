"""What else is known of a joint, asked on four short screens that may be left out, and every check that follows."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from firstpull.exchange.job_file import read_job
from firstpull.jobs import catalogue, choose, look_after, open_job, set_up, told
from firstpull.jobs.shapes import demand_of
from firstpull.jobs.workshop import Book, Doing
from firstpull.mechanics.check import Check
from firstpull.mechanics.joint.demand import Edges, JointDemand, LoadRange, Loads, Screw
from firstpull.mechanics.tool import Tool
from firstpull.units import parse_length
from firstpull.web.typed import typed_force_range
from web.bench_client import TestClient
from web.bench_desk import ADA, bench, fields, m6, stacked_job

Desk = tuple[TestClient, Book]
SCREENS = {
    "loads": {"tension": "0.2 to 0.6", "shear": "400 N", "push": "", "load_factor": "40 %"},
    "part": {
        "mating_thickness": "3", "clearance_hole": "6.6", "washer": "1.6", "strength": "8.8",
        "condition": "lubricated", "proof_share": "60",
    },
    "place": {"edge": "20", "pitch": "60", "pocket_diameter": "40", "pocket_depth": "4"},
    "service": {"sealed": "", "surroundings": "controlled", "temperature": "140 F", "body": "round", "dimple": "", "load_ceiling": ""},
}  # fmt: skip


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with bench(tmp_path / "data") as both:
        book = both[1]
        full = replace(m6("OUR-M6-FULL"), hole_diameter=parse_length("9.1 mm"), hole_tolerance=parse_length("0.1 mm"))
        catalogue.add_measured(book, full, doing=ADA)
        yield both


def _address(job: str, screen: str, *, part: str = "") -> str:
    return f"/bench/jobs/{job}/choose?screen={screen}" + (f"&part={part}" if part else "")


def _post(client: TestClient, address: str, **data: str) -> tuple[int, str, str]:
    form = fields(client.get(address).text)
    answer = client.post(address, data={**form, **data})
    return answer.status_code, answer.text, answer.headers.get("location", "")


def _say_all(client: TestClient, job: str) -> None:
    for screen, values in SCREENS.items():
        status, text, _to = _post(client, _address(job, screen), do="next", **values)
        assert status == 303, text


def _words(page: str) -> str:
    """The visible words of the page's own part."""
    main = page[page.index("<main") : page.index("</main>")]
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", re.sub(r"<desc.*?</desc>", "", main))).split())


def test_the_usual_way_is_as_short_as_before(desk: Desk) -> None:
    """Without loads the screw and the access lead to the pick, and the next action stays the first button."""
    client, book = desk
    job = stacked_job(book)
    assert _post(client, _address(job, "thread"), do="keep", thread="M6", torque="6", material="")[2].endswith("access")
    page = client.get(_address(job, "access")).text
    assert re.findall(r'class="(action[^"]*)" name="do" value="(\w+)"', page) == [
        ("action", "keep"),
        ("action action-other", "more"),
    ]
    assert _post(client, _address(job, "access"), do="keep", end="", head="", room_behind="")[2].endswith("=pick")
    assert book.job(job).joint is None


def test_what_is_known_goes_on_record_screen_by_screen(desk: Desk) -> None:
    """Loads, part, edges and service are asked one after the other and read back as they were typed."""
    client, book = desk
    job = stacked_job(book)
    _status, _text, to = _post(client, _address(job, "access"), do="more", end="", head="", room_behind="20")
    seen = []
    while not to.endswith("pick"):
        seen.append(to.rpartition("=")[2])
        _status, _text, to = _post(client, to, do="next", **SCREENS[seen[-1]])
    assert seen == list(SCREENS)
    state = book.job(job)
    assert demand_of(state) == JointDemand(
        loads=Loads(tension=LoadRange(200, 600), shear=LoadRange(400, 400), load_factor=0.4),
        screw=Screw(
            strength="8.8",
            condition="lubricated",
            proof_share=0.6,
            mating_thickness=parse_length("3 mm"),
            clearance_hole=parse_length("6.6 mm"),
            washer=parse_length("1.6 mm"),
        ),
        edges=Edges(edge=parse_length("20 mm"), pitch=parse_length("60 mm")),
    )
    needs = choose.needs_of(state)
    assert needs is not None
    assert (needs.surroundings, needs.temperature_c, needs.body) == ("controlled", 60.0, "round")
    assert (needs.pocket_diameter_mm, needs.pocket_depth_mm, needs.room_behind_mm) == (40.0, 4.0, 20.0)
    assert (state.joint or {})["typed"]["tension"] == "0.2 to 0.6"
    record = client.get(f"/bench/jobs/{job}/record").text
    assert "Needed: M6, body round, room behind 20.00 mm, pocket 40.00 mm, deep 4.00 mm, up to 60 °C" in record
    assert "Asked of the joint: tension 0.20 to 0.60 kN, shear 0.40 kN, screw 8.8, part 3.00 mm" in record


def test_any_screen_leads_to_what_fits(desk: Desk) -> None:
    """Whoever knows no more goes on to the pick from each screen; nothing said writes nothing."""
    client, book = desk
    job = stacked_job(book)
    before = book.store.last(f"job:{job}")
    for screen in SCREENS:
        assert _post(client, _address(job, screen), do="fits")[2].endswith("=pick")
    assert book.store.last(f"job:{job}") == before


def test_an_answer_left_alone_keeps_its_last_digit(desk: Desk) -> None:
    """In inches the same screens show other numbers, and sending them back unchanged writes nothing."""
    client, book = desk
    job = stacked_job(book)
    _post(client, _address(job, "thread"), do="keep", thread="M6", torque="5.55", material="")
    _post(client, _address(job, "access"), do="keep", end="", head="", room_behind="20.005")
    _say_all(client, job)
    before = book.store.last(f"job:{job}")
    client.cookies.set("firstpull_unit", "in")
    for screen in (*SCREENS, "thread", "access"):
        page = client.get(_address(job, screen)).text
        main = page[page.index("<main") :]
        values = dict(re.findall(r'<input id="(\w+)" name="\w+" value="([^"]*)"', main))
        values |= dict(re.findall(r'type="radio" name="(\w+)" value="([^"]*)" checked', main))
        status, text, _to = _post(client, _address(job, screen), do="keep", **values)
        assert status == 303, text
    assert book.store.last(f"job:{job}") == before
    assert 'value="45 to 134.9"' in client.get(_address(job, "loads")).text
    assert "Tension, lbf" in client.get(_address(job, "loads")).text


@pytest.mark.parametrize(
    ("screen", "name", "text", "said"),
    [
        ("loads", "tension", "2 to 1.2", "The lowest load is above the highest."),
        ("loads", "tension", "heavy", "is not a number"),
        ("loads", "shear", "3 mm", "is not a unit of force"),
        ("loads", "push", "1 to 2 to 3", "more than one range"),
        ("loads", "push", "-3", "That load cannot be right."),
        ("loads", "load_factor", "140 %", "A share is from 0 to 100"),
        ("part", "mating_thickness", "0", "more than nothing"),
        ("part", "clearance_hole", "6,6,6", "can be read in more than one way"),
        ("part", "clearance_hole", "3", "does not let the M6x1 screw through"),
        ("part", "strength", "very strong", "is not a screw class that is held"),
        ("part", "condition", "muddy", "is not a state of the threads"),
        ("place", "edge", "-2", "more than nothing"),
        ("place", "pocket_depth", "deep", "is not a number"),
        ("service", "temperature", "hot", "is not a temperature"),
        ("service", "temperature", "9999", "cannot be right"),
        ("service", "body", "square", "not one of the choices"),
    ],
)
def test_what_cannot_be_is_said_under_its_field(desk: Desk, screen: str, name: str, text: str, said: str) -> None:
    """Our message stands under the field, what was typed stays, and nothing is written."""
    client, book = desk
    job = stacked_job(book)
    before = book.store.last(f"job:{job}")
    values = {**SCREENS[screen], name: text}
    status, page, _to = _post(client, _address(job, screen), do="next", **values)
    assert status == 422
    under = re.search(rf'id="{name}-problem"[^>]*>(.*?)</div>', page, re.DOTALL)
    assert under is not None
    assert said in html.unescape(under[1])
    kept = dict(re.findall(r'<input id="(\w+)" name="\w+" value="([^"]*)"', page))
    assert {key: html.unescape(value) for key, value in kept.items()} == {
        key: value for key, value in values.items() if key in kept
    }
    assert book.store.last(f"job:{job}") == before


def test_a_sealed_joint_has_no_open_end(desk: Desk) -> None:
    """Sealed with an open end is refused, from either side, and closed inserts are asked for."""
    client, book = desk
    job = stacked_job(book)
    _post(client, _address(job, "access"), do="keep", end="open", head="", room_behind="")
    status, page, _to = _post(client, _address(job, "service"), do="fits", sealed="yes")
    assert status == 422
    assert "cannot have an open end" in page
    _post(client, _address(job, "access"), do="keep", end="", head="", room_behind="")
    assert _post(client, _address(job, "service"), do="fits", sealed="yes")[0] == 303
    status, page, _to = _post(client, _address(job, "access"), do="keep", end="open", head="", room_behind="")
    assert status == 422
    assert "an open end leaks" in page
    assert "the joint must be sealed" in client.get(_address(job, "pick")).text


def test_the_torque_of_a_job_file_gives_way_to_the_one_typed(desk: Desk) -> None:
    """The thread screen shows the file’s torque, keeps it when it is left alone, and a new one counts everywhere."""
    client, book = desk
    file = read_job(
        '[job]\ntitle = "F"\n[[stack.layer]]\nmaterial = "EN AW-5754"\nthickness = "2 mm"\n'
        '[needs]\nthread = "M6"\n[screw]\ntorque = "4.55 Nm"\n'
    )
    job = open_job.open_from_file(book, file, doing=ADA).id
    assert 'value="4.5 N·m"' in client.get(_address(job, "thread")).text
    _post(client, _address(job, "thread"), do="keep", thread="M6", torque="4.5 N·m", material="")
    asked = demand_of(book.job(job))
    assert asked is not None
    assert asked.screw.torque_nm == 4.55
    _post(client, _address(job, "thread"), do="keep", thread="M6", torque="5.5", material="")
    found = choose.candidates(book, job).candidates[0].strength
    assert found is not None
    assert found.tightening.torque_nm == 5.5


def test_the_pick_shows_each_insert_in_the_stack(desk: Desk) -> None:
    """Each tile has its picture; hole, torque and screw stand beside the large one, and what was asked can be changed."""
    client, book = desk
    job = stacked_job(book)
    _say_all(client, job)
    page = client.get(_address(job, "pick", part="OUR-M6-FULL")).text
    tiles = re.findall(r'<label class="choice">.*?</label>', page, re.DOTALL)
    assert tiles
    assert all("<svg" in tile for tile in tiles)
    words = _words(page)
    assert "Hole 9.10 to 9.20, drill 9.1 mm" in words
    assert re.search(r"Screw M6 × \d\d\b", words)
    assert "Torque " in words
    assert "Asked of it: loads, screw and part, edges, service" in words
    assert "tension 0.2 to 0.6 kN · shear 0.4 kN" in words
    choice = choose.candidates(book, job)
    assert f"All {len(choice.candidates[0].checks)} checks" in words


def test_ties_are_explained(desk: Desk) -> None:
    """An insert as good as the one above says what decides between them."""
    client, book = desk
    catalogue.add_measured(book, m6("OUR-M6-SAME"), doing=ADA)
    job = stacked_job(book)
    assert "the part's name decides" in _words(client.get(_address(job, "pick")).text)


def test_the_checks_page_holds_every_check_with_its_source(desk: Desk) -> None:
    """Name, both sides, worst margin, chance, source, and the mark of an estimate; then hole, pins, drills, torque."""
    client, book = desk
    job = stacked_job(book)
    _say_all(client, job)
    best = choose.candidate(book, job, "OUR-M6-FULL")
    assert best is not None
    assert best.strength is not None
    page = client.get(_address(job, "checks", part="OUR-M6-FULL")).text
    words = _words(page)
    for check in best.checks:
        assert check.name in words
    assert page.count("</b> closed form") >= 2
    assert "estimate" in words
    assert "assumed: " in words
    assert "> 99.99 %" in words
    assert "Gauge pins go 9.10, no-go 9.20" in words
    assert "9.1 mm 9.10 0.000 over the least fits" in words
    assert "Window " in words
    status, _text, to = _post(client, _address(job, "checks", part="OUR-M6-FULL"), do="take", part="OUR-M6-FULL")
    assert (status, to) == (303, f"/bench/jobs/{job}/set-up")


def test_checks_of_what_does_not_fit_lead_back_to_the_pick(desk: Desk) -> None:
    """The page of an insert that does not fit, or is not there, is the pick."""
    client, book = desk
    catalogue.add_measured(book, replace(m6("OTHER"), thread="M8", body_diameter=parse_length("11 mm")), doing=ADA)
    job = stacked_job(book)
    for part in ("OTHER", "NONE"):
        answer = client.get(_address(job, "checks", part=part))
        assert answer.status_code == 200
        assert "Which insert do you use?" in answer.text
    for part in ("OTHER", "NONE"):
        assert _post(client, _address(job, "pick"), do="take", part=part)[0] == 422
    assert book.job(job).insert is None


@pytest.mark.parametrize("screen", ["loads", "part", "place", "service", "pick", "checks"])
def test_a_page_in_inches_has_no_other_unit(desk: Desk, screen: str) -> None:
    """Lengths in inches, forces in lbf, torques in lbf·in, and nothing in mm, kN or N·m, whatever fits or does not."""
    client, book = desk
    catalogue.add_measured(book, replace(m6("WEAK"), tightening_torque_max_nm=1.5), doing=ADA)
    catalogue.add_measured(book, replace(m6("LONG"), grip_min=parse_length("2.5 mm")), doing=ADA)
    job = stacked_job(book)
    _say_all(client, job)
    _post(client, _address(job, "thread"), do="keep", thread="M6", torque="2", material="")
    client.cookies.set("firstpull_unit", "in")
    # a source says up to which size its table goes
    words = _words(client.get(_address(job, screen)).text).replace("up to 16 mm", "")
    assert not re.search(r"\bkN\b|N·m|\bmm\b|\bmm²", words), words
    if screen == "pick":
        assert "13.3 lbf·in" in words
        assert " lbf·in" in words


def test_a_tool_that_can_set_none_is_left_out_and_said(desk: Desk) -> None:
    """Where nothing fits for the tool on record alone, the joint is still chosen for, and the page says so."""
    client, book = desk
    job = stacked_job(book, part="OUR-M6")
    catalogue.retire(book, "OUR-M6-BARE", reason="its stroke is not known", doing=ADA)
    weak = Tool(control="stroke", name="Weak", lead_per_turn=parse_length("0.5 mm"), stroke_max=parse_length("1 mm"))
    look_after.add_tool(book, "W", weak, doing=Doing("Ada"))
    set_up.choose_tool(book, job, "W", doing=ADA)
    assert not choose.candidates(book, job).candidates
    page = client.get(_address(job, "pick")).text
    assert "Which insert do you use?" in page
    assert "The tool on record can set none that fits" in page
    assert _post(client, _address(job, "pick"), do="take", part="OUR-M6")[0] == 303


def test_loads_that_no_insert_bears_lead_back_to_the_loads(desk: Desk) -> None:
    """Where strength alone is missing the next action is to change the loads, and the nearest cure is said."""
    client, book = desk
    job = stacked_job(book)
    _post(client, _address(job, "loads"), do="fits", tension="50")
    page = client.get(_address(job, "pick")).text
    assert "Nothing in the catalogue fits." in page
    assert re.search(r'<a class="action" href="[^"]*screen=loads">Change the loads</a>', page)
    assert "0 N·m or less" not in page


def test_a_pocket_waits_for_its_tool(desk: Desk) -> None:
    """Without a tool the pocket is said to be unchecked; with one its nose is, from the tool's own page."""
    client, book = desk
    job = stacked_job(book)
    _post(client, _address(job, "place"), do="fits", **SCREENS["place"])
    assert "nose fits the pocket is not checked" in _words(client.get(_address(job, "pick")).text)
    form = {**fields(client.get("/tools/new").text), "id": "N", "name": "Nose", "control": "stroke", "screen": "limits"}
    added = client.post("/tools/new", data={**form, "do": "next", "nose_diameter": "50", "nose_reach": "12"})
    assert added.headers["location"] == "/tools/N"
    assert "Nose across" in client.get("/tools/N").text
    choose.take_insert(book, job, "OUR-M6", doing=ADA)
    set_up.choose_tool(book, job, "N", doing=ADA)
    assert "does not enter a pocket" in _words(client.get(_address(job, "pick")).text)


def test_a_share_of_one_is_the_whole(desk: Desk) -> None:
    """A load factor of 1, the safe side, is not taken for one percent."""
    client, book = desk
    job = stacked_job(book)
    _post(client, _address(job, "loads"), do="fits", tension="1", load_factor="1")
    asked = demand_of(book.job(job))
    assert asked is not None
    assert asked.loads.load_factor == 1.0


def test_the_chosen_one_shows_however_many_fit(desk: Desk) -> None:
    """Of many that fit the first are told; the job's own insert is among the tiles, and the count is of all."""
    client, book = desk
    for number in range(30):
        catalogue.add_measured(book, m6(f"MANY-{number:02}"), doing=ADA)
    job = stacked_job(book, part="OUR-M6")
    page = client.get(_address(job, "pick")).text
    count = choose.candidates(book, job).fits
    assert count > 30
    assert f"{count - 3} more that fit" in page
    assert re.search(r'value="OUR-M6" checked', page)
    assert "more; say more of the joint" in page
    assert f"one of {count}" in client.get(_address(job, "checks", part="OUR-M6")).text


def test_a_joint_that_moved_on_is_shown_again(desk: Desk) -> None:
    """Loads typed on an older page are not saved over the newer record; they stay in their fields."""
    client, book = desk
    job = stacked_job(book)
    form = fields(client.get(_address(job, "loads")).text)
    choose.take_insert(book, job, "OUR-M6", doing=ADA)
    answer = client.post(_address(job, "loads"), data={**form, "do": "next", **SCREENS["loads"]})
    assert answer.status_code == 409
    assert 'value="0.2 to 0.6"' in answer.text
    assert book.job(job).joint is None


@pytest.mark.parametrize(
    ("text", "unit", "newtons"),
    [
        ("1.2 to 2 kN", "mm", (1200, 2000)),
        ("1,2–2", "mm", (1200, 2000)),
        ("200 N to 0.6 kN", "mm", (200, 600)),
        ("400 N", "in", (400, 400)),
        ("250-400", "in", (1112.055403815, 1779.288646104)),
        ("0", "mm", (0, 0)),
    ],
)
def test_loads_are_read_as_people_write_them(text: str, unit: str, newtons: tuple[float, float]) -> None:
    """One value or a range, with one unit for both, each its own, or that of the field."""
    assert typed_force_range(text, unit, "tension") == pytest.approx(newtons, abs=1e-6)  # type: ignore[arg-type]


def test_sentences_change_their_units() -> None:
    """Every force, torque and length of a sentence is converted once, and sides of a check from their exact value."""
    text = "Up to 3.50 of the 9.00 kN; tighten with 5 of at most 6.8 N·m; +0.1 mm is assumed."
    assert told.told(text, "mm") == text
    assert told.told(text, "in") == (
        "Up to 787 of the 2023 lbf; tighten with 44.3 of at most 60.2 lbf·in; +0.0039 in is assumed."
    )
    check = Check("slip", 353.0, 1000.0, None, "N", True, "Friction holds 0.35 kN.")
    assert told.told(check.text, "in", of=check) == "Friction holds 79.4 lbf."


def test_a_chance_is_never_rounded_to_certainty() -> None:
    """Very likely is said as over 99.99 %, very unlikely as under 0.01 %."""
    assert [told.chance(value) for value in (1.0, 0.98374, 0.0, None)] == ["> 99.99 %", "98.37 %", "< 0.01 %", "–"]
    assert [told.share(value) for value in (0.051, -0.11, None)] == ["5 %", "−11 %", "–"]


def test_a_hole_that_another_thread_made_too_small_is_asked_again(desk: Desk) -> None:
    """With a larger thread the pick leads back to the hole, says what is wrong under it and keeps it; then it goes on."""
    client, book = desk
    job = stacked_job(book)
    _post(client, _address(job, "part"), do="next", mating_thickness="3", clearance_hole="6.6")
    _post(client, _address(job, "thread"), do="next", thread="M10")
    for screen in ("pick", "checks"):
        answer = client.get(_address(job, screen))
        assert answer.status_code == 200
        assert "What is screwed on?" in answer.text
        assert "A hole of 6.6" in answer.text
        assert 'value="6.60"' in answer.text
    status, _text, to = _post(client, _address(job, "part"), do="fits", mating_thickness="3", clearance_hole="11")
    assert (status, to.partition("=")[2]) == (303, "pick")
    assert client.get(to).status_code == 200


def test_a_share_that_is_none_gets_an_example_of_one(desk: Desk) -> None:
    """A load factor that is no number is refused as a share, not as a length."""
    client, book = desk
    status, text, _to = _post(client, _address(stacked_job(book), "loads"), do="next", load_factor="nan")
    assert status == 422
    assert "is not a share" in text
    assert "30 %" in text


def test_a_program_gets_a_refused_act_as_json(desk: Desk) -> None:
    """Without text/html among what it accepts, a form that is refused answers what, where and a hint as JSON."""
    client, book = desk
    address = _address(stacked_job(book), "loads")
    form = fields(client.get(address).text)
    answer = client.post(
        address, data={**form, "do": "next", "tension": "much"}, headers={"accept": "application/json"}
    )
    assert answer.status_code == 422
    assert answer.json()["error"]["where"] == "tension"
    assert answer.json()["error"]["hint"]

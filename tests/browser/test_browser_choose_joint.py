"""The way through loads, part, edges and service to every check and the insert, with and without JavaScript."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from browser_bench import Hand, Served, browsing, served, workshop_in
from firstpull.jobs.shapes import demand_of
from firstpull.mechanics.joint.demand import LoadRange


@pytest.fixture(scope="module")
def bench(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("joint") / "workshop"
    shutil.copytree(demo_folder, folder)
    with served(workshop_in(folder, demo=True)) as made:
        yield made


def _stacked(hand: Hand, title: str) -> str:
    """A new job with its stack, up to the access; gives its id."""
    hand.go("/bench/jobs/new")
    hand.fill("Job", title)
    hand.press("Open the job")
    job = hand.page.url.split("/jobs/")[1].split("/")[0]
    hand.fill("Material", "EN AW-5754")
    hand.fill("Thickness", "2.0 ± 0.09")
    hand.press("Add this layer")
    hand.press("Measure it")
    hand.press("Go on unmeasured")
    hand.fill("Thread", "M6")
    hand.fill("Torque", "5")
    hand.press("Go on: access")
    return job


@pytest.mark.parametrize("javascript", [True, False])
def test_the_joint_is_asked_for_and_every_check_is_shown(browser: Browser, bench: Served, javascript: bool) -> None:
    """What is typed wrong is said and kept; what is right leads to the insert with its checks, and is on record."""
    with browsing(browser, bench, person="Ada", javascript=javascript) as page:
        hand = Hand(page)
        job = _stacked(hand, f"Loaded lid {'with' if javascript else 'without'} script")
        assert hand.actions()[0] == "Show what fits"
        hand.press("More: loads, edges")
        assert hand.question() == "What pulls on one insert?"
        hand.fill("Tension", "0.6 to 0.2")
        hand.fill("Shear", "400 N")
        hand.press(re.compile("^Go on"))
        assert "The lowest load is above the highest." in hand.text()
        assert page.locator("#tension").input_value() == "0.6 to 0.2"
        assert page.locator("#shear").input_value() == "400 N"
        hand.fill("Tension", "0.2 to 0.6")
        hand.press(re.compile("^Go on"))
        assert hand.question() == "What is screwed on?"
        hand.fill("Part thick", "3")
        hand.fill("Its hole", "6.6")
        hand.press(re.compile("^Go on"))
        hand.fill("Edge", "20")
        hand.press(re.compile("^Go on"))
        hand.choose("Dry room")
        hand.fill("Hottest", "60")
        hand.press("Show what fits")
        assert hand.question() == "Which insert do you use?"
        part = hand.text(".candidates .choice b")
        assert page.locator(".candidates .choice svg").count() == page.locator(".candidates .choice").count()
        hand.press(re.compile("^All \\d+ checks"))
        assert hand.question() == part
        assert "edge distance" in hand.text(".checks")
        assert "Gauge pins" in hand.text(".checks-facts")
        assert hand.actions() == ["Use this one"]
        hand.press("Use this one")
        assert page.url.endswith("/set-up")
    state = bench.workshop.bench.job(job)
    demand = demand_of(state)
    assert demand is not None
    assert demand.loads.tension == LoadRange(200, 600)
    assert (state.insert or {})["part"] == part


def test_another_insert_is_looked_at_before_it_is_taken(browser: Browser, bench: Served) -> None:
    """“Look at it” draws the tile that was tapped, and the way without loads is as short as ever."""
    with browsing(browser, bench, person="Ben") as page:
        hand = Hand(page)
        _stacked(hand, "Plain lid")
        hand.press("Show what fits")
        second = hand.page.locator(".candidates .choice b").nth(1).inner_text()
        hand.choose(second)
        hand.press("Look at it")
        assert page.locator(".candidates input:checked").input_value() == second
        assert "Loads, edges and service are not given" in hand.text()


def test_what_is_typed_survives_the_switch_of_units(browser: Browser, bench: Served) -> None:
    """A load typed in kN keeps its meaning when the page turns to inches."""
    with browsing(browser, bench, person="Cid") as page:
        hand = Hand(page)
        job = _stacked(hand, "Switched lid")
        hand.press("More: loads, edges")
        hand.fill("Tension", "0.6")
        page.get_by_role("button", name="Show lengths in inches").click()
        page.get_by_text("Tension, lbf").wait_for()
        assert page.locator("#tension").input_value() == "0.6 kN"
        hand.press(re.compile("^Go on"))
    demand = demand_of(bench.workshop.bench.job(job))
    assert demand is not None
    assert demand.loads.tension == LoadRange(600, 600)

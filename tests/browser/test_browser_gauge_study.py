"""A gauge study in the system's Chromium: thirty readings typed as a gauge types, none lost; two people at once; no JavaScript."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from browser_bench import Served, browsing, served, workshop_in
from firstpull.jobs import gauge_studies, look_after
from firstpull.jobs.gauge_studies import StudyPlan
from firstpull.jobs.workshop import Doing

FAST_MS = 4
ADA = Doing("Ada")
PAGE = "/gauges/C1/study/1"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workshop with one gauge and a study of ten parts, read three times by two people."""
    folder = tmp_path_factory.mktemp("gauge") / "workshop"
    workshop = workshop_in(folder, demo=False)
    look_after.add_gauge(workshop.bench, "C1", "Caliper 1", doing=ADA, resolution_mm=0.01, error_mm=0.03)
    plan = StudyPlan("set length", ("Ada", "Ben"), tuple(map(str, range(1, 11))), 3, half_window_mm=0.127)
    gauge_studies.begin_study(workshop.bench, "C1", plan, doing=Doing("Ada", slip="study"))
    workshop.close()
    return folder


@pytest.fixture
def bench(made: Path, tmp_path: Path) -> Iterator[Served]:
    shutil.copytree(made, tmp_path / "workshop")
    with served(workshop_in(tmp_path / "workshop", demo=False)) as bench:
        yield bench


def _settled(page: Page) -> None:
    """Wait until nothing waits in this tab."""
    for _ in range(600):
        kept = json.loads(page.evaluate("sessionStorage.getItem('firstpull-waiting')") or '{"line": []}')
        if not kept["line"]:
            return
        page.wait_for_timeout(50)
    raise AssertionError("readings still wait")


def _texts(bench: Served, person: str) -> list[str]:
    """What counts for ``person``, in the order it was asked for, as typed."""
    study = bench.workshop.bench.gauge("C1").studies[0]
    counting = study.counting
    return [
        str(counting[slot.number].value["typed"]).removesuffix(" mm")
        for slot in study.slots
        if slot.person == person and slot.number in counting
    ]


def test_thirty_readings_typed_fast_are_all_kept_in_order(browser: Browser, bench: Served) -> None:
    """Without waiting for any page, each reading lands at the place that was asked for next."""
    typed = [f"11.{10 + number}" for number in range(30)]
    with browsing(browser, bench, person="Ada") as page:
        page.goto(PAGE)
        for text in typed:
            page.keyboard.type(text, delay=FAST_MS)
            page.keyboard.press("Enter")
        _settled(page)
        expect(page.locator("h1")).to_have_text("Who measures now?")
    assert _texts(bench, "Ada") == typed


def test_a_tab_that_is_closed_loses_nothing_that_was_saved(browser: Browser, bench: Served) -> None:
    """Another device goes on with the part that comes next."""
    with browsing(browser, bench, person="Ada") as page:
        page.goto(PAGE)
        for text in ("11.10", "11.20", "11.30"):
            page.keyboard.type(text, delay=FAST_MS)
            page.keyboard.press("Enter")
        _settled(page)
        wanted = page.locator("h1").inner_text()
    with browsing(browser, bench, person="Ada") as other:
        other.goto(PAGE)
        assert other.locator("h1").inner_text() == wanted
    assert _texts(bench, "Ada") == ["11.10", "11.20", "11.30"]


def test_two_people_at_once(browser: Browser, bench: Served) -> None:
    """Each at their own screen, reading by reading in turn: neither is refused nor put in the other’s place."""
    with browsing(browser, bench, person="Ada") as first, browsing(browser, bench, person="Ben") as second:
        for page in (first, second):
            page.goto(PAGE)
        for number in range(6):
            for page, whole in ((first, 11), (second, 12)):
                page.keyboard.type(f"{whole}.{10 + number}", delay=FAST_MS)
                page.keyboard.press("Enter")
        for page in (first, second):
            _settled(page)
    assert _texts(bench, "Ada") == [f"11.{10 + number}" for number in range(6)]
    assert _texts(bench, "Ben") == [f"12.{10 + number}" for number in range(6)]


def test_without_javascript_it_is_read_and_finished(browser: Browser, bench: Served) -> None:
    """Plain forms: every reading by the button, then the result."""
    with browsing(browser, bench, person="Ada", javascript=False) as page:
        for person in ("Ada", "Ben"):
            page.goto(f"{PAGE}?who={person}")
            while found := re.match(r"Part (\d+):", page.locator("h1").inner_text()):
                page.fill("#reading", f"{11 + 0.03 * int(found[1]):.2f}")
                page.click("main .action >> nth=0")
        page.click("main .action >> nth=0")
        expect(page.locator(".instruction")).to_contain_text("Good for")

"""The switch between mm and inches, anywhere: every length on the page changes, what is typed stays what it was."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from browser_bench import Hand, Served, browsing, served, workshop_in
from web import released_bench

HELD, RELEASED, FORCE = released_bench.HELD, released_bench.RELEASED, released_bench.FORCE
OPEN = "cable-guide-m5"

PAGES = [
    f"/bench/jobs/{OPEN}/choose?screen=stack",
    f"/bench/jobs/{OPEN}/choose?screen=measure",
    f"/bench/jobs/{OPEN}/choose?screen=pick",
    f"/bench/jobs/{OPEN}/choose?screen=loads",
    f"/bench/jobs/{OPEN}/choose?screen=place",
    f"/bench/jobs/{OPEN}/set-up",
    f"/bench/jobs/{OPEN}/set-up?ask=review",
    f"/bench/jobs/{HELD}/dial-in",
    f"/bench/jobs/{HELD}/prove",
    f"/bench/jobs/{HELD}/prove?coupon=end%3Das%2Bmeasured",
    f"/bench/jobs/{RELEASED}/hand-over",
    f"/bench/jobs/{RELEASED}/run",
    f"/bench/jobs/{RELEASED}/run?now=turning",
    f"/bench/jobs/{RELEASED}/operator",
    f"/bench/jobs/{RELEASED}/record",
    f"/bench/jobs/{FORCE}/dial-in",
    "/inserts/row?part=DEMO-M6-STFO-30",
    "/tools/A",
    "/look-after",
]
# names that people gave stay as they are, and so do texts of the record that quote what was typed
_NAMES = re.compile(
    r"(Caliper|Micrometer) \d+, \d+ mm \(demo\)|[Pp]roved in (mm|in)|shown in (mm|in)|Length typed[^.]*"
)
_METRIC = re.compile(r"\d[\d.]*\s*(?:mm|N·m|bar)\b|, (?:mm|N·m|bar)$|lengths in mm|to scale, mm")
_INCH = re.compile(r"\d\.\d{3,}\s*in\b|\d\s*(?:lbf·in|psi)\b|, (?:in|lbf·in|psi)$|lengths in inches|to scale, in\b")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("units") / "workshop"
    released_bench.make(folder)
    with served(workshop_in(folder, demo=True)) as made:
        yield made


@pytest.fixture
def page(browser: Browser, bench: Served) -> Iterator[Page]:
    with browsing(browser, bench, person="Ada") as page:
        yield page


def _switch(page: Page, unit: str) -> None:
    hand = Hand(page)
    hand.press_at(page.get_by_role("button", name={"mm": "Show lengths in mm", "in": "Show lengths in inches"}[unit]))
    assert page.locator(".unit [aria-pressed=true]").inner_text() == unit


def _lines(page: Page) -> list[str]:
    """What the page’s own part says, drawings and fields included, a piece of text each."""
    shown = page.evaluate(
        """() => {
          const out = [];
          const walk = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
          while (walk.nextNode()) out.push(walk.currentNode.textContent.trim());
          for (const one of document.querySelectorAll("main input[type=text]")) out.push(one.value);
          return out.filter(Boolean);
        }"""
    )
    return [_NAMES.sub("", text) for text in shown]


def test_every_number_changes_and_comes_back(page: Page) -> None:
    """In inches no page says mm, in mm none says inches, and going back shows what was there before."""
    wrong: dict[str, list[str]] = {}
    for address in PAGES:
        page.goto(address)
        before = _lines(page)
        _switch(page, "in")
        inches = _lines(page)
        _switch(page, "mm")
        again = _lines(page)
        found = [text for text in inches if _METRIC.search(text)]
        found += [text for text in before if _INCH.search(text)]
        if before != again:
            found += [f"{old!r} came back as {new!r}" for old, new in zip(before, again, strict=False) if old != new][
                :3
            ]
        if found:
            wrong[address] = found[:6]
    assert not wrong, json.dumps(wrong, ensure_ascii=False, indent=1)


def test_a_reading_keeps_its_text_and_its_unit(page: Page, bench: Served) -> None:
    """A reading typed in mm is still that reading after the switch, and is saved as it was typed."""
    page.goto(f"/bench/jobs/{HELD}/prove?coupon=end%3Das%2Bmeasured")
    page.keyboard.type("2,17", delay=120)
    _switch(page, "in")
    assert page.input_value("[data-reading]") == "2,17 mm"
    Hand(page).press("Save and go on")
    assert "2,17 mm" in page.inner_text("main")
    _switch(page, "mm")


def test_fields_keep_their_texts(page: Page) -> None:
    """Other fields keep what is in them too; a bare length says in which unit it was typed."""
    page.goto(f"/bench/jobs/{OPEN}/choose?screen=stack")
    page.get_by_label("Material").fill("EN AW-5754")
    page.get_by_label("Thickness").fill("1,5 ± 0,05")
    _switch(page, "in")
    assert page.get_by_label("Material").input_value() == "EN AW-5754"
    assert page.get_by_label("Thickness").input_value() == "1,5 ± 0,05 mm"
    Hand(page).press("Add this layer")
    assert "0.0591 ± 0.0020" in page.inner_text(".sheet")
    page.goto(f"/bench/jobs/{RELEASED}/run?now=stop")
    page.get_by_label("Reason").fill("insert spun")
    page.get_by_label("Sets so far").fill("180")
    _switch(page, "mm")
    assert page.get_by_label("Reason").input_value() == "insert spun"
    assert page.get_by_label("Sets so far").input_value() == "180"


def test_a_torque_keeps_its_unit_too(page: Page) -> None:
    """A torque typed in N·m does not become one in lbf·in."""
    page.goto(f"/bench/jobs/{RELEASED}/run?now=turning")
    page.locator("[data-reading]").fill("7.5")
    _switch(page, "in")
    assert page.input_value("[data-reading]") == "7.5 N·m"
    _switch(page, "mm")

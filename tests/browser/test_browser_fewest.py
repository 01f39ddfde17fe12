"""Fewest part numbers in a browser: start, watch it move, leave and come back, stop, and the same without scripts."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from browser_bench import Hand, Served, browsing, served, workshop_in
from firstpull.jobs import choose, open_job
from firstpull.jobs.long_work import LongWork
from firstpull.jobs.standardise import standardise_joints
from firstpull.jobs.standardise_search import Answer, Question, inserts_for
from firstpull.jobs.workshop import Doing
from firstpull.mechanics.cover import Progress
from firstpull.mechanics.needs import Needs
from firstpull.mechanics.stack import Layer, Stack
from firstpull.units import parse_length

PAGE = "/inserts/fewest"


class Slow:
    """The search of the bench, held at a step until it is let go or stopped: then it says its best so far."""

    def __init__(self) -> None:
        self.go = threading.Event()
        self.step = Progress("items", 1, 6, 9, 4)

    def __call__(self, asked: Question, stopped: Callable[[], bool], tell: Callable[[Progress], None]) -> Answer:
        while not (self.go.wait(0.02) or stopped()):
            tell(self.step)
        calls: list[int] = []

        def after_the_joints() -> bool:
            calls.append(1)
            return stopped() and len(calls) > len(asked.joints)

        found = standardise_joints(
            asked.joints, inserts_for(asked.book, asked.joints), min_margin=asked.min_margin, cancelled=after_the_joints
        )
        return Answer(found, {"mm": found.not_served, "in": found.not_served})


@pytest.fixture
def slow() -> Slow:
    return Slow()


@pytest.fixture
def bench(tmp_path: Path, slow: Slow) -> Iterator[Served]:
    workshop = workshop_in(tmp_path / "workshop", demo=True)
    for number, thick in enumerate(("1.5", "2.5", "3.5")):
        stack = Stack((Layer("EN AW-5754", parse_length(f"{thick} mm")),))
        more = (choose.stack_event(stack), choose.needs_event(Needs(thread="M6")))
        open_job.open_job(workshop.bench, f"Bracket {number}", doing=Doing("Ada"), more=more)
    with served(workshop) as made:
        made.app.state.searches.close()
        made.app.state.searches = LongWork(slow)
        try:
            yield made
        finally:
            made.app.state.searches.close()


def test_start_watch_leave_come_back_and_stop(browser: Browser, bench: Served, slow: Slow) -> None:
    """The moving part shows step, best and bound without a reload; another tab stops it, and the best so far is there."""
    with browsing(browser, bench, person="Ada") as page, browsing(browser, bench, person="Ben") as other:
        hand = Hand(page)
        hand.go(PAGE)
        assert hand.actions()[0] == "Find the fewest"
        hand.press("Find the fewest")
        assert hand.question() == "Looking for the fewest part numbers …"
        address = page.url
        assert re.search(r"/inserts/fewest/[0-9a-f]{32}$", address)
        progress = page.locator("#progress")
        expect(progress).to_contain_text(re.compile(r"Part numbers so far\s*9"))
        page.evaluate("() => { document.querySelector('h1').dataset.same = 'yes'; }")
        slow.step = Progress("groups", 2, 6, 8, 8)
        expect(progress).to_contain_text(re.compile(r"Certainly needed\s*8"))
        expect(page.locator("h1[data-same]")).to_have_count(1)
        assert page.locator("progress").evaluate("one => one.value > 0 && one.value < one.max")
        hand.go("/inserts")
        other.goto(address)
        Hand(other).press("Stop, keep the best")
        other.get_by_role("link", name="Answer out (CSV)").wait_for()
        hand.go(address)
        assert "part number" in hand.question()
        assert "Stopped" in hand.text()
        with page.expect_download() as download:
            page.get_by_role("link", name="Answer out (CSV)").click()
        text = Path(download.value.path()).read_text("utf-8")
        assert text.startswith("joint,job,part,")
        assert "Bracket 2" in text


def test_without_scripts_the_page_loads_itself_again(browser: Browser, bench: Served, slow: Slow) -> None:
    """Ticks, start, a page that comes again by itself, and the answer; no script of ours takes part."""
    with browsing(browser, bench, person="Ada", javascript=False) as page:
        page.goto(f"{PAGE}?do=none")
        for number in range(3):
            page.get_by_label(re.compile(f"Bracket {number}")).check()
        page.get_by_role("button", name="Find the fewest").click()
        expect(page.locator("#progress")).to_contain_text(re.compile(r"Certainly needed\s*4"))
        slow.go.set()
        expect(page.locator("h1")).to_contain_text("for 3 joints.")
        expect(page.locator("main")).to_contain_text("Proven: no smaller set")

"""The virtual pull in a browser: four screens, a pull that is stopped, then one that answers and can be stepped through."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.base import AXE_FILE_PATH
from playwright.sync_api import Browser, expect

from browser_bench import Hand, Served, browsing, served, workshop_in
from firstpull.errors import BadInput
from firstpull.jobs.long_work import LongWork
from firstpull.jobs.virtual_work import Question
from firstpull.mechanics.cover import Progress
from web.test_web_virtual import ANSWER

PAGE = "/bench/jobs/cable-guide-m5/virtual-pull"


class Slow:
    """Pulls that wait to be let go or stopped."""

    def __init__(self) -> None:
        self.go = threading.Event()

    def __call__(
        self, _asked: Question, stopped: Callable[[], bool], tell: Callable[[Progress], None]
    ) -> dict[str, Any]:
        while not self.go.wait(0.02):
            tell(Progress("pull", 40, 100, None))
            if stopped():
                raise BadInput("The virtual pull was stopped.", hint="Nothing was kept. Start it again.")
        return ANSWER


@pytest.fixture
def slow() -> Slow:
    return Slow()


@pytest.fixture
def bench(tmp_path: Path, slow: Slow) -> Iterator[Served]:
    with served(workshop_in(tmp_path / "workshop", demo=True)) as made:
        made.app.state.virtual_pulls.close()
        made.app.state.virtual_pulls = LongWork(slow)
        try:
            yield made
        finally:
            made.app.state.virtual_pulls.close()


def test_a_pull_is_stopped_and_another_answers(browser: Browser, bench: Served, slow: Slow) -> None:
    """Stop ends the first pull with words; the second one shows its allowance, its stages step by hand."""
    with browsing(browser, bench, person="Ada") as page:
        hand = Hand(page)
        hand.go(PAGE)
        for _screen in range(3):
            hand.press("Go on")
        hand.press("Pull it")
        assert hand.question() == "Pulling …"
        expect(page.locator("#progress")).to_contain_text("Simulating")
        page.get_by_role("button", name="Stop").click()
        expect(page.locator("#question")).to_contain_text("was stopped")
        slow.go.set()
        page.get_by_role("link", name="Change a measure").click()
        for _screen in range(3):
            hand.press("Go on")
        page.get_by_role("button", name="Pull it").click()
        expect(page.locator("#question")).to_contain_text("Set allowance 2.60 ± 0.30 mm")
        page.reload()
        page.get_by_role("button", name="Back one").click()
        expect(page.get_by_role("button", name="Play")).to_be_visible()
        page.evaluate(AXE_FILE_PATH.read_text("utf-8"))
        found = page.evaluate("axe.run()")
        assert [one["id"] for one in found["violations"] if one["impact"] in ("serious", "critical")] == []
        assert page.locator("[data-stages] g[id^=stage-]:not([display=none])").count() >= 1

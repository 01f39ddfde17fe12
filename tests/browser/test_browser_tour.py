"""The tour of the first job, and the practice bench with the advice hidden, taken as a newcomer takes them."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from browser_bench import SMALL, Hand, Served, browsing, served, workshop_in
from firstpull.web.tour_stops import STOPS


@pytest.fixture(scope="module")
def bench(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("tour") / "workshop"
    shutil.copytree(demo_folder, folder)
    with served(workshop_in(folder, demo=True)) as made:
        yield made


@pytest.mark.parametrize("javascript", [True, False], ids=["js", "no js"])
def test_the_tour_passes_every_stop_and_ends(browser: Browser, bench: Served, *, javascript: bool) -> None:
    """Each stop opens its page with its line above it and the next action in sight; the last leads to one's own job."""
    with browsing(browser, bench, person="Ada", javascript=javascript) as page:
        hand = Hand(page)
        hand.go("/tour")
        hand.press("Start the tour")
        before = bench.workshop.bench.store.verify().events
        for number, stop in enumerate(STOPS, 1):
            assert hand.text(".tour p") == f"Tour {number} of {len(STOPS)} {stop.text}"
            action = page.locator("main .action, main .verdict").first.bounding_box()
            assert action is not None
            assert action["y"] + action["height"] <= SMALL["height"] + 0.5
            hand.press_at(page.locator(".tour a").first)
        assert hand.question() == "What do you call this job?"
        assert not hand.text(".tour")
        assert bench.workshop.bench.store.verify().events == before


def test_one_s_own_moves_are_looked_back_on(browser: Browser, bench: Served) -> None:
    """With the advice hidden: pull, be told what the tool did and what was better, turn, and see every pull in the review."""
    with browsing(browser, bench, person="Ada") as page:
        hand = Hand(page)
        hand.go("/practice")
        hand.press("Hide the advice")
        page.get_by_label("Worn").check(force=True)
        hand.press("Start")
        assert hand.question() == "What is your move?"
        assert "Eye protection" in hand.text()
        hand.press("Pull")
        assert hand.question() == "How was that move?"
        assert "the caliper read" in hand.text()
        assert "clicks towards more stroke" in hand.text()
        hand.press("My next move")
        page.get_by_label("Clicks").fill("1")
        hand.press("Turn")
        hand.press("My next move")
        hand.press("Pull")
        job = page.url.split("/")[5]
        hand.go(f"/practice/jobs/{job}/review")
        rows = page.get_by_role("table", name="Pull by pull").get_by_role("row").all_inner_texts()
        assert len(rows) == 3
        assert "✗ 1 click more" in rows[1]
        assert bench.workshop.bench.store.summary(f"job:{job}") is None

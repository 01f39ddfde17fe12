"""Two people on one job, each in a browser of their own: nothing that either types is lost."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from browser_bench import Hand, Served, browsing, served, workshop_in
from workshop_example import set_up_job


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workshop with one job that is set up and waits for its first pull."""
    folder = tmp_path_factory.mktemp("two") / "workshop"
    workshop = workshop_in(folder, demo=False)
    set_up_job(workshop.bench)
    workshop.close()
    return folder


@pytest.fixture
def bench(made: Path, tmp_path: Path) -> Iterator[Served]:
    shutil.copytree(made, tmp_path / "workshop")
    with served(workshop_in(tmp_path / "workshop", demo=False)) as bench:
        yield bench


JOB = "battery-tray-lid-m6"
PAGE = f"/bench/jobs/{JOB}/dial-in"


@pytest.fixture
def both(browser: Browser, bench: Served) -> Iterator[tuple[Hand, Hand]]:
    """Ada and Ben, both before the same question."""
    with browsing(browser, bench, person="Ada") as first, browsing(browser, bench, person="Ben") as second:
        hands = Hand(first), Hand(second)
        for hand in hands:
            hand.go(PAGE)
        yield hands


def _typed(bench: Served) -> list[tuple[str, str]]:
    """Every length on record, in order: who typed it, and what."""
    found = []
    for event in bench.workshop.bench.store.read(f"job:{JOB}"):
        if event.type == "FreeLengthMeasured":
            found.append((event.by, event.data["length_before"]["typed"]))
        elif event.type == "TrialPulled":
            found += [(event.by, reading["typed"]) for reading in event.data["readings"]]
        elif event.type == "ReadAgain":
            found.append((event.by, event.data["reading"]["typed"]))
    return [(by, text.removesuffix(" mm")) for by, text in found]


def _save_again(hand: Hand) -> None:
    """Enter by hand, later than a gauge repeats itself."""
    hand.page.wait_for_timeout(350)
    hand.page.keyboard.press("Enter")


def test_a_reading_of_the_other_is_said_and_shown(bench: Served, both: tuple[Hand, Hand]) -> None:
    """What Ada saves is told on Ben’s page within seconds, with a way to see it, and his typing stays."""
    ada, ben = both
    ben.page.keyboard.type("15.4", delay=120)
    ada.gauge("15.51")
    news = ben.page.locator(".live")
    news.get_by_text("Something was added by Ada").wait_for(timeout=8000)
    assert ben.page.input_value("[data-reading]") == "15.4"
    ben.page.locator("[data-reading]").fill("")
    news.get_by_role("link").click()
    ben.page.get_by_text("free 15.51").wait_for()


def test_a_conflict_keeps_what_was_typed(bench: Served, both: tuple[Hand, Hand]) -> None:
    """Ben’s page is old: his reading is not counted unseen, it stands in its field, and one more Enter counts it."""
    ada, ben = both
    for hand, text in ((ada, "15.51"), (ben, "15.49")):
        hand.gauge(text)
    assert "Someone else added a reading meanwhile" in ben.text(".problem")
    assert ben.page.input_value("[data-reading]") == "15.49"
    assert _typed(bench) == [("Ada", "15.51")]
    _save_again(ben)
    ben.page.get_by_text("free 15.49").wait_for()
    assert _typed(bench) == [("Ada", "15.51"), ("Ben", "15.49")]


def test_a_reading_after_the_others_turn_is_not_lost(bench: Served, both: tuple[Hand, Hand]) -> None:
    """When the page meanwhile asks for a turn, a reading that comes late is still in a field and can be counted."""
    ada, ben = both
    ada.gauge("15.50")
    ben.go(PAGE)
    told = re.search(r"expected ([\d.]+)", ada.text(".reading-label"))
    assert told is not None
    first, late = f"{float(told[1]) + 0.45:.2f}", f"{float(told[1]) + 0.43:.2f}"
    again = f"{float(told[1]) + 0.46:.2f}"
    for text in (first, again, first):
        ada.gauge(text)
    assert ada.question() == "Take the air off.", ada.text()
    ben.gauge(late)
    assert "Someone else added a reading meanwhile" in ben.text(".problem"), ben.text(".reading")
    assert ben.page.input_value("[data-reading]") == late
    _save_again(ben)
    ben.page.get_by_text(f"{late} mm").first.wait_for()
    assert _typed(bench) == [("Ada", "15.50"), ("Ada", first), ("Ada", again), ("Ada", first), ("Ben", late)]


def test_many_readings_by_turns_are_all_kept(bench: Served, both: tuple[Hand, Hand]) -> None:
    """Readings typed on both pages as fast as a caliper types arrive all, each once, under the right name."""
    ada, ben = both
    wanted: list[tuple[str, str]] = []
    for number in range(6):
        for hand, name, text in ((ada, "Ada", f"15.{50 + number}"), (ben, "Ben", f"15.{40 + number}")):
            wanted.append((name, text))
            hand.gauge(text)
            if hand.page.locator(".problem-what").count():
                assert hand.page.input_value("[data-reading]") == text
                _save_again(hand)
                hand.page.get_by_text(f"free {text}").wait_for()
    assert _typed(bench) == wanted

"""By keyboard alone, by screen reader, without motion, at 4K and on a first visit: the bench stays usable and light."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from browser_bench import Hand, Served, browsing, served, workshop_in
from web import released_bench

OPERATOR = f"/bench/jobs/{released_bench.RELEASED}/operator"
_FOCUS = """() => { const one = document.activeElement, style = getComputedStyle(one);
  return { name: one.getAttribute("aria-label") || one.innerText || one.id, tag: one.tagName,
           ring: one.matches(":focus-visible") && (style.outlineStyle !== "none" || one.type === "radio"),
           hidden: hidden(one) };
  function hidden(one) { const box = one.getBoundingClientRect();
    const top = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
    return !(top && (one.contains(top) || top.contains(one))); } }"""
_MOVING = """() => [...document.querySelectorAll("*")].filter((one) => {
  const style = getComputedStyle(one);
  return [style.transitionDuration, style.animationDuration].some((time) => time.split(",").some((t) => parseFloat(t) > 0));
}).length"""
_WEIGHT = """() => [...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")]
  .reduce((sum, one) => sum + one.transferSize, 0)"""


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("access") / "workshop"
    released_bench.make(folder)
    with served(workshop_in(folder, demo=True)) as made:
        yield made


def _tab_to(page: Page, name: str, *, most: int = 40) -> None:
    """Press Tab until ``name`` has the focus; every stop on the way shows a ring and lies under nothing."""
    for _press in range(most):
        page.keyboard.press("Tab")
        at = page.evaluate(_FOCUS)
        assert at["ring"], f"no ring on {at}"
        assert not at["hidden"], f"{at} is covered by something"
        if " ".join(at["name"].split()) == name:
            return
    raise AssertionError(f"{name} is not reached in {most} presses")


def test_a_pull_and_a_turn_by_keyboard_alone(browser: Browser, bench: Served) -> None:
    """The first practice job goes from its pull to the next one with Tab and Enter, every stop with a visible ring."""
    with browsing(browser, bench, person="Ada") as page:
        hand = Hand(page)
        hand.go("/")
        pulled = 0
        for _act in range(8):
            label = hand.actions()[0]
            pulled += label == "Pull"
            if pulled == 2:
                break
            _tab_to(page, label)
            with page.expect_response(lambda answer: answer.request.method == "POST" or answer.status == 200):
                page.keyboard.press("Enter")
            page.wait_for_load_state()
            page.wait_for_timeout(150)
        assert pulled == 2


@pytest.mark.parametrize("step", ["choose?screen=pick", "choose?screen=service", "set-up?ask=gauge", "set-up"])
def test_no_stop_of_the_keyboard_is_covered(browser: Browser, bench: Served, step: str) -> None:
    """Where a page is longer than the panel, what has the focus scrolls out from under the action (WCAG 2.4.11)."""
    with browsing(browser, bench, person="Ada") as page:
        hand = Hand(page)
        hand.go(f"/bench/jobs/cable-guide-m5/{step}")
        _tab_to(page, hand.actions()[-1])


def test_the_skip_link_leads_past_the_band(browser: Browser, bench: Served) -> None:
    """The first Tab offers the way to the question, and Enter puts the focus there."""
    with browsing(browser, bench, person="Ada") as page:
        page.goto("/glossary")
        page.keyboard.press("Tab")
        assert page.evaluate(_FOCUS)["name"] == "To the question"
        page.keyboard.press("Enter")
        assert page.url.endswith("#question")


def test_a_screen_reader_hears_the_question_the_field_and_the_buttons(browser: Browser, bench: Served) -> None:
    """The operator's page names its state, its question, its field, its limits and both ways on, in that order."""
    with browsing(browser, bench, person="Ada") as page:
        page.goto(OPERATOR)
        heard = page.locator("body").aria_snapshot()
        places = [
            heard.find(word)
            for word in ("In control", 'heading "Is this one good?"', 'textbox "Set length', 'button "Save"')
        ]
        assert -1 not in places
        assert places == sorted(places)
        page.goto(f"/bench/jobs/{released_bench.HELD}/set-up")
        heard = page.locator("body").aria_snapshot()
        assert re.search(r"navigation \"The path of this job\"", heard)
        assert re.search(r"img \"The joint in section, before and after the pull", heard)


def test_every_picture_is_named_and_every_page_has_one_question(browser: Browser, bench: Served) -> None:
    """On each step no drawing lacks its name and exactly one first heading says what is asked."""
    with browsing(browser, bench, person="Ada") as page:
        for step in ("choose", "set-up", "dial-in", "prove", "hand-over"):
            page.goto(f"/bench/jobs/{released_bench.HELD}/{step}")
            assert page.locator("h1").count() == 1
            unnamed = page.locator("svg:not([aria-hidden]):not([aria-labelledby])").count()
            assert unnamed == 0, step


def test_nothing_moves_for_whoever_wants_no_motion(browser: Browser, bench: Served) -> None:
    """With reduced motion asked for, no transition and no animation is left on the pages."""
    with browsing(browser, bench, person="Ada") as page:
        page.emulate_media(reduced_motion="reduce")
        for address in (OPERATOR, f"/bench/jobs/{released_bench.HELD}/dial-in", "/practice"):
            page.goto(address)
            assert page.evaluate(_MOVING) == 0


@pytest.mark.parametrize(("width", "height"), [(1024, 600), (1366, 768), (1920, 1080), (3840, 2160)])
def test_the_action_is_in_sight_at_every_size(browser: Browser, bench: Served, width: int, height: int) -> None:
    """From a small panel to 4K the next action is whole, at least 76 px high, and nothing scrolls sideways."""
    with browsing(browser, bench, person="Ada") as page:
        page.set_viewport_size({"width": width, "height": height})
        for address in ("/?overview=yes", OPERATOR, f"/bench/jobs/{released_bench.HELD}/set-up", "/practice"):
            page.goto(address)
            box = page.locator("main .action").first.bounding_box()
            assert box is not None
            assert box["height"] >= 76
            assert box["y"] + box["height"] <= height + 0.5
            assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_first_page_is_light(browser: Browser, bench: Served) -> None:
    """A browser that has never been here gets the first page with style, scripts and letters in less than 100 kB."""
    with browsing(browser, bench) as page:
        page.goto("/", wait_until="networkidle")
        assert 20_000 < page.evaluate(_WEIGHT) < 100_000


def test_the_bench_works_without_javascript(browser: Browser, bench: Served) -> None:
    """Without JavaScript a reading is saved, an operator stops the run, and the search finds a tool."""
    with browsing(browser, bench, person="Ada", javascript=False) as page:
        hand = Hand(page)
        hand.go("/?overview=yes")
        page.get_by_label("Job, part or record code").fill("Tool B")
        hand.press("Find")
        assert page.url.endswith("/tools/B")
        hand.go(OPERATOR)
        page.get_by_label("Set length").fill("12,45")
        page.get_by_label("Sets so far").fill("200")
        hand.press("Save")
        assert "12.45" in hand.text(".big-state-note")


def test_an_operator_s_shift(browser: Browser, bench: Served) -> None:
    """By eye and by length through a shift; one bad insert stops it, and the page then takes no more."""
    with browsing(browser, bench, person="Olu") as page:
        hand = Hand(page)
        hand.go(OPERATOR)
        for count, reading in ((250, "12.44"), (300, "12.46")):
            page.get_by_label("Set length").fill(reading)
            page.get_by_label("Sets so far").fill(str(count))
            hand.press("Save")
            assert hand.text(".big-state") == "In control"
        hand.press("By eye only")
        page.get_by_label("Sets so far").fill("350")
        hand.press("Good")
        assert hand.text(".big-state") == "In control"
        page.get_by_label("Sets so far").fill("400")
        hand.press("Not good")
        assert hand.text(".big-state") == "Stop"
        assert "Set no more." in hand.text()
        assert page.get_by_role("textbox").count() == 0

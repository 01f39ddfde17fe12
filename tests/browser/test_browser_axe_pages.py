"""Every page of a demo workshop on a small panel: axe finds nothing serious, nothing is small, wide, heavy or hidden."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from axe_playwright_python.base import AXE_FILE_PATH
from playwright.sync_api import Browser, Page

from browser_bench import Served, browsing, served, workshop_in
from firstpull.jobs import choose, gauge_studies, hand_over, open_job, run_checks
from firstpull.jobs.gauge_studies import StudyPlan
from firstpull.jobs.workshop import Book, Doing
from firstpull.mechanics.choose import Needs
from firstpull.mechanics.stack import Layer, Stack
from firstpull.units import parse_length
from web import released_bench

ADA = Doing("Ada")
OPEN, HELD, RELEASED, STOPPED = "cable-guide-m5", released_bench.HELD, released_bench.RELEASED, released_bench.PROVEN
NEW, STACKED, LOADED = "fresh", "stacked", "rack-for-the-overseas-customer-1-4-20"

_CHOOSE = (
    "stack", "coat", "measure", "batch", "thread", "access", "loads", "part", "place", "service", "pick", "checks",
)  # fmt: skip
_ASKS = ("tool", "mandrel", "gauge", "allowance", "window", "present", "review")
_COUPON = "end=as+measured"
_ANSWERED = f"{_COUPON}&thickness=2.17+mm&length_before=15.2+mm&set_length=12.46+mm"
_EYE = f"{_ANSWERED}&flush=pass&gap=pass&tilt=pass&turn=pass&thread_gauge=pass&blind_head=pass"


def _steps(job: str, *steps: str) -> list[str]:
    return [f"/bench/jobs/{job}/{step}" for step in steps]


def _coupon(answers: str) -> str:
    from urllib.parse import quote

    return f"/bench/jobs/{HELD}/prove?coupon={quote(answers)}"


PAGES = [
    "/?overview=yes",
    "/?q=zzz",
    "/?q=12.44",
    "/bench/jobs/new",
    *_steps(NEW, "choose"),
    *(f"/bench/jobs/{STACKED}/choose?screen={screen}" for screen in _CHOOSE),
    *(f"/bench/jobs/{OPEN}/choose?screen={screen}" for screen in ("pick", "checks")),
    *(f"/bench/jobs/{LOADED}/choose?screen={screen}" for screen in ("loads", "service", "pick", "checks")),
    *(f"/bench/jobs/{OPEN}/set-up?ask={ask}" for ask in _ASKS),
    "/inserts/virtual-pull?part=DEMO-M6-STFO-30",
    *_steps(OPEN, "virtual-pull"),
    *_steps(OPEN, "set-up", "dial-in", "prove", "hand-over", "find-allowance", "record"),
    *_steps(HELD, "set-up", "dial-in", "prove", "prove/air", "prove/plan", "prove/plan?part=run", "hand-over"),
    *_steps(HELD, "prove/coupons", "in-hand"),
    *map(_coupon, (_COUPON, _ANSWERED, f"{_ANSWERED}&flush=fail", _EYE, f"{_EYE}&torque=-")),
    *_steps(RELEASED, "choose", "set-up", "prove", "hand-over", "card", "revise", "run", "run?now=head"),
    *_steps(RELEASED, "run?now=turning", "run?now=stop", "run?now=strike", "run?now=count"),
    *_steps(RELEASED, "operator", "operator?by=eye", "operator?by=stop", "record"),
    *_steps(STOPPED, "prove", "hand-over", "run", "operator", "card"),
    *_steps(released_bench.FORCE, "set-up", "dial-in"),
    "/inserts",
    "/inserts/row?part=DEMO-M6-STFO-30",
    "/inserts/import",
    "/inserts/in-hand",
    "/inserts/fewest",
    "/inserts/fewest?do=none&tool=A&worst=yes",
    "/inserts/identify",
    "/inserts/identify?thread=M6&free_length=15.2+mm",
    "/inserts/identify?thread=M6&free_length=15.2+mm&body=knurled&end=open&head=flat",
    "/inserts/identify?thread=M6&free_length=33.3+mm",
    "/tools",
    "/tools/A",
    "/tools/A/learn-knob",
    "/tools/new",
    "/gauges/new",
    "/gauges/C1",
    "/gauges/C1/study",
    "/gauges/C1/study?do=service",
    "/gauges/C1/study?do=age",
    "/gauges/C1/study/new",
    "/gauges/C1/study/1",
    "/gauges/C1/study/1?who=-",
    "/gauges/C1/study/1/strike",
    "/gauges/C1/study/1/strike?do=give%20up",
    "/gauges/C1/doubt",
    "/gauges/C2/study",
    "/gauges/C2/study/new",
    "/gauges/C2/study/new?measured=set+length",
    "/gauges/C2/study/new?measured=set+length&parts=10&rounds=3",
    "/gauges/C2/study/new?measured=gauge+blocks",
    "/gauges/C2/study/1",
    "/gauges/C2/study/1?see=numbers",
    "/gauges/C2/doubt",
    "/look-after",
    "/practice",
    "/tour",
    "/record",
    "/cautions",
    "/glossary",
    "/person",
]
PRACTICE = ["dial-in", "said", "review"]

# what breaks a rule of WCAG 2.2 AA, or is serious beside; a whole report a page is most of the time that axe takes
_WCAG = '["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]'
_SERIOUS = f"""() => axe.run({{resultTypes: ["violations"], rules: {{"target-size": {{enabled: true}}}}}}).then((found) => found.violations
  .filter((row) => ["serious", "critical"].includes(row.impact) || row.tags.some((tag) => {_WCAG}.includes(tag)))
  .map((row) => `${{row.id}}: ${{row.nodes[0].html.slice(0, 140)}}`))"""
_SMALL_TARGETS = """() => [...document.querySelectorAll("a, button, summary, input, select, textarea, label.choice, label.check")]
  .filter((one) => one.offsetParent && one.type !== "hidden" && !one.matches(".hidden, .skip, .choice input, .check input, td a, .card *"))
  .filter((one) => one.getBoundingClientRect().height < 43.5 || one.getBoundingClientRect().width < 43.5)
  .map((one) => one.outerHTML.slice(0, 140))"""
_HIDDEN_ACTION = """() => [...document.querySelectorAll("main .action, main .verdict")].slice(0, 1)
  .map((one) => one.getBoundingClientRect())
  .filter((box) => box.top < 0 || box.bottom > innerHeight + 0.5 || box.left < 0 || box.right > innerWidth + 0.5)
  .map((box) => `bottom ${Math.round(box.bottom)} of ${innerHeight}`)"""

_WEIGHT = """() => [...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")]
  .reduce((sum, one) => sum + one.encodedBodySize, 0)"""
_TABLE = """part,thread,material,head,end,length free (mm),grip min (mm),grip max (mm),flange diameter (mm),flange thickness (mm),body diameter (mm),hole diameter (mm)
OWN-1,M6,steel,flat,open,15.2,0.5,3.0,11,1.2,8.1,8.2
OWN-2,M6,steel,flat,open,abc,0.5,3.0,11,1.2,8.1,8.2
"""


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("pages") / "workshop"
    released_bench.make(folder)
    workshop = workshop_in(folder, demo=True)
    _more_jobs(workshop.bench)
    with served(workshop) as made:
        yield made


def _more_jobs(book: Book) -> None:
    """A job that is new, one with its stack measured and needs stated, and one released and stopped."""
    stack = Stack((Layer("EN AW-5754", parse_length("2.0 mm"), parse_length("0.09 mm")),), (parse_length("2.02 mm"),))
    open_job.open_job(book, NEW, doing=ADA)
    open_job.open_job(book, STACKED, doing=ADA)
    choose.describe_stack(book, STACKED, stack, doing=ADA)
    choose.state_needs(book, STACKED, Needs(thread="M6"), doing=ADA)
    hand_over.release(book, STOPPED, doing=ADA)
    run_checks.stop(book, STOPPED, reason="insert spun", count=20, doing=ADA)
    _studies(book)


def _studies(book: Book) -> None:
    """A study of one gauge that is begun, with a reading, and one of another that is finished."""
    for gauge, wanted in (("C1", 1), ("C2", 30)):
        plan = StudyPlan("set length", ("Ada", "Ben"), tuple("12345"), 3, half_window_mm=0.127)
        study = gauge_studies.begin_study(book, gauge, plan, doing=ADA)
        for slot in study.slots[:wanted]:
            reading = parse_length(f"{11 + 0.05 * int(slot.part) + 0.01 * (slot.number % 3):.2f} mm")
            gauge_studies.take_reading(book, gauge, 1, slot=slot.number, reading=reading, doing=Doing(slot.person))
    gauge_studies.finish_study(book, "C2", 1, doing=ADA)


@dataclass(frozen=True)
class Seen:
    """What was found at one address."""

    address: str
    serious: list[str]
    small: list[str]
    hidden_action: list[str]
    too_wide: list[int]
    weight_bytes: int


@pytest.fixture(scope="module")
def seen(browser: Browser, bench: Served) -> list[Seen]:
    """Every page looked at once, at 1024 × 600 and in the width of 200 % zoom."""
    practice = next(row.stream.partition(":")[2] for row in bench.workshop.practice.store.summaries("job"))
    places = [*PAGES, *(f"/practice/jobs/{practice}/{step}" for step in PRACTICE)]
    with browsing(browser, bench, person="Ada", csp=False) as page:
        page.context.add_cookies([{"name": "firstpull_seen", "value": "1", "url": bench.address}])
        found = [_look(page, place) for place in places]
        page.goto("/inserts/fewest")
        page.locator("main .action").first.click()
        page.get_by_text("Answer out").wait_for()
        found.append(_look(page, "", "/inserts/fewest (found)"))
        page.goto("/inserts/import")
        page.locator("input[type=file]").set_input_files(
            {"name": "parts.csv", "mimeType": "text/csv", "buffer": _TABLE.encode()}
        )
        page.locator("main .action").first.click()
        page.get_by_text("OWN-1").first.wait_for()
        return [*found, _look(page, "", "/inserts/import (preview)")]


def _look(page: Page, address: str, name: str = "") -> Seen:
    if address:
        answer = page.goto(address)
        assert answer is not None
        assert answer.status == 200, f"{address}: {answer.status}"
    page.evaluate(AXE_FILE_PATH.read_text(encoding="utf-8"))
    page.set_viewport_size({"width": 1024, "height": 1600})  # what scrolls under the action is not too small to press
    serious = page.evaluate(_SERIOUS)
    page.set_viewport_size({"width": 1024, "height": 600})
    small, hidden = page.evaluate(_SMALL_TARGETS), page.evaluate(_HIDDEN_ACTION)
    too_wide = []
    for width in (1024, 512):
        page.set_viewport_size({"width": width, "height": 600})
        if page.evaluate("document.documentElement.scrollWidth") > width:
            too_wide.append(width)
    page.set_viewport_size({"width": 1024, "height": 600})
    return Seen(
        address or name,
        serious,
        small,
        hidden,
        too_wide,
        page.evaluate(_WEIGHT),
    )


def test_axe_finds_nothing_serious(seen: list[Seen]) -> None:
    """No page breaks a rule of WCAG 2.2 level AA that axe knows, target sizes included, nor has another serious finding."""
    assert {one.address: one.serious for one in seen if one.serious} == {}


def test_nothing_to_press_is_under_44_px(seen: list[Seen]) -> None:
    """Whatever a gloved finger presses is at least 44 px wide and high."""
    assert {one.address: one.small for one in seen if one.small} == {}


def test_no_page_scrolls_sideways(seen: list[Seen]) -> None:
    """Neither at 1024 px nor at 512 px, which is 200 % zoom."""
    assert {one.address: one.too_wide for one in seen if one.too_wide} == {}


def test_the_next_action_is_in_sight(seen: list[Seen]) -> None:
    """At 1024 × 600 the next action shows whole, without scrolling."""
    assert {one.address: one.hidden_action for one in seen if one.hidden_action} == {}


def test_no_page_is_heavy(seen: list[Seen]) -> None:
    """With style, scripts and letters every page is under 300 kB as sent."""
    assert {one.address: one.weight_bytes for one in seen if one.weight_bytes >= 300_000} == {}

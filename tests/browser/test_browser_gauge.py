"""Gauges that type as a keyboard, in the system's Chromium: every reading is kept, in order, and asked about when in doubt."""

from __future__ import annotations

import json
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest
import uvicorn
from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from playwright.sync_api import Page

from firstpull.web.app import create_app
from firstpull.web.render import page as render_page
from web.step_contexts import CONTEXTS, reading

FAST_MS = 4


@dataclass
class Bench:
    """A bench with one page that takes readings and one that takes none; ``posted`` is what arrived."""

    address: str
    posted: list[tuple[str, str, str]] = field(default_factory=list)

    @property
    def readings(self) -> list[str]:
        return [text for text, _, _ in self.posted]


def _routes(bench: Bench) -> APIRouter:
    router = APIRouter()
    form = {"address": "/readings", "expected": 0, "client_id": "form"}
    base = {**CONTEXTS["dial_in"], "form": form}

    @router.get("/readings")
    def ask(request: Request) -> Response:
        field_ = {**reading(), "value": "", "gauge": None}
        return render_page(request, "steps/dial_in.html", {**base, "field": field_})

    @router.get("/no-field")
    def no_field(request: Request) -> Response:
        return render_page(request, "steps/dial_in.html", {**base, "field": None})

    @router.post("/readings")
    async def take(request: Request) -> Response:
        sent = await request.form()
        text = str(sent["reading"])
        bench.posted.append((text, str(sent["client_id"]), str(sent["do"])))
        if text.startswith("9"):
            problem = {"what": "Expected about 11.", "hint": "Read again.", "buttons": []}
            field_ = {**reading(problem), "value": text}
            return render_page(request, "steps/dial_in.html", {**base, "field": field_}, status_code=422)
        return RedirectResponse("/no-field" if text.startswith("8") else "/readings", status_code=303)

    return router


@pytest.fixture
def bench() -> Iterator[Bench]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    made = Bench(f"http://127.0.0.1:{port}")
    server = uvicorn.Server(uvicorn.Config(create_app(routers=[_routes(made)]), port=port, log_level="error"))
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield made
    server.should_exit = True
    thread.join()


def _type(page: Page, text: str, *, end: str = "Enter", delay_ms: int = FAST_MS) -> None:
    page.keyboard.type(text, delay=delay_ms)
    if end:
        page.keyboard.press(end)


def _settled(page: Page) -> None:
    """Wait until nothing waits in this tab (the content policy forbids waiting by a script of text)."""
    for _ in range(600):
        kept = json.loads(page.evaluate("sessionStorage.getItem('firstpull-waiting')") or '{"line": []}')
        if not kept["line"]:
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"still waiting: {kept}")


def test_two_hundred_fast_readings_are_all_kept(page: Page, bench: Bench) -> None:
    """A gauge that types faster than pages change loses nothing, and the order stays."""
    page.goto(f"{bench.address}/readings")
    wanted = [f"{11 + number / 1000:.3f}".replace(".", ",."[number % 2]) for number in range(200)]
    for text in wanted:
        _type(page, text)
    _settled(page)
    assert bench.readings == wanted
    assert len({client_id for _, client_id, _ in bench.posted}) == 200
    assert {do for _, _, do in bench.posted} == {"read"}


def test_tab_ends_a_reading_of_a_gauge(page: Page, bench: Bench) -> None:
    """A gauge that ends with Tab is as good as one that ends with Enter: the focus stays in the field."""
    page.goto(f"{bench.address}/readings")
    for text in ("11.16", "11.17", "11.18"):
        _type(page, text, end="Tab", delay_ms=0)
    _settled(page)
    assert bench.readings == ["11.16", "11.17", "11.18"]
    assert page.evaluate("document.activeElement.id") == "reading"


def test_the_same_twice_at_once_is_asked_about(page: Page, bench: Bench) -> None:
    """An identical burst waits for an answer, also over a reload, and what follows waits behind it."""
    page.goto(f"{bench.address}/readings")
    for text in ("11.16", "11.16", "11.20"):
        _type(page, text)
    page.locator("[data-caught]").get_by_role("button", name="Count it").wait_for()
    page.reload()
    assert bench.readings == ["11.16"]
    page.get_by_role("button", name="Count it").click()
    _settled(page)
    assert bench.readings == ["11.16", "11.16", "11.20"]


def test_the_same_twice_can_be_counted_once(page: Page, bench: Bench) -> None:
    """“Once only” leaves one; the same value later, at a person's pace, is no question."""
    page.goto(f"{bench.address}/readings")
    _type(page, "11.16")
    _type(page, "11.16")
    page.get_by_role("button", name="Once only").click()
    page.wait_for_timeout(400)
    _type(page, "11.16")
    _settled(page)
    assert bench.readings == ["11.16", "11.16"]


def test_a_burst_elsewhere_is_caught_and_offered(page: Page, bench: Bench) -> None:
    """A reading that comes while a button has the focus presses nothing; it is offered."""
    page.goto(f"{bench.address}/readings")
    page.locator(".action").first.focus()
    _type(page, "11.22")
    page.get_by_role("button", name="Use 11.22").click()
    _settled(page)
    assert [(text, do) for text, _, do in bench.posted] == [("11.22", "read")]


def test_what_comes_after_the_question_has_gone_waits(page: Page, bench: Bench) -> None:
    """When the page moves on to one without a field, the readings behind are offered at the next field."""
    page.goto(f"{bench.address}/readings")
    _type(page, "8.00")
    _type(page, "11.24")
    page.locator("[data-caught]").get_by_text("11.24").first.wait_for()
    assert page.url.endswith("/no-field")
    page.goto(f"{bench.address}/readings")
    page.get_by_role("button", name="Use 11.24").click()
    _settled(page)
    assert bench.readings == ["8.00", "11.24"]


def test_a_questioned_reading_stays_in_its_field(page: Page, bench: Bench) -> None:
    """A refused text is still there, marked, so that the next reading answers it."""
    page.goto(f"{bench.address}/readings")
    _type(page, "9999")
    page.get_by_text("Expected about 11.").wait_for()
    assert page.input_value("[data-reading]") == "9999"
    _type(page, "11.18")
    _settled(page)
    assert bench.readings == ["9999", "11.18"]


def test_nothing_is_lost_while_the_bench_is_away(page: Page, bench: Bench) -> None:
    """Without an answer the readings wait, are said to wait, and go when the bench is back."""
    page.goto(f"{bench.address}/readings")
    page.context.set_offline(True)
    _type(page, "11.19")
    _type(page, "11.21")
    page.get_by_role("button", name="Try now").wait_for()
    page.context.set_offline(False)
    _settled(page)
    assert bench.readings == ["11.19", "11.21"]


def test_the_field_has_the_focus_after_a_tap(page: Page, bench: Bench) -> None:
    """A tap anywhere gives the focus back to the field; a key press leaves it where the keyboard is."""
    page.goto(f"{bench.address}/readings")
    page.locator("h1").click()
    page.wait_for_timeout(50)
    assert page.evaluate("document.activeElement.id") == "reading"
    page.locator(".why summary").first.focus()
    page.keyboard.press("Enter")
    page.wait_for_timeout(50)
    assert page.evaluate("document.activeElement.tagName") == "SUMMARY"


def test_a_typed_text_keeps_its_unit_over_the_switch(page: Page, bench: Bench) -> None:
    """Switching the unit while something is typed keeps it, with the unit that it was typed in."""
    page.goto(f"{bench.address}/readings")
    page.keyboard.type("11,2")
    page.get_by_role("button", name="Show lengths in inches").click()
    page.locator("[data-unit] [aria-pressed=true]").get_by_text("in").wait_for()
    assert page.input_value("[data-reading]") == "11,2 mm"


def test_tab_by_hand_moves_on(page: Page, bench: Bench) -> None:
    """Tab after typing by hand is an ordinary Tab: nothing is saved by it and the text stays."""
    page.goto(f"{bench.address}/readings")
    _type(page, "11.2", end="Tab", delay_ms=250)
    assert page.input_value("[data-reading]") == "11.2"
    assert bench.posted == []

"""Every template of a step, and the pages without a job, as axe and a small screen see them."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from fastapi import APIRouter, Request
from fastapi.responses import Response
from playwright.sync_api import Browser, Page

from firstpull.web import render
from firstpull.web.app import create_app
from web.step_contexts import CONTEXTS

PAGES = [*(f"/step/{name}" for name in CONTEXTS), "/person", "/glossary", "/cautions", "/nowhere"]
SMALL_TARGETS = """() => [...document.querySelectorAll("a, button, summary, input, label.choice, label.check")]
  .filter((one) => one.offsetParent && one.type !== "hidden" && !one.matches(".hidden, .skip, .choice input, .check input"))
  .filter((one) => one.getBoundingClientRect().height < 44 || one.getBoundingClientRect().width < 44)
  .map((one) => one.outerHTML.slice(0, 120))"""


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    router = APIRouter()

    @router.get("/step/{name}")
    def step(request: Request, name: str) -> Response:
        path = render.steps({"choose": "done", "set_up": "now"}, addresses={"choose": "/person"})
        job = {"name": "Tray lid", "note": "revision 1", "address": "/person"}
        return render.page(request, f"steps/{name}.html", CONTEXTS[name], path=path, job=job, practice=True)

    server = uvicorn.Server(uvicorn.Config(create_app(routers=[router]), port=0, log_level="error"))
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    server.should_exit = True
    thread.join()


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Page]:
    # axe is put into the page as text, which the bench's own content policy forbids
    context = browser.new_context(bypass_csp=True, viewport={"width": 1024, "height": 600})
    yield context.new_page()
    context.close()


def test_axe_finds_nothing_serious(open_page: Page, address: str) -> None:
    """No page has a serious or critical finding."""
    found = []
    for path in PAGES:
        open_page.goto(address + path)
        for violation in Axe().run(open_page).response["violations"]:
            if violation["impact"] in ("serious", "critical"):
                found.append((path, violation["id"], violation["nodes"][0]["html"][:120]))
    assert found == []


def test_nothing_to_press_is_small(open_page: Page, address: str) -> None:
    """Nothing that a gloved finger presses is under 44 px."""
    small = {}
    for path in PAGES:
        open_page.goto(address + path)
        small[path] = open_page.evaluate(SMALL_TARGETS)
    assert {path: found for path, found in small.items() if found} == {}


@pytest.mark.parametrize("width", [1024, 640, 512, 400])
def test_no_page_scrolls_sideways(open_page: Page, address: str, width: int) -> None:
    """On small screens and at 200 % zoom the page is one column, not a wider one."""
    open_page.set_viewport_size({"width": width, "height": 600})
    wide = []
    for path in PAGES:
        open_page.goto(address + path)
        if open_page.evaluate("document.documentElement.scrollWidth") > width:
            wide.append(path)
    assert wide == []


def test_no_inline_style_or_script_is_needed(browser: Browser, address: str) -> None:
    """Under the content policy no page logs a complaint, and none asks another machine."""
    context = browser.new_context()
    page = context.new_page()
    heard: list[str] = []
    page.on("console", lambda message: heard.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: heard.append(str(error)))
    page.on("request", lambda request: None if request.url.startswith(address) else heard.append(request.url))
    for path in PAGES:
        if path != "/nowhere":
            page.goto(address + path)
    context.close()
    assert heard == []

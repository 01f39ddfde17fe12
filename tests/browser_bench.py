"""A real bench for browser tests: uvicorn on a free port over a workshop in a temporary folder, pages that tell every
address asked, and a hand that does what a page says."""

from __future__ import annotations

import re
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import uvicorn
from fastapi import FastAPI
from playwright.sync_api import Browser, BrowserContext, Error, Locator, Page, Request

from firstpull.jobs.workshop import Workshop
from firstpull.web.bench import create_bench

SMALL = {"width": 1024, "height": 600}
_PATIENCE_S = 8.0


@dataclass
class Served:
    """A bench that listens; ``outside`` names every address asked that is not this bench."""

    address: str
    workshop: Workshop
    app: FastAPI
    outside: list[str] = field(default_factory=list)

    def watch(self, context: BrowserContext) -> None:
        """Note what any page of ``context`` asks."""
        context.on("request", self._note)

    def _note(self, request: Request) -> None:
        parts = urlsplit(request.url)
        if parts.scheme not in ("data", "about") and f"{parts.scheme}://{parts.netloc}" != self.address:
            self.outside.append(request.url)


@contextmanager
def served(workshop: Workshop) -> Iterator[Served]:
    """``workshop`` served on a free port; at the end the server is stopped and the workshop closed."""
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.bind(("127.0.0.1", 0))
    listener.listen(64)
    app = create_bench(workshop)
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    until = time.monotonic() + _PATIENCE_S
    while not server.started:
        assert thread.is_alive(), "the bench did not start"
        assert time.monotonic() < until, "the bench did not start"
        time.sleep(0.01)
    made = Served(f"http://127.0.0.1:{listener.getsockname()[1]}", workshop, app)
    try:
        yield made
    finally:
        server.should_exit = True
        thread.join()
        listener.close()
        workshop.close()
    assert made.outside == []


@contextmanager
def browsing(
    browser: Browser, bench: Served, *, person: str = "", unit: str = "", javascript: bool = True, csp: bool = True
) -> Iterator[Page]:
    """A page of a browser of its own, watched; ``csp`` False lets axe put itself into pages."""
    context = browser.new_context(
        base_url=bench.address,
        viewport=SMALL,
        java_script_enabled=javascript,
        bypass_csp=not csp,  # type: ignore[arg-type]
    )
    context.set_default_timeout(_PATIENCE_S * 1000)
    bench.watch(context)
    for name, value in (("firstpull_person", person), ("firstpull_unit", unit)):
        if value:
            context.add_cookies([{"name": name, "value": value, "url": bench.address}])
    heard: list[str] = []
    page = context.new_page()
    page.on("pageerror", lambda error: heard.append(str(error)))
    try:
        yield page
    finally:
        context.close()
    assert heard == []


class Hand:
    """A technician's hand on one page, with or without JavaScript: press, type as a keyboard caliper does, look."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def go(self, address: str) -> None:
        self.page.goto(address)

    def question(self) -> str:
        return self.text("h1#question")

    def text(self, selector: str = "main") -> str:
        """What is shown at ``selector``; "" when nothing is there."""
        found = self.page.locator(selector)
        return " ".join(found.first.inner_text().split()) if found.count() else ""

    def press(self, name: str | re.Pattern[str]) -> None:
        """Press the button or link of that name and wait for the page that it leads to."""
        self.press_at(self.named(name))

    def named(self, name: str | re.Pattern[str]) -> Locator:
        """The visible button or link in the page’s own part with that name."""
        main = self.page.locator("main")
        exact = isinstance(name, str)
        button = main.get_by_role("button", name=name, exact=exact)
        return button.or_(main.get_by_role("link", name=name, exact=exact)).first

    def press_at(self, target: Locator) -> None:
        with self._turned_over():
            target.click()

    def actions(self) -> list[str]:
        """The labels of the large actions, the next one first."""
        shown = self.page.locator("main .action, main .verdict").all_inner_texts()
        return [" ".join(text.split()) for text in shown]

    def gauge(self, reading: str, *, delay_ms: int = 4) -> None:
        """A reading as a caliper types it: fast keys into whatever has the focus, then Enter."""
        with self._turned_over():
            self.page.keyboard.type(reading, delay=delay_ms)
            self.page.keyboard.press("Enter")

    def fill(self, label: str, text: str) -> None:
        self.page.get_by_label(re.compile(rf"^\W*{re.escape(label)}")).first.fill(text)

    def choose(self, label: str) -> None:
        """Tap the tile of one answer, known by how its label begins."""
        begins = re.compile(rf"^\s*{re.escape(label)}")
        self.page.locator("label.choice", has=self.page.locator("b", has_text=begins)).first.click()

    @contextmanager
    def _turned_over(self) -> Iterator[None]:
        """Wait until what was shown has been replaced, by a new page or by one swapped in."""
        self.page.evaluate("() => { document.querySelector('main').dataset.before = 'yes'; }")
        yield
        until = time.monotonic() + _PATIENCE_S
        while time.monotonic() < until:
            if self._is_new():
                return
            self.page.wait_for_timeout(10)
        raise AssertionError(f"nothing followed at {self.page.url}: {self.text()[:400]}")

    def _is_new(self) -> bool:
        try:
            return bool(
                self.page.evaluate(
                    "() => document.readyState !== 'loading' && document.querySelector('main:not([data-before])') !== null"
                )
            )
        except Error:
            return False  # between two pages


def workshop_in(folder: Path, *, demo: bool) -> Workshop:
    """A workshop in ``folder``, filled with the demo or empty."""
    from firstpull.jobs.demo_workshop import fill_demo

    workshop = Workshop(folder)
    if demo:
        fill_demo(workshop)
    return workshop

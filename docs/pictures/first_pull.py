"""Draws docs/pictures/first_pull.png: three moments of the practice job, as the bench shows them.

    python docs/pictures/first_pull.py

Needs Chromium. Everything in it is computed by the bench on its simulated tool.
"""

from __future__ import annotations

import base64
import tempfile
import threading
import time
from pathlib import Path

import uvicorn
from playwright.sync_api import Page, sync_playwright

from firstpull.jobs.demo_workshop import fill_demo
from firstpull.jobs.workshop import Workshop
from firstpull.web.bench import create_bench

HERE = Path(__file__).resolve().parent
CHROMIUM = "/usr/bin/chromium"
QUIET = [
    "--no-sandbox",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def press(page: Page) -> None:
    """The next action of the page."""
    page.locator("main .actions .action").first.click()
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(200)


def frames(page: Page, address: str) -> list[bytes]:
    """The reading that is too long, the turn to make, and the reading on the dot."""
    page.goto(address)
    press(page)
    press(page)  # the first insert is read twice
    shots = [page.screenshot()]
    press(page)
    shots.append(page.screenshot())
    press(page)
    press(page)
    shots.append(page.screenshot())
    return shots


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        workshop = Workshop(Path(folder))
        fill_demo(workshop)
        server = uvicorn.Server(uvicorn.Config(create_bench(workshop), port=0, log_level="warning"))
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.05)
        port = server.servers[0].sockets[0].getsockname()[1]
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
            page = browser.new_page(viewport={"width": 1024, "height": 600})
            shots = frames(page, f"http://127.0.0.1:{port}/")
            strip = browser.new_page(viewport={"width": 1536, "height": 300})
            pictures = "".join(f'<img src="data:image/png;base64,{base64.b64encode(shot).decode()}">' for shot in shots)
            style = "body{margin:0;display:flex;gap:6px;background:#fff}img{width:508px;height:298px;border:1px solid #1D2326}"
            strip.set_content(f"<style>{style}</style>{pictures}")
            strip.wait_for_timeout(300)
            strip.screenshot(path=str(HERE / "first_pull.png"))
            browser.close()
        server.should_exit = True
        thread.join(10)
        workshop.close()


if __name__ == "__main__":
    main()

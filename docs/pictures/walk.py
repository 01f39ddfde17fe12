"""Draws docs/pictures/walk.png: one job from the choice of the insert to the operator, as the bench shows it.

    python docs/pictures/walk.py

Needs Chromium. Everything in it is the demo workshop and its simulated tool.
"""

from __future__ import annotations

import base64
import tempfile
import threading
import time
from pathlib import Path

import uvicorn
from first_pull import CHROMIUM, QUIET, press
from playwright.sync_api import Page, sync_playwright

from firstpull.jobs.demo_workshop import fill_demo
from firstpull.jobs.workshop import Workshop
from firstpull.web.bench import create_bench

HERE = Path(__file__).resolve().parent
OPEN, CARD = "/bench/jobs/cable-guide-m5", "/bench/jobs/battery-tray-lid-m6"


def frames(page: Page, address: str) -> list[bytes]:
    """The insert that fits, its hole and checks, an act at the tool, the turn to make, the card, the operator's page."""
    shots = []
    for place in (f"{OPEN}/choose?screen=pick", f"{OPEN}/choose?screen=checks"):
        page.goto(address + place)
        shots.append(page.screenshot())
    page.goto(f"{address}{OPEN}/set-up")
    for _act in range(3):  # air off, mandrel, engagement: then the anvil is asked for
        press(page)
    shots.append(page.screenshot())
    page.goto(f"{address}/practice/jobs/battery-tray-lid-m6/dial-in")
    for _act in range(3):  # pull, read again, air off: then the turn is told
        press(page)
    shots.append(page.screenshot())
    for place in (f"{CARD}/hand-over", f"{CARD}/operator"):
        page.goto(address + place)
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
        address = f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
            context = browser.new_context(viewport={"width": 1024, "height": 600})
            for name, value in (("firstpull_person", "Ada"), ("firstpull_seen", "1")):
                context.add_cookies([{"name": name, "value": value, "url": address}])
            shots = frames(context.new_page(), address)
            strip = browser.new_page(viewport={"width": 1536, "height": 604})
            pictures = "".join(f'<img src="data:image/png;base64,{base64.b64encode(shot).decode()}">' for shot in shots)
            style = "body{margin:0;display:flex;flex-wrap:wrap;gap:6px;background:#fff}img{width:508px;height:298px;border:1px solid #1D2326;box-sizing:border-box}"
            strip.set_content(f"<style>{style}</style>{pictures}")
            strip.wait_for_timeout(300)
            strip.screenshot(path=str(HERE / "walk.png"))
            browser.close()
        server.should_exit = True
        thread.join(10)
        workshop.close()


if __name__ == "__main__":
    main()

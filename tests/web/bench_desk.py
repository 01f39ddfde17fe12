"""A workshop in a temporary folder with a standing clock, a client that works in it as Ada, and jobs ready for a step."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from firstpull.jobs import catalogue, choose, look_after, open_job
from firstpull.jobs.workshop import Book, Doing, Workshop
from firstpull.mechanics.choose import Needs
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.stack import Layer, Stack
from firstpull.mechanics.tool import Tool
from firstpull.units import parse_length
from firstpull.web.bench import create_bench
from web.bench_client import TestClient

ADA = Doing("Ada")
CLOCK = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


@contextmanager
def bench(folder: Path) -> Iterator[tuple[TestClient, Book]]:
    """A client on an empty workshop with one insert, two tools and a gauge, and its bench book."""
    workshop = Workshop(folder, clock=lambda: CLOCK)
    try:
        _furnish(workshop.bench)
        app = create_bench(workshop)
        client = TestClient(
            app, base_url="http://127.0.0.1:8742", follow_redirects=False, headers={"accept": "text/html"}
        )
        client.cookies.set("firstpull_person", "Ada")
        yield client, workshop.bench
    finally:
        workshop.close()


def m6(part: str = "OUR-M6", *, allowance: str | None = "1.9 mm") -> Insert:
    """An M6 insert whose lengths agree; without ``allowance`` its set allowance is not known."""
    limits = None if allowance is None else (parse_length("1.7 mm"), parse_length("2.1 mm"))
    return Insert(
        part=part,
        thread="M6",
        material="steel",
        end="open",
        length_free=parse_length("15.2 mm"),
        grip_min=parse_length("0.5 mm"),
        grip_max=parse_length("3 mm"),
        flange_thickness=parse_length("1.5 mm"),
        flange_diameter=parse_length("13 mm"),
        body_diameter=parse_length("9 mm"),
        thread_length=parse_length("6 mm"),
        set_allowance=None if allowance is None else parse_length(allowance),
        set_allowance_min=None if limits is None else limits[0],
        set_allowance_max=None if limits is None else limits[1],
        setting_load_n=6300,
        tightening_torque_max_nm=6.8,
    )


def stacked_job(book: Book, *, part: str = "") -> str:
    """A job with a stack of 2 mm; with ``part`` its insert is chosen too."""
    state = open_job.open_job(book, "Tray lid", doing=ADA)
    choose.describe_stack(book, state.id, Stack((Layer("EN AW-5754", parse_length("2 mm")),)), doing=ADA)
    choose.state_needs(book, state.id, Needs(thread="M6"), doing=ADA)
    if part:
        choose.take_insert(book, state.id, part, doing=ADA)
    return state.id


def fields(page: str) -> dict[str, str]:
    """The hidden fields of the page's first form: what it knew, and its id."""
    found = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page))
    return {name: found[name] for name in ("expected", "client_id") if name in found}


def _furnish(book: Book) -> None:
    for row in (m6(), m6("OUR-M6-BARE", allowance=None)):
        catalogue.add_measured(book, row, doing=ADA)
    length = parse_length
    good = Tool(
        control="stroke",
        name="Bench tool",
        lead_per_turn=length("0.5 mm"),
        clicks_per_turn=12,
        stroke_max=length("7 mm"),
    )
    short = Tool(control="stroke", name="Short tool", lead_per_turn=length("0.5 mm"), stroke_max=length("2 mm"))
    mandrel = {"id": "M6-a", "thread": "M6", "cycle_limit": 20000}
    look_after.add_tool(book, "A", good, doing=ADA, mandrels=(mandrel,))
    look_after.add_tool(book, "S", short, doing=ADA)
    look_after.add_gauge(book, "C1", "Caliper 1", doing=ADA, resolution_mm=0.01, error_mm=0.03)

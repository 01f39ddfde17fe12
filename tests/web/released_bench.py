"""A bench with one job at each later step, made once by the real verbs and copied for each test."""

from __future__ import annotations

import re
import shutil
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from firstpull.jobs import choose, demo_workshop, open_job, prove, set_up
from firstpull.jobs.workshop import Book, Doing, Workshop
from firstpull.mechanics.stack import Layer, Stack
from firstpull.record.job import JobState
from firstpull.units import parse_length, parse_torque
from firstpull.web.bench import create_bench
from web.bench_client import TestClient

ADA = Doing("Ada")
RELEASED, HELD, PROVEN, FORCE = "battery-tray-lid-m6", "held", "proven", "foot-plate-m8"
EYE = {kind.key: "pass" for kind in prove.CHECKS}


def clock() -> datetime:
    return datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@dataclass
class Bench:
    """The application on a workshop of its own, asked by Ada."""

    workshop: Workshop
    client: TestClient

    @property
    def book(self) -> Book:
        return self.workshop.bench

    def job(self, job: str) -> JobState:
        return self.book.job(job)

    def get(self, address: str, *, status: int = 200) -> str:
        answer = self.client.get(address)
        assert answer.status_code == status, answer.text[-900:]
        return answer.text

    def post(self, address: str, job: str, *, status: int = 303, **form: str) -> str:
        """Post with what a page of ``job`` would carry; the address it leads to, or the page of a refusal."""
        data = {"expected": str(self.job(job).sequence), "client_id": "", **form}
        answer = self.client.post(address, data=data, follow_redirects=False)
        assert answer.status_code == status, answer.text[-900:]
        return answer.headers["location"] if status == 303 else answer.text


def make(folder: Path) -> None:
    """The demo workshop, with a job held, a job proven, and a force-set job ready for its ladder."""
    workshop = Workshop(folder, clock=clock)
    demo_workshop.fill_demo(workshop)
    book = workshop.bench
    for name in (HELD, PROVEN):
        _held(book, name)
    for index in range(3):
        checks = {**EYE, **({"section": "pass"} if not index else {})}
        length = parse_length(f"12.4{5 + index} mm")
        torque = parse_torque("14 Nm")
        finding = prove.Finding(checks=checks, set_length=length, torque=torque, arrangement="flange")
        prove.check_coupon(book, PROVEN, finding, doing=ADA)
    made = open_job.open_job(book, "Foot plate M8", doing=ADA).id
    readings = tuple(parse_length(text) for text in ("2.49 mm", "2.50 mm", "2.51 mm"))
    stack = Stack((Layer("EN AW-5754", parse_length("2.5 mm"), parse_length("0.1 mm")),), readings)
    choose.describe_stack(book, made, stack, doing=ADA)
    choose.take_insert(book, made, "DEMO-M8-STFO-30", doing=ADA)
    set_up.choose_tool(book, made, "F", doing=ADA, mandrel_id="M8-a", gauge_id="C1")
    set_up.compute(book, made, doing=ADA)
    workshop.close()


def _held(book: Book, name: str) -> None:
    """The released demo job's joint again, with its own hold: the readings that led there are the demo's."""
    source = book.job(RELEASED)
    assert source.setting is not None
    planned = [
        ("StackDescribed", dict(source.stack or {})),
        ("InsertChosen", {"insert": source.insert, "allowance": None, "window": None, "source": "catalogue"}),
        ("ToolChosen", {"tool": source.tool, "tool_id": "A", "mandrel": source.mandrel, "gauge_id": "C1"}),
        ("SettingComputed", {"setting": source.setting}),
        ("SettingHeld", dict(source.held or {})),
        ("TrialPulled", {"readings": [parse_length("12.46 mm").to_json()], "length_before": None, "where": "air"}),
    ]
    open_job.open_job(book, name, doing=ADA, more=tuple(planned))


def copy(made: Path, to: Path) -> Bench:
    """A bench on a copy of ``made``."""
    shutil.copytree(made, to)
    workshop = Workshop(to, clock=clock)
    client = TestClient(create_bench(workshop), headers={"accept": "text/html"}, base_url="http://127.0.0.1")
    client.cookies.set("firstpull_person", "Ada")
    return Bench(workshop, client)


def hidden(page: str, name: str) -> str:
    """The value of a hidden field."""
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert found is not None, name
    return found[1].replace("&amp;", "&")

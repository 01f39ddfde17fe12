"""Anything may be sent to the bench: it answers in its own words, and the record stays whole.

Two walks. Schemathesis makes requests to every operation of the OpenAPI description, with the ids of jobs, tools and
gauges that are there as well as with anything else. Then forms with damaged fields are posted to the pages of the
path, and after each the record must have grown by a whole act or not at all.
"""

from __future__ import annotations

import io
import random
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import requests
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from firstpull.jobs import open_job, practice_bench
from firstpull.jobs.workshop import Book, Doing
from firstpull.record.event import Event
from firstpull.record.job import fold_job
from firstpull.record.rules import guard_job
from firstpull.store import Store
from web import released_bench

ADA = Doing("Ada")
FEW = settings(
    max_examples=6,
    derandomize=True,
    deadline=None,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
# what people and programs type where it does not belong
TEXTS = (
    "", " ", "0", "-1", "1", "2", "12.46", "12.46 mm", ".49 in", "12,46", "1e400", "-1e400", "nan", "inf", "9" * 30, "1/0", "12 Nm", "120 lbf·in",
    "4.8 bar", "pass", "fail", "M6", "1/4-20", "EN AW-5754", "A", "C1", "M6-a", "a\x00b", "\u202egnp.exe", "\u2066x", "é" * 40, "x" * 5000, "'\"><script>",
    "../../etc/passwd", "%00", "{{7*7}}", "2026-02-30", "0000-00-00", "²", "٣", "\r\nSet-Cookie: a=b", "true", "null", "[]", "\ufffe", "95 %", "0.5",
    "1.2 to 2 kN", "2 to 1", "1-2-3", "harsh", "yes", "8.8", "80 °C",
)  # fmt: skip
BUTTONS = (
    "read", "keep", "hold", "turned", "air_off", "cycle", "cold", "remeasure", "strike 3", "strike 99", "release", "reopen", "plan", "strike", "begin",
    "pass", "fail", "skip", "count", "stop", "simulate", "pull", "again", "take", "look", "compute", "tool", "step", "allowance", "window", "enter", "no-such",
)  # fmt: skip
PAGES = (
    "choose", "choose?screen=measure", "choose?screen=pick", "choose?screen=thread", "choose?screen=access", "choose?screen=batch", "choose?screen=loads",
    "choose?screen=part", "choose?screen=place", "choose?screen=service", "choose?screen=checks", "set-up", "dial-in",
    "prove", "prove/air", "prove/plan", "prove/coupons", "hand-over", "run", "operator", "revise", "pressure", "find-allowance", "in-hand",
)  # fmt: skip


@pytest.fixture(scope="module")
def walked(made_bench: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[released_bench.Bench]:
    """One bench that the whole walk acts on, with a practice job beside the real ones."""
    made = released_bench.copy(made_bench, tmp_path_factory.mktemp("fuzz") / "workshop")
    practice_bench.start(made.workshop.practice, doing=ADA)
    yield made
    made.workshop.close()


def operations(app: Any) -> list[Any]:
    schema = schemathesis.openapi.from_dict(app.openapi())
    return [found.ok() for found in schema.get_all_operations()]


def ids(bench: released_bench.Bench) -> dict[str, list[str]]:
    """Ids that are there, and some that are not, for the places in an address."""
    jobs = [
        stream.partition(":")[2]
        for book in (bench.workshop.bench, bench.workshop.practice)
        for stream in book.store.streams("job")
    ]
    odd = ["nothing", "..", "a b", "é", "x" * 300, "\x7f", "%2e%2e", "new"]
    return {
        "job": jobs + odd,
        "room": ["bench", "bench", "practice", "bench", "elsewhere"],
        "tool": [tool.id for tool in bench.book.tools()] + odd,
        "gauge": [gauge.id for gauge in bench.book.gauges()] + odd,
    }


def check_answer(answer: Any) -> None:
    """No failure of the bench itself, no trace, and every refusal a page of ours or JSON of our shape."""
    assert answer.status_code < 500, answer.text[-1500:]
    kind = answer.headers.get("content-type", "")
    if kind.startswith(("text/", "application/json")):
        assert "Traceback" not in answer.text
    if answer.status_code < 400:
        return
    if kind.startswith("text/html"):
        assert "<main" in answer.text
    else:
        assert {"what", "where", "hint"} <= set(answer.json()["error"])


def whole(book: Book) -> None:
    report = book.store.verify()
    assert report.ok, report.problems[:3]


def test_every_operation_answers_in_our_shape(walked: released_bench.Bench) -> None:
    """Requests made from the description, to every operation, as a page and as a program: no 5xx, errors in our shape."""
    chosen = random.Random(7)
    places = ids(walked)
    for operation in operations(walked.client.app):

        @FEW
        @given(case=operation.as_strategy(), as_page=st.booleans())
        def walk(case: Any, as_page: bool) -> None:
            for name in case.path_parameters or {}:
                if name in places and chosen.random() < 0.9:
                    case.path_parameters[name] = chosen.choice(places[name])
            answer = send(walked, case, as_page=as_page)
            check_answer(answer)

        walk()
    for book in (walked.workshop.bench, walked.workshop.practice):
        whole(book)


def send(bench: released_bench.Bench, case: Any, *, as_page: bool) -> Any:
    """The request of ``case`` through the test's own client, so that it comes from Ada and from here."""
    made = case.as_transport_kwargs(base_url="http://127.0.0.1")
    wanted = {name: made.get(name) for name in ("method", "url", "headers", "params", "data", "files", "json")}
    ready = requests.Request(**wanted).prepare()
    headers = {
        name: value
        for name, value in ready.headers.items()
        if name.lower() not in ("host", "accept", "accept-encoding")
    }
    headers["accept"] = "text/html" if as_page else "application/json"
    return bench.client.request(
        made["method"], str(ready.url), headers=headers, content=ready.body, follow_redirects=False
    )


FIELDS = (
    "do", "reading", "reason", "name", "count", "now", "of", "issued", "rejected", "returned", "material", "thickness", "faces", "thin", "thick",
    "thread", "torque", "end", "head", "room_behind", "part", "tool", "mandrel", "gauge", "present", "step", "allowance", "source", "stroke_min",
    "stroke_max", "coupon", "asked", "arrangement", "set_length", "length_before", "pressure", "coupons_each_end", "sections", "torque_tests",
    "torque_min", "reliability", "confidence", "check_every_sets", "check_every_minutes", "coupons_again", "expected", "client_id",
    "tension", "shear", "push", "load_factor", "mating_thickness", "clearance_hole", "washer", "strength", "condition", "proof_share", "edge", "pitch",
    "pocket_diameter", "pocket_depth", "sealed", "surroundings", "temperature", "body", "dimple", "load_ceiling",
)  # fmt: skip
WORDS = st.sampled_from(TEXTS + BUTTONS)


@st.composite
def posts(draw: st.DrawFn) -> tuple[str, str, dict[str, str]]:
    """A page of the path, a job, and a form with some of all fields that any page has."""
    page = draw(st.sampled_from(PAGES))
    form = draw(st.dictionaries(st.sampled_from(FIELDS), WORDS, max_size=8))
    form["do"] = draw(st.sampled_from(BUTTONS))
    return page, draw(st.sampled_from(("held", "proven", "foot-plate-m8", "battery-tray-lid-m6", "fresh"))), form


def acts_of(events: tuple[Event, ...]) -> None:
    """The record as it stands can be written again event by event under its rules, and no release lacks its proof."""
    guard_job((), events)
    for index, event in enumerate(events):
        if event.type == "Released":
            before = fold_job(events[:index])
            assert before.held is not None
            assert before.proof is not None
            assert before.proof["passed"] is True
            assert before.proof_sequence > before.changed_sequence


def count_all(bench: released_bench.Bench) -> int:
    return sum(1 for book in (bench.workshop.bench, bench.workshop.practice) for _ in book.store.all_events())


def test_damaged_forms_write_whole_acts_or_nothing(made_bench: Path, tmp_path: Path) -> None:
    """Forms with damaged fields are refused in our words or done whole; nothing unproven is ever released."""
    bench = released_bench.copy(made_bench, tmp_path / "workshop")
    open_job.open_job(bench.book, "Fresh", doing=ADA)

    @settings(FEW, max_examples=240)
    @given(post=posts(), fresh=st.booleans())
    def walk(post: tuple[str, str, dict[str, str]], fresh: bool) -> None:
        page, job, form = post
        if fresh:
            form = {**form, "expected": str(bench.job(job).sequence), "client_id": ""}
        before = count_all(bench)
        answer = bench.client.post(f"/bench/jobs/{job}/{page}", data=form, follow_redirects=False)
        assert answer.status_code in (200, 303, 400, 404, 405, 409, 422), answer.text[-1500:]
        check_answer(answer)
        after = count_all(bench)
        if answer.status_code != 303:
            assert after == before or page.startswith("dial-in"), (post, after - before)
        assert after >= before
        shown = bench.client.get(f"/bench/jobs/{job}/record")
        assert shown.status_code == 200

    walk()
    whole(bench.book)
    for stream in bench.book.store.streams("job"):
        acts_of(bench.book.store.read(stream))
    bench.workshop.close()


def tables() -> list[tuple[str, bytes]]:
    """Tables of inserts that are no such thing, or only nearly."""
    good = b"part,thread,end,length_free [mm],grip_min [mm],grip_max [mm]\nA1,M6,open,15.5,0.5,3.0\n"
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (
        ["part", "thread", "end", "length_free [mm]", "grip_min [mm]", "grip_max [mm]"],
        ["X1", "M6", "open", 1e308, "=1/0", None],
    ):
        sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    bomb = io.BytesIO()
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b"0" * 40_000_000)
    return [
        ("good.csv", good),
        ("good.csv", good.replace(b"3.0", b"0.1")),
        ("good.csv", good.replace(b"15.5", b"1e400")),
        ("good.csv", good[:-9]),
        ("good.csv", good.replace(b"A1", b"A\x00\xe2\x80\xae1")),
        ("good.csv", good.decode().encode("utf-16")),
        ("bad.csv", b"\xff\xfe\x00"),
        ("bad.csv", b"\x00" * 4000),
        ("bad.csv", b'"' * 5000),
        ("bad.csv", b"part\n" * 3000),
        ("", good),
        ("..\\..\\x.csv\r\nX: y", good),
        ("x" * 4000 + ".csv", good),
        ("book.xlsx", out.getvalue()),
        ("book.xlsx", out.getvalue()[:-200]),
        ("book.xlsx", out.getvalue().replace(b"PK", b"KP")),
        ("book.xlsx", good),
        ("book.csv", out.getvalue()),
        ("bomb.xlsx", bomb.getvalue()),
        ("empty.xlsx", b""),
        ("x.pdf", b"%PDF-1.7"),
    ]


@pytest.mark.parametrize("do", ["look", "take"])
def test_broken_tables_of_inserts_import_whole_or_not(bench: released_bench.Bench, do: str) -> None:
    """A broken table is looked at or refused; taking one is a single event, and the catalogue can be read after it."""
    for name, data in tables():
        before = count_all(bench)
        form = {"do": do, "unit_heading": "part", "unit": "mm"}
        answer = bench.client.post("/inserts/import", data=form, files={"file": (name, data)}, follow_redirects=False)
        assert answer.status_code in (200, 303, 400, 422), (name, answer.status_code, answer.text[-800:])
        check_answer(answer)
        grown = count_all(bench) - before
        assert grown <= (1 if answer.status_code == 303 else 0)
        assert bench.client.get("/inserts").status_code == 200
    whole(bench.book)


def test_a_body_that_is_no_form_is_refused(bench: released_bench.Bench) -> None:
    """Broken multipart, JSON, and bytes in place of a form give our page and write nothing."""
    before = count_all(bench)
    for kind, body in (
        ("multipart/form-data", b"--x"),
        ("multipart/form-data; boundary=x", b"--x\r\nContent-Disposition: form-data\r\n\r\n1\r\n--x--"),
        ("multipart/form-data; boundary=" + "x" * 5000, b"\x00" * 100),
        ("application/json", b"{" * 100_000),
        ("application/x-www-form-urlencoded", b"&".join(b"a%d=1" % n for n in range(20_000))),
        ("application/x-www-form-urlencoded; charset=utf-7", b"do=release&name=+AFw-"),
        ("application/x-www-form-urlencoded", b"do=%ff%fe&reading=%ed%a0%80"),
        ("", b"\xff" * 1000),
    ):
        for page in ("dial-in", "hand-over", "choose", "run"):
            answer = bench.client.post(
                f"/bench/jobs/{released_bench.HELD}/{page}", content=body, headers={"content-type": kind}
            )
            assert 200 <= answer.status_code < 500, (kind, page, answer.status_code)
            assert answer.status_code != 303
            check_answer(answer)
    assert count_all(bench) == before


def test_a_restore_under_an_open_bench_is_said_on_every_page(bench: released_bench.Bench, tmp_path: Path) -> None:
    """When a backup is put in place while the bench runs, each page that needs the record says so, nothing is written to
    the file put aside, and the export does not break off in the middle."""
    bench.book.store.backup(tmp_path / "backup.sqlite")
    done = Store.restore(tmp_path / "backup.sqlite", bench.book.path)
    for address in ("/", f"/bench/jobs/{released_bench.HELD}/prove", "/record/export", "/record/backup", "/inserts"):
        answer = bench.client.get(address)
        assert answer.status_code == 422, address
        assert "replaced" in answer.text
    form = {"reading": "12.46", "do": "read", "expected": "", "client_id": ""}
    assert bench.client.post(f"/bench/jobs/{released_bench.HELD}/prove/air", data=form).status_code == 422
    assert done.kept is not None
    with Store(done.kept) as kept:
        assert len(list(kept.all_events())) == done.report.events


@pytest.mark.parametrize(
    "address",
    [
        "/bench/jobs/battery-tray-lid-m6/card.pdf?size=A5%0d%0aX-Evil:%20y",
        "/bench/jobs/battery-tray-lid-m6/card.pdf?unit=furlong",
        "/bench/jobs/..%2f..%2fetc%2fpasswd/card.pdf",
        "/bench/jobs/a%0d%0aX-Evil:%20y/card.pdf",
        "/static/../../errors.py",
        "/static/%2e%2e/%2e%2e/errors.py",
        "/person?back=//evil.example",
        "/practice/advice?back=%2f%2fevil.example",
        "/practice/advice?back=%2f%0d%0aX-Evil:%20y",
        "/bench/jobs/held/news?seen=0",
        "/bench/jobs/held/news?seen=-99999999999999999999999",
        "/bench/jobs/held/record?after=99999999999999999999999",
    ],
)
def test_addresses_lead_nowhere_else(bench: released_bench.Bench, address: str) -> None:
    """No address or header value makes a header of its own, a path out of the bench or a link to another site."""
    answer = bench.client.get(address, headers={"referer": "https://evil.example/x"}, follow_redirects=False)
    check_answer(answer)
    assert "x-evil" not in answer.headers
    assert "evil.example" not in answer.headers.get("location", "")
    assert not re.search(r'"(https?:)?//evil', answer.text)
    assert "FirstpullError" not in answer.text

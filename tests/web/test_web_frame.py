"""The frame of every page: what is let in, what is sent along, how errors look, and what each page is made of."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from fastapi import APIRouter, Request
from fastapi.responses import Response

from firstpull.errors import BadInput, Conflict, FirstpullError, NotFound, RecordDamaged, Unsafe
from firstpull.web import render
from firstpull.web.app import create_app
from firstpull.web.guard import HEADERS
from firstpull.web.person import local_address
from firstpull.web.texts import TEXTS
from web.bench_client import TestClient
from web.step_contexts import CONTEXTS, FORM

WEB = Path(render.__file__).parent
TEMPLATES = sorted((WEB / "templates").rglob("*.html"))
PAGE = {"accept": "text/html"}
ERRORS: dict[str, tuple[FirstpullError, int, str]] = {
    "bad": (BadInput("“x” is no length.", where="stack.layer[1]", hint="Write “3 mm”."), 422, "bad-input"),
    "missing": (NotFound("No such job."), 404, "not-found"),
    "conflict": (Conflict("The record moved on."), 409, "conflict"),
    "unsafe": (Unsafe("Not proven.", reasons=("No coupon at the thick end.",)), 409, "unsafe"),
    "damaged": (RecordDamaged("A hash is wrong."), 500, "record-damaged"),
    "other": (FirstpullError("Something of ours."), 500, "problem"),
}


def _trial_routes() -> APIRouter:
    router = APIRouter()

    @router.get("/trial/error/{name}")
    def fail(name: str) -> None:
        raise ERRORS[name][0]

    @router.get("/trial/broken")
    def broken() -> None:
        raise ValueError("inner secret")

    @router.get("/trial/count/{number}")
    def count(number: int) -> int:
        return number

    @router.post("/trial/write")
    async def write(request: Request) -> int:
        return len(await request.body())

    @router.get("/trial/step/{name}")
    def step(request: Request, name: str, practice: bool = False) -> Response:
        path = render.steps(
            {"choose": "done", "set_up": "now", "prove": "owed"}, counts={"prove": 2}, addresses={"choose": "/jobs/1"}
        )
        job = {"name": "Tray lid", "note": "revision 1", "address": "/jobs/1"}
        owed = [{"text": "2 coupons", "address": "/jobs/1"}]
        gauge = {"name": "Caliper", "note": "overdue", "overdue": True}
        context = CONTEXTS[name]
        return render.page(
            request, f"steps/{name}.html", context, path=path, job=job, owed=owed, gauge=gauge, practice=practice
        )

    return router


@pytest.fixture
def client() -> TestClient:
    return TestClient(create_app(routers=[_trial_routes()]), base_url="http://127.0.0.1:8742", follow_redirects=False)


class _Page(HTMLParser):
    """What a page is made of, as far as the tests ask."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.forms: list[dict[str, Any]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        attributes = {name: value or "" for name, value in attrs}
        self.tags.append((tag, attributes))
        if tag == "form":
            self.forms.append({**attributes, "names": []})
        elif tag in ("input", "button") and self.forms:
            self.forms[-1]["names"].append(attributes.get("name", ""))

    def all(self, tag: str) -> list[dict[str, str]]:
        return [attributes for name, attributes in self.tags if name == tag]


# ---- what is let in


@pytest.mark.parametrize("host", ["127.0.0.1:8742", "localhost", "LOCALHOST:1", "[::1]:8742"])
def test_own_names_are_answered(client: TestClient, host: str) -> None:
    """The bench answers to its own names at any port."""
    assert client.get("/glossary", headers={"host": host}).status_code == 200


@pytest.mark.parametrize("host", ["bench.example", "127.0.0.1.bench.example", "", "[", "127.0.0.1@bench.example"])
def test_a_foreign_name_is_refused(client: TestClient, host: str) -> None:
    """A foreign name that resolves to this machine gets nothing."""
    answer = client.get("/glossary", headers={"host": host})
    assert answer.status_code == 400
    assert answer.json()["error"]["kind"] == "host"


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "none"},
        {"sec-fetch-site": "cross-site", "origin": "http://127.0.0.1:8742"},
        {"origin": "http://bench.example"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "https://127.0.0.1:8742"},
        {"origin": "null"},
    ],
)
def test_another_site_cannot_write(client: TestClient, headers: dict[str, str]) -> None:
    """A form on another site changes nothing here."""
    answer = client.post("/trial/write", headers=headers)
    assert answer.status_code == 403
    assert answer.json()["error"]["kind"] == "origin"


@pytest.mark.parametrize("headers", [{"sec-fetch-site": "same-origin"}, {"origin": "http://127.0.0.1:8742"}, {}])
def test_the_bench_itself_can_write(client: TestClient, headers: dict[str, str]) -> None:
    """The bench's own forms, and programs that are no browser, may write."""
    assert client.post("/trial/write", headers=headers).status_code == 200


def test_links_from_other_sites_can_be_followed(client: TestClient) -> None:
    """Reading is not refused: a link in a mail opens the page."""
    assert client.get("/glossary", headers={"sec-fetch-site": "cross-site"}).status_code == 200


def test_a_body_over_the_limit_is_refused() -> None:
    """Too much is refused whether its length is announced or not."""
    from firstpull.web.guard import Guard

    app = create_app(routers=[_trial_routes()])
    client = TestClient(Guard(app, max_body_bytes=1000), base_url="http://127.0.0.1")
    assert client.post("/trial/write", content=b"x" * 1000).json() == 1000
    assert client.post("/trial/write", content=b"x" * 1001).status_code == 413
    assert client.post("/trial/write", content=iter([b"x" * 600, b"x" * 600])).status_code == 413


# ---- what is sent along


@pytest.mark.parametrize(
    "address", ["/glossary", "/nowhere", "/trial/broken", "/trial/error/bad", "/static/bench.css", "/openapi.json"]
)
@pytest.mark.parametrize("accept", ["text/html", "application/json"])
def test_every_answer_carries_the_headers(client: TestClient, address: str, accept: str) -> None:
    """Pages, files, errors and the last resort all carry the protective headers."""
    answer = client.get(address, headers={"accept": accept})
    for name, value in HEADERS.items():
        assert answer.headers[name] == value


def test_refusals_carry_the_headers(client: TestClient) -> None:
    """Even a refused request is answered with them."""
    assert "frame-ancestors 'none'" in client.get("/", headers={"host": "x.example"}).headers["content-security-policy"]


def test_files_are_kept_for_good_only_by_their_mark(client: TestClient) -> None:
    """An address with the mark of its content may be kept; the bare one is asked for again; pages are not stored."""
    marked = render.static_address("bench.css")
    assert re.fullmatch(r"/static/bench\.css\?v=[0-9a-f]{12}", marked)
    assert "immutable" in client.get(marked).headers["cache-control"]
    assert client.get("/static/bench.css").headers["cache-control"] == "no-cache"
    assert client.get("/glossary").headers["cache-control"] == "no-store"


# ---- errors


@pytest.mark.parametrize("name", ERRORS)
def test_our_errors_keep_their_shape_as_json(client: TestClient, name: str) -> None:
    """A program gets what, where and hint, the kind, and the status that belongs to it."""
    error, status, kind = ERRORS[name]
    answer = client.get(f"/trial/error/{name}")
    assert answer.status_code == status
    body = answer.json()["error"]
    assert {key: body[key] for key in ("what", "where", "hint")} == error.as_dict()
    assert body["kind"] == kind
    assert body.get("reasons", []) == list(getattr(error, "reasons", ()))


@pytest.mark.parametrize("name", ERRORS)
def test_our_errors_are_a_page_for_a_person(client: TestClient, name: str) -> None:
    """A person reads the same on a page."""
    error, status, _ = ERRORS[name]
    answer = client.get(f"/trial/error/{name}", headers=PAGE)
    assert answer.status_code == status
    for text in (error.what, error.where, error.hint, *getattr(error, "reasons", ())):
        assert text in answer.text


@pytest.mark.parametrize("accept", ["text/html", "application/json"])
def test_the_last_resort_shows_no_trace(client: TestClient, accept: str, caplog: pytest.LogCaptureFixture) -> None:
    """What nobody thought of is logged with its trace; the answer says only that something broke."""
    answer = client.get("/trial/broken", headers={"accept": accept})
    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
    assert "inner secret" in caplog.text


def test_a_field_of_the_wrong_kind_is_named(client: TestClient) -> None:
    """A body or path of the wrong shape has our shape of error, with the field."""
    answer = client.get("/trial/count/many")
    assert answer.status_code == 422
    assert answer.json()["error"]["where"] == "number"


def test_an_address_without_a_page_says_where_to_go(client: TestClient) -> None:
    """Nothing at an address is a page with the ways on."""
    answer = client.get("/nowhere", headers=PAGE)
    assert answer.status_code == 404
    assert TEXTS["menu"]["/"] in answer.text


def test_what_is_shown_is_escaped(client: TestClient) -> None:
    """A name with markup in it is shown, not obeyed."""
    client.cookies.set("firstpull_person", "%3Cb%3Ebold%3C%2Fb%3E")
    text = client.get("/person", headers=PAGE).text
    assert "<b>bold</b>" not in text
    assert "&lt;b&gt;bold&lt;/b&gt;" in text


# ---- name and unit


def test_name_and_unit_are_kept_in_the_browser(client: TestClient) -> None:
    """A name with any letters comes back on the next page, and the chosen unit with it."""
    answer = client.post("/person", data={"name": "  Zoë  Łukasz ", "unit": "in", "back": "/glossary"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/glossary")
    for cookie in answer.headers.get_list("set-cookie"):
        assert "HttpOnly" in cookie
        assert "SameSite=strict" in cookie
    text = client.get("/glossary", headers=PAGE).text
    assert "Zoë Łukasz" in text
    assert re.search(r'value="in" aria-pressed="true"', text)


@pytest.mark.parametrize("name", ["x" * 61, "bell\x07"])
def test_a_name_that_cannot_be_used_stays_in_its_field(client: TestClient, name: str) -> None:
    """A refused name is still there to be changed, with what is wrong under it."""
    answer = client.post("/person", data={"name": name}, headers=PAGE)
    assert answer.status_code == 422
    assert name in answer.text
    assert "problem-what" in answer.text
    assert "set-cookie" not in answer.headers


def test_a_spoiled_cookie_is_no_name(client: TestClient) -> None:
    """A cookie that cannot be a name counts as none."""
    client.cookies.set("firstpull_person", "x" * 500)
    client.cookies.set("firstpull_unit", "furlong")
    text = client.get("/glossary", headers=PAGE).text
    assert TEXTS["frame"]["nobody"] in text
    assert re.search(r'value="mm" aria-pressed="true"', text)


def test_the_unit_is_switched_and_leads_back(client: TestClient) -> None:
    """The switch works as a plain form and returns to the page it was on."""
    answer = client.post("/unit", data={"unit": "in", "back": "/cautions"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/cautions")
    assert client.post("/unit", data={"unit": "ell"}).status_code == 422


@pytest.mark.parametrize(
    "text",
    ["//x.example", "/\\x.example", "http://x.example", "x", "", "/a\\b", "/\r\nSet-Cookie: a=b", "/\t/x.example"],
)
def test_the_way_back_stays_in_the_bench(text: str) -> None:
    """A form cannot send anyone to another site."""
    assert local_address(text) == "/"


def test_the_way_back_keeps_its_place() -> None:
    """A place in the bench is kept as it is."""
    assert local_address("/jobs/1?step=prove#q") == "/jobs/1?step=prove#q"


# ---- pages


@pytest.mark.parametrize("address", ["/glossary", "/cautions", "/person"])
def test_pages_without_a_job(client: TestClient, address: str) -> None:
    """They are there, with one heading."""
    answer = client.get(address, headers=PAGE)
    assert answer.status_code == 200
    assert len(_Page(answer.text).all("h1")) == 1


def test_every_step_has_a_context() -> None:
    """No template of a step goes untested."""
    assert {path.stem for path in (WEB / "templates/steps").glob("*.html")} == set(CONTEXTS)


@pytest.mark.parametrize("name", CONTEXTS)
def test_a_step_page_is_sound(client: TestClient, name: str) -> None:
    """One question, a label for each field, the hidden fields in each form that writes, and no inline style or script."""
    answer = client.get(f"/trial/step/{name}", headers=PAGE)
    assert answer.status_code == 200
    page = _Page(answer.text)
    assert len(page.all("h1")) == 1
    assert len(page.all("main")) == 1
    assert sum("autofocus" in attributes for _, attributes in page.tags) <= 1
    labelled = {label.get("for") for label in page.all("label")}
    for field in page.all("input"):
        if field.get("type") in ("text", "search"):
            assert field["id"] in labelled
    ids = [attributes["id"] for _, attributes in page.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    for form in page.forms:
        if form["method"] == "post" and form["action"] == FORM["address"]:
            assert {"expected", "client_id"} <= set(form["names"])
    for tag, attributes in page.tags:
        assert "style" not in attributes
        assert not any(attribute.startswith("on") for attribute in attributes)
        assert tag != "script" or attributes["src"].startswith("/static/")
    assert "style>" not in answer.text


@pytest.mark.parametrize("name", [name for name in CONTEXTS if CONTEXTS[name].get("field")])
def test_enter_in_a_reading_field_saves_the_reading(client: TestClient, name: str) -> None:
    """The first button of its form is the one that Enter presses without JavaScript: it reads, and never stops or passes."""
    page = _Page(client.get(f"/trial/step/{name}", headers=PAGE).text)
    at = next(i for i, (tag, attributes) in enumerate(page.tags) if tag == "form" and "data-reading-form" in attributes)
    first = next(attributes for tag, attributes in page.tags[at:] if tag == "button")
    assert (first["name"], first["value"]) == ("do", "read")


def test_states_have_a_word_and_a_shape(client: TestClient) -> None:
    """The path says done, now and owed in words beside the marks."""
    text = client.get("/trial/step/set_up", headers=PAGE).text
    path = text[text.index('<nav class="path"') : text.index("</nav>")]
    for word, mark in (("done", "mark-done"), ("now", "mark-now"), ("2 owed", "mark-owed"), ("not yet", "mark-later")):
        assert word in path
        assert mark in path
    assert path.count('aria-current="step"') == 0  # "now" has no address here


def test_practice_is_marked(client: TestClient) -> None:
    """A practice page is hatched and says so; a real one does not."""
    word = TEXTS["frame"]["practice"]
    assert word in client.get("/trial/step/dial_in?practice=true", headers=PAGE).text
    assert word not in client.get("/trial/step/dial_in", headers=PAGE).text


def test_no_release_button_while_something_is_owed() -> None:
    """The release button does not exist, not even disabled, while anything is owed."""
    template = render.environment().get_template("steps/hand_over.html")
    frame = {
        "path": [],
        "job": None,
        "owed": [],
        "gauge": None,
        "practice": False,
        "person": "",
        "unit": "mm",
        "here": "/",
    }
    context = {**frame, **CONTEXTS["hand_over"]}
    assert "Release it" in template.render(context)
    owed = template.render({**context, "owed_here": [{"text": "turning test", "address": ""}]})
    assert "Release it" not in owed
    assert 'value="release"' not in owed


# ---- words, files, colours


def test_every_word_is_used_and_there() -> None:
    """The templates use no text that is missing, and no text lies unused."""
    used: set[tuple[str, str]] = set()
    whole: set[str] = {"steps", "states", "menu", "gauge"}
    for path in TEMPLATES:
        used |= set(re.findall(r"\bt\.(\w+)\.(\w+)", path.read_text()))
    for path in WEB.glob("*.py"):
        code = path.read_text()
        used |= set(re.findall(r'TEXTS\["(\w+)"\]\["(\w+)"\]', code))
        for function in re.split(r"\n(?=def )", code):
            named = re.findall(r'words(?:, \w+)* = TEXTS\["(\w+)"\]', function)
            used |= {(table, key) for table in named for key in re.findall(r'words\["(\w+)"\]', function)}
            if re.search(r"words\[[a-z]", function):  # looked up by a variable
                whole |= set(named)
        # a table looked up by a variable is used whole
        whole |= set(re.findall(r'TEXTS\["(\w+)"\](?:\[[a-z]|\.get\()', code))
    used = {(page, key) for page, key in used if page not in whole}
    there = {(page, key) for page, table in TEXTS.items() for key in table}
    assert used <= there
    by_value = {("frame", "unit_mm"), ("frame", "unit_in"), ("person", "in")}
    by_value |= {("choose", key) for key in ("thread", "access")}
    by_value |= {("record", room) for room in ("bench", "practice")}
    by_value |= {("cautions", key) for _, key in there if _ == "cautions"}
    assert {pair for pair in there if pair[0] not in whole} - used - by_value == set()


def test_pages_ask_no_other_machine() -> None:
    """No template, style or script of ours names another address."""
    for path in [*TEMPLATES, *(WEB / "static").glob("bench.*")]:
        assert not re.search(r"https?:|//[a-z]+\.", path.read_text()), path


def test_the_first_page_is_light(client: TestClient) -> None:
    """The first page, with style, script, htmx and fonts, is under 100 kB on the wire."""
    page = client.get("/trial/step/dial_in", headers=PAGE)
    parts = [page] + [client.get(address) for address in re.findall(r'(?:href|src)="(/static/[^"]+)"', page.text)]
    fonts = [client.get(f"/static/vendor/atkinson-hyperlegible-next/latin-{weight}.woff2") for weight in (400, 700)]
    assert all(part.status_code == 200 for part in parts + fonts)
    assert sum(int(part.headers["content-length"]) for part in parts + fonts) < 100_000


@pytest.mark.parametrize(
    ("ink", "ground", "least"),
    [
        ("ink", "page", 7.0),
        ("ink", "band", 7.0),
        ("ink", "white", 7.0),
        ("ink", "amber", 7.0),
        ("quiet", "page", 4.5),
        ("quiet", "band", 4.5),
        ("white", "petrol", 7.0),
        ("white", "brick", 4.5),
        ("brick", "page", 4.5),
    ],
)
def test_colours_can_be_read(ink: str, ground: str, least: float) -> None:
    """Every pair of colours that carries text has contrast: readings 7, text 4.5 (WCAG 2.2, success criterion 1.4.3)."""
    colours = dict(re.findall(r"--(\w+): (#[0-9A-F]{6});", (WEB / "static/bench.css").read_text()))

    def luminance(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    low, high = sorted((luminance(colours[ink]), luminance(colours[ground])))
    assert (high + 0.05) / (low + 0.05) >= least


def test_vendored_parts_bring_their_licence() -> None:
    """Each folder of others' work has its licence beside it."""
    folders = [path for path in (WEB / "static/vendor").iterdir() if path.is_dir()]
    assert len(folders) == 2
    assert all((folder / "LICENSE").stat().st_size > 300 for folder in folders)


def test_the_description_for_programs_is_there(client: TestClient) -> None:
    """The OpenAPI description is served; a viewer of another's making is not."""
    assert client.get("/openapi.json").json()["info"]["title"] == "firstpull"
    assert client.get("/docs").status_code == 404

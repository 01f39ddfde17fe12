"""The decimal sign and the units that a person chose: on every number of a page, and on nothing that is a name."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from firstpull.jobs.told import degrees, told
from firstpull.web.numbers import with_comma
from web import released_bench
from web.bench_client import TestClient

_SEEN = re.compile(r"<(script|style|title)\b.*?</\1>|<[^>]*>", re.DOTALL)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("<p>Set length 12.46.</p>", "<p>Set length 12,46.</p>"),
        ("<text x=\"1.5\">stroke 2.74</text>", "<text x=\"1.5\">stroke 2,74</text>"),
        ("<b>12.30 to 12.63 mm</b>", "<b>12,30 to 12,63 mm</b>"),
        ("<p>29 CFR 1910.147(d)(5); AC 43.13-1B; JCGM 100:2008, 4.2</p>", None),
        ("<p>screw class 8.8, 10.9 assumed</p>", None),
        ("<p>8.8 N·m</p>", "<p>8,8 N·m</p>"),
        ("<p>A 1.4301 0.99</p>", "<p>A 1.4301 0,99</p>"),
        ("<p>firstpull 0.1.0 on 127.0.0.1</p>", None),
        ("<script>let x = 1.5;</script><style>a{top:.5rem;left:1.5rem}</style>", None),
        ('<input inputmode="decimal" value="12.46">', '<input inputmode="decimal" value="12,46">'),
        ('<input type="hidden" name="answers" value="12.46">', None),
    ],
)  # fmt: skip
def test_a_comma_is_put_into_numbers_and_into_nothing_else(before: str, after: str | None) -> None:
    """Numbers of texts, drawings and number fields change; clauses, classes, materials, versions and code do not."""
    assert with_comma(before) == (before if after is None else after)


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    from firstpull.jobs.workshop import Workshop
    from firstpull.web.bench import create_bench

    folder = tmp_path_factory.mktemp("numbers") / "workshop"
    released_bench.make(folder)
    workshop = Workshop(folder, clock=released_bench.clock)
    made = TestClient(create_bench(workshop), base_url="http://127.0.0.1:8742", follow_redirects=False)
    made.headers.update({"accept": "text/html"})
    made.cookies.set("firstpull_person", "Ada")
    made.cookies.set("firstpull_seen", "1")
    yield made
    workshop.close()


def test_whoever_chose_the_comma_reads_no_point_in_a_length(client: TestClient) -> None:
    """With the comma chosen on the person page, the pages of a job show 12,46 and nowhere 12.46; a point comes back."""
    client.post("/person", data={"name": "Ada", "unit": "mm", "decimal": "comma"})
    try:
        for step in ("hand-over", "run", "operator", "card"):
            text = _SEEN.sub(" ", client.get(f"/bench/jobs/{released_bench.RELEASED}/{step}").text)
            assert re.search(r"\b12,\d\d\b", text), step
            assert not re.search(r"\b12\.\d\d\b", text), step
        assert 'value="comma" checked' in client.get("/person").text
    finally:
        client.post("/person", data={"name": "Ada", "unit": "mm", "decimal": "point"})
    assert "12.30" in client.get(f"/bench/jobs/{released_bench.RELEASED}/operator").text


def test_temperatures_go_with_the_unit_of_lengths(client: TestClient) -> None:
    """Beside inches 60 °C reads 140 °F in sentences and in its field; beside mm it stays as it is."""
    assert degrees(60.0, "in") == "140 °F"
    assert told("holds up to 65 °C, not −40 °C", "in") == "holds up to 149 °F, not -40 °F"
    assert told("holds up to 65 °C", "mm") == "holds up to 65 °C"
    page = f"/bench/jobs/{released_bench.RELEASED}/record"
    client.post("/unit", data={"unit": "in"})
    try:
        assert "up to 140 °F" in client.get(page).text
    finally:
        client.post("/unit", data={"unit": "mm"})
    assert "up to 60 °C" in client.get(page).text

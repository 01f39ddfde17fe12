"""Hand over, run and the operator's page: release only with nothing owed, stops that lock, and cards that say so."""

from __future__ import annotations

import pytest

from web.released_bench import HELD, PROVEN, RELEASED, Bench
from web.test_web_prove import good_coupon

RUN = f"/bench/jobs/{RELEASED}/run"
OPERATOR = f"/bench/jobs/{RELEASED}/operator"


def test_no_release_while_anything_is_owed(bench: Bench) -> None:
    """No button on the page, and a release sent anyway is refused with the reasons."""
    place = f"/bench/jobs/{HELD}/hand-over"
    page = bench.get(place)
    assert "The release appears here when nothing is owed." in page
    assert 'value="release"' not in page
    assert "NOT RELEASED" in page
    bench.post(place, HELD, status=409, do="release", name="Ada")
    assert not bench.job(HELD).released
    bench.get(f"/bench/jobs/{HELD}/card", status=409)


def test_a_person_releases_and_the_card_is_there(bench: Bench) -> None:
    """Released in the name given; the card, its QR code, hash and both PDFs follow."""
    place = f"/bench/jobs/{PROVEN}/hand-over"
    assert "36.8 % reliability" in bench.get(place)
    assert "person’s name" in bench.post(place, PROVEN, status=422, do="release", name=" ")
    bench.post(place, PROVEN, do="release", name="Grace")
    state = bench.job(PROVEN)
    assert state.released_by == "Grace"
    assert "Released and saved." in bench.get(place)
    card = bench.get(f"/bench/jobs/{PROVEN}/card")
    assert state.release_hash in card
    assert "card-code" in card
    for size in ("A5", "A4"):
        answer = bench.client.get(f"/bench/jobs/{PROVEN}/card.pdf?size={size}&unit=in")
        assert answer.content[:5] == b"%PDF-"
    bench.get(f"/bench/jobs/{PROVEN}/card.pdf?size=A3", status=422)
    bench.get(f"/bench/jobs/{PROVEN}/card?unit=ell", status=422)


def test_a_new_revision_replaces_the_card(bench: Bench) -> None:
    """It wants a reason; the old card says in words that it was replaced, and its run takes no more checks."""
    place = f"/bench/jobs/{RELEASED}/revise"
    assert "Why is it revised?" in bench.get(place)
    bench.post(place, RELEASED, status=422, reason=" ")
    assert bench.post(place, RELEASED, reason="new sheet") == f"/bench/jobs/{RELEASED}.r2"
    assert "replaced by battery-tray-lid-m6.r2" in bench.get(f"/bench/jobs/{RELEASED}/card")
    assert "This card was replaced." in bench.get(RUN)
    assert "was replaced by" in bench.get(OPERATOR)


def test_each_check_of_the_run(bench: Bench) -> None:
    """Tool and joint are asked by turns, and each answer is on record at once under its own kind."""
    page = bench.get(RUN)
    assert "Is today’s stack the same?" in page
    for now, form in (
        ("stack", {"do": "read", "reading": "2.17"}),
        ("head", {"do": "pass"}),
        ("turning", {"do": "read", "reading": "14"}),
        ("tool", {"do": "read", "reading": "12.46"}),
        ("front", {"do": "read", "reading": "12.47"}),
        ("last off", {"do": "pass"}),
    ):
        bench.get(f"{RUN}?now={now}")
        bench.post(RUN, RELEASED, now=now, count="200", **form)
    checks = bench.job(RELEASED).checks[-6:]
    assert [check.kind for check in checks] == ["joint", "joint", "joint", "tool", "tool", "last off"]
    assert [check.data["in_air"] for check in checks[3:5]] == [True, False]
    assert {check.result for check in checks} <= {"in control", "look"}


def test_a_stop_quarantines_and_locks(bench: Bench) -> None:
    """A stack outside stops the run: everything since the last good check is kept apart, operators set no more."""
    bench.post(RUN, RELEASED, now="stack", do="read", reading="2.6", count="190")
    page = bench.get(RUN)
    assert "Sets 2 to 190 are kept apart" in page
    assert "Set no more." in bench.get(OPERATOR)
    assert "STOPPED" in bench.get(f"/bench/jobs/{RELEASED}/card")
    bench.post(RUN, RELEASED, status=409, now="tool", do="read", reading="12.46", count="191")


def test_only_a_new_proof_opens_the_run(bench: Bench) -> None:
    """After a stop the prove page wants coupons again, and only then offers to let the run go on."""
    bench.post(RUN, RELEASED, do="stop", reason="insert spun", count="180")
    place = f"/bench/jobs/{RELEASED}/prove"
    assert "3 more good coupons after the stop." in bench.get(place)
    bench.post(place, RELEASED, status=409, do="reopen")
    for _number in range(3):
        good_coupon(bench, job=RELEASED)
    assert "Let the run go on" in bench.get(place)
    bench.post(place, RELEASED, do="reopen")
    assert not bench.job(RELEASED).stopped


@pytest.mark.parametrize(
    "form",
    [
        {"do": "read", "now": "stack", "reading": "2.17", "count": ""},
        {"do": "read", "now": "stack", "reading": "thick", "count": "200"},
        {"do": "read", "now": "stack", "reading": "2.17", "count": "-3"},
        {"do": "read", "now": "tool", "reading": "1.246", "count": "200"},
        {"do": "read", "now": "nothing", "reading": "2.17", "count": "200"},
        {"do": "pass", "now": "tool", "count": "200"},
        {"do": "stop", "now": "stop", "reason": "", "count": "200"},
        {"do": "strike", "now": "strike", "of": "", "reason": "wrong"},
        {"do": "strike", "now": "strike", "of": "3", "reason": ""},
        {"do": "count", "now": "count", "issued": "x", "count": "1", "rejected": "0", "returned": "0"},
        {"do": "dance"},
    ],
)
def test_bad_input_in_the_run_writes_nothing(bench: Bench, form: dict[str, str]) -> None:
    """Our message, what was typed kept, and nothing on record."""
    before = bench.job(RELEASED).sequence
    page = bench.post(RUN, RELEASED, status=422, **form)
    assert "problem-what" in page
    assert bench.job(RELEASED).sequence == before


@pytest.mark.parametrize("place", [RUN, OPERATOR])
def test_a_lost_digit_is_asked_about_before_it_stops_anything(bench: Bench, place: str) -> None:
    """2.15 for 12.15 is no reading of a setting that stands: it is asked, what was typed stays, nothing is written."""
    before = bench.job(RELEASED).sequence
    form = {"do": "read", "now": "tool", "count": "200"}
    form |= {"now": ""} if place == OPERATOR else {}
    page = bench.post(place, RELEASED, status=422, reading="2.15", **form)
    assert "a digit left out or swapped?" in page
    assert 'value="2.15"' in page
    assert bench.job(RELEASED).sequence == before
    bench.post(place, RELEASED, reading="2.15", **{**form, "do": "keep"})
    assert bench.job(RELEASED).stopped


def test_strike_out_and_count(bench: Bench) -> None:
    """A check is struck out with a reason; inserts are counted and a difference is said."""
    of = bench.job(RELEASED).checks[-1].sequence
    assert f'value="{of}"' in bench.get(f"{RUN}?now=strike")
    bench.post(RUN, RELEASED, do="strike", of=str(of), reason="wrong gauge")
    assert bench.job(RELEASED).checks[-1].struck_out == "wrong gauge"
    bench.post(RUN, RELEASED, do="count", issued="200", count="150", rejected="3", returned="46")
    assert "1 not accounted for" in bench.get(f"{RUN}?now=count")


def test_the_figures_are_one_link_away(bench: Bench) -> None:
    """The run page links them; they say how often a look is false and what is still wanted for a capability."""
    assert f"{RUN}?now=figures" in bench.get(RUN)
    page = bench.get(f"{RUN}?now=figures")
    assert "one false look in about 92 checks" in page
    assert "4 more readings of this kind are wanted." in page


def test_what_is_overdue_is_said(bench: Bench) -> None:
    """The demo's mandrel is past its limit: the run says so."""
    assert "past its limit" in bench.get(RUN)


def test_the_operator_answers_and_stops(bench: Bench) -> None:
    """A length or a go/no-go answer; stop and call wants what was seen, and locks the page."""
    page = bench.get(OPERATOR)
    assert "Is this one good?" in page
    assert 'aria-current="step"' not in page
    bench.post(OPERATOR, RELEASED, do="read", reading="12.46", count="170")
    bench.post(OPERATOR, RELEASED, do="pass", by="eye", count="171")
    assert bench.job(RELEASED).checks[-1].kind == "go no-go"
    bench.post(OPERATOR, RELEASED, status=422, do="read", reading="12.46", count="")
    bench.post(OPERATOR, RELEASED, status=422, do="stop", by="stop", reason="boredom")
    bench.get(f"{OPERATOR}?by=stop")
    bench.post(OPERATOR, RELEASED, do="stop", by="stop", reason="Insert spins")
    assert bench.job(RELEASED).stopped
    assert "Only a technician opens this again." in bench.get(OPERATOR)


@pytest.mark.parametrize("page", ["hand-over", "run", "operator", "card", "card.pdf", "revise"])
def test_wrong_places(bench: Bench, page: str) -> None:
    """Another room or job is not found; a job without a card has no run."""
    bench.get(f"/attic/jobs/{RELEASED}/{page}", status=404)
    bench.get(f"/bench/jobs/none/{page}", status=404)
    if page in ("run", "operator", "card"):
        bench.get(f"/bench/jobs/{HELD}/{page}", status=409)

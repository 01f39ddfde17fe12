"""The prove page: every check asked in turn, nothing lost between pages, coupons on record in one act."""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit

import pytest

from web.released_bench import FORCE, HELD, PROVEN, RELEASED, Bench, hidden

PROVE = f"/bench/jobs/{HELD}/prove"


def answer(bench: Bench, place: str, do: str, *, job: str = HELD, **form: str) -> str:
    """Answer the check that the page at ``place`` asks; the address it leads to."""
    page = bench.get(place)
    carried = {"coupon": hidden(page, "coupon"), "asked": hidden(page, "asked")}
    return bench.post(f"/bench/jobs/{job}/prove", job, do=do, **carried, **form)


def good_coupon(bench: Bench, *, job: str = HELD) -> str:
    """One coupon that passes everything that is asked, through the pages."""
    place = bench.post(f"/bench/jobs/{job}/prove", job, do="begin")
    values = {"thickness": "2.17", "length_before": "15.20", "set_length": "12.46", "torque": "14.2"}
    for _question in range(14):
        if "coupon=" not in place:
            return place
        asked = hidden(bench.get(place), "asked")
        if asked in values:
            place = answer(bench, place, "read", job=job, reading=values[asked], arrangement="flange")
        else:
            place = answer(bench, place, "pass", job=job)
    raise AssertionError(place)


def test_the_verdict_says_what_is_owed(bench: Bench) -> None:
    """Before the first coupon the whole plan is owed and the way on is coupon 1."""
    page = bench.get(PROVE)
    assert "3 more good coupons." in page
    assert "Coupon 1" in page


def test_three_coupons_through_the_pages(bench: Bench) -> None:
    """Three coupons answered check by check prove as planned, and the page says what that shows."""
    for _number in range(3):
        good_coupon(bench)
    page = bench.get(PROVE)
    assert bench.job(HELD).proof["owed"] == []
    assert "Proven as planned." in page
    assert "36.8 % reliability at 95 % confidence" in page
    coupons = bench.job(HELD).coupons
    assert [coupon.passed for coupon in coupons] == [True] * 3
    assert coupons[0].set_length is not None
    assert coupons[0].set_length.typed == "12.46 mm"
    assert sum("section" in coupon.checks for coupon in coupons) == 1


def test_nothing_is_on_record_before_the_last_answer(bench: Bench) -> None:
    """Answers travel in the page: going back is only an older address, and nothing was written."""
    before = bench.job(HELD).sequence
    place = bench.post(PROVE, HELD, do="begin")
    place = answer(bench, place, "read", reading="2.17")
    place = answer(bench, place, "skip")
    assert bench.job(HELD).sequence == before
    carried = parse_qs(parse_qs(urlsplit(place).query)["coupon"][0])
    assert carried == {"end": ["as measured"], "thickness": ["2.17 mm"], "length_before": ["-"]}


def test_a_failed_check_says_cause_and_step(bench: Bench) -> None:
    """A failed check shows its likely cause; saved, the verdict leads to the step that cures it."""
    place = bench.post(PROVE, HELD, do="begin")
    for _value in range(3):
        place = answer(bench, place, "skip")
    place = answer(bench, place, "pass")
    place = answer(bench, place, "fail")
    page = bench.get(place)
    assert "Under-set; burr or chips" in page
    place = bench.post(PROVE, HELD, do="save", coupon=hidden(page, "coupon"), asked=hidden(page, "asked"))
    page = bench.get(place)
    assert "Coupon 1 failed: gap under the head." in page
    assert "Go back to dial in" in page
    assert bench.job(HELD).coupons[-1].failed == ("gap",)


def test_a_failed_coupon_can_be_looked_at_further(bench: Bench) -> None:
    """After a failed check the person may go on with the others."""
    place = f"{PROVE}?coupon=end%3Das%2Bmeasured%26thickness%3D-%26length_before%3D-%26set_length%3D-%26flush%3Dfail"
    page = bench.get(place)
    place = bench.post(PROVE, HELD, do="go_on", coupon=hidden(page, "coupon"), asked=hidden(page, "asked"))
    assert "gap under the head" in bench.get(place)


def test_a_slip_of_the_unit_is_asked_once(bench: Bench) -> None:
    """A reading near one 25.4th is asked about with what was typed kept, and kept when it is right."""
    place = bench.post(PROVE, HELD, do="begin")
    page = bench.get(place)
    carried = {"coupon": hidden(page, "coupon"), "asked": "thickness"}
    refused = bench.post(PROVE, HELD, status=422, do="read", reading="0.0854", **carried)
    assert "read in the other unit" in refused
    assert 'value="0.0854"' in refused
    assert "thickness" in bench.post(PROVE, HELD, do="keep", reading="0.0854", **carried)


@pytest.mark.parametrize(
    "form",
    [
        {"do": "read", "reading": "abc", "coupon": "end=thin", "asked": "thickness"},
        {"do": "read", "reading": "-2 mm", "coupon": "end=thin", "asked": "thickness"},
        {"do": "read", "reading": "12", "coupon": "end=thin", "asked": "torque"},
        {"do": "pass", "coupon": "end=thin", "asked": "thickness"},
        {"do": "pass", "coupon": "wrong=thin", "asked": "flush"},
        {"do": "pass", "coupon": "end=thin", "asked": "nothing"},
        {"do": "dance", "coupon": "end=thin", "asked": "flush"},
        {"do": "save", "coupon": "end=thin", "asked": "flush"},
        {"do": "save", "coupon": "end=middle&flush=fail", "asked": "gap"},
    ],
)
def test_bad_answers_write_nothing(bench: Bench, form: dict[str, str]) -> None:
    """What a page of ours would not send, or what is no value, gives our message and writes nothing."""
    before = bench.job(HELD).sequence
    data = {"expected": str(before), "client_id": "", **form}
    answered = bench.client.post(PROVE, data=data, follow_redirects=False)
    assert answered.status_code == 422
    assert "problem" in answered.text
    assert bench.job(HELD).sequence == before


def test_somebody_was_quicker(bench: Bench) -> None:
    """A coupon saved from a page that is no longer new is shown again and not written."""
    old = str(bench.job(HELD).sequence)
    good_coupon(bench)
    data = {"do": "save", "coupon": "end=as measured&flush=fail", "asked": "gap", "expected": old, "client_id": "x"}
    assert bench.client.post(PROVE, data=data, follow_redirects=False).status_code == 409
    assert len(bench.job(HELD).coupons) == 1


def test_a_name_is_asked_for(bench: Bench) -> None:
    """Without a name the page asks for one first."""
    bench.client.cookies.clear()
    answered = bench.client.get(PROVE, follow_redirects=False)
    assert (answered.status_code, answered.headers["location"][:7]) == (303, "/person")


@pytest.mark.parametrize("place", ["/bench/jobs/none/prove", "/attic/jobs/held/prove", "/bench/jobs/none/prove/plan"])
def test_wrong_places(bench: Bench, place: str) -> None:
    """Another room or job is not found."""
    bench.get(place, status=404)


def test_the_plan_changes_what_is_owed(bench: Bench) -> None:
    """More coupons and a torque limit in the plan: the proof is judged by it at once."""
    plan = f"/bench/jobs/{PROVEN}/prove/plan"
    assert "What must the proof hold?" in bench.get(plan)
    form = {"coupons_each_end": "5", "sections": "2", "torque_tests": "1", "torque_min": "9", "reliability": "0.95"}
    bench.post(plan, PROVEN, part="proof", confidence="95 %", **form)
    state = bench.job(PROVEN)
    assert state.plan["torque_min_nm"] == pytest.approx(9)
    assert state.proof is not None
    assert state.proof["owed"] == ["2 more good coupons.", "1 coupon cut through."]
    assert "How is the run checked?" in bench.get(f"{plan}?part=run")
    bench.post(plan, PROVEN, part="run", check_every_sets="20", check_every_minutes="30", coupons_again="2")
    assert bench.job(PROVEN).plan["check_every_sets"] == 20


def test_a_plan_that_makes_no_sense(bench: Bench) -> None:
    """A count that is none is said under its field, with what was typed kept."""
    form = {"coupons_each_end": "many", "sections": "1", "torque_tests": "1", "reliability": "99", "confidence": "95"}
    page = bench.post(f"/bench/jobs/{PROVEN}/prove/plan", PROVEN, status=422, part="proof", **form)
    assert "wants a whole number" in page
    assert 'value="many"' in page


def test_a_coupon_is_struck_out_with_a_reason(bench: Bench) -> None:
    """Struck out it no longer counts, is owed again, and stays visible with its reason."""
    place = f"/bench/jobs/{PROVEN}/prove/coupons"
    of = str(bench.job(PROVEN).coupons[1].sequence)
    assert f'value="{of}"' in bench.get(place)
    assert "with a reason" in bench.post(place, PROVEN, status=422, of=of)
    bench.post(place, PROVEN, of=of, reason="wrong sheet")
    page = bench.get(f"/bench/jobs/{PROVEN}/prove")
    assert "1 more good coupon." in page
    assert "struck out: wrong sheet" in page


def test_a_released_job_sets_no_coupons(bench: Bench) -> None:
    """Frozen: the page shows the proof and leads to the run."""
    page = bench.get(f"/bench/jobs/{RELEASED}/prove?coupon=end%3Dthin")
    assert "It is proven and released." in page


def test_practice_sets_a_coupon_by_itself(bench: Bench) -> None:
    """In practice one button sets the coupon on the simulated tool; it is refused while nothing is held."""
    job = bench.workshop.practice.store.streams("job")[0].partition(":")[2]
    bench.get(f"/practice/jobs/{job}/prove")
    sequence = str(bench.workshop.practice.job(job).sequence)
    data = {"do": "simulate", "expected": sequence, "client_id": ""}
    answered = bench.client.post(f"/practice/jobs/{job}/prove", data=data, follow_redirects=False)
    assert answered.status_code == 409
    assert "not been dialled in" in answered.text


def test_the_ladder_through_the_pages(bench: Bench) -> None:
    """A force-set job: rung by rung, coupons judged one check at a time, until the middle is held."""
    dial_in, pressure = f"/bench/jobs/{FORCE}/dial-in", f"/bench/jobs/{FORCE}/pressure"
    bars = []
    for _act in range(30):
        page = bench.get(dial_in)
        state = bench.job(FORCE)
        if "Lock the regulator?" in page:
            break
        if 'name="reading"' in page:
            bench.post(pressure, FORCE, do="read", reading=hidden_value(page))
            continue
        bars.append(state.pressure_bar)
        fail = "turn" if state.pressure_bar < 4.2 else "thread_gauge" if state.pressure_bar > 5.7 else ""  # type: ignore[operator]
        coupon = "end=as measured&" + (f"{fail}=fail" if fail else "&".join(f"{key}=pass" for key in EYES))
        coupon += "" if fail else "&torque=-"
        bench.post(f"/bench/jobs/{FORCE}/prove", FORCE, do="save", coupon=coupon, asked="")
    bench.post(pressure, FORCE, do="hold")
    held = bench.job(FORCE).held
    assert held is not None
    assert held["pressure_bar_min"] < held["pressure_bar"] < held["pressure_bar_max"]
    assert len(bars) == 7
    assert "The pressure is held." in bench.get(dial_in)


EYES = ("flush", "gap", "tilt", "turn", "thread_gauge", "blind_head")


def hidden_value(page: str) -> str:
    """What stands in the reading field."""
    return page.partition('name="reading" value="')[2].partition('"')[0]


def test_a_pressure_above_the_rating_is_refused(bench: Bench) -> None:
    """Our message under the field, what was typed kept, nothing written; psi are read as psi."""
    before = bench.job(FORCE).sequence
    page = bench.post(f"/bench/jobs/{FORCE}/pressure", FORCE, status=409, do="read", reading="95 psi")
    assert "rated 6.20 bar" in page
    assert 'value="95 psi"' in page
    bench.post(f"/bench/jobs/{FORCE}/pressure", FORCE, status=422, do="read", reading="much")
    assert bench.job(FORCE).sequence == before

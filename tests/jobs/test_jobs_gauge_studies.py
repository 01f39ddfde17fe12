"""Guided gauge studies: their order, their readings, what comes of them, how long they count, and what they feed."""

from __future__ import annotations

import csv
import json
import random
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs import gauge_studies, look_after
from firstpull.jobs.gauge_doubt import Conditions, doubt_answer, doubt_of_reading
from firstpull.jobs.gauge_results import half_window_served, result_of, share_of_window
from firstpull.jobs.gauge_studies import BLOCKS, StudyPlan, gauge_scatter, measurement_uncertainty, study_order
from firstpull.jobs.workshop import Book, Doing, Workshop
from firstpull.record.gauge_study import Study
from firstpull.units import Length, parse_length

ADA, BEN = Doing("Ada"), Doing("Ben")
MANUAL = Path(__file__).resolve().parents[1] / "reference" / "data" / "statistics_gauge_study_readings.csv"
Value = Callable[[str, str, int], float]


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self) -> None:
        self.at = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.at


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def book(tmp_path: Path, clock: Clock) -> Iterator[Book]:
    workshop = Workshop(tmp_path / "data", clock=clock)
    look_after.add_gauge(workshop.bench, "C1", "Caliper 1", doing=ADA, resolution_mm=0.01, error_mm=0.03)
    yield workshop.bench
    workshop.close()


def plan(people: tuple[str, ...] = ("Ada", "Ben"), parts: int = 5, rounds: int = 3) -> StudyPlan:
    return StudyPlan("set length", people, tuple(map(str, range(1, parts + 1))), rounds, half_window_mm=0.127)


def scattered(seed: int = 1, *, ben: float = 0.0) -> Value:
    """Readings that scatter by 0.008 mm; Ben reads so much longer."""
    chance = random.Random(seed)

    def value(person: str, part: str, _round: int) -> float:
        return 11 + 0.05 * int(part) + (ben if person == "Ben" else 0.0) + chance.gauss(0, 0.008)

    return value


def read_all(book: Book, study: Study, value: Value, *, places: int = 2) -> Study:
    for slot in study.slots:
        reading = parse_length(f"{value(slot.person, slot.part, slot.round):.{places}f} mm")
        study = gauge_studies.take_reading(
            book, "C1", study.number, slot=slot.number, reading=reading, doing=Doing(slot.person)
        )
    return study


def finished(book: Book, the_plan: StudyPlan, value: Value, *, places: int = 2) -> Study:
    slip = f"study-{len(book.gauge('C1').studies) + 1}"  # its order is always the same
    study = gauge_studies.begin_study(book, "C1", the_plan, doing=Doing("Ada", slip=slip))
    read_all(book, study, value, places=places)
    return gauge_studies.finish_study(book, "C1", study.number, doing=ADA)


# ---- the order


def test_the_order_holds_every_reading_once_and_stands_in_the_record(book: Book) -> None:
    """Each person reads each part once a round; the same act sent again begins no second study."""
    doing = Doing("Ada", slip="begin-1")
    study = gauge_studies.begin_study(book, "C1", plan(), doing=doing)
    again = gauge_studies.begin_study(book, "C1", plan(), doing=doing)
    assert again.slots == study.slots == book.gauge("C1").studies[0].slots
    assert len(book.gauge("C1").studies) == 1
    seen = {(slot.person, slot.part, slot.round) for slot in study.slots}
    assert len(seen) == len(study.slots) == 30


def test_the_order_is_mixed_and_follows_from_its_seed() -> None:
    """One seed gives one order, another seed another; no part twice running for a person, rounds not alike."""
    order = study_order(3, 10, rounds=3, seed="a")
    assert order == study_order(3, 10, rounds=3, seed="a") != study_order(3, 10, rounds=3, seed="b")
    for seed in map(str, range(60)):
        for rows in (study_order(2, 2, rounds=4, seed=seed), study_order(1, 5, rounds=3, seed=seed)):
            assert not any(a[:2] == b[:2] for a, b in pairwise(rows)), seed
    first = [part for who, part, turn in order if who == 0 and turn == 1]
    second = [part for who, part, turn in order if who == 0 and turn == 2]
    assert first not in (second, sorted(first))


# ---- readings


def test_a_reading_sent_twice_counts_once(book: Book) -> None:
    """A retry by the same id writes nothing, though the page has moved on to the next part meanwhile."""
    study = gauge_studies.begin_study(book, "C1", plan(), doing=ADA)
    doing, reading = Doing("Ada", slip="reading-1"), parse_length("11.05 mm")
    gauge_studies.take_reading(book, "C1", 1, slot=0, reading=reading, doing=doing)
    study = gauge_studies.take_reading(book, "C1", 1, slot=1, reading=reading, doing=doing)
    assert list(study.counting) == [0]


def test_a_place_is_read_once(book: Book) -> None:
    """A second reading of a place that was read, from another screen, is refused and said."""
    gauge_studies.begin_study(book, "C1", plan(), doing=ADA)
    gauge_studies.take_reading(book, "C1", 1, slot=0, reading=parse_length("11.05 mm"), doing=ADA)
    with pytest.raises(Unsafe, match="read already"):
        gauge_studies.take_reading(book, "C1", 1, slot=0, reading=parse_length("11.06 mm"), doing=ADA)
    with pytest.raises(BadInput, match="no such reading"):
        gauge_studies.take_reading(book, "C1", 1, slot=30, reading=parse_length("11.06 mm"), doing=ADA)


def test_two_people_read_at_once(book: Book) -> None:
    """What the other one saved in between is no conflict: both readings stand."""
    study = gauge_studies.begin_study(book, "C1", plan(), doing=ADA)
    seen = book.gauge("C1").sequence
    ben = study.left("Ben")[0].number
    gauge_studies.take_reading(book, "C1", 1, slot=0, reading=parse_length("11.05 mm"), doing=Doing("Ada", seen))
    study = gauge_studies.take_reading(
        book, "C1", 1, slot=ben, reading=parse_length("11.06 mm"), doing=Doing("Ben", seen)
    )
    assert sorted(study.counting) == [0, ben]


@pytest.mark.parametrize("typed", ["0.4350 mm", "110.5 mm", "1.105 mm", "281 mm"])
def test_slips_are_asked_about(book: Book, typed: str) -> None:
    """A reading in the other unit or off by a digit is asked about, and kept when it is said to be right."""
    gauge_studies.begin_study(book, "C1", plan(), doing=ADA)
    for slot in range(3):
        gauge_studies.take_reading(book, "C1", 1, slot=slot, reading=parse_length("11.05 mm"), doing=ADA)
    with pytest.raises(BadInput, match="was to be expected"):
        gauge_studies.take_reading(book, "C1", 1, slot=3, reading=parse_length(typed), doing=ADA)
    kept = gauge_studies.take_reading(book, "C1", 1, slot=3, reading=parse_length(typed), doing=ADA, sure=True)
    assert len(kept.counting) == 4


def test_a_struck_reading_is_read_again(book: Book) -> None:
    """It stays with its reason and its place is open again; without a reason, or twice, it is refused."""
    gauge_studies.begin_study(book, "C1", plan(), doing=ADA)
    study = gauge_studies.take_reading(book, "C1", 1, slot=0, reading=parse_length("11.05 mm"), doing=ADA)
    of = study.readings[0].sequence
    with pytest.raises(BadInput, match="Why"):
        gauge_studies.strike_reading(book, "C1", 1, of=of, reason=" ", doing=ADA)
    study = gauge_studies.strike_reading(book, "C1", 1, of=of, reason="wrong part", doing=ADA)
    assert study.left("Ada")[0].number == 0
    assert study.readings[0].struck_out == "wrong part"
    with pytest.raises(BadInput, match="no such reading"):
        gauge_studies.strike_reading(book, "C1", 1, of=of, reason="again", doing=ADA)
    study = gauge_studies.take_reading(book, "C1", 1, slot=0, reading=parse_length("11.06 mm"), doing=ADA)
    assert Length.from_json(study.counting[0].value).mm == pytest.approx(11.06, abs=1e-9)


# ---- begin, finish, give up


@pytest.mark.parametrize(
    ("the_plan", "where"),
    [
        (StudyPlan("weight", ("Ada",), ("1", "2"), 3), "measured"),
        (StudyPlan("set length", (), ("1", "2"), 3), "people"),
        (StudyPlan("set length", ("Ada", "ada"), ("1", "2"), 3), "people"),
        (StudyPlan("set length", ("Ada",), ("1",), 3), "parts"),
        (StudyPlan("set length", ("Ada",), ("1", "1"), 3), "parts"),
        (StudyPlan("set length", ("Ada",), ("1", "2"), 1), "rounds"),
        (StudyPlan("set length", ("A", "B", "C"), tuple(map(str, range(50))), 20), "parts"),
        (StudyPlan("set length", ("Ada",), ("1", "2"), 3, half_window_mm=0), "half_window"),
        (StudyPlan(BLOCKS, ("Ada",), ("1",), 3), "blocks"),
    ],
)
def test_a_study_that_makes_no_sense_is_refused(book: Book, the_plan: StudyPlan, where: str) -> None:
    """What is wrong is named by its field."""
    with pytest.raises(BadInput) as refused:
        gauge_studies.begin_study(book, "C1", the_plan, doing=ADA)
    assert refused.value.where == where


def test_one_study_at_a_time(book: Book) -> None:
    """A second one waits until the first is finished or given up with a reason; given up, it says nothing."""
    gauge_studies.begin_study(book, "C1", plan(), doing=ADA)
    with pytest.raises(Unsafe, match="not finished"):
        gauge_studies.begin_study(book, "C1", plan(), doing=ADA)
    with pytest.raises(BadInput, match="Why"):
        gauge_studies.give_study_up(book, "C1", 1, reason="", doing=ADA)
    gauge_studies.give_study_up(book, "C1", 1, reason="parts mixed up", doing=ADA)
    with pytest.raises(Unsafe, match="closed"):
        gauge_studies.take_reading(book, "C1", 1, slot=0, reading=parse_length("11 mm"), doing=ADA)
    assert gauge_scatter(book, "C1") is None
    assert gauge_studies.begin_study(book, "C1", plan(), doing=ADA).number == 2


def test_nothing_is_reckoned_from_half_a_study(book: Book) -> None:
    """A study with readings missing is not finished."""
    gauge_studies.begin_study(book, "C1", plan(), doing=ADA)
    with pytest.raises(Unsafe, match="30 readings are still"):
        gauge_studies.finish_study(book, "C1", 1, doing=ADA)


def test_the_result_can_be_made_again_from_the_record(book: Book) -> None:
    """What stands in the record is what its readings give today, to the last digit."""
    study = finished(book, plan(), scattered(ben=0.01))
    again = json.loads(json.dumps(result_of(study, resolution_mm=0.01)))
    assert again == json.loads(json.dumps(study.result))


# ---- what comes of it


def test_the_manuals_study_gives_the_manuals_numbers(book: Book) -> None:
    """The published study, 10 mm added, gives the published sds, share and classes (AIAG MSA, ANOVA pooled)."""
    with MANUAL.open(encoding="utf-8", newline="") as lines:
        values = {
            (row["appraiser"], row["part"], int(row["trial"])): 10 + float(row["value"])
            for row in csv.DictReader(lines)
            if row["study"] == "manual"
        }
    study = finished(
        book, plan(("A", "B", "C"), parts=10), lambda person, part, turn: values[person, part, turn], places=2
    )
    shown = (study.result or {})["components"]
    assert shown["repeatability"]["sd_mm"] == pytest.approx(0.199933, abs=5.1e-7)
    assert shown["reproducibility"]["sd_mm"] == pytest.approx(0.226838, abs=5.1e-7)
    assert shown["gauge"]["sd_mm"] == pytest.approx(0.302373, abs=1.6e-6)
    assert shown["part"]["sd_mm"] == pytest.approx(1.042327, abs=5.1e-7)
    assert shown["gauge"]["study_percent"] == pytest.approx(27.86, abs=0.005)
    assert (study.result or {})["distinct_categories"] == 4


def test_what_a_window_loses() -> None:
    """By hand: sd 0.01 mm takes 6 · 0.01 = 0.06 of a window of ± 0.1, 30 %; so it serves ± 0.1 and wider."""
    assert share_of_window(0.01, 0.1) == pytest.approx(0.3, rel=1e-12)
    assert half_window_served(0.01) == pytest.approx(0.1, rel=1e-12)


def test_one_person_shows_repeatability_only(book: Book) -> None:
    """No reproducibility is claimed, and the scatter is the same person’s."""
    study = finished(book, plan(("Ada",), parts=5), scattered())
    result = study.result or {}
    assert set(result["components"]) == {"repeatability", "part", "total"}
    found = gauge_scatter(book, "C1")
    assert found is not None
    assert found.sd_mm == found.repeatability_mm == pytest.approx(result["components"]["repeatability"]["sd_mm"])
    assert found.degrees_of_freedom == 10


def test_readings_that_never_differ_leave_the_step(book: Book) -> None:
    """With every reading of a part alike the scatter is step/√12 and the step is what to work on."""
    study = finished(book, plan(), lambda _person, part, _round: 11 + 0.05 * int(part))
    result = study.result or {}
    assert result["sd_mm"] == pytest.approx(0.01 / 12**0.5, rel=1e-12)
    assert (result["coarse"], result["largest"], result["degrees_of_freedom"]) == (True, "resolution", None)
    found = gauge_scatter(book, "C1")
    assert found is not None
    assert found.degrees_of_freedom is None
    again = measurement_uncertainty(book, "C1", readings=5)
    assert again is not None
    assert [name for name, _u, _f in again.parts] == ["resolution", "limit of error"]


def test_somebody_who_rounds_is_seen(book: Book) -> None:
    """Readings rounded to 0.02 show a step of 0.02; as they are, the gauge's own 0.01."""
    value = scattered()
    rounded = finished(book, plan(), lambda person, part, turn: round(value(person, part, turn) / 0.02) * 0.02)
    plain = finished(book, plan(), scattered())
    assert (rounded.result or {})["seen_step_mm"] == pytest.approx(0.02, rel=1e-12)
    assert (plain.result or {})["seen_step_mm"] == pytest.approx(0.01, rel=1e-12)


def test_the_largest_part_is_named(book: Book) -> None:
    """Ben reads 0.06 mm longer than Ada: the people are what to work on."""
    study = finished(book, plan(), scattered(ben=0.06))
    assert (study.result or {})["largest"] in ("appraiser", "reproducibility")


def test_blocks_tell_the_bias(book: Book) -> None:
    """A gauge that reads 0.02 too long on three blocks: bias 0.02, shown, with the blocks’ doubt in it."""
    blocks = {f"{length} mm": parse_length(f"{length} mm") for length in (5, 10, 20)}
    chance = random.Random(5)
    study = finished(
        book,
        StudyPlan(BLOCKS, ("Ada",), tuple(blocks), 5, references=blocks, reference_u_mm=0.0005),
        lambda _person, part, _round: blocks[part].mm + 0.02 + chance.gauss(0, 0.002),
        places=3,
    )
    result = study.result or {}
    assert result["bias_mm"] == pytest.approx(0.02, abs=0.002)
    assert result["shown"]
    assert result["bias_u_mm"] >= (0.0005**2 + 0.01**2 / 12) ** 0.5
    assert result["linearity"]["band"][0]["reference"] == 5
    assert gauge_scatter(book, "C1") is None  # blocks alone say nothing of parts and people
    known = measurement_uncertainty(book, "C1")
    assert known is not None
    assert [name for name, _u, _f in known.parts] == ["resolution", "bias", "bias, its doubt"]
    assert "no study of parts" in known.source


def test_a_block_read_alike_every_time_still_has_its_bias(book: Book) -> None:
    """Readings that are all equal: the bias is their difference, its doubt the step's and the block's."""
    blocks = {"10 mm": parse_length("10 mm")}
    study = finished(
        book, StudyPlan(BLOCKS, ("Ada",), ("10 mm",), 3, references=blocks), lambda _person, _part, _round: 10.01
    )
    row = (study.result or {})["blocks"][0]
    assert row["bias_mm"] == pytest.approx(0.01, abs=1e-9)
    assert row["standard_error_mm"] == pytest.approx(0.01 / 12**0.5, rel=1e-9)
    assert (study.result or {})["linearity"] is None


# ---- how long it counts, and what it feeds


def test_without_a_study_the_limit_of_error_and_the_step_count(book: Book) -> None:
    """By hand: 0.03/√3 and 0.01/√12 together; and no gauge named, none."""
    assert gauge_scatter(book, "C1") is None
    found = measurement_uncertainty(book, "C1")
    assert found is not None
    assert found.u_mm == pytest.approx((0.03**2 / 3 + 0.01**2 / 12) ** 0.5, rel=1e-12)
    assert "no gauge study" in found.source
    assert measurement_uncertainty(book, "") is None
    with pytest.raises(BadInput):
        measurement_uncertainty(book, "C1", readings=0)


def test_more_readings_shrink_the_repeatability_only(book: Book) -> None:
    """By hand from the parts: sd_r²/n + sd_people² + (limit/√3)²."""
    shown = (finished(book, plan(("Ada", "Ben")), scattered(ben=0.01)).result or {})["components"]
    repeat, people = shown["repeatability"]["sd_mm"], shown["reproducibility"]["sd_mm"]
    for readings in (1, 4):
        found = measurement_uncertainty(book, "C1", readings=readings)
        assert found is not None
        assert found.u_mm == pytest.approx((repeat**2 / readings + people**2 + 0.03**2 / 3) ** 0.5, rel=1e-12)
    never = measurement_uncertainty(book, "C1", readings=1000)
    assert never is not None
    assert never.parts[0] == ("resolution", pytest.approx(0.01 / 12**0.5), None)


def test_a_study_of_blocks_takes_the_place_of_the_limit_of_error(book: Book) -> None:
    """The known bias, not corrected, counts by |bias|/√3, and its own doubt beside it."""
    finished(book, plan(), scattered())
    blocks = {"10 mm": parse_length("10 mm")}
    finished(book, StudyPlan(BLOCKS, ("Ada",), ("10 mm",), 3, references=blocks), lambda *_given: 10.01)
    found, parts = gauge_scatter(book, "C1"), measurement_uncertainty(book, "C1")
    assert found is not None
    assert parts is not None
    assert found.bias_mm == pytest.approx(0.01, abs=1e-9)
    assert "bias by study 2" in found.source
    names = {name: u for name, u, _freedom in parts.parts}
    assert "limit of error" not in names
    assert names["bias"] == pytest.approx(0.01 / 3**0.5, rel=1e-6)
    assert found.u_mm == pytest.approx(parts.u_mm, rel=1e-9)


def test_service_and_age_end_it(book: Book, clock: Clock) -> None:
    """After a service no earlier study counts; nor after the days that the shop has set."""
    finished(book, plan(), scattered())
    assert gauge_scatter(book, "C1") is not None
    gauge_studies.set_study_age(book, "C1", 30, doing=ADA)
    clock.at += timedelta(days=30)
    assert gauge_scatter(book, "C1") is not None
    clock.at += timedelta(days=1)
    assert gauge_scatter(book, "C1") is None
    finished(book, plan(), scattered(2))
    assert gauge_scatter(book, "C1") is not None
    gauge_studies.service_gauge(book, "C1", "jaws lapped", doing=ADA)
    assert gauge_scatter(book, "C1") is None
    assert "serviced" in gauge_studies.why_not(book.gauge("C1"), book.gauge("C1").studies[1], clock.at.date())
    for days in (0, 3661):
        with pytest.raises(BadInput):
            gauge_studies.set_study_age(book, "C1", days, doing=ADA)
    with pytest.raises(BadInput):
        gauge_studies.service_gauge(book, "C1", " ", doing=ADA)


def test_the_kind_measured_is_preferred(book: Book) -> None:
    """Asked for set lengths the study of set lengths answers, though one of free lengths is newer."""
    finished(book, plan(), scattered())
    free = StudyPlan("free length", ("Ada", "Ben"), ("1", "2", "3"), 2)
    finished(book, free, scattered(3))
    newest, asked = gauge_scatter(book, "C1"), gauge_scatter(book, "C1", measured="set length")
    assert newest is not None
    assert asked is not None
    assert (newest.study, asked.study) == (2, 1)


# ---- the doubt of a reading


def test_the_doubt_of_a_warm_aluminium_part(book: Book) -> None:
    """By hand: 100 mm of aluminium at 30 °C read with a steel gauge is (23 − 11.5)·10⁻⁶·10·100 = 0.0115 mm too long, and
    the temperatures’ and expansions’ doubt adds to the gauge’s."""
    at = Conditions(100.0, "aluminium", temperature_c=30.0, temperature_half_k=2.0, difference_half_k=1.0)
    found = doubt_of_reading(book, "C1", at)
    assert found.correction_mm == pytest.approx(-0.0115, abs=1e-9)
    own = measurement_uncertainty(book, "C1")
    assert own is not None
    room = 100 * 11.5e-6 * 2 / 3**0.5
    apart = 100 * 23e-6 * 1 / 3**0.5
    grow = 100 * 10 * 0.1 * (23e-6**2 + 11.5e-6**2) ** 0.5 / 3**0.5
    by_hand = (own.u_mm**2 + room**2 + apart**2 + grow**2) ** 0.5
    assert found.budget.standard_uncertainty == pytest.approx(by_hand, rel=1e-6)
    assert found.simulated.standard_uncertainty == pytest.approx(by_hand, rel=0.02)


def test_the_same_question_has_the_same_answer(book: Book) -> None:
    """The simulation draws from its inputs, so that an answer can be asked for again."""
    first, second = (doubt_answer(doubt_of_reading(book, "C1", Conditions(12.0))) for _ in range(2))
    assert first == second
    assert first["schema"] == "firstpull/uncertainty-budget/1"


@pytest.mark.parametrize(
    ("at", "where"),
    [
        (Conditions(0.0), "length"),
        (Conditions(12.0, "wood"), "material"),
        (Conditions(12.0, temperature_c=200.0), "temperature"),
        (Conditions(12.0, temperature_half_k=-1.0), "temperature_half"),
        (Conditions(12.0, difference_half_k=99.0), "difference_half"),
        (Conditions(12.0, readings=0), "readings"),
    ],
)
def test_conditions_out_of_range_are_refused(book: Book, at: Conditions, where: str) -> None:
    """What is wrong is named by its field."""
    with pytest.raises(BadInput) as refused:
        doubt_of_reading(book, "C1", at)
    assert refused.value.where == where

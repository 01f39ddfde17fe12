"""Whatever is done to a job, in whatever order: only our errors leave, nothing unproven is released, and the record
verifies, reads back the same and travels to another file without loss."""

from __future__ import annotations

import copy
import json
import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from firstpull.errors import BadInput, FirstpullError, RecordDamaged, Unsafe
from firstpull.exchange.record_lines import export_lines
from firstpull.jobs import dial_in, hand_over, keep, open_job, prove, run_checks, set_up
from firstpull.jobs.path import next_step, owed, path
from firstpull.jobs.workshop import Book, Doing, Workshop
from firstpull.record.event import Event
from firstpull.record.job import JobState, fold_job
from workshop_example import (
    good_finding,
    mm,
    open_workshop,
    proven_job,
    set_up_job,
)

CREW = ("Ada", "Ben")
LENGTHS = ("11.2", "11.26", "11.15", "11.9", "10.4", "15.5", "286.0", "0.44", "900")


# what people mostly do where a job stands; the rest is anything at all
FITTING = {
    "open": ("pull", "turn", "hold", "strike", "free"),
    "held": ("confirm", "good coupon", "good coupon", "good coupon", "release", "release", "bad coupon", "strike"),
    "released": ("check", "check", "stop", "count", "release", "revise"),
    "stopped": ("good coupon", "good coupon", "good coupon", "good coupon", "reopen", "reopen", "strike"),
    "superseded": ("revise", "release"),
}


class Crew:
    """People who act on one workshop at random, sometimes sending the same act twice or from an old page."""

    def __init__(self, book: Book, seed: int) -> None:
        self.book, self.dice = book, random.Random(seed)
        self.acts = 0
        self.job = (set_up_job if seed % 3 == 0 else proven_job)(book).id
        if seed % 3 == 2:
            hand_over.release(book, self.job, doing=Doing("Ada"))

    def doing(self, state: JobState) -> Doing:
        self.acts += 1
        seen = self.dice.choice((None, None, state.sequence, state.sequence, max(state.sequence - 1, 0), 10**6))
        return Doing(self.dice.choice(CREW), seen, self.dice.choice((f"slip-{self.acts}", f"slip-{self.acts - 1}", "")))

    def length(self) -> Any:
        return mm(self.dice.choice(LENGTHS))

    def act(self) -> str:
        """One act at random; the word that it was refused with, or "done"."""
        state = self.book.job(self.job)
        doing, verbs = self.doing(state), self.verbs()
        likely = FITTING[state.status if state.held is None or state.released else "held"]
        name = self.dice.choice(likely if self.dice.random() < 0.7 else tuple(verbs))
        perform = verbs[name]
        try:
            perform(state, doing)
            if self.dice.random() < 0.2:
                perform(state, doing)  # the same act sent again
        except FirstpullError as refused:
            return f"{name}: {type(refused).__name__}"
        return f"{name}: done"

    def verbs(self) -> dict[str, Callable[[JobState, Doing], Any]]:
        book, dice = self.book, self.dice

        def sequence(state: JobState) -> int:
            items = [*state.pulls, *state.coupons, *state.checks]
            return dice.choice([item.sequence for item in items] or [1, 10**9])

        def revise(state: JobState, doing: Doing) -> None:
            self.job = open_job.revise(book, state.id, reason="a change", doing=doing).id

        checks = {kind.key: "pass" for kind in prove.CHECKS}
        finding = good_finding(dice.choice(("11.26", "11.27", "12.4")), torque=dice.choice(("12 Nm", "2 Nm", None)))
        bad = replace(finding, checks={**checks, dice.choice(list(checks)): "fail"})
        return {
            "pull": lambda s, d: dial_in.record_pull(book, s.id, self.length(), doing=d, where=dice.choice(("air", "air", "stack", "sea"))),
            "free": lambda s, d: dial_in.record_free_length(book, s.id, self.length(), doing=d),
            "again": lambda s, d: dial_in.read_again(book, s.id, self.length(), doing=d),
            "turn": lambda s, d: dial_in.turn(book, s.id, doing=d, clicks=dice.choice((1, -3, 0, 10**6))),
            "cycle": lambda s, d: dial_in.dry_cycle(book, s.id, doing=d, count=dice.choice((1, 60))),
            "strike": lambda s, d: dial_in.strike_out(book, s.id, sequence(s), reason=dice.choice(("misread", " ")), doing=d),
            "hold": lambda s, d: dial_in.hold(book, s.id, doing=d),
            "coupon": lambda s, d: prove.check_coupon(book, s.id, finding, doing=d),
            "good coupon": lambda s, d: prove.check_coupon(book, s.id, good_finding(), doing=d),
            "bad coupon": lambda s, d: prove.check_coupon(book, s.id, bad, doing=d),
            "confirm": lambda s, d: dial_in.record_pull(book, s.id, mm("11.15"), doing=d),
            "plan": lambda s, d: prove.change_plan(book, s.id, {"coupons_each_end": dice.choice((1, 2, 0, 10**9))}, doing=d),
            "release": lambda s, d: hand_over.release(book, s.id, doing=d),
            "check": lambda s, d: run_checks.record_check(
                book, s.id, run_checks.Found(kind="tool", count=dice.choice((0, 5, 50, -1, 10**9)), set_length=mm(dice.choice(("11.15", "12.9")))), doing=d
            ),
            "stop": lambda s, d: run_checks.stop(book, s.id, reason="insert spun", count=dice.choice((5, -5)), doing=d),
            "reopen": lambda s, d: run_checks.reopen(book, s.id, doing=d),
            "count": lambda s, d: run_checks.count_inserts(book, s.id, doing=d, issued=9, set_count=dice.choice((5, -1)), rejected=1, returned=1),
            "compute": lambda s, d: set_up.compute(book, s.id, doing=d) if dice.random() < 0.2 else None,
            "revise": revise,
        }  # fmt: skip


def check_stands(book: Book) -> None:
    """The record verifies, no release lacks its proof, and every job can be shown."""
    report = book.store.verify()
    assert report.ok, report.problems[:3]
    for stream in book.store.streams("job"):
        events = book.store.read(stream)
        state = fold_job(events)
        assert fold_job(Event(**event.to_json()) for event in events) == state
        assert path(state)
        assert next_step(state)
        assert isinstance(owed(state), tuple)
        for index, event in enumerate(events):
            if event.type == "Released":
                check_release(fold_job(events[:index]))


def check_release(before: JobState) -> None:
    """What a release stood on: a hold, a proof newer than every change, good coupons and none failed."""
    assert before.setting is not None
    assert before.setting["releasable"]
    assert before.held is not None
    assert before.proof is not None
    assert before.proof["passed"] is True
    assert before.proof_sequence > before.changed_sequence
    counting = [coupon for coupon in before.coupons if coupon.counts]
    assert all(coupon.passed for coupon in counting)
    assert len(counting) >= prove.plan_of(before).coupons_each_end
    assert dial_in.confirmed(before)
    assert prove.verdict_of(before)["owed"] == []


@pytest.mark.parametrize("seed", range(12))
def test_any_order_of_acts_leaves_a_sound_record(tmp_path: Path, seed: int) -> None:
    """Random acts by two people, some twice and some from an old page: only our errors, and the record stands."""
    with open_workshop(tmp_path) as workshop:
        book = workshop.bench
        crew = Crew(book, seed)
        for act in range(45):
            before = sum(1 for _ in book.store.all_events())
            said = crew.act()
            after = sum(1 for _ in book.store.all_events())
            assert after >= before
            if act % 15 == 0 or "release: done" in said:
                check_stands(book)
        check_stands(book)
        lines = list(export_lines(book.store.all_events()))
    with open_workshop(tmp_path / "other") as other:
        assert keep.import_lines(other.bench, lines) == len(lines) - 2
        assert list(export_lines(other.bench.store.all_events())) == lines
        check_stands(other.bench)
        assert keep.import_lines(other.bench, lines) == 0


@pytest.fixture(scope="module")
def released(tmp_path_factory: pytest.TempPathFactory) -> tuple[Event, ...]:
    """All events of a workshop with one released job that was checked in its run."""
    with open_workshop(tmp_path_factory.mktemp("released")) as workshop:
        book = workshop.bench
        job = proven_job(book).id
        hand_over.release(book, job, doing=Doing("Ada"))
        found = run_checks.Found(kind="tool", count=5, set_length=mm("11.15"))
        run_checks.record_check(book, job, found, doing=Doing("Ada"))
        return tuple(book.store.all_events())


def forged(events: Iterator[Event] | list[Event]) -> list[str]:
    """An export of ``events`` with sequence, chain and hashes made right again, as a careful forger would."""
    heads: dict[str, tuple[int, str]] = {}
    made = []
    for event in events:
        last, previous = heads.get(event.stream, (0, ""))
        loose = replace(event, sequence=last + 1, previous=previous, hash="0" * 64)
        sealed = replace(loose, hash=loose.content_hash())
        heads[event.stream] = (sealed.sequence, sealed.hash)
        made.append(sealed)
    return list(export_lines(made))


def refused(folder: Path, lines: list[str]) -> FirstpullError:
    """The refusal of ``lines``, with a line in it and nothing taken in."""
    workshop = Workshop(folder)
    try:
        with pytest.raises((BadInput, RecordDamaged, Unsafe)) as problem:
            keep.import_lines(workshop.bench, lines)
        assert "line " in problem.value.where, problem.value
        assert list(workshop.bench.store.all_events()) == []
        return problem.value
    finally:
        workshop.close()


def test_a_good_record_is_taken(tmp_path: Path, released: tuple[Event, ...]) -> None:
    """What the forger's tool leaves unchanged is taken in whole, so that the refusals below are about the forgery."""
    with open_workshop(tmp_path) as workshop:
        assert keep.import_lines(workshop.bench, forged(list(released))) == len(released)


@pytest.mark.parametrize("without", ["ProofJudged", "CouponChecked", "SettingHeld", "SettingComputed"])
def test_a_forged_release_is_refused_at_its_line(tmp_path: Path, released: tuple[Event, ...], without: str) -> None:
    """A release whose proof, coupons, hold or setting were taken out of the export is refused, with its line."""
    events = [event for event in released if event.type != without]
    lines = forged(events)
    problem = refused(tmp_path, lines)
    assert problem.where.startswith("line ")
    line = json.loads(lines[int(problem.where.split()[1].rstrip(":")) - 1])
    assert line["type"] in ("Released", "CouponChecked", "TrialPulled", "AdjusterTurned", "SettingHeld", "StepDone")


def test_a_forged_card_is_refused(tmp_path: Path, released: tuple[Event, ...]) -> None:
    """A card with another stroke or wider limits than were proven is refused."""
    for name, change in (("stroke_mm", 0.3), ("set_length_max_mm", 0.5), ("stroke_min_mm", -0.5)):
        events = []
        for event in released:
            data = copy.deepcopy(event.data)
            if event.type == "Released":
                data["card"]["setting"][name] += change
            events.append(replace(event, data=data))
        assert "card" in refused(tmp_path / name, forged(events)).what


def test_a_broken_line_is_named(tmp_path: Path, released: tuple[Event, ...]) -> None:
    """A wrong chain, an unknown type, an edited value and cut-off text are each refused with their line."""
    lines = list(export_lines(released))
    third = json.loads(lines[2])
    for number, changed in enumerate(
        (
            json.dumps({**third, "previous": "0" * 64}) + "\n",
            json.dumps({**third, "by": "Eve"}) + "\n",
            lines[2][:-20] + "\n",
            "[]\n",
            "\x00\n",
        )
    ):
        problem = refused(tmp_path / str(number), [*lines[:2], changed, *lines[3:]])
        assert "line 3" in problem.where
    unknown = [replace(event, type="Wished") if event.type == "StepDone" else event for event in released]
    assert "known" in refused(tmp_path / "unknown", forged(unknown)).what
    assert "line 1" in refused(tmp_path / "head", lines[1:]).where


JUNK: tuple[Any, ...] = (
    None,
    True,
    -1,
    1.5,
    1e300,
    "",
    "x",
    [],
    {},
    [1],
    {"nm": "x", "typed": 1},
    {"nm": -5, "typed": ""},
)


def places(value: Any, place: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    yield place
    if isinstance(value, dict):
        for key in value:
            yield from places(value[key], (*place, key))
    elif isinstance(value, list):
        for index in range(min(len(value), 2)):
            yield from places(value[index], (*place, index))


def test_broken_data_is_refused_or_can_be_worked_with(tmp_path: Path, released: tuple[Event, ...]) -> None:
    """One value of one event at a time made junk: the import refuses it with its line, or the job can still be shown."""
    dice = random.Random(11)
    taken = 0
    for number in range(120):
        index = dice.randrange(len(released))
        data = copy.deepcopy(released[index].data)
        found = [place for place in places(data) if place]
        if not found:
            continue
        place = dice.choice(found)
        holder = data
        for key in place[:-1]:
            holder = holder[key]
        holder[place[-1]] = copy.deepcopy(dice.choice(JUNK))
        stream = released[index].stream
        events = [replace(e, data=data) if e is released[index] else e for e in released if e.stream == stream]
        workshop = Workshop(tmp_path / str(number))
        try:
            keep.import_lines(workshop.bench, forged(events))
            taken += 1
            check_shown(workshop.bench, stream)
        except FirstpullError as problem:
            where = problem.where
            assert "line " in where, str(problem)  # noqa: PT017 (either outcome is right)
            assert list(workshop.bench.store.all_events()) == []
        finally:
            workshop.close()
    assert 20 < taken < 110


def check_shown(book: Book, stream: str) -> None:
    kind, _, name = stream.partition(":")
    if kind == "job":
        state = book.job(name)
        assert path(state)
        if state.released:
            assert hand_over.card_of(book, state)
    elif kind == "tool":
        assert book.tools()
    elif kind == "catalogue":
        assert book.inserts()


def test_practice_stays_out_of_the_workshop(tmp_path: Path) -> None:
    """A practice job that was exported is not taken into the workshop's own record."""
    from firstpull.jobs import practice_bench

    with open_workshop(tmp_path) as workshop:
        practice_bench.start(workshop.practice, doing=Doing("Ada"))
        lines = list(export_lines(workshop.practice.store.all_events()))
        with pytest.raises(BadInput, match="practice") as problem:
            keep.import_lines(workshop.bench, lines)
        assert problem.value.where.startswith("line ")
        assert list(workshop.bench.store.all_events()) == []


def test_a_job_id_is_no_path(tmp_path: Path, released: tuple[Event, ...]) -> None:
    """A job whose id would climb out of a folder or break an address is not taken in."""
    for number, name in enumerate(("../../x", ".hidden", "a/b", "a b", "x" * 90, "a\u202eb")):
        events = [replace(event, stream=f"job:{name}") for event in released if event.stream.startswith("job:")]
        refused(tmp_path / str(number), forged(events[:1]))

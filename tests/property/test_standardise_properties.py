"""Fewest part numbers against trying every set of parts, for any few joints and parts."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.errors import BadInput
from firstpull.mechanics.choose import Needs, choose
from firstpull.mechanics.cover import Progress
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.joint.demand import Edges, JointDemand, LoadRange, Loads, Screw
from firstpull.mechanics.stack import Layer, Stack
from firstpull.mechanics.standardise import Joint, standardise
from firstpull.units import Length
from mechanics_examples import M6

TENTH = 100_000
LONG = replace(M6, length_free=Length(24_000_000))
grips = st.tuples(st.integers(0, 40), st.integers(1, 40), st.sampled_from(("M5", "M6")))
catalogues = st.lists(grips, min_size=1, max_size=6).map(
    lambda given: tuple(
        replace(LONG, part=f"P{n}", thread=thread, grip_min=Length(low * TENTH), grip_max=Length((low + more) * TENTH))
        for n, (low, more, thread) in enumerate(given)
        if low + more < 55
    )
)
stacks = st.lists(st.tuples(st.integers(1, 60), st.sampled_from(("M5", "M6"))), min_size=1, max_size=5).map(
    lambda given: tuple(
        Joint(f"J{n}", Stack((Layer("sheet", Length(sheet * TENTH)),)), Needs(thread=thread))
        for n, (sheet, thread) in enumerate(given)
    )
)


def _margins(joints: tuple[Joint, ...], rows: tuple[Insert, ...], least: float) -> dict[str, dict[str, int]]:
    """By joint, the margin in 0.01 % of every part that serves it."""
    found: dict[str, dict[str, int]] = {}
    for joint in joints:
        choice = choose(rows, stack=joint.stack, needs=joint.needs)
        some = {item.insert.part: round((item.tightest.margin or 0) * 10_000) for item in choice.candidates}
        found[joint.name] = {part: margin for part, margin in some.items() if margin >= round(least * 10_000)}
    return found


@settings(deadline=None, max_examples=60)
@given(rows=catalogues, joints=stacks, least=st.sampled_from((0.0, 0.1, 0.5)))
def test_no_set_of_parts_is_better(rows: tuple[Insert, ...], joints: tuple[Joint, ...], least: float) -> None:
    """Count of parts, tightest margin and total are the best over every set; who is not served has no part at all."""
    if not rows:
        return
    found = standardise(joints, rows, min_margin=least)
    margins = _margins(joints, rows, least)
    assert {row.joint for row in found.not_served} == {name for name, some in margins.items() if not some}
    served = {name: some for name, some in margins.items() if some}
    assert {row.joint for row in found.served} == set(served)
    if not served:
        return
    best = None
    parts = sorted({row.part for row in rows})
    for size in range(1, len(parts) + 1):
        for chosen in itertools.combinations(parts, size):
            if all(set(some) & set(chosen) for some in served.values()):
                got = [max(margin for part, margin in some.items() if part in chosen) for some in served.values()]
                score = (size, -min(got), -sum(got))
                best = score if best is None else min(best, score)
        if best is not None:
            break
    got = [round(row.margin * 10_000) for row in found.served]
    assert (len(found.inserts), -min(got), -sum(got)) == best
    assert found.proven
    assert all(row.price >= 0 and row.own_margin >= row.margin - 1e-9 for row in found.served)
    assert {row.insert for row in found.served} == set(found.inserts)


@settings(deadline=None, max_examples=40)
@given(rows=catalogues, joints=stacks, low=st.integers(0, 50), more=st.integers(1, 40))
def test_asking_for_more_margin_never_serves_more_or_takes_fewer(
    rows: tuple[Insert, ...], joints: tuple[Joint, ...], low: int, more: int
) -> None:
    """A greater least margin serves no more joints; where it serves the same ones it takes at least as many parts."""
    if not rows:
        return
    loose = standardise(joints, rows, min_margin=low / 100)
    strict = standardise(joints, rows, min_margin=(low + more) / 100)
    assert len(strict.served) <= len(loose.served)
    if len(strict.served) == len(loose.served):
        assert len(strict.inserts) >= len(loose.inserts)


LOADS = st.one_of(
    st.none(),
    st.builds(
        lambda tension, torque, edge: JointDemand(
            loads=Loads(tension=LoadRange(0, tension)),
            screw=Screw(torque_nm=torque, clearance_hole=Length(6_600_000)),
            edges=Edges(edge=Length(edge * TENTH)),
        ),
        st.sampled_from((0, 200, 800, 2500)),
        st.sampled_from((None, 2.0, 4.5)),
        st.integers(170, 260),
    ),
)
LOADED_ROWS = st.lists(
    st.tuples(
        st.integers(0, 25),
        st.integers(10, 40),
        st.sampled_from((None, 500.0, 1500.0)),
        st.sampled_from((None, 3.0, 9.0)),
        st.sampled_from((10.0, 13.0)),
    ),
    min_size=1,
    max_size=6,
).map(
    lambda given: tuple(
        replace(
            LONG,
            part=f"P{n}",
            grip_min=Length(low * TENTH),
            grip_max=Length((low + more) * TENTH),
            pull_out_n=pull,
            torque_to_turn_nm=turn,
            flange_diameter=Length.from_mm(flange),
        )
        for n, (low, more, pull, turn, flange) in enumerate(given)
    )
)
LOADED_JOINTS = st.lists(st.tuples(st.integers(5, 45), LOADS), min_size=1, max_size=4).map(
    lambda given: tuple(
        Joint(f"J{n}", Stack((Layer("EN AW-5754", Length(mm * TENTH)),)), Needs(thread="M6"), "mm", demand)
        for n, (mm, demand) in enumerate(given)
    )
)


@settings(deadline=None, max_examples=60)
@given(rows=LOADED_ROWS, joints=LOADED_JOINTS, least=st.sampled_from((0.0, 0.1, 0.3)))
def test_a_joint_is_only_served_by_what_choose_takes(
    rows: tuple[Insert, ...], joints: tuple[Joint, ...], least: float
) -> None:
    """With loads too: who serves is a candidate of “choose” with at least the margin asked for, and a stricter look at
    estimates serves no more."""
    found = standardise(joints, rows, min_margin=least)
    by_name = {joint.name: joint for joint in joints}
    for row in found.served:
        joint = by_name[row.joint]
        choice = choose(rows, stack=joint.stack, needs=joint.needs, joint=joint.demand)
        (taken,) = [item for item in choice.candidates if item.insert == row.insert]
        assert row.margin >= least - 1e-4
        assert row.worst_margin <= row.margin
        assert row.tightest in taken.checks
    strict = standardise(joints, rows, min_margin=least, estimates="worst")
    assert {row.joint for row in strict.served} <= {row.joint for row in found.served}
    assert all(row.worst_margin >= least - 1e-4 for row in strict.served)


@settings(deadline=None, max_examples=60)
@given(rows=LOADED_ROWS, joints=LOADED_JOINTS)
def test_one_more_insert_never_takes_more_part_numbers(rows: tuple[Insert, ...], joints: tuple[Joint, ...]) -> None:
    """For the joints that were served, one more row of the catalogue never raises the number of parts."""
    before = standardise(joints, rows[:-1], min_margin=0.1) if rows[1:] else None
    if before is None or not before.served:
        return
    names = {row.joint for row in before.served}
    after = standardise([joint for joint in joints if joint.name in names], rows, min_margin=0.1)
    assert {row.joint for row in after.served} == names
    assert len(after.inserts) <= len(before.inserts)
    if len(after.inserts) == len(before.inserts):
        assert (after.tightest_margin or 0) >= (before.tightest_margin or 0) - 1e-4


@settings(deadline=None, max_examples=30)
@given(rows=LOADED_ROWS, joints=LOADED_JOINTS)
def test_the_answer_does_not_depend_on_the_unit_or_the_order(
    rows: tuple[Insert, ...], joints: tuple[Joint, ...]
) -> None:
    """In inches, and with joints and rows the other way round, each joint gets the same part with the same margin."""
    found = standardise(joints, rows)
    inches = standardise([replace(joint, unit="in") for joint in joints], rows)
    back = standardise(joints[::-1], rows[::-1])
    taken = {row.joint: (row.insert.part, row.margin, row.price) for row in found.served}
    for other in (inches, back):
        assert {row.joint: (row.insert.part, row.margin, row.price) for row in other.served} == taken
        assert other.inserts == found.inserts
    assert {(row.joint, row.nearest) for row in inches.not_served} == {
        (row.joint, row.nearest) for row in found.not_served
    }


@settings(deadline=None, max_examples=60)
@given(rows=LOADED_ROWS, joints=LOADED_JOINTS, asked=st.integers(0, 30))
def test_stopped_at_any_moment_it_keeps_what_it_has(
    rows: tuple[Insert, ...], joints: tuple[Joint, ...], asked: int
) -> None:
    """Whenever it is stopped: before all joints were looked at it is refused; after that every joint has a part that
    serves it, as many as are certain or more, and what was told on the way was true."""
    whole = standardise(joints, rows)
    calls: list[int] = []
    told: list[Progress] = []

    def stopped() -> bool:
        calls.append(1)
        return len(calls) > asked

    if asked < len(joints):
        with pytest.raises(BadInput, match="were looked at"):
            standardise(joints, rows, cancelled=stopped)
        return
    found = standardise(joints, rows, cancelled=stopped, progress=told.append)
    assert {row.joint for row in found.served} == {row.joint for row in whole.served}
    assert found.least_inserts <= len(whole.inserts) <= len(found.inserts)
    assert all(step.bound <= len(whole.inserts) for step in told)
    assert all(step.best >= len(whole.inserts) for step in told if step.best is not None)
    if found.proven:
        assert found == whole

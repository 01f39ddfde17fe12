"""Fewest part numbers against trying every set of parts, for any few joints and parts."""

from __future__ import annotations

import itertools
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.mechanics.choose import Needs, choose
from firstpull.mechanics.insert import Insert
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

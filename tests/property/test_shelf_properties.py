"""A shelf of columns gives the same choice as looking at each insert, whatever the catalogue and the joint."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from importlib import resources
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.errors import BadInput
from firstpull.exchange.catalogue_table import preview
from firstpull.mechanics.choose import Needs, choose
from firstpull.mechanics.insert import BODIES, ENDS, HEADS, LENGTH_NAMES, Insert, check_insert
from firstpull.mechanics.joint import Edges, JointDemand, LoadRange, Loads, Screw
from firstpull.mechanics.joint.checks import prepare, strength_of
from firstpull.mechanics.shelf import Shelf, sieve
from firstpull.mechanics.shelf.strength import strength_columns
from firstpull.mechanics.shelf.view import View
from firstpull.mechanics.stack import Layer, Stack, thickness
from firstpull.mechanics.tool import Tool
from firstpull.trade.threads import thread
from firstpull.units import Length, parse_length

QUICK = settings(deadline=None, max_examples=150)


@cache
def demo_inserts() -> tuple[Insert, ...]:
    """The demo catalogue that comes with the program."""
    data = resources.files("firstpull.jobs").joinpath("demo/inserts.csv").read_bytes()
    return preview(data, filename="inserts.csv").rows


def maybe(values: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.none() | values


LENGTHS = st.integers(1, 300).map(lambda tenths: Length(tenths * 100_000))
LOADS = st.tuples(st.floats(0, 9000), st.floats(0, 9000)).map(lambda pair: LoadRange(*sorted(pair)))
CHANGES = st.fixed_dictionaries(
    {},
    optional={
        **{
            name: LENGTHS if name in ("length_free", "grip_min", "grip_max") else maybe(LENGTHS)
            for name in LENGTH_NAMES
        },
        "material": st.sampled_from(("", "steel", "aluminium", "stainless steel", "unobtainium")),
        "head": st.sampled_from(HEADS),
        "end": st.sampled_from(ENDS),
        "body": st.sampled_from(BODIES),
        **dict.fromkeys(("setting_load_n", "pull_out_n", "push_out_n"), maybe(st.floats(10, 20_000))),
        **dict.fromkeys(("tightening_torque_max_nm", "torque_to_turn_nm"), maybe(st.floats(0.1, 40))),
    },
)


@st.composite
def catalogues(draw: st.DrawFn) -> list[Insert]:
    """Rows of the demo catalogue around one size, some of them changed or with values that are not known."""
    thread = draw(st.sampled_from(("M5", "M6", "M8")))
    pool = [insert for insert in demo_inserts() if insert.thread == thread]
    others = [insert for insert in demo_inserts() if insert.thread != thread][:7]
    rows = draw(st.lists(st.tuples(st.sampled_from(pool), CHANGES), min_size=1, max_size=12))
    made = [replace(insert, part=f"P{index}", **changes) for index, (insert, changes) in enumerate(rows)]
    return [*made, *others, *draw(st.lists(st.sampled_from(pool), max_size=12, unique_by=lambda insert: insert.part))]


STACKS = st.builds(
    lambda metal, thick, more: Stack(
        layers=(
            Layer(metal, Length(thick * 100_000), Length(50_000)),
            *((Layer("zinc", Length(10_000), None, True),) if more else ()),
        )
    ),
    st.sampled_from(("steel", "aluminium 5052-H32", "carbon fibre", "unknown stuff")),
    st.integers(5, 40),
    st.booleans(),
)
NEEDS = st.fixed_dictionaries(
    {"thread": st.sampled_from(("M5", "M6", "M8"))},
    optional={
        "end": st.sampled_from(ENDS),
        "head": st.sampled_from(HEADS),
        "body": st.sampled_from(BODIES),
        "material": st.sampled_from(("steel", "aluminium")),
        "room_behind_mm": st.floats(3, 25),
        "tightening_torque_nm": st.floats(0.5, 25),
        "temperature_c": st.floats(20, 400),
        "surroundings": st.sampled_from(("harsh", "normal", "controlled")),
        "dimple": st.booleans(),
        "pocket_diameter_mm": st.floats(5, 40),
        "tool": st.builds(
            Tool,
            name=st.just("bench"),
            control=st.just("stroke"),
            stroke_max=maybe(LENGTHS),
            load_max_n=maybe(st.floats(2000, 30_000)),
            rated_pressure_bar=st.just(6.0),
            line_pressure_bar=maybe(st.floats(3, 7)),
            stiffness_kn_per_mm=maybe(st.floats(5, 60)),
            nose_diameter=maybe(LENGTHS),
        ),
    },
)
JOINTS = st.none() | st.builds(
    JointDemand,
    loads=st.builds(Loads, tension=maybe(LOADS), shear=maybe(LOADS), push=maybe(LOADS), load_factor=st.floats(0, 1)),
    screw=st.builds(
        Screw,
        strength=st.sampled_from(("", "8.8", "10.9")),
        torque_nm=maybe(st.floats(0.5, 20)),
        mating_thickness=maybe(LENGTHS),
        clearance_hole=maybe(LENGTHS.map(lambda above: Length(above.nanometres + 12_600_000))),
        washer=maybe(st.just(parse_length("1.6 mm"))),
    ),
    edges=st.builds(Edges, edge=maybe(LENGTHS), pitch=maybe(LENGTHS)),
    load_ceiling_n=maybe(st.floats(500, 12_000)),
)


@pytest.fixture(autouse=True, scope="module")
def _no_spare_rows() -> Iterator[None]:
    """The sieve alone must pick the right rows: without this a small catalogue is judged one by one as a whole."""
    kept, sieve.SPARE_ROWS = sieve.SPARE_ROWS, 1
    yield
    sieve.SPARE_ROWS = kept


@QUICK
@given(catalogues(), STACKS, st.sampled_from(("M5", "M6", "M8")), JOINTS, maybe(st.floats(3, 25)))
def test_columns_give_the_margins_of_single_inserts(
    inserts: list[Insert], stack: Stack, size: str, joint: JointDemand | None, room_mm: float | None
) -> None:
    """For each row every margin, whether it holds, what is not known and what it fails by are the same."""
    thick = thickness(stack).value_mm
    case = prepare(stack, joint or JointDemand(), thread(size), thickness_mm=thick, room_behind_mm=room_mm, unit="mm")
    shelf = Shelf.of([insert for insert in inserts if _possible(insert)])
    checks = strength_columns(View(shelf.columns, shelf.numbers, slice(None)), case)
    for row in range(len(shelf)):
        one = [found.check for found in strength_of(shelf.insert(row), case).rows]
        margins = sorted(check.margin for check in one if check.margin is not None)
        by_columns = [float(many.margin[row]) for many in checks if many.margin is not None]
        known = sorted(margin for margin in by_columns if not math.isnan(margin))
        assert known == pytest.approx(margins, rel=1e-5, abs=1e-5)
        failed = [check for check in one if not check.ok]
        wrong = [many for many in checks if not many.ok[row]]
        assert len(failed) == len(wrong)
        assert sum(check.capacity == "not known" for check in one) == sum(
            bool(many.unknown[row]) for many in checks if many.unknown is not None
        )
        if failed:
            judged = failed[0].expected_margin if failed[0].estimate else failed[0].margin
            assert float(wrong[0].judged[row]) == pytest.approx(judged or 0.0, rel=1e-5, abs=1e-5)


def _possible(insert: Insert) -> bool:
    try:
        check_insert(insert)
    except BadInput:
        return False
    return True


@QUICK
@given(catalogues(), STACKS, NEEDS, JOINTS, st.integers(1, 8))
def test_a_shelf_chooses_what_looking_at_each_insert_chooses(
    inserts: list[Insert], stack: Stack, needs: dict[str, Any], joint: JointDemand | None, most: int
) -> None:
    """Candidates, order, reasons, cures, checks and counts are the same by columns and one by one."""
    try:
        one_by_one = choose(inserts, stack=stack, needs=Needs(**needs), joint=joint, most=most)
    except BadInput:
        return
    by_columns = choose(Shelf.of(inserts), stack=stack, needs=Needs(**needs), joint=joint, most=most)
    assert by_columns == one_by_one


@QUICK
@given(catalogues())
def test_a_shelf_gives_back_the_inserts_that_it_was_made_of(inserts: list[Insert]) -> None:
    """A shelf is a mapping from part to insert in the order of the catalogue, texts as typed included."""
    shelf = Shelf.of(inserts)
    rows = {insert.part: insert for insert in inserts}
    assert list(shelf) == list(rows)
    assert list(map(repr, shelf.inserts())) == list(map(repr, rows.values()))
    assert all(shelf[part] == insert for part, insert in rows.items())
    assert "no such part" not in shelf


@QUICK
@given(st.sampled_from(range(200)), CHANGES)
def test_what_cannot_be_true_is_seen_by_columns_too(index: int, changes: dict[str, Any]) -> None:
    """A row is good on the shelf exactly when the check of a single insert passes it."""
    insert = replace(demo_inserts()[index % len(demo_inserts())], **changes)
    assert bool(Shelf.of([insert]).good[0]) is _possible(insert)

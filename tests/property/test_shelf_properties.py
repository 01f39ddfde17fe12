"""A shelf of columns gives the same choice as looking at each insert, whatever the catalogue and the joint."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from importlib import resources
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.errors import BadInput
from firstpull.exchange.catalogue_table import preview
from firstpull.mechanics.choose import Needs, choose
from firstpull.mechanics.insert import BODIES, ENDS, HEADS, LENGTH_NAMES, Insert, check_insert
from firstpull.mechanics.joint import Edges, JointDemand, LoadRange, Loads, Screw
from firstpull.mechanics.shelf import Shelf
from firstpull.mechanics.stack import Layer, Stack
from firstpull.mechanics.tool import Tool
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
        clearance_hole=maybe(LENGTHS),
        washer=maybe(st.just(parse_length("1.6 mm"))),
    ),
    edges=st.builds(Edges, edge=maybe(LENGTHS), pitch=maybe(LENGTHS)),
    load_ceiling_n=maybe(st.floats(500, 12_000)),
)


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
    try:
        check_insert(insert)
        good = True
    except BadInput:
        good = False
    assert bool(Shelf.of([insert]).good[0]) is good

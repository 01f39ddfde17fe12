"""What must hold of every joint: more load never gives more margin, units change nothing, grip always encloses."""

from __future__ import annotations

from dataclasses import asdict, replace

from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.exchange.job_file import read_job, write_job
from firstpull.mechanics.check import Check
from firstpull.mechanics.choose import Needs, choose
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.joint import Edges, JointDemand, LoadRange, Loads, Screw
from firstpull.mechanics.joint.checks import prepare, strength_of
from firstpull.mechanics.joint.screw import screw_length
from firstpull.mechanics.stack import Layer, Stack, thickness
from firstpull.trade.threads import thread
from firstpull.units import Length, parse_length
from mechanics_examples import M6, PLAIN

LOAD = st.floats(0, 20_000)
QUICK = settings(deadline=None, max_examples=60)
INSERTS = tuple(
    replace(M6, part=f"{low}-{high}-{body}", grip_min=Length(low), grip_max=Length(high), length_free=Length(22_000_000), body=body)
    for low, high in ((500_000, 3_000_000), (1_500_000, 2_050_000), (1_000_000, 4_500_000))
    for body in ("round", "hexagonal")
)  # fmt: skip


SHAPES = (
    M6,
    replace(M6, body="hexagonal", torque_to_turn_nm=9.0, pull_out_n=5000.0, push_out_n=2500.0),
    replace(M6, head="countersunk", flange_thickness=parse_length("1.4 mm"), material="aluminium"),
    replace(M6, end="closed", length_free=parse_length("19 mm"), unthreaded_length=parse_length("6.4 mm")),
    replace(M6, body_diameter=None, flange_thickness=None, setting_load_n=None),
    replace(M6, material="", thread_length=None),
)
STACKS = (
    PLAIN,
    Stack((Layer("DC01", parse_length("1.0 mm")), Layer("powder coat", parse_length("0.08 mm"), coating=True))),
    Stack((Layer("6061-T6", parse_length("1.5 mm"), parse_length("0.1 mm")), Layer("felt", parse_length("0.5 mm")))),
)


def checks(
    loads: Loads, torque_nm: float | None = 4.0, *, insert: Insert = M6, stack: Stack = PLAIN
) -> dict[str, Check]:
    """Every check by name."""
    demand = JointDemand(loads=loads, screw=Screw(strength="8.8", torque_nm=torque_nm))
    case = prepare(stack, demand, thread("M6"), thickness_mm=2.0, room_behind_mm=None, unit="mm")
    return {row.check.name: row.check for row in strength_of(insert, case).rows}


def margins(loads: Loads, torque_nm: float = 4.0) -> dict[str, float]:
    """The worst-case margins by name."""
    return {name: check.margin for name, check in checks(loads, torque_nm).items() if check.margin is not None}


@QUICK
@given(
    st.sampled_from(("tension", "shear", "push")),
    st.tuples(*[st.tuples(LOAD, LOAD)] * 3),
    st.floats(0.1, 5_000),
    st.tuples(st.sampled_from(SHAPES), st.sampled_from(STACKS), st.sampled_from((0.0, 0.3, 1.0))),
)
def test_margins_fall_when_loads_rise(
    name: str, three: tuple[tuple[float, float], ...], more: float, joint: tuple[Insert, Stack, float]
) -> None:
    """A higher load leaves no check of any insert with more margin, expected margin or chance, and passes no more."""
    insert, stack, share = joint
    loads = dict(zip(("tension", "shear", "push"), (LoadRange(*sorted(pair)) for pair in three), strict=True))
    higher = {**loads, name: LoadRange(loads[name].low_n + more, loads[name].high_n + more)}
    before, after = (
        checks(Loads(**one, load_factor=share), insert=insert, stack=stack) for one in (loads, higher)
    )  # fmt: skip
    for key, check in before.items():
        for number in ("margin", "expected_margin", "probability"):
            was, now = getattr(check, number), getattr(after[key], number)
            assert was is None or now is None or now <= was + 1e-6, (key, number)
        assert check.ok or not after[key].ok, key


@QUICK
@given(LOAD, st.floats(0.1, 5_000), st.sampled_from(SHAPES), st.sampled_from((0.0, 0.3, 1.0)))
def test_a_joint_that_is_torn_open_is_not_saved_by_more_tension(
    tension: float, more: float, insert: Insert, share: float
) -> None:
    """With the torque found here too, an insert that fails under a tension fails under a higher one."""
    before, after = (
        checks(Loads(tension=LoadRange(0, high), load_factor=share), None, insert=insert)
        for high in (tension, tension + more)
    )
    failed = [key for key, check in before.items() if not check.ok]
    assert not failed or not all(check.ok for check in after.values())


@QUICK
@given(st.floats(0.5, 10), st.floats(0.01, 5))
def test_a_higher_torque_leaves_less_margin_of_screw_and_thread(torque_nm: float, more_nm: float) -> None:
    """Proof and strip margins fall when the screw is tightened more."""
    before, after = margins(Loads(), torque_nm), margins(Loads(), torque_nm + more_nm)
    for name in ("screw proof", "thread strip, screw", "thread strip, insert", "seated fold"):
        assert after[name] < before[name]


@QUICK
@given(LOAD, st.floats(5, 60))
def test_the_unit_of_the_texts_changes_no_number_and_no_rank(load: float, edge_mm: float) -> None:
    """Choosing in inches gives the same candidates, margins and rejections as in millimetres."""
    demand = JointDemand(loads=Loads(tension=LoadRange(0, load)), edges=Edges(edge=Length.from_mm(edge_mm)))
    metric, inch = (
        choose(INSERTS, stack=PLAIN, needs=Needs(thread="M6"), joint=demand, unit=unit) for unit in ("mm", "in")
    )  # type: ignore[arg-type]
    assert [c.insert.part for c in metric.candidates] == [c.insert.part for c in inch.candidates]
    assert [r.insert.part for r in metric.rejected] == [r.insert.part for r in inch.rejected]
    for left, right in zip(metric.candidates, inch.candidates, strict=True):
        assert [check.margin for check in left.checks] == [check.margin for check in right.checks]
        assert left.strength is not None
        assert right.strength is not None
        assert asdict(left.strength.tightening) == asdict(right.strength.tightening)


@QUICK
@given(st.lists(st.integers(1_900_000, 2_300_000), max_size=4), st.integers(0, 200_000))
def test_a_measured_stack_is_enclosed_with_its_uncertainty(readings: list[int], tolerance: int) -> None:
    """Whatever was measured, no candidate's grip is outside the range that readings and tolerance give."""
    stack = Stack(
        (Layer("EN AW-5754", parse_length("2.0 mm"), Length(tolerance)),), tuple(Length(one) for one in readings)
    )
    found = choose(INSERTS, stack=stack, needs=Needs(thread="M6"), joint=JointDemand())
    size = thickness(stack)
    for candidate in found.candidates:
        assert candidate.insert.grip_min.mm <= size.low_mm <= size.high_mm <= candidate.insert.grip_max.mm


@QUICK
@given(st.integers(1, 900), st.integers(1, 30))
def test_a_joint_typed_in_inches_and_pounds_ranks_as_in_millimetres(pounds: int, hundredths: int) -> None:
    """The same joint typed in either system gives the same order and the same margins."""
    layer = '[[stack.layer]]\nmaterial = "EN AW-5754"\nthickness = "{}"\ntolerance = "{}"\n[needs]\nthread = "M6"\n'
    rest = '[loads]\ntension = "{}"\nshear = "{}"\n[screw]\ntorque = "{}"\n[edges]\nedge = "{}"\n'
    newtons, edge_mm = pounds * 4.4482216152605, 25.4 * (1 + hundredths / 100)
    inch = layer.format("0.08 in", "0.004 in") + rest.format(
        f"{pounds} lbf", f"{pounds} lbf", "35 lbf·in", f"{1 + hundredths / 100:.2f} in"
    )
    metric = layer.format("2.032 mm", "0.1016 mm") + rest.format(
        f"{newtons:.9f} N", f"{newtons:.9f} N", f"{35 * 0.1129848290276167:.9f} N·m", f"{edge_mm:.3f} mm"
    )
    left, right = (
        choose(
            INSERTS,
            stack=job.stack,
            needs=job.needs or Needs(thread="M6"),
            joint=JointDemand(loads=job.loads or Loads(), screw=job.screw or Screw(), edges=job.edges or Edges()),
            unit=job.unit,
        )
        for job in (read_job(inch), read_job(metric))
    )
    assert [one.insert.part for one in left.candidates] == [one.insert.part for one in right.candidates]
    assert [one.insert.part for one in left.rejected] == [one.insert.part for one in right.rejected]
    for one, other in zip(left.candidates, right.candidates, strict=True):
        for a, b in zip(one.checks, other.checks, strict=True):
            assert (a.margin is None) == (b.margin is None)
            assert a.margin is None or b.margin is None or abs(a.margin - b.margin) < 1e-5


@QUICK
@given(LOAD, LOAD)
def test_no_candidate_is_outside_its_grip_and_all_are_accounted_for(tension: float, shear: float) -> None:
    """Whatever the loads, candidates enclose the stack, pass every check, and nothing is lost."""
    demand = JointDemand(loads=Loads(tension=LoadRange(0, tension), shear=LoadRange(0, shear)))
    found = choose(INSERTS, stack=PLAIN, needs=Needs(thread="M6"), joint=demand)
    size = thickness(PLAIN)
    for candidate in found.candidates:
        assert candidate.insert.grip_min.mm <= size.low_mm
        assert size.high_mm <= candidate.insert.grip_max.mm
        assert all(check.ok for check in candidate.checks)
    assert len(found.candidates) + len(found.rejected) == len(INSERTS)
    assert found == choose(tuple(reversed(INSERTS)), stack=PLAIN, needs=Needs(thread="M6"), joint=demand)


@QUICK
@given(st.integers(0, 9_000), st.integers(0, 9_000), st.integers(-40, 400))
def test_a_written_joint_reads_back_the_same(one: int, other: int, hot: int) -> None:
    """Needs, loads, screw and edges survive the job file."""
    low, high = sorted((one, other))
    text = (
        '[[stack.layer]]\nmaterial = "DC01"\nthickness = "1.5 mm"\n[needs]\nthread = "M6"\nsealed = true\n'
        f'temperature = "{hot} °F"\nsurroundings = "normal"\npocket_depth = "1/2 in"\n'
        f'[loads]\ntension = ["{low} N", "{high} N"]\nshear = "12 lbf"\nload_factor = 0.5\n'
        '[screw]\nclass = "10.9"\ntorque = "55 lbf·in"\nclearance_hole = "0.260 in"\n[edges]\nedge = "12 mm"\n'
    )
    job = read_job(text)
    assert read_job(write_job(job)) == job
    assert job.loads is not None
    assert job.loads.tension == LoadRange(low, high)
    assert job.edges == Edges(edge=parse_length("12 mm"))


@QUICK
@given(
    st.sampled_from(("open", "closed")),
    st.integers(3_000, 12_000),
    st.integers(1_000, 30_000),
    st.one_of(st.none(), st.integers(0, 20_000)),
)
def test_a_screw_bottoms_nowhere_and_engages(end: str, thread_um: int, part_um: int, room_um: int | None) -> None:
    """A screw that is named stays inside a closed end and the room behind, and has 0.7 diameters or all it can in mesh."""
    insert = replace(M6, end=end, thread_length=Length(thread_um * 1000), length_free=Length(26_000_000))
    room_mm = None if room_um is None else room_um / 1000
    found = screw_length(
        insert, thread("M6"), Screw(mating_thickness=Length(part_um * 1000)), thickness_mm=2.0, room_behind_mm=room_mm
    )
    if not found.ok:
        assert found.length_mm is None
        return
    assert found.length_mm is not None
    assert found.engaged_mm is not None
    assert found.reach_least_mm is not None
    reach = found.length_mm - part_um / 1000
    assert reach >= found.reach_least_mm - 1e-6
    assert found.reach_most_mm is None or reach <= found.reach_most_mm + 1e-6
    can_mm = thread_um / 1000 - (1.0 if end == "closed" else 0.0)
    assert min(0.7 * 6, can_mm) - 1e-6 <= found.engaged_mm <= can_mm + 1e-6

"""What must hold of every joint: more load never gives more margin, units change nothing, grip always encloses."""

from __future__ import annotations

from dataclasses import asdict, replace

from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.exchange.job_file import read_job, write_job
from firstpull.mechanics.choose import Needs, choose
from firstpull.mechanics.joint import Edges, JointDemand, LoadRange, Loads, Screw
from firstpull.mechanics.joint.checks import prepare, strength_of
from firstpull.mechanics.stack import thickness
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


def margins(loads: Loads, torque_nm: float = 4.0) -> dict[str, float]:
    """The worst-case margins by name."""
    demand = JointDemand(loads=loads, screw=Screw(strength="8.8", torque_nm=torque_nm))
    case = prepare(PLAIN, demand, thread("M6"), thickness_mm=2.0, room_behind_mm=None, unit="mm")
    rows = strength_of(M6, case).rows
    return {row.check.name: row.check.margin for row in rows if row.check.margin is not None}


@QUICK
@given(st.sampled_from(("tension", "shear", "push")), LOAD, LOAD, st.floats(0.1, 5_000))
def test_margins_fall_when_loads_rise(name: str, one: float, other: float, more: float) -> None:
    """A higher load leaves no check with more margin."""
    low, high = sorted((one, other))
    before = margins(Loads(**{name: LoadRange(low, high)}))
    after = margins(Loads(**{name: LoadRange(low + more, high + more)}))
    assert all(after[key] <= value + 1e-6 for key, value in before.items())


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

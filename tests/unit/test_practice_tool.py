"""The simulated tool behaves like a tool: knob, play, cold start, air, load, drift, limits."""

from __future__ import annotations

from itertools import pairwise

import pytest

from firstpull.errors import BadInput
from firstpull.practice import TEMPERAMENTS, Nominals, SimulatedTool

JOB = Nominals(start_long_mm=0.45)


def tool(temperament: str = "steady", seed: int = 11, nominals: Nominals = JOB) -> SimulatedTool:
    return SimulatedTool.from_seed(seed, temperament, nominals=nominals)


def to_target(simulated: SimulatedTool) -> None:
    """Turn until the mean in the air is on the target, as nobody without the truth could."""
    for _ in range(4):
        truth = simulated.truth()
        simulated.turn((truth.mean_air_length_mm - truth.target_length_mm) / truth.lead_mm)


@pytest.mark.parametrize("temperament", TEMPERAMENTS)
def test_same_seed_and_actions_give_the_same_readings(temperament: str) -> None:
    """Replaying the actions gives every reading again; another seed gives others."""
    actions = [
        {"type": "pull"},
        {"type": "remeasure"},
        {"type": "turn", "turns": 0.5},
        {"type": "dry_cycle"},
        {"type": "pull", "where": "stack"},
        {"type": "turn", "clicks": -2},
        {"type": "coupon", "thickness_mm": 2.0},
    ]
    once = SimulatedTool.replay(5, temperament, nominals=JOB, actions=actions)
    again = SimulatedTool.replay(5, temperament, nominals=JOB, actions=actions)
    other = SimulatedTool.replay(6, temperament, nominals=JOB, actions=actions)
    assert once.pulls == again.pulls
    assert once.truth() == again.truth()
    assert once.pulls != other.pulls


def test_looking_and_reading_again_change_nothing() -> None:
    """Measuring the next insert or reading the last one again does not move later pulls."""
    plain, curious = tool(), tool()
    plain.pull()
    curious.pull()
    before = curious.next_length_before_mm
    curious.read_again()
    curious.read_again()
    assert plain.pull() == (second := curious.pull())
    assert second.length_before_mm == before


def test_free_lengths_depend_on_seed_and_number_only() -> None:
    """The third insert of the box is the same insert whatever was done before it."""
    turned, cycled = tool(), tool("worn")
    for _ in range(2):
        turned.turn(0.3)
        turned.pull("stack")
        cycled.dry_cycle()
        cycled.pull()
    assert turned.pull().true_length_before_mm == cycled.pull().true_length_before_mm


def test_more_stroke_sets_shorter() -> None:
    """Each turn towards more stroke makes the mean shorter by about the lead, until the ceiling."""
    simulated = tool()
    lengths = []
    for _ in range(6):
        simulated.turn(0.25)
        lengths.append(simulated.truth().mean_air_length_mm)
    steps = [earlier - later for earlier, later in pairwise(lengths)]
    assert all(0.08 < step < 0.16 for step in steps)


def test_plus_may_mean_less_stroke() -> None:
    """On a tool whose plus is less stroke, a positive turn sets longer."""
    simulated = tool(nominals=Nominals(plus_turns="less stroke"))
    before = simulated.truth().mean_air_length_mm
    simulated.turn(0.5)
    assert simulated.truth().mean_air_length_mm > before + 0.2


def test_a_reversal_loses_the_play() -> None:
    """After a move one way, a move back loses exactly the play; going on the same way loses nothing."""
    simulated = tool("worn", nominals=Nominals(clicks_per_turn=None, start_long_mm=0.4))
    truth = simulated.truth()
    simulated.turn(1.0)
    simulated.turn(-1.0)
    back = simulated.truth().mean_air_length_mm
    simulated.turn(-0.5)
    on = simulated.truth().mean_air_length_mm
    simulated.turn(0.5)
    again = simulated.truth().mean_air_length_mm
    assert truth.play_turns > 0.1
    assert on - back == pytest.approx(0.5 * truth.lead_mm, abs=0.002)
    assert on - again == pytest.approx((0.5 - truth.play_turns) * truth.lead_mm, abs=0.002)


def test_the_knob_rests_at_a_click() -> None:
    """A turn between two clicks lands on the nearer one; a coarse knob has fewer clicks."""
    exact, between = tool(), tool()
    exact.turn_clicks(3)
    between.turn(0.26)
    assert exact.truth() == between.truth()
    assert (tool().clicks_per_turn, tool("coarse").clicks_per_turn) == (12, 4)


def test_the_first_pull_after_reconnecting_comes_long() -> None:
    """Cold shortfall: full on the first cycle, gone after some; a dry cycle removes most of it."""
    shortfall = tool("worn").truth().cold_shortfall_mm
    cold, warmed = tool("worn"), tool("worn")
    for simulated in (cold, warmed):
        for _ in range(8):
            simulated.dry_cycle()
    cold.reconnect()
    extra = cold.pull().true_length_mm - warmed.pull().true_length_mm
    assert extra == pytest.approx(shortfall, abs=0.003)
    cold.reconnect()
    cold.dry_cycle()
    warmed.dry_cycle()
    extra = cold.pull().true_length_mm - warmed.pull().true_length_mm
    assert 0 < extra < 0.5 * shortfall


def test_stack_pulls_set_longer_by_the_load() -> None:
    """At the target the stack sets longer than the air by the extra load over the stiffness: some hundredths of a mm."""
    for seed in range(20):
        simulated = tool(seed=seed)
        to_target(simulated)
        assert 0.02 < simulated.truth().air_to_stack_mm < 0.15


def test_low_air_stalls_in_the_stack_only() -> None:
    """With too little air a pull is fine in the air but stalls in the stack; rated air cures it."""
    simulated = tool()
    to_target(simulated)
    simulated.set_pressure(3.9)
    assert not simulated.truth().mean_air_length_mm > simulated.truth().target_length_mm + 0.1
    assert simulated.pull("stack").stalled
    assert simulated.truth().stalls_in_stack
    simulated.set_pressure(6.2)
    assert not simulated.pull("stack").stalled


def test_very_low_air_does_not_collapse_the_insert() -> None:
    """Below the collapse peak the insert hardly shortens at all."""
    simulated = tool()
    simulated.set_pressure(1.0)
    pull = simulated.pull()
    assert pull.stalled
    assert pull.true_stroke_mm < 0.4


def test_near_its_limit_means_stroke_or_air() -> None:
    """Some of these tools can not reach the target, others stall until the pressure is raised; both kinds exist."""
    short_of_stroke = stalled = 0
    for seed in range(40):
        simulated = tool("near its limit", seed=seed)
        simulated.turn(2.0)
        truth = simulated.truth()
        short_of_stroke += not truth.reachable
        if simulated.pressure_bar < 6.2:
            assert truth.stalls_in_stack
            stalled += 1
    assert short_of_stroke >= 5
    assert stalled >= 10


def test_the_stroke_saturates() -> None:
    """Past the ceiling more turns change nothing."""
    simulated = tool(nominals=Nominals(stroke_max_mm=4.3))
    simulated.turn(5)
    first = simulated.truth().mean_air_length_mm
    simulated.turn(5)
    assert simulated.truth().mean_air_length_mm == first


def test_a_drifting_tool_sets_longer_and_longer() -> None:
    """Drift takes stroke cycle by cycle; a steady tool stays."""
    for temperament, least, most in (("drifting", 0.15, 0.6), ("steady", -0.001, 0.001)):
        simulated = tool(temperament)
        before = simulated.truth().mean_air_length_mm
        for _ in range(50):
            simulated.dry_cycle()
        assert least < simulated.truth().mean_air_length_mm - before < most


def test_readings_are_on_the_gauge_step() -> None:
    """Every reading is a whole number of steps of the gauge, in mm or in inches."""
    inch = Nominals(resolution_mm=0.0127, unit="in")
    for nominals in (JOB, inch):
        for seed in range(10):
            for reading in tool("misreading", seed=seed, nominals=nominals).pull().readings_mm:
                steps = reading / nominals.resolution_mm
                assert steps == pytest.approx(round(steps), abs=1e-3)


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_misreads_are_gross_and_as_often_as_said(unit: str) -> None:
    """About one reading in five is a misread on the “misreading” bench, each over 0.12 mm off the truth; none on a steady one."""
    count = total = 0
    for seed in range(150):
        nominals = Nominals(unit="in", resolution_mm=0.0127) if unit == "in" else JOB
        pull = tool("misreading", seed=seed, nominals=nominals).pull()
        for reading, wrong in zip(pull.readings_mm, pull.misread, strict=True):
            total += 1
            count += wrong
            assert (abs(reading - pull.true_length_mm) > 0.12) == wrong
        assert not any(tool(seed=seed).pull().misread)
    assert 0.15 < count / total < 0.25


def test_bad_pulls_come_out_long_and_are_rare() -> None:
    """A pull spun off early is at least 0.2 mm long; on a worn tool about one in twenty."""
    simulated = tool("worn")
    mean = simulated.truth().mean_air_length_mm
    pulls = [simulated.pull() for _ in range(400)]
    bad = [pull for pull in pulls if pull.spun_off_early]
    assert 5 <= len(bad) <= 45
    assert all(pull.true_length_mm > mean + 0.2 for pull in bad)


def test_scatter_is_as_the_truth_says() -> None:
    """Spread of (free length − set length) over many warm pulls is the tool's scatter, a little more with gap and load."""
    simulated = tool()
    simulated.dry_cycle()
    simulated.dry_cycle()
    strokes = [simulated.pull().true_stroke_mm for _ in range(300)][10:]
    mean = sum(strokes) / len(strokes)
    sd = (sum((stroke - mean) ** 2 for stroke in strokes) / (len(strokes) - 1)) ** 0.5
    said = simulated.truth().pull_sd_mm
    assert 0.9 * said < sd < 2 * said


def test_start_is_as_long_as_asked() -> None:
    """``start_long_mm`` sets the first mean set length in the air above the target."""
    truth = tool().truth()
    assert truth.mean_air_length_mm - truth.target_length_mm == pytest.approx(0.45, abs=0.002)


@pytest.mark.parametrize(
    "action",
    [
        None,
        {},
        {"type": "jump"},
        {"type": "turn"},
        {"type": "turn", "turns": float("nan")},
        {"type": "turn", "clicks": 1.5},
        {"type": "turn", "clicks": 10**9},
        {"type": "pull", "where": "water"},
        {"type": "pressure", "pressure_bar": 7.0},
        {"type": "pressure"},
        {"type": "coupon", "thickness_mm": -1},
        {"type": "remeasure"},
    ],
)
def test_other_actions_are_refused(action: object) -> None:
    """What a bench can not do is refused in words, and changes nothing."""
    simulated = tool()
    before = simulated.truth()
    with pytest.raises(BadInput):
        simulated.apply(action)
    assert simulated.truth() == before


def test_readings_of_one_insert_end() -> None:
    """After six readings of one insert the bench asks for another insert."""
    simulated = tool()
    pull = simulated.pull()
    readings = [simulated.read_again() for _ in range(5)]
    assert (pull.reading_mm, *readings) == pull.readings_mm
    assert pull.reading_again_mm == pull.read_again() == readings[0]
    with pytest.raises(BadInput, match="read 6 times"):
        simulated.read_again()


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("insert_length_mm", 3.0),
        ("insert_length_mm", float("inf")),
        ("thickness_mm", 3.2),
        ("grip_min_mm", 3.5),
        ("set_allowance_min_mm", 3.5),
        ("clicks_per_turn", 2.5),
        ("plus_turns", "up"),
        ("unit", "ft"),
        ("lead_mm", 0.0),
        ("lead_mm", "0.5"),
        ("start_long_mm", 50.0),
        ("setting_load_n", True),
    ],
)
def test_unusable_nominals_are_refused(field: str, value: object) -> None:
    """Numbers that make no joint are refused with the field's name."""
    with pytest.raises(BadInput) as caught:
        Nominals.from_dict({**JOB.as_dict(), field: value})
    assert caught.value.where


def test_nominals_go_into_the_record_and_back() -> None:
    """Nominals survive the round trip; an unknown name is refused."""
    assert Nominals.from_dict(JOB.as_dict()) == JOB
    with pytest.raises(BadInput):
        Nominals.from_dict({"colour": 1})


@pytest.mark.parametrize(("seed", "temperament"), [(-1, "steady"), (2**63, "steady"), (True, "steady"), (1, "angry")])
def test_unusable_seeds_and_temperaments_are_refused(seed: int, temperament: str) -> None:
    """A seed is a whole number from 0, a temperament is one of the list."""
    with pytest.raises(BadInput):
        SimulatedTool.from_seed(seed, temperament)

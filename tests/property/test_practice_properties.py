"""Properties of the practice bench: any actions give finite results or our error, and replay gives them again."""

from __future__ import annotations

import math
from dataclasses import fields, replace

from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.errors import FirstpullError
from firstpull.practice import TEMPERAMENTS, Nominals, PracticeCoupon, PracticePull, SimulatedTool
from firstpull.practice.collapse_load import load_curve, squeeze, travel_for

numbers = st.one_of(st.floats(), st.floats(-3, 3), st.integers(-20, 20), st.none(), st.text(max_size=2))
actions = st.one_of(
    st.fixed_dictionaries({"type": st.just("turn"), "turns": numbers}),
    st.fixed_dictionaries({"type": st.just("turn"), "clicks": numbers}),
    st.fixed_dictionaries({"type": st.sampled_from(["dry_cycle", "reconnect", "remeasure"])}),
    st.fixed_dictionaries({"type": st.just("pull"), "where": st.sampled_from(["air", "stack"])}),
    st.fixed_dictionaries({"type": st.just("coupon"), "thickness_mm": numbers}),
    st.fixed_dictionaries({"type": st.just("pressure"), "pressure_bar": numbers}),
    st.dictionaries(st.text(max_size=4), numbers, max_size=2),
)
jobs = st.builds(
    lambda lead, clicks, start, plus: Nominals(
        lead_mm=lead, clicks_per_turn=clicks, start_long_mm=start, plus_turns=plus
    ),
    st.floats(0.05, 2),
    st.none() | st.integers(1, 60),
    st.none() | st.floats(-0.5, 1),
    st.sampled_from(["more stroke", "less stroke"]),
)


def play(seed: int, temperament: str, nominals: Nominals, todo: list[dict[str, object]]) -> list[object]:
    simulated = SimulatedTool.from_seed(seed, temperament, nominals=nominals)
    results: list[object] = []
    for action in todo:
        try:
            results.append(simulated.apply(action))
        except FirstpullError as error:
            results.append(str(error))
    return [*results, simulated.truth()]


@settings(deadline=None)
@given(st.integers(0, 2**63 - 1), st.sampled_from(TEMPERAMENTS), jobs, st.lists(actions, max_size=12))
def test_any_actions_give_finite_results_and_replay(
    seed: int, temperament: str, nominals: Nominals, todo: list[dict[str, object]]
) -> None:
    """Every number of every result is finite, and playing the same actions again gives the same results."""
    results = play(seed, temperament, nominals, todo)
    assert results == play(seed, temperament, nominals, todo)
    for result in results:
        pull = result.pull if isinstance(result, PracticeCoupon) else result
        if isinstance(pull, PracticePull):
            assert all(math.isfinite(value) and value > 0 for value in pull.readings_mm)
            assert 0 <= pull.true_stroke_mm <= pull.true_length_before_mm
    truth = results[-1]
    assert all(math.isfinite(getattr(truth, item.name)) for item in fields(truth) if item.name not in ("temperament",))


@given(
    st.floats(0, 9),
    st.floats(0, 1),
    st.floats(500, 30_000),
    st.floats(20e3, 200e3),
    st.floats(100e3, 300e3),
    st.floats(100, 60_000),
)
def test_more_travel_never_leaves_less_stroke(
    travel: float, more: float, load: float, tool: float, insert: float, available: float
) -> None:
    """Stroke grows with travel and with available force, never past the travel."""
    curve = load_curve(load, seat_mm=3.5, seated_mm=4.2)

    def stroke(travel_mm: float, available_n: float) -> float:
        done = squeeze(travel_mm, curve=curve, tool_stiffness=tool, insert_stiffness=insert, available_n=available_n)
        return done.stroke_mm

    least = stroke(travel, available)
    assert 0 <= least <= travel + 1e-9
    assert stroke(travel + more, available) >= least - 1e-9
    assert stroke(travel, available * 1.5) >= least - 1e-9


@given(st.floats(1.5, 6), st.floats(2000, 15_000), st.floats(30e3, 200e3), st.floats(100e3, 300e3))
def test_travel_and_squeeze_are_inverse(stroke: float, load: float, tool: float, insert: float) -> None:
    """The travel worked out for a stroke leaves that stroke."""
    curve = load_curve(load, seat_mm=3.5, seated_mm=4.2)
    travel = travel_for(stroke, curve=curve, tool_stiffness=tool, insert_stiffness=insert)
    done = squeeze(travel, curve=curve, tool_stiffness=tool, insert_stiffness=insert, available_n=1e9)
    assert abs(done.stroke_mm - stroke) < 1e-6


@given(st.integers(0, 10**6), st.sampled_from(TEMPERAMENTS), st.floats(0, 2), st.floats(0, 2))
def test_a_knob_turned_further_never_sets_longer(seed: int, temperament: str, first: float, further: float) -> None:
    """With force enough, more turns towards more stroke never give a longer mean in air or stack."""
    strong = replace(Nominals(clicks_per_turn=None), load_max_n=1e6)
    near, far = (SimulatedTool.from_seed(seed, temperament, nominals=strong) for _ in range(2))
    near.turn(first)
    far.turn(first + further)
    assert far.truth().mean_air_length_mm <= near.truth().mean_air_length_mm + 1e-6
    assert far.truth().mean_stack_length_mm <= near.truth().mean_stack_length_mm + 1e-6

"""Run lengths with rises and falls: against counted permutations, closed forms and drawn charts."""

from __future__ import annotations

import math
from itertools import pairwise, permutations

import numpy as np
import pytest

from firstpull.errors import BadInput
from firstpull.statistics.run_lengths import (
    ALL_RULES,
    false_alarm_chance,
    individuals_run_length,
    rules_run_length,
    shewhart_run_length,
)
from firstpull.statistics.run_rules import find_signals


@pytest.mark.parametrize("points", [5, 6, 7, 8])
def test_rising_counted_by_hand(points: int) -> None:
    """For up to eight values the chance of rule 5 is the share of all orders in which six keep rising or falling."""

    def monotone(order: tuple[int, ...]) -> bool:
        signs = [later > earlier for earlier, later in pairwise(order)]
        return any(len(set(signs[k : k + 5])) == 1 for k in range(len(signs) - 4))

    found = sum(monotone(order) for order in permutations(range(points)))
    assert false_alarm_chance((5,), points) == pytest.approx(found / math.factorial(points), abs=1e-13)


def test_up_and_down_is_an_alternating_permutation() -> None:
    """Fourteen values go up and down by turns in 2·199 360 981 of 14! orders (Euler's zigzag number)."""
    assert false_alarm_chance((6,), 13) == pytest.approx(0.0, abs=1e-13)
    assert false_alarm_chance((6,), 14) == pytest.approx(2 * 199_360_981 / math.factorial(14), rel=1e-9)


@pytest.mark.parametrize("shift", [-1.0, 0.0, 3.0])
def test_trends_do_not_see_a_shift(shift: float) -> None:
    """Rules 5 and 6 look at order only: a centre that stays where it is, right or wrong, changes nothing."""
    assert rules_run_length((5, 6), shift=shift) == pytest.approx(rules_run_length((5, 6)), rel=1e-12)


@pytest.mark.parametrize("rules", [(1,), (1, 2, 3, 4), (1, 2, 3, 4, 7, 8)])
def test_both_chains_say_the_same(rules: tuple[int, ...]) -> None:
    """Where no trend counts, the sum of the chances is the solved mean time: two ways, one number."""
    length = rules_run_length(rules)
    told = sum(1 - false_alarm_chance(rules, points) for points in range(1, 60))
    rest = 1 - false_alarm_chance(rules, 60)
    ratio = rest / (1 - false_alarm_chance(rules, 59))
    assert 1 + told + rest / (1 - ratio) == pytest.approx(length, rel=1e-6)


def test_a_limit_alone_is_geometric() -> None:
    """The chance within n values is 1 − (1 − p)ⁿ."""
    p = 1 / shewhart_run_length()
    for points in (1, 25, 500):
        assert false_alarm_chance((1,), points) == pytest.approx(1 - (1 - p) ** points, abs=1e-12)


@pytest.mark.parametrize("points", [6, 14, 200])
def test_limits_and_order_are_independent(points: int) -> None:
    """Values within the limits are in any order alike, so both chances of no alarm multiply: exact beside the zones."""
    quiet = (1 - false_alarm_chance((1,), points)) * (1 - false_alarm_chance((5, 6), points))
    assert false_alarm_chance((1, 5, 6), points) == pytest.approx(1 - quiet, abs=1e-10)


@pytest.mark.parametrize(("rules", "shift"), [(ALL_RULES, 0.0), ((1, 5, 6), 0.0), (ALL_RULES, 1.0)])
def test_drawn_charts_agree(rules: tuple[int, ...], shift: float) -> None:
    """The rules as the charts apply them signal as soon, within four standard errors of 300 drawn charts."""
    generator = np.random.default_rng(56)
    lengths = []
    for _ in range(300):
        values: list[float] = []
        while True:
            values += [float(x) for x in generator.standard_normal(100) + shift]
            changes = tuple(int(np.sign(b - a)) for a, b in pairwise(values))
            found = [signal.index for signal in find_signals(tuple(values), changes=changes) if signal.number in rules]
            if found:
                lengths.append(min(found) + 1)
                break
    error = float(np.std(lengths)) / math.sqrt(len(lengths))
    assert rules_run_length(rules, shift=shift) == pytest.approx(float(np.mean(lengths)), abs=4 * error)


@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_individuals_with_moving_range_agree_with_drawn_charts(shift: float) -> None:
    """The integral equation of both limits together, within four standard errors of 4000 drawn charts."""
    values = np.random.default_rng(98).standard_normal((4000, 1500)) + shift
    beyond = np.abs(values) > 3
    beyond[:, 1:] |= np.abs(np.diff(values, axis=1)) > 3.6858865663777776
    lengths = beyond.argmax(axis=1) + 1.0
    assert beyond.any(axis=1).all()
    error = float(lengths.std()) / math.sqrt(len(lengths))
    assert individuals_run_length(shift=shift) == pytest.approx(float(lengths.mean()), abs=4 * error)
    assert individuals_run_length(shift=shift) < shewhart_run_length(shift=shift)


@pytest.mark.parametrize(("points", "where"), [(0, "points"), (10_001, "points")])
def test_charts_of_no_length_are_refused(points: int, where: str) -> None:
    """None, or more than ten thousand."""
    with pytest.raises(BadInput) as caught:
        false_alarm_chance((1,), points)
    assert caught.value.where == where

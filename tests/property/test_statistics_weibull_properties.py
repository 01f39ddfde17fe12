"""Properties of Weibull life: unit-free, longer running lives mean longer life, limits that hold as often as they say."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.statistics.weibull import weibayes, weibull_fit


@given(st.integers(0, 1000), st.floats(1e-3, 1e5), st.floats(0.5, 5))
@settings(max_examples=8, deadline=None)
def test_scale_and_power(seed: int, unit: float, shape: float) -> None:
    """Another unit multiplies the scale and leaves the shape; longer running lives never shorten the scale."""
    lives = np.sort(100 * np.random.default_rng(seed).weibull(shape, 10))
    failed, running = lives[:7], lives[7:]
    first, second = weibull_fit(failed, running), weibull_fit(unit * failed, unit * running)
    assert second.shape.value == pytest.approx(first.shape.value, rel=1e-8)
    assert second.scale.value == pytest.approx(unit * first.scale.value, rel=1e-8)
    assert second.b10.low == pytest.approx(unit * first.b10.low, rel=1e-5)
    assert first.scale.low < first.scale.value < (first.scale.high or np.inf)
    assert weibull_fit(failed, 2 * running).scale.value >= first.scale.value


@given(st.integers(1, 50), st.floats(0.5, 5), st.floats(0.5, 0.99))
@settings(max_examples=50, deadline=None)
def test_weibayes_grows_with_what_ran(count: int, shape: float, confidence: float) -> None:
    """One more part that ran shows more, more confidence shows less, a failure shows less than a part still running."""
    lives = [float(k) for k in range(1, count + 1)]
    shown = weibayes([], lives, shape=shape, confidence=confidence).b10_at_least
    assert weibayes([], [*lives, 1.0], shape=shape, confidence=confidence).b10_at_least > shown
    assert weibayes([], lives, shape=shape, confidence=confidence + 0.005).b10_at_least < shown
    assert weibayes(lives[:1], lives[1:], shape=shape, confidence=confidence).b10_at_least < shown


def test_weibayes_is_true_as_often_as_said() -> None:
    """Of 2000 sets of five, stopped at a time fixed beforehand, the 90 % limit of B10 holds in 88 % or more."""
    draw = np.random.default_rng(12)
    true = (-np.log(0.9)) ** 0.5
    held = 0
    for _ in range(2000):
        ended = np.sort(draw.weibull(2, 5))
        failed = ended[ended < 1.0]
        running = np.full(5 - len(failed), 1.0)
        held += weibayes(failed.tolist(), running.tolist(), shape=2, confidence=0.9).b10_at_least <= true
    assert held / 2000 >= 0.88

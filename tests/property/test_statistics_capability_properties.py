"""Properties of capability: unit-free, mirror-free, and lower limits that hold as often as they say."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.statistics.capability_indices import capability, cp_limits, cpk_at_least


@given(st.integers(0, 10_000), st.floats(-50, 50), st.floats(0.01, 100))
@settings(max_examples=4, deadline=None)
def test_shift_scale_and_mirror(seed: int, shift: float, scale: float) -> None:
    """Another unit, or looking from the other side, changes no index."""
    values = np.random.default_rng(seed).normal(0, 1, 40)
    first = capability(values.tolist(), low=-3, high=4)
    moved = capability((shift + scale * values).tolist(), low=shift - 3 * scale, high=shift + 4 * scale)
    mirrored = capability((-values).tolist(), low=-4, high=3)
    for other in (moved, mirrored):
        assert other.cpk.value == pytest.approx(first.cpk.value, rel=1e-6)
        assert other.ppk.at_least == pytest.approx(first.ppk.at_least, rel=1e-6)
        assert other.signals == first.signals


@given(st.floats(0.1, 3), st.integers(5, 200), st.floats(0.5, 0.99))
@settings(max_examples=25, deadline=None)
def test_more_readings_or_less_confidence_show_more(value: float, n: int, confidence: float) -> None:
    """What is shown grows with the readings and falls with the confidence; Cp lies within its limits."""
    shown = cpk_at_least(value, n, freedom=n - 1, confidence=confidence)
    assert cpk_at_least(value, 2 * n, freedom=2 * n - 1, confidence=confidence) >= shown - 1e-9
    assert cpk_at_least(value, n, freedom=n - 1, confidence=confidence + 0.005) <= shown + 1e-9
    low, high = cp_limits(value, n - 1, confidence)
    assert low < high


def test_what_is_shown_is_true_as_often_as_said() -> None:
    """Of 300 processes with Cpk 1 the 90 % lower limit from the pooled sd lies at or below 1 in 86 to 94 %."""
    draw = np.random.default_rng(8)
    held = 0
    for _ in range(300):
        table = draw.normal(0, 1, (6, 5))
        index = (3 + table.mean()) / (3 * np.sqrt(table.var(axis=1, ddof=1).mean()))
        held += cpk_at_least(float(index), 30, freedom=24, confidence=0.9) <= 1
    assert 0.86 <= held / 300 <= 0.94

"""A reading with a lost digit in the run chart."""

from __future__ import annotations

import re

from firstpull.drawing.run_chart import individuals_chart


def ticks(drawn: str) -> list[float]:
    return [float(text) for text in re.findall(r">(\d+\.\d+)<", drawn)]


def test_a_lost_digit_does_not_flatten_the_chart() -> None:
    """2.15 among 12.15s stands at the edge with its number; the scale still shows the limits apart."""
    drawn = individuals_chart(
        [12.15, 12.16, 2.15, 12.14], centre=12.15, lower=12.05, upper=12.25, window=(12.0, 12.3), unit="mm"
    )
    assert "↓ 2.15" in drawn
    assert not [value for value in ticks(drawn) if 3 < value < 11]


def test_readings_inside_carry_no_number() -> None:
    """Nothing is marked where all lies on the scale."""
    drawn = individuals_chart([12.15, 12.16], centre=12.15, lower=12.05, upper=12.25, unit="mm")
    assert "↓" not in drawn
    assert "↑" not in drawn

"""Sentences of a frozen card in the other unit."""

from __future__ import annotations

import pytest

from firstpull.paper.card_units import in_unit


@pytest.mark.parametrize(
    ("text", "unit", "shown"),
    [
        ("a stack outside 2.15 to 2.20 mm", "in", "a stack outside 0.0846 to 0.0866 in"),
        ("scattering 0.020 mm (one sigma)", "in", "scattering 0.00079 in (one sigma)"),
        ("13.60 N·m at least", "in", "120 lbf·in at least"),
        ("a stack outside 0.0846 to 0.0866 in", "mm", "a stack outside 2.15 to 2.20 mm"),
        ("Pull 1 in the air, 3.5 in all", "mm", "Pull 1 in the air, 3.5 in all"),
        ("M6x1.25 mmm, drill no. 2.5", "in", "M6x1.25 mmm, drill no. 2.5"),
        ("a stack outside 2.15 to 2.20 mm, 6.8 N·m", "mm", "a stack outside 2.15 to 2.20 mm, 6.8 N·m"),
    ],
)
def test_only_lengths_and_torques_change(text: str, unit: str, shown: str) -> None:
    """Lengths and torques are shown in the unit asked for; everything else stays letter by letter."""
    assert in_unit(text, unit) == shown  # type: ignore[arg-type]

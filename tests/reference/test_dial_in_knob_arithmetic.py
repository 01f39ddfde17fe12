"""Common practice, no published source: the knob arithmetic of a dial-in by hand.

A knob of 0.022 in per turn, plus = more stroke, target set length 0.790 in. A trial of 0.895 in is 0.105 in long:
turn +4.77. A trial of 0.784 in is 0.006 in short: turn −0.27. The adviser must say the same when it has nothing to
doubt: exact lead, no play, no click stops, no scatter. Tolerance: half of the last printed digit.
"""

from __future__ import annotations

from typing import Any

import pytest

from firstpull.statistics.dial_in import advise


def _advice(reading: float) -> dict[str, Any]:
    job = {
        "units": "in",
        "insert_nominal_length": 1.025,
        "target_length": 0.790,
        "tolerance": 0.002,
        "knob_lead": 0.022,
        "lead_rel_sd": 0.0001,
        "clicks_per_turn": None,
        "plus_turns": "more_stroke",
        "max_backlash_turns": 0.0,
        "caliper_resolution": 0.0,
        "caliper_sd": 0.00001,
        "insert_length_sd": 0.00001,
        "lot_mean_sd": 0.00001,
        "process_sd": 0.00003,
    }
    history: list[dict[str, Any]] = [{"type": "dry_cycle"}] * 6
    history = [*history, {"type": "pull", "reading": reading, "readings": [reading, reading]}]
    return advise({"v": 1, "job": job, "history": history})


def test_trial_of_0_895_in_is_4_77_turns_more() -> None:
    """A trial 0.105 in long is corrected by +4.77 turns."""
    assert _advice(0.895)["turns"] == pytest.approx(4.77, abs=0.005)


def test_trial_of_0_784_in_is_0_27_turn_less() -> None:
    """A trial 0.006 in short is corrected by −0.27 turn."""
    assert _advice(0.784)["turns"] == pytest.approx(-0.27, abs=0.005)

"""Our own numbers: a recorded practice job must replay the same readings with every later version."""

from __future__ import annotations

from firstpull.practice import Nominals, SimulatedTool

JOB = Nominals(start_long_mm=0.45)


def test_seed_7_replays() -> None:
    """The readings of the steady tool with seed 7 are pinned, so that recorded practice jobs keep their meaning."""
    simulated = SimulatedTool.from_seed(7, "steady", nominals=JOB)
    readings = [(simulated.next_length_before_mm, simulated.pull().reading_mm)]
    simulated.turn_clicks(11)
    readings += [(simulated.next_length_before_mm, simulated.pull().reading_mm) for _ in range(2)]
    assert readings == [(15.5, 11.74), (15.52, 11.31), (15.54, 11.31)]


def test_seed_7_misreads_replay() -> None:
    """Misreads are pinned too: the third reading of the first insert is a whole millimetre off."""
    simulated = SimulatedTool.from_seed(7, "misreading", nominals=JOB)
    assert simulated.pull().readings_mm == (11.74, 11.77, 12.75, 11.73, 11.74, 11.75)
    assert simulated.coupon().torque_to_turn_nm == 3.4

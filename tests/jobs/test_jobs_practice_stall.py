"""A practice tool that is short of air is not taken for dialled in: it stalls in the stack and the advice says so."""

from __future__ import annotations

from pathlib import Path

import pytest

from firstpull.jobs import practice_bench
from firstpull.jobs.workshop import Doing, Workshop


@pytest.mark.parametrize("seed", [100, 101, 103, 109])
def test_a_tool_short_of_air_is_refused_as_stalled(tmp_path: Path, seed: int) -> None:
    """Fine in the air, long in the stack: whoever follows the advice is told to stop, and why."""
    doing = Doing("Ada")
    book = Workshop(tmp_path).practice
    state = practice_bench.start(book, doing=doing, temperament="short of air", seed=seed)
    state = practice_bench.follow_advice(book, state.id, practice_bench.simulated_tool(state), doing=doing)
    assert practice_bench.simulated_tool(state).truth().stalls_in_stack
    assert state.advice is not None
    assert (state.advice["action"], state.advice.get("reason")) == ("refuse", "stalled")

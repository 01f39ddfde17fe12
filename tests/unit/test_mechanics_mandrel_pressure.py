"""Mandrel engagement and margins, and the pressure ladder."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firstpull.errors import BadInput, Unsafe
from firstpull.mechanics.mandrel import mandrel_plan, mandrel_stiffness_kn_per_mm
from firstpull.mechanics.pressure import pressure_ladder
from firstpull.trade.threads import strip_areas, thread
from firstpull.units import parse_length as length
from mechanics_examples import KNOB, M6, SQUEEZE


def test_an_open_end_engages_all_threads() -> None:
    """6.5 mm of M6x1 are 6.5 threads, with the mandrel's end at the far end."""
    plan = mandrel_plan(M6, setting_load_n=6000)
    assert (plan.engaged_threads, plan.engagement_mm) == (6.5, 6.5)
    assert "at, or just beyond" in plan.steps[1].text
    assert plan.warnings == ()


def test_a_closed_end_loses_one_and_a_half_turns() -> None:
    """To the bottom, then back 1½ turns: 5 of 6.5 threads stay, fewer than 6 and warned of."""
    plan = mandrel_plan(replace(M6, end="closed"), setting_load_n=6000)
    assert (plan.engaged_threads, plan.engagement_mm) == (5.0, 5.0)
    assert "back off 1½ turns" in plan.steps[1].text
    assert "no oil" in plan.steps[1].text
    assert any("fewer than 6" in warning for warning in plan.warnings)


def test_the_strip_margin_is_the_weaker_threads_area_times_its_shear_strength() -> None:
    """A steel insert on a hard mandrel strips first, at its area times 216 MPa."""
    plan = mandrel_plan(M6, setting_load_n=6000)
    area = strip_areas(thread("M6"), 6.5).internal_area_mm2
    assert plan.weaker == "insert"
    assert plan.strip_margin == pytest.approx(area * 216 / 6000, abs=1e-4)
    assert plan.tension_margin == pytest.approx(thread("M6").stress_area_mm2 * 970 / 6000, abs=1e-4)
    assert any("0.577" in text for text in plan.assumptions)


def test_small_margins_are_warned_of() -> None:
    """Below 1.25 both the threads and the mandrel are warned of."""
    plan = mandrel_plan(M6, setting_load_n=18_000, mandrel_class="8.8")
    assert any("engaged threads stand only" in warning for warning in plan.warnings)
    assert any("proof load" in warning for warning in plan.warnings)


def test_what_is_not_known_is_said() -> None:
    """Thread length, material and load that are not known leave the margin open, each with its sentence."""
    assert mandrel_plan(replace(M6, thread_length=None), setting_load_n=6000).engaged_threads is None
    unknown = mandrel_plan(replace(M6, material="moon cheese"), setting_load_n=6000)
    assert unknown.strip_margin is None
    assert any("moon cheese" in warning for warning in unknown.warnings)
    assert any("setting load is not known" in warning for warning in mandrel_plan(M6, setting_load_n=None).warnings)


def test_a_closed_end_with_no_thread_left_engages_nothing() -> None:
    """1½ turns back from 1.5 mm of thread leaves nothing, and it is warned of."""
    plan = mandrel_plan(replace(M6, end="closed", thread_length=length("1.5 mm")), setting_load_n=6000)
    assert plan.engaged_threads == 0.0
    assert plan.strip_margin is None


def test_a_mandrel_of_no_length_is_refused() -> None:
    """Stiffness needs a length."""
    with pytest.raises(BadInput):
        mandrel_stiffness_kn_per_mm("M6", length_mm=0)


def test_the_ladder_climbs_evenly_from_load_to_limit() -> None:
    """3000 mm² · 6 · 0.9 is 1620 N a bar: from 6000 N to 9720 N in even steps, upward."""
    ladder = pressure_ladder(SQUEEZE, load_low_n=6000, load_high_n=9720, rungs=4)
    assert [rung.pressure_bar for rung in ladder.rungs] == [3.704, 4.469, 5.235, 6.0]
    assert ladder.rungs[0].load_n == 6000
    assert ladder.rungs[-1].load_n == 9720
    assert any("Never find the pressure by pulling in the air" in step.text for step in ladder.steps)
    assert any("turning test" in text for text in ladder.judged_by)


def test_the_ladder_ends_at_what_the_tool_may_have() -> None:
    """The rated pressure, the inlet pressure and the greatest load each cut the ladder, and it is said."""
    assert pressure_ladder(SQUEEZE, load_low_n=6000, load_high_n=20_000).upper_pressure_bar == 6.0
    rated = replace(SQUEEZE, line_pressure_bar=None)
    assert pressure_ladder(rated, load_low_n=6000, load_high_n=20_000).upper_pressure_bar == 7.0
    weak = replace(rated, load_max_n=8100)
    ladder = pressure_ladder(weak, load_low_n=6000, load_high_n=20_000)
    assert ladder.upper_pressure_bar == 5.0
    assert any("greatest load" in warning for warning in ladder.warnings)


def test_no_pressure_serves_when_the_limits_cross_or_the_tool_is_weak() -> None:
    """A floor above the ceiling, or above the tool, is Unsafe with its numbers."""
    with pytest.raises(Unsafe, match="No pull serves"):
        pressure_ladder(SQUEEZE, load_low_n=9000, load_high_n=8000)
    with pytest.raises(Unsafe, match="cannot pull hard enough"):
        pressure_ladder(SQUEEZE, load_low_n=15_000, load_high_n=20_000)


def test_a_ladder_needs_a_described_force_set_tool() -> None:
    """A stroke-set tool, an undescribed piston and a strange number of rungs are refused."""
    with pytest.raises(BadInput, match="Only a force-set"):
        pressure_ladder(KNOB, load_low_n=1, load_high_n=2)
    with pytest.raises(BadInput, match="pull per pressure"):
        pressure_ladder(replace(SQUEEZE, ratio=None), load_low_n=1, load_high_n=2)
    with pytest.raises(BadInput, match="rungs"):
        pressure_ladder(SQUEEZE, load_low_n=1, load_high_n=2, rungs=1)

"""What the record teaches never says more than its readings, and says less as time goes by."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from firstpull.statistics.learning import KnobPull, KnobSession, Level, Lot, knob_known, lengths_known, level_after

PLACES = st.lists(st.floats(0.0, 3.0), min_size=2, max_size=6)
STATED = {"lead_mm": 0.5, "lead_rel_sd": 0.03, "process_sd_mm": 0.02}


def sessions(places: list[list[float]]) -> list[KnobSession]:
    """One session a week, strokes on the stated line."""
    return [
        KnobSession(7.0 * week, tuple(KnobPull(x, 0, 5, 4.0 + 0.5 * x, 2e-4) for x in row))
        for week, row in enumerate(places)
    ]


@given(st.lists(PLACES, max_size=8))
def test_the_lead_is_never_surer_than_all_its_readings(places: list[list[float]]) -> None:
    """The doubt of the lead is at least that of the stated one and all readings together, each as sure as can be."""
    known = knob_known(sessions(places), today=7.0 * len(places), **STATED)
    surest = 2e-4 + 0.36 * 0.02**2
    told = sum(sum((0.5 * (x - sum(row) / len(row))) ** 2 for x in row) for row in places) / surest
    assert known.ratio_sd**2 >= 1.0 / (1.0 / 0.03**2 + told) * (1 - 1e-9)


@given(st.lists(PLACES, min_size=1, max_size=5), st.floats(0.0, 2000.0), st.floats(0.0, 2000.0))
def test_the_longer_ago_the_less_is_known(places: list[list[float]], rest: float, more: float) -> None:
    """With every day of rest the lead is more doubtful and the scatter nearer to what was stated."""
    last = 7.0 * len(places)
    soon = knob_known(sessions(places), today=last + rest, **STATED)
    late = knob_known(sessions(places), today=last + rest + more, **STATED)
    assert late.ratio_sd >= soon.ratio_sd - 1e-12
    assert late.freedom <= soon.freedom + 1e-12
    assert abs(late.process_sd_mm - 0.02) <= abs(soon.process_sd_mm - 0.02) + 1e-12


@given(st.lists(st.lists(st.floats(15.3, 15.7), min_size=1, max_size=6), max_size=10))
def test_lengths_never_claim_more_than_a_floor(lots: list[list[float]]) -> None:
    """However alike the lots were, neither scatter falls below 0.4 of what was stated."""
    known = lengths_known(
        [Lot(float(day), tuple(row)) for day, row in enumerate(lots)],
        today=20.0,
        nominal_mm=15.5,
        caliper_sd_mm=0.01,
        within_sd_mm=0.04,
        lot_sd_mm=0.06,
    )
    assert known.within_sd_mm >= 0.4 * 0.04 - 1e-12
    assert known.lot_sd_mm >= 0.4 * 0.06 - 1e-12


@given(st.floats(-0.3, 0.3), st.floats(0.005, 0.2), st.floats(-0.3, 0.3), st.floats(0.005, 0.2), st.floats(0, 900))
def test_a_shift_is_never_surer_than_both_findings(a: float, sd_a: float, b: float, sd_b: float, days: float) -> None:
    """Two findings of the shift together are at most as sure as their weights say, and surer soon than late."""
    found = level_after(Level(a, sd_a), Level(b, sd_b), days=days)
    assert found.sd_mm**2 >= 1 / (1 / sd_a**2 + 1 / sd_b**2) * (1 - 1e-9)
    both = level_after(Level(a, sd_a), Level(a, sd_b), days=days)
    assert both.sd_mm >= level_after(Level(a, sd_a), Level(a, sd_b), days=0.0).sd_mm - 1e-12

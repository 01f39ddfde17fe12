"""What earlier sessions teach: cases worked by hand."""

from __future__ import annotations

import math

import pytest

from firstpull.errors import BadInput
from firstpull.statistics.learning import (
    KnobPull,
    KnobSession,
    Level,
    Lot,
    knob_known,
    lengths_known,
    level_after,
)

STATED = {"lead_mm": 0.5, "lead_rel_sd": 0.03, "process_sd_mm": 0.02}


def session(day: float, ratio: float, *, places: tuple[float, ...] = (0.0, 2.0, 4.0)) -> KnobSession:
    """Pulls without scatter at these places, warm, the cycles' part left out."""
    return KnobSession(day, tuple(KnobPull(turns, 0, 9, 3.0 + 0.5 * ratio * turns, 1e-6) for turns in places))


def test_without_sessions_what_was_stated_stands() -> None:
    """No session: the lead as stated with its doubt, the scatter as stated, no drift."""
    known = knob_known([], today=100.0, **STATED)
    assert (known.ratio, known.sessions, known.freedom) == (1.0, 0, 0.0)
    assert known.ratio_sd == pytest.approx(0.03)
    assert known.process_sd_mm == pytest.approx(0.02)


def test_two_pulls_two_turns_apart_give_the_weighted_lead() -> None:
    """Two pulls two turns apart, 1 mm of travel: doubt 0.02·√2 against 0.03, so the share is 0.0009/(0.0009 + 0.0008)."""
    known = knob_known([session(100.0, 1.017, places=(0.0, 2.0))], today=100.0, **STATED)
    share = 0.03**2 / (0.03**2 + 2 * (0.02**2 + 1e-6))
    # no time has passed, one session's walk is to come
    assert known.ratio == pytest.approx(1 + 0.017 * share, abs=1e-5)
    assert known.ratio_sd == pytest.approx(math.sqrt(0.03**2 * (1 - share) + 0.001**2), rel=1e-3)


def test_a_changed_tool_is_learned_anew() -> None:
    """After ten sessions at one lead the first at another is odd and widens; three more bring the new lead."""
    old = [session(float(day), 1.02) for day in range(10)]
    before = knob_known(old, today=10.0, **STATED)
    once = knob_known([*old, session(10.0, 0.90)], today=10.0, **STATED)
    later = knob_known([*old, *(session(10.0 + day, 0.90) for day in range(4))], today=14.0, **STATED)
    assert abs(before.ratio - 1.02) < 0.003
    assert once.odd == 1
    assert once.ratio_sd > before.ratio_sd
    assert abs(later.ratio - 0.90) < 0.02


def test_a_wild_pull_does_not_count() -> None:
    """A pull half a millimetre off that nobody struck out leaves the lead as it is without it."""
    good = session(0.0, 1.0)
    wild = KnobSession(0.0, (*good.pulls, KnobPull(4.0, 0, 9, 3.0 + 2.0 - 0.5, 1e-6)))
    assert knob_known([wild], today=0.0, **STATED) == knob_known([good], today=0.0, **STATED)


def test_scatter_is_pooled_with_the_stated_one() -> None:
    """Four pulls at one place with a sum of squares s² over 3 degrees: (6·0.0004 + ratio)/9 of what was stated."""
    off = (0.03, -0.03, 0.03, -0.03)
    pulls = tuple(KnobPull(0.0, 0, 9, 4.0 + value, 0.0) for value in off)
    known = knob_known([KnobSession(5.0, pulls)], today=5.0, **STATED)
    assert known.process_sd_mm == pytest.approx(math.sqrt((6 * 0.0004 + 4 * 0.0009) / 9), rel=1e-6)


def test_lengths_of_one_lot_by_hand() -> None:
    """Lengths 15.46 and 15.54 of nominal 15.5 with a perfect caliper: within² = (6·0.0016 + 0.0032)/7."""
    known = lengths_known(
        [Lot(0.0, (15.46, 15.54))],
        today=0.0,
        nominal_mm=15.5,
        caliper_sd_mm=0.0,
        within_sd_mm=0.04,
        lot_sd_mm=0.06,
    )
    assert known.within_sd_mm == pytest.approx(math.sqrt((6 * 0.0016 + 0.0032) / 7))
    assert known.lot_sd_mm == pytest.approx(math.sqrt(6 * 0.0036 / 7))
    assert (known.lots, known.lengths) == (1, 2)


def test_lots_far_from_nominal_widen_the_lot() -> None:
    """Lots whose means lie 0.2 mm off make a lot's mean more doubtful than was stated."""
    lots = [Lot(float(day), (15.7 if day % 2 else 15.3,) * 3) for day in range(6)]
    known = lengths_known(lots, today=6.0, nominal_mm=15.5, caliper_sd_mm=0.01, within_sd_mm=0.04, lot_sd_mm=0.06)
    assert known.lot_sd_mm > 0.1


def test_a_level_is_the_weighted_mean() -> None:
    """0.10 ± 0.03 after 0.10 ± 0.03 at once: the walk of 0.01 is added to the first before it is weighed."""
    found = level_after(Level(0.10, 0.03), Level(0.13, 0.03), days=0.0)
    old = 0.03**2 + 0.01**2
    share = old / (old + 0.03**2)
    assert found.mean_mm == pytest.approx(0.10 + 0.03 * share)
    assert found.sd_mm == pytest.approx(math.sqrt(share) * 0.03)


def test_a_level_that_jumped_is_the_new_one_with_more_doubt() -> None:
    """0.5 mm from what was known: the newer stands and is doubted."""
    found = level_after(Level(0.1, 0.02), Level(0.6, 0.02), days=1.0)
    assert found.mean_mm == 0.6
    assert found.sd_mm > 0.1


def test_a_lead_of_nothing_is_refused() -> None:
    """A lead of 0 says nothing that could be learned."""
    with pytest.raises(BadInput):
        knob_known([], today=0.0, lead_mm=0.0, lead_rel_sd=0.03, process_sd_mm=0.02)

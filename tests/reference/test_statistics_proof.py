"""Proof: guard bands and sequential plans.

[1] JCGM 106:2012, 7.4 (example of the diode: −5.47 V measured with u = 0.05 V, limit −5.40 V: 92 %); value from memory.
[2] ISO 14253-1:2017: guard band 1.65 u for 95 %; from memory.
[3] NIST/SEMATECH e-Handbook of Statistical Methods 6.2.6: sequential plan for 0.01 and 0.10, risks 0.05 and 0.10: lines
    0.0397 n − 0.939 and 0.0397 n + 1.205, table of acceptance and rejection numbers; from memory.
[4] A. Wald, Sequential Analysis (1947), 5.3: plan for 0.1 and 0.3, risks 0.02 and 0.03: 0.186 n − 2.58 and
    0.186 n + 2.88; from memory.
[5] Success run: data/statistics_success_run.csv, n = ln(1 − C)/ln R.
[6] D. Deaver, guardbanding with confidence (1994): false acceptance and rejection for a normal process with limits at 2 or
    2.5 sigma and 1/4, 1/2 or 1 sigma of uncertainty; values as a public library for metrology checks against them.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from firstpull.statistics.guard_bands import conformance, guarded_limits, risks
from firstpull.statistics.sequential import outcome, probability_ratio_plan, success_run_plan

DATA = Path(__file__).parent / "data"


def test_jcgm_106_diode() -> None:
    """92 % chance to conform: not proven at 95 %, not disproven either."""
    result = conformance(-5.47, 0.05, high=-5.40)
    assert result.chance == pytest.approx(0.92, abs=0.005)
    assert result.verdict == "open"


def test_iso_14253_1_guard_band() -> None:
    """1.65 u on each side, when the limits are wide."""
    band = guarded_limits(0.01, low=9.0, high=11.0)
    assert band.guard_band == pytest.approx(0.0165, abs=5.5e-5)
    assert band.low == pytest.approx(9.0165, abs=5.5e-5)
    assert band.high == pytest.approx(10.9835, abs=5.5e-5)


@pytest.mark.parametrize(
    ("limit", "ratio", "guard", "consumer", "half"),
    [
        (2.0, 4.0, 1.0, 0.008, 1e-4),
        (2.5, 4.0, 1.0, 0.0025, 1e-4),
        (2.5, 1.0, 1.0, 0.005, 1e-3),
        (2.0, 2.0, 0.91, 0.008, 5e-4),
    ],
)
def test_false_acceptance_of_deaver(limit: float, ratio: float, guard: float, consumer: float, half: float) -> None:
    """0.8 %, 0.25 %, 0.5 % and with a guard band of 9 % again 0.8 %, of [6], as finely as they are held there."""
    found = risks(1 / ratio, mean=0, sd=1, low=-limit, high=limit, guard_band=(1 - guard) * limit)
    assert found.consumer == pytest.approx(consumer, abs=half)


def test_false_rejection_of_deaver() -> None:
    """1.5 % at a ratio of 4 and 6.6 % at a ratio of 2 with a guard band of 9 %."""
    assert risks(0.25, mean=0, sd=1, low=-2, high=2).producer == pytest.approx(0.015, abs=5e-4)
    assert risks(0.5, mean=0, sd=1, low=-2, high=2, guard_band=0.18).producer == pytest.approx(0.066, abs=1e-3)


def test_sequential_plan_of_the_handbook() -> None:
    """The lines of [3] are met to half their last digit and the plan accepts and rejects where its table does."""
    plan = probability_ratio_plan(0.99, 0.90, producer=0.05, consumer=0.10)
    assert plan.slope == pytest.approx(0.0397, abs=5e-5)
    assert plan.accept_at == pytest.approx(0.939, abs=5e-4)
    assert plan.reject_at == pytest.approx(1.205, abs=5e-4)
    assert plan.accept.index(0) + 1 == 24
    assert plan.accept.index(1) + 1 == 49
    assert [plan.reject[n - 1] for n in (2, 19, 20, 45, 46)] == [2, 2, 3, 3, 4]


def test_sequential_plan_of_wald() -> None:
    """The lines of [4] are met to half their last digit."""
    plan = probability_ratio_plan(0.9, 0.7, producer=0.02, consumer=0.03)
    assert plan.slope == pytest.approx(0.186, abs=5e-4)
    assert plan.accept_at == pytest.approx(2.58, abs=0.005)
    assert plan.reject_at == pytest.approx(2.88, abs=0.005)


def test_success_runs_keep_their_promise_when_stopped_early() -> None:
    """For each printed success run the plan takes that many coupons and accepts at most 1 − C of lots at R."""
    with (DATA / "statistics_success_run.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    names = list(rows[0])
    for row in rows:
        reliability, confidence = float(row[names[0]]), float(row[names[1]])
        plan = success_run_plan(reliability, confidence)
        result = outcome(plan, reliability)
        assert result.accepted <= 1 - confidence + 1e-12
        assert result.accepted == pytest.approx(reliability**plan.most, rel=1e-9)
        assert result.mean_coupons < plan.most

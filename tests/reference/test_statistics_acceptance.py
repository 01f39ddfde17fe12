"""Success run and exact binomial limits.

[1] n = ln(1 − C)/ln R: NIST/SEMATECH e-Handbook of Statistical Methods, 8.3.1.1; values tabulated in
    data/statistics_success_run.csv (recomputed; R = 0.95, C = 0.90 → 45 is printed in several public test plans).
[2] Common practice in sampling plans: 59 good ones show 95 % at 95 %, 299 show 99 % at 95 %.
[3] C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404–413: the limit solves the binomial tail; worked here for
    93 trials with 1 failure, the usual “95/95, one failure allowed” (common practice).
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from firstpull.statistics.acceptance import reliability_shown, shown_text, success_run_count, success_run_exact

DATA = Path(__file__).parent / "data"


def test_success_run_table() -> None:
    """Each tabulated run is met, exact number to half its last digit and whole number exactly."""
    with (DATA / "statistics_success_run.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            share, sure = float(row["reliability"]), float(row["confidence"])
            assert success_run_exact(share, sure) == pytest.approx(float(row["n_exact"]), abs=5.1e-5)
            assert success_run_count(share, sure) == int(row["n"])


def test_forty_five_show_95_at_90() -> None:
    """45 good ones show 95 % at 90 % confidence [1]."""
    assert success_run_count(0.95, 0.90) == 45


@pytest.mark.parametrize(("share", "n"), [(0.95, 59), (0.99, 299)])
def test_59_and_299(share: float, n: int) -> None:
    """59 good ones show 95 % and 299 show 99 %, both at 95 % confidence [2]."""
    assert success_run_count(share, 0.95) == n
    assert reliability_shown(n, 0.95) >= share > reliability_shown(n - 1, 0.95)


@pytest.mark.parametrize(("passed", "percent"), [(3, 36.8), (5, 54.9)])
def test_three_and_five_good_coupons(passed: int, percent: float) -> None:
    """3 good coupons alone show 36.8 % and 5 show 54.9 % at 95 % confidence."""
    assert 100 * reliability_shown(passed, 0.95) == pytest.approx(percent, abs=0.05)


def test_the_sentence_on_the_card() -> None:
    """The proof is said in one sentence with what is still needed."""
    assert (
        shown_text(3, 0.95, wanted=0.95)
        == "3 good coupons alone show 36.8 % reliability at 95 % confidence; 95 % needs 59."
    )


def test_one_failure_needs_93() -> None:
    """With one failure, 93 coupons show 95 % at 95 % and 92 do not [3]."""
    assert success_run_count(0.95, 0.95, failed=1) == 93
    assert reliability_shown(92, 0.95, failed=1) >= 0.95 > reliability_shown(91, 0.95, failed=1)

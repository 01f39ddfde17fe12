"""Lives compared: lognormal by hand and by another program, two kinds of part."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from firstpull.errors import BadInput
from firstpull.statistics.life_comparison import compare_lives, lognormal_fit
from firstpull.statistics.weibull import weibull_fit

LIVES = [17.88, 28.92, 33.0, 41.52, 42.12, 45.6, 48.48, 51.84, 51.96, 54.12, 55.56, 67.8]


def test_a_complete_lognormal_is_mean_and_sd_of_the_logarithms() -> None:
    """Without running parts the answer is in closed form."""
    fit = lognormal_fit(LIVES)
    logs = np.log(LIVES)
    assert math.log(fit.median) == pytest.approx(float(logs.mean()), abs=1e-8)
    assert fit.sigma == pytest.approx(float(logs.std()), rel=1e-7)
    by_hand = float(stats.lognorm.logpdf(LIVES, float(logs.std()), scale=math.exp(float(logs.mean()))).sum())
    assert fit.loglikelihood == pytest.approx(by_hand, abs=1e-9)


def test_running_parts_as_another_program_counts_them() -> None:
    """Censored likelihood of SciPy is nowhere higher, and equal at our answer."""
    fit = lognormal_fit(LIVES, [60.0, 70.0, 80.0])

    def likelihood(mu: float, sigma: float) -> float:
        done = stats.norm.logpdf(np.log(LIVES), mu, sigma) - np.log(LIVES)
        return float(done.sum() + stats.norm.logsf(np.log([60.0, 70.0, 80.0]), mu, sigma).sum())

    mu = math.log(fit.median)
    assert likelihood(mu, fit.sigma) == pytest.approx(fit.loglikelihood, abs=1e-9)
    for shift, scale in ((1e-3, 1.0), (-1e-3, 1.0), (0.0, 1.002), (0.0, 0.998)):
        assert likelihood(mu + shift, fit.sigma * scale) < fit.loglikelihood


def test_equal_kinds_do_not_differ_and_three_times_longer_ones_do() -> None:
    """The ratio statistic of a kind with itself is 0; three times as long is told with the ratio 3."""
    same = compare_lives((LIVES, ()), (LIVES, ()))
    assert (same.statistic, same.differ) == (pytest.approx(0.0, abs=1e-9), False)
    longer = compare_lives((LIVES, [60.0]), ([3 * t for t in LIVES], [180.0]))
    assert longer.differ
    assert longer.scale_ratio == pytest.approx(3.0, rel=1e-9)
    assert longer.first.scale.value == pytest.approx(weibull_fit(LIVES, [60.0]).scale.value, rel=1e-12)


def test_alike_lives_are_told_apart_about_as_seldom_as_said() -> None:
    """Of 400 drawn pairs that live alike 5 % are told apart at 95 %, a little more with 15 failures each."""
    generator = np.random.default_rng(57)
    told = sum(
        compare_lives(
            ([float(t) for t in generator.weibull(2.0, 15)], ()), ([float(t) for t in generator.weibull(2.0, 15)], ())
        ).differ
        for _ in range(400)
    )
    assert 0.02 <= told / 400 <= 0.10


@pytest.mark.parametrize(
    ("ended", "going"), [([5.0], [6.0]), ([5.0, 5.0], []), ([1.0, math.nan], []), ([1.0, -2.0], [])]
)
def test_lives_that_tell_nothing(ended: list[float], going: list[float]) -> None:
    """One failure, equal ones, or what is no life."""
    with pytest.raises(BadInput) as caught:
        lognormal_fit(ended, going)
    assert caught.value.where.startswith("failures")

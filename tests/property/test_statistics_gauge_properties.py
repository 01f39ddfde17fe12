"""Properties of gauge studies: unit-free, order-free, and limits that hold as often as they say."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.errors import FirstpullError
from firstpull.statistics.gauge_bias import linearity_study
from firstpull.statistics.gauge_readings import GaugeReading
from firstpull.statistics.gauge_study import GaugeStudy, gauge_study_anova, gauge_study_range
from firstpull.statistics.share_limits import share_limits
from firstpull.statistics.variance_limits import MeanSquare, variance_limits

METHODS = (gauge_study_anova, gauge_study_range)


def _study(seed: int, *, shape: tuple[int, int, int] = (5, 3, 3)) -> list[GaugeReading]:
    draw = np.random.default_rng(seed)
    part, who = draw.normal(0, 1, shape[0]), draw.normal(0, 0.3, shape[1])
    return [
        GaugeReading(f"p{i}", f"a{j}", float(part[i] + who[j] + draw.normal(0, 0.2)))
        for i in range(shape[0])
        for j in range(shape[1])
        for _ in range(shape[2])
    ]


def _sds(study: GaugeStudy) -> list[float]:
    return [study.repeatability.sd, study.reproducibility.sd, study.gauge.sd, study.part.sd, study.total.sd]


@given(st.integers(0, 10_000), st.floats(-100, 100), st.floats(0.01, 100))
@settings(max_examples=25, deadline=None)
def test_shift_and_scale(seed: int, shift: float, scale: float) -> None:
    """A shift changes no component; a scale multiplies each and leaves the shares alone."""
    readings = _study(seed)
    moved = [GaugeReading(r.part, r.appraiser, shift + scale * r.value) for r in readings]
    for method in METHODS:
        first, second = method(readings), method(moved)
        assert _sds(second) == pytest.approx([scale * sd for sd in _sds(first)], rel=1e-6, abs=1e-7 * scale)
        assert second.gauge.study_percent == pytest.approx(first.gauge.study_percent, rel=1e-6)


@given(st.integers(0, 10_000), st.randoms(use_true_random=False))
@settings(max_examples=15, deadline=None)
def test_order_does_not_matter(seed: int, order: object) -> None:
    """The readings may come in any order."""
    readings = _study(seed)
    mixed = list(readings)
    order.shuffle(mixed)  # type: ignore[attr-defined]
    for method in METHODS:
        assert _sds(method(mixed)) == pytest.approx(_sds(method(readings)), rel=1e-9, abs=1e-12)


@given(st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_limits_enclose_the_estimate(seed: int) -> None:
    """Each sd lies within its limits, which widen with the confidence."""
    readings = _study(seed)
    narrow, wide = (gauge_study_anova(readings, confidence=sure) for sure in (0.8, 0.99))
    for a, b in ((narrow.gauge, wide.gauge), (narrow.repeatability, wide.repeatability), (narrow.part, wide.part)):
        assert a.sd_low is not None
        assert a.sd_high is not None
        assert b.sd_low is not None
        assert b.sd_high is not None
        assert b.sd_low <= a.sd_low <= a.sd <= a.sd_high <= b.sd_high


@pytest.mark.parametrize(
    ("coefficients", "freedoms", "means"),
    [((1.0, 2.0), (2, 30), (3.0, 1.0)), ((0.1, -0.1), (2, 60), (4.0, 1.0)), ((0.1, 0.9, 0.5), (2, 18, 60), (5, 2, 1))],
)
def test_limits_hold_as_often_as_they_say(
    coefficients: tuple[float, ...], freedoms: tuple[int, ...], means: tuple[float, ...]
) -> None:
    """Of 1500 simulated studies the 90 % limits hold the true variance in 87 % or more."""
    draw = np.random.default_rng(20)
    true = sum(c * m for c, m in zip(coefficients, means, strict=True))
    held = 0
    for _ in range(1500):
        terms = [
            MeanSquare(c, m * float(draw.chisquare(f)) / f, f)
            for c, f, m in zip(coefficients, freedoms, means, strict=True)
        ]
        limits = variance_limits(terms, 0.90)
        held += limits.low <= true <= limits.high
    assert held / 1500 >= 0.87


@given(st.lists(st.tuples(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3)), max_size=20))
@settings(max_examples=50, deadline=None)
def test_linearity_is_finite_or_refused(points: list[tuple[float, float]]) -> None:
    """Any points give finite numbers or one of our errors."""
    try:
        line = linearity_study(points)
    except FirstpullError:
        return
    assert np.isfinite([line.slope, line.intercept, line.t_slope, *(p.high for p in line.band)]).all()


def test_components_are_true_on_average() -> None:
    """Over 400 studies with a strong interaction the variances of repeatability, interaction and parts are met on average."""
    draw = np.random.default_rng(77)
    true = {"repeatability": 0.04, "interaction": 0.25, "part": 1.0, "appraiser": 0.5}
    found: dict[str, list[float]] = {name: [] for name in true}
    for _ in range(400):
        part, who = draw.normal(0, 1, 8), draw.normal(0, true["appraiser"] ** 0.5, 4)
        both = draw.normal(0, 0.5, (8, 4))
        study = gauge_study_anova(
            [
                GaugeReading(f"{i}", f"{j}", float(part[i] + who[j] + both[i, j] + draw.normal(0, 0.2)))
                for i in range(8)
                for j in range(4)
                for _ in range(2)
            ],
            pool_above=1,
        )
        assert study.interaction is not None
        for name, value in (
            ("repeatability", study.repeatability),
            ("interaction", study.interaction),
            ("part", study.part),
            ("appraiser", study.appraiser),
        ):
            found[name].append(value.sd**2)
    for name, values in found.items():
        error = float(np.std(values)) / np.sqrt(len(values))
        assert float(np.mean(values)) == pytest.approx(true[name], abs=4 * error), name


@pytest.mark.parametrize("people", [3, 6])
def test_limits_of_the_gauge_share_hold_as_often_as_they_say(people: int) -> None:
    """Of 400 simulated studies the 90 % limits of gauge sd over total sd hold the true share in 86 to 96 %."""
    draw = np.random.default_rng(2000)
    p, r = 10, 3
    error, crossed, who, part = 0.04, 0.01, 0.04, 1.0
    expected = (
        error + r * crossed + people * r * part,
        error + r * crossed + p * r * who,
        error + r * crossed,
        error,
    )
    freedoms = (p - 1, people - 1, (p - 1) * (people - 1), p * people * (r - 1))
    sums = {
        "gauge": (0.0, 1 / (p * r), (p - 1) / (p * r), 1 - 1 / r),
        "part": (1 / (people * r), 0.0, -1 / (people * r), 0.0),
    }
    true = ((error + crossed + who) / (error + crossed + who + part)) ** 0.5
    held = 0
    for _ in range(400):
        squares = [m * float(draw.chisquare(f)) / f for m, f in zip(expected, freedoms, strict=True)]
        parts = {
            name: [MeanSquare(c, ms, f) for c, ms, f in zip(terms, squares, freedoms, strict=True) if c]
            for name, terms in sums.items()
        }
        found = share_limits(parts, ("gauge", "part"), confidence=0.90)["gauge"]
        held += found.low <= true <= found.high
    assert 0.86 <= held / 400 <= 0.96


@given(st.integers(0, 10_000))
@settings(max_examples=15, deadline=None)
def test_share_limits_enclose_the_share(seed: int) -> None:
    """Each share lies within its limits, between 0 and 100 %, and a study whose people all agree has none."""
    study = gauge_study_anova(_study(seed), confidence=0.9)
    for part in (study.gauge, study.part, study.repeatability):
        assert part.study_percent_low is not None
        assert part.study_percent_high is not None
        assert 0 <= part.study_percent_low <= part.study_percent <= part.study_percent_high <= 100 + 1e-9

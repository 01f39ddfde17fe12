"""Measured values in stages: both promises, and what is saved."""

from __future__ import annotations

import numpy as np
import pytest

from firstpull.errors import BadInput
from firstpull.statistics.measured_stages import judge_measured, measured_outcome, measured_plan
from firstpull.statistics.tolerance_intervals import one_sided_factor

LOTS = 20_000


def test_one_stage_is_the_tolerance_factor() -> None:
    """With one stage it is accepted at the one-sided factor, and one reading fewer would break a promise."""
    plan = measured_plan(0.999, 0.99, stages=1)
    (stage,) = plan.stages
    assert (stage.n, plan.single) == (88, 88)
    assert stage.accept == one_sided_factor(88, 0.99, 0.95)
    assert one_sided_factor(87, 0.99, 0.95) > one_sided_factor(87, 0.999, 0.05) > 0
    assert one_sided_factor(88, 0.99, 0.95) <= one_sided_factor(88, 0.999, 0.05)


@pytest.mark.parametrize(("good", "least", "stages"), [(0.999, 0.99, 4), (0.999, 0.95, 3), (0.99, 0.80, 2)])
def test_both_promises_hold(good: float, least: float, stages: int) -> None:
    """Of lots at the edge at most 5 % are accepted, of good ones at most 5 % refused: 20 000 drawn lots each."""
    plan = measured_plan(good, least, confidence=0.95, producer=0.05, stages=stages)
    generator = np.random.default_rng(39511)
    edge = measured_outcome(plan, least, generator=generator, lots=LOTS)
    fine = measured_outcome(plan, good, generator=generator, lots=LOTS)
    assert edge.accepted <= 0.05 + 3 * edge.standard_error
    assert 1 - fine.accepted <= 0.05 + 3 * fine.standard_error
    assert edge.accepted > 0.02  # the sum of the risks is not far above the risk: little is given away


def test_one_stage_spends_all_its_risk() -> None:
    """With one stage the risk at the edge is 5 % exactly, within three standard errors."""
    plan = measured_plan(0.999, 0.99, stages=1)
    found = measured_outcome(plan, 0.99, generator=np.random.default_rng(7), lots=LOTS)
    assert found.accepted == pytest.approx(0.05, abs=3 * found.standard_error)


def test_stages_save_readings() -> None:
    """On bad, edge, good and better lots four stages take 35, 65, 75 and 46 readings on average, not 88; 131 at most."""
    plan = measured_plan(0.999, 0.99, stages=4)
    generator = np.random.default_rng(8)
    for share, readings in ((0.95, 35), (0.99, 65), (0.999, 75), (0.9999, 46)):
        found = measured_outcome(plan, share, generator=generator, lots=LOTS)
        assert found.mean_readings == pytest.approx(readings, abs=1.0)
    assert plan.stages[-1].n == 131


def test_judging_a_run_of_readings() -> None:
    """Nothing is said between stages; far inside is accepted at the first one, outside refused, alike for two limits."""
    plan = measured_plan(0.999, 0.95, stages=3)
    first = plan.stages[0].n
    readings = [float(x) for x in np.random.default_rng(4).normal(10.0, 0.01, first)]
    assert judge_measured(plan, readings[:-1], low=9.0) == "go on"
    for limits in ({"low": 9.0}, {"high": 11.0}, {"low": 9.0, "high": 11.0}):
        assert judge_measured(plan, readings, **limits) == "accept"
    for limits in ({"low": 10.1}, {"high": 9.9}, {"low": 10.1, "high": 11.0}):
        assert judge_measured(plan, readings, **limits) == "reject"
    with pytest.raises(BadInput, match="had said"):
        judge_measured(plan, [*readings, 10.0], low=9.0)


def test_the_last_stage_always_decides() -> None:
    """At the end the answer is never “go on”, and a reading more is an error."""
    plan = measured_plan(0.999, 0.95, stages=3)
    last = plan.stages[-1]
    values = [float(x) for x in np.random.default_rng(5).normal(0.0, 1.0, last.n)]
    mean, sd = float(np.mean(values)), float(np.std(values, ddof=1))
    assert last.accept == last.reject
    between = [stage.accept > 2.5 > stage.reject for stage in plan.stages[:-1]]
    assert all(between)
    assert judge_measured(plan, values, low=mean - 1.01 * last.accept * sd) in ("accept", "reject")


@pytest.mark.parametrize(
    ("good", "least", "settings", "where"),
    [
        (0.9, 0.99, {}, "good"),
        (0.991, 0.99, {}, "good"),
        (0.999, 0.99, {"stages": 0}, "stages"),
        (0.999, 0.99, {"confidence": 0.9999, "stages": 10}, "stages"),
        (0.999, 0.99, {"producer": 0.9}, "producer"),
        (float("nan"), 0.99, {}, "good"),
    ],
)
def test_plans_that_cannot_be(good: float, least: float, settings: dict[str, float], where: str) -> None:
    """Shares the wrong way round or too close, no stage, risk too small to be shared out."""
    with pytest.raises(BadInput) as caught:
        measured_plan(good, least, **settings)  # type: ignore[arg-type]
    assert caught.value.where == where
    assert caught.value.hint


def test_readings_that_do_not_scatter_or_limits_that_are_not_there() -> None:
    """No limit, and readings that are all equal."""
    plan = measured_plan(0.999, 0.95, stages=1)
    with pytest.raises(BadInput, match="no limit"):
        judge_measured(plan, [1.0])
    with pytest.raises(BadInput, match="equal"):
        judge_measured(plan, [1.0] * plan.stages[0].n, low=0.0)

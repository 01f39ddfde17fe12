"""Whatever is given, the statistics answer with finite numbers or one of our errors; nothing else ever leaves them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from typing import Any, NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.errors import FirstpullError
from firstpull.statistics.acceptance import reliability_shown, success_run_count
from firstpull.statistics.attribute_charts import fault_chart, share_chart
from firstpull.statistics.capability_indices import capability, cp_limits, cpk_at_least, cpk_limits
from firstpull.statistics.control_charts import chart_constants, individuals_chart
from firstpull.statistics.gauge_bias import bias_study, linearity_study
from firstpull.statistics.gauge_readings import GaugeReading
from firstpull.statistics.gauge_study import gauge_study_anova, gauge_study_range
from firstpull.statistics.guard_bands import conformance, guard_band_for_global_risk, guarded_limits, posterior, risks
from firstpull.statistics.life_comparison import compare_lives, lognormal_fit
from firstpull.statistics.mean_charts import cusum_chart, ewma_chart, mean_range_chart, mean_sd_chart
from firstpull.statistics.measured_stages import judge_measured, measured_plan
from firstpull.statistics.measurement import measured
from firstpull.statistics.one_way import compare_groups
from firstpull.statistics.run_lengths import (
    cusum_run_length,
    ewma_run_length,
    false_alarm_chance,
    individuals_run_length,
    rules_run_length,
    shewhart_run_length,
)
from firstpull.statistics.sequential import outcome, probability_ratio_plan, success_run_plan
from firstpull.statistics.tolerance_intervals import (
    one_sided_factor,
    share_inside,
    tolerance_interval,
    two_sided_factor,
)
from firstpull.statistics.uncertainty_budget import uncertainty_budget
from firstpull.statistics.uncertainty_inputs import Quantity, from_half_width
from firstpull.statistics.uncertainty_simulation import simulate_uncertainty
from firstpull.statistics.weibull import weibayes, weibull_fit

sane = st.floats(-20, 20) | st.sampled_from([0.0, 1.0, 0.5, 0.05, 0.95])
wild = st.floats() | st.none() | st.booleans() | st.integers() | st.text(max_size=2)
numbers = sane | sane | sane | wild
lists = st.lists(st.floats(-1e3, 1e3) | st.sampled_from([1.0, 2.0, 5.0]), max_size=12) | st.lists(wild, max_size=4)
counts = st.integers(-1, 40) | wild


def _finite(value: Any) -> bool:
    if isinstance(value, float):
        return math.isfinite(value)
    if isinstance(value, tuple | list):
        return all(_finite(item) for item in value)
    if is_dataclass(value):
        return all(_finite(getattr(value, field.name)) for field in fields(value))
    return True


def _study(method: Any, values: list[Any], tolerance: Any) -> Any:
    readings = [GaugeReading(f"p{k // 2 % 3}", f"a{k % 2}", value) for k, value in enumerate(values)]
    return method(readings, tolerance=tolerance)


def _budget(value: Any, u: Any, half: Any) -> Any:
    inputs = [Quantity(name="a", value=value, u=u), from_half_width("b", 1.0, half)]
    uncertainty_budget(lambda x: x["a"] / x["b"], inputs, second_order=True)
    return simulate_uncertainty(
        lambda x: x["a"] / x["b"], inputs, generator=np.random.default_rng(1), most_trials=20_000
    )


class Given(NamedTuple):
    """Two lists, three numbers and a count, none of them to be trusted."""

    v: Any
    w: Any
    a: Any
    b: Any
    c: Any
    n: Any


CALLS: dict[str, Callable[[Given], Any]] = {
    "gauge study": lambda g: (
        _study(gauge_study_anova, g.v * 3, g.a),
        _study(gauge_study_range, g.v * 3, g.a),
    ),
    "bias": lambda g: bias_study(g.v, g.a, reference_u=g.b),
    "linearity": lambda g: linearity_study(list(zip(g.v, g.w, strict=False)), confidence=0.9),
    "budget": lambda g: _budget(g.a, g.b, g.c),
    "x-bar R": lambda g: mean_range_chart([g.v, g.w], centre=g.a),
    "x-bar s": lambda g: mean_sd_chart([g.v, g.v], sigma=g.b),
    "ewma": lambda g: ewma_chart(g.v, centre=g.a, sigma=g.b, weight=g.c),
    "cusum": lambda g: cusum_chart(g.v, centre=g.a, sigma=g.b, slack=g.c),
    "shewhart length": lambda g: shewhart_run_length(shift=g.a, width=g.b),
    "rules length": lambda g: rules_run_length([1, g.n], shift=g.a),
    "ewma length": lambda g: ewma_run_length(g.a, g.b, shift=g.c),
    "cusum length": lambda g: cusum_run_length(g.a, g.b, shift=g.c, head_start=g.b),
    "capability": lambda g: capability(g.v, low=g.a, high=g.b, group_size=g.n),
    "cp limits": lambda g: cp_limits(g.a, g.b, g.c),
    "cpk limits": lambda g: cpk_limits(g.a, g.n, freedom=g.b, confidence=g.c),
    "cpk at least": lambda g: cpk_at_least(g.a, g.n, freedom=g.b, confidence=g.c),
    "weibull": lambda g: weibull_fit(g.v, g.w, confidence=g.c),
    "weibayes": lambda g: weibayes(g.v, g.w, shape=g.a, confidence=g.c),
    "conformance": lambda g: conformance(g.a, g.b, low=g.c),
    "guarded limits": lambda g: guarded_limits(g.a, low=g.b, high=g.c),
    "posterior": lambda g: posterior(g.a, g.b, mean=g.c, sd=g.b),
    "risks": lambda g: risks(g.a, mean=g.b, sd=g.a, high=g.c, guard_band=g.b),
    "global band": lambda g: guard_band_for_global_risk(g.a, mean=g.b, sd=g.a, high=g.c, consumer=0.01),
    "ratio plan": lambda g: outcome(probability_ratio_plan(g.a, g.b, producer=g.c, most=g.n), g.a),
    "success run": lambda g: outcome(success_run_plan(g.a, g.b, failed=g.n), g.c),
    "factors": lambda g: (one_sided_factor(g.n, g.a, g.b), two_sided_factor(g.n, g.a, g.b)),
    "interval": lambda g: tolerance_interval(g.v, coverage=g.a, confidence=g.b),
    "share inside": lambda g: share_inside(g.v, g.a, g.b, confidence=g.c),
    "shown": lambda g: (reliability_shown(g.n, g.a, failed=g.n), success_run_count(g.a, g.b, failed=g.n)),
    "constants": lambda g: chart_constants(g.n),
    "individuals": lambda g: individuals_chart(g.v, centre=g.a, sigma=g.b),
    "measured": lambda g: measured(g.v, resolution=g.a, limit_error=g.b),
    "any rules": lambda g: (rules_run_length([5, g.n], shift=g.a), false_alarm_chance([6, 1], g.n, shift=g.b)),
    "both limits": lambda g: individuals_run_length(shift=g.a),
    "groups": lambda g: compare_groups({"a": g.v, "b": g.w}),
    "shares": lambda g: share_chart(g.v, [g.n] * len(g.v), centre=g.a),
    "faults": lambda g: fault_chart([g.n, g.n], g.w, centre=g.b),
    "stages": lambda g: judge_measured(measured_plan(g.a, g.b, confidence=0.9, producer=0.1, stages=g.n), g.v, low=g.c),
    "lognormal": lambda g: lognormal_fit(g.v, g.w),
    "lives": lambda g: compare_lives((g.v, ()), (g.w, ())),
    "capability on target": lambda g: capability(g.v * 3, low=g.a, high=g.b, target=g.c),
}


@pytest.mark.parametrize("name", CALLS)
@given(lists, lists, numbers, numbers, numbers, counts)
@settings(max_examples=60, deadline=None)
def test_finite_or_our_error(name: str, v: Any, w: Any, a: Any, b: Any, c: Any, n: Any) -> None:
    """Garbage, extremes and sane values alike."""
    try:
        result = CALLS[name](Given(v, w, a, b, c, n))
    except FirstpullError:
        return
    assert _finite(result), result

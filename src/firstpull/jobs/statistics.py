"""The statistics as plain data: each answer a dictionary with a ``schema``, its numbers named as in the library.

Values, limits and scatters are in the unit of what was given; shares, chances and confidences are between 0 and 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from firstpull.errors import BadInput
from firstpull.jobs.statistics_tables import NumberTable, grouped, subgroups
from firstpull.statistics.acceptance import reliability_shown, success_run_count, success_run_exact
from firstpull.statistics.attribute_charts import fault_chart, share_chart
from firstpull.statistics.capability_indices import capability
from firstpull.statistics.control_charts import RULES, chart_constants, individuals_chart
from firstpull.statistics.gauge_readings import GaugeReading
from firstpull.statistics.gauge_study import gauge_study_anova, gauge_study_range
from firstpull.statistics.guard_bands import conformance, guarded_limits
from firstpull.statistics.life_comparison import compare_lives, lognormal_fit
from firstpull.statistics.mean_charts import cusum_chart, ewma_chart, mean_range_chart, mean_sd_chart
from firstpull.statistics.measured_stages import measured_plan
from firstpull.statistics.one_way import compare_groups
from firstpull.statistics.run_lengths import (
    ALL_RULES,
    cusum_run_length,
    ewma_run_length,
    false_alarm_chance,
    individuals_run_length,
    rules_run_length,
)
from firstpull.statistics.sequential import outcome, plan_that_keeps_the_risk, probability_ratio_plan
from firstpull.statistics.tolerance_intervals import (
    one_sided_factor,
    share_inside,
    tolerance_interval,
    two_sided_factor,
)
from firstpull.statistics.weibull import weibayes, weibull_fit

Answer = dict[str, Any]
CHARTS = ("individuals", "range", "sd", "ewma", "cusum", "p", "c", "u")
_KNOWN_RULES = (1, 2, 3, 4)


def factor_answer(n: int, coverage: float, confidence: float) -> Answer:
    """Both tolerance factors of ``n`` readings. Raises BadInput."""
    return _answer(
        "factor",
        n=n,
        coverage=coverage,
        confidence=confidence,
        one_sided=one_sided_factor(n, coverage, confidence),
        two_sided=two_sided_factor(n, coverage, confidence),
    )


def interval_answer(
    values: Sequence[float], *, coverage: float, confidence: float, low: float | None, high: float | None
) -> Answer:
    """The two-sided interval, both one-sided limits, and the share shown inside limits that are given. Raises BadInput."""
    found = tolerance_interval(values, coverage=coverage, confidence=confidence)
    one = one_sided_factor(found.n, coverage, confidence)
    inside = None
    if low is not None or high is not None:
        far = 1e5 * found.sd
        inside = share_inside(
            values,
            found.mean - far if low is None else low,
            found.mean + far if high is None else high,
            confidence=confidence,
        )
    return _answer(
        "interval",
        **asdict(found),
        one_sided_factor=one,
        at_least=found.mean - one * found.sd,
        at_most=found.mean + one * found.sd,
        share_inside_at_least=inside,
    )


def success_run_answer(reliability: float, confidence: float, *, failed: int) -> Answer:
    """Coupons that show ``reliability`` with at most ``failed`` failures. Raises BadInput."""
    return _answer(
        "success-run",
        reliability=reliability,
        confidence=confidence,
        failed=failed,
        coupons=success_run_count(reliability, confidence, failed=failed),
        exact_without_failure=success_run_exact(reliability, confidence),
    )


def shown_answer(passed: int, *, failed: int, confidence: float) -> Answer:
    """The reliability that coupons show. Raises BadInput."""
    shown = reliability_shown(passed, confidence, failed=failed)
    return _answer("shown", passed=passed, failed=failed, confidence=confidence, reliability_at_least=shown)


def plan_answer(
    good: float, reliability: float, *, confidence: float, producer: float, most: int | None, lines_only: bool
) -> Answer:
    """A pass/fail plan one coupon at a time, with its exact risks. ``lines_only``: Wald's own lines. Raises BadInput."""
    plan = (
        probability_ratio_plan(good, reliability, producer=producer, consumer=1 - confidence, most=most)
        if lines_only
        else plan_that_keeps_the_risk(good, reliability, confidence=confidence, producer=producer, most=most)
    )
    steps = [
        {"coupons": n, "accept_at_most": accept if accept >= 0 else None, "reject_from": reject}
        for n, (accept, reject) in enumerate(zip(plan.accept, plan.reject, strict=True), 1)
        if n in (1, plan.most) or (accept, reject) != (plan.accept[n - 2], plan.reject[n - 2])
    ]
    return _answer(
        "plan",
        good=good,
        reliability=reliability,
        confidence=confidence,
        producer=producer,
        slope=plan.slope,
        accept_at=plan.accept_at,
        reject_at=plan.reject_at,
        most_coupons=plan.most,
        outcomes=[asdict(outcome(plan, share)) for share in (good, reliability, 1.0)],
        steps=steps,
    )


def measured_plan_answer(good: float, reliability: float, *, confidence: float, producer: float, stages: int) -> Answer:
    """A plan for measured values in stages. Raises BadInput."""
    plan = measured_plan(good, reliability, confidence=confidence, producer=producer, stages=stages)
    return _answer("measured-plan", **asdict(plan))


def constants_answer(n: int) -> Answer:
    """Every chart factor for subgroups of ``n``, named as printed. Raises BadInput."""
    found = chart_constants(n)
    printed = {"A": "a", "A2": "a2", "A3": "a3", "B3": "b3", "B4": "b4", "B5": "b5", "B6": "b6", "c2": "c2", "c4": "c4"}
    printed |= {"c5": "c5", "d2": "d2", "d3": "d3", "D1": "d1_low", "D2": "d2_high", "D3": "d3_low", "D4": "d4"}
    printed |= {"E2": "e2", "E3": "e3"}
    return _answer("constants", n=n, constants={name: getattr(found, field) for name, field in printed.items()})


def chart_answer(
    kind: str,
    table: NumberTable,
    *,
    column: str | None = None,
    size: int | None = None,
    centre: float | None = None,
    sigma: float | None = None,
    settings: dict[str, float] | None = None,
) -> Answer:
    """A chart of a table of numbers, with how often it cries wolf. Raises BadInput.

    ``settings`` are those of the charts with a memory: weight and width, or slack, limit and head_start.
    """
    given = settings or {}
    if kind in ("range", "sd"):
        groups = subgroups(table, size=size, column=column)
        chart = (mean_range_chart if kind == "range" else mean_sd_chart)(groups, centre=centre, sigma=sigma)
        return _answer("chart", **{**asdict(chart), "kind": kind}, false_alarms=_false_alarms())
    if kind in ("p", "c", "u"):
        return _counted(kind, table, column=column, centre=centre)
    values = table.numbers(column)
    if kind == "individuals":
        single = individuals_chart(values, centre=centre, sigma=sigma)
        both = individuals_run_length()
        alarms = {**_false_alarms(), "limit and moving range": both}
        return _answer("chart", kind=kind, **asdict(single), false_alarms=alarms)
    if kind not in CHARTS:
        raise BadInput(f"“{kind}” is not a chart.", where="kind", hint=f"One of {', '.join(CHARTS)}.")
    about = individuals_chart(values, centre=centre, sigma=sigma)
    middle, spread = about.centre, about.sigma
    if kind == "ewma":
        weight, width = given.get("weight", 0.2), given.get("width", 3.0)
        found = ewma_chart(values, centre=middle, sigma=spread, weight=weight, width=width)
        return _answer("chart", kind=kind, **asdict(found), false_alarms={"ewma": ewma_run_length(weight, width)})
    slack, limit, start = given.get("slack", 0.5), given.get("limit", 5.0), given.get("head_start", 0.0)
    sums = cusum_chart(values, centre=middle, sigma=spread, slack=slack, limit=limit, head_start=start)
    length = cusum_run_length(slack, limit, head_start=start)
    return _answer("chart", kind=kind, **asdict(sums), false_alarms={"cusum": length})


def rules_answer(rules: Sequence[int], *, shift: float, points: int) -> Answer:
    """How soon run rules hold. Raises BadInput."""
    return _answer(
        "run-length",
        rules=[{"number": rule.number, "name": rule.name, "text": rule.text} for rule in RULES if rule.number in rules],
        shift=shift,
        run_length=rules_run_length(rules, shift=shift),
        points=points,
        chance_within_points=false_alarm_chance(rules, points, shift=shift),
    )


def memory_run_length_answer(kind: str, *, shift: float, settings: dict[str, float]) -> Answer:
    """How soon an EWMA or a CUSUM signals. Raises BadInput."""
    length = (
        ewma_run_length(settings["weight"], settings["width"], shift=shift)
        if kind == "ewma"
        else cusum_run_length(
            settings["slack"], settings["limit"], shift=shift, head_start=settings.get("head_start", 0.0)
        )
    )
    return _answer("run-length", kind=kind, **settings, shift=shift, run_length=length)


def capability_plain(
    values: Sequence[float],
    *,
    low: float | None,
    high: float | None,
    target: float | None,
    size: int,
    confidence: float,
) -> Answer:
    """Capability of plain numbers; the indices as a list. Raises BadInput."""
    found = capability(values, low=low, high=high, group_size=size, confidence=confidence, target=target)
    answer = asdict(found)
    names = ("cp", "cpk", "pp", "ppk", "cpm")
    indices = [answer.pop(name) for name in names]
    return _answer("capability", **answer, indices=[index for index in indices if index is not None])


def gauge_plain(
    table: NumberTable, *, method: str, tolerance: float | None, confidence: float, pool_above: float
) -> Answer:
    """A gauge study of plain numbers, columns part, appraiser and value. Raises BadInput."""
    readings = [
        GaugeReading(part, who, value)
        for part, who, value in zip(table.texts("part"), table.texts("appraiser"), table.numbers("value"), strict=True)
    ]
    study = (
        gauge_study_range(readings, tolerance=tolerance)
        if method == "range"
        else gauge_study_anova(readings, tolerance=tolerance, confidence=confidence, pool_above=pool_above)
    )
    answer = asdict(study)
    names = ("repeatability", "reproducibility", "appraiser", "interaction", "gauge", "part", "total")
    components = [answer.pop(name) for name in names]
    return _answer("gauge-study", **answer, components=[part for part in components if part is not None])


def weibull_answer(
    groups: dict[str, tuple[list[float], list[float]]], *, confidence: float, shape: float | None
) -> Answer:
    """A Weibull life; with a ``shape`` what is shown even without failures; with two groups, whether they differ.

    Raises BadInput.
    """
    if len(groups) == 2 and shape is None:
        (first, one), (second, other) = groups.items()
        found = asdict(compare_lives(one, other, confidence=confidence))
        for name in ("first", "second", "together"):
            found[name].pop("points")
        return _answer("weibull-comparison", groups=[first, second], confidence=confidence, **found)
    if len(groups) != 1:
        raise BadInput(
            f"There are {len(groups)} groups.", where="group", hint="Two can be compared; a shape is stated for one."
        )
    (failures, running) = next(iter(groups.values()))
    if shape is not None:
        return _answer(
            "weibull-stated-shape", **asdict(weibayes(failures, running, shape=shape, confidence=confidence))
        )
    fit = weibull_fit(failures, running, confidence=confidence)
    return _answer("weibull", **asdict(fit), lognormal=_lognormal(failures, running))


def groups_answer(table: NumberTable) -> Answer:
    """One-way analysis of variance of the columns group and value. Raises BadInput."""
    return _answer("groups", **asdict(compare_groups(grouped(table))))


def conforms_answer(value: float, u: float, *, low: float | None, high: float | None, confidence: float) -> Answer:
    """Whether a measured value conforms, and where values may be accepted at that confidence. Raises BadInput."""
    found = conformance(value, u, low=low, high=high, confidence=confidence)
    try:
        accept = asdict(guarded_limits(u, low=low, high=high, risk=1 - confidence)) if confidence >= 0.5 else None
    except BadInput:  # nothing at all may be accepted: the verdict says so
        accept = None
    return _answer("conforms", value=value, u=u, low=low, high=high, **asdict(found), accepted=accept)


def _lognormal(failures: Sequence[float], running: Sequence[float]) -> Answer | None:
    try:
        return asdict(lognormal_fit(failures, running))
    except BadInput:  # a second opinion only: the Weibull life stands without it
        return None


def _counted(kind: str, table: NumberTable, *, column: str | None, centre: float | None) -> Answer:
    counts = [_whole(value, "count") for value in table.numbers(column or ("count" if table.has("count") else None))]
    if kind == "c":
        return _answer("chart", **asdict(fault_chart(counts, centre=centre)))
    sizes = table.numbers("size")
    if kind == "u":
        return _answer("chart", **asdict(fault_chart(counts, sizes, centre=centre)))
    return _answer("chart", **asdict(share_chart(counts, [_whole(size, "size") for size in sizes], centre=centre)))


def _whole(value: float, where: str) -> int:
    if value != int(value):
        raise BadInput(f"{value:g} is not a whole number.", where=where, hint="These charts count.")
    return int(value)


def _false_alarms() -> dict[str, float]:
    return {
        "rule 1": rules_run_length((1,)),
        "rules 1 to 4": rules_run_length(_KNOWN_RULES),
        "all eight rules": rules_run_length(ALL_RULES),
    }


def _answer(name: str, **content: Any) -> Answer:
    return {"schema": f"firstpull/stats-{name}/1", **content}

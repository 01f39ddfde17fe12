"""Statistics for a setting technician: what readings show, and how surely.

Everything that is meant to be used from outside can be taken from here, as ``from firstpull.statistics import
two_sided_factor``; docs/how-to/statistics.md lists it by question. Budgets are in :mod:`uncertainty_budget`, the dial-in
estimator in :mod:`dial_in`. A name loads its module when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from firstpull.statistics.acceptance import (
        mean_tolerance_mm,
        one_setting,
        reliability_shown,
        shown_text,
        success_run_count,
        success_run_exact,
    )
    from firstpull.statistics.attribute_charts import AttributeChart, fault_chart, share_chart
    from firstpull.statistics.capability_indices import (
        Capability,
        Index,
        capability,
        cp_limits,
        cpk_at_least,
        cpk_limits,
        cpm_limits,
    )
    from firstpull.statistics.control_charts import (
        RULES,
        ChartConstants,
        IndividualsChart,
        Rule,
        Signal,
        chart_constants,
        individuals_chart,
    )
    from firstpull.statistics.gauge_bias import (
        Bias,
        Linearity,
        bias_study,
        linearity_study,
    )
    from firstpull.statistics.gauge_readings import (
        GaugeReading,
    )
    from firstpull.statistics.gauge_study import (
        Component,
        GaugeStudy,
        gauge_study_anova,
        gauge_study_range,
        gauge_uncertainty,
    )
    from firstpull.statistics.guard_bands import (
        Conformance,
        conformance,
        guard_band_for_global_risk,
        guarded_limits,
        posterior,
        risks,
    )
    from firstpull.statistics.life_comparison import (
        LivesCompared,
        LognormalFit,
        compare_lives,
        lognormal_fit,
    )
    from firstpull.statistics.mean_charts import (
        CusumChart,
        MeanChart,
        MemoryChart,
        cusum_chart,
        ewma_chart,
        mean_range_chart,
        mean_sd_chart,
    )
    from firstpull.statistics.measured_stages import (
        MeasuredPlan,
        judge_measured,
        measured_outcome,
        measured_plan,
    )
    from firstpull.statistics.measurement import (
        Measured,
        coverage_factor,
        effective_degrees_of_freedom,
        measured,
        rectangular,
        resolution_uncertainty,
    )
    from firstpull.statistics.one_way import (
        GroupsCompared,
        compare_groups,
    )
    from firstpull.statistics.run_lengths import (
        cusum_limit,
        cusum_run_length,
        ewma_run_length,
        ewma_width,
        false_alarm_chance,
        individuals_run_length,
        rules_run_length,
        shewhart_run_length,
    )
    from firstpull.statistics.sequential import (
        Outcome,
        SequentialPlan,
        decide,
        outcome,
        plan_that_keeps_the_risk,
        probability_ratio_plan,
        success_run_plan,
    )
    from firstpull.statistics.tolerance_intervals import (
        ToleranceInterval,
        one_sided_factor,
        share_inside,
        tolerance_interval,
        two_sided_factor,
    )
    from firstpull.statistics.uncertainty_inputs import (
        Correlation,
        Quantity,
        from_half_width,
    )
    from firstpull.statistics.uncertainty_simulation import (
        check_budget,
        simulate_uncertainty,
    )
    from firstpull.statistics.weibull import (
        PlotPoint,
        Weibayes,
        WeibullFit,
        plot_points,
        weibayes,
        weibull_fit,
    )

__all__ = [
    "RULES",
    "AttributeChart",
    "Bias",
    "Capability",
    "ChartConstants",
    "Component",
    "Conformance",
    "Correlation",
    "CusumChart",
    "GaugeReading",
    "GaugeStudy",
    "GroupsCompared",
    "Index",
    "IndividualsChart",
    "Linearity",
    "LivesCompared",
    "LognormalFit",
    "MeanChart",
    "Measured",
    "MeasuredPlan",
    "MemoryChart",
    "Outcome",
    "PlotPoint",
    "Quantity",
    "Rule",
    "SequentialPlan",
    "Signal",
    "ToleranceInterval",
    "Weibayes",
    "WeibullFit",
    "bias_study",
    "capability",
    "chart_constants",
    "check_budget",
    "compare_groups",
    "compare_lives",
    "conformance",
    "coverage_factor",
    "cp_limits",
    "cpk_at_least",
    "cpk_limits",
    "cpm_limits",
    "cusum_chart",
    "cusum_limit",
    "cusum_run_length",
    "decide",
    "effective_degrees_of_freedom",
    "ewma_chart",
    "ewma_run_length",
    "ewma_width",
    "false_alarm_chance",
    "fault_chart",
    "from_half_width",
    "gauge_study_anova",
    "gauge_study_range",
    "gauge_uncertainty",
    "guard_band_for_global_risk",
    "guarded_limits",
    "individuals_chart",
    "individuals_run_length",
    "judge_measured",
    "linearity_study",
    "lognormal_fit",
    "mean_range_chart",
    "mean_sd_chart",
    "mean_tolerance_mm",
    "measured",
    "measured_outcome",
    "measured_plan",
    "one_setting",
    "one_sided_factor",
    "outcome",
    "plan_that_keeps_the_risk",
    "plot_points",
    "posterior",
    "probability_ratio_plan",
    "rectangular",
    "reliability_shown",
    "resolution_uncertainty",
    "risks",
    "rules_run_length",
    "share_chart",
    "share_inside",
    "shewhart_run_length",
    "shown_text",
    "simulate_uncertainty",
    "success_run_count",
    "success_run_exact",
    "success_run_plan",
    "tolerance_interval",
    "two_sided_factor",
    "weibayes",
    "weibull_fit",
]

_MODULES: dict[str, tuple[str, ...]] = {
    "attribute_charts": ("AttributeChart", "fault_chart", "share_chart"),
    "acceptance": (
        "mean_tolerance_mm",
        "one_setting",
        "reliability_shown",
        "shown_text",
        "success_run_count",
        "success_run_exact",
    ),
    "capability_indices": (
        "Capability",
        "Index",
        "capability",
        "cp_limits",
        "cpk_at_least",
        "cpk_limits",
        "cpm_limits",
    ),
    "control_charts": (
        "ChartConstants",
        "IndividualsChart",
        "RULES",
        "Rule",
        "Signal",
        "chart_constants",
        "individuals_chart",
    ),
    "gauge_bias": (
        "Bias",
        "Linearity",
        "bias_study",
        "linearity_study",
    ),
    "gauge_readings": ("GaugeReading",),
    "gauge_study": (
        "Component",
        "GaugeStudy",
        "gauge_study_anova",
        "gauge_study_range",
        "gauge_uncertainty",
    ),
    "guard_bands": (
        "Conformance",
        "conformance",
        "guard_band_for_global_risk",
        "guarded_limits",
        "posterior",
        "risks",
    ),
    "life_comparison": (
        "LivesCompared",
        "LognormalFit",
        "compare_lives",
        "lognormal_fit",
    ),
    "mean_charts": (
        "CusumChart",
        "MeanChart",
        "MemoryChart",
        "cusum_chart",
        "ewma_chart",
        "mean_range_chart",
        "mean_sd_chart",
    ),
    "measured_stages": (
        "MeasuredPlan",
        "judge_measured",
        "measured_outcome",
        "measured_plan",
    ),
    "measurement": (
        "Measured",
        "coverage_factor",
        "effective_degrees_of_freedom",
        "measured",
        "rectangular",
        "resolution_uncertainty",
    ),
    "one_way": (
        "GroupsCompared",
        "compare_groups",
    ),
    "run_lengths": (
        "cusum_limit",
        "cusum_run_length",
        "ewma_run_length",
        "ewma_width",
        "false_alarm_chance",
        "individuals_run_length",
        "rules_run_length",
        "shewhart_run_length",
    ),
    "sequential": (
        "Outcome",
        "SequentialPlan",
        "decide",
        "outcome",
        "plan_that_keeps_the_risk",
        "probability_ratio_plan",
        "success_run_plan",
    ),
    "tolerance_intervals": (
        "ToleranceInterval",
        "one_sided_factor",
        "share_inside",
        "tolerance_interval",
        "two_sided_factor",
    ),
    "uncertainty_inputs": (
        "Correlation",
        "Quantity",
        "from_half_width",
    ),
    "uncertainty_simulation": (
        "check_budget",
        "simulate_uncertainty",
    ),
    "weibull": (
        "PlotPoint",
        "Weibayes",
        "WeibullFit",
        "plot_points",
        "weibayes",
        "weibull_fit",
    ),
}
_WHERE = {name: module for module, names in _MODULES.items() for name in names}


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_WHERE[name]}"), name)


def __dir__() -> list[str]:
    return sorted(_WHERE)

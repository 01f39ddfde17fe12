"""Every public calculation names its source and its units, and is checked by a reference or a hand-worked case."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "firstpull"

CALCULATIONS: dict[str, str] = {
    "trade/drills.py:drill": "reference/test_trade_drill_sizes.py",
    "trade/drills.py:nearest_drills": "unit/test_trade_sheet_and_drill.py",
    "trade/screws.py:nut_factor": "unit/test_trade_materials_screws_cautions.py",
    "trade/screws.py:preload_n": "reference/test_trade_screws.py",
    "trade/screws.py:tightening_torque_nm": "reference/test_trade_screws.py",
    "trade/screws.py:preload_from_torque": "unit/test_trade_materials_screws_cautions.py",
    "trade/screws.py:property_class": "reference/test_trade_screws.py",
    "trade/sheet_gauges.py:sheet_gauge": "reference/test_trade_sheet_gauges.py",
    "trade/clearance.py:clearance_hole": "reference/test_trade_clearance_holes.py",
    "trade/threads.py:thread": "reference/test_threads_iso_metric.py",
    "trade/threads.py:strip_areas": "reference/test_threads_strip_areas.py",
    "trade/galvanic.py:galvanic_pair": "reference/test_joint_galvanic.py",
    "statistics/acceptance.py:success_run_exact": "reference/test_statistics_acceptance.py",
    "statistics/acceptance.py:success_run_count": "reference/test_statistics_acceptance.py",
    "statistics/acceptance.py:reliability_shown": "reference/test_statistics_acceptance.py",
    "statistics/acceptance.py:mean_tolerance_mm": "unit/test_statistics_acceptance_words.py",
    "statistics/acceptance.py:one_setting": "unit/test_statistics_acceptance_words.py",
    "statistics/acceptance.py:shown_text": "reference/test_statistics_acceptance.py",
    "statistics/control_charts.py:chart_constants": "reference/test_statistics_control_charts.py",
    "statistics/control_charts.py:individuals_chart": "reference/test_statistics_control_charts.py",
    "statistics/variance_limits.py:variance_limits": "unit/test_statistics_gauge_faults.py",
    "statistics/gauge_study.py:gauge_study_anova": "reference/test_statistics_gauge_study.py",
    "statistics/gauge_study.py:gauge_study_range": "reference/test_statistics_gauge_study.py",
    "statistics/gauge_study.py:gauge_uncertainty": "unit/test_statistics_gauge_faults.py",
    "statistics/gauge_repeatability.py:repeatability_study": "reference/test_statistics_gauge_study.py",
    "statistics/gauge_bias.py:bias_study": "reference/test_statistics_gauge_study.py",
    "statistics/gauge_bias.py:linearity_study": "reference/test_statistics_gauge_study.py",
    "statistics/uncertainty_inputs.py:from_half_width": "unit/test_statistics_uncertainty_faults.py",
    "statistics/uncertainty_inputs.py:draw": "unit/test_statistics_uncertainty_faults.py",
    "statistics/uncertainty_budget.py:uncertainty_budget": "reference/test_statistics_uncertainty.py",
    "statistics/uncertainty_simulation.py:simulate_uncertainty": "reference/test_statistics_uncertainty.py",
    "statistics/uncertainty_simulation.py:numerical_tolerance": "unit/test_statistics_uncertainty_faults.py",
    "statistics/uncertainty_simulation.py:check_budget": "reference/test_statistics_uncertainty.py",
    "statistics/mean_charts.py:mean_range_chart": "reference/test_statistics_mean_charts.py",
    "statistics/mean_charts.py:mean_sd_chart": "reference/test_statistics_mean_charts.py",
    "statistics/mean_charts.py:ewma_chart": "reference/test_statistics_mean_charts.py",
    "statistics/mean_charts.py:cusum_chart": "reference/test_statistics_mean_charts.py",
    "statistics/run_lengths.py:shewhart_run_length": "reference/test_statistics_mean_charts.py",
    "statistics/run_lengths.py:rules_run_length": "reference/test_statistics_mean_charts.py",
    "statistics/run_lengths.py:ewma_run_length": "reference/test_statistics_mean_charts.py",
    "statistics/run_lengths.py:cusum_run_length": "reference/test_statistics_mean_charts.py",
    "statistics/capability_indices.py:capability": "reference/test_statistics_capability.py",
    "statistics/capability_indices.py:cp_limits": "reference/test_statistics_capability.py",
    "statistics/capability_indices.py:cpk_limits": "reference/test_statistics_capability.py",
    "statistics/capability_indices.py:cpk_at_least": "reference/test_statistics_capability.py",
    "statistics/weibull.py:weibull_fit": "reference/test_statistics_weibull.py",
    "statistics/weibull.py:weibayes": "reference/test_statistics_weibull.py",
    "statistics/weibull.py:plot_points": "reference/test_statistics_weibull.py",
    "statistics/guard_bands.py:conformance": "reference/test_statistics_proof.py",
    "statistics/guard_bands.py:guarded_limits": "reference/test_statistics_proof.py",
    "statistics/guard_bands.py:posterior": "unit/test_statistics_proof_faults.py",
    "statistics/guard_bands.py:risks": "unit/test_statistics_proof_faults.py",
    "statistics/guard_bands.py:guard_band_for_global_risk": "unit/test_statistics_proof_faults.py",
    "statistics/sequential.py:probability_ratio_plan": "reference/test_statistics_proof.py",
    "statistics/sequential.py:success_run_plan": "reference/test_statistics_proof.py",
    "statistics/sequential.py:plan_that_keeps_the_risk": "unit/test_statistics_proof_faults.py",
    "statistics/sequential.py:outcome": "reference/test_statistics_proof.py",
    "statistics/sequential.py:decide": "unit/test_statistics_proof_faults.py",
    "statistics/run_lengths.py:false_alarm_chance": "unit/test_statistics_run_chances.py",
    "statistics/run_lengths.py:individuals_run_length": "unit/test_statistics_run_chances.py",
    "statistics/attribute_charts.py:share_chart": "reference/test_statistics_attribute_charts.py",
    "statistics/attribute_charts.py:fault_chart": "reference/test_statistics_attribute_charts.py",
    "statistics/moments.py:moments": "reference/test_statistics_strd.py",
    "statistics/one_way.py:compare_groups": "reference/test_statistics_strd.py",
    "statistics/share_limits.py:share_limits": "property/test_statistics_gauge_properties.py",
    "statistics/measured_stages.py:measured_plan": "unit/test_statistics_measured_plan.py",
    "statistics/measured_stages.py:judge_measured": "unit/test_statistics_measured_plan.py",
    "statistics/measured_stages.py:measured_outcome": "unit/test_statistics_measured_plan.py",
    "statistics/life_comparison.py:lognormal_fit": "unit/test_statistics_life_comparison.py",
    "statistics/life_comparison.py:compare_lives": "unit/test_statistics_life_comparison.py",
    "statistics/capability_indices.py:cpm_limits": "unit/test_statistics_capability_faults.py",
    "statistics/run_lengths.py:ewma_width": "reference/test_statistics_mean_charts.py",
    "statistics/run_lengths.py:cusum_limit": "reference/test_statistics_mean_charts.py",
    "statistics/run_rules.py:find_signals": "unit/test_mechanics_small_calculations.py",
    "statistics/knob.py:fit_knob": "unit/test_statistics_knob.py",
    "statistics/learning.py:knob_known": "unit/test_statistics_learning.py",
    "statistics/learning.py:lengths_known": "unit/test_statistics_learning.py",
    "statistics/learning.py:level_after": "unit/test_statistics_learning.py",
    "statistics/measurement.py:rectangular": "reference/test_statistics_measurement.py",
    "statistics/measurement.py:resolution_uncertainty": "reference/test_statistics_measurement.py",
    "statistics/measurement.py:effective_degrees_of_freedom": "reference/test_statistics_measurement.py",
    "statistics/measurement.py:coverage_factor": "reference/test_statistics_measurement.py",
    "statistics/measurement.py:measured": "reference/test_statistics_measurement.py",
    "statistics/tolerance_intervals.py:one_sided_factor": "reference/test_statistics_tolerance_factors.py",
    "statistics/tolerance_intervals.py:two_sided_factor": "reference/test_statistics_tolerance_factors.py",
    "statistics/tolerance_intervals.py:tolerance_interval": "unit/test_mechanics_small_calculations.py",
    "statistics/tolerance_intervals.py:share_inside": "property/test_statistics_acceptance_properties.py",
    "mechanics/collapse/case.py:check_case": "unit/test_collapse_material.py",
    "mechanics/collapse/closed_form.py:hinge_load_n": "reference/test_collapse_closed_form.py",
    "mechanics/collapse/closed_form.py:estimate_collapse": "reference/test_collapse_closed_form.py",
    "mechanics/collapse/closed_form.py:mean_crush_load_n": "reference/test_collapse_closed_form.py",
    "mechanics/collapse/events.py:find_events": "unit/test_collapse_events.py",
    "mechanics/collapse/pull.py:virtual_pull": "unit/test_collapse_events.py",
    "mechanics/collapse/emulator.py:features_of": "unit/test_collapse_emulator.py",
    "mechanics/collapse/emulator.py:swift_of": "unit/test_collapse_emulator.py",
    "mechanics/collapse/emulator.py:outside": "unit/test_collapse_emulator.py",
    "mechanics/collapse/emulator.py:scaled": "unit/test_collapse_emulator.py",
    "mechanics/collapse/emulator.py:emulate": "unit/test_collapse_emulator.py",
    "mechanics/collapse/closing.py:closing_share": "unit/test_collapse_emulator.py",
    "mechanics/collapse/limits.py:tensile_strength_mpa": "unit/test_collapse_window.py",
    "mechanics/collapse/limits.py:thread_strip_n": "unit/test_collapse_window.py",
    "mechanics/collapse/limits.py:mandrel_proof_n": "unit/test_collapse_window.py",
    "mechanics/collapse/limits.py:flange_crush_n": "unit/test_collapse_window.py",
    "mechanics/collapse/limits.py:ceilings": "unit/test_collapse_window.py",
    "mechanics/collapse/window.py:stroke_window": "unit/test_collapse_window.py",
    "mechanics/collapse/discrepancy.py:discrepancy": "unit/test_collapse_window.py",
    "mechanics/collapse/sensitivity.py:bent_curve": "unit/test_collapse_window.py",
    "mechanics/collapse/sensitivity.py:contact_stroke_mm": "unit/test_collapse_window.py",
    "mechanics/collapse/sensitivity.py:variants": "unit/test_collapse_window.py",
    "mechanics/collapse/sensitivity.py:coarse_pull": "unit/test_collapse_learn.py",
    "mechanics/collapse/sensitivity.py:effects": "unit/test_collapse_learn.py",
    "mechanics/collapse/learn.py:learn": "unit/test_collapse_learn.py",
    "mechanics/collapse/learn.py:bent_case": "unit/test_collapse_learn.py",
    "mechanics/collapse/material.py:flow_stress_mpa": "unit/test_collapse_material.py",
    "mechanics/collapse/material.py:flow_table": "unit/test_collapse_material.py",
    "mechanics/counted.py:counted": "unit/test_joint_pieces.py",
    "mechanics/counted.py:counted_margin": "unit/test_mechanics_standardise.py",
    "mechanics/cover.py:fewest": "reference/test_cover_set_covering.py",
    "mechanics/identify.py:identify": "unit/test_mechanics_identify.py",
    "mechanics/identify_model.py:believe": "property/test_identify_properties.py",
    "mechanics/identify_model.py:entropy_bits": "unit/test_mechanics_identify.py",
    "mechanics/identify_model.py:information_bits": "unit/test_mechanics_identify.py",
    "mechanics/insert.py:set_protrusion_nm": "unit/test_mechanics_small_calculations.py",
    "mechanics/joint/spread.py:between": "unit/test_joint_pieces.py",
    "mechanics/joint/spread.py:from_least": "unit/test_joint_pieces.py",
    "mechanics/joint/spread.py:chance": "reference/test_joint_worked_examples.py",
    "mechanics/joint/estimates.py:bearing_load_n": "unit/test_joint_pieces.py",
    "mechanics/joint/estimates.py:bearing_stress_mpa": "reference/test_joint_worked_examples.py",
    "mechanics/joint/estimates.py:blind_head_mm": "unit/test_joint_pieces.py",
    "mechanics/joint/estimates.py:pull_out_n": "unit/test_joint_pieces.py",
    "mechanics/joint/estimates.py:push_out_n": "unit/test_joint_pieces.py",
    "mechanics/joint/estimates.py:tube_shear_n": "unit/test_joint_pieces.py",
    "mechanics/joint/estimates.py:thin_wall_share": "unit/test_joint_pieces.py",
    "mechanics/joint/estimates.py:torque_to_turn_nm": "unit/test_joint_pieces.py",
    "mechanics/joint/tightening.py:tightening": "reference/test_joint_worked_examples.py",
    "mechanics/joint/checks.py:compare": "unit/test_joint_pieces.py",
    "mechanics/joint/hole.py:hole_for": "unit/test_joint_pieces.py",
    "mechanics/joint/screw.py:screw_length": "unit/test_joint_pieces.py",
    "mechanics/mandrel.py:mandrel_plan": "unit/test_mechanics_mandrel_pressure.py",
    "mechanics/mandrel.py:mandrel_stiffness_kn_per_mm": "reference/test_mechanics_common_practice.py",
    "mechanics/pressure.py:pressure_ladder": "unit/test_mechanics_mandrel_pressure.py",
    "mechanics/setting.py:compute_setting": "reference/test_mechanics_common_practice.py",
    "mechanics/standardise.py:standardise": "unit/test_mechanics_standardise.py",
    "mechanics/standardise.py:why_not_served": "unit/test_mechanics_standardise.py",
    "mechanics/stack.py:thickness": "unit/test_mechanics_stack.py",
    "mechanics/tool.py:available_load_n": "reference/test_mechanics_common_practice.py",
    "mechanics/tool.py:capacity": "unit/test_mechanics_insert_tool.py",
    "mechanics/tool.py:knob_move": "reference/test_mechanics_common_practice.py",
    "mechanics/tool.py:load_per_bar_n": "unit/test_mechanics_small_calculations.py",
    "mechanics/tool.py:take_up": "unit/test_mechanics_small_calculations.py",
    "mechanics/window.py:find_window": "unit/test_mechanics_small_calculations.py",
}
"""Where each public calculation is checked: tests/reference against a printed value, else a case worked by hand."""

OTHERS: dict[str, str] = {
    "trade/cautions.py": "texts",
    "trade/faults.py": "texts",
    "trade/lookup.py": "puts together what the others give",
    "trade/materials.py": "a table by name",
    "trade/tables.py": "reads the packaged tables",
    "trade/texts.py": "reads names",
    "trade/thread_names.py": "reads names",
    "trade/drills.py:drills": "the table itself",
    "trade/screws.py:property_class_names": "names",
    "trade/screws.py:nut_factor_names": "names",
    "trade/sheet_gauges.py:parse_thickness": "reads text; sheet_gauge computes",
    "trade/sheet_gauges.py:names_gauge": "reads text",
    "trade/sheet_gauges.py:nearest_gauges": "picks from the table",
    "trade/threads.py:thread_designations": "names",
    "statistics/inputs.py": "checks of arguments",
    "statistics/run_chances.py": "the chain behind run_lengths: tests/unit/test_statistics_run_chances.py",
    "statistics/weibull.py:checked_lives": "checks of arguments",
    "statistics/uncertainty_inputs.py:check_inputs": "checks of arguments",
    "statistics/gauge_readings.py": "puts readings in their cells",
    "statistics/run_rules.py:signal": "makes the shape of an answer",
    "statistics/dial_in": "the estimator: judged by its own benches in tests/unit, tests/property and tests/regress",
    "trade/galvanic.py:galvanic_group": "a table by name",
    "trade/galvanic.py:galvanic_groups": "the table itself",
    "trade/service.py": "tables by name",
    "mechanics/joint/demand.py": "checks of fields",
    "mechanics/joint/checks.py:prepare": "puts together what is shared",
    "mechanics/joint/checks.py:strength_of": "applies the checks of the others in order",
    "mechanics/joint/tightening.py:screw_data": "looks up the screw",
    "mechanics/collapse/compiled.py": "compiles",
    "mechanics/collapse/cells.py": "a kernel of the solver: tests/reference/test_collapse_closed_form.py judges it",
    "mechanics/collapse/element.py": "kernels of the solver: tests/reference/test_collapse_closed_form.py judges them",
    "mechanics/collapse/simulate.py": "the solver: judged by recorded pulls of another program",
    "mechanics/collapse/unload.py": "the solver, let go: tests/unit/test_collapse_events.py",
    "mechanics/collapse/emulator.py:curves": "the network: tests/unit/test_collapse_emulator.py judges what it says",
    "mechanics/collapse/emulator.py:strokes": "places of the network's curve",
    "mechanics/collapse/emulator.py:clear_events": "the events, with what is not clear-cut left out",
    "mechanics/collapse/emulator.py:closures": "the events of many pulls: tests/unit/test_collapse_emulator.py",
    "mechanics/collapse/emulator.py:network_errors": "numbers kept beside the network",
    "mechanics/collapse/emulator.py:unit_force_n": "the unit of the network's forces",
    "mechanics/collapse/flow_curves.py": "a table by name: common practice, no source",
    "mechanics/collapse/material.py:check_flow_curve": "checks of fields",
    "mechanics/collapse/mesh.py": "places of nodes",
    "mechanics/needs.py": "checks of fields",
    "mechanics/surroundings.py": "looks up tables and compares",
    "mechanics/asked.py": "puts together what is shared, and names",
    "mechanics/insert.py:check_value": "checks of fields",
    "mechanics/shelf": "the checks of the others on columns: tests/property/test_shelf_properties.py holds both to one answer",
    "mechanics/choose.py": "applies the checks of the others in order",
    "mechanics/fields.py": "checks of fields",
    "mechanics/identify.py:percent": "words",
    "mechanics/identify_model.py:canonical": "names",
    "mechanics/identify_model.py:code_of": "names",
    "mechanics/identify_model.py:columns": "the catalogue as columns",
    "mechanics/identify_model.py:table_of": "the catalogue as columns",
    "mechanics/identify_rows.py": "the rows that are looked at",
    "mechanics/insert.py:check_insert": "checks of fields",
    "mechanics/insert.py:check_unit": "checks of fields",
    "mechanics/shelf/plausible.py:unit_fits": "the same check on columns: property/test_shelf_properties.py",
    "mechanics/insert.py:free_length_limits_nm": "a limit of a check of fields",
    "mechanics/insert.py:head_height_nm": "picks a dimension",
    "mechanics/request.py": "checks of fields",
    "mechanics/stack.py:check_stack": "checks of fields",
    "mechanics/stack.py:has_soft_layer": "looks up materials",
    "mechanics/steps.py": "texts",
    "mechanics/tool.py:check_tool": "checks of fields",
}
"""Public functions, or whole modules of them, that calculate nothing, each with what they are instead."""

SOURCE = re.compile(
    r"Source|ISO \d|ASME|SAE|FED-STD|NIST|JCGM|TM 10|MIL-|common practice|by definition|Same ranges, errors and source|"
    r"Errors and source as"
)
UNITS = re.compile(
    r"\b(mm|nm|N|MPa|bar|turns?|shares?|readings|values|sigma|half_width|step|uncertainties|reliability|no unit)\b"
    r"|mm²|N·m|kN|own unit|Same ranges|stress"
)


def public_functions() -> dict[str, str]:
    """Every public function of trade, statistics and mechanics by “module:name”, with its docstring."""
    found = {}
    for folder in ("trade", "statistics", "mechanics"):
        for path in sorted((PACKAGE / folder).rglob("*.py")):
            for node in ast.parse(path.read_text(encoding="utf-8")).body:
                if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                    found[f"{path.relative_to(PACKAGE).as_posix()}:{node.name}"] = ast.get_docstring(node) or ""
    return found


PUBLIC = public_functions()


def accounted(name: str) -> bool:
    """Whether a function is named itself, by its module or by its folder."""
    module = name.partition(":")[0]
    return name in CALCULATIONS or name in OTHERS or module in OTHERS or str(Path(module).parent) in OTHERS


def test_every_public_function_is_accounted_for() -> None:
    """A new public function is listed with the test that checks it, or with what it is instead of a calculation."""
    assert [name for name in PUBLIC if not accounted(name)] == []


def test_the_lists_name_what_is_there() -> None:
    """No entry outlives its function."""
    modules = {name.partition(":")[0] for name in PUBLIC}
    known = set(PUBLIC) | modules | {str(Path(module).parent) for module in modules}
    assert [name for name in (*CALCULATIONS, *OTHERS) if name not in known] == []
    assert set(CALCULATIONS) & set(OTHERS) == set()


@pytest.mark.parametrize("name", sorted(CALCULATIONS))
def test_a_calculation_names_source_and_units_and_is_checked(name: str) -> None:
    """Its docstring has a source and units, and the named test file calls it."""
    docstring = PUBLIC[name]
    assert SOURCE.search(docstring), "no source in the docstring"
    assert UNITS.search(docstring), "no unit in the docstring"
    checked = (ROOT / "tests" / CALCULATIONS[name]).read_text(encoding="utf-8")
    assert re.search(rf"\b{name.partition(':')[2]}\(", checked), "the named test does not call it"

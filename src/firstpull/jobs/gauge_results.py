"""What the readings of a guided gauge study say, as plain data that the record keeps; lengths in mm.

The readings and the plan stand in the record, so that the same numbers can be made from them again at any time.
"""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from firstpull.errors import BadInput
from firstpull.jobs.measuring import component_answer, components
from firstpull.record.gauge_study import Study
from firstpull.statistics.gauge_bias import bias_study, linearity_study
from firstpull.statistics.gauge_readings import GaugeReading
from firstpull.statistics.gauge_repeatability import repeatability_study
from firstpull.statistics.gauge_study import SPREAD, Component, gauge_study_anova
from firstpull.statistics.measurement import coverage_factor, resolution_uncertainty
from firstpull.units import Length

CONFIDENCE = 0.90
"""Of the limits of every scatter, two-sided."""
_ENOUGH = 10  # readings; fewer lie on a coarser step by chance
MOST_OF_WINDOW = 0.30
"""A gauge may take so much of a window's width, 6 sd against the whole of it (AIAG MSA, a common limit of the trade)."""


def result_of(study: Study, *, resolution_mm: float) -> dict[str, Any]:
    """``firstpull/gauge-result/1`` of a complete study. Raises BadInput where the readings can not be reckoned with."""
    readings = readings_of(study)
    if study.references:
        return _blocks(study, readings, resolution_mm=resolution_mm)
    return _parts(study, readings, resolution_mm=resolution_mm)


def readings_of(study: Study) -> list[GaugeReading]:
    """The readings that count, in mm, round by round for each person."""
    counting = study.counting
    slots = sorted(
        (slot for slot in study.slots if slot.number in counting), key=lambda slot: (slot.round, slot.number)
    )
    return [GaugeReading(slot.part, slot.person, Length.from_json(counting[slot.number].value).mm) for slot in slots]


def seen_step_mm(study: Study) -> float:
    """The largest step in mm of which all differences between readings are multiples; 0 with fewer than ten readings or
    none that differ. Coarser than the gauge’s own, it tells that somebody rounds."""
    nanometres = [Length.from_json(one.value).nanometres for one in study.counting.values()]
    return 0.0 if len(nanometres) < _ENOUGH else math.gcd(*(one - nanometres[0] for one in nanometres)) / 1e6


def half_window_served(sd_mm: float) -> float:
    """The half width in mm of the narrowest window of which a gauge of that sd takes at most 30 % (6 sd of its width)."""
    return SPREAD * sd_mm / MOST_OF_WINDOW / 2


def share_of_window(sd_mm: float, half_window_mm: float) -> float:
    """How much of a window ± ``half_window_mm`` the gauge takes: 6 sd over its whole width, 1 for all of it."""
    return SPREAD * sd_mm / (2 * half_window_mm)


def _parts(study: Study, readings: list[GaugeReading], *, resolution_mm: float) -> dict[str, Any]:
    half = study.plan.get("half_window_mm")
    floor = resolution_uncertainty(resolution_mm)
    found = _scatter(study, readings, tolerance=None if half is None else 2 * float(half))
    gauge: Component | None = found.pop("gauge")
    sd = 0.0 if gauge is None else gauge.sd
    high = None if gauge is None else gauge.sd_high
    used = max(sd, floor)
    worst = used if high is None else max(high, floor)
    return {
        "schema": "firstpull/gauge-result/1",
        "kind": "parts",
        "measured": study.measured,
        "parts": len(study.parts),
        "people": len(study.people),
        "rounds": study.rounds,
        "resolution_mm": resolution_mm,
        "seen_step_mm": seen_step_mm(study),
        "half_window_mm": half,
        "confidence": CONFIDENCE,
        **found,
        "sd_mm": used,
        "sd_at_worst_mm": worst,
        "degrees_of_freedom": None if gauge is None or sd < floor else gauge.degrees_of_freedom,
        "coarse": sd < floor,
        "good_for_mm": half_window_served(used),
        "good_for_at_worst_mm": half_window_served(worst),
        "window_share": None if half is None else share_of_window(used, float(half)),
        "window_share_at_worst": None if half is None else share_of_window(worst, float(half)),
        "largest": _largest(found["components"], coarse=sd < floor),
    }


def _scatter(study: Study, readings: list[GaugeReading], *, tolerance: float | None) -> dict[str, Any]:
    """The components with ``gauge``, the one that a reading is worth; None where no reading of a part differs."""
    values = [reading.value for reading in readings]
    cells: dict[str, set[float]] = {}
    for reading in readings:
        cells.setdefault(reading.part, set()).add(reading.value)
    if all(len(seen) == 1 for seen in cells.values()):
        return {
            "mean_mm": math.fsum(values) / len(values),
            "components": {},
            "anova": [],
            "interaction_pooled": None,
            "distinct": None,
            "distinct_categories": None,
            "gauge": None,
        }
    if len(study.people) == 1:
        alone = repeatability_study(readings, tolerance=tolerance, confidence=CONFIDENCE)
        shown = (alone.repeatability, alone.part, alone.total)
        return {
            "mean_mm": alone.mean,
            "components": {one.name: component_answer(one) for one in shown},
            "anova": [asdict(row) for row in alone.anova],
            "interaction_pooled": None,
            "distinct": alone.distinct,
            "distinct_categories": alone.distinct_categories,
            "gauge": alone.repeatability,
        }
    full = gauge_study_anova(readings, tolerance=tolerance, confidence=CONFIDENCE)
    return {
        "mean_mm": full.mean,
        "components": {one.name: component_answer(one) for one in components(full)},
        "anova": [asdict(row) for row in full.anova],
        "interaction_pooled": full.pooled,
        "distinct": full.distinct,
        "distinct_categories": full.distinct_categories,
        "gauge": full.gauge,
    }


def _largest(found: dict[str, Any], *, coarse: bool) -> str:
    """The part of the gauge's scatter that is worth working on: "resolution", "repeatability",
    "appraiser" (“reproducibility” where no interaction is told apart) or "interaction"."""
    if coarse or not found:
        return "resolution"
    people = "appraiser" if "appraiser" in found else "reproducibility"
    names = [name for name in ("repeatability", people, "interaction") if name in found]
    return max(names, key=lambda name: float(found[name]["sd_mm"]))


def _blocks(study: Study, readings: list[GaugeReading], *, resolution_mm: float) -> dict[str, Any]:
    known = float(study.plan.get("reference_u_mm") or 0.0)
    floor = resolution_uncertainty(resolution_mm)
    rows = []
    for part in study.parts:
        reference = Length.from_json(study.references[part]).mm
        values = [reading.value for reading in readings if reading.part == part]
        rows.append({"part": part, **_bias(values, reference, doubt=math.hypot(known, floor))})
    biases = [float(row["bias_mm"]) for row in rows]
    mean = math.fsum(biases) / len(biases)
    # the blocks share the doubt of their set, so it is not made smaller by their number
    errors = [float(row["standard_error_mm"]) for row in rows]
    spread = max(abs(bias - mean) for bias in biases) / math.sqrt(3)
    points = [(Length.from_json(study.references[one.part]).mm, one.value) for one in readings]
    return {
        "schema": "firstpull/gauge-result/1",
        "kind": "blocks",
        "measured": study.measured,
        "parts": len(study.parts),
        "people": len(study.people),
        "rounds": study.rounds,
        "resolution_mm": resolution_mm,
        "reference_u_mm": known,
        "confidence": 0.95,
        "blocks": rows,
        **_within(study, readings),
        "bias_mm": mean,
        "bias_u_mm": math.hypot(max(errors), spread),
        "linearity": _linearity(points),
        "shown": any(row["shown"] for row in rows),
    }


def _within(study: Study, readings: list[GaugeReading]) -> dict[str, Any]:
    """The scatter of the readings of one block by one person, pooled, with its degrees of freedom."""
    cells: dict[tuple[str, str], list[float]] = {}
    for one in readings:
        cells.setdefault((one.part, one.appraiser), []).append(one.value)
    square = math.fsum((value - math.fsum(cell) / len(cell)) ** 2 for cell in cells.values() for value in cell)
    freedom = len(cells) * (study.rounds - 1)
    return {"repeatability_mm": math.sqrt(square / freedom), "degrees_of_freedom": freedom}


def _bias(values: list[float], reference: float, *, doubt: float) -> dict[str, Any]:
    """The bias at one block with its limits; ``doubt`` is that of the block and of the gauge's step."""
    row: dict[str, Any] = {"reference_mm": reference, "n": len(values)}
    if len(set(values)) == 1:
        bias, reach = values[0] - reference, coverage_factor(None, 0.95) * doubt
        found = {"bias_mm": bias, "standard_error_mm": doubt, "low_mm": bias - reach, "high_mm": bias + reach}
        return row | found | {"shown": abs(bias) > reach, "t": None, "chance": None}
    one = bias_study(values, reference, reference_u=doubt)
    found = {"bias_mm": one.bias, "standard_error_mm": one.standard_error, "low_mm": one.low, "high_mm": one.high}
    return row | found | {"shown": one.shown, "t": one.t, "chance": one.chance}


def _linearity(points: list[tuple[float, float]]) -> dict[str, Any] | None:
    try:
        return asdict(linearity_study(points))
    except BadInput:  # one block, or readings that lie on a line exactly: there is no line to judge
        return None

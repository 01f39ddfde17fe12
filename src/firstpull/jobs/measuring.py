"""What a shop's readings say of a gauge or a process, as plain data with a ``schema``; lengths in mm."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from firstpull.errors import BadInput
from firstpull.exchange.readings_table import StudyTable
from firstpull.statistics.capability_indices import Capability
from firstpull.statistics.gauge_bias import Linearity, linearity_study
from firstpull.statistics.gauge_readings import GaugeReading
from firstpull.statistics.gauge_repeatability import RepeatabilityStudy, repeatability_study
from firstpull.statistics.gauge_study import Component, GaugeStudy, gauge_study_anova, gauge_study_range

METHODS = ("anova", "range")


def study_of(
    table: StudyTable,
    *,
    method: str = "anova",
    tolerance_mm: float | None = None,
    resolution_mm: float = 0.0,
    confidence: float = 0.90,
) -> GaugeStudy:
    """The gauge study of a table of readings, in mm. Raises BadInput."""
    readings = readings_of_table(table)
    if method == "range":
        return gauge_study_range(readings, tolerance=tolerance_mm, resolution=resolution_mm)
    if method != "anova":
        raise BadInput(f"“{method}” is not a method.", where="method", hint=f"One of {', '.join(METHODS)}.")
    return gauge_study_anova(readings, tolerance=tolerance_mm, resolution=resolution_mm, confidence=confidence)


def readings_of_table(table: StudyTable) -> list[GaugeReading]:
    """The readings of a table, in mm."""
    return [GaugeReading(row.part, row.appraiser, row.reading.mm) for row in table.rows]


def alone_of(
    table: StudyTable, *, tolerance_mm: float | None = None, confidence: float = 0.90
) -> RepeatabilityStudy | None:
    """The study of one person’s readings, in mm; None where two or more people read. Raises BadInput."""
    readings = readings_of_table(table)
    if len({reading.appraiser for reading in readings}) != 1:
        return None
    return repeatability_study(readings, tolerance=tolerance_mm, confidence=confidence)


def linearity_of(table: StudyTable) -> Linearity | None:
    """Bias over the range from the rows that have a reference: three or more, at two values or more; else None."""
    points = [(row.reference.mm, row.reading.mm) for row in table.rows if row.reference is not None]
    enough = len(points) >= 3 and len({reference for reference, _reading in points}) >= 2
    return linearity_study(points) if enough else None


def gauge_study_answer(study: GaugeStudy, linearity: Linearity | None) -> dict[str, Any]:
    """``firstpull/gauge-study/1``: every component with its sd, limits, shares; the ANOVA table; the linearity."""
    return {
        "schema": "firstpull/gauge-study/1",
        "method": study.method,
        "parts": study.parts,
        "appraisers": study.appraisers,
        "trials": study.trials,
        "mean_mm": study.mean,
        "tolerance_mm": study.tolerance,
        "confidence": study.confidence,
        "interaction_pooled": study.pooled,
        "components": {part.name: component_answer(part) for part in components(study)},
        "distinct": study.distinct,
        "distinct_categories": study.distinct_categories,
        "anova": [asdict(row) for row in study.anova],
        "linearity": None if linearity is None else asdict(linearity),
        "notes": list(study.notes),
    }


def alone_answer(study: RepeatabilityStudy, linearity: Linearity | None) -> dict[str, Any]:
    """``firstpull/gauge-study/1`` of one person: method “one person”, no reproducibility among the components."""
    return {
        "schema": "firstpull/gauge-study/1",
        "method": "one person",
        "parts": study.parts,
        "appraisers": 1,
        "trials": study.trials,
        "mean_mm": study.mean,
        "tolerance_mm": study.tolerance,
        "confidence": study.confidence,
        "interaction_pooled": None,
        "components": {part.name: component_answer(part) for part in (study.repeatability, study.part, study.total)},
        "distinct": study.distinct,
        "distinct_categories": study.distinct_categories,
        "anova": [asdict(row) for row in study.anova],
        "linearity": None if linearity is None else asdict(linearity),
        "notes": ["One person only: what differs between people is not in it."],
    }


def components(study: GaugeStudy) -> tuple[Component, ...]:
    """The parts of the scatter in the order in which they are shown."""
    between = () if study.interaction is None else (study.appraiser, study.interaction)
    return (study.repeatability, study.reproducibility, *between, study.gauge, study.part, study.total)


def capability_answer(found: Capability) -> dict[str, Any]:
    """``firstpull/capability/1``: the indices with their limits, what is shown, the scatters, and what speaks against it."""
    return {
        "schema": "firstpull/capability/1",
        "n": found.n,
        "mean_mm": found.mean,
        "low_mm": found.low,
        "high_mm": found.high,
        "sd_within_mm": found.sd_within,
        "sd_overall_mm": found.sd_overall,
        "degrees_of_freedom_within": found.freedom_within,
        "confidence": found.confidence,
        "indices": [asdict(index) for index in (found.cp, found.cpk, found.pp, found.ppk) if index is not None],
        "outside_share": found.outside_share,
        "inside_at_least": found.inside_at_least,
        "signals": found.signals,
        "patterns": found.patterns,
        "notes": list(found.notes),
    }


def component_answer(part: Component) -> dict[str, Any]:
    """One part of the scatter as plain data, in mm."""
    return {
        "sd_mm": part.sd,
        "sd_low_mm": part.sd_low,
        "sd_high_mm": part.sd_high,
        "degrees_of_freedom": part.degrees_of_freedom,
        "study_percent": part.study_percent,
        "variance_percent": part.variance_percent,
        "tolerance_percent": part.tolerance_percent,
    }

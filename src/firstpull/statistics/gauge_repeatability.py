"""Gauge study of one person: repeatability against the parts, by one-way analysis of variance. It shows no reproducibility.

Sources: NIST/SEMATECH e-Handbook 3.2.3.1 (one-way ANOVA, random model); D. C. Montgomery, Design and Analysis of
Experiments, 5th ed., section 3-9 (variance components of one random factor, their limits; from memory); AIAG Measurement
Systems Analysis, 4th ed., III-B (repeatability).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstpull.errors import BadInput
from firstpull.statistics.gauge_readings import GaugeReading
from firstpull.statistics.gauge_study import SPREAD, AnovaRow, Component
from firstpull.statistics.inputs import a_count, a_number, a_share
from firstpull.statistics.variance_limits import MeanSquare, VarianceLimits, variance_limits


@dataclass(frozen=True, slots=True)
class RepeatabilityStudy:
    """What one person's readings are worth: ``repeatability`` and ``part`` with their limits at ``confidence``."""

    parts: int
    trials: int
    mean: float
    anova: tuple[AnovaRow, ...]
    repeatability: Component
    part: Component
    total: Component
    distinct: float
    distinct_categories: int
    tolerance: float | None
    confidence: float


def repeatability_study(
    readings: Sequence[GaugeReading], *, tolerance: float | None = None, confidence: float = 0.90
) -> RepeatabilityStudy:
    """Repeatability and part variation from one person's ``readings`` in any one unit, parts at random.

    2 to 100 parts, each read equally often, 2 to 50 times. ``tolerance`` is the full width in that unit. A negative part
    variance counts as 0. Limits are two-sided at ``confidence``. Raises BadInput: missing readings by part, more than one
    person, readings of one part that are all equal.
    Source: NIST/SEMATECH e-Handbook 3.2.3.1; Montgomery (from memory): σ² = MSE, στ² = (MSparts − MSE)/n; limits of σ²
    chi-square, exact; of στ² modified large-sample as in :mod:`variance_limits`.
    """
    table = _table(readings)
    sure = a_share(confidence, "confidence")
    width = None if tolerance is None else a_number(tolerance, "tolerance", least=1e-12)
    p, r = table.shape
    means = table.mean(axis=1)
    between = float(r * ((means - table.mean()) ** 2).sum())
    within = float(((table - means[:, None]) ** 2).sum())
    if within <= 1e-24 * max(1.0, float(np.abs(table).max()) ** 2):
        raise BadInput(
            "The readings of one part are all equal, so they say nothing about the gauge.",
            where="readings",
            hint="Read one digit more, or use a gauge with a finer step.",
        )
    part_ms, error_ms = between / (p - 1), within / (p * (r - 1))
    repeat = variance_limits([MeanSquare(1.0, error_ms, p * (r - 1))], sure)
    part = variance_limits([MeanSquare(1 / r, part_ms, p - 1), MeanSquare(-1 / r, error_ms, p * (r - 1))], sure)
    total = math.sqrt(repeat.variance + part.variance)
    distinct = math.sqrt(2 * part.variance / repeat.variance)
    return RepeatabilityStudy(
        parts=p,
        trials=r,
        mean=float(table.mean()),
        anova=_rows(between, within, counts=(p, r)),
        repeatability=_component("repeatability", repeat, total=total, tolerance=width),
        part=_component("part", part, total=total, tolerance=width),
        total=_component("total", None, total=total, tolerance=width),
        distinct=distinct,
        distinct_categories=math.floor(distinct + 1e-9),
        tolerance=width,
        confidence=sure,
    )


def _table(readings: Sequence[GaugeReading]) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    people = {reading.appraiser for reading in readings}
    if len(people) > 1:
        raise BadInput("This is for one person’s readings.", where="appraisers", hint="With two or more: a full study.")
    cells: dict[str, list[float]] = {}
    for place, reading in enumerate(readings):
        cells.setdefault(reading.part, []).append(a_number(reading.value, f"reading {place + 1}"))
    a_count(len(cells), "number of parts", least=2, most=100)
    trials = max(map(len, cells.values()))
    a_count(trials, "number of trials", least=2, most=50)
    short = [f"part {part} has {len(values)}" for part, values in cells.items() if len(values) < trials]
    if short:
        raise BadInput(
            f"Each part must be read equally often, {trials} times here: {'; '.join(short[:5])}.",
            where="readings",
            hint="Read what is missing, or leave that part out.",
        )
    return np.array(list(cells.values()), dtype=np.float64)


def _rows(between: float, within: float, *, counts: tuple[int, int]) -> tuple[AnovaRow, ...]:
    from scipy.special import fdtrc

    p, r = counts
    part_f, error_f = p - 1, p * (r - 1)
    ratio = (between / part_f) / (within / error_f)
    return (
        AnovaRow("parts", between, part_f, between / part_f, ratio, float(fdtrc(part_f, error_f, ratio))),
        AnovaRow("repeatability", within, error_f, within / error_f, None, None),
        AnovaRow("total", between + within, p * r - 1, (between + within) / (p * r - 1), None, None),
    )


def _component(name: str, limits: VarianceLimits | None, *, total: float, tolerance: float | None) -> Component:
    sd = total if limits is None else math.sqrt(limits.variance)
    return Component(
        name=name,
        sd=sd,
        sd_low=None if limits is None else math.sqrt(limits.low),
        sd_high=None if limits is None else math.sqrt(limits.high),
        degrees_of_freedom=None if limits is None else limits.degrees_of_freedom,
        study_percent=100 * sd / total,
        variance_percent=100 * (sd / total) ** 2,
        tolerance_percent=None if tolerance is None else 100 * SPREAD * sd / tolerance,
    )

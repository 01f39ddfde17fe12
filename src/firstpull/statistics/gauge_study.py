"""Gauge study, crossed: parts × appraisers × trials, by analysis of variance and by ranges.

Sources: AIAG Measurement Systems Analysis, 4th ed., chapter III section B (average and range method, ANOVA method,
number of distinct categories; read in public copies); ISO 22514-7 (capability of measuring processes);
R. K. Burdick, C. M. Borror, D. C. Montgomery, Journal of Quality Technology 35 (2003) 342–354 (random two-way model);
NIST/SEMATECH e-Handbook 2.4 (gauge R & R studies) and 3.2.3.3 (crossed two-way ANOVA).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from firstpull.errors import BadInput
from firstpull.statistics.control_charts import chart_constants
from firstpull.statistics.gauge_readings import GaugeReading, crossed_table
from firstpull.statistics.inputs import a_number, a_share
from firstpull.statistics.measurement import rectangular, resolution_uncertainty
from firstpull.statistics.share_limits import ShareLimits, share_limits
from firstpull.statistics.variance_limits import MeanSquare, VarianceLimits, variance_limits

_Floats = npt.NDArray[np.float64]
SPREAD = 6.0
"""A spread is six standard deviations (AIAG 4th ed.; earlier editions took 5.15)."""


@dataclass(frozen=True, slots=True)
class AnovaRow:
    """One line of the table: ``source``, sum of squares, degrees of freedom, mean square, F and its chance.

    ``f`` and ``chance`` (of an F that large with no effect) are None for the rows that are not tested.
    """

    source: str
    sum_of_squares: float
    degrees_of_freedom: int
    mean_square: float
    f: float | None
    chance: float | None


@dataclass(frozen=True, slots=True)
class Component:
    """One part of the scatter: ``sd`` in the unit of the readings, limits of it where there are any, and its shares.

    ``study_percent`` is 100 · sd / total sd (these do not add up to 100), ``variance_percent`` the share of the
    variance (these do), ``tolerance_percent`` is 100 · 6 sd / tolerance. ``study_percent_low`` and ``_high`` are the
    limits of ``study_percent`` (for the gauge: of %GRR), None where the method gives none. ``degrees_of_freedom`` by Satterthwaite, None
    where the method gives none or the sd is 0.
    """

    name: str
    sd: float
    sd_low: float | None
    sd_high: float | None
    degrees_of_freedom: float | None
    study_percent: float
    variance_percent: float
    tolerance_percent: float | None
    study_percent_low: float | None = None
    study_percent_high: float | None = None


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """What a gauge's readings are worth. ``gauge`` is repeatability and reproducibility together.

    ``reproducibility`` is appraisers and their interaction with parts together; ``interaction`` is None where it was
    pooled into the repeatability or the method can not see it. ``distinct`` is √2 · part sd / gauge sd;
    ``distinct_categories`` is that without its fraction. ``confidence`` belongs to the components' limits.
    ``notes`` say in sentences what a person should know.
    """

    method: Literal["anova", "range"]
    parts: int
    appraisers: int
    trials: int
    mean: float
    anova: tuple[AnovaRow, ...]
    pooled: bool
    repeatability: Component
    reproducibility: Component
    appraiser: Component
    interaction: Component | None
    gauge: Component
    part: Component
    total: Component
    distinct: float
    distinct_categories: int
    tolerance: float | None
    confidence: float | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Squares:
    """Sums of squares of a balanced crossed table, with its counts."""

    part: float
    appraiser: float
    interaction: float
    error: float
    counts: tuple[int, int, int]

    @property
    def freedoms(self) -> tuple[int, int, int, int]:
        p, o, r = self.counts
        return p - 1, o - 1, (p - 1) * (o - 1), p * o * (r - 1)


def gauge_study_anova(
    readings: Sequence[GaugeReading],
    *,
    tolerance: float | None = None,
    pool_above: float = 0.25,
    confidence: float = 0.90,
    resolution: float = 0.0,
) -> GaugeStudy:
    """Repeatability and reproducibility of a crossed study by analysis of variance, random effects.

    ``readings`` in any one unit: 2 to 100 parts, 2 to 50 appraisers, 2 to 1000 trials, every cell equally often.
    ``tolerance`` is the full width in that unit; ``resolution`` the gauge's step (0 when not known). The interaction
    is pooled into the repeatability when the chance of its F is over ``pool_above`` (0 … 1; 0 always pools, 1 never
    does). Negative variance estimates count as 0. Limits are two-sided at ``confidence``. Raises BadInput: missing
    cells by name, readings that do not scatter.
    Source: AIAG MSA 4th ed. III-B, ANOVA method; pooling at 0.25 common practice (Bancroft's preliminary test);
    limits: exact chi-square for repeatability, modified large-sample for the others (Burdick et al. 2003); of the
    shares: generalized (Hamada and Weerahandi 2000).
    """
    table = crossed_table(readings)
    pool = a_number(pool_above, "pool_above", least=0, most=1)
    sure = a_share(confidence, "confidence")
    squares = _sums_of_squares(table.values)
    rows, chance = _anova_rows(squares)
    pooled = chance > pool or pool == 0
    limits = _limits(squares, pooled=pooled, confidence=sure)
    shares = _share_limits(squares, pooled=pooled, confidence=sure)
    width = None if tolerance is None else a_number(tolerance, "tolerance", least=1e-12)
    total = _total(limits)
    if pooled:
        rows = _pooled_rows(squares)

    def component(name: str) -> Component:
        found = limits[name]
        return _component(
            name,
            math.sqrt(found.variance),
            total=total,
            tolerance=width,
            limits=found if found.high > 0 else None,
            share=shares.get(name),
        )

    gauge = component("gauge")
    part = component("part")
    distinct = _distinct(part.sd, gauge.sd)
    return GaugeStudy(
        method="anova",
        parts=squares.counts[0],
        appraisers=squares.counts[1],
        trials=squares.counts[2],
        mean=float(table.values.mean()),
        anova=rows,
        pooled=pooled,
        repeatability=component("repeatability"),
        reproducibility=component("reproducibility"),
        appraiser=component("appraiser"),
        interaction=None if pooled else component("interaction"),
        gauge=gauge,
        part=part,
        total=_component("total", total, total=total, tolerance=width, limits=None),
        distinct=distinct,
        distinct_categories=math.floor(distinct + 1e-9),
        tolerance=width,
        confidence=sure,
        notes=_notes(
            gauge, distinct, counts=squares.counts, step=_step(resolution), interaction=not pooled, tolerance=width
        ),
    )


def gauge_study_range(
    readings: Sequence[GaugeReading], *, tolerance: float | None = None, resolution: float = 0.0
) -> GaugeStudy:
    """Repeatability and reproducibility of a crossed study from ranges; readings, ranges and errors as for the ANOVA.

    Simple enough for paper, but blind to an interaction (it lands in the repeatability or the appraisers) and without
    limits. Source: AIAG MSA 4th ed. III-B, average and range method: EV = R̄/d2(trials), AV² = (X̄diff/d2*(appraisers))² −
    EV²/(parts · trials), PV = Rp/d2*(parts), with d2* = √(d2² + d3²) of one group (A. J. Duncan); the printed K1, K2, K3
    are the reciprocals, here computed.
    """
    table = crossed_table(readings)
    values = table.values
    p, o, r = values.shape
    repeatability = float(np.ptp(values, axis=2).mean()) / chart_constants(r).d2
    between = float(np.ptp(values.mean(axis=(0, 2)))) / _one_group(o)
    appraiser = math.sqrt(max(0.0, between**2 - repeatability**2 / (p * r)))
    part_sd = float(np.ptp(values.mean(axis=(1, 2)))) / _one_group(p)
    gauge_sd = math.hypot(repeatability, appraiser)
    total = math.hypot(gauge_sd, part_sd)
    _scatters(gauge_sd, total)
    width = None if tolerance is None else a_number(tolerance, "tolerance", least=1e-12)

    def component(name: str, sd: float) -> Component:
        return _component(name, sd, total=total, tolerance=width, limits=None)

    gauge = component("gauge", gauge_sd)
    distinct = _distinct(part_sd, gauge_sd)
    return GaugeStudy(
        method="range",
        parts=p,
        appraisers=o,
        trials=r,
        mean=float(values.mean()),
        anova=(),
        pooled=False,
        repeatability=component("repeatability", repeatability),
        reproducibility=component("reproducibility", appraiser),
        appraiser=component("appraiser", appraiser),
        interaction=None,
        gauge=gauge,
        part=component("part", part_sd),
        total=component("total", total),
        distinct=distinct,
        distinct_categories=math.floor(distinct + 1e-9),
        tolerance=width,
        confidence=None,
        notes=_notes(gauge, distinct, counts=(p, o, r), step=_step(resolution), interaction=False, tolerance=width),
    )


def gauge_uncertainty(
    study: GaugeStudy, *, resolution: float = 0.0, bias: float = 0.0
) -> tuple[tuple[str, float, float | None], ...]:
    """What the study adds to the uncertainty of one reading by one appraiser: (name, standard uncertainty, freedom).

    In the readings' own unit; freedom None where not known. ``resolution`` (0 or more) is the gauge's step: the
    repeatability counts at least step/√12, since readings that all round to one number do not prove that there is no
    scatter, and not beside it, since it is in the scatter already. ``bias`` is one that is known and not corrected, any
    sign: it counts |bias|/√3. Feeds :func:`measurement.effective_degrees_of_freedom`. Raises BadInput.
    Source: JCGM 100 4.2, F.2.2.1; ISO 22514-7 (bias; from memory).
    """
    floor = resolution_uncertainty(a_number(resolution, "resolution", least=0))
    repeat = study.repeatability
    coarse = floor > repeat.sd
    return (
        (
            "resolution" if coarse else "repeatability",
            max(floor, repeat.sd),
            None if coarse else repeat.degrees_of_freedom,
        ),
        ("reproducibility", study.reproducibility.sd, study.reproducibility.degrees_of_freedom),
        ("bias", rectangular(abs(a_number(bias, "bias"))), None),
    )


def _sums_of_squares(values: _Floats) -> _Squares:
    p, o, r = values.shape
    near = values - values.flat[0]  # exact for near numbers: a large offset must not cost digits
    centred = near - near.mean()
    by_part, by_appraiser, by_cell = centred.mean(axis=(1, 2)), centred.mean(axis=(0, 2)), centred.mean(axis=2)
    crossed = by_cell - by_part[:, None] - by_appraiser[None, :]
    return _Squares(
        part=float(o * r * (by_part**2).sum()),
        appraiser=float(p * r * (by_appraiser**2).sum()),
        interaction=float(r * (crossed**2).sum()),
        error=float(((centred - by_cell[:, :, None]) ** 2).sum()),
        counts=(p, o, r),
    )


def _row(source: str, square: float, *, freedom: int, against: tuple[float, int] | None) -> AnovaRow:
    mean_square = square / freedom
    if against is None:
        return AnovaRow(source, square, freedom, mean_square, None, None)
    if against[0] <= 0:  # no scatter to compare with: an effect is certain, none is none
        return AnovaRow(source, square, freedom, mean_square, None, 0.0 if square > 0 else 1.0)
    from scipy.special import fdtrc

    ratio = mean_square / against[0]
    return AnovaRow(source, square, freedom, mean_square, ratio, float(fdtrc(freedom, against[1], ratio)))


def _anova_rows(squares: _Squares) -> tuple[tuple[AnovaRow, ...], float]:
    """The table with interaction (parts and appraisers are tested against it), and the chance of the interaction."""
    part_f, appraiser_f, crossed_f, error_f = squares.freedoms
    error = (squares.error / error_f, error_f)
    crossed = _row("interaction", squares.interaction, freedom=crossed_f, against=error)
    against = (crossed.mean_square, crossed_f)
    rows = (
        _row("parts", squares.part, freedom=part_f, against=against),
        _row("appraisers", squares.appraiser, freedom=appraiser_f, against=against),
        crossed,
        _row("repeatability", squares.error, freedom=error_f, against=None),
        _total_row(squares),
    )
    return rows, 1.0 if crossed.chance is None else crossed.chance


def _pooled_rows(squares: _Squares) -> tuple[AnovaRow, ...]:
    part_f, appraiser_f, crossed_f, error_f = squares.freedoms
    square, freedom = squares.error + squares.interaction, error_f + crossed_f
    against = (square / freedom, freedom)
    return (
        _row("parts", squares.part, freedom=part_f, against=against),
        _row("appraisers", squares.appraiser, freedom=appraiser_f, against=against),
        _row("repeatability", square, freedom=freedom, against=None),
        _total_row(squares),
    )


def _total_row(squares: _Squares) -> AnovaRow:
    total = squares.part + squares.appraiser + squares.interaction + squares.error
    return _row("total", total, freedom=math.prod(squares.counts) - 1, against=None)


def _limits(squares: _Squares, *, pooled: bool, confidence: float) -> dict[str, VarianceLimits]:
    limits = {name: variance_limits(terms, confidence) for name, terms in _sums(squares, pooled=pooled).items()}
    # A component that came out negative counts as 0, and the sums are those of what counts, so that they add up.
    reproducibility = limits["appraiser"].variance + (0.0 if pooled else limits["interaction"].variance)
    limits["reproducibility"] = _with_variance(limits["reproducibility"], reproducibility)
    limits["gauge"] = _with_variance(limits["gauge"], limits["repeatability"].variance + reproducibility)
    return limits


def _share_limits(squares: _Squares, *, pooled: bool, confidence: float) -> dict[str, ShareLimits]:
    """Limits of each sd over the total sd; none where a mean square is 0, of which nothing can be believed."""
    sums = _sums(squares, pooled=pooled)
    if any(term.value <= 0 for terms in sums.values() for term in terms):
        return {}
    return share_limits(sums, ("gauge", "part"), confidence=confidence)


def _sums(squares: _Squares, *, pooled: bool) -> dict[str, list[MeanSquare]]:
    """Each component as a sum of mean squares, from their expectations in the random two-way model."""
    p, o, r = squares.counts
    part_f, appraiser_f, crossed_f, error_f = squares.freedoms
    part_ms, appraiser_ms = squares.part / part_f, squares.appraiser / appraiser_f
    if pooled:
        error_f = error_f + crossed_f
        error_ms = (squares.error + squares.interaction) / error_f
        sums = {
            "repeatability": (0.0, 0.0, 0.0, 1.0),
            "appraiser": (0.0, 1 / (p * r), 0.0, -1 / (p * r)),
            "reproducibility": (0.0, 1 / (p * r), 0.0, -1 / (p * r)),
            "gauge": (0.0, 1 / (p * r), 0.0, 1 - 1 / (p * r)),
            "part": (1 / (o * r), 0.0, 0.0, -1 / (o * r)),
        }
    else:
        error_ms = squares.error / error_f
        sums = {
            "repeatability": (0.0, 0.0, 0.0, 1.0),
            "appraiser": (0.0, 1 / (p * r), -1 / (p * r), 0.0),
            "interaction": (0.0, 0.0, 1 / r, -1 / r),
            "reproducibility": (0.0, 1 / (p * r), (p - 1) / (p * r), -1 / r),
            "gauge": (0.0, 1 / (p * r), (p - 1) / (p * r), 1 - 1 / r),
            "part": (1 / (o * r), 0.0, -1 / (o * r), 0.0),
        }
    squares_of = (part_ms, appraiser_ms, squares.interaction / crossed_f, error_ms)
    freedoms = (part_f, appraiser_f, crossed_f, error_f)
    return {
        name: [MeanSquare(c, ms, f) for c, ms, f in zip(sum_, squares_of, freedoms, strict=True) if c != 0]
        for name, sum_ in sums.items()
    }


def _with_variance(limits: VarianceLimits, variance: float) -> VarianceLimits:
    return VarianceLimits(
        variance,
        min(limits.low, variance),
        max(limits.high, variance),
        limits.degrees_of_freedom if variance > 0 else None,
    )


def _total(limits: dict[str, VarianceLimits]) -> float:
    gauge = limits["gauge"].variance
    total = math.sqrt(gauge + limits["part"].variance)
    _scatters(math.sqrt(gauge), total)
    return total


def _component(
    name: str,
    sd: float,
    *,
    total: float,
    tolerance: float | None,
    limits: VarianceLimits | None,
    share: ShareLimits | None = None,
) -> Component:
    return Component(
        name=name,
        sd=sd,
        sd_low=None if limits is None else math.sqrt(limits.low),
        sd_high=None if limits is None else math.sqrt(limits.high),
        degrees_of_freedom=None if limits is None else limits.degrees_of_freedom,
        study_percent=100 * sd / total,
        variance_percent=100 * (sd / total) ** 2,
        tolerance_percent=None if tolerance is None else 100 * SPREAD * sd / tolerance,
        study_percent_low=None if share is None else 100 * min(share.low, sd / total),
        study_percent_high=None if share is None else 100 * max(share.high, sd / total),
    )


def _one_group(n: int) -> float:
    """d2* of one group of n: the root mean square of its range, in sigmas."""
    constants = chart_constants(n)
    return math.hypot(constants.d2, constants.d3)


def _distinct(part: float, gauge: float) -> float:
    return math.sqrt(2) * part / gauge


def _step(resolution: float) -> float:
    return a_number(resolution, "resolution", least=0)


def _scatters(gauge: float, total: float) -> None:
    if gauge <= 1e-12 * total or total == 0:
        raise BadInput(
            "The readings of one part are all equal, so they say nothing about the gauge.",
            where="readings",
            hint="Read one digit more, or use a gauge with a finer step.",
        )


def _notes(
    gauge: Component,
    distinct: float,
    *,
    counts: tuple[int, int, int],
    step: float,
    interaction: bool,
    tolerance: float | None,
) -> tuple[str, ...]:
    """What the common limits say: under 10 % good, over 30 % unfit, five categories or more, a step of a tenth of the
    tolerance (AIAG MSA 4th ed. I-B, II-D)."""
    notes = []
    share = gauge.study_percent if gauge.tolerance_percent is None else gauge.tolerance_percent
    of = "of the study’s variation" if gauge.tolerance_percent is None else "of the tolerance"
    if share < 10:
        notes.append(f"The gauge takes {share:.1f} % {of}: good.")
    elif share <= 30:
        notes.append(f"The gauge takes {share:.1f} % {of}: it may do where the joint forgives it.")
    else:
        notes.append(f"The gauge takes {share:.1f} % {of}: not fit for this job.")
    if distinct < 5:
        notes.append(f"It tells these parts apart in {max(1, math.floor(distinct))} classes; five or more are wanted.")
    if interaction:
        notes.append("Appraisers read some parts differently from each other: look at how those parts are held.")
    if counts[0] < 5 or counts[1] < 3:
        notes.append("Few parts or appraisers: the limits are wide. Ten parts and three appraisers are usual.")
    if tolerance is not None and step > tolerance / 10 * (1 + 1e-12):
        notes.append("The step of the gauge is more than a tenth of the tolerance: take a finer one.")
    if step > 0 and gauge.sd < resolution_uncertainty(step):
        notes.append("The step of the gauge is coarser than its scatter: count step/√12 instead.")
    return tuple(notes)

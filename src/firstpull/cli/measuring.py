"""Commands about measuring: what a gauge is worth, and whether a process is capable."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import click

from firstpull.cli.main import Session, json_option
from firstpull.cli.reckon import read_bytes
from firstpull.cli.texts import grid, table
from firstpull.errors import BadInput
from firstpull.units import LengthUnit, parse_length, show_mm

if TYPE_CHECKING:
    from firstpull.statistics.capability_indices import Capability
    from firstpull.statistics.gauge_bias import Linearity
    from firstpull.statistics.gauge_repeatability import RepeatabilityStudy
    from firstpull.statistics.gauge_study import Component, GaugeStudy

_UNITS = click.Choice(["mm", "in"])


@click.command("gauge-study")
@click.argument("file", type=click.Path(path_type=Path), required=False)
@click.option("--gauge", help="The guided studies of a gauge of the shop instead of a file, by its mark.")
@click.option("--tolerance", help="Full width of what the gauge is to judge, for example “0.2 mm”.")
@click.option("--resolution", help="Step of the gauge, for example “0.01 mm”.")
@click.option("--method", type=click.Choice(["anova", "range"]), default="anova", show_default=True)
@click.option("--confidence", default=0.90, show_default=True, help="Of the limits, two-sided.")
@click.option("--unit", type=_UNITS, help="Of bare numbers, where the heading has none.")
@json_option
def gauge_study(
    session: Session,
    file: Path | None,
    *,
    gauge: str | None,
    tolerance: str | None,
    resolution: str | None,
    method: str,
    confidence: float,
    unit: str | None,
) -> None:
    """Repeatability and reproducibility from FILE: CSV or XLSX with the columns part, appraiser and reading [mm].

    Every appraiser reads every part equally often; one alone shows no reproducibility. With a column reference [mm] the
    bias over the range is told too.
    """
    from firstpull.exchange.readings_table import read_study
    from firstpull.jobs.measuring import alone_answer, alone_of, gauge_study_answer, linearity_of, study_of

    if (file is None) == (not gauge):
        raise BadInput("A file, or a gauge with --gauge.", where="file", hint="For example examples/gauge_study.csv.")
    if file is None:
        from firstpull.jobs.gauge_studies import studies_answer

        answer = studies_answer(session.book(), gauge or "")
        session.answer(answer, _studies_text(answer))
        return
    bare = cast("LengthUnit | None", unit)
    read = read_study(read_bytes(file), filename=str(file), unit=bare)
    width = None if tolerance is None else parse_length(tolerance, unit=bare, where="--tolerance").mm
    step = 0.0 if resolution is None else parse_length(resolution, unit=bare, where="--resolution").mm
    line = linearity_of(read)
    alone = alone_of(read, tolerance_mm=width, confidence=confidence)
    if alone is not None:
        session.answer(alone_answer(alone, line), _alone_text(alone, line, unit=read.unit))
        return
    study = study_of(read, method=method, tolerance_mm=width, resolution_mm=step, confidence=confidence)
    session.answer(gauge_study_answer(study, line), _study_text(study, line, unit=read.unit))


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--low", help="Lower limit, for example “11.15 mm”.")
@click.option("--high", help="Upper limit, for example “11.40 mm”.")
@click.option("--group-size", default=1, show_default=True, help="Readings in a subgroup; 1: each for itself.")
@click.option("--confidence", default=0.95, show_default=True)
@click.option("--unit", type=_UNITS, help="Of bare numbers, where the heading has none.")
@json_option
def capability(
    session: Session,
    file: Path,
    *,
    low: str | None,
    high: str | None,
    group_size: int,
    confidence: float,
    unit: str | None,
) -> None:
    """Cp, Cpk, Pp and Ppk with limits from FILE: CSV or XLSX with a column reading [mm], in the order of making."""
    from firstpull.exchange.readings_table import read_run
    from firstpull.jobs.measuring import capability_answer
    from firstpull.statistics.capability_indices import capability as capability_of

    bare = cast("LengthUnit | None", unit)
    read = read_run(read_bytes(file), filename=str(file), unit=bare)
    found = capability_of(
        [reading.mm for reading in read.readings],
        low=None if low is None else parse_length(low, unit=bare, where="--low").mm,
        high=None if high is None else parse_length(high, unit=bare, where="--high").mm,
        group_size=group_size,
        confidence=confidence,
    )
    session.answer(capability_answer(found), _capability_text(found, unit=read.unit))


def _study_text(study: GaugeStudy, line: Linearity | None, *, unit: LengthUnit) -> str:
    from firstpull.jobs.measuring import components

    head = ("", f"sd [{unit}]", "limits", "% of study", "% of tolerance")
    rows = [_component_row(part, unit=unit) for part in components(study)]
    lines = [
        f"{study.parts} parts, {study.appraisers} appraisers, {study.trials} trials; {study.method}",
        grid(head, rows),
        f"Tells {study.distinct_categories} classes of these parts apart.",
        *study.notes,
    ]
    if study.confidence is not None:
        lines.insert(2, f"Limits at {100 * study.confidence:g} % confidence.")
    if line is not None:
        lines.append(_linearity_text(line, unit=unit))
    return "\n".join(lines)


def _alone_text(study: RepeatabilityStudy, line: Linearity | None, *, unit: LengthUnit) -> str:
    head = ("", f"sd [{unit}]", "limits", "% of study", "% of tolerance")
    rows = [_component_row(part, unit=unit) for part in (study.repeatability, study.part, study.total)]
    lines = [
        f"{study.parts} parts, 1 appraiser, {study.trials} trials",
        grid(head, rows),
        f"Limits at {100 * study.confidence:g} % confidence.",
        f"Tells {study.distinct_categories} classes of these parts apart.",
        "One person only: what differs between people is not in it.",
    ]
    return "\n".join([*lines, *([] if line is None else [_linearity_text(line, unit=unit)])])


def _studies_text(answer: dict[str, Any]) -> str:
    rows = []
    for study in answer["studies"]:
        result = study["result"] or {}
        worth = result.get("bias_mm") if result.get("kind") == "blocks" else result.get("sd_mm")
        what = {"blocks": "bias", "parts": "sd"}.get(result.get("kind", ""), "")
        rows.append(
            (
                str(study["number"]),
                study["measured"],
                f"{study['readings']} of {study['of']}",
                "–" if worth is None else f"{what} {_fine(worth, 'mm')} mm",
                f"until {study['valid_until']}" if study["counts"] else study["why_not"],
            )
        )
    lines = [grid(("study", "measured", "readings", "worth", "counts"), rows)] if rows else ["No study yet."]
    doubt = answer["uncertainty"]
    lines.append(f"Standard uncertainty of one reading: {_fine(doubt['u_mm'], 'mm')} mm. {doubt['source']}.")
    return "\n".join(lines)


def _component_row(part: Component, *, unit: LengthUnit) -> tuple[str, ...]:
    limits = "–"
    if part.sd_low is not None and part.sd_high is not None:
        limits = f"{_fine(part.sd_low, unit)} to {_fine(part.sd_high, unit)}"
    tolerance = "–" if part.tolerance_percent is None else f"{part.tolerance_percent:.1f}"
    return (part.name, _fine(part.sd, unit), limits, f"{part.study_percent:.1f}", tolerance)


def _linearity_text(line: Linearity, *, unit: LengthUnit) -> str:
    head = (f"reference [{unit}]", "mean bias", "by the line", "limits")
    rows = [
        (
            _fine(point.reference, unit),
            _fine(point.mean_bias, unit),
            _fine(point.fitted, unit),
            f"{_fine(point.low, unit)} to {_fine(point.high, unit)}",
        )
        for point in line.band
    ]
    verdict = (
        "No bias is shown over this range." if line.acceptable else "A bias is shown: set the gauge, or correct it."
    )
    bent = " It does not follow a line." if line.straight is not None and line.straight < 0.05 else ""
    return f"{grid(head, rows)}\n{verdict}{bent}"


def _capability_text(found: Capability, *, unit: LengthUnit) -> str:
    indices = [index for index in (found.cp, found.cpk, found.pp, found.ppk) if index is not None]
    sure = f"{100 * found.confidence:g} %"
    rows = [(i.name, f"{i.value:.2f}", f"{i.low:.2f} to {i.high:.2f}", f"{i.at_least:.2f}") for i in indices]
    return "\n".join(
        [
            table(
                [
                    ("Readings", str(found.n)),
                    ("Mean", f"{_fine(found.mean, unit)} {unit}"),
                    ("Scatter within", f"{_fine(found.sd_within, unit)} {unit}"),
                    ("Scatter overall", f"{_fine(found.sd_overall, unit)} {unit}"),
                ]
            ),
            grid(("", "estimate", f"limits ({sure})", f"at least ({sure})"), rows),
            # rounded down: a proof must not read better than it is
            f"Shown at {sure}: at least {math.floor(1e4 * found.inside_at_least) / 100:.2f} % lie inside.",
            *found.notes,
        ]
    )


def _fine(value_mm: float, unit: LengthUnit) -> str:
    """One place more than a caliper shows: these are scatters."""
    return show_mm(value_mm, unit, decimals=4 if unit == "mm" else 5)

"""Statistics of a proof: tolerance factors, success runs, plans, and whether a measured value conforms."""

from __future__ import annotations

from pathlib import Path

import click

from firstpull.cli.main import Session, json_option
from firstpull.cli.reckon import read_bytes
from firstpull.cli.statistics_text import told

CONFIDENCE = click.option("--confidence", default=0.95, show_default=True)
FILE = click.argument("file", type=click.Path(path_type=Path))


@click.command()
@click.option("--n", type=int, required=True, help="Readings.")
@click.option("--coverage", default=0.99, show_default=True, help="Share that must lie inside.")
@CONFIDENCE
@json_option
def factor(session: Session, *, n: int, coverage: float, confidence: float) -> None:
    """Normal tolerance factors, exact: mean ± k·sd, and mean + k·sd for one limit."""
    from firstpull.jobs.statistics import factor_answer

    answer = factor_answer(n, coverage, confidence)
    session.answer(answer, told(answer))


@click.command()
@FILE
@click.option("--column", help="Which column; needed where several hold numbers.")
@click.option("--coverage", default=0.99, show_default=True)
@CONFIDENCE
@click.option("--low", type=float, help="Lower limit: then also the share shown inside.")
@click.option("--high", type=float, help="Upper limit.")
@json_option
def interval(
    session: Session,
    file: Path,
    *,
    column: str | None,
    coverage: float,
    confidence: float,
    low: float | None,
    high: float | None,
) -> None:
    """Tolerance interval of the numbers in FILE (CSV or XLSX)."""
    from firstpull.jobs.statistics import interval_answer
    from firstpull.jobs.statistics_tables import read_numbers

    values = read_numbers(read_bytes(file), filename=str(file)).numbers(column)
    answer = interval_answer(values, coverage=coverage, confidence=confidence, low=low, high=high)
    session.answer(answer, told(answer))


@click.command("success-run")
@click.option("--reliability", default=0.95, show_default=True)
@CONFIDENCE
@click.option("--failed", default=0, show_default=True, help="Failures that may happen.")
@json_option
def success_run(session: Session, *, reliability: float, confidence: float, failed: int) -> None:
    """How many coupons must pass to show a reliability."""
    from firstpull.jobs.statistics import success_run_answer

    answer = success_run_answer(reliability, confidence, failed=failed)
    session.answer(answer, told(answer))


@click.command()
@click.option("--passed", type=int, required=True)
@click.option("--failed", default=0, show_default=True)
@CONFIDENCE
@json_option
def shown(session: Session, *, passed: int, failed: int, confidence: float) -> None:
    """The reliability that coupons show: passed and failed ones."""
    from firstpull.jobs.statistics import shown_answer

    answer = shown_answer(passed, failed=failed, confidence=confidence)
    session.answer(answer, told(answer))


@click.command()
@click.option("--good", default=0.99, show_default=True, help="A reliability worth accepting nearly always.")
@click.option("--reliability", default=0.90, show_default=True, help="The reliability to be shown.")
@CONFIDENCE
@click.option("--producer", default=0.05, show_default=True, help="Risk to refuse a good lot.")
@click.option("--most", type=int, help="Cut off after so many coupons.")
@click.option("--lines-only", is_flag=True, help="Wald’s own lines, whose risks hold nearly.")
@json_option
def plan(
    session: Session,
    *,
    good: float,
    reliability: float,
    confidence: float,
    producer: float,
    most: int | None,
    lines_only: bool,
) -> None:
    """Pass or fail one coupon at a time, with exact risks."""
    from firstpull.jobs.statistics import plan_answer

    answer = plan_answer(good, reliability, confidence=confidence, producer=producer, most=most, lines_only=lines_only)
    session.answer(answer, told(answer))


@click.command("measured-plan")
@click.option("--good", default=0.999, show_default=True, help="A share inside worth accepting nearly always.")
@click.option("--reliability", default=0.99, show_default=True, help="The share inside to be shown.")
@CONFIDENCE
@click.option("--producer", default=0.05, show_default=True, help="Risk to refuse a good lot.")
@click.option("--stages", default=4, show_default=True)
@json_option
def measured_plan(
    session: Session, *, good: float, reliability: float, confidence: float, producer: float, stages: int
) -> None:
    """Measured values in stages: stop when the answer is clear, both risks kept."""
    from firstpull.jobs.statistics import measured_plan_answer

    answer = measured_plan_answer(good, reliability, confidence=confidence, producer=producer, stages=stages)
    session.answer(answer, told(answer))


@click.command()
@click.option("--value", type=float, required=True, help="What was measured.")
@click.option("--u", type=float, required=True, help="Its standard uncertainty.")
@click.option("--low", type=float)
@click.option("--high", type=float)
@CONFIDENCE
@json_option
def conforms(
    session: Session, *, value: float, u: float, low: float | None, high: float | None, confidence: float
) -> None:
    """Whether a measured value conforms, and where values may be accepted."""
    from firstpull.jobs.statistics import conforms_answer

    answer = conforms_answer(value, u, low=low, high=high, confidence=confidence)
    session.answer(answer, told(answer))


COMMANDS = (factor, interval, success_run, shown, plan, measured_plan, conforms)

"""Statistics of data: charts and their run lengths, capability, gauges, lives, groups. Plain numbers of any one unit."""

from __future__ import annotations

from pathlib import Path

import click

from firstpull.cli.main import Session, json_option
from firstpull.cli.reckon import read_bytes
from firstpull.cli.statistics_proof import CONFIDENCE, FILE
from firstpull.cli.statistics_text import told
from firstpull.errors import BadInput

_KINDS = ("individuals", "range", "sd", "ewma", "cusum", "p", "c", "u")


@click.command()
@click.option("--n", type=int, required=True, help="Values in a subgroup, 2 to 100.")
@json_option
def constants(session: Session, *, n: int) -> None:
    """Chart factors, computed: A to E3 and d2, d3, c4, c5."""
    from firstpull.jobs.statistics import constants_answer

    answer = constants_answer(n)
    session.answer(answer, told(answer))


@click.command()
@click.argument("kind", type=click.Choice(_KINDS))
@FILE
@click.option("--column", help="Which column of numbers.")
@click.option("--size", type=int, help="Values in a subgroup; without it each row is one.")
@click.option("--centre", type=float, help="Known centre.")
@click.option("--sigma", type=float, help="Known sigma of one value.")
@click.option("--weight", default=0.2, show_default=True, help="EWMA.")
@click.option("--width", default=3.0, show_default=True, help="EWMA, in its own sigmas.")
@click.option("--slack", default=0.5, show_default=True, help="CUSUM, in sigmas.")
@click.option("--limit", default=5.0, show_default=True, help="CUSUM, in sigmas.")
@click.option("--head-start", default=0.0, show_default=True, help="CUSUM, in sigmas.")
@json_option
def chart(
    session: Session,
    kind: str,
    file: Path,
    *,
    column: str | None,
    size: int | None,
    centre: float | None,
    sigma: float | None,
    weight: float,
    width: float,
    slack: float,
    limit: float,
    head_start: float,
) -> None:
    """A chart of FILE: individuals, range (x̄-R), sd (x̄-s), ewma, cusum; p, c, u of counts (columns count, size)."""
    from firstpull.jobs.statistics import chart_answer
    from firstpull.jobs.statistics_tables import read_numbers

    memory = {"weight": weight, "width": width, "slack": slack, "limit": limit, "head_start": head_start}
    answer = chart_answer(
        kind,
        read_numbers(read_bytes(file), filename=str(file)),
        column=column,
        size=size,
        centre=centre,
        sigma=sigma,
        settings=memory,
    )
    session.answer(answer, told(answer))


@click.command("run-length")
@click.argument("what", nargs=-1, required=True)
@click.option("--shift", default=0.0, show_default=True, help="Of the centre, in sigmas of a point.")
@click.option("--points", default=25, show_default=True, help="Also the chance within so many points.")
@click.option("--weight", default=0.2, show_default=True, help="EWMA.")
@click.option("--width", default=3.0, show_default=True, help="EWMA, in its own sigmas.")
@click.option("--slack", default=0.5, show_default=True, help="CUSUM, in sigmas.")
@click.option("--limit", default=5.0, show_default=True, help="CUSUM, in sigmas.")
@click.option("--head-start", default=0.0, show_default=True, help="CUSUM, in sigmas.")
@json_option
def run_length(
    session: Session,
    what: tuple[str, ...],
    *,
    shift: float,
    points: int,
    weight: float,
    width: float,
    slack: float,
    limit: float,
    head_start: float,
) -> None:
    """How soon a chart signals. WHAT: run rules as “1 2 3 4”, or ewma, or cusum."""
    from firstpull.jobs.statistics import memory_run_length_answer, rules_answer

    if what == ("ewma",):
        answer = memory_run_length_answer("ewma", shift=shift, settings={"weight": weight, "width": width})
    elif what == ("cusum",):
        cusum = {"slack": slack, "limit": limit, "head_start": head_start}
        answer = memory_run_length_answer("cusum", shift=shift, settings=cusum)
    elif all(word.isdecimal() for word in what):
        answer = rules_answer([int(word) for word in what], shift=shift, points=points)
    else:
        raise BadInput(f"“{' '.join(what)}” is neither rules nor a chart.", where="what", hint="For example 1 2 3 4.")
    session.answer(answer, told(answer))


@click.command()
@FILE
@click.option("--column", help="Which column of numbers.")
@click.option("--low", type=float)
@click.option("--high", type=float)
@click.option("--target", type=float, help="Then also Cpm.")
@click.option("--size", default=1, show_default=True, help="Values in a subgroup.")
@CONFIDENCE
@json_option
def capability(
    session: Session,
    file: Path,
    *,
    column: str | None,
    low: float | None,
    high: float | None,
    target: float | None,
    size: int,
    confidence: float,
) -> None:
    """Cp, Cpk, Pp, Ppk, Cpm of the numbers in FILE, in their order."""
    from firstpull.jobs.statistics import capability_plain
    from firstpull.jobs.statistics_tables import read_numbers

    values = read_numbers(read_bytes(file), filename=str(file)).numbers(column)
    answer = capability_plain(values, low=low, high=high, target=target, size=size, confidence=confidence)
    session.answer(answer, told(answer))


@click.command("gauge-study")
@FILE
@click.option("--method", type=click.Choice(["anova", "range"]), default="anova", show_default=True)
@click.option("--tolerance", type=float, help="Full width that the gauge is to judge.")
@click.option("--confidence", default=0.90, show_default=True)
@click.option("--pool-above", default=0.25, show_default=True, help="Chance over which the interaction is pooled.")
@json_option
def gauge_study(
    session: Session, file: Path, *, method: str, tolerance: float | None, confidence: float, pool_above: float
) -> None:
    """Repeatability and reproducibility: columns part, appraiser, value."""
    from firstpull.jobs.statistics import gauge_plain
    from firstpull.jobs.statistics_tables import read_numbers

    table = read_numbers(read_bytes(file), filename=str(file))
    answer = gauge_plain(table, method=method, tolerance=tolerance, confidence=confidence, pool_above=pool_above)
    session.answer(answer, told(answer))


@click.command()
@click.argument("file", type=click.Path(path_type=Path), required=False)
@click.option(
    "--failed", "failures", multiple=True, help="Lives that ended, as “54 187 216”, or “500x10” for ten of them."
)
@click.option("--running", multiple=True, help="Lives that go on, likewise.")
@click.option("--shape", type=float, help="Stated from earlier work: what is shown even without failures.")
@click.option("--confidence", default=0.90, show_default=True)
@json_option
def weibull(
    session: Session,
    file: Path | None,
    *,
    failures: tuple[str, ...],
    running: tuple[str, ...],
    shape: float | None,
    confidence: float,
) -> None:
    """Weibull life from FILE: columns life, state (failed or running) and, to compare two, group."""
    from firstpull.jobs.statistics import weibull_answer
    from firstpull.jobs.statistics_tables import lives, read_numbers, typed_numbers

    if (file is None) == (not failures and not running):
        raise BadInput("Give a file, or lives by --failed and --running.", where="file", hint="One of both.")
    if file is not None:
        groups = lives(read_numbers(read_bytes(file), filename=str(file)))
    else:
        groups = {"": (typed_numbers(failures, where="--failed"), typed_numbers(running, where="--running"))}
    answer = weibull_answer(groups, confidence=confidence, shape=shape)
    session.answer(answer, told(answer))


@click.command()
@FILE
@json_option
def groups(session: Session, file: Path) -> None:
    """Do groups differ by more than chance? Columns group and value."""
    from firstpull.jobs.statistics import groups_answer
    from firstpull.jobs.statistics_tables import read_numbers

    answer = groups_answer(read_numbers(read_bytes(file), filename=str(file)))
    session.answer(answer, told(answer))


COMMANDS = (constants, chart, run_length, capability, gauge_study, weibull, groups)

"""Commands about parts: which insert is this one, and how few serve many joints."""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from firstpull.cli.main import Session, json_option
from firstpull.cli.reckon import read_inserts, read_text
from firstpull.cli.texts import grid
from firstpull.units import Length, LengthUnit, parse_length

if TYPE_CHECKING:
    from firstpull.mechanics.counted import Estimates
    from firstpull.mechanics.cover import Progress
    from firstpull.mechanics.identify import Identification, Match
    from firstpull.mechanics.insert import Body, End, Head, Insert
    from firstpull.mechanics.shelf import Shelf
    from firstpull.mechanics.standardise import Standard

_HEADS = click.Choice(["flat", "countersunk", "low profile"])
_BODIES = click.Choice(["round", "knurled", "ribbed", "hexagonal"])


def catalogue_option(command: click.decorators.FC) -> click.decorators.FC:
    """``--catalogue FILE``."""
    return click.option(
        "--catalogue",
        "catalogue_file",
        type=click.Path(path_type=Path),
        help="A CSV or XLSX file instead of the shop's catalogue.",
    )(command)


@click.command()
@click.option("--thread", help="M6, M8x1, 10-32, 1/4-20 …")
@click.option("--free-length", help="Overall length before the pull, for example “15.2 mm”.")
@click.option("--flange-diameter", help="Across the head.")
@click.option("--body-diameter", help="Outside of the body.")
@click.option("--head", type=_HEADS, help="What the head looks like.")
@click.option("--end", type=click.Choice(["open", "closed"]), help="The far end.")
@click.option("--body", type=_BODIES, help="What the body looks like.")
@click.option("--marks", type=int, help="How many marks the head carries.")
@click.option("--gauge-error", default="0.03 mm", show_default=True, help="Limit of error of the caliper.")
@click.option("--gauge", default="", help="A gauge of the shop: its limit of error is taken.")
@click.option("--unit", type=click.Choice(["mm", "in"]), default="mm", help="Of the answer, and of bare numbers.")
@catalogue_option
@json_option
def identify(
    session: Session,
    *,
    thread: str | None,
    free_length: str | None,
    flange_diameter: str | None,
    body_diameter: str | None,
    head: str | None,
    end: str | None,
    body: str | None,
    marks: int | None,
    gauge_error: str,
    gauge: str,
    unit: str,
    catalogue_file: Path | None,
) -> None:
    """Which insert of the catalogue is the one in your hand, and what to measure next to be sure.

    Give what you know of it; each thing may be left out.
    """
    from firstpull.jobs.identify import identify_answer, with_gauge
    from firstpull.mechanics.identify import InHand
    from firstpull.mechanics.identify import identify as identify_among

    chosen = cast(LengthUnit, unit)

    def length(text: str | None, name: str) -> Length | None:
        return None if text is None else parse_length(text, unit=chosen, where=f"--{name}")

    error = parse_length(gauge_error, unit=chosen, where="--gauge-error")
    seen = InHand(
        thread=thread,
        free_length=length(free_length, "free-length"),
        flange_diameter=length(flange_diameter, "flange-diameter"),
        body_diameter=length(body_diameter, "body-diameter"),
        head=cast("Head | None", head),
        end=cast("End | None", end),
        body=cast("Body | None", body),
        head_marks=marks,
        gauge_error_mm=error.mm,
    )
    if gauge:
        seen = with_gauge(session.book(), seen, gauge)
    found = identify_among(_catalogue(session, catalogue_file), seen, unit=chosen)
    session.answer(identify_answer(found), _identified(found, chosen))


def _catalogue(session: Session, file: Path | None) -> Sequence[Insert] | Shelf:
    """The inserts of a file, or the shop's catalogue as it stands. Raises BadInput when it is empty."""
    shelf = session.book().inserts() if file is None else None
    return shelf or read_inserts(session, file)


def _identified(found: Identification, unit: LengthUnit) -> str:
    from firstpull.mechanics.identify import percent
    from firstpull.units import show_length

    def row(match: Match) -> tuple[str, ...]:
        insert = match.insert
        grip = f"{show_length(insert.grip_min, unit)} to {show_length(insert.grip_max, unit)} {unit}"
        form = f"{insert.head}, {insert.end}, {insert.body}"
        return percent(match.probability), insert.name, insert.thread, insert.material, form, grip

    rows = [row(match) for match in found.matches[:8]]
    others = found.others_probability + sum(match.probability for match in found.matches[8:])
    if others >= 0.005:
        rows.append((percent(others), "others", "", "", "", ""))
    rows.append((percent(found.none_probability), "none of these", "", "", "", ""))
    return "\n".join([found.text, "", grid(("", "part", "thread", "material", "form", "grip"), rows), "", *found.notes])


@click.command()
@click.argument("job_files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--min-margin", type=float, default=0.1, show_default=True, help="Least margin of every check, a share.")
@click.option(
    "--estimates",
    type=click.Choice(["expected", "worst"]),
    default="expected",
    show_default=True,
    help="Which margin of a rough formula counts. Standards and tests count at their worst case.",
)
@click.option("--tool", "tool_ids", multiple=True, help="A tool of the shop that may set them; repeat for more.")
@click.option("--time-limit", type=float, default=30.0, show_default=True, help="Seconds; then the best so far counts.")
@catalogue_option
@json_option
def standardise(
    session: Session,
    *,
    job_files: tuple[Path, ...],
    min_margin: float,
    estimates: str,
    tool_ids: tuple[str, ...],
    time_limit: float,
    catalogue_file: Path | None,
) -> None:
    """The fewest part numbers that serve the joints of all JOB_FILES, and what each joint gives up for it.

    Each insert must pass every check of “choose” with the least margin to spare; the strength of the joint is checked
    where a file gives [loads], [screw] or [edges]. First as few part numbers as can be, then threads (mandrels), then tools; then the tightest joint gets as much margin as can be. Ctrl-C stops the search
    and gives the best so far.
    """
    from firstpull.exchange.job_file import read_job
    from firstpull.jobs.standardise import joints_of_files, standardise_answer, standardise_joints, tools_of_shop

    jobs = [(str(path), read_job(read_text(path), where=str(path))) for path in job_files]
    inserts = _catalogue(session, catalogue_file)
    joints = joints_of_files(jobs, inserts)
    tools = tools_of_shop(session.book(), tool_ids) if tool_ids else ()
    with _watched() as (say, stopped):
        found = standardise_joints(
            joints,
            inserts,
            min_margin=min_margin,
            estimates=cast("Estimates", estimates),
            tools=tools,
            time_limit_s=time_limit,
            cancelled=stopped,
            progress=say,
        )
    session.answer(standardise_answer(found), _standard(found, {joint.name: joint.unit for joint in joints}))


@contextmanager
def _watched() -> Iterator[tuple[Callable[[Progress], None], Callable[[], bool]]]:
    """Progress on a terminal's standard error, in one line that is written over, and whether the person has stopped it:
    the first Ctrl-C asks for the best so far, a second one ends the command."""
    shown, stopped = sys.stderr.isatty(), threading.Event()

    def say(step: Progress) -> None:
        if shown:
            best = "" if step.best is None else f", {step.best} part numbers so far, {step.bound} at least"
            click.echo(f"\r\x1b[K{step.step}: {step.place} of {step.of}{best}", nl=False, err=True)

    def stop(_signal: int, _frame: object) -> None:
        if stopped.is_set():
            raise KeyboardInterrupt
        stopped.set()

    main_thread = threading.current_thread() is threading.main_thread()  # only there may a signal be taken
    before = signal.signal(signal.SIGINT, stop) if main_thread else None
    try:
        yield say, stopped.is_set
    finally:
        if main_thread:
            signal.signal(signal.SIGINT, before)
        if shown:
            click.echo("\r\x1b[K", nl=False, err=True)


def _standard(found: Standard, units: Mapping[str, LengthUnit]) -> str:
    from firstpull.jobs.standardise_search import in_words_of

    lines = [found.text]
    if found.inserts:
        lines += ["", grid(("joint", "takes"), [(row.joint, row.text) for row in found.served])]
        lines += ["", f"Part numbers: {', '.join(insert.name for insert in found.inserts)}"]
        lines.append(f"Threads (mandrels): {', '.join(found.threads)}")
        if found.tools:
            lines.append(f"Tools: {', '.join(found.tools)}")
    if found.not_served:
        lines += ["", "Not served"]
        rows = [in_words_of(row, units[row.joint]) for row in found.not_served]
        lines += [f"  {row.joint}: nearest is {row.nearest}. {row.reason} {row.cure}" for row in rows]
    return "\n".join([*lines, *(["", *found.notes] if found.notes else [])])

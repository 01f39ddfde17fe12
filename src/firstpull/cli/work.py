"""Commands that take a job along the path up to a held setting."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from firstpull.cli.main import Session, json_option
from firstpull.cli.texts import advice_lines, grid, job_text
from firstpull.errors import BadInput
from firstpull.units import Length, parse_length, parse_pressure

if TYPE_CHECKING:
    from firstpull.mechanics.setting import Allowance
    from firstpull.record.job import JobState


def tell(session: Session, state: JobState) -> None:
    """Answer with where the job stands."""
    from firstpull.jobs.answers import job_answer
    from firstpull.jobs.path import owed, path

    stages = [(stage.name, stage.status, stage.note) for stage in path(state)]
    late = overdue(session, state)
    text = "\n".join([job_text(state, owed=owed(state), stages=stages), *late])
    session.answer({**job_answer(state), "overdue": list(late)}, text)


def tell_next(session: Session, state: JobState) -> None:
    """Answer with what to do next at the tool."""
    from firstpull.jobs.answers import job_answer

    late = overdue(session, state)
    text = "\n".join([*advice_lines(state), *late]).strip() or "Saved."
    session.answer({**job_answer(state), "overdue": list(late)}, text)


def typed(
    state: JobState, text: str | None, where: str, *, expected_mm: float | None = None, sure: bool = False
) -> Length | None:
    """A length typed in the job's unit unless it says its own. One that looks like a slip of unit or digit beside what
    was to be expected is asked about first, unless the person is ``sure``. Raises BadInput."""
    if text is None:
        return None
    from firstpull.jobs.shapes import unit_of
    from firstpull.jobs.slips import slip_question

    value = parse_length(text, unit=unit_of(state), where=where)
    question = "" if sure else slip_question(value, expected_mm, unit_of(state))
    if question:
        raise BadInput(question, where=where, hint="Read it again; if it is right, say so with --sure.")
    return value


def free_length_mm(state: JobState) -> float | None:
    """The insert's nominal free length in mm; None before one is chosen."""
    from firstpull.jobs.shapes import insert_of

    return None if state.insert is None else insert_of(state).length_free.mm


def overdue(session: Session, state: JobState) -> tuple[str, ...]:
    """What is past its date or limit at this job's tool and gauge."""
    from firstpull.jobs.look_after import warnings_for

    return warnings_for(session.book(), tool_id=state.tool_id, gauge_id=state.gauge_id)


sure_option = click.option("--sure", is_flag=True, help="The length is right although it looks like a slip.")


@click.command(name="open")
@click.argument("job_file", type=click.Path(path_type=Path))
@click.option("--tool", "tool_id", default="", help="A tool of the workshop instead of the file's own.")
@json_option
def open_(session: Session, job_file: Path, tool_id: str) -> None:
    """Open a job from JOB_FILE with everything that it says."""
    from firstpull.cli.reckon import read_text
    from firstpull.exchange.job_file import read_job
    from firstpull.jobs.open_job import open_from_file

    job = read_job(read_text(job_file), where=str(job_file))
    tell(session, open_from_file(session.book(), job, doing=session.doing(), tool_id=tool_id, demo=session.demo))


@click.command()
@click.argument("search", default="")
@json_option
def jobs(session: Session, search: str) -> None:
    """List the jobs, newest work first; SEARCH looks in titles, parts, tools and record ids."""
    store = session.book().store
    rows = store.search(search, kind="job") if search else store.summaries("job")
    found = sorted(rows, key=lambda row: str(row.data["touched_at"]), reverse=True)
    answer = {
        "schema": "firstpull/jobs/1",
        "jobs": [{"job": row.stream.partition(":")[2], **row.data} for row in found],
    }
    lines = [
        (row.stream.partition(":")[2], str(row.data["title"]), str(row.data["status"]), str(row.data["touched_at"]))
        for row in found
    ]
    session.answer(answer, grid(("job", "title", "status", "last touched"), lines) if lines else "No jobs.")


@click.command()
@click.argument("job")
@json_option
def show(session: Session, job: str) -> None:
    """Where JOB stands, what to do next, and what is owed."""
    tell(session, session.book().job(job))


@click.command()
@click.argument("job")
@click.argument("part")
@json_option
def take(session: Session, job: str, part: str) -> None:
    """Take the catalogue's insert PART for JOB."""
    from firstpull.jobs.choose import take_insert

    tell(session, take_insert(session.book(), job, part, doing=session.doing()))


@click.command()
@click.argument("job")
@click.argument("tool")
@click.option("--mandrel", default="", help="Mark of the mandrel.")
@click.option("--gauge", default="", help="Mark of the gauge that reads the lengths.")
@click.option("--present", help="Set length that an air pull gave with the knob as it stands.")
@click.option(
    "--allowance",
    help="Set allowance: a length, or “own” for this part's own releases; the catalogue's when left out.",
)
@json_option
def fit(
    session: Session, job: str, tool: str, mandrel: str, gauge: str, present: str | None, allowance: str | None
) -> None:
    """Use TOOL for JOB, and compute the setting."""
    from firstpull.jobs import set_up

    book, doing = session.book(), session.doing()
    chosen = None if allowance is None else _allowance(session, book.job(job), allowance)
    state = set_up.choose_tool(book, job, tool, doing=doing, mandrel_id=mandrel, gauge_id=gauge)
    if chosen is not None:
        set_up.give_allowance(book, job, chosen, doing=doing)
    tell(session, set_up.compute(book, job, doing=doing, present_set_length=typed(state, present, "--present")))


def _allowance(session: Session, state: JobState, text: str) -> Allowance:
    """The set allowance that --allowance names. Raises BadInput when this part has no release of its own."""
    from firstpull.jobs import set_up
    from firstpull.jobs.shapes import insert_of
    from firstpull.mechanics.setting import Allowance

    if text.strip().lower() != "own":
        length = typed(state, text, "--allowance")
        return Allowance(parse_length(text) if length is None else length)
    offers = [offer.allowance for offer in set_up.allowance_offers(session.book(), insert_of(state))]
    own = [offer for offer in offers if offer.source.startswith(set_up.OWN)]
    if not own:
        raise BadInput("This part has no release of its own yet.", where="--allowance", hint="Give a length.")
    return own[0]


@click.command()
@click.argument("job")
@click.argument("steps", nargs=-1)
@json_option
def done(session: Session, job: str, steps: tuple[str, ...]) -> None:
    """Say that the STEPS at the tool are done (air_off, mandrel, …); without STEPS, list them."""
    from firstpull.jobs.set_up import acts, do_step

    book = session.book()
    for step in steps:
        do_step(book, job, step, doing=session.doing())
    state = book.job(job)
    rows = [("done" if act["key"] in state.steps_done else "to do", act["key"], act["text"]) for act in acts(state)]
    answer = {
        "schema": "firstpull/acts/1",
        "acts": [{"key": key, "done": word == "done", "text": text} for word, key, text in rows],
    }
    session.answer(answer, grid(("", "step", "act"), rows) if rows else "There is no setting yet.")


@click.command()
@click.argument("job")
@click.argument("reading")
@click.option("--second", help="A second reading of the same insert.")
@click.option("--before", help="The insert's free length, measured before the pull.")
@click.option("--where", type=click.Choice(["air", "stack"]), default="air", show_default=True)
@sure_option
@json_option
def pull(
    session: Session, job: str, reading: str, second: str | None, before: str | None, where: str, sure: bool
) -> None:
    """Record one trial pull of JOB: READING is its set length. An unlikely reading is kept, and the answer asks."""
    from firstpull.jobs.dial_in import record_pull

    book = session.book()
    state = book.job(job)
    length = typed(state, reading, "reading")
    if length is not None:
        state = record_pull(
            book,
            job,
            length,
            doing=session.doing(),
            where=where,
            length_before=typed(state, before, "--before", expected_mm=free_length_mm(state), sure=sure),
            second_reading=typed(state, second, "--second"),
        )
    tell_next(session, state)


@click.command()
@click.argument("job")
@click.argument("reading")
@json_option
def again(session: Session, job: str, reading: str) -> None:
    """Record another READING of the insert pulled last."""
    from firstpull.jobs.dial_in import read_again

    book = session.book()
    length = typed(book.job(job), reading, "reading")
    state = read_again(book, job, length, doing=session.doing()) if length is not None else book.job(job)
    tell_next(session, state)


@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("job")
@click.option("--clicks", type=int, help="Whole clicks, plus as the knob counts.")
@click.option("--turns", type=float, help="Turns, for a knob without click stops.")
@click.option("--cycles", type=int, default=0, help="Cycles without an insert afterwards, with the air on.")
@json_option
def turn(session: Session, job: str, clicks: int | None, turns: float | None, cycles: int) -> None:
    """Record that the adjuster was turned, with the air off."""
    from firstpull.jobs.dial_in import turn as turned

    state = turned(session.book(), job, doing=session.doing(), clicks=clicks, turns=turns, dry_cycles=cycles)
    tell_next(session, state)


@click.command()
@click.argument("job")
@click.option("--count", type=int, default=1, show_default=True)
@json_option
def cycle(session: Session, job: str, count: int) -> None:
    """Record cycles without an insert."""
    from firstpull.jobs.dial_in import dry_cycle

    tell_next(session, dry_cycle(session.book(), job, doing=session.doing(), count=count))


@click.command()
@click.argument("job")
@click.argument("value")
@json_option
def pressure(session: Session, job: str, value: str) -> None:
    """Record the pressure VALUE (for example “4.8 bar”) at the inlet of a force-set tool."""
    from firstpull.jobs.force_set import set_pressure

    tell(session, set_pressure(session.book(), job, parse_pressure(value, where="value").bar, doing=session.doing()))


@click.command()
@click.argument("job")
@click.argument("sequence", type=int)
@click.option("--reason", required=True)
@json_option
def strike(session: Session, job: str, sequence: int, reason: str) -> None:
    """Strike out the reading with number SEQUENCE of JOB's record; it stays readable."""
    from firstpull.jobs.dial_in import strike_out

    tell_next(session, strike_out(session.book(), job, sequence, reason=reason, doing=session.doing()))


@click.command()
@click.argument("job")
@json_option
def hold(session: Session, job: str) -> None:
    """Take the setting as dialled in; only when the advice says so."""
    from firstpull.jobs import dial_in, force_set
    from firstpull.jobs.shapes import tool_of

    book = session.book()
    tool = tool_of(book.job(job))
    held = force_set.hold_pressure if tool is not None and tool.control == "force" else dial_in.hold
    tell(session, held(book, job, doing=session.doing()))

"""Commands of the run."""

from __future__ import annotations

from typing import Any

import click

from firstpull.cli.main import Session, json_option
from firstpull.cli.work import overdue, sure_option, tell, typed
from firstpull.units import parse_pressure, parse_torque


@click.command()
@click.argument("job")
@click.argument("kind", type=click.Choice(["tool", "joint", "go no-go", "first off", "last off"]))
@click.option("--count", type=int, required=True, help="Sets done so far on this card.")
@click.option("--length", help="Set length: an air pull, or with --front-gauge a set insert.")
@click.option("--front-gauge", is_flag=True, help="The length was read on a set insert in the part.")
@click.option("--pressure", help="Pressure at the inlet of a force-set tool, for example “4.8 bar”.")
@click.option("--thickness", help="Today's stack.")
@click.option("--seated/--not-seated", default=None, help="Head seated all round.")
@click.option("--torque", help="Torque of a turning test.")
@click.option("--arrangement", default="", help="flange or bushing.")
@click.option("--good/--not-good", default=None, help="The answer of a go / no-go, first-off or last-off check.")
@sure_option
@json_option
def check(session: Session, job: str, kind: str, count: int, **given: Any) -> None:
    """Record a check of JOB's run: KIND is tool, joint, “go no-go”, “first off” or “last off”."""
    from firstpull.jobs.answers import job_answer
    from firstpull.jobs.run_checks import Found, last_check, next_due, record_check

    book = session.book()
    state = book.job(job)
    wanted, sure = state.setting or {}, given["sure"]
    thick, long = wanted.get("thickness_mm"), wanted.get("set_length_mm")
    found = Found(
        kind=kind,
        count=count,
        set_length=typed(state, given["length"], "--length", expected_mm=long, sure=sure),
        in_air=not given["front_gauge"],
        pressure_bar=parse_pressure(given["pressure"], where="--pressure").bar if given["pressure"] else None,
        thickness=typed(state, given["thickness"], "--thickness", expected_mm=thick, sure=sure),
        seated=given["seated"],
        torque=parse_torque(given["torque"], where="--torque") if given["torque"] else None,
        arrangement=given["arrangement"],
        good=given["good"],
    )
    state = record_check(book, job, found, doing=session.doing())
    last = last_check(state)
    lines = [(last.result if last else "").upper(), *(last.reasons if last else ())]
    if state.stopped:
        latest = state.stops[-1]
        lines.append(
            f"Set no more. Quarantined: sets {latest.first_suspect} to {latest.last_suspect}. Only a new proof reopens the card."
        )
    else:
        due = next_due(state, book.now())
        lines.append(f"Next check after {due.sets_left} more sets, or at {due.at}.")
    late = overdue(session, state)
    session.answer({**job_answer(state), "overdue": list(late)}, "\n".join([*lines, *late]))


@click.command()
@click.argument("job")
@click.option("--front-gauge", is_flag=True, help="Of lengths read on set inserts instead of air pulls.")
@json_option
def run(session: Session, job: str, *, front_gauge: bool) -> None:
    """What the checks of JOB's run show: how often the rules cry wolf, and what the tool is shown to hold."""
    from firstpull.jobs.run_study import run_study, study_lines

    study = run_study(session.book().job(job), in_air=not front_gauge)
    session.answer(study, "\n".join([study["standing"].upper(), *study_lines(study)]))


@click.command()
@click.argument("job")
@click.option("--issued", type=int, required=True)
@click.option("--set", "set_count", type=int, required=True)
@click.option("--rejected", type=int, default=0)
@click.option("--returned", type=int, default=0)
@json_option
def count(session: Session, job: str, issued: int, set_count: int, rejected: int, returned: int) -> None:
    """Inserts issued = set + rejected + returned; a difference is said."""
    from firstpull.jobs.answers import job_answer
    from firstpull.jobs.run_checks import count_inserts

    state = count_inserts(
        session.book(),
        job,
        doing=session.doing(),
        issued=issued,
        set_count=set_count,
        rejected=rejected,
        returned=returned,
    )
    missing = int((state.counts or {}).get("missing", 0))
    text = (
        "All accounted for."
        if not missing
        else f"{abs(missing)} insert(s) {'not accounted for' if missing > 0 else 'more than were issued'}."
    )
    session.answer(job_answer(state), text)


@click.command()
@click.argument("job")
@click.option("--reason", required=True)
@click.option("--count", type=int, required=True, help="Sets done so far on this card.")
@json_option
def stop(session: Session, job: str, reason: str, count: int) -> None:
    """Stop JOB's run: everything since the last good check is quarantined."""
    from firstpull.jobs.run_checks import stop as stop_run

    tell(session, stop_run(session.book(), job, reason=reason, count=count, doing=session.doing()))


@click.command()
@click.argument("job")
@json_option
def reopen(session: Session, job: str) -> None:
    """Let the stopped run of JOB go on, after it was proven again."""
    from firstpull.jobs.run_checks import reopen as reopen_run

    tell(session, reopen_run(session.book(), job, doing=session.doing()))

"""The ladder that finds a set allowance on coupons, by commands."""

from __future__ import annotations

from typing import Any

import click

from firstpull.cli.main import Session, json_option
from firstpull.cli.work import free_length_mm, sure_option, typed
from firstpull.errors import BadInput


@click.command()
@click.argument("job")
@click.option("--set-length", help="Record one coupon of the ladder with this set length.")
@click.option("--before", help="The insert's free length before the pull.")
@click.option("--fail", "failed", multiple=True, help="A check that fails; every other eye check passes.")
@click.option("--take", is_flag=True, help="Take the middle of what passed, with its ends as the proven window.")
@sure_option
@json_option
def ladder(session: Session, job: str, set_length: str | None, failed: tuple[str, ...], **given: Any) -> None:
    """Find the set allowance of JOB on coupons, from short upward; without options, show the ladder."""
    from dataclasses import asdict

    from firstpull.jobs import find_allowance, prove
    from firstpull.jobs.shapes import unit_of

    book = session.book()
    state = book.job(job)
    if set_length is not None:
        checks = {kind.key: "pass" for kind in prove.CHECKS}
        for name in failed:
            if name not in checks:
                raise BadInput(f"“{name}” is not a check.", where="--fail", hint=f"Known: {', '.join(checks)}.")
            checks[name] = "fail"
        free = free_length_mm(state)
        wanted = None if free is None else free - find_allowance.ladder(state).next_stroke_mm
        length = typed(state, set_length, "--set-length", expected_mm=wanted, sure=given["sure"])
        before = typed(state, given["before"], "--before", expected_mm=free, sure=given["sure"])
        if length is not None:
            state = find_allowance.check_rung(
                book, job, doing=session.doing(), set_length=length, checks=checks, length_before=before
            )
    if given["take"]:
        state = find_allowance.take_allowance(book, job, doing=session.doing())
    found = find_allowance.ladder(state, unit=unit_of(state))
    answer = {"schema": "firstpull/ladder/1", "job": job, **asdict(found)}
    answer |= {"allowance": state.allowance, "window": state.window}
    session.answer(answer, "Taken." if given["take"] else found.text)

"""Commands that prove, release and hand over."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from firstpull.cli.main import Session, json_option
from firstpull.cli.texts import table
from firstpull.cli.work import free_length_mm, overdue, sure_option, tell, typed
from firstpull.errors import BadInput
from firstpull.units import parse_torque


@click.command()
@click.argument("job")
@click.option(
    "--coupon", is_flag=True, help="Record one coupon; every eye check passes except those given with --fail."
)
@click.option(
    "--fail",
    "failed",
    multiple=True,
    help="A check that fails: flush, gap, tilt, turn, thread_gauge, blind_head, section.",
)
@click.option("--cut", type=click.Choice(["pass", "fail"]), help="The coupon was cut through, and how it looked.")
@click.option(
    "--end", type=click.Choice(["thin", "thick", "as measured"]), help="Which end of the batch the coupon is."
)
@click.option("--thickness", help="Thickness of the coupon.")
@click.option("--set-length", help="Its set length.")
@click.option("--before", help="The insert's free length before the pull.")
@click.option("--torque", help="Torque at which it first moved, or that it held, for example “12 Nm”.")
@click.option(
    "--arrangement", default="", help="flange (bearing on the flange) or bushing (held, clear of the flange)."
)
@click.option("--pressure-step", is_flag=True, help="A coupon of a force-set tool's pressure ladder.")
@sure_option
@json_option
def prove(session: Session, job: str, coupon: bool, failed: tuple[str, ...], cut: str | None, **given: Any) -> None:
    """Show what the proof of JOB holds and owes; with --coupon, record one coupon first."""
    from firstpull.jobs import proof_words
    from firstpull.jobs import prove as proving
    from firstpull.jobs.shapes import unit_of

    book = session.book()
    state = book.job(job)
    if coupon:
        checks = {kind.key: "pass" for kind in proving.CHECKS}
        if cut:
            checks["section"] = cut
        for name in failed:
            if name not in proving.BY_KEY or name == "torque":
                known = ", ".join(kind.key for kind in (*proving.CHECKS, proving.SECTION))
                raise BadInput(f"“{name}” is not a check.", where="--fail", hint=f"Known: {known}.")
            checks[name] = "fail"
        wanted, sure = state.setting or {}, given["sure"]
        thick, long = wanted.get("thickness_mm"), wanted.get("set_length_mm")
        finding = proving.Finding(
            checks=checks,
            end=given["end"] or "",
            thickness=typed(state, given["thickness"], "--thickness", expected_mm=thick, sure=sure),
            set_length=typed(state, given["set_length"], "--set-length", expected_mm=long, sure=sure),
            length_before=typed(state, given["before"], "--before", expected_mm=free_length_mm(state), sure=sure),
            torque=parse_torque(given["torque"], where="--torque") if given["torque"] else None,
            arrangement=given["arrangement"],
        )
        purpose = "ladder" if given["pressure_step"] else "proof"
        state = proving.check_coupon(book, job, finding, doing=session.doing(), purpose=purpose)
    verdict = proving.verdict_of(state)
    lines = [verdict["sentence"]]
    lines += proof_words.details(verdict, unit_of(state))
    if verdict["next"] and state.held is not None:
        lines.append(verdict["next"])
    lines += [f"  owed: {item}" for item in verdict["owed"]] or ["Proven as planned; ready to be released."]
    late = overdue(session, state)
    answer = {"schema": "firstpull/proof/1", "job": job, **verdict, "overdue": list(late)}
    session.answer(answer, "\n".join([*lines, *late]))


@click.command()
@click.argument("job")
@click.option("--coupons", "coupons_each_end", type=int, help="Good coupons at each end of the batch.")
@click.option("--again", "coupons_again", type=int, help="Good coupons after a stop.")
@click.option("--sections", type=int, help="Coupons to cut through.")
@click.option("--torque-tests", type=int, help="Turning tests with a value.")
@click.option("--torque-min", help="Least torque at first movement, for example “12 Nm”.")
@click.option("--share", "--reliability", "reliability", type=float, help="Share of sets promised, 0.5 to 0.9999.")
@click.option("--confidence", type=float, help="Confidence that is wanted, 0.5 to below 1.")
@click.option(
    "--show-claim-first/--no-show-claim-first", default=None, help="No release before the coupons show the claim."
)
@click.option("--every-sets", "check_every_sets", type=int, help="A run check is due after so many sets.")
@click.option("--every-minutes", "check_every_minutes", type=int, help="… or after so many minutes.")
@json_option
def plan(session: Session, job: str, torque_min: str | None, **given: Any) -> None:
    """Show or change what the proof of JOB must hold."""
    from dataclasses import asdict

    from firstpull.jobs.prove import change_plan, plan_of

    book = session.book()
    changes = {name: value for name, value in given.items() if value is not None}
    if "reliability" in changes:  # one promise: of the lengths and of passing every check
        changes["share_inside"] = changes["reliability"]
    if torque_min:
        changes["torque_min_nm"] = parse_torque(torque_min, where="--torque-min").newton_metres
    state = change_plan(book, job, changes, doing=session.doing()) if changes else book.job(job)
    data = asdict(plan_of(state))
    session.answer(
        {"schema": "firstpull/plan/1", "job": job, **data},
        table([(k.replace("_", " "), str(v)) for k, v in data.items()]),
    )


@click.command()
@click.argument("job")
@json_option
def release(session: Session, job: str) -> None:
    """Release the proven setting of JOB in the name given with --by, and freeze its card."""
    from firstpull.jobs.hand_over import release as release_job

    state = release_job(session.book(), job, doing=session.doing())
    from firstpull.jobs.answers import job_answer

    late = overdue(session, state)
    done = (
        f"Released by {state.released_by}. Record {state.id}#{state.release_sequence}, hash {state.release_hash[:16]}."
    )
    session.answer({**job_answer(state), "overdue": list(late)}, "\n".join([done, *late]))


@click.command()
@click.argument("job")
@click.option("-o", "--out", type=click.Path(path_type=Path), help="The PDF to write; JOB.pdf when left out.")
@click.option("--size", type=click.Choice(["A5", "A4", "Letter"]), default="A5", show_default=True)
@click.option("--unit", type=click.Choice(["mm", "in"]), help="The unit on paper; as proved when left out.")
@json_option
def card(session: Session, job: str, out: Path | None, size: str, unit: Any) -> None:
    """Write the released setup card of JOB as PDF; with --json, show its data instead."""
    from firstpull.jobs.hand_over import card_of, card_pdf

    book = session.book()
    data = card_of(book, book.job(job))
    if session.as_json and out is None:
        click.echo(json.dumps(data, ensure_ascii=False, indent=2))
        return
    target = out or Path(f"{job}.pdf")
    target.write_bytes(card_pdf(book, job, size=size, unit=unit))
    session.answer({"schema": "firstpull/written/1", "file": str(target)}, f"Written: {target}")


@click.command()
@click.argument("job")
@click.option("--reason", required=True, help="Why it is revised.")
@json_option
def revise(session: Session, job: str, reason: str) -> None:
    """Open the next revision of the released JOB."""
    from firstpull.jobs.open_job import revise as revise_job

    tell(session, revise_job(session.book(), job, reason=reason, doing=session.doing()))

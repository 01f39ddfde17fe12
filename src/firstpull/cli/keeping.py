"""Commands that keep the record: verify, backup, restore, export, import."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from firstpull.cli.main import Session, json_option
from firstpull.errors import BadInput


@click.command()
@json_option
def verify(session: Session) -> None:
    """Walk every chain of the record; exit 4 when something is not as it was written."""
    from firstpull.errors import RecordDamaged

    report = session.book().store.verify()
    answer = {
        "schema": "firstpull/verify/1",
        "ok": report.ok,
        "streams": report.streams,
        "events": report.events,
        "problems": [{"stream": p.stream, "sequence": p.sequence, "what": p.what} for p in report.problems],
    }
    lines = [f"{report.events} events in {report.streams} streams: " + ("whole." if report.ok else "DAMAGED.")]
    session.answer(answer, "\n".join([*lines, *(f"  {problem}" for problem in report.problems)]))
    if not report.ok:
        raise click.exceptions.Exit(RecordDamaged.exit_code)


@click.command()
@click.argument("target", type=click.Path(path_type=Path))
@json_option
def backup(session: Session, target: Path) -> None:
    """Write a verified copy of the record to the file TARGET."""
    report = session.book().store.backup(target)
    session.answer(
        {"schema": "firstpull/backup/1", "file": str(target), "streams": report.streams, "events": report.events},
        f"Written and verified: {target} ({report.events} events).",
    )


@click.command()
@click.argument("source", type=click.Path(path_type=Path))
@json_option
def restore(session: Session, source: Path) -> None:
    """Put the backup SOURCE in place of the record; the present file is kept beside it."""
    from firstpull.jobs.keep import restore as restore_file

    target, done = restore_file(source, session.data, practice=session.practice)
    kept = str(done.kept) if done.kept is not None else ""
    session.answer(
        {"schema": "firstpull/restore/1", "file": str(target), "kept": kept, "events": done.report.events},
        f"Restored {done.report.events} events to {target}." + (f" The file that was there is {kept}." if kept else ""),
    )


@click.command()
@click.argument("target", type=click.Path(path_type=Path, allow_dash=True), default="-")
@json_option
def export(session: Session, target: Path) -> None:
    """Write the whole record as JSON Lines to TARGET (or to standard output)."""
    from firstpull.exchange.record_lines import export_lines

    lines = export_lines(session.book().store.all_events())
    if str(target) == "-":
        for line in lines:
            sys.stdout.write(line if line.endswith("\n") else line + "\n")
        return
    with target.open("w", encoding="utf-8", newline="\n") as out:
        for line in lines:
            out.write(line if line.endswith("\n") else line + "\n")
    session.answer({"schema": "firstpull/written/1", "file": str(target)}, f"Written: {target}")


@click.command(name="import")
@click.argument("source", type=click.Path(path_type=Path))
@json_option
def import_(session: Session, source: Path) -> None:
    """Read JSON Lines from SOURCE into the record: everything or nothing."""
    from firstpull.jobs.keep import import_lines

    try:
        with source.open(encoding="utf-8") as lines:
            added = import_lines(session.book(), lines)
    except UnicodeDecodeError:
        raise BadInput("It is not UTF-8 text.", where=str(source), hint="It must be an export of firstpull.")
    session.answer({"schema": "firstpull/import/1", "added": added}, f"{added} event(s) added.")

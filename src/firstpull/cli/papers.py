"""The command that writes the papers of a job or a tool."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from firstpull.cli.main import Session, json_option


@click.command()
@click.argument("kind", type=click.Choice(["trial-log", "first-article", "tool-history"]))
@click.argument("name", metavar="JOB-OR-TOOL")
@click.option("-o", "--out", type=click.Path(path_type=Path), help="The PDF to write; NAME-KIND.pdf when left out.")
@click.option("--size", type=click.Choice(["A4", "A5", "Letter"]), default="A4", show_default=True)
@click.option("--unit", type=click.Choice(["mm", "in"]), help="The unit on paper; the job's own, or mm.")
@json_option
def paper(session: Session, kind: str, name: str, out: Path | None, size: str, unit: Any) -> None:
    """Write a trial log, a first-article record or the history of a tool as PDF."""
    from firstpull.jobs import papers
    from firstpull.web.event_words import words_of

    book = session.book()
    if kind == "tool-history":
        made = papers.tool_paper(book, name, words=words_of, unit=unit or "mm", size=size)
    else:
        made = papers.job_paper(book, name, kind, size=size, unit=unit)
    target = out or Path(f"{name}-{kind}.pdf")
    target.write_bytes(made)
    session.answer({"schema": "firstpull/written/1", "file": str(target)}, f"Written: {target}")

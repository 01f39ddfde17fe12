"""Commands that reckon without writing anything: choose, setting, advise, lookup."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firstpull.cli.choice_text import choice_text
from firstpull.cli.main import Session, json_option
from firstpull.cli.texts import setting_text, table
from firstpull.errors import BadInput

if TYPE_CHECKING:
    from firstpull.mechanics.insert import Insert
    from firstpull.mechanics.shelf import Shelf

# as in firstpull.trade.lookup, which is read only when it is used
KINDS = (
    "thread", "sheet", "drill", "material", "screw-class", "nut-factor", "galvanic", "temperature", "clearance-hole",
)  # fmt: skip
# of a catalogue of more rows than this the best and the nearest are told, and the others are counted
ALL_TOLD_UP_TO = 5000
MOST_TOLD = 100


@click.command()
@click.argument("job_file", type=click.Path(path_type=Path))
@click.option(
    "--catalogue",
    "catalogue_file",
    type=click.Path(path_type=Path),
    help="A CSV or XLSX file instead of the shop's catalogue.",
)
@click.option("--all", "show_all", is_flag=True, help="Tell every candidate and every rejected insert, however many.")
@click.option("--tables", default=1, show_default=True, help="For how many candidates to show every check.")
@json_option
def choose(session: Session, job_file: Path, catalogue_file: Path | None, show_all: bool, tables: int) -> None:
    """Inserts that suit the joint of JOB_FILE (its stack and needs), best first."""
    from firstpull.exchange.job_file import read_job
    from firstpull.mechanics.choose import Needs
    from firstpull.mechanics.choose import choose as choose_among
    from firstpull.mechanics.joint import Edges, JointDemand, Loads, Screw

    job = read_job(read_text(job_file), where=str(job_file))
    needs = job.needs
    if needs is None and job.insert is not None:
        needs = Needs(thread=job.insert.thread)
    if needs is None:
        raise BadInput(
            "Which thread does the joint need?",
            where=f"{job_file}: needs.thread",
            hint='Add [needs] with thread = "M6".',
        )
    shelf = read_shelf(session, catalogue_file)
    if needs.tool is None and job.tool is not None:
        needs = replace(needs, tool=job.tool)
    demand = JointDemand(
        loads=job.loads or Loads(),
        screw=job.screw or Screw(),
        edges=job.edges or Edges(),
        load_ceiling_n=job.load_ceiling_n,
    )
    told = None if show_all or len(shelf) <= ALL_TOLD_UP_TO else MOST_TOLD
    choice = choose_among(shelf, stack=job.stack, needs=needs, unit=job.unit, joint=demand, batch=job.batch, most=told)
    from firstpull.jobs.answers import choice_answer

    session.answer(choice_answer(choice), choice_text(choice, show_all=show_all, unit=job.unit, tables=tables))


@click.command()
@click.argument("job_file", type=click.Path(path_type=Path))
@json_option
def setting(session: Session, job_file: Path) -> None:
    """Stroke, set length, window, knob and steps for the job described in JOB_FILE."""
    from firstpull.exchange.job_file import read_job
    from firstpull.jobs.open_job import setting_of_file

    job = read_job(read_text(job_file), where=str(job_file))
    find = None if job.part_name is None else session.book().insert(job.part_name)
    found = setting_of_file(job, insert=find)
    session.answer(found.as_dict(), setting_text(found, unit=job.unit, title=job.title))


@click.command()
@click.option("--json", "_as_json", is_flag=True, help="Replies are JSON either way.")
def advise(_as_json: bool) -> None:
    """Dial-in advice: one JSON request a line on standard input, one reply a line on standard output."""
    from firstpull.statistics.dial_in import advise as reply_to

    for line in sys.stdin:
        if not line.strip():
            continue
        try:
            request: Any = json.loads(line)
        except (ValueError, RecursionError) as problem:
            request = None
            reply = {
                "error": {
                    "what": f"This line is not JSON: {problem}.",
                    "where": "line",
                    "hint": "One JSON object a line.",
                }
            }
        else:
            reply = reply_to(request)
        sys.stdout.write(json.dumps(reply, ensure_ascii=False) + "\n")
        sys.stdout.flush()


@click.command()
@click.argument("kind", type=click.Choice(list(KINDS)))
@click.argument("text", nargs=-1, required=True)
@click.option("--engagement", help="Engaged length for the strip areas of a thread, for example “6 mm”.")
@json_option
def lookup(session: Session, kind: str, text: tuple[str, ...], engagement: str | None) -> None:
    """Look up a thread (M6x1, 1/4-20), a sheet (“16 ga steel”), a drill (“#7”, “5.5 mm”), or a name of the tables:
    a material, a screw-class, a nut-factor, a galvanic pair (“stainless A2 / 5754”), a temperature, a clearance-hole.
    """
    from firstpull.trade.lookup import lookup as look_up
    from firstpull.units import parse_length

    length = None if engagement is None else parse_length(engagement, unit="mm", where="--engagement")
    found = look_up(kind, " ".join(text), engagement=length)
    session.answer(found, table(_flat(found)))


def read_text(path: Path) -> str:
    """The text of a file, UTF-8. Raises BadInput naming the file."""
    try:
        data = sys.stdin.buffer.read() if str(path) == "-" else path.read_bytes()
    except OSError as problem:
        raise BadInput(
            f"It cannot be read: {problem.strerror}.", where=str(path), hint="Check the name and its folder."
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput("It is not UTF-8 text.", where=str(path), hint="Save it as UTF-8.")


def read_bytes(path: Path) -> bytes:
    """The bytes of a file. Raises BadInput naming it."""
    try:
        return path.read_bytes()
    except OSError as problem:
        raise BadInput(
            f"It cannot be read: {problem.strerror}.", where=str(path), hint="Check the name and its folder."
        )


def read_inserts(session: Session, catalogue_file: Path | None) -> list[Insert]:
    """As :func:`read_shelf`, every insert made."""
    return list(read_shelf(session, catalogue_file).inserts())


def read_shelf(session: Session, catalogue_file: Path | None) -> Shelf:
    """The inserts of a file, or of the shop's catalogue. Bad rows are said on standard error. Raises BadInput."""
    if catalogue_file is None:
        shelf = session.book().inserts()
        if not shelf:
            raise BadInput(
                "The catalogue is empty.",
                where="catalogue",
                hint="Import one, or give --catalogue FILE, or use --demo.",
            )
        return shelf
    from firstpull.jobs.catalogue_file import shelf_of_file

    shelf, problems, count = shelf_of_file(catalogue_file)
    for problem in problems:
        click.echo(f"{catalogue_file}: row {problem.row}, {problem.column}: {problem.what} {problem.hint}", err=True)
    if count > len(problems):
        click.echo(f"{catalogue_file}: and {count - len(problems)} more problems", err=True)
    return shelf


def _flat(data: dict[str, Any], prefix: str = "") -> list[tuple[str, str]]:
    """Nested answers as rows of a name and a value."""
    rows: list[tuple[str, str]] = []
    for key, value in data.items():
        if isinstance(value, dict):
            rows += _flat(value, f"{prefix}{key} ")
        elif isinstance(value, list):
            rows.append((f"{prefix}{key}".replace("_", " "), ", ".join(_item(item) for item in value)))
        elif key != "schema":
            rows.append((f"{prefix}{key}".replace("_", " "), str(value)))
    return rows


def _item(item: Any) -> str:
    """One of several: its first value, the others in brackets."""
    if not isinstance(item, dict):
        return str(item)
    first, *others = item.items()
    rest = ", ".join(f"{key.replace('_', ' ')} {value}" for key, value in others)
    return f"{first[1]} ({rest})" if rest else str(first[1])

"""Commands for what the workshop owns: tools, gauges, the catalogue, and what is due."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from firstpull.cli.main import Session, json_option
from firstpull.cli.texts import grid, table
from firstpull.units import parse_force, parse_length, parse_pressure

LISTED = 1000


@click.group()
def tool() -> None:
    """Tools and mandrels."""


@tool.command(name="add")
@click.argument("mark")
@click.option("--name", default="", help="What it is called.")
@click.option("--control", type=click.Choice(["stroke", "force"]), default="stroke", show_default=True)
@click.option("--lead", help="Stroke per turn of the knob, for example “0.5 mm”.")
@click.option("--clicks", type=int, help="Click stops per turn.")
@click.option(
    "--plus", "plus_turns", type=click.Choice(["more stroke", "less stroke"]), default="more stroke", show_default=True
)
@click.option(
    "--plus-direction", type=click.Choice(["clockwise", "anticlockwise"]), default="clockwise", show_default=True
)
@click.option("--stroke-max", help="Greatest stroke.")
@click.option("--load-max", help="Greatest pull at the rated pressure, for example “14 kN”.")
@click.option("--rated-pressure", help="For example “6.2 bar”.")
@click.option("--line-pressure", help="Pressure at the inlet while it cycles.")
@click.option("--stiffness", type=float, help="Of mandrel and tool together, kN/mm.")
@click.option("--piston-area", type=float, help="Force-set: mm².")
@click.option("--ratio", type=float, help="Force-set: pressure ratio.")
@click.option("--efficiency", type=float, help="Force-set: 0 to 1.")
@click.option("--service-every", type=int, default=0, help="Cycles between services; 0 when not known.")
@click.option("--cycles", type=int, default=0, help="Cycles done so far.")
@click.option(
    "--mandrel",
    "mandrels",
    multiple=True,
    help="MARK:THREAD:CYCLE_LIMIT, for example “M6-a:M6:20000”. Repeat for more.",
)
@json_option
def tool_add(
    session: Session, mark: str, mandrels: tuple[str, ...], service_every: int, cycles: int, **given: Any
) -> None:
    """Add the tool MARK to the workshop."""
    from firstpull.jobs.look_after import add_tool
    from firstpull.mechanics.tool import Tool

    def length(name: str) -> Any:
        return parse_length(given[name], unit="mm", where=f"--{name.replace('_', '-')}") if given[name] else None

    def bar(name: str) -> float | None:
        return parse_pressure(given[name], where=f"--{name.replace('_', '-')}").bar if given[name] else None

    described = Tool(
        control=given["control"],
        name=given["name"] or mark,
        lead_per_turn=length("lead"),
        clicks_per_turn=given["clicks"],
        plus_turns=given["plus_turns"],
        plus_direction=given["plus_direction"],
        stroke_max=length("stroke_max"),
        load_max_n=parse_force(given["load_max"], where="--load-max").newtons if given["load_max"] else None,
        rated_pressure_bar=bar("rated_pressure"),
        line_pressure_bar=bar("line_pressure"),
        stiffness_kn_per_mm=given["stiffness"],
        piston_area_mm2=given["piston_area"],
        ratio=given["ratio"],
        efficiency=given["efficiency"],
    )
    state = add_tool(
        session.book(),
        mark,
        described,
        doing=session.doing(),
        service_every_cycles=service_every,
        cycles=cycles,
        mandrels=tuple(_mandrel(text) for text in mandrels),
    )
    session.answer({"schema": "firstpull/tool/1", "tool": state.id, **state.tool}, f"Added {state.id}.")


@tool.command(name="list")
@json_option
def tool_list(session: Session) -> None:
    """List the tools, their fitted mandrel and cycles."""
    tools = session.book().tools()
    answer = [
        {
            "tool": t.id,
            "name": t.tool.get("name"),
            "control": t.tool.get("control"),
            "cycles": t.cycles,
            "fitted": t.fitted,
        }
        | {"mandrels": list(t.mandrels.values()), "learned": t.learned}
        for t in tools
    ]
    rows = [(t.id, str(t.tool.get("name", "")), str(t.tool.get("control", "")), str(t.cycles), t.fitted) for t in tools]
    text = grid(("tool", "name", "control", "cycles", "mandrel"), rows) if rows else "No tools yet: firstpull tool add."
    session.answer({"schema": "firstpull/tools/1", "tools": answer}, text)


@tool.command(name="service")
@click.argument("mark")
@click.option("--what", required=True, help="What was done.")
@json_option
def tool_service(session: Session, mark: str, what: str) -> None:
    """Record a service of the tool MARK."""
    from firstpull.jobs.look_after import service

    state = service(session.book(), mark, what, doing=session.doing())
    session.answer(
        {"schema": "firstpull/tool/1", "tool": state.id, "cycles_since_service": state.cycles_since_service}, "Saved."
    )


@tool.command(name="cycles")
@click.argument("mark")
@click.argument("cycles", type=int)
@json_option
def tool_cycles(session: Session, mark: str, cycles: int) -> None:
    """Add CYCLES done since the last count to the tool MARK and its fitted mandrel."""
    from firstpull.jobs.look_after import count_cycles, tool_due

    state = count_cycles(session.book(), mark, cycles, doing=session.doing())
    text = "\n".join(f"{row.name}: {row.text} ({row.state})" for row in tool_due(state))
    session.answer({"schema": "firstpull/tool/1", "tool": state.id, "cycles": state.cycles}, text)


@tool.command(name="mandrel")
@click.argument("mark")
@click.argument("mandrel")
@json_option
def tool_mandrel(session: Session, mark: str, mandrel: str) -> None:
    """Add and fit a mandrel to the tool MARK: MANDREL is MARK:THREAD:CYCLE_LIMIT."""
    from firstpull.jobs.look_after import add_mandrel

    state = add_mandrel(session.book(), mark, _mandrel(mandrel), doing=session.doing())
    session.answer({"schema": "firstpull/tool/1", "tool": state.id, "fitted": state.fitted}, f"Fitted {state.fitted}.")


@tool.command(name="retire")
@click.argument("mark")
@click.argument("mandrel")
@click.option("--reason", required=True)
@click.option("--how", type=click.Choice(["ended", "in time"]), required=True, help="Broken or worn; or still working.")
@json_option
def tool_retire(session: Session, mark: str, mandrel: str, *, reason: str, how: str) -> None:
    """Take MANDREL of the tool MARK out of use."""
    from firstpull.jobs.look_after import retire_mandrel

    state = retire_mandrel(session.book(), mark, mandrel, reason=reason, how=how, doing=session.doing())
    session.answer({"schema": "firstpull/tool/1", "tool": state.id, "fitted": state.fitted}, "Saved.")


@tool.command(name="life")
@click.argument("thread")
@json_option
def tool_life(session: Session, thread: str) -> None:
    """How long mandrels of THREAD last in this shop, and by how many sets to change them."""
    from dataclasses import asdict

    from firstpull.jobs.mandrel_life import mandrel_life
    from firstpull.trade.threads import thread as thread_of

    found = mandrel_life(session.book(), thread_of(thread, where="THREAD").designation)
    session.answer({"schema": "firstpull/mandrel-life/1", **asdict(found)}, found.text)


@click.group()
def gauge() -> None:
    """Calipers, micrometers and other gauges."""


@gauge.command(name="add")
@click.argument("mark")
@click.option("--name", required=True)
@click.option("--resolution", default="0.01 mm", show_default=True)
@click.option("--error", default="0.03 mm", show_default=True, help="Its maker's limit of error (±).")
@click.option("--every-days", type=int, default=365, show_default=True)
@json_option
def gauge_add(session: Session, mark: str, name: str, resolution: str, error: str, every_days: int) -> None:
    """Add the gauge MARK."""
    from firstpull.jobs.look_after import add_gauge

    state = add_gauge(
        session.book(),
        mark,
        name,
        doing=session.doing(),
        resolution_mm=parse_length(resolution, unit="mm", where="--resolution").mm,
        error_mm=parse_length(error, unit="mm", where="--error").mm,
        every_days=every_days,
    )
    session.answer({"schema": "firstpull/gauge/1", "gauge": state.id, **state.gauge}, f"Added {state.id}.")


@gauge.command(name="list")
@json_option
def gauge_list(session: Session) -> None:
    """List the gauges and their last check."""
    gauges = session.book().gauges()
    answer = [{"gauge": g.id, **g.gauge, "last_check": g.last_check} for g in gauges]
    rows = [(g.id, str(g.gauge["name"]), str((g.last_check or {}).get("due", "never checked"))) for g in gauges]
    session.answer(
        {"schema": "firstpull/gauges/1", "gauges": answer},
        grid(("gauge", "name", "next check"), rows) if rows else "No gauges yet.",
    )


@gauge.command(name="check")
@click.argument("mark")
@click.option("--block", required=True, help="The gauge block's length.")
@click.option("--reading", required=True, help="What the gauge read on it.")
@json_option
def gauge_check(session: Session, mark: str, block: str, reading: str) -> None:
    """Record a check of the gauge MARK on a gauge block."""
    from firstpull.jobs.look_after import check_gauge

    state = check_gauge(
        session.book(),
        mark,
        reference=parse_length(block, unit="mm", where="--block"),
        reading=parse_length(reading, unit="mm", where="--reading"),
        doing=session.doing(),
    )
    last = dict(state.last_check or {})
    word = "Passes" if last.get("passed") else "FAILS: do not use it"
    session.answer(
        {"schema": "firstpull/gauge/1", "gauge": state.id, "check": last},
        f"{word}; off by {last.get('error_mm', 0):+.3f} mm.",
    )


@click.command()
@json_option
def due(session: Session) -> None:
    """What wants looking after, the most pressing first."""
    from dataclasses import asdict

    from firstpull.jobs.look_after import due_rows

    rows = due_rows(session.book())
    text = (
        grid(("stands", "what", "name", ""), [(r.state, r.kind, r.name, r.text) for r in rows])
        if rows
        else "Nothing to look after yet."
    )
    session.answer({"schema": "firstpull/due/1", "rows": [asdict(row) for row in rows]}, text)


@click.group()
def catalogue() -> None:
    """The shop's inserts."""


@catalogue.command(name="import")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--unit", type=click.Choice(["mm", "in"]), help="Unit of lengths that say none.")
@click.option("--column-unit", "column_units", multiple=True, help="COLUMN=UNIT for one column. Repeat for more.")
@click.option("--preview", "only_preview", is_flag=True, help="Say what would change; write nothing.")
@json_option
def catalogue_import(
    session: Session, file: Path, unit: Any, column_units: tuple[str, ...], only_preview: bool
) -> None:
    """Import inserts from FILE (CSV or XLSX). Good rows are taken, every bad one is reported."""
    from firstpull.errors import BadInput
    from firstpull.jobs.catalogue_file import take_any

    chosen: dict[str, Any] = {}
    for text in column_units:
        column, equals, name = text.partition("=")
        if not equals:
            raise BadInput(f"“{text}” is not COLUMN=UNIT.", where="--column-unit", hint="For example length_free=in.")
        chosen[column] = name
    doing = None if only_preview else session.doing()
    told = _rows_told()
    found = take_any(session.book(), file, doing=doing, unit=unit, unit_by_column=chosen or None, progress=told)
    answer = {
        "schema": "firstpull/catalogue-import/1",
        "file": str(file),
        "good_rows": found.good_rows,
        "taken": found.written,
        "added": found.added,
        "changed": sorted(found.changed),
        "added_count": found.added_count,
        "changed_count": found.changed_count,
        "problems": [problem.as_dict() for problem in found.problems],
        "problem_count": found.problem_count,
        "notes": list(found.notes),
    }
    lines = [f"{found.added_count} new, {found.changed_count} changed, {found.problem_count} problem(s)."]
    lines += [f"  row {p.row}, {p.column}: {p.what} {p.hint}".rstrip() for p in found.problems]
    if found.problem_count > len(found.problems):
        lines.append(f"  … and {found.problem_count - len(found.problems)} more problems.")
    lines += [f"  note: {note}" for note in found.notes]
    lines.append("Preview only; nothing was written." if only_preview else f"{found.written} row(s) taken.")
    session.answer(answer, "\n".join(lines))


def _rows_told() -> Callable[[int], None]:
    """Says on a terminal, on one line, how far the reading is."""
    import sys

    def told(rows: int) -> None:
        if rows >= 50_000:
            click.echo(f"\r{rows} rows read", nl=False, err=True)

    return told if sys.stderr.isatty() else lambda _rows: None


@catalogue.command(name="list")
@click.argument("search", default="")
@click.option("--all", "everything", is_flag=True, help=f"List more than {LISTED}.")
@json_option
def catalogue_list(session: Session, search: str, everything: bool) -> None:
    """List the inserts; SEARCH looks in part, thread, material, form and note."""
    from firstpull.jobs.catalogue import search_inserts

    rows, count = search_inserts(session.book(), search, most=None if everything else LISTED)
    lines = [
        (i.part, i.thread, i.material, f"{i.head}, {i.end}", f"{i.grip_min.typed} … {i.grip_max.typed}") for i in rows
    ]
    text = grid(("part", "thread", "material", "form", "grip"), lines) if lines else "No inserts."
    if count > len(rows):
        text += f"\n… and {count - len(rows)} more. Search for less, or list all with --all."
    answer = {"schema": "firstpull/catalogue/1", "count": count, "inserts": [row.to_json() for row in rows]}
    session.answer(answer, text)


@catalogue.command(name="show")
@click.argument("part")
@json_option
def catalogue_show(session: Session, part: str) -> None:
    """Show one insert and how its row came to be."""
    from firstpull.jobs.catalogue import history

    book = session.book()
    insert, past = book.insert(part), history(book, part)
    rows = [
        (key.replace("_", " "), str(value["typed"] if isinstance(value, dict) else value))
        for key, value in insert.to_json().items()
        if value not in (None, "")
    ]
    rows += [("history", f"{item['at']} {item['source']} ({item['by']})") for item in past]
    session.answer({"schema": "firstpull/insert/1", "insert": insert.to_json(), "history": past}, table(rows))


@catalogue.command(name="export")
@click.argument("file", type=click.Path(path_type=Path))
@json_option
def catalogue_export(session: Session, file: Path) -> None:
    """Write the whole catalogue to FILE as CSV."""
    from firstpull.jobs.catalogue import csv_lines

    with file.open("w", encoding="utf-8", newline="") as out:
        out.writelines(csv_lines(session.book()))
    session.answer({"schema": "firstpull/written/1", "file": str(file)}, f"Written: {file}")


def _mandrel(text: str) -> dict[str, Any]:
    from firstpull.errors import BadInput

    mark, _, rest = text.partition(":")
    size, _, limit = rest.partition(":")
    if not size or (limit and not (limit.isascii() and limit.isdigit())):
        raise BadInput(
            f"“{text}” is not MARK:THREAD:CYCLE_LIMIT.", where="--mandrel", hint="For example “M6-a:M6:20000”."
        )
    return {"id": mark, "thread": size, "cycle_limit": int(limit or 0)}

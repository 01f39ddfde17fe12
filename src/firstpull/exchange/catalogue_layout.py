"""How a table of inserts is laid out: which row names the columns, what they mean, and in which unit they are."""

from __future__ import annotations

from collections.abc import Sequence

from firstpull.errors import BadInput
from firstpull.exchange.catalogue_columns import FIELDS, RULES, Column, match_heading, units_of
from firstpull.exchange.catalogue_rows import Reading, is_bare
from firstpull.exchange.table_cells import TextRow, TextTable

HEADING_ROWS = 40
_LEAST_HEADINGS = 3
UNIT_SAMPLE = 2_000


def find_headings(tables: Sequence[TextTable], filename: str, chosen: set[str]) -> tuple[TextTable, int]:
    """The table and the row in its first rows that names the most measures."""
    best: tuple[TextTable, int] | None = None
    best_count = _LEAST_HEADINGS - 1
    wanted = {name.strip().lower() for name in chosen}
    for table in tables:
        for index, row in enumerate(table.rows[:HEADING_ROWS]):
            fields = {match_heading(cell)[0] for cell in row.cells if cell} - {None}
            count = len(fields) + sum(cell.lower() in wanted for cell in row.cells)
            if count > best_count:
                best, best_count = (table, index), count
    if best is None:
        required = ", ".join(rule.name for rule in FIELDS if rule.required)
        raise BadInput(
            "No row with column names was found.",
            where=filename,
            hint=f"Put one row above the data that names at least {required}, lengths with their unit, for example “length_free [mm]”.",
        )
    return best


def unique_headings(cells: Sequence[str], place: str) -> tuple[str, ...]:
    """The headings, blank ones named after their place; two alike are told apart by it."""
    seen: set[str] = set()
    headings = []
    for index, cell in enumerate(cells):
        heading = " ".join(cell.split()) or f"(column {index + 1})"
        if heading.lower() in seen and match_heading(heading)[0] is not None:
            raise BadInput(f"Two columns are called “{heading}”.", where=place, hint="Rename or delete one of them.")
        if heading.lower() in seen:
            heading = f"{heading} (column {index + 1})"
        seen.add(heading.lower())
        headings.append(heading)
    return tuple(headings)


def note_layout(
    reading: Reading, tables: Sequence[TextTable], *, table: TextTable, at: int, columns: Sequence[Column]
) -> None:
    """Note what was not read: other sheets, text above the headings, columns that are not known."""
    others = [other.sheet for other in tables if other is not table and other.sheet]
    if others:
        reading.notes.append(f"The sheet “{table.sheet}” was read. Not read: {', '.join(others)}.")
    above = [row for row in table.rows[:at] if not row.empty]
    if above:
        shown = " ".join(cell for cell in above[0].cells if cell)[:120]
        reading.notes.append(f"Above the column names stands: “{shown}”.")
    ignored = [
        column.heading
        for column in columns
        if column.field is None
        and any(column.index < len(row.cells) and row.cells[column.index] for row in table.rows[at + 1 :])
    ]
    if ignored:
        reading.notes.append(f"Not known here and left out: {', '.join(ignored)}.")


def required_present(reading: Reading, columns: Sequence[Column], row: int) -> bool:
    """Whether every measure that an insert needs has a column; what is missing is reported."""
    present = {column.field for column in columns}
    missing = [rule for rule in FIELDS if rule.required and rule.name not in present]
    for rule in missing:
        words = ", ".join(f"“{word}”" for word in (rule.name, *rule.words[:3]))
        reading.problem(row, rule.name, "", error=("There is no column for this.", f"Name one {words}."))
    return not missing


def check_units(reading: Reading, columns: Sequence[Column], body: Sequence[TextRow], *, row: int) -> None:
    """Report each measured column in which no number has a unit and none is known for the column."""
    for column in columns:
        rule = RULES.get(column.field or "")
        if rule is None or not units_of(rule.kind) or column.unit is not None:
            continue
        values = [
            line.cells[column.index] for line in body if column.index < len(line.cells) and line.cells[column.index]
        ]
        if values and all(is_bare(value) for value in values[:UNIT_SAMPLE]):
            choices = " or ".join(f"“{plain_heading(column.heading)} [{unit}]”" for unit in units_of(rule.kind)[:2])
            reading.problem(
                row,
                column.heading,
                values[0],
                error=(
                    "No unit is given for this column.",
                    f"Choose {', '.join(units_of(rule.kind))}, or write {choices}.",
                ),
            )
            reading.unit_missing.append(column.heading)


def plain_heading(heading: str) -> str:
    """The heading without what stands in brackets."""
    return heading.split("[", maxsplit=1)[0].split("(", maxsplit=1)[0].strip() or heading

"""The user's catalogue of inserts, read from CSV or XLSX with a preview, and written as CSV.

Nothing is guessed: every row that cannot be used is reported with its row as the spreadsheet shows it, the column,
the value and what would be right. Good rows are kept. What is written reads back the same, text as typed included.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from firstpull.errors import BadInput
from firstpull.exchange.catalogue_columns import (
    FIELDS,
    OWN_UNITS,
    Column,
    FieldRule,
    map_columns,
)
from firstpull.exchange.catalogue_layout import (
    check_units,
    find_headings,
    note_layout,
    required_present,
    unique_headings,
)
from firstpull.exchange.catalogue_rows import Problem, Reading, read_row
from firstpull.exchange.table_cells import MAX_CELL, guard, read_tables
from firstpull.exchange.texts import length_text, number_text
from firstpull.mechanics.insert import Insert
from firstpull.units import Length, LengthUnit


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """What an import would bring, before anything is stored.

    ``rows`` are the good inserts and ``row_numbers`` their rows in the file. ``columns`` say how each column is
    understood; ``unit_by_column`` is the unit of bare numbers by heading. ``unit_missing`` are the headings whose
    unit the person must choose. ``notes`` are plain remarks on how the file was read.
    """

    columns: tuple[Column, ...]
    rows: tuple[Insert, ...]
    row_numbers: tuple[int, ...]
    problems: tuple[Problem, ...]
    unit_by_column: Mapping[str, str]
    unit_missing: tuple[str, ...]
    heading_row: int
    sheet: str
    notes: tuple[str, ...]


def preview(
    data: bytes,
    *,
    filename: str,
    unit: LengthUnit | None = None,
    unit_by_column: Mapping[str, str] | None = None,
    field_by_column: Mapping[str, str] | None = None,
    sheet: str | None = None,
) -> Preview:
    """Read a table of inserts without storing anything.

    ``unit`` holds for every length column without a unit in its heading; ``unit_by_column`` (heading or field name →
    unit) and ``field_by_column`` (heading → field name, empty to leave it out) are the person's choices. A column of
    bare lengths without any unit is a problem that lists the choices, never a guess. Raises BadInput when the file
    cannot be read at all or holds no heading row.
    """
    tables = read_tables(data, filename=filename, sheet=sheet)
    table, at = find_headings(tables, filename, set(field_by_column or ()))
    place = f"{filename}: {table.sheet}" if table.sheet else filename
    heading = table.rows[at]
    headings = unique_headings(heading.cells, place)
    columns = map_columns(
        headings,
        where=f"{place} row {heading.number}",
        unit=unit,
        unit_by_column=unit_by_column,
        field_by_column=field_by_column,
    )
    reading = Reading(notes=list(table.notes))
    note_layout(reading, tables, table=table, at=at, columns=columns)
    body = [row for row in table.rows[at + 1 :] if not row.empty]
    if not required_present(reading, columns, heading.number):
        body = []
    check_units(reading, columns, body, row=heading.number)
    found = []
    for row in body:
        insert = read_row(reading, columns, row)
        if insert is not None:
            found.append((row.number, insert))
    kept = without_duplicates(reading, columns, found)
    reading.note_rounded()
    problems = sorted(reading.problems, key=lambda problem: problem.row)
    return Preview(
        columns=columns,
        rows=tuple(insert for _, insert in kept),
        row_numbers=tuple(number for number, _ in kept),
        problems=tuple(problems),
        unit_by_column={column.heading: column.unit for column in columns if column.unit},
        unit_missing=tuple(reading.unit_missing),
        heading_row=heading.number,
        sheet=table.sheet,
        notes=tuple(reading.notes),
    )


def without_duplicates(
    reading: Reading, columns: Sequence[Column], found: Sequence[tuple[int, Insert]]
) -> list[tuple[int, Insert]]:
    """Parts that occur once, and the first of rows that say the same; of rows that differ none can be trusted."""
    heading = next((column.heading for column in columns if column.field == "part"), "part")
    by_part: dict[str, list[tuple[int, Insert]]] = {}
    for number, insert in found:
        by_part.setdefault(insert.part, []).append((number, insert))
    kept = []
    for part, entries in by_part.items():
        first_row, first = entries[0]
        alike = all(insert == first for _, insert in entries)
        if alike:
            kept.append((first_row, first))
        for number, _ in entries[1:]:
            what = f"This part stands in row {first_row} already{', with the same values' if alike else ' with other values; none of these rows was taken'}."
            reading.problem(
                number,
                heading,
                part,
                error=(
                    what,
                    "Keep one row for each part."
                    if alike
                    else "Keep the right row and delete the others, or give each its own part code.",
                ),
            )
    return sorted(kept, key=lambda entry: entry[0])


def cell_text(value: Any, rule: FieldRule, name: str) -> str:
    """The text of one cell, safe in a spreadsheet. Raises BadInput, naming the insert ``name``, for what no table holds."""
    text = _text_of(value).strip()
    if len(text) > MAX_CELL - 1 or "\0" in text:
        raise BadInput("This text cannot be written in a table.", where=f"{name[:80]}: {rule.name}", hint="Shorten it.")
    return guard(text)


def heading_text(rule: FieldRule) -> str:
    """The heading of a column that is written here, with the unit of bare numbers."""
    unit = OWN_UNITS.get(rule.name)
    return rule.name if unit is None else f"{rule.name.rpartition('_')[0]} [{unit}]"


def value_text(insert: Insert, name: str) -> str:
    """The value of one field as text that reads back as the same value; empty when it is not known."""
    return _text_of(getattr(insert, name))


def _text_of(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, Length):
        return length_text(value)
    if isinstance(value, float):
        return number_text(value)
    return str(value)


@dataclass(frozen=True, slots=True)
class Change:
    """One field of one part whose value is not what it was; texts as :func:`value_text` writes them."""

    part: str
    field: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class Changes:
    """What a re-import would change. ``missing`` parts stand in the catalogue but not in the new table."""

    added: tuple[Insert, ...]
    changed: tuple[Change, ...]
    unchanged: tuple[Insert, ...]
    missing: tuple[Insert, ...]


def compare(old: Sequence[Insert], new: Sequence[Insert]) -> Changes:
    """Say what differs between two catalogues, by part code, in the order of ``new``.

    Values are compared, not texts: 0.5 in and 12.7 mm are the same length. Of a part that occurs twice the last counts.
    """
    before = {insert.part: insert for insert in old}
    after = {insert.part: insert for insert in new}
    changed: list[Change] = []
    unchanged: list[Insert] = []
    for part, insert in after.items():
        was = before.get(part)
        if was is None:
            continue
        found = [
            Change(part, rule.name, value_text(was, rule.name), value_text(insert, rule.name))
            for rule in FIELDS
            if getattr(was, rule.name) != getattr(insert, rule.name)
        ]
        changed.extend(found)
        if not found:
            unchanged.append(insert)
    return Changes(
        added=tuple(insert for part, insert in after.items() if part not in before),
        changed=tuple(changed),
        unchanged=tuple(unchanged),
        missing=tuple(insert for part, insert in before.items() if part not in after),
    )

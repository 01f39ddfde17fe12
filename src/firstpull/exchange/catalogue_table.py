"""The user's catalogue of inserts, read from CSV or XLSX with a preview, and written as CSV.

Nothing is guessed: every row that cannot be used is reported with its row as the spreadsheet shows it, the column,
the value and what would be right. Good rows are kept. What is written reads back the same, text as typed included.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import lru_cache
from typing import Any

from firstpull.errors import BadInput
from firstpull.exchange.catalogue_columns import (
    CHOICES,
    FIELDS,
    OWN_UNITS,
    RULES,
    Column,
    FieldRule,
    map_columns,
    match_heading,
    plain,
    units_of,
)
from firstpull.exchange.table_cells import MAX_CELL, TextRow, TextTable, guard, read_tables
from firstpull.exchange.texts import length_text, number_text, rounded
from firstpull.mechanics.insert import Insert, check_insert
from firstpull.trade.threads import thread
from firstpull.units import Length, LengthUnit, parse_force, parse_length, parse_number, parse_torque

_HEADING_ROWS = 40
_LEAST_HEADINGS = 3
_UNIT_SAMPLE = 2_000
# More places than a length can hold, as spreadsheets write quotients.
_LONG_DECIMAL = re.compile(r"[+-]?\d{1,6}[.,]\d{13,20}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing to put right: ``row`` as the spreadsheet shows it, ``column`` heading, ``value`` as read, ``what``
    is wrong and the ``hint`` that says what would be right."""

    row: int
    column: str
    value: str
    what: str
    hint: str

    def as_dict(self) -> dict[str, int | str]:
        """The shape shared by the command line, HTTP and the library."""
        return {"row": self.row, "column": self.column, "value": self.value, "what": self.what, "hint": self.hint}


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


@dataclass(slots=True)
class _Reading:
    """What is gathered while the rows are read."""

    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    unit_missing: list[str] = field(default_factory=list)
    rounded: set[str] = field(default_factory=set)

    def problem(self, row: int, column: str, value: str, *, error: BadInput | tuple[str, str]) -> None:
        what, hint = (error.what, error.hint) if isinstance(error, BadInput) else error
        self.problems.append(Problem(row, column, value[:200], what, hint))


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
    table, at = _find_headings(tables, filename, set(field_by_column or ()))
    place = f"{filename}: {table.sheet}" if table.sheet else filename
    heading = table.rows[at]
    headings = _unique_headings(heading.cells, place)
    columns = map_columns(
        headings,
        where=f"{place} row {heading.number}",
        unit=unit,
        unit_by_column=unit_by_column,
        field_by_column=field_by_column,
    )
    reading = _Reading(notes=list(table.notes))
    _note_layout(reading, tables, table, at, columns)
    body = [row for row in table.rows[at + 1 :] if not row.empty]
    if not _required_present(reading, columns, heading.number):
        body = []
    _check_units(reading, columns, body, heading.number)
    found = []
    for row in body:
        insert = _read_row(reading, columns, row)
        if insert is not None:
            found.append((row.number, insert))
    kept = _without_duplicates(reading, columns, found)
    if reading.rounded:
        reading.notes.append(
            f"Numbers with more places than gauges show were rounded to 0.000001 mm or 0.00001 in: {', '.join(sorted(reading.rounded))}."
        )
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


def _find_headings(tables: Sequence[TextTable], filename: str, chosen: set[str]) -> tuple[TextTable, int]:
    """The table and the row in its first rows that names the most measures."""
    best: tuple[TextTable, int] | None = None
    best_count = _LEAST_HEADINGS - 1
    wanted = {name.strip().lower() for name in chosen}
    for table in tables:
        for index, row in enumerate(table.rows[:_HEADING_ROWS]):
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


def _unique_headings(cells: Sequence[str], place: str) -> tuple[str, ...]:
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


def _note_layout(
    reading: _Reading, tables: Sequence[TextTable], table: TextTable, at: int, columns: Sequence[Column]
) -> None:
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


def _required_present(reading: _Reading, columns: Sequence[Column], row: int) -> bool:
    present = {column.field for column in columns}
    missing = [rule for rule in FIELDS if rule.required and rule.name not in present]
    for rule in missing:
        words = ", ".join(f"“{word}”" for word in (rule.name, *rule.words[:3]))
        reading.problem(row, rule.name, "", error=("There is no column for this.", f"Name one {words}."))
    return not missing


def _check_units(reading: _Reading, columns: Sequence[Column], body: Sequence[TextRow], row: int) -> None:
    """Report each measured column in which no number has a unit and none is known for the column."""
    for column in columns:
        rule = RULES.get(column.field or "")
        if rule is None or not units_of(rule.kind) or column.unit is not None:
            continue
        values = [
            line.cells[column.index] for line in body if column.index < len(line.cells) and line.cells[column.index]
        ]
        if values and all(_bare(value) for value in values[:_UNIT_SAMPLE]):
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


def _bare(value: str) -> bool:
    if value[-1:].isalpha():
        return False  # a unit, without the cost of reading the number
    if _LONG_DECIMAL.fullmatch(value):
        return True
    try:
        parse_number(value)
    except BadInput:
        return False
    return True


def _read_row(reading: _Reading, columns: Sequence[Column], row: TextRow) -> Insert | None:
    """The insert of one row, or None with its problems reported."""
    before = len(reading.problems)
    values: dict[str, Any] = {}
    unit_missing = False
    for column in columns:
        rule = RULES.get(column.field or "")
        text = row.cells[column.index] if column.index < len(row.cells) else ""
        if rule is None:
            continue
        fault = row.faults.get(column.index)
        if fault is not None:
            reading.problem(row.number, column.heading, text, error=(fault.what, fault.hint))
        elif not text:
            if rule.required:
                reading.problem(row.number, column.heading, "", error=("This is empty.", _example(rule, column)))
        elif column.heading in reading.unit_missing:
            unit_missing = True  # said once for the whole column
        else:
            try:
                values[rule.name] = _read_cell(reading, rule, column, text)
            except BadInput as error:
                reading.problem(row.number, column.heading, text, error=error)
    spill = [cell for cell in row.cells[len(columns) :] if cell]
    if spill:
        reading.problem(
            row.number,
            "",
            " ".join(spill),
            error=(
                "The row has more cells than there are column names.",
                "Put values with a decimal comma in quotation marks, or separate cells by semicolons.",
            ),
        )
    if len(reading.problems) > before or unit_missing:
        return None
    return _checked(reading, columns, row, values)


def _checked(reading: _Reading, columns: Sequence[Column], row: TextRow, values: dict[str, Any]) -> Insert | None:
    try:
        insert = Insert(**values)
        check_insert(insert)
    except BadInput as error:
        name = error.where.rsplit(".", 1)[-1]
        column = next((column for column in columns if column.field == name), None)
        text = row.cells[column.index] if column is not None and column.index < len(row.cells) else ""
        reading.problem(row.number, column.heading if column else name, text, error=error)
        return None
    return insert


def _example(rule: FieldRule, column: Column) -> str:
    if rule.kind == "length":
        return f"Write a length, for example “15.5{'' if column.unit else ' mm'}”."
    if rule.kind == "choice":
        return f"Write {_words(rule.name)}."
    return f"Every insert needs its {plain(rule.name)}."


def _words(name: str) -> str:
    return " or ".join(f"“{word}”" for word in dict.fromkeys(CHOICES[name].values()))


def _read_cell(reading: _Reading, rule: FieldRule, column: Column, text: str) -> Any:
    if rule.name == "thread":
        _check_thread(text)  # the text stays as typed
    if rule.kind == "text":
        return text
    if rule.kind == "choice":
        return _read_choice(rule, text)
    if rule.kind == "count":
        return _read_count(text)
    if _bare(text):
        if column.unit is None:
            choices = " or ".join(f"“{text} {unit}”" for unit in units_of(rule.kind)[:2])
            raise BadInput(f"“{text}” has no unit.", hint=f"Write {choices}.")
        text = f"{_fitting(reading, column, text)} {column.unit}"
    if rule.kind == "force":
        return rounded(parse_force(text).newtons)
    if rule.kind == "torque":
        return rounded(parse_torque(text).newton_metres)
    return parse_length(text)


@lru_cache(maxsize=1024)
def _check_thread(text: str) -> None:
    """Refuse what the thread tables do not hold. A catalogue names few threads in many rows."""
    thread(text)


def _read_choice(rule: FieldRule, text: str) -> str:
    word = CHOICES[rule.name].get(plain(text))
    if word is None:
        raise BadInput(f"“{text[:60]}” is not known here.", hint=f"Write {_words(rule.name)}.")
    return word


def _read_count(text: str) -> int:
    number = parse_number(text)
    if number.denominator != 1 or not 0 <= number <= 100:
        raise BadInput(f"“{text}” is not a count.", hint="Write a whole number from 0 to 100.")
    return int(number)


def _fitting(reading: _Reading, column: Column, text: str) -> str:
    """A bare decimal cut to places that are whole nanometres: spreadsheets write 15.5/25.4 as 0.610236220472441."""
    places = {"mm": 6, "in": 5, "thou": 2, "µm": 3}.get(column.unit or "")
    head, point, tail = text.replace(",", ".").partition(".")
    if places is None or not point or len(tail) <= places or not tail.isdigit():
        return text
    if not tail[places:].strip("0"):
        return f"{head}.{tail[:places]}"
    reading.rounded.add(column.heading)
    return f"{round(Decimal(f'{head}.{tail}'), places):f}"


def _without_duplicates(
    reading: _Reading, columns: Sequence[Column], found: Sequence[tuple[int, Insert]]
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


def write_csv(inserts: Iterable[Insert]) -> str:
    """The inserts as CSV (comma, UTF-8 when encoded, line ends CR LF) that :func:`preview` reads back the same.

    Lengths keep their text as typed where it says the same length; else mm. Cells that a spreadsheet program would
    run as a formula get an apostrophe in front, which reading takes off. Raises BadInput for text that no table can
    hold: over 2000 characters, or a NUL character.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(_heading(rule) for rule in FIELDS)
    for insert in inserts:
        writer.writerow(_cell(insert, rule) for rule in FIELDS)
    return out.getvalue()


def _cell(insert: Insert, rule: FieldRule) -> str:
    text = value_text(insert, rule.name).strip()
    if len(text) > MAX_CELL - 1 or "\0" in text:
        raise BadInput(
            "This text cannot be written in a table.", where=f"{insert.name[:80]}: {rule.name}", hint="Shorten it."
        )
    return guard(text)


def _heading(rule: FieldRule) -> str:
    unit = OWN_UNITS.get(rule.name)
    return rule.name if unit is None else f"{rule.name.rpartition('_')[0]} [{unit}]"


def value_text(insert: Insert, name: str) -> str:
    """The value of one field as text that reads back as the same value; empty when it is not known."""
    value = getattr(insert, name)
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

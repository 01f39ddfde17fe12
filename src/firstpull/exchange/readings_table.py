"""Tables of readings, CSV or XLSX: of a gauge study (part, appraiser, reading) or of a run (one reading a row).

Nothing is guessed: a bare number needs the unit in its heading, as in “reading [mm]”, or the unit given with the file;
what cannot be read is said with its row as the spreadsheet shows it, its column and what would be right.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from firstpull.errors import BadInput
from firstpull.exchange.table_cells import TextRow, TextTable, read_tables
from firstpull.units import Length, LengthUnit, parse_length

_HEADINGS = {
    "part": ("part", "piece", "sample"),
    "appraiser": ("appraiser", "operator", "person", "who"),
    "trial": ("trial", "repeat"),
    "reading": ("reading", "value", "measurement", "length"),
    "reference": ("reference", "true value", "master"),
}
_UNIT = re.compile(r"\s*[\[(]\s*(mm|in|inch)\s*[\])]\s*$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class StudyRow:
    """One reading of a gauge study, with its row in the file; ``reference`` is the part's known value, or None."""

    row: int
    part: str
    appraiser: str
    reading: Length
    reference: Length | None


@dataclass(frozen=True, slots=True)
class StudyTable:
    """The readings of a gauge study and the ``unit`` they were written in, with notes on how the file was read."""

    rows: tuple[StudyRow, ...]
    unit: LengthUnit
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RunTable:
    """Readings in the order of the file and the ``unit`` they were written in."""

    readings: tuple[Length, ...]
    unit: LengthUnit
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Column:
    place: int
    heading: str
    unit: LengthUnit | None


def read_study(data: bytes, *, filename: str, unit: LengthUnit | None = None) -> StudyTable:
    """Read part, appraiser and reading (and trial, reference where there are any). Raises BadInput.

    ``unit`` is that of bare numbers where the heading has none.
    """
    table, heading, columns = _open(data, filename, ("part", "appraiser", "reading"))
    rows: list[StudyRow] = []
    seen: dict[tuple[str, str, str], int] = {}
    for row in _body(table, heading):
        part, who = (_text(row, columns[name], filename) for name in ("part", "appraiser"))
        if "trial" in columns:
            key = (part, who, _text(row, columns["trial"], filename))
            if key in seen:
                raise BadInput(
                    f"Part {part} by {who}, trial {key[2]}, stands in row {seen[key]} already.",
                    where=f"{filename} row {row.number}",
                    hint="Give each trial its own number.",
                )
            seen[key] = row.number
        reference = None
        if "reference" in columns and _cell(row, columns["reference"]):
            reference = _length(row, columns["reference"], filename, unit=unit)
        rows.append(StudyRow(row.number, part, who, _length(row, columns["reading"], filename, unit=unit), reference))
    if not rows:
        raise BadInput("The table holds no readings.", where=filename, hint="Write one reading a row.")
    return StudyTable(tuple(rows), columns["reading"].unit or unit or "mm", table.notes)


def read_run(data: bytes, *, filename: str, unit: LengthUnit | None = None) -> RunTable:
    """Read the column of readings, in order; a table of one column needs no other name. Raises BadInput."""
    table, heading, columns = _open(data, filename, ("reading",))
    readings = tuple(_length(row, columns["reading"], filename, unit=unit) for row in _body(table, heading))
    if not readings:
        raise BadInput("The table holds no readings.", where=filename, hint="Write one reading a row.")
    return RunTable(readings, columns["reading"].unit or unit or "mm", table.notes)


def _open(data: bytes, filename: str, needed: Sequence[str]) -> tuple[TextTable, TextRow, dict[str, _Column]]:
    tables = read_tables(data, filename=filename)
    table = tables[0] if tables else TextTable(())
    heading = next((row for row in table.rows if not row.empty), None)
    if heading is None:
        raise BadInput("The file is empty.", where=filename, hint=f"Write the headings {', '.join(needed)}.")
    columns: dict[str, _Column] = {}
    for place, cell in enumerate(heading.cells):
        found = _UNIT.search(cell)
        name = _UNIT.sub("", cell).strip().lower().replace("_", " ")
        field = next((field for field, names in _HEADINGS.items() if name in names), None)
        if field is None:
            continue
        if field in columns:
            raise BadInput(
                f"“{cell}” and “{columns[field].heading}” both are the {field}.",
                where=f"{filename} row {heading.number}",
                hint="Keep one of them.",
            )
        unit: LengthUnit | None = None if found is None else "mm" if found.group(1).lower() == "mm" else "in"
        columns[field] = _Column(place, cell, unit)
    missing = [name for name in needed if name not in columns]
    if missing:
        raise BadInput(
            f"There is no column for {' and '.join(missing)}.",
            where=f"{filename} row {heading.number}",
            hint=f"The first row needs the headings {', '.join(needed)}; the reading’s with its unit, as in “reading [mm]”.",
        )
    return table, heading, columns


def _body(table: TextTable, heading: TextRow) -> list[TextRow]:
    return [row for row in table.rows if row.number > heading.number and not row.empty]


def _cell(row: TextRow, column: _Column) -> str:
    return row.cells[column.place] if column.place < len(row.cells) else ""


def _where(row: TextRow, column: _Column, filename: str) -> str:
    return f"{filename} row {row.number}, column “{column.heading}”"


def _text(row: TextRow, column: _Column, filename: str) -> str:
    fault = row.faults.get(column.place)
    if fault is not None:
        raise BadInput(fault.what, where=_where(row, column, filename), hint=fault.hint)
    text = _cell(row, column)
    if not text:
        raise BadInput("This cell is empty.", where=_where(row, column, filename), hint="Fill it, or delete the row.")
    return text


def _length(row: TextRow, column: _Column, filename: str, *, unit: LengthUnit | None) -> Length:
    text = _text(row, column, filename)
    return parse_length(text, unit=column.unit or unit, where=_where(row, column, filename))

"""XLSX sheets as rows of text, with guards against files made to exhaust memory.

Formulas give the result that the spreadsheet program stored; one without a stored result is a fault of its cell.
A merged cell stands for every cell it covers. Hidden sheets are left out, hidden rows and columns are read; both
are said.
"""

from __future__ import annotations

import datetime
import io
import math
import re
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from firstpull.errors import BadInput
from firstpull.exchange.table_cells import (
    MAX_CELL,
    MAX_COLUMNS,
    MAX_ROWS,
    CellFault,
    TextRow,
    TextTable,
    too_long,
    unguard,
)

if TYPE_CHECKING:
    from openpyxl.workbook.workbook import Workbook

MAX_UNPACKED_BYTES = 128 * 1024 * 1024
MAX_PARTS = 1_000
MAX_MERGED = 5_000

_MERGED = re.compile(rb'<(?:\w+:)?mergeCell\s[^>]*?ref="\$?([A-Z]{1,3})\$?(\d{1,7}):\$?[A-Z]{1,3}\$?(\d{1,7})"')
_HIDDEN_ROW = re.compile(rb'<(?:\w+:)?row\s(?=[^>]*?\bhidden="(?:1|true)")[^>]*?\br="(\d{1,7})"')
_HIDDEN_COLUMN = re.compile(rb'<(?:\w+:)?col\s[^>]*?\bhidden="(?:1|true)"')
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s>/]")

_NO_RESULT = CellFault(
    "The cell holds a formula without a stored result.",
    "Open the file in a spreadsheet program, let it calculate, save it, and read it again.",
)


@dataclass(frozen=True, slots=True)
class _SheetFacts:
    """What the row reader does not tell: merged ranges as (first row, column, last row), hidden parts, formulas."""

    merged: tuple[tuple[int, int, int], ...]
    hidden_rows: tuple[int, ...]
    hidden_columns: bool
    formulas: bool


def read_workbook(data: bytes, *, filename: str, sheet: str | None = None) -> tuple[TextTable, ...]:
    """Read the visible sheets (or the one named ``sheet``) of an XLSX file. Raises BadInput, and nothing else."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive, warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the reader warns about styles and validations, which are not read
            _check_archive(archive, filename)
            return _read_sheets(data, archive, filename, sheet)
    except BadInput:
        raise
    except Exception as error:  # the spreadsheet reader raises whatever its XML leads it to
        raise BadInput(
            f"The file cannot be read as XLSX ({type(error).__name__}).",
            where=filename,
            hint="Open it in a spreadsheet program and save it again as XLSX or CSV.",
        )


def _check_archive(archive: zipfile.ZipFile, filename: str) -> None:
    parts = archive.infolist()
    names = {part.filename for part in parts}
    if "[Content_Types].xml" not in names or not any(name.startswith("xl/") for name in names):
        raise BadInput("This is a packed file, but not XLSX.", where=filename, hint="Save the table as XLSX or CSV.")
    if any(part.flag_bits & 1 for part in parts):
        raise BadInput("The file is protected by a password.", where=filename, hint="Save it without a password.")
    # zipfile never unpacks more than the size a part declares, so the declared sizes bound the memory.
    if len(parts) > MAX_PARTS or sum(part.file_size for part in parts) > MAX_UNPACKED_BYTES:
        raise BadInput(
            "The file unpacks to far more than a catalogue needs.",
            where=filename,
            hint=f"Save only the table; at most {MAX_UNPACKED_BYTES // 2**20} MiB unpacked are read.",
        )
    for part in parts:
        if part.filename.endswith((".xml", ".rels")):
            _check_xml(archive, part, filename)


def _check_xml(archive: zipfile.ZipFile, part: zipfile.ZipInfo, filename: str) -> None:
    """Refuse XML with a document type: spreadsheets never write one, and entities can grow without bound."""
    tail = b""
    with archive.open(part) as stream:
        # The whole part is searched: a document type may hide behind any number of blanks and comments.
        while chunk := stream.read(1 << 20):
            seen = (tail + chunk).upper()
            if b"\0" in seen or b"<!DOCTYPE" in seen or b"<!ENTITY" in seen:
                raise BadInput(
                    "The file holds XML that spreadsheets do not write.",
                    where=f"{filename}: {part.filename}",
                    hint="Save the table again as XLSX or CSV.",
                )
            tail = chunk[-16:]


def _read_sheets(data: bytes, archive: zipfile.ZipFile, filename: str, wanted: str | None) -> tuple[TextTable, ...]:
    values = _open(data, results=True)
    visible = [name for name in values.sheetnames if _state(values, name) == "visible"]
    if wanted is not None and wanted not in values.sheetnames:
        raise BadInput(
            f"There is no sheet “{wanted}”.", where=filename, hint=f"The sheets are: {', '.join(values.sheetnames)}."
        )
    chosen = [wanted] if wanted is not None else visible
    hidden = [name for name in values.sheetnames if name not in visible and name != wanted]
    notes = [f"Hidden sheets were left out: {', '.join(hidden)}."] if hidden else []
    formulas: Workbook | None = None
    tables: list[TextTable] = []
    for name in chosen:
        reader = values[name]
        path = str(getattr(reader, "_worksheet_path", "")).lstrip("/")
        if path not in archive.namelist():
            continue  # a chart sheet holds no cells
        facts = _facts(archive.read(path))
        if facts.formulas and formulas is None:
            formulas = _open(data, results=False)
        rows = _rows(values, formulas if facts.formulas else None, name, filename)
        if rows:
            rows, merge_notes = _fill_merged(rows, facts)
            tables.append(TextTable(tuple(rows), (*notes, *merge_notes, *_hidden_notes(facts)), name))
    return tuple(tables)


def _open(data: bytes, *, results: bool) -> Workbook:
    import openpyxl

    return openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=results, keep_links=False)


def _state(workbook: Workbook, name: str) -> str:
    return str(getattr(workbook[name], "sheet_state", "visible"))


def _facts(xml: bytes) -> _SheetFacts:
    merged = []
    for match in list(_MERGED.finditer(xml))[:MAX_MERGED]:
        # A range across columns is a title or a shared remark, not a value of each column: only down is filled.
        column, first_row, last_row = match.groups()
        merged.append((int(first_row) - 1, _column_index(column), int(last_row) - 1))
    hidden = tuple(int(match.group(1)) for match in _HIDDEN_ROW.finditer(xml))
    return _SheetFacts(tuple(merged), hidden, _HIDDEN_COLUMN.search(xml) is not None, _FORMULA.search(xml) is not None)


def _column_index(letters: bytes) -> int:
    index = 0
    for letter in letters:
        index = index * 26 + letter - 64
    return index - 1


def _rows(values: Workbook, formulas: Workbook | None, name: str, filename: str) -> list[TextRow]:
    rows: list[TextRow] = []
    written = _cells(formulas, name) if formulas is not None else None
    for number, cells in enumerate(_cells(values, name), start=1):
        if number > MAX_ROWS:
            raise BadInput(
                f"The sheet has more than {MAX_ROWS} rows.",
                where=f"{filename}: {name}",
                hint="Delete the empty rows below the table, or split it.",
            )
        behind = next(written, ()) if written is not None else ()
        rows.append(_row(number, cells, behind))
    while rows and rows[-1].empty:
        rows.pop()
    return rows


def _cells(workbook: Workbook, name: str) -> Iterator[tuple[Any, ...]]:
    sheet = workbook[name]
    # Some programs write a wrong size of the used range, and then whole columns would be lost.
    sheet.reset_dimensions()
    yield from sheet.iter_rows(values_only=True, max_col=MAX_COLUMNS)


def _row(number: int, cells: tuple[Any, ...], behind: tuple[Any, ...]) -> TextRow:
    texts: list[str] = []
    faults: dict[int, CellFault] = {}
    for column, value in enumerate(cells):
        text, fault = _text(value)
        if len(text) > MAX_CELL:
            text, fault = text[:MAX_CELL], too_long(text)
        if value is None and column < len(behind) and str(behind[column] or "").startswith("="):
            fault = _NO_RESULT
        texts.append(text)
        if fault is not None:
            faults[column] = fault
    while texts and not texts[-1] and len(texts) - 1 not in faults:
        texts.pop()
    return TextRow(number, tuple(texts), faults)


def _text(value: Any) -> tuple[str, CellFault | None]:
    if value is None:
        return "", None
    if isinstance(value, bool):
        return ("yes" if value else "no"), None
    if isinstance(value, int):
        return (str(value) if abs(value) < 10**15 else f"{value:.6e}"), None
    if isinstance(value, float):
        return _number_text(value), None
    if isinstance(value, (datetime.datetime, datetime.date, datetime.time, datetime.timedelta)):
        shown = value.date().isoformat() if isinstance(value, datetime.datetime) else str(value)
        return shown, CellFault(
            "The spreadsheet turned what was typed into a date or time.",
            "Format the column as text and type it again, for example “6-32” or “1/4-20”.",
        )
    text = unguard(str(value).strip())
    if re.fullmatch(r"#(REF!|N/A|VALUE!|DIV/0!|NAME\?|NUM!|NULL!)", text):
        return text, CellFault("The cell shows a spreadsheet error.", "Correct its formula, or type the value.")
    return text, None


def _number_text(value: float) -> str:
    """The decimal that was meant: 12 significant digits, since binary arithmetic leaves 15.499999999999998 for 15.5."""
    if not math.isfinite(value) or abs(value) >= 1e15:
        return str(value)
    text = f"{value:.12g}"
    if "e" in text:
        text = f"{value:.15f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _fill_merged(rows: list[TextRow], facts: _SheetFacts) -> tuple[list[TextRow], list[str]]:
    if not facts.merged:
        return rows, []
    grid: dict[int, list[str]] = {}
    faults: dict[int, dict[int, CellFault]] = {}
    for first_row, column, last_row in facts.merged:
        if not 0 <= first_row < len(rows) or column >= len(rows[first_row].cells):
            continue
        value = rows[first_row].cells[column]
        fault = rows[first_row].faults.get(column)
        for index in range(first_row, min(last_row, len(rows) - 1) + 1):
            cells = grid.setdefault(index, list(rows[index].cells))
            cells.extend([""] * (column + 1 - len(cells)))
            cells[column] = value
            if fault is not None:
                faults.setdefault(index, dict(rows[index].faults))[column] = fault
    filled = [
        TextRow(row.number, tuple(grid.get(index, row.cells)), faults.get(index, row.faults))
        for index, row in enumerate(rows)
    ]
    return filled, ["Merged cells count for every row that they cover."]


def _hidden_notes(facts: _SheetFacts) -> list[str]:
    notes = []
    if facts.hidden_rows:
        shown = ", ".join(str(number) for number in facts.hidden_rows[:10])
        notes.append(f"Hidden rows were read like the others: {shown}{' …' if len(facts.hidden_rows) > 10 else ''}.")
    if facts.hidden_columns:
        notes.append("Hidden columns were read like the others.")
    return notes

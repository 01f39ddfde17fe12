"""Tables as text: a CSV or XLSX file becomes rows of trimmed strings with the row numbers that a person sees.

Nothing is interpreted here. What a spreadsheet did to a cell (turned it into a date, holds a formula without a
result, shows an error) is kept as a fault of that cell, so that a reader can say it instead of guessing.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from firstpull.errors import BadInput

MAX_BYTES = 32 * 1024 * 1024
MAX_ROWS = 200_000
MAX_COLUMNS = 200
MAX_CELL = 2_000

WESTERN_NOTE = (
    "The text is not UTF-8; it was read as Western European (Windows-1252). Check letters such as ä, é and µ."
)

_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
_RISKY_START = re.compile(r"'*[=+\-@\t\r\n＝＋－＠]")
_GUARDED_START = re.compile(r"'+[=+\-@\t\r\n＝＋－＠]")


@dataclass(frozen=True, slots=True)
class CellFault:
    """What a spreadsheet did to one cell: ``what`` happened and the ``hint`` that cures it."""

    what: str
    hint: str


@dataclass(frozen=True, slots=True)
class TextRow:
    """One row: its ``number`` as the spreadsheet or editor shows it, and its ``cells``, blanks trimmed."""

    number: int
    cells: tuple[str, ...]
    faults: Mapping[int, CellFault] = field(default_factory=dict)

    @property
    def empty(self) -> bool:
        """True when no cell holds anything."""
        return not any(self.cells) and not self.faults


@dataclass(frozen=True, slots=True)
class TextTable:
    """All rows of a file, with plain notes on how it was read. ``sheet`` is empty for CSV."""

    rows: tuple[TextRow, ...]
    notes: tuple[str, ...] = ()
    sheet: str = ""


def read_tables(data: bytes, *, filename: str, sheet: str | None = None) -> tuple[TextTable, ...]:
    """Read ``data`` as XLSX when it is one, else as delimited text. ``sheet`` picks one sheet of an XLSX file.

    An XLSX file gives one table for each visible sheet that holds something. Raises BadInput when the file is too
    large, is another format, or is damaged. Sizes: at most 32 MiB, 200 000 rows, 200 columns.
    """
    if len(data) > MAX_BYTES:
        raise BadInput(
            f"The file is {len(data) / 2**20:.0f} MiB; at most {MAX_BYTES // 2**20} MiB are read.",
            where=filename,
            hint="Split it, or import a CSV with the command firstpull catalogue import.",
        )
    if is_workbook(data):
        from firstpull.exchange.workbook_cells import read_workbook

        return read_workbook(data, filename=filename, sheet=sheet)
    check_kind(data, filename=filename)
    if sheet is not None:
        raise BadInput("A CSV file has no sheets to choose from.", where=filename, hint="Leave the sheet out.")
    return (read_delimited(data, filename=filename),)


def is_workbook(data: bytes) -> bool:
    """Whether ``data`` begins as an XLSX file does."""
    return data[:4] in (b"PK\x03\x04", b"PK\x05\x06")


def check_kind(data: bytes, *, filename: str) -> None:
    """Raises BadInput for files that people take for a table and that are none."""
    if data[:4] == b"\xd0\xcf\x11\xe0":
        raise BadInput(
            "This is an old spreadsheet file (XLS) or a protected one.",
            where=filename,
            hint="Open it and save it as XLSX or CSV, without a password.",
        )
    if data[:4] == b"%PDF":
        raise BadInput("This is a PDF, not a table.", where=filename, hint="Type or export the table as CSV or XLSX.")


def read_delimited(data: bytes, *, filename: str) -> TextTable:
    """Read delimited text: comma, semicolon or tab; UTF-8, UTF-16 or Western European (with a note). Raises BadInput."""
    text, notes = _decode(data, filename)
    delimiter = delimiter_of(text)
    rows: list[TextRow] = []
    for number, cells in enumerate(raw_rows(io.StringIO(text, newline=""), delimiter=delimiter, name=filename), 1):
        rows.append(text_row(number, cells, filename))
        if number > MAX_ROWS:
            raise BadInput(
                f"The table has more than {MAX_ROWS} rows.",
                where=filename,
                hint="Split it, or import a CSV with the command firstpull catalogue import.",
            )
    if delimiter != ",":
        notes.append(separator_note(delimiter))
    return TextTable(tuple(rows), tuple(notes))


def raw_rows(lines: Iterable[str], *, delimiter: str, name: str) -> Iterator[list[str]]:
    """The raw cells of each row of the file ``name``, blank rows too. Raises BadInput with the row that cannot be read.

    Rows are counted as a spreadsheet shows them: a quoted cell with line breaks is one row. A quotation mark that is
    never closed would make one cell of all that follows, so the file is refused.
    """
    since: list[str] = []  # the lines of the row that is being read: few, as a cell of over 131072 letters is refused
    number = 0
    try:
        for cells in csv.reader(_kept(lines, since), delimiter=delimiter, strict=False):
            number += 1
            if len(since) > 1 and _is_open(since, delimiter):
                break
            since.clear()
            yield cells
        else:
            return
    except csv.Error as error:
        what = "A cell is too long" if "field limit" in str(error) else f"The table cannot be read ({error})"
        raise BadInput(
            f"{what}.",
            where=f"{name} row {number + 1}",
            hint="Look for a quotation mark that is not closed, or export the table again as CSV.",
        )
    raise BadInput(
        "A quotation mark in this row is not closed: all that follows would be one cell.",
        where=f"{name} row {number}",
        hint="Close it, or write it twice where it means inches.",
    )


def _kept(lines: Iterable[str], since: list[str]) -> Iterator[str]:
    for line in lines:
        since.append(line)
        yield line


def _is_open(lines: list[str], delimiter: str) -> bool:
    """Whether a quotation mark in these lines of one row is open at their end."""
    reader = csv.reader([*lines, '"'], delimiter=delimiter, strict=False)
    next(reader, None)
    return reader.line_num > len(lines)


def separator_note(delimiter: str) -> str:
    """What a person is told of a separator that is no comma."""
    return f"Cells are separated by {_DELIMITERS[delimiter]}s."


def text_row(number: int, cells: list[str], filename: str) -> TextRow:
    """The row of raw ``cells``, trimmed. Raises BadInput when there are more than any table has."""
    if len(cells) > MAX_COLUMNS:
        raise BadInput(
            f"The row has {len(cells)} cells; at most {MAX_COLUMNS} columns are read.",
            where=f"{filename} row {number}",
            hint="Check the separator, or leave out columns.",
        )
    faults = {index: too_long(cell) for index, cell in enumerate(cells) if len(cell) > MAX_CELL}
    return TextRow(number, tuple(unguard(cell.strip()[:MAX_CELL]) for cell in cells), faults)


def too_long(cell: str) -> CellFault:
    """The fault of a cell that holds more than any value needs."""
    return CellFault(
        f"The cell holds {len(cell)} characters; at most {MAX_CELL} are read.",
        "Shorten it, and check for a quotation mark that is not closed.",
    )


def guard(text: str) -> str:
    """``text`` made safe to open in a spreadsheet program: what it would run as a formula gets an apostrophe in front.

    :func:`unguard` takes exactly that apostrophe off again, so the round trip is lossless.
    """
    return f"'{text}" if _RISKY_START.match(text) else text


def unguard(text: str) -> str:
    """Undo :func:`guard`; other text comes back as it is."""
    return text[1:] if _GUARDED_START.match(text) else text


def _decode(data: bytes, filename: str) -> tuple[str, list[str]]:
    notes: list[str] = []
    try:
        if data.startswith(codecs.BOM_UTF8):
            text = data.decode("utf-8-sig")
        elif data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            text = data.decode("utf-16")
        elif data[1:2] == b"\0":
            text = data.decode("utf-16-le")
        elif data[:1] == b"\0":
            text = data.decode("utf-16-be")
        else:
            text, notes = _decode_eight_bit(data)
    except UnicodeDecodeError:
        raise BadInput(
            "The text is damaged or in an unknown encoding.", where=filename, hint="Export it again as CSV in UTF-8."
        )
    if "\0" in text:
        raise BadInput("This is not a text table.", where=filename, hint="Give a CSV or XLSX file.")
    return text, notes


def _decode_eight_bit(data: bytes) -> tuple[str, list[str]]:
    try:
        return data.decode("utf-8"), []
    except UnicodeDecodeError:
        pass
    try:
        return data.decode("cp1252"), [WESTERN_NOTE]
    except UnicodeDecodeError:
        return data.decode("latin-1"), [WESTERN_NOTE.replace("Windows-1252", "Latin-1")]


def delimiter_of(text: str) -> str:
    """The separator that most of the first lines share most often; the comma when nothing speaks for another."""
    lines = [_without_quoted(line) for line in text[:20_000].splitlines()[:40] if line.strip()]
    best, best_score = ",", 0
    for delimiter in ("\t", ";", ","):
        score = sum(line.count(delimiter) for line in lines)
        # A semicolon table with decimal commas may hold more commas than semicolons; a line of a comma table
        # holds no semicolons outside quotes, so a separator found on most lines wins before the comma.
        on_lines = sum(delimiter in line for line in lines)
        if delimiter != "," and on_lines * 2 > len(lines):
            return delimiter
        if score > best_score:
            best, best_score = delimiter, score
    return best


def _without_quoted(line: str) -> str:
    return re.sub(r'"[^"]*"', "", line)

"""Many rows of a table of inserts at once: each distinct cell is read once, and the columns are checked as a whole.

A row that is not plainly good is left to :func:`firstpull.exchange.catalogue_rows.read_row`, which alone says what is
wrong with it, so that a long table is judged as a short one is.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import MISSING, dataclass, fields
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.errors import BadInput
from firstpull.exchange.catalogue_columns import FIELDS, RULES, FieldRule, map_columns
from firstpull.exchange.catalogue_columns import Column as Heading
from firstpull.exchange.catalogue_rows import Reading, read_cell, read_row
from firstpull.exchange.catalogue_table import cell_text, heading_text
from firstpull.exchange.table_cells import MAX_CELL, text_row, unguard
from firstpull.exchange.table_file import rows_of_text
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.shelf import Column, Shelf
from firstpull.mechanics.shelf.columns import Gatherer
from firstpull.mechanics.shelf.plausible import plausible, unit_fits
from firstpull.mechanics.shelf.shelf import COLUMN_NAMES
from firstpull.mechanics.shelf.view import View

LOT_ROWS = 20_000
_MOST_KNOWN_CELLS = 200_000
_BAD = object()
# what an empty cell means; a required one is never taken without a value
_DEFAULTS: dict[str, Any] = {
    one.name: None if one.default is MISSING else one.default for one in fields(Insert) if one.name in COLUMN_NAMES
}
_TO_QUOTE = re.compile('[",\r\n]')
Row = tuple[int, list[str]]


@dataclass(frozen=True, slots=True)
class Lot:
    """Good rows: their numbers in the file, their parts, and every other measure as a column."""

    numbers: NDArray[np.int64]
    parts: list[str]
    columns: dict[str, Column]

    def take(self, rows: NDArray[Any]) -> Lot:
        """Only ``rows``, in that order."""
        columns = {name: column.take(rows) for name, column in self.columns.items()}
        return Lot(self.numbers[rows], [self.parts[row] for row in rows.tolist()], columns)

    def insert(self, row: int) -> Insert:
        """The insert of one row of the lot."""
        values = {name: column.values[column.codes[row]] for name, column in self.columns.items()}
        return Insert(part=self.parts[row], **values)


class LotReader:
    """Reads rows under ``headings`` into lots; problems go to ``reading``."""

    def __init__(self, headings: Sequence[Heading], reading: Reading, *, filename: str) -> None:
        self._headings = headings
        self._reading = reading
        self._filename = filename
        self._known: dict[int, dict[str, Any]] = {heading.index: {} for heading in headings if heading.field}

    def read(self, rows: Sequence[Row]) -> Lot:
        """The good rows of ``rows``, which are numbered as a spreadsheet shows them."""
        width = len(self._headings)
        slow = [index for index, (_number, cells) in enumerate(rows) if len(cells) != width]
        fast = [row for row in rows if len(row[1]) == width] if slow else list(rows)
        lot, doubtful = self._columns(fast)
        left = [rows[index] for index in slow] + [fast[index] for index in doubtful]
        return lot if not left else self._with_slow(lot, sorted(left, key=lambda row: row[0]))

    def _columns(self, rows: Sequence[Row]) -> tuple[Lot, list[int]]:
        """The rows that are good for sure, and the places of the others."""
        numbers = np.fromiter((number for number, _cells in rows), np.int64, len(rows))
        by_column = list(zip(*(cells for _number, cells in rows), strict=True)) if rows else []
        good = np.ones(len(rows), bool)
        columns: dict[str, Column] = {name: _same(value, len(rows)) for name, value in _DEFAULTS.items()}
        parts: list[str] = []
        for heading in self._headings if rows else ():
            if heading.field is None:
                continue
            column, bad = self._column(heading, by_column[heading.index])
            good &= ~bad
            if heading.field == "part":
                parts = [column.values[code] for code in column.codes.tolist()]
            else:
                columns[heading.field] = column
        if not rows:
            return Lot(numbers, [], columns), []
        view = _view(columns)
        good &= plausible(columns, view)
        if not self._reading.kept:
            good &= unit_fits(view)
        if good.all():
            return Lot(numbers, parts, columns), []
        return Lot(numbers, parts, columns).take(np.flatnonzero(good)), np.flatnonzero(~good).tolist()

    def _column(self, heading: Heading, cells: Sequence[str]) -> tuple[Column, NDArray[np.bool_]]:
        """A column with its bad rows, whose values are then those of an empty cell."""
        known = self._known[heading.index]
        if len(known) > _MOST_KNOWN_CELLS:
            known.clear()
        place: dict[str, int] = {}
        values: list[Any] = []
        bad: list[bool] = []
        default = _DEFAULTS.get(heading.field or "", "")
        for cell in dict.fromkeys(cells):
            value = known.get(cell)
            if value is None:
                value = known[cell] = self._value(heading, cell)
            place[cell] = len(values)
            bad.append(value is _BAD)
            values.append(default if value is _BAD else value[0])
        codes = np.fromiter(map(place.__getitem__, cells), np.uint32, len(cells))
        return Column(tuple(values), codes), np.array(bad, bool)[codes]

    def _value(self, heading: Heading, cell: str) -> Any:
        """The value of a cell in a tuple, or ``_BAD``: then the row is read again, to say why."""
        rule = RULES[heading.field or ""]
        if len(cell) > MAX_CELL or heading.heading in self._reading.unit_missing:
            return _BAD
        text = unguard(cell.strip())
        if not text:
            return _BAD if rule.required else (_DEFAULTS[rule.name],)
        try:
            return (read_cell(text, rule, heading, reading=self._reading),)
        except BadInput:
            return _BAD

    def _with_slow(self, lot: Lot, rows: Sequence[Row]) -> Lot:
        """The lot with what is good of ``rows``, each read alone."""
        found: list[tuple[int, Insert]] = []
        for number, cells in rows:
            row = text_row(number, cells, self._filename)
            insert = None if row.empty else read_row(self._reading, self._headings, row)
            if insert is not None:
                found.append((number, insert))
        if not found:
            return lot
        both = [lot, lot_of((insert for _number, insert in found), [number for number, _insert in found])]
        joined = join(both)
        return joined.take(np.argsort(joined.numbers, kind="stable"))


def lot_of(inserts: Iterable[Insert], numbers: Sequence[int] | None = None) -> Lot:
    """A lot of inserts that are there already, in their order."""
    rows = list(inserts)
    columns = {}
    for name in COLUMN_NAMES:
        gatherer = Gatherer()
        gatherer.add(getattr(insert, name) for insert in rows)
        columns[name] = gatherer.column()
    places = np.arange(len(rows)) if numbers is None else np.asarray(numbers)
    return Lot(places.astype(np.int64), [insert.part for insert in rows], columns)


def join(lots: Sequence[Lot]) -> Lot:
    """One lot of several, in their order."""
    columns = {}
    for name in COLUMN_NAMES:
        gatherer = Gatherer()
        for lot in lots:
            gatherer.add_column(lot.columns[name])
        columns[name] = gatherer.column()
    return Lot(np.concatenate([lot.numbers for lot in lots]), [part for lot in lots for part in lot.parts], columns)


def lot_of_shelf(shelf: Shelf, rows: NDArray[np.int64]) -> Lot:
    """Rows of a shelf as a lot; the numbers are the shelf's."""
    columns = {name: column.take(rows) for name, column in shelf.columns.items()}
    return Lot(rows, [shelf.parts[row] for row in rows.tolist()], columns)


def heading_line() -> str:
    """The column names under which :func:`lines_of` writes, as one line of CSV without its end."""
    return ",".join(heading_text(rule) for rule in FIELDS)


def lines_of(lot: Lot) -> list[str]:
    """Each row as one line of CSV that reads back the same, without its end.

    Lengths keep their text as typed where it says the same length; else mm. Cells that a spreadsheet program would run
    as a formula get an apostrophe in front, which reading takes off. Raises BadInput, naming the insert, for text that
    no table can hold: over 2000 characters, or a NUL character.
    """
    texts = []
    for rule in FIELDS:
        if rule.name == "part":
            texts.append([_quoted(cell_text(part, rule, part)) for part in lot.parts])
            continue
        column = lot.columns[rule.name]
        made = np.array([_written(lot, rule, code) for code in range(len(column.values))], object)
        texts.append(made[column.codes].tolist())
    return list(map(",".join, zip(*texts, strict=True)))


def _written(lot: Lot, rule: FieldRule, code: int) -> str:
    """The cell of one of a column's values; an error names the first insert that has it."""
    column = lot.columns[rule.name]
    try:
        return _quoted(cell_text(column.values[code], rule, ""))
    except BadInput:
        having = np.flatnonzero(column.codes == code)
        if not len(having):
            return ""
        return _quoted(cell_text(column.values[code], rule, lot.parts[int(having[0])]))


def write_csv(inserts: Iterable[Insert]) -> str:
    """The inserts as CSV (comma, UTF-8 when encoded, line ends CR LF) that reads back the same; see :func:`lines_of`."""
    return "".join(f"{line}\r\n" for line in (heading_line(), *lines_of(lot_of(inserts))))


def inserts_of_lines(lines: Sequence[str]) -> list[Insert]:
    """The inserts of lines that :func:`lines_of` wrote."""
    lots = TableTexts().lots("\r\n".join((heading_line(), *lines)))
    return [lot.insert(row) for lot in lots for row in range(len(lot.parts))]


def batches(rows: NDArray[np.int64], count: int) -> Iterator[NDArray[np.int64]]:
    """``rows`` in pieces of ``count``."""
    for start in range(0, len(rows), count):
        yield rows[start : start + count]


class TableTexts:
    """Reads tables that :func:`heading_line` and :func:`lines_of` wrote, one after the other; a cell that was seen in one
    is known in the next."""

    def __init__(self) -> None:
        self._readers: dict[tuple[str, ...], tuple[LotReader, Reading]] = {}

    def lots(self, text: str) -> Iterator[Lot]:
        """The lots of one table. Raises BadInput when a row of it can not be read."""
        rows = enumerate(rows_of_text(text), 1)
        _number, heading = next(rows, (0, []))
        reader, reading = self._reader(tuple(heading))
        while some := list(islice(rows, LOT_ROWS)):
            yield reader.read(some)
        if reading.problems:
            first = reading.problems.pop()
            raise BadInput(f"{first.what} {first.hint}", where=f"row {first.row}, {first.column}")

    def _reader(self, heading: tuple[str, ...]) -> tuple[LotReader, Reading]:
        if heading not in self._readers:
            reading = Reading(most=1, kept=True)
            reader = LotReader(map_columns(heading, where="table"), reading, filename="table")
            self._readers[heading] = reader, reading
        return self._readers[heading]


def _quoted(text: str) -> str:
    if not _TO_QUOTE.search(text):
        return text
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerow([text])
    return out.getvalue().removesuffix("\r\n")


def _same(value: Any, count: int) -> Column:
    return Column((value,), np.zeros(count, np.uint8))


def _view(columns: dict[str, Column]) -> View:
    tables: dict[str, NDArray[Any]] = {}

    def numbers(name: str) -> NDArray[Any]:
        if name not in tables:
            column = columns[name]
            small: NDArray[Any] = column.nanometres() if RULES[name].kind == "length" else column.numbers()
            tables[name] = small[column.codes]
        return tables[name]

    return View(columns, numbers, slice(None))

"""A table of inserts of any size in a CSV file, read in lots of rows in little memory."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import islice
from pathlib import Path

from firstpull.exchange.catalogue_columns import map_columns
from firstpull.exchange.catalogue_layout import (
    HEADING_ROWS,
    UNIT_SAMPLE,
    check_units,
    find_headings,
    note_layout,
    required_present,
    unique_headings,
)
from firstpull.exchange.catalogue_lots import LOT_ROWS, Lot, LotReader
from firstpull.exchange.catalogue_rows import Reading
from firstpull.exchange.table_cells import TextTable, text_row
from firstpull.exchange.table_file import TableFile, open_table
from firstpull.units import LengthUnit

MOST_PROBLEMS = 1000


class CatalogueFile:
    """A CSV file of inserts whose headings are understood. ``reading`` gathers notes and the first 1000 problems, and
    counts all of them, while :meth:`lots` is walked."""

    def __init__(
        self,
        path: Path,
        *,
        unit: LengthUnit | None = None,
        unit_by_column: Mapping[str, str] | None = None,
        field_by_column: Mapping[str, str] | None = None,
    ) -> None:
        """Read the headings of ``path``; the choices are as for :func:`firstpull.exchange.catalogue_table.preview`.

        Raises BadInput when the file cannot be read at all or holds no heading row.
        """
        self._file: TableFile = open_table(path)
        self.name = path.name
        with self._file.rows() as rows:
            head = tuple(
                text_row(number, cells, path.name)
                for number, cells in enumerate(islice(rows, HEADING_ROWS + UNIT_SAMPLE), 1)
            )
        table, at = find_headings([TextTable(head)], path.name, set(field_by_column or ()))
        heading = table.rows[at]
        self.heading_row = heading.number
        self.columns = map_columns(
            unique_headings(heading.cells, path.name),
            where=f"{path.name} row {heading.number}",
            unit=unit,
            unit_by_column=unit_by_column,
            field_by_column=field_by_column,
        )
        self.reading = Reading(notes=list(self._file.notes), most=MOST_PROBLEMS)
        note_layout(self.reading, (table,), table=table, at=at, columns=self.columns)
        self._whole = required_present(self.reading, self.columns, heading.number)
        body = [row for row in table.rows[at + 1 :] if not row.empty] if self._whole else []
        check_units(self.reading, self.columns, body, row=heading.number)

    def lots(self) -> Iterator[Lot]:
        """The good rows, in order. Walk it once."""
        if not self._whole:
            return
        reader = LotReader(self.columns, self.reading, filename=self.name)
        with self._file.rows() as rows:
            numbered = islice(enumerate(rows, 1), self.heading_row, None)
            while some := list(islice(numbered, LOT_ROWS)):
                yield reader.read(some)
        self.reading.note_rounded()
        self.reading.problems.sort(key=lambda problem: problem.row)

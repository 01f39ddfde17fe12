"""A shelf built step by step: rows are added, rows with the same part take the place of earlier ones, parts go."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from firstpull.mechanics.shelf.columns import Column, Gatherer
from firstpull.mechanics.shelf.shelf import COLUMN_NAMES, Shelf


class ShelfBuilder:
    """Gathers rows in the order in which a catalogue got them."""

    def __init__(self) -> None:
        self._gatherers = {name: Gatherer() for name in COLUMN_NAMES}
        self._count = 0
        self._row_of: dict[str, int] = {}  # in the order of the catalogue

    @classmethod
    def continuing(cls, shelf: Shelf) -> ShelfBuilder:
        """A builder that holds what ``shelf`` holds."""
        made = cls()
        rows = np.argsort(shelf.order)
        made.add(
            [shelf.parts[row] for row in rows.tolist()], {name: one.take(rows) for name, one in shelf.columns.items()}
        )
        return made

    def add(self, parts: Sequence[str], columns: Mapping[str, Column]) -> None:
        """Rows with their parts; a part that is there already keeps its place in the catalogue and gets the new values."""
        for name, gatherer in self._gatherers.items():
            gatherer.add_column(columns[name])
        self._row_of.update(zip(parts, range(self._count, self._count + len(parts)), strict=True))
        self._count += len(parts)

    def retire(self, part: str) -> None:
        """Take a part out; one that is not there is passed over."""
        self._row_of.pop(part, None)

    def shelf(self) -> Shelf:
        """The shelf of all that is there now."""
        rows = np.fromiter(self._row_of.values(), np.int64, len(self._row_of))
        everything = len(rows) == self._count and bool((rows == np.arange(self._count)).all())
        columns = {}
        for name, gatherer in self._gatherers.items():
            column = gatherer.column()
            columns[name] = column if everything else column.take(rows)
        return Shelf.gathered(list(self._row_of), columns)

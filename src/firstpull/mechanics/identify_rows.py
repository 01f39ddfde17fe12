"""The rows among which an insert is identified: a list, or a shelf of very many of which few are ever made."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from firstpull.mechanics.identify_model import (
    ATTRIBUTE,
    PART_SD_MM,
    SEEN_RIGHTLY,
    Codes,
    Floats,
    Table,
    canonical,
    code_of,
    columns,
    table_of,
)
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.shelf import Shelf
from firstpull.units import NM_PER_MM

NARROW_FROM = 5000
"""From so many rows on, a thread that was given leaves only its own rows to be looked at."""
MOST_LOOKED = 2000
"""So many rows at most are made and compared in their looks; what is equally likely goes by its part."""


class Rows(Protocol):
    """Rows by their place, from 0. ``narrowed`` says that rows of other threads were left out."""

    narrowed: bool

    def __len__(self) -> int: ...

    def insert(self, place: int) -> Insert:
        """The insert at ``place``."""
        ...

    def table(self, *, most_marks: int) -> Table:
        """All rows as columns."""
        ...

    def likeliest(self, places: NDArray[np.int64], chances: Floats) -> list[int]:
        """Those of ``places`` with the greatest chance first, ties by name; at most ``MOST_LOOKED``."""
        ...


def rows_of(inserts: Sequence[Insert] | Shelf, thread: str | None) -> Rows:
    """The rows to look at: all of them, or of very many only those of ``thread`` where it is known and there are any."""
    name = None if thread is None or len(inserts) < NARROW_FROM else canonical(thread)
    if isinstance(inserts, Shelf):
        own = range(0) if name is None else inserts.rows_of_thread(name)
        return _Shelved(inserts, own or range(len(inserts)), narrowed=0 < len(own) < len(inserts))
    mine = [insert for insert in inserts if canonical(insert.thread) == name] if name is not None else []
    return _Listed(mine or inserts, narrowed=0 < len(mine) < len(inserts))


class _Listed:
    def __init__(self, inserts: Sequence[Insert], *, narrowed: bool) -> None:
        self.inserts, self.narrowed = inserts, narrowed

    def __len__(self) -> int:
        return len(self.inserts)

    def insert(self, place: int) -> Insert:
        return self.inserts[place]

    def table(self, *, most_marks: int) -> Table:
        return columns(self.inserts, most_marks=most_marks)

    def likeliest(self, places: NDArray[np.int64], chances: Floats) -> list[int]:
        order = sorted(places.tolist(), key=lambda place: (-chances[place], self.inserts[place].name))
        return order[:MOST_LOOKED]


class _Shelved:
    def __init__(self, shelf: Shelf, rows: range, *, narrowed: bool) -> None:
        self.shelf, self.rows, self.narrowed = shelf, rows, narrowed
        self._made: dict[int, Insert] = {}

    def __len__(self) -> int:
        return len(self.rows)

    def insert(self, place: int) -> Insert:
        found = self._made.get(place)
        if found is None:
            found = self._made[place] = self.shelf.insert(self.rows[place])
        return found

    def table(self, *, most_marks: int) -> Table:
        words = {name: self._codes(name) for name in SEEN_RIGHTLY}
        lengths = {name: self._lengths_mm(ATTRIBUTE[name]) for name in PART_SD_MM}
        return table_of(words, lengths, most_marks=max(most_marks, int(words["head_marks"].max(initial=0))))

    def likeliest(self, places: NDArray[np.int64], chances: Floats) -> list[int]:
        parts = self.shelf.by_part[self.rows.start + places]
        order = np.lexsort((parts, -chances[places]))[:MOST_LOOKED]
        return [int(place) for place in places[order]]

    def _codes(self, name: str) -> Codes:
        column = self.shelf.columns[name]
        codes = np.fromiter((code_of(name, value) for value in column.values), np.int64, len(column.values))
        found: Codes = codes[column.codes[self.rows.start : self.rows.stop]]
        return found

    def _lengths_mm(self, name: str) -> Floats:
        nanometres = self.shelf.numbers(name)[self.rows.start : self.rows.stop]
        return np.where(nanometres < 0, np.nan, nanometres / NM_PER_MM)

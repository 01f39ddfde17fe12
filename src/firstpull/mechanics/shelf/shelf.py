"""Very many inserts as columns, and at the same time a mapping from part to insert."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.mechanics.asked import thread_name
from firstpull.mechanics.insert import LENGTH_NAMES, NAMES, Insert
from firstpull.mechanics.shelf.columns import Column, Gatherer, narrow, ranks
from firstpull.mechanics.shelf.plausible import plausible
from firstpull.mechanics.shelf.view import View

COLUMN_NAMES: tuple[str, ...] = tuple(name for name in NAMES if name != "part")
_SEARCHED = ("thread", "material", "head", "end", "body", "note")


class Shelf(Mapping[str, Insert]):
    """The inserts of a catalogue; an insert is made only when it is asked for. Parts are unique.

    Rows stand in order of their thread; ``order`` is each row's place in the catalogue, in which the mapping goes.
    """

    def __init__(
        self,
        parts: Sequence[str],
        columns: Mapping[str, Column],
        *,
        order: NDArray[np.int32],
        by_part: NDArray[np.int32],
    ) -> None:
        """Take what :meth:`gathered` made or what was kept of it. ``by_part`` is each row's place by sorted part."""
        self.parts = parts
        self.columns = dict(columns)
        self.order = order
        self.by_part = by_part
        self._numbers: dict[str, NDArray[Any]] = {}

    @classmethod
    def of(cls, inserts: Iterable[Insert]) -> Shelf:
        """A shelf of inserts that are there already; of a part that occurs twice the last counts."""
        rows = list({insert.part: insert for insert in inserts}.values())
        gatherers = {name: Gatherer() for name in COLUMN_NAMES}
        for name, gatherer in gatherers.items():
            gatherer.add(getattr(insert, name) for insert in rows)
        return cls.gathered([insert.part for insert in rows], {name: one.column() for name, one in gatherers.items()})

    @classmethod
    def gathered(cls, parts: Sequence[str], columns: Mapping[str, Column]) -> Shelf:
        """A shelf of columns whose rows stand in the order of the catalogue; ``parts`` are unique."""
        threads = columns["thread"]
        names = [thread_name(text) or "" for text in threads.values]
        place = {name: index for index, name in enumerate(sorted(set(names)))}
        codes = np.fromiter((place[name] for name in names), np.uint32, len(names))[threads.codes]
        order = np.argsort(codes, kind="stable")
        sorted_parts = [parts[row] for row in order]
        moved = {name: column.take(order) for name, column in columns.items()}
        return cls(sorted_parts, moved, order=order.astype(np.int32), by_part=ranks(sorted_parts))

    def __len__(self) -> int:
        return len(self.parts)

    def __iter__(self) -> Iterator[str]:
        return (self.parts[row] for row in self._in_order)

    def __getitem__(self, part: str) -> Insert:
        row = self.find(part)
        if row is None:
            raise KeyError(part)
        return self.insert(row)

    def __contains__(self, part: object) -> bool:
        return isinstance(part, str) and self.find(part) is not None

    def find(self, part: str) -> int | None:
        """The row of ``part``, or None."""
        low, high = 0, len(self.parts)
        while low < high:
            middle = (low + high) // 2
            row = int(self._rows_by_part[middle])
            if self.parts[row] == part:
                return row
            if self.parts[row] < part:
                low = middle + 1
            else:
                high = middle
        return None

    def insert(self, row: int) -> Insert:
        """The insert of ``row``."""
        values = {name: column.values[column.codes[row]] for name, column in self.columns.items()}
        return Insert(part=self.parts[row], **values)

    def inserts(self, rows: Iterable[int] | None = None) -> Iterator[Insert]:
        """The inserts of ``rows``, or all of them in the order of the catalogue, made one by one."""
        return (self.insert(int(row)) for row in (self._in_order if rows is None else rows))

    def search(self, words: str) -> NDArray[np.int64]:
        """The rows that hold every one of ``words`` in part, thread, material, head, end, body or note, whatever the
        case, in the order of the catalogue."""
        hit = np.ones(len(self), bool)
        for word in words.casefold().split():
            found = np.zeros(len(self), bool)
            for name in _SEARCHED:
                column = self.columns[name]
                table = np.fromiter((word in text.casefold() for text in column.values), bool, len(column.values))
                found |= table[column.codes]
            left = np.flatnonzero(hit & ~found).tolist()
            found[left] = [word in self.parts[row].casefold() for row in left]
            hit &= found
        rows = self.rows_in_order()
        return rows[hit[rows]]

    def rows_in_order(self) -> NDArray[np.int64]:
        """All rows in the order of the catalogue."""
        return self._in_order.astype(np.int64)

    def rows_of_thread(self, designation: str) -> range:
        """The rows whose thread is ``designation``, the full name of :func:`firstpull.trade.threads.thread`."""
        return self._threads.get(designation, range(0))

    def threads(self) -> tuple[str, ...]:
        """The full names of the threads that the shelf holds, sorted; those that are not held are left out."""
        return tuple(sorted(name for name in self._threads if name))

    def numbers(self, name: str) -> NDArray[Any]:
        """A length in nm (int32, −1 = not known), or a load, torque or count (float, NaN = not known), of every row."""
        found = self._numbers.get(name)
        if found is None:
            column = self.columns[name]
            small: NDArray[Any] = column.nanometres() if name in LENGTH_NAMES else column.numbers()
            found = self._numbers[name] = small[column.codes]
        return found

    def first_parts(self, count: int) -> NDArray[np.int64]:
        """The rows of the first ``count`` parts when they are sorted."""
        return self._rows_by_part[:count].astype(np.int64)

    @cached_property
    def good(self) -> NDArray[np.bool_]:
        """For each row whether its dimensions can all be true."""
        return plausible(self.columns, View(self.columns, self.numbers, slice(None)))

    @cached_property
    def _in_order(self) -> NDArray[np.int32]:
        rows = np.empty(len(self.parts), np.int32)
        rows[self.order] = np.arange(len(self.parts), dtype=np.int32)
        return rows

    @cached_property
    def _rows_by_part(self) -> NDArray[np.int32]:
        rows = np.empty(len(self.parts), np.int32)
        rows[self.by_part] = np.arange(len(self.parts), dtype=np.int32)
        return rows

    @cached_property
    def _threads(self) -> dict[str, range]:
        column = self.columns["thread"]
        names = [thread_name(text) or "" for text in column.values]
        place = {name: index for index, name in enumerate(sorted(set(names)))}
        codes = narrow(np.fromiter((place[name] for name in names), np.uint32, len(names)), len(place))[column.codes]
        starts = np.searchsorted(codes, np.arange(len(place) + 1))
        return {
            name: range(int(starts[index]), int(starts[index + 1]))
            for name, index in place.items()
            if starts[index] < starts[index + 1]
        }

"""Some rows of a set of columns, read as arrays."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.mechanics.shelf.columns import Column
from firstpull.units import NM_PER_MM

Flags = NDArray[np.bool_]
Numbers = NDArray[np.float64]


class View:
    """The rows ``rows`` of ``columns``; ``numbers(name)`` gives a length in nm or a number of every row."""

    __slots__ = ("_columns", "_numbers", "_seen", "rows")

    def __init__(
        self, columns: Mapping[str, Column], numbers: Callable[[str], NDArray[Any]], rows: slice | NDArray[np.int64]
    ) -> None:
        self._columns = columns
        self._numbers = numbers
        self._seen: dict[str, NDArray[Any]] = {}
        self.rows = rows

    def nm(self, name: str) -> NDArray[np.int64]:
        """A length in nm; −1 where it is not known."""
        found = self._seen.get(name)
        if found is None:
            found = self._seen[name] = self._numbers(name)[self.rows].astype(np.int64)
        return found

    def known(self, name: str) -> Flags:
        """Where a length is known."""
        return self.nm(name) >= 0

    def mm(self, name: str) -> Numbers:
        """A length in mm; NaN where it is not known."""
        lengths = self.nm(name)
        return np.where(lengths >= 0, lengths / NM_PER_MM, np.nan)

    def number(self, name: str) -> Numbers:
        """A load, torque or count; NaN where it is not known."""
        return np.asarray(self._numbers(name)[self.rows], float)

    def is_one_of(self, name: str, words: Iterable[str]) -> Flags:
        """Where a text is one of ``words``."""
        return self.by_value(name, self._columns[name].among(words))

    def by_value(self, name: str, table: NDArray[Any]) -> NDArray[Any]:
        """An array over the distinct values of a column, spread over the rows."""
        spread: NDArray[Any] = table[self._columns[name].codes[self.rows]]
        return spread

    def values(self, name: str) -> tuple[Any, ...]:
        """The distinct values of a column."""
        return self._columns[name].values

    def head_nm(self) -> NDArray[np.int64]:
        """How far the grip datum lies below the insert's top, nm; −1 where the flange thickness is not known."""
        return np.where(self.is_one_of("grip_datum", ("surface",)), 0, self.nm("flange_thickness"))

"""One measure of many inserts: its distinct values, and the place of each row's value among them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.units import Length

NOT_KNOWN_NM = -1


@dataclass(frozen=True, slots=True)
class Column:
    """``values[codes[row]]`` is the value of ``row``; values are Length, float, int, text or ``None`` (not known)."""

    values: tuple[Any, ...]
    codes: NDArray[np.unsignedinteger[Any]]

    def nanometres(self) -> NDArray[np.int32]:
        """Lengths of the distinct values in nm; −1 = not known. An insert's lengths are under 1 m; others are cut to fit."""
        return np.fromiter(map(_nanometres, self.values), np.int32, len(self.values))

    def numbers(self) -> NDArray[np.float64]:
        """The distinct values as numbers, in their own unit; NaN = not known."""
        return np.fromiter(
            (np.nan if value is None else float(value) for value in self.values), float, len(self.values)
        )

    def among(self, wanted: Iterable[Any]) -> NDArray[np.bool_]:
        """For each distinct value whether it is one of ``wanted``."""
        kept = set(wanted)
        return np.fromiter((value in kept for value in self.values), bool, len(self.values))

    def take(self, rows: NDArray[Any]) -> Column:
        """The column with only ``rows``, in that order."""
        return Column(self.values, self.codes[rows])


class Gatherer:
    """Makes a column from values that come one lot after the other; equal values with the same text share a place."""

    __slots__ = ("_lots", "_places", "_values")

    def __init__(self) -> None:
        self._places: dict[Any, int] = {}
        self._values: list[Any] = []
        self._lots: list[NDArray[np.uint32]] = []

    def place(self, value: Any) -> int:
        """The place of ``value`` among the distinct ones."""
        # the text as typed does not take part in the equality of lengths, and 12 is equal to 12.0
        key = (value.nanometres, value.typed) if isinstance(value, Length) else (type(value), value)
        found = self._places.get(key)
        if found is None:
            found = self._places[key] = len(self._values)
            self._values.append(value)
        return found

    def add(self, values: Iterable[Any]) -> None:
        """The values of the next rows."""
        self.add_coded(np.fromiter((self.place(value) for value in values), np.uint32))

    def add_coded(self, codes: NDArray[np.uint32]) -> None:
        """The next rows by their places, which :meth:`place` gave."""
        self._lots.append(codes)

    def add_column(self, column: Column) -> None:
        """The next rows, all of ``column``."""
        places = np.fromiter((self.place(value) for value in column.values), np.uint32, len(column.values))
        self.add_coded(places[column.codes])

    def column(self) -> Column:
        """The column of all rows so far, its codes in the smallest type that holds them."""
        codes = np.concatenate(self._lots) if self._lots else np.zeros(0, np.uint32)
        return Column(tuple(self._values), narrow(codes, len(self._values)))


def _nanometres(value: Length | None) -> int:
    return NOT_KNOWN_NM if value is None else min(max(value.nanometres, -2), 2**31 - 1)


def narrow(codes: NDArray[Any], count: int) -> NDArray[np.unsignedinteger[Any]]:
    """``codes`` under ``count`` in the smallest unsigned type that holds them."""
    kind: type[np.unsignedinteger[Any]] = np.uint8 if count <= 2**8 else np.uint16 if count <= 2**16 else np.uint32
    return codes.astype(kind, copy=False)


def ranks(texts: Sequence[str]) -> NDArray[np.int32]:
    """For each text its place when all are sorted by code points."""
    order = sorted(range(len(texts)), key=texts.__getitem__)
    found = np.empty(len(texts), np.int32)
    found[order] = np.arange(len(texts), dtype=np.int32)
    return found

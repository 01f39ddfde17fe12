"""The packaged tables: CSV files in ``trade/data``, read once and kept."""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files

from firstpull.errors import NotFound

Row = dict[str, str]


@cache
def rows(name: str) -> tuple[Row, ...]:
    """The rows of ``trade/data/NAME.csv`` in file order, every cell as text.

    Raises NotFound for a name that is not packaged.
    """
    path = files("firstpull.trade").joinpath("data", f"{name}.csv")
    if not path.is_file():
        raise NotFound(f"There is no packaged table “{name}”.", hint="See src/firstpull/trade/data.")
    return tuple(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def optional_number(cell: str) -> float | None:
    """The number in a cell, or None where the cell is empty because nothing is known."""
    return float(cell) if cell else None


def names(row: Row, *, name: str = "name") -> tuple[str, ...]:
    """Every name of a row: its main name and its ``aliases``, which semicolons separate."""
    return tuple(one for one in (row[name], *row["aliases"].split(";")) if one)

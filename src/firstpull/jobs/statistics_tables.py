"""Tables of plain numbers for the statistics: any unit, as long as it is one. Faults are told by file, row and column."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from firstpull.errors import BadInput
from firstpull.exchange.table_cells import TextRow, read_tables

_NAMES = {
    "value": ("value", "reading", "measurement", "x", "y"),
    "count": ("count", "bad", "faults", "defects"),
    "size": ("size", "n", "inspected", "area"),
    "life": ("life", "cycles", "time", "t"),
    "state": ("state", "status"),
    "group": ("group", "kind", "batch", "treatment", "instrument"),
    "part": ("part", "piece", "sample"),
    "appraiser": ("appraiser", "operator", "person", "who"),
}
_FAILED, _RUNNING = ("failed", "failure", "f", "1"), ("running", "runs", "censored", "r", "0")


@dataclass(frozen=True, slots=True)
class NumberTable:
    """A table with its headings as written; ``rows`` are the rows below them that hold anything."""

    filename: str
    headings: tuple[str, ...]
    rows: tuple[TextRow, ...]

    def column(self, name: str) -> int:
        """The place of a column by its heading, by one of its usual names, or by its number from 1. Raises BadInput."""
        wanted = name.strip().lower()
        plain = [_plain(heading) for heading in self.headings]
        found = [place for place, heading in enumerate(plain) if heading == wanted]
        if not found:
            found = [place for place, heading in enumerate(plain) if heading in _NAMES.get(wanted, ())]
        if not found and wanted.isdecimal() and 1 <= int(wanted) <= len(self.headings):
            found = [int(wanted) - 1]
        if len(found) != 1:
            what = f"There is no column “{name}”." if not found else f"{len(found)} columns could be “{name}”."
            raise BadInput(what, where=self.filename, hint=f"The headings are: {', '.join(self.headings)}.")
        return found[0]

    def has(self, name: str) -> bool:
        """Whether there is such a column."""
        return any(_plain(heading) in (name, *_NAMES.get(name, ())) for heading in self.headings)

    def numbers(self, name: str | None = None) -> list[float]:
        """A column of numbers in order: by name, else the one that is called a value, else the only one. Raises BadInput."""
        if name is None:
            name = "1" if len(self.headings) == 1 else "value"
        place = self.column(name)
        return [self.number(row, place) for row in self.rows]

    def texts(self, name: str) -> list[str]:
        """A column of texts in order, none empty. Raises BadInput."""
        place = self.column(name)
        return [self._cell(row, place) for row in self.rows]

    def number(self, row: TextRow, place: int) -> float:
        """One cell as a finite number; a comma in a table parted by something else counts as its point. Raises BadInput."""
        text = self._cell(row, place)
        try:
            value = float(text.replace(",", ".").replace("−", "-"))
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise BadInput(
                f"“{text}” is not a number.",
                where=self._where(row, place),
                hint="Write plain numbers, all in one unit; the unit may stand in the heading.",
            )
        return value

    def _cell(self, row: TextRow, place: int) -> str:
        fault = row.faults.get(place)
        if fault is not None:
            raise BadInput(fault.what, where=self._where(row, place), hint=fault.hint)
        text = row.cells[place] if place < len(row.cells) else ""
        if not text:
            raise BadInput("This cell is empty.", where=self._where(row, place), hint="Fill it, or delete the row.")
        return text

    def _where(self, row: TextRow, place: int) -> str:
        return f"{self.filename} row {row.number}, column “{self.headings[place]}”"


def read_numbers(data: bytes, *, filename: str) -> NumberTable:
    """Read CSV or XLSX; the first row is the headings unless all of it is numbers. Raises BadInput."""
    tables = read_tables(data, filename=filename)
    rows = [row for row in tables[0].rows if not row.empty] if tables else []
    if not rows:
        raise BadInput("The file is empty.", where=filename, hint="Write one value a row, under a heading.")
    width = max(len(row.cells) for row in rows)
    if all(_is_number(cell) for cell in rows[0].cells):
        return NumberTable(filename, tuple(str(place + 1) for place in range(width)), tuple(rows))
    headings = tuple(cell or str(place + 1) for place, cell in enumerate(rows[0].cells))
    if len(rows) == 1:
        raise BadInput("The table holds no values.", where=filename, hint="Write one value a row, under the heading.")
    return NumberTable(filename, headings, tuple(rows[1:]))


def subgroups(table: NumberTable, *, size: int | None, column: str | None) -> list[list[float]]:
    """Subgroups: ``size`` values of one column after each other, or each row's numbers. Raises BadInput."""
    if size is not None:
        values = table.numbers(column)
        if size < 2 or len(values) % size:
            raise BadInput(
                f"{len(values)} values do not make full subgroups of {size}.",
                where="size",
                hint="Take a size of 2 or more that divides them.",
            )
        return [values[start : start + size] for start in range(0, len(values), size)]
    places = [
        place for place, heading in enumerate(table.headings) if _plain(heading) not in ("subgroup", "sample", "no")
    ]
    return [[table.number(row, place) for place in places] for row in table.rows]


def lives(table: NumberTable) -> dict[str, tuple[list[float], list[float]]]:
    """(failures, still running) by group, from the columns life, state and group; without state all failed.

    Without a group there is one, “”. Raises BadInput.
    """
    times = table.numbers("life" if len(table.headings) > 1 else "1")
    states = table.texts("state") if table.has("state") else ["failed"] * len(times)
    groups = table.texts("group") if table.has("group") else [""] * len(times)
    found: dict[str, tuple[list[float], list[float]]] = {}
    for row, life, state, group in zip(table.rows, times, states, groups, strict=True):
        failed, running = found.setdefault(group, ([], []))
        if state.lower() in _FAILED:
            failed.append(life)
        elif state.lower() in _RUNNING:
            running.append(life)
        else:
            raise BadInput(
                f"“{state}” is not a state.",
                where=f"{table.filename} row {row.number}, column “{table.headings[table.column('state')]}”",
                hint="Write “failed” or “running”.",
            )
    return found


def grouped(table: NumberTable) -> dict[str, list[float]]:
    """Values by group, from the columns group and value. Raises BadInput."""
    found: dict[str, list[float]] = {}
    for group, value in zip(table.texts("group"), table.numbers("value"), strict=True):
        found.setdefault(group, []).append(value)
    return found


def typed_numbers(texts: Sequence[str], *, where: str) -> list[float]:
    """Numbers as typed, parted by blanks, “500x10” for ten times 500. Raises BadInput."""
    found: list[float] = []
    for text in (word for given in texts for word in given.split()):
        value, _, times = text.replace("×", "x").partition("x")
        if not _is_number(value) or (times and not times.isdecimal()):
            raise BadInput(f"“{text}” is not a number.", where=where, hint="For example 54, or 500x10 for ten of them.")
        found += [float(value)] * min(int(times or 1), 100_000)
    return found


def _plain(heading: str) -> str:
    return heading.partition("[")[0].partition("(")[0].strip().lower().replace("_", " ")


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text.replace(",", ".").replace("−", "-")))
    except ValueError:
        return False

"""One row of a table of inserts becomes an insert, or problems that say what would be right."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import lru_cache
from typing import Any

from firstpull.errors import BadInput
from firstpull.exchange.catalogue_columns import CHOICES, RULES, Column, FieldRule, plain, units_of
from firstpull.exchange.table_cells import TextRow
from firstpull.exchange.texts import HIDDEN, rounded
from firstpull.mechanics.insert import Insert, check_insert, check_unit
from firstpull.trade.threads import thread
from firstpull.units import parse_force, parse_length, parse_number, parse_torque

# More places than a length can hold, as spreadsheets write quotients.
_LONG_DECIMAL = re.compile(r"[+-]?\d{1,6}[.,]\d{13,20}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing to put right: ``row`` as the spreadsheet shows it, ``column`` heading, ``value`` as read, ``what``
    is wrong and the ``hint`` that says what would be right."""

    row: int
    column: str
    value: str
    what: str
    hint: str

    def as_dict(self) -> dict[str, int | str]:
        """The shape shared by the command line, HTTP and the library."""
        return {"row": self.row, "column": self.column, "value": self.value, "what": self.what, "hint": self.hint}


@dataclass(slots=True)
class Reading:
    """What is gathered while the rows are read: at most ``most`` problems are kept, ``count`` counts all.

    ``kept`` says that the rows come from the record: what was taken once is not refused by a check that came later.
    """

    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    unit_missing: list[str] = field(default_factory=list)
    rounded: set[str] = field(default_factory=set)
    most: int | None = None
    kept: bool = False
    count: int = 0

    def problem(self, row: int, column: str, value: str, *, error: BadInput | tuple[str, str]) -> None:
        """Take up one thing to put right."""
        what, hint = (error.what, error.hint) if isinstance(error, BadInput) else error
        self.count += 1
        if self.most is None or len(self.problems) < self.most:
            self.problems.append(Problem(row, column, HIDDEN.sub("\ufffd", value[:200]), what, hint))

    def note_rounded(self) -> None:
        """Say which columns had numbers that no gauge shows."""
        if self.rounded:
            self.notes.append(
                f"Numbers with more places than gauges show were rounded to 0.000001 mm or 0.00001 in: {', '.join(sorted(self.rounded))}."
            )


def is_bare(value: str) -> bool:
    """Whether ``value`` is a number without a unit."""
    if value[-1:].isalpha():
        return False  # a unit, without the cost of reading the number
    if _LONG_DECIMAL.fullmatch(value):
        return True
    try:
        parse_number(value)
    except BadInput:
        return False
    return True


def read_row(reading: Reading, columns: Sequence[Column], row: TextRow) -> Insert | None:
    """The insert of one row, or None with its problems reported."""
    before = reading.count
    values: dict[str, Any] = {}
    unit_missing = False
    for column in columns:
        rule = RULES.get(column.field or "")
        text = row.cells[column.index] if column.index < len(row.cells) else ""
        if rule is None:
            continue
        fault = row.faults.get(column.index)
        if fault is not None:
            reading.problem(row.number, column.heading, text, error=(fault.what, fault.hint))
        elif not text:
            if rule.required:
                reading.problem(row.number, column.heading, "", error=("This is empty.", _example(rule, column)))
        elif column.heading in reading.unit_missing:
            unit_missing = True  # said once for the whole column
        else:
            try:
                values[rule.name] = read_cell(text, rule, column, reading=reading)
            except BadInput as error:
                reading.problem(row.number, column.heading, text, error=error)
    spill = [cell for cell in row.cells[len(columns) :] if cell]
    if spill:
        reading.problem(
            row.number,
            "",
            " ".join(spill),
            error=(
                "The row has more cells than there are column names.",
                "Put values with a decimal comma in quotation marks, or separate cells by semicolons.",
            ),
        )
    if reading.count > before or unit_missing:
        return None
    return _checked(reading, columns, row, values)


def _checked(reading: Reading, columns: Sequence[Column], row: TextRow, values: dict[str, Any]) -> Insert | None:
    try:
        insert = Insert(**values)
        check_insert(insert)
        if not reading.kept:
            check_unit(insert)
    except BadInput as error:
        name = error.where.rsplit(".", 1)[-1]
        column = next((column for column in columns if column.field == name), None)
        text = row.cells[column.index] if column is not None and column.index < len(row.cells) else ""
        reading.problem(row.number, column.heading if column else name, text, error=error)
        return None
    return insert


def _example(rule: FieldRule, column: Column) -> str:
    if rule.kind == "length":
        return f"Write a length, for example “15.5{'' if column.unit else ' mm'}”."
    if rule.kind == "choice":
        return f"Write {_words(rule.name)}."
    return f"Every insert needs its {plain(rule.name)}."


def _words(name: str) -> str:
    return " or ".join(f"“{word}”" for word in dict.fromkeys(CHOICES[name].values()))


def read_cell(text: str, rule: FieldRule, column: Column, *, reading: Reading) -> Any:
    """The value of one cell that is not empty. Raises BadInput saying what would be right."""
    if rule.name == "thread":
        _check_thread(text)  # the text stays as typed
    if rule.kind == "text":
        if not reading.kept and HIDDEN.search(text):
            raise BadInput("The cell has a sign that can not be printed.", hint="Type it again.")
        return text
    if rule.kind == "choice":
        return _read_choice(rule, text)
    if rule.kind == "count":
        return _read_count(text)
    if is_bare(text):
        if column.unit is None:
            choices = " or ".join(f"“{text} {unit}”" for unit in units_of(rule.kind)[:2])
            raise BadInput(f"“{text}” has no unit.", hint=f"Write {choices}.")
        text = f"{_fitting(reading, column, text)} {column.unit}"
    if rule.kind == "force":
        return rounded(parse_force(text).newtons)
    if rule.kind == "torque":
        return rounded(parse_torque(text).newton_metres)
    return parse_length(text)


@lru_cache(maxsize=1024)
def _check_thread(text: str) -> None:
    """Refuse what the thread tables do not hold. A catalogue names few threads in many rows."""
    thread(text)


def _read_choice(rule: FieldRule, text: str) -> str:
    word = CHOICES[rule.name].get(plain(text))
    if word is None:
        raise BadInput(f"“{text[:60]}” is not known here.", hint=f"Write {_words(rule.name)}.")
    return word


def _read_count(text: str) -> int:
    number = parse_number(text)
    if number.denominator != 1 or not 0 <= number <= 100:
        raise BadInput(f"“{text}” is not a count.", hint="Write a whole number from 0 to 100.")
    return int(number)


def _fitting(reading: Reading, column: Column, text: str) -> str:
    """A bare decimal cut to places that are whole nanometres: spreadsheets write 15.5/25.4 as 0.610236220472441."""
    places = {"mm": 6, "in": 5, "thou": 2, "µm": 3}.get(column.unit or "")
    head, point, tail = text.replace(",", ".").partition(".")
    if places is None or not point or len(tail) <= places or not tail.isdigit():
        return text
    if not tail[places:].strip("0"):
        return f"{head}.{tail[:places]}"
    reading.rounded.add(column.heading)
    return f"{round(Decimal(f'{head}.{tail}'), places):f}"

"""Measured pulls as text: a force–stroke curve, or inserts that were set; comma, semicolon, tab or blanks between columns."""

from __future__ import annotations

import re
from dataclasses import dataclass

from firstpull.errors import BadInput

MOST_ROWS = 20_000
MOST_INSERTS = 50


@dataclass(frozen=True, slots=True)
class SetRow:
    """A row of a set insert in mm: stroke (None = not measured), the bulge's diameter, set length (None)."""

    stroke_mm: float | None
    outer_diameter_mm: float
    set_length_mm: float | None


def read_curve(text: str, *, where: str = "curve") -> tuple[tuple[float, float], ...]:
    """Stroke in mm and pull in N, a pair a line, a heading allowed. Raises BadInput with the line."""
    rows = _rows(text, where, most=MOST_ROWS)
    if any(len(row) != 2 for row in rows):
        raise BadInput("A line of the curve has not two numbers.", where=where, hint="stroke in mm, pull in N")
    return tuple((row[0], row[1]) for row in rows if row[0] is not None and row[1] is not None)


def read_inserts(text: str, *, where: str = "inserts") -> tuple[SetRow, ...]:
    """Stroke, the bulge's diameter, set length, all in mm, a line each insert; “-” for what was not measured. BadInput."""
    found = []
    for number, row in enumerate(_rows(text, where, most=MOST_INSERTS), 1):
        values = [*row, None, None][:3]
        if len(row) not in (2, 3) or values[1] is None or (values[0] is None and values[2] is None):
            raise BadInput(
                f"Insert {number} is not complete.",
                where=where,
                hint="stroke, bulge’s diameter, set length; “-” if unknown",
            )
        found.append(SetRow(values[0], values[1], values[2]))
    return tuple(found)


def _rows(text: str, where: str, *, most: int) -> list[list[float | None]]:
    lines = [line.strip() for line in text.splitlines() if line.strip() and not line.strip().startswith("#")]
    if lines and re.search("[A-Za-z]{2}", lines[0]):
        lines = lines[1:]
    if not lines:
        raise BadInput("There is nothing to read.", where=where, hint="A line each: numbers, blanks between them.")
    if len(lines) > most:
        raise BadInput(f"More than {most} lines.", where=where, hint="Thin them out.")
    return [_numbers(line, number, where) for number, line in enumerate(lines, 1)]


def _numbers(line: str, number: int, where: str) -> list[float | None]:
    parts = [part for part in _cells(line) if part]
    try:
        return [None if part in ("-", "–") else float(part.replace(",", ".")) for part in parts]
    except ValueError:
        raise BadInput(
            f"Line {number} is not numbers: “{line[:40]}”.", where=where, hint="Take headings and units out."
        )


def _cells(line: str) -> list[str]:
    """The cells of a line: commas part them where there is no other sign that does; else they are decimal commas."""
    if re.search(r"[;\t]|\S\s+\S", line):
        return [part.strip().rstrip(",") for part in re.split(r"[;\s]+", line)]
    return [part.strip() for part in line.split(",")]

"""The published values that tests/reference compares with, and how many there are of each source.

``tests/reference/data/sources.csv`` lists every source of the trade's and the joint's values: what it gives, in which
file its values stand (with the rows of that file that are its own), and how it was obtained. The number beside it is
counted, not written: ``python tests/published.py`` counts anew and prints the sums.
"""

from __future__ import annotations

import csv
from pathlib import Path

DATA = Path(__file__).parent / "reference" / "data"
REGISTER = DATA / "sources.csv"
Row = dict[str, str]


def rows(name: str) -> list[Row]:
    """The rows of a file of ``tests/reference/data``."""
    with (DATA / name).open(encoding="utf-8", newline="") as text:
        return list(csv.DictReader(text))


def of(name: str, **wanted: str) -> list[Row]:
    """The rows of a file whose columns hold exactly the wanted texts."""
    return [row for row in rows(name) if all(row[column] == value for column, value in wanted.items())]


def register() -> list[Row]:
    """The sources."""
    return rows(REGISTER.name)


def belongs(row: Row, match: str) -> bool:
    """Whether a row is of the source that ``match`` describes: “column=text”, or “column~part of the text”."""
    if "=" in match:
        column, _, text = match.partition("=")
        return row[column] == text
    column, _, text = match.partition("~")
    return text in row[column]


def count(entry: Row) -> int:
    """How many values an entry of the register stands for."""
    return sum(belongs(row, entry["match"]) for row in rows(entry["file"]))


def main() -> None:
    """Count anew and say the sums."""
    entries = register()
    for entry in entries:
        entry["values"] = str(count(entry))
    with REGISTER.open("w", encoding="utf-8", newline="") as text:
        writer = csv.DictWriter(text, list(entries[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(entries)
    by_key: dict[str, int] = {}
    for entry in entries:
        by_key[entry["key"]] = by_key.get(entry["key"], 0) + int(entry["values"])
    for key, number in sorted(by_key.items(), key=lambda pair: -pair[1]):
        print(f"{number:5d}  {key}")
    print(f"{sum(by_key.values()):5d}  values of {len(by_key)} sources")


if __name__ == "__main__":
    main()

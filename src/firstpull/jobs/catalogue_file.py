"""Take a CSV file of inserts of any size into the catalogue, in little memory and as one act."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from firstpull.errors import BadInput
from firstpull.exchange.catalogue_file import CatalogueFile
from firstpull.exchange.catalogue_lots import Lot, inserts_of_lines, lines_of, lot_of_shelf
from firstpull.exchange.catalogue_rows import Problem
from firstpull.exchange.catalogue_table import preview, without_duplicates
from firstpull.exchange.table_cells import MAX_BYTES, is_workbook
from firstpull.exchange.table_file import check_file
from firstpull.jobs.catalogue import propose, table_events, take
from firstpull.jobs.workshop import CATALOGUE, Book, Doing, Planned
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.shelf import Shelf, ShelfBuilder
from firstpull.units import LengthUnit

MOST_TOLD = 1000
_SMALL_BYTES = 1 << 20
MOST_REPEATED_ROWS = 20_000
_SAME, _CHANGED, _ADDED = 0, 1, 2
Progress = Callable[[int], None]


@dataclass(slots=True)
class Taken:
    """What a file brought: ``added`` and ``changed`` are the first 1000 parts, the counts are of all.

    ``good_rows`` are those that can be used, ``written`` those that were new or changed and are in the record now (0
    after a look), ``problem_count`` counts all problems, of which ``problems`` holds the first 1000.
    """

    good_rows: int = 0
    added_count: int = 0
    changed_count: int = 0
    written: int = 0
    added: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    problems: tuple[Problem, ...] = ()
    problem_count: int = 0
    notes: tuple[str, ...] = ()


def take_file(
    book: Book,
    path: Path,
    *,
    doing: Doing | None,
    unit: LengthUnit | None = None,
    unit_by_column: Mapping[str, str] | None = None,
    progress: Progress = lambda _rows: None,
) -> Taken:
    """Take the good rows of ``path`` that are new or changed; without ``doing`` only say what would be taken.

    ``progress`` is told the rows read so far. Raises BadInput for a file that is no table of inserts or repeats its parts
    over and over, Conflict when the catalogue changed meanwhile; then nothing is written.
    """
    source = CatalogueFile(path, unit=unit, unit_by_column=unit_by_column)
    taken = Taken()
    folder = book.path.parent
    try:
        with tempfile.TemporaryFile("w+", encoding="utf-8", dir=folder) as spool:
            repeated = _spool(source, book.inserts(), spool, progress=progress)
            dropped = _drop_repeated(source, spool, repeated)
            lines = _lines(spool, dropped, taken)
            if doing is None:
                for _line in lines:
                    pass
            else:
                _write(book, source, lines, taken, doing)
    except OSError as problem:
        raise BadInput(
            f"The rows could not be gathered beside the record: {problem.strerror or problem}. Nothing was taken.",
            where=str(folder),
            hint="Make room on that disk, or check the rights to that folder, then import again.",
        )
    taken.problems, taken.problem_count = tuple(source.reading.problems), source.reading.count
    taken.notes = tuple(source.reading.notes)
    return taken


def take_any(
    book: Book,
    path: Path,
    *,
    doing: Doing | None,
    unit: LengthUnit | None = None,
    unit_by_column: Mapping[str, str] | None = None,
    progress: Progress = lambda _rows: None,
) -> Taken:
    """As :func:`take_file`, for an XLSX workbook too, which is read as a whole (32 MiB at most)."""
    check_file(path)
    try:
        with path.open("rb") as file:
            head = file.read(4)
            workbook = is_workbook(head)
            data = head + file.read(MAX_BYTES) if workbook else b""
    except OSError as problem:
        raise BadInput(
            f"It cannot be read: {problem.strerror}.", where=str(path), hint="Check the name and its folder."
        )
    if not workbook:
        return take_file(book, path, doing=doing, unit=unit, unit_by_column=unit_by_column, progress=progress)
    proposal = propose(book, data, filename=path.name, unit=unit, unit_by_column=unit_by_column)
    read, changes = proposal.preview, proposal.changes
    changed = sorted({change.part for change in changes.changed})
    return Taken(
        good_rows=len(read.rows),
        added_count=len(changes.added),
        changed_count=len(changed),
        written=0 if doing is None else take(book, proposal, filename=path.name, doing=doing),
        added=[insert.part for insert in changes.added],
        changed=changed,
        problems=read.problems,
        problem_count=len(read.problems),
        notes=read.notes,
    )


def shelf_of_file(path: Path) -> tuple[Shelf, tuple[Problem, ...], int]:
    """The inserts of a CSV or XLSX file without taking them; the first problems, and how many there are.

    Raises BadInput for a file that is no table of inserts, and for a very large one that repeats its parts.
    """
    check_file(path)
    try:
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except OSError as problem:
        raise BadInput(
            f"It cannot be read: {problem.strerror}.", where=str(path), hint="Check the name and its folder."
        )
    if is_workbook(data) or len(data) <= _SMALL_BYTES:
        read = preview(data, filename=path.name)
        return Shelf.of(read.rows), read.problems, len(read.problems)
    source, builder, rows = CatalogueFile(path), ShelfBuilder(), 0
    for lot in source.lots():
        builder.add(lot.parts, lot.columns)
        rows += len(lot.parts)
    shelf = builder.shelf()
    if len(shelf) < rows:
        raise BadInput(
            f"{rows - len(shelf)} rows repeat a part that stands above them.",
            where=path.name,
            hint="Give each insert one row.",
        )
    return shelf, tuple(source.reading.problems), source.reading.count


def _write(book: Book, source: CatalogueFile, lines: Iterator[tuple[str, bool]], taken: Taken, doing: Doing) -> None:
    def planned() -> Iterator[Planned]:
        yield from table_events(lines, source=source.name, left_out=source.reading.count)

    events = planned()
    first = next(events, None)
    if first is None:
        if not taken.good_rows:
            raise BadInput("There is no good row in this file.", where=source.name, hint=_first_problem(source))
        return

    def all_events() -> Iterator[Planned]:
        yield first
        yield from events

    if book.write_long(CATALOGUE, all_events(), doing):
        taken.written = taken.added_count + taken.changed_count


def _first_problem(source: CatalogueFile) -> str:
    problems = source.reading.problems
    if not problems:
        return "Put one insert in each row under the column names."
    one = problems[0]
    return f"Row {one.row}, {one.column}: {one.what} {one.hint}".strip()


def _spool(source: CatalogueFile, shelf: Shelf, spool: IO[str], *, progress: Progress) -> set[int]:
    """Write the good rows to ``spool``, each with what it is to the catalogue; returns hashes of parts that occur twice."""
    hashes: list[NDArray[np.int64]] = []
    for lot in source.lots():
        if not lot.parts:
            continue
        lines = lines_of(lot)
        row = {"numbers": lot.numbers.tolist(), "parts": lot.parts, "lines": lines, "news": _news(lot, lines, shelf)}
        spool.write(json.dumps(row, ensure_ascii=False) + "\n")
        hashes.append(np.fromiter(map(hash, lot.parts), np.int64, len(lot.parts)))
        progress(int(lot.numbers[-1]))
    every = np.sort(np.concatenate(hashes)) if hashes else np.zeros(0, np.int64)
    twice = every[1:][every[1:] == every[:-1]]
    if len(twice) > MOST_REPEATED_ROWS:
        raise BadInput(
            f"More than {MOST_REPEATED_ROWS} rows repeat a part that stands above them.",
            where=source.name,
            hint="Check which column holds the part; nothing was taken.",
        )
    return set(twice.tolist())


def _news(lot: Lot, lines: list[str], shelf: Shelf) -> list[int]:
    """For each row of a lot whether it is new, changed or as it was. Values are compared, not texts."""
    if not len(shelf):
        return [_ADDED] * len(lines)
    found = [shelf.find(part) for part in lot.parts]
    known = [index for index, row in enumerate(found) if row is not None]
    rows = np.array([found[index] for index in known], np.int64)
    news = [_ADDED] * len(lines)
    before = lines_of(lot_of_shelf(shelf, rows)) if known else []
    for index, row, line in zip(known, rows.tolist(), before, strict=True):
        same = line == lines[index] or shelf.insert(row) == lot.insert(index)
        news[index] = _SAME if same else _CHANGED
    return news


def _drop_repeated(source: CatalogueFile, spool: IO[str], repeated: set[int]) -> set[int]:
    """The numbers of rows that cannot be taken because their part stands in another row too; each is reported."""
    if not repeated:
        return set()
    found: list[tuple[int, Insert]] = []
    for lot in _lots(spool):
        some = [index for index, part in enumerate(lot["parts"]) if hash(part) in repeated]
        inserts = inserts_of_lines([lot["lines"][index] for index in some])
        found += zip([lot["numbers"][index] for index in some], inserts, strict=True)
    kept = {number for number, _insert in without_duplicates(source.reading, source.columns, found)}
    source.reading.problems.sort(key=lambda problem: problem.row)
    return {number for number, _insert in found} - kept


def _lots(spool: IO[str]) -> Iterator[dict[str, Any]]:
    spool.seek(0)
    for line in spool:
        yield json.loads(line)


def _lines(spool: IO[str], dropped: set[int], taken: Taken) -> Iterator[tuple[str, bool]]:
    """The lines to write and whether each is new; counts them on the way."""
    for lot in _lots(spool):
        for number, part, line, news in zip(lot["numbers"], lot["parts"], lot["lines"], lot["news"], strict=True):
            if number in dropped:
                continue
            taken.good_rows += 1
            if news == _ADDED:
                taken.added_count += 1
                _tell(taken.added, part)
            elif news == _CHANGED:
                taken.changed_count += 1
                _tell(taken.changed, part)
            if news != _SAME:
                yield line, news == _ADDED


def _tell(parts: list[str], part: str) -> None:
    if len(parts) < MOST_TOLD:
        parts.append(part)

"""A delimited text file of any size, read row by row with the same rules as a small one."""

from __future__ import annotations

import codecs
import csv
import io
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from firstpull.errors import BadInput
from firstpull.exchange.table_cells import WESTERN_NOTE, check_kind, delimiter_of, raw_rows, separator_note

_BLOCK = 1 << 20
_HEAD_BYTES = 256 * 1024


@dataclass(frozen=True, slots=True)
class TableFile:
    """How a file is to be read: its encoding and separator, with plain notes on them."""

    path: Path
    encoding: str
    delimiter: str
    notes: tuple[str, ...]

    @contextmanager
    def rows(self) -> Iterator[Iterator[list[str]]]:
        """Its rows as raw cells, in order, blank ones too. Raises BadInput with the row that cannot be read."""
        try:
            with self.path.open(encoding=self.encoding, newline="") as file:
                yield self._read(file)
        except OSError as problem:
            raise _unreadable(self.path, problem)

    def _read(self, file: IO[str]) -> Iterator[list[str]]:
        yield from raw_rows(file, delimiter=self.delimiter, name=self.path.name)


def check_file(path: Path) -> None:
    """Raises BadInput for a pipe or a device, which would be waited for: a table is walked more than once."""
    try:
        mode = path.stat().st_mode
    except OSError as problem:
        raise _unreadable(path, problem)
    if not stat.S_ISREG(mode) and not stat.S_ISDIR(mode):
        raise BadInput(
            "This is a pipe or a device, and a table is read more than once.",
            where=str(path),
            hint="Write it to a file first, and give that file.",
        )


def open_table(path: Path) -> TableFile:
    """Find out how ``path`` is written, in a walk over the whole file that keeps nothing. Raises BadInput."""
    check_file(path)
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES)
            check_kind(head, filename=path.name)
            encoding, notes = _encoding(file, head, path.name)
        with path.open(encoding=encoding, newline="", errors="replace") as text:
            delimiter = delimiter_of(text.read(20_000))
    except OSError as problem:
        raise _unreadable(path, problem)
    notes += [separator_note(delimiter)] if delimiter != "," else []
    return TableFile(path, encoding, delimiter, tuple(notes))


def _encoding(file: IO[bytes], head: bytes, name: str) -> tuple[str, list[str]]:
    marked = next((code for mark, code in _MARKS if head.startswith(mark)), None)
    if marked is None and head[1:2] == b"\0":
        marked = "utf-16-le"
    elif marked is None and head[:1] == b"\0":
        marked = "utf-16-be"
    if marked is not None:
        if not _reads(file, marked):
            raise BadInput(
                "The text is damaged or in an unknown encoding.", where=name, hint="Export it again as CSV in UTF-8."
            )
        return marked, []
    if _reads(file, "utf-8"):
        return "utf-8", []
    if _reads(file, "cp1252"):
        return "cp1252", [WESTERN_NOTE]
    return "latin-1", [WESTERN_NOTE.replace("Windows-1252", "Latin-1")]


_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def _reads(file: IO[bytes], encoding: str) -> bool:
    """Whether the whole file is of ``encoding``. Raises BadInput for what is no text at all."""
    file.seek(0)
    decoder = codecs.getincrementaldecoder(encoding)()
    try:
        while block := file.read(_BLOCK):
            if "\0" in decoder.decode(block):
                raise BadInput("This is not a text table.", where=str(file.name), hint="Give a CSV or XLSX file.")
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def _unreadable(path: Path, problem: OSError) -> BadInput:
    return BadInput(f"It cannot be read: {problem.strerror}.", where=str(path), hint="Check the name and its folder.")


def rows_of_text(text: str) -> Iterator[list[str]]:
    """The rows of comma-separated ``text`` as raw cells."""
    return csv.reader(io.StringIO(text, newline=""))

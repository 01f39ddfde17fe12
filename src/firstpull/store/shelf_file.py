"""A large shelf kept beside the record, so that it need not be read from the events each time the program starts.

The file is made from the record and may be removed at any time. It names the event up to which it was made, and
its archive holds a checksum of each array, so that a damaged one is noticed and made again.
"""

from __future__ import annotations

import json
import os
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from firstpull.mechanics.shelf import Column, Shelf
from firstpull.mechanics.shelf.shelf import COLUMN_NAMES
from firstpull.units import Length

FORM = 1


@dataclass(frozen=True, slots=True)
class Kept:
    """A shelf that was kept, and the event up to which it was made: its sequence and hash."""

    shelf: Shelf
    sequence: int
    hash: str


def save(kept: Kept, path: Path) -> None:
    """Keep a shelf in ``path``. A disk that is full is no error: it is made from the record again."""
    shelf = kept.shelf
    arrays: dict[str, Any] = {
        "about": _bytes(json.dumps({"form": FORM, "sequence": kept.sequence, "hash": kept.hash})),
        "parts": _bytes("\0".join(shelf.parts)),
        "order": shelf.order,
        "by_part": shelf.by_part,
        "good": shelf.good,
    }
    for name, column in shelf.columns.items():
        arrays[f"{name} codes"] = column.codes
        arrays[f"{name} values"] = _bytes(json.dumps([_plain(value) for value in column.values], ensure_ascii=False))
    try:
        # two programs that write it at once spoil it for each other, which is noticed when it is read
        part = path.with_suffix(".part")
        with part.open("wb") as file:
            np.savez(file, **arrays)
        os.replace(part, path)
    except OSError:
        return


def load(path: Path) -> Kept | None:
    """What is kept in ``path``, or None when there is nothing, it is of another form, or damaged."""
    try:
        with path.open("rb") as raw, np.load(raw, allow_pickle=False) as file:
            about = json.loads(_text(file["about"]))
            if about["form"] != FORM:
                return None
            names = [name.removesuffix(" codes") for name in file.files if name.endswith(" codes")]
            columns = {name: _column(file[f"{name} codes"], _text(file[f"{name} values"])) for name in names}
            text = _text(file["parts"])
            shelf = Shelf(text.split("\0") if text else [], columns, order=file["order"], by_part=file["by_part"])
            shelf.good = file["good"]
            return Kept(shelf, about["sequence"], about["hash"]) if _whole(shelf) else None
    except (OSError, ValueError, LookupError, TypeError, EOFError, zipfile.BadZipFile, zlib.error):
        return None


def _whole(shelf: Shelf) -> bool:
    """Whether every column is there and as long as the others. What stands in them is guarded by the checksums."""
    arrays = [shelf.order, shelf.by_part, shelf.good, *(column.codes for column in shelf.columns.values())]
    return set(shelf.columns) == set(COLUMN_NAMES) and all(len(array) == len(shelf.parts) for array in arrays)


def _column(codes: Any, values: str) -> Column:
    return Column(tuple(map(_value, json.loads(values))), codes)


def _bytes(text: str) -> Any:
    return np.frombuffer(text.encode("utf-8", "surrogatepass"), np.uint8)


def _text(array: Any) -> str:
    return bytes(array).decode("utf-8", "surrogatepass")


def _plain(value: Any) -> Any:
    return [value.nanometres, value.typed] if isinstance(value, Length) else value


def _value(value: Any) -> Any:
    return Length(*value) if isinstance(value, list) else value

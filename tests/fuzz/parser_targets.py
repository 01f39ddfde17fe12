"""What the fuzzer feeds: each parser, held to its promise of our own error or a right answer that writes back.

``TARGETS`` names each target, a callable that takes bytes and says whether they
were read (False: refused with our error); :func:`seeds` are good inputs to start from.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import openpyxl

from firstpull.errors import BadInput, RecordDamaged
from firstpull.exchange.catalogue_lots import write_csv
from firstpull.exchange.catalogue_table import preview
from firstpull.exchange.job_file import read_job, write_job
from firstpull.exchange.record_lines import export_lines, read_lines
from firstpull.mechanics.insert import check_insert
from firstpull.record.event import NewEvent, seal
from firstpull.trade.sheet_gauges import parse_thickness
from firstpull.trade.threads import thread
from firstpull.units import parse_force, parse_length, parse_number, parse_pressure, parse_torque, show_length

DEMO = Path(__file__).parent.parent.parent / "src" / "firstpull" / "jobs" / "demo"
SHEET = "xl/worksheets/sheet1.xml"


def units(data: bytes) -> bool:
    """A length, thickness, force, torque, pressure, number or thread; a length shown in nm reads back."""
    text = data.decode("utf-8", "replace")
    found = False
    for parse in (parse_force, parse_torque, parse_pressure, parse_number, thread, parse_thickness):
        try:
            parse(text)
            found = True
        except BadInput:
            continue
    try:
        length = parse_length(text, unit="mm")
    except BadInput:
        return found
    assert parse_length(show_length(length, "mm", decimals=6) + " mm") == length
    return True


def job(data: bytes) -> bool:
    """A job file; what can be read can be written and reads back the same."""
    try:
        read = read_job(data.decode("utf-8", "replace"))
    except BadInput:
        return False
    assert read_job(write_job(read)) == read
    return True


def table(data: bytes, name: str = "fuzz.csv") -> bool:
    """A catalogue; every good row passes the checks and survives writing and reading."""
    try:
        found = preview(data, filename=name)
    except BadInput:
        return False
    for insert in found.rows:
        check_insert(insert)
    again = preview(write_csv(found.rows).encode(), filename="again.csv")
    assert again.rows == found.rows
    assert again.problems == ()
    return True


def workbook(data: bytes) -> bool:
    """The bytes as the sheet of a workbook, so that the fuzzer reaches past the packing."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in _workbook_parts().items():
            archive.writestr(name, data if name == SHEET else content)
    return table(out.getvalue(), "fuzz.xlsx")


def packed(data: bytes) -> bool:
    """The bytes as a whole workbook file."""
    return table(b"PK\x03\x04" + data[4:], "fuzz.xlsx")


def record(data: bytes) -> bool:
    """An exported record; what can be read is written the same."""
    text = data.decode("utf-8", "replace")
    lines = text.splitlines(keepends=True)
    try:
        events = list(read_lines(lines))
    except (BadInput, RecordDamaged):
        return False
    assert list(read_lines(export_lines(events))) == events
    return True


@cache
def _workbook_parts() -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(_workbook())) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


@cache
def _workbook() -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["part", "thread", "end", "length_free [mm]", "grip_min [mm]", "grip_max [mm]"])
    sheet.append(["A1", "M6", "open", 15.5, 0.5, "=1+2"])
    sheet.append(["A2", None, "closed", "0.61 in", True, 3])
    sheet.merge_cells("B2:B3")
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _record() -> Iterator[str]:
    last = ""
    events = []
    for sequence in (1, 2, 3):
        new = NewEvent(
            "TrialPulled", {"reading": {"nm": 12_460_000, "typed": "12.46 mm"}}, f"id-{sequence}", gauge="G1"
        )
        events.append(
            seal(
                new,
                stream="job:1",
                sequence=sequence,
                at="2026-01-02T03:04:05Z",
                by="Demo",
                software="0",
                previous=last,
            )
        )
        last = events[-1].hash
    return export_lines(events)


def _csv_seeds() -> list[bytes]:
    lines = (DEMO / "inserts.csv").read_bytes().splitlines(keepends=True)
    european = b"part;thread;end;length [mm];grip min [mm];grip max [mm]\nA;M6;open;15,5;0,5;3\nA;M6;open;16;0,5;3\n"
    return [b"".join(lines[:3]), lines[0] + lines[-1], european, european.decode().encode("utf-16")]


TARGETS: dict[str, Callable[[bytes], bool]] = {
    "units": units,
    "job": job,
    "csv": table,
    "workbook": workbook,
    "packed": packed,
    "record": record,
}


@cache
def seeds(name: str) -> tuple[bytes, ...]:
    """Good inputs of one target."""
    if name == "units":
        texts = (
            "0.120 in",
            '.120"',
            "120 thou",
            "3/16 in",
            "1 3/16 in",
            "3,05 mm",
            "16 ga steel",
            "9 kN",
            "55 lbf·in",
            "6.2 bar",
            "M6x1",
            "#10-32 UNF",
        )
        return tuple(text.encode() for text in texts)
    if name == "job":
        return tuple(path.read_bytes() for path in sorted(DEMO.glob("*.toml")))
    if name == "csv":
        return tuple(_csv_seeds())
    if name == "workbook":
        return (_workbook_parts()[SHEET],)
    return (_workbook(),) if name == "packed" else ("".join(_record()).encode(),)

"""The catalogue read from XLSX: what spreadsheets do to tables is undone or said."""

from __future__ import annotations

import datetime
import io
import zipfile
from collections.abc import Callable, Sequence
from typing import Any

import openpyxl
import pytest
from openpyxl.worksheet.worksheet import Worksheet

from firstpull.errors import BadInput
from firstpull.exchange.catalogue_table import Preview, preview

HEADING = ("part", "thread", "end", "length_free [mm]", "grip_min [mm]", "grip_max [mm]", "setting_load [kN]")
GOOD = ("A1", "M6", "open", 15.5, 0.5, 3, 9)


def book(*rows: Sequence[Any], change: Callable[[Worksheet], None] | None = None) -> bytes:
    """An XLSX file with these rows on its first sheet."""
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert isinstance(sheet, Worksheet)
    for row in rows:
        sheet.append(list(row))
    if change is not None:
        change(sheet)
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


def read(data: bytes, **choices: Any) -> Preview:
    """The preview of these bytes."""
    return preview(data, filename="inserts.xlsx", **choices)


def test_numbers_and_texts_are_read() -> None:
    """Numbers take the heading's unit; a text with its own unit keeps it."""
    found = read(book(HEADING, GOOD, ("A2", "M6", "open", "15.5 mm", "0,5", 3.0, "8 kN")))
    assert found.problems == ()
    assert [insert.setting_load_n for insert in found.rows] == [9000.0, 8000.0]
    assert found.rows[0].grip_max.typed == "3 mm"


def test_binary_noise_of_formulas_is_not_a_measure() -> None:
    """15.499999999999998 is how a spreadsheet stores 15.5."""
    found = read(book(HEADING, ("A1", "M6", "open", 15.499999999999998, 0.1 + 0.2, 3, 9)))
    assert found.rows[0].length_free.typed == "15.5 mm"
    assert found.rows[0].grip_min.typed == "0.3 mm"
    assert not any("rounded" in note for note in found.notes)


def test_a_thread_turned_into_a_date_is_told() -> None:
    """A spreadsheet makes a date of 6-32; the row is refused with the cure."""
    found = read(book(HEADING, ("A1", datetime.date(1932, 6, 1), "open", 15.5, 0.5, 3, 9)))
    assert found.rows == ()
    assert "date" in found.problems[0].what
    assert "6-32" in found.problems[0].hint


def test_a_formula_without_a_stored_result_is_told() -> None:
    """A file never calculated holds no value to read; an empty optional cell would have been silent."""
    found = read(book(HEADING, ("A1", "M6", "open", 15.5, 0.5, 3, "=3*3")))
    assert found.rows == ()
    assert "formula" in found.problems[0].what


def test_a_stored_result_of_a_formula_is_read() -> None:
    """The value that the spreadsheet program calculated counts."""
    data = book(HEADING, ("A1", "M6", "open", "=15+0.5", 0.5, 3, 9))
    parts: dict[str, bytes] = {}
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    path = "xl/worksheets/sheet1.xml"
    parts[path] = (
        parts[path]
        .replace(b"<f>15+0.5</f><v />", b"<f>15+0.5</f><v>15.5</v>")
        .replace(b"<f>15+0.5</f><v></v>", b"<f>15+0.5</f><v>15.5</v>")
    )
    assert b"<v>15.5</v>" in parts[path]
    assert read(_zip(parts)).rows[0].length_free.typed == "15.5 mm"


def test_a_spreadsheet_error_is_told() -> None:
    """#REF! is not a length."""
    found = read(book(HEADING, ("A1", "M6", "open", "#REF!", 0.5, 3, 9)))
    assert found.problems[0].value == "#REF!"
    assert found.rows == ()


def test_a_merged_cell_counts_for_each_row_it_covers() -> None:
    """A thread merged down over three rows is the thread of all three."""
    rows = [HEADING, GOOD, ("A2", None, *GOOD[2:]), ("A3", None, *GOOD[2:])]
    found = read(book(*rows, change=lambda sheet: sheet.merge_cells("B2:B4")))
    assert [insert.thread for insert in found.rows] == ["M6", "M6", "M6"]
    assert any("Merged" in note for note in found.notes)


def test_hidden_rows_are_read_and_said() -> None:
    """What is hidden is still in the table, and a person should know."""

    def hide(sheet: Worksheet) -> None:
        sheet.row_dimensions[2].hidden = True
        sheet.column_dimensions["C"].hidden = True

    found = read(book(HEADING, GOOD, change=hide))
    assert len(found.rows) == 1
    assert any("Hidden rows" in note and "2" in note for note in found.notes)
    assert any("Hidden columns" in note for note in found.notes)


def test_the_sheet_with_the_column_names_is_found() -> None:
    """A cover sheet and a hidden sheet are passed over, and said."""

    def more(sheet: Worksheet) -> None:
        assert sheet.parent is not None
        sheet.title = "old"
        sheet.sheet_state = "hidden"
        cover = sheet.parent.create_sheet("cover")
        cover.append(["Our inserts"])
        table = sheet.parent.create_sheet("table")
        table.append([])
        table.append(HEADING)
        table.append(("B1", *GOOD[1:]))
        sheet.parent.active = 1

    data = book(HEADING, GOOD, change=more)
    found = read(data)
    assert (found.sheet, found.heading_row, found.row_numbers) == ("table", 2, (3,))
    assert [insert.part for insert in found.rows] == ["B1"]
    assert any("Hidden sheets" in note and "old" in note for note in found.notes)
    assert [insert.part for insert in read(data, sheet="old").rows] == ["A1"]
    with pytest.raises(BadInput, match="no sheet"):
        read(data, sheet="nowhere")


def _zip(parts: dict[str, bytes], *, method: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


def _parts(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def test_a_file_that_unpacks_without_measure_is_refused() -> None:
    """A small file that unpacks to hundreds of MiB is turned away before it is unpacked."""
    parts = _parts(book(HEADING, GOOD)) | {"xl/media/image1.png": b"\0" * (150 * 2**20)}
    with pytest.raises(BadInput, match="unpacks"):
        read(_zip(parts))


@pytest.mark.parametrize(
    "start",
    [
        b'<!DOCTYPE x [<!ENTITY a "aaaa">]>',
        b'<!doctype x SYSTEM "file:///x">',
        b" " * (2**20 - 5) + b"<!DOCTYPE x>",
        b"<?xml version='1.0' encoding='utf-16'?>\0",
    ],
)
def test_xml_with_a_document_type_is_refused(start: bytes) -> None:
    """Entities can grow without bound; spreadsheets never write them, and blanks in front do not hide them."""
    parts = _parts(book(HEADING, GOOD))
    path = "xl/worksheets/sheet1.xml"
    parts[path] = start + parts[path]
    with pytest.raises(BadInput, match="XML"):
        read(_zip(parts))


@pytest.mark.parametrize("keep", [0, 10, 200, 2000])
def test_a_cut_off_file_is_refused(keep: int) -> None:
    """Half a download gives our error, not a trace."""
    data = book(HEADING, GOOD)
    with pytest.raises(BadInput):
        read(data[:4] + data[4 : 4 + keep])


def test_another_packed_file_is_refused() -> None:
    """A ZIP or an office document of another kind is named as not XLSX."""
    with pytest.raises(BadInput, match="not XLSX"):
        read(_zip({"mimetype": b"application/vnd.oasis.opendocument.spreadsheet"}))


def test_damaged_parts_are_refused() -> None:
    """A sheet that is not XML gives our error."""
    parts = _parts(book(HEADING, GOOD)) | {"xl/worksheets/sheet1.xml": b"<worksheet><sheetData><row r='1'><c"}
    with pytest.raises(BadInput, match="cannot be read"):
        read(_zip(parts))

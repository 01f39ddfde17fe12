"""Tables that a person would not expect to fail, and what they are told."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from firstpull.errors import BadInput
from firstpull.exchange.catalogue_file import CatalogueFile
from firstpull.exchange.catalogue_table import preview
from firstpull.exchange.table_file import open_table

HEADING = "part,thread,end,length_free [mm],grip_min [mm],grip_max [mm],note"
ROWS = [f"A{number},M6,open,15.5,0.5,3.0," for number in range(1, 5)]


def test_a_quotation_mark_that_is_never_closed_refuses_the_file(tmp_path: Path) -> None:
    """Else one cell would take all the rows that follow, and nobody would be told that they are missing."""
    text = "\n".join([HEADING, ROWS[0], '"' + ROWS[1], *ROWS[2:], ""])
    with pytest.raises(BadInput, match="not closed") as small:
        preview(text.encode(), filename="inserts.csv")
    assert small.value.where == "inserts.csv row 3"
    (tmp_path / "inserts.csv").write_text(text, encoding="utf-8")
    with pytest.raises(BadInput, match="not closed") as large:
        list(CatalogueFile(tmp_path / "inserts.csv").lots())
    assert large.value.where == "inserts.csv row 3"


def test_line_breaks_in_a_closed_cell_and_inch_marks_are_read() -> None:
    """A note of two lines, closed at the file's very end, is one cell of one row; so is a mark for inches."""
    rows = [ROWS[0] + '"two\nlines"', ROWS[1] + '3/16"', ROWS[2] + '"two\nlines"']
    found = preview("\n".join([HEADING, *rows]).encode(), filename="inserts.csv")
    assert found.problems == ()
    assert [insert.note for insert in found.rows] == ["two\nlines", '3/16"', "two\nlines"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    """A table is walked more than once, which a pipe can not be."""
    os.mkfifo(tmp_path / "inserts.csv")
    with pytest.raises(BadInput, match="pipe"):
        open_table(tmp_path / "inserts.csv")


def test_a_sign_that_can_not_be_printed_is_a_problem_of_its_row() -> None:
    """The other rows are taken, and the problem does not repeat the sign."""
    found = preview("\n".join([HEADING, ROWS[0], "\u202e" + ROWS[1]]).encode(), filename="inserts.csv")
    assert [insert.part for insert in found.rows] == ["A1"]
    assert [(one.row, one.column) for one in found.problems] == [(3, "part")]
    assert "\u202e" not in found.problems[0].value


@pytest.mark.parametrize(
    ("unit", "free", "least", "most"), [("in", "15.5", "0.5", "3.0"), ("mm", "0.610", "0.02", "0.12")]
)
def test_a_wrong_unit_shows_in_a_length_that_no_insert_has(
    tmp_path: Path, unit: str, free: str, least: str, most: str
) -> None:
    """Millimetres read as inches, or inches as millimetres, are said with their row, in a small file and a large one."""
    heading = f"part,thread,end,length_free [{unit}],grip_min [{unit}],grip_max [{unit}]"
    text = f"{heading}\nA1,1/4-20,open,{free},{least},{most}\n"
    found = preview(text.encode(), filename="inserts.csv")
    assert [(one.row, one.column, one.hint) for one in found.problems] == [
        (2, f"length_free [{unit}]", "Check its unit, mm or inches.")
    ]
    (tmp_path / "inserts.csv").write_text(text, encoding="utf-8")
    source = CatalogueFile(tmp_path / "inserts.csv")
    assert [part for lot in source.lots() for part in lot.parts] == []
    assert [one.row for one in source.reading.problems] == [2]

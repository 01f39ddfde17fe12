"""Tables of readings: what is read, and how each fault is said with its row and column."""

from __future__ import annotations

import pytest

from firstpull.errors import BadInput
from firstpull.exchange.readings_table import read_run, read_study


def _study(text: str, **more: object) -> object:
    return read_study(text.encode(), filename="study.csv", **more)  # type: ignore[arg-type]


def test_a_study_is_read_with_its_unit() -> None:
    """Headings in any order and case, the unit from the heading, decimal commas, a cell with a unit of its own."""
    table = read_study(b"Reading [mm];Operator;Part;note\n1,5;Ada;a;x\n\n0.1 in;Ben;a;\n", filename="study.csv")
    assert table.unit == "mm"
    assert [(row.row, row.part, row.appraiser, row.reading.mm) for row in table.rows] == [
        (2, "a", "Ada", 1.5),
        (4, "a", "Ben", 2.54),
    ]


def test_references_are_read_where_there_are_any() -> None:
    """An empty reference is none."""
    table = _study("part,appraiser,reading [in],reference [mm]\na,A,0.1,2.5\na,A,0.1,\n")
    assert [row.reference.mm if row.reference else None for row in table.rows] == [2.5, None]  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("text", "where", "what"),
    [
        ("part,reading [mm]\na,1\n", "study.csv row 1", "no column for appraiser"),
        ("part,appraiser,reading\na,A,1\n", "study.csv row 2, column “reading”", "no unit"),
        ("part,appraiser,reading [mm]\na,A,abc\n", "study.csv row 2, column “reading [mm]”", "abc"),
        ("part,appraiser,reading [mm]\na,,1\n", "study.csv row 2, column “appraiser”", "empty"),
        ("part,piece,appraiser,reading [mm]\na,b,A,1\n", "study.csv row 1", "both are the part"),
        ("part,appraiser,trial,reading [mm]\na,A,1,1\na,A,1,2\n", "study.csv row 3", "stands in row 2 already"),
        ("part,appraiser,reading [mm]\n", "study.csv", "no readings"),
        ("", "study.csv", "empty"),
    ],
)
def test_faults_say_where(text: str, where: str, what: str) -> None:
    """The file, the row, the column, and what is wrong there, with a hint."""
    with pytest.raises(BadInput, match=what) as caught:
        _study(text)
    assert caught.value.where == where
    assert caught.value.hint


def test_a_run_is_read_in_order() -> None:
    """One column is enough; the unit may come with the file."""
    table = read_run(b"value\n0.5\n0.4\n", filename="run.csv", unit="in")
    assert [reading.inch for reading in table.readings] == [0.5, 0.4]
    assert table.unit == "in"

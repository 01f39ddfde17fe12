"""The catalogue read from CSV: good rows kept, every bad one told, nothing guessed."""

from __future__ import annotations

import pytest

from firstpull.errors import BadInput
from firstpull.exchange.catalogue_lots import write_csv
from firstpull.exchange.catalogue_table import Preview, Problem, compare, preview
from firstpull.mechanics.insert import Insert
from firstpull.units import parse_length

HEADING = "part,thread,end,length_free [mm],grip_min [mm],grip_max [mm]"
GOOD = "A1,M6,open,15.5,0.5,3.0"


def read(*lines: str, encoding: str = "utf-8", **choices: object) -> Preview:
    """The preview of a CSV file with these lines."""
    return preview("\r\n".join(lines).encode(encoding), filename="inserts.csv", **choices)  # type: ignore[arg-type]


def only_problem(found: Preview) -> Problem:
    """The one problem of a preview."""
    assert len(found.problems) == 1, found.problems
    return found.problems[0]


def test_a_good_row_becomes_an_insert_with_its_text_as_typed() -> None:
    """A bare number takes the unit of its heading, and the text keeps number and unit."""
    found = read(HEADING, GOOD)
    assert found.problems == ()
    assert found.row_numbers == (2,)
    assert found.rows[0].length_free == parse_length("15.5 mm")
    assert found.rows[0].length_free.typed == "15.5 mm"
    assert found.unit_by_column["grip_min [mm]"] == "mm"


@pytest.mark.parametrize(
    "heading",
    [
        "Part No.,Thread size,Open or closed,Free length (mm),Min grip (mm),Max grip (mm)",
        "CODE,SIZE,END,Overall length [mm],Grip from [mm],Grip to [mm]",
        "item_number,thread,end form,length_free_mm,grip_min_mm,grip_max_mm",
        'Article,Screw,End,"length, mm","minimum grip, mm","maximum grip, mm"',
        "part,thread,end,length / mm,grip min / mm,grip max / mm",
    ],
)
def test_column_names_in_trade_words_are_understood(heading: str) -> None:
    """Case, blanks and punctuation do not matter, and several plain words name each measure."""
    assert read(heading, GOOD).rows == read(HEADING, GOOD).rows


def test_a_column_without_a_unit_is_a_problem_with_the_choice() -> None:
    """Lengths without a unit anywhere are never guessed: the choice is listed once and no row is taken."""
    found = read("part,thread,end,length_free,grip_min [mm],grip_max [mm]", GOOD, GOOD.replace("A1", "A2"))
    problem = only_problem(found)
    assert (problem.row, problem.column) == (1, "length_free")
    assert "mm, in, thou" in problem.hint
    assert found.unit_missing == ("length_free",)
    assert found.rows == ()


def test_the_caller_chooses_a_unit_for_a_column_or_for_all() -> None:
    """A unit handed in serves the columns without one; a column's own choice goes before it."""
    heading = "part,thread,end,length_free,grip_min,grip_max"
    assert read(heading, GOOD, unit="mm").rows == read(HEADING, GOOD).rows
    inch = read(heading, "A1,M6,open,15.5,0.02,0.12", unit="in", unit_by_column={"length_free": "mm"})
    assert inch.rows[0].length_free.typed == "15.5 mm"
    assert inch.rows[0].grip_max.typed == "0.12 in"


def test_units_inside_cells_go_before_the_heading() -> None:
    """A cell with its own unit keeps it."""
    found = read(HEADING, 'A1,M6,open,0.61 in,".02""",3.0')
    assert found.rows[0].length_free.nanometres == 15_494_000
    assert found.rows[0].grip_min.nanometres == 508_000


def test_a_choice_against_the_heading_is_refused() -> None:
    """A heading that says mm and a choice that says in cannot both be right."""
    with pytest.raises(BadInput, match="heading says mm"):
        read(HEADING, GOOD, unit_by_column={"length_free": "in"})


@pytest.mark.parametrize(
    ("row", "column", "value", "hint"),
    [
        ("A1,M6,opn,15.5,0.5,3.0", "end", "opn", "open"),
        ("A1,M6,,15.5,0.5,3.0", "end", "", "open"),
        ("A1,M66,open,15.5,0.5,3.0", "thread", "M66", "Near it"),
        ("A1,M6,open,abc,0.5,3.0", "length_free [mm]", "abc", "3.05 mm"),
        ("A1,M6,open,15.5,4.5,3.0", "grip_min [mm]", "4.5", "Swap"),
        (",M6,open,15.5,0.5,3.0", "part", "", "Every insert needs"),
        ("A1,M6,open,15.5,0.5,-3.0", "grip_max [mm]", "-3.0", ""),
        ("A1,M6,open,1.550.5,0.5,3.0", "length_free [mm]", "1.550.5", ""),
    ],
)
def test_a_bad_row_is_told_and_the_good_ones_are_kept(row: str, column: str, value: str, hint: str) -> None:
    """The report names the row as the spreadsheet shows it, the column, the value and what would be right."""
    found = read(HEADING, row, GOOD.replace("A1", "B1"))
    problem = only_problem(found)
    assert (problem.row, problem.column, problem.value) == (2, column, value)
    assert hint in problem.hint
    assert [insert.part for insert in found.rows] == ["B1"]


def test_every_bad_cell_of_a_row_is_told_at_once() -> None:
    """Two mistakes in one row are two problems, so that one look mends both."""
    assert [problem.column for problem in read(HEADING, "A1,M6,opn,abc,0.5,3.0").problems] == [
        "end",
        "length_free [mm]",
    ]


def test_rows_are_counted_as_the_spreadsheet_shows_them() -> None:
    """Blank rows count, and a cell with a line break does not make two rows."""
    found = read(
        "our table", "", HEADING + ",note", 'A1,M6,open,15.5,0.5,3.0,"two\nlines"', "", "A2,M6,opn,15.5,0.5,3.0,"
    )
    assert only_problem(found).row == 6
    assert found.heading_row == 3
    assert found.row_numbers == (4,)
    assert found.rows[0].note == "two\nlines"
    assert any("our table" in note for note in found.notes)


def test_decimal_commas_and_semicolons_are_read() -> None:
    """A table with semicolons may write 15,5."""
    found = read(HEADING.replace(",", ";"), "A1;M6;open;15,5;0,5;3,0")
    assert found.rows == read(HEADING, GOOD).rows
    assert any("semicolon" in note for note in found.notes)


def test_decimal_commas_in_a_comma_table_are_told() -> None:
    """15,5 without quotation marks splits into two cells: the row is refused with the reason."""
    problem = read(HEADING, "A1,M6,open,15,5,0,5,3,0").problems[0]
    assert "decimal comma" in problem.hint


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_usual_encodings_are_read(encoding: str) -> None:
    """UTF-8 with and without mark, UTF-16 and Western European all give the same insert."""
    found = read(HEADING + ",note", GOOD + ",für außen", encoding=encoding)
    assert found.rows[0].note == "für außen"
    assert any("Western European" in note for note in found.notes) is (encoding == "cp1252")


def test_unknown_columns_are_left_out_with_a_note() -> None:
    """A column nobody knows is said, and does not stop the import."""
    found = read(HEADING + ",colour of the box", GOOD + ",blue")
    assert found.problems == ()
    assert any("colour of the box" in note for note in found.notes)


def test_a_column_can_be_named_by_the_person() -> None:
    """A heading in no known words is used when the person says what it holds."""
    heading = HEADING.replace("length_free", "how long")
    found = read(heading, GOOD, field_by_column={"how long [mm]": "length_free"})
    assert found.rows == read(HEADING, GOOD).rows


def test_a_missing_column_is_told_with_its_names() -> None:
    """Without a column for the grip nothing is taken and the names for it are listed."""
    found = read("part,thread,end,length_free [mm],grip_min [mm]", "A1,M6,open,15.5,0.5")
    assert found.rows == ()
    assert "max grip" in only_problem(found).hint


def test_two_columns_for_one_measure_are_refused() -> None:
    """“grip max” and “maximum grip” cannot both be the maximum grip."""
    with pytest.raises(BadInput, match="both mean grip_max"):
        read(HEADING + ",max grip [mm]", GOOD + ",3.5")


def test_a_part_twice_with_the_same_values_is_taken_once() -> None:
    """The second row is reported."""
    found = read(HEADING, GOOD, GOOD)
    assert only_problem(found).row == 3
    assert len(found.rows) == 1


def test_a_part_twice_with_other_values_is_not_taken() -> None:
    """Nobody knows which of the two rows is right."""
    found = read(HEADING, GOOD, GOOD.replace("15.5", "16.5"), GOOD.replace("A1", "B1"))
    assert only_problem(found).column == "part"
    assert [insert.part for insert in found.rows] == ["B1"]


def test_spreadsheet_numbers_with_too_many_places_are_rounded_and_said() -> None:
    """15.5/25.4 as a spreadsheet writes it is read to 0.00001 in."""
    found = read(HEADING.replace("[mm]", "[in]"), "A1,M6,open,0.610236220472441,0.02,0.12")
    assert found.rows[0].length_free.typed == "0.61024 in"
    assert any("rounded" in note for note in found.notes)


@pytest.mark.parametrize(
    "data", [b"", b"\n\n", b"a,b,c\n1,2,3\n", b"\x89PNG\r\n\x1a\n\0\0", b"%PDF-1.7", b"\xd0\xcf\x11\xe0\xa1\xb1"]
)
def test_a_file_that_is_no_table_of_inserts_is_refused(data: bytes) -> None:
    """The error names the file and says what would be right."""
    with pytest.raises(BadInput) as caught:
        preview(data, filename="x.csv")
    assert caught.value.where.startswith("x.csv")
    assert caught.value.hint


def test_formulas_are_disarmed_and_come_back() -> None:
    """What a spreadsheet would run gets an apostrophe; reading takes off exactly that one."""
    texts = ["=1+1", "+A1", "-x", "@SUM(A1)", "'=1", "''+2", "'soft'", "ordinary"]
    rows = [
        Insert(
            part=f"P{index}",
            thread="M6",
            end="open",
            length_free=parse_length("15.5 mm"),
            grip_min=parse_length("0.5 mm"),
            grip_max=parse_length("3 mm"),
            note=text,
        )
        for index, text in enumerate(texts)
    ]
    written = write_csv(rows)
    assert ",'=1+1\r\n" in written
    assert ",ordinary\r\n" in written
    assert [insert.note for insert in preview(written.encode(), filename="x.csv").rows] == texts


def test_text_that_no_table_can_hold_is_refused_when_written() -> None:
    """A NUL character would make the whole file unreadable."""
    rows = [
        Insert(
            part="P",
            thread="M6",
            end="open",
            length_free=parse_length("15.5 mm"),
            grip_min=parse_length("0.5 mm"),
            grip_max=parse_length("3 mm"),
            note="a\0b",
        )
    ]
    with pytest.raises(BadInput, match="cannot be written") as caught:
        write_csv(rows)
    assert caught.value.where == "P: note"


def test_compare_says_what_a_second_import_changes() -> None:
    """Added, changed field by field, unchanged and missing parts are told apart; texts of equal lengths do not count."""
    old = read(HEADING, GOOD, GOOD.replace("A1", "A2"), GOOD.replace("A1", "A3")).rows
    new = read(
        HEADING, GOOD.replace("15.5", "15.50"), GOOD.replace("A1", "A2").replace("15.5", "16"), GOOD.replace("A1", "A4")
    ).rows
    changes = compare(old, new)
    assert [insert.part for insert in changes.added] == ["A4"]
    assert [insert.part for insert in changes.unchanged] == ["A1"]
    assert [insert.part for insert in changes.missing] == ["A3"]
    assert [(change.part, change.field, change.old, change.new) for change in changes.changed] == [
        ("A2", "length_free", "15.5 mm", "16 mm")
    ]

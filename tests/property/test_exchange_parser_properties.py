"""Every parser of files gives a right answer or our own error, and what is written reads back the same."""

from __future__ import annotations

import io
import string
from functools import cache

import openpyxl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firstpull.errors import BadInput
from firstpull.exchange.catalogue_lots import write_csv
from firstpull.exchange.catalogue_table import Preview, compare, preview, value_text
from firstpull.exchange.job_file import JobFile, read_job, write_job
from firstpull.exchange.table_cells import guard, unguard
from firstpull.exchange.texts import HIDDEN
from firstpull.mechanics.choose import Needs
from firstpull.mechanics.insert import BODIES, ENDS, LENGTH_NAMES, Insert, check_insert
from firstpull.mechanics.request import AirToStack, Allowance, Batch, GivenWindow
from firstpull.mechanics.stack import Layer, Stack
from firstpull.mechanics.tool import Tool
from firstpull.units import NM_PER_MM, Length, parse_length

TEXT = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0"), max_size=40).map(
    # what hides or turns letters round is refused by every reader
    lambda text: HIDDEN.sub("", text).strip()
)
PART = TEXT.filter(bool)


@st.composite
def lengths(draw: st.DrawFn, low_mm: float = 0.1, high_mm: float = 5.0) -> Length:
    """A length as people type one, between two limits."""
    hundredths = draw(st.integers(round(low_mm * 100), round(high_mm * 100)))
    form = draw(st.sampled_from(("mm", "comma", "in", "thou", "exact")))
    if form == "mm":
        return parse_length(f"{hundredths / 100:.2f} mm")
    if form == "comma":
        return parse_length(f"{hundredths / 100:.2f} mm".replace(".", ","))
    if form == "exact":
        return Length(hundredths * NM_PER_MM // 100 + draw(st.integers(0, 9999)), draw(TEXT))
    tenths = -(-hundredths * 1000 // 254)  # of a thousandth of an inch, rounded up
    return parse_length(f"0.{tenths:04d} in" if form == "in" and tenths < 10_000 else f"{tenths / 10} thou")


@st.composite
def inserts(draw: st.DrawFn) -> Insert:
    """An insert whose dimensions can all be true, with any of the optional ones left out."""
    allowance = sorted(draw(st.lists(lengths(0.5, 3), min_size=3, max_size=3)))
    across = [draw(lengths(low, low + 0.9)) for low in (4, 5, 6, 7)]
    given = {
        "set_allowance_min": allowance[0],
        "set_allowance": allowance[1],
        "set_allowance_max": allowance[2],
        "counterbore_diameter": across[0],
        "body_diameter": across[1],
        "hole_diameter": across[2],
        "flange_diameter": across[3],
        "flange_thickness": draw(lengths(0.3, 2)),
        "hole_tolerance": draw(lengths(0.1, 0.3)),
        "thread_length": draw(lengths(3, 6)),
        "unthreaded_length": draw(lengths(2, 8)),
        "setting_load_n": round(draw(st.floats(1, 1e5)), 9),
        "tightening_torque_max_nm": round(draw(st.floats(0.1, 500)), 9),
        "head_marks": draw(st.integers(0, 9)),
    }
    kept = draw(st.sets(st.sampled_from(sorted(given))))
    insert = Insert(
        part=draw(PART),
        thread=draw(st.sampled_from(("M6", "m6×1.0", "1/4-20", "#10-32 UNF"))),
        material=draw(TEXT),
        head="countersunk",
        end=draw(st.sampled_from(ENDS)),  # type: ignore[arg-type]
        body=draw(st.sampled_from(BODIES)),  # type: ignore[arg-type]
        grip_datum=draw(st.sampled_from(("flange", "surface"))),  # type: ignore[arg-type]
        length_free=draw(lengths(30, 60)),
        grip_min=draw(lengths(0.3, 1)),
        grip_max=draw(lengths(1.5, 6)),
        note=draw(TEXT),
        **{name: given[name] for name in kept},
    )
    check_insert(insert)
    return insert


def typed_texts(insert: Insert) -> list[str]:
    """The texts of the lengths, where each alone says its length."""
    return [value_text(insert, name) for name in LENGTH_NAMES]


@given(st.lists(inserts(), max_size=4, unique_by=lambda insert: insert.part))
@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
def test_a_written_catalogue_reads_back_the_same(rows: list[Insert]) -> None:
    """Any inserts survive CSV: values, texts as typed, formulas in disguise, quotes, line breaks."""
    found = preview(write_csv(rows).encode(), filename="x.csv")
    assert found.problems == ()
    assert list(found.rows) == rows
    assert [typed_texts(insert) for insert in found.rows] == [typed_texts(insert) for insert in rows]
    assert compare(rows, found.rows).changed == ()


@given(st.text(alphabet=st.sampled_from("'=+-@\t\r\n＝ab"), max_size=8))
def test_disarming_a_cell_can_be_undone(text: str) -> None:
    """The apostrophe put in front of a formula comes off again, and nothing dangerous starts a cell."""
    safe = guard(text)
    assert unguard(safe) == text
    assert not safe.startswith(("=", "+", "-", "@", "\t", "\r", "\n", "＝"))


def checked(data: bytes, name: str) -> Preview | None:
    """The preview, held to its promises; None when the file was refused with our error."""
    try:
        found = preview(data, filename=name)
    except BadInput:
        return None
    for insert in found.rows:
        check_insert(insert)
    assert len(found.row_numbers) == len(found.rows)
    assert all(problem.what and problem.row >= 1 for problem in found.problems)
    assert list(preview(write_csv(found.rows).encode(), filename=name).rows) == list(found.rows)
    return found


CELLS = st.one_of(
    st.sampled_from(
        (
            "A1",
            "A2",
            "M6",
            "1/4-20",
            "open",
            "closed",
            "15.5",
            "15,5 mm",
            "0.5 in",
            "3",
            "",
            "=1+1",
            "NaN",
            "1e9",
            "-1",
            "16 ga",
            "yes",
            "9 kN",
        )
    ),
    st.text(max_size=12),
)
HEADINGS = st.sampled_from(
    (
        "part",
        "thread",
        "end",
        "length_free [mm]",
        "length",
        "grip_min",
        "grip_min [in]",
        "max grip (mm)",
        "setting load [kN]",
        "torque",
        "head",
        "body",
        "note",
        "?",
    )
)


@given(
    st.lists(HEADINGS, min_size=1, max_size=9),
    st.lists(st.lists(CELLS, max_size=10), max_size=6),
    st.sampled_from(",;\t"),
)
@settings(deadline=None, max_examples=150)
def test_any_csv_is_read_or_refused(headings: list[str], rows: list[list[str]], delimiter: str) -> None:
    """Whatever stands in the cells, the answer is a preview that keeps its promises or our error."""
    lines = [delimiter.join(row) for row in [headings, *rows]]
    checked("\n".join(lines).encode("utf-8", "surrogatepass"), "x.csv")


@given(st.binary(max_size=300))
@settings(deadline=None, max_examples=100)
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    """Noise is refused with our error, whether it looks like text, UTF-16 or a workbook."""
    for start in (b"", b"\xff\xfe", b"PK\x03\x04", b"part,thread,end,length_free [mm],grip_min [mm],grip_max [mm]\n"):
        checked(start + data, "x.csv")


VALUES = st.one_of(
    CELLS.filter(str.isprintable),
    st.integers(-(10**18), 10**18),
    st.floats(allow_nan=False, allow_infinity=False),
    st.booleans(),
    st.dates(),
    st.none(),
)


@given(st.lists(HEADINGS, min_size=4, max_size=9), st.lists(st.lists(VALUES, max_size=9), max_size=4))
@settings(deadline=None, max_examples=60)
def test_any_workbook_is_read_or_refused(headings: list[str], rows: list[list[object]]) -> None:
    """Numbers, dates, truth values and formulas in any cell give a preview or our error."""
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert sheet is not None
    for row in [headings, *rows]:
        sheet.append(row)
    out = io.BytesIO()
    workbook.save(out)
    checked(out.getvalue(), "x.xlsx")


@cache
def a_workbook() -> bytes:
    """One workbook for all draws: it carries the moment it was made, so a second one may be of another length."""
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert sheet is not None
    sheet.append(["part", "thread", "end", "length_free [mm]", "grip_min [mm]", "grip_max [mm]"])
    sheet.append(["A1", "M6", "open", 15.5, 0.5, 3])
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


@given(st.data())
@settings(deadline=None, max_examples=100)
def test_a_damaged_workbook_is_read_or_refused(data: st.DataObject) -> None:
    """A workbook with bytes changed or cut off gives a preview or our error."""
    content = bytearray(a_workbook())
    for _ in range(data.draw(st.integers(1, 8))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    checked(bytes(content[: data.draw(st.integers(4, len(content)))]), "x.xlsx")


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    """A plain number that a decimal of 9 places can hold."""
    return st.floats(low, high).map(lambda value: round(value, 9))


def whole_nanometres(low_mm: float, high_mm: float) -> st.SearchStrategy[float]:
    """A length in mm that is a whole number of nanometres."""
    return st.integers(round(low_mm * NM_PER_MM), round(high_mm * NM_PER_MM)).map(lambda value: value / NM_PER_MM)


def maybe(strategy: st.SearchStrategy[object]) -> st.SearchStrategy[object]:
    """The value or None."""
    return st.none() | strategy


LAYERS = st.one_of(
    st.builds(Layer, PART, lengths(0.5, 4), maybe(lengths(0.1, 0.4)), st.just(False)),
    st.builds(Layer, st.just("powder coat"), lengths(0.5, 0.9), st.none(), st.just(True), st.integers(1, 4)),
)
TOOLS = st.builds(
    Tool,
    control=st.sampled_from(("stroke", "force")),
    name=TEXT,
    lead_per_turn=maybe(lengths(0.1, 2)),
    clicks_per_turn=maybe(st.integers(1, 60)),
    plus_turns=st.sampled_from(("more stroke", "less stroke")),
    plus_direction=st.sampled_from(("clockwise", "anticlockwise")),
    stroke_min=maybe(lengths(0.1, 1)),
    stroke_max=maybe(lengths(2, 9)),
    load_max_n=maybe(numbers(1, 1e5)),
    rated_pressure_bar=maybe(numbers(0.1, 700)),
    piston_area_mm2=maybe(numbers(1, 1e5)),
    ratio=maybe(numbers(0.1, 100)),
    efficiency=maybe(numbers(0.1, 1)),
    stiffness_kn_per_mm=maybe(numbers(1, 1000)),
    backlash_turns=numbers(0, 3),
    lead_rel_sd=numbers(0, 0.5),
    process_sd_mm=whole_nanometres(0, 1),
)
JOBS = st.builds(
    JobFile,
    title=TEXT,
    part=TEXT,
    note=TEXT,
    unit=st.sampled_from(("mm", "in")),
    stack=st.builds(Stack, st.lists(LAYERS, min_size=1, max_size=4).map(tuple), st.lists(lengths(0.5, 9), max_size=4).map(tuple), whole_nanometres(0, 0.1), whole_nanometres(0.001, 0.1)),
    insert=maybe(inserts()),
    allowance=maybe(st.builds(Allowance, lengths(0.5, 3), maybe(whole_nanometres(0, 1)), TEXT)),
    window=maybe(st.builds(GivenWindow, lengths(1, 2), lengths(3, 4))),
    shift=maybe(st.builds(AirToStack, whole_nanometres(-1, 1), whole_nanometres(0, 1), TEXT)),
    batch=maybe(st.builds(Batch, lengths(1, 2), lengths(3, 4))),
    tool=st.none(),
    needs=maybe(st.builds(Needs, thread=PART, end=maybe(st.sampled_from(ENDS)), material=maybe(PART), room_behind_mm=maybe(whole_nanometres(1, 99)))),
    load_ceiling_n=maybe(numbers(1, 1e5)),
)  # fmt: skip


@given(JOBS, maybe(TOOLS), maybe(lengths(5, 20)), whole_nanometres(0, 1), maybe(PART))
@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
def test_a_written_job_reads_back_the_same(
    job: JobFile, tool: Tool | None, present: Length | None, gap_mm: float, mandrel: str | None
) -> None:
    """Any job survives TOML: values, texts as typed, quotes, line breaks."""
    from dataclasses import replace

    if tool is not None:
        job = replace(job, tool=tool, present_set_length=present, gap_mm=gap_mm, mandrel_class=mandrel)
    again = read_job(write_job(job))
    assert again == job
    assert write_job(again) == write_job(job)


TOML_PIECES = st.sampled_from(
    (
        "[[stack.layer]]", "[stack]", "[insert]", "[tool]", "[job]", "[needs]", "[window]", "[shift]", "[allowance]", "\n", "\n", "\n",
        'material = "DC01"', 'thickness = "1.5 mm"', 'thickness = 1.5', 'control = "stroke"', 'thread = "M6"', 'end = "open"',
        'grip_min = "1 mm"', 'grip_max = "2 mm"', 'length_free = "15 mm"', "measured = [", '"1.5 mm"', "]", "=", '"', "{", "}", "nan", "play = 1e999",
        'stroke_min = "1"', "1979-05-27", "coating = true", "faces = 2", "faces = -1", 'piston_area = "1/0 mm²"', 'stiffness = "1,2,3 kN/mm"',
    )
)  # fmt: skip


@given(st.lists(TOML_PIECES | st.text(string.printable, max_size=6), max_size=30).map("\n".join))
@settings(deadline=None, max_examples=200)
def test_any_toml_is_read_or_refused(text: str) -> None:
    """Whatever the file holds, the answer is a job that can be written again or our error."""
    try:
        job = read_job(text)
    except BadInput:
        return
    assert read_job(write_job(job)) == job

"""Job files in TOML: read as meant, or refused with the place and the cure."""

from __future__ import annotations

import pytest

from firstpull.errors import BadInput
from firstpull.exchange.job_file import MAX_BYTES, read_job, write_job
from firstpull.units import parse_length

EXAMPLE = """
[[stack.layer]]
material = "EN AW-5754"
thickness = "2.0 mm"
tolerance = "0.09 mm"
[[stack.layer]]
material = "powder coat"
thickness = "0.08 mm"
[stack]
measured = ["2.16 mm", "2.19 mm", "2.17 mm"]
[insert]
thread = "M6x1"
length_free = "15.5 mm"
flange_thickness = "1.5 mm"
grip_min = "0.5 mm"
grip_max = "3.0 mm"
set_allowance = "3.4 mm"
end = "open"
[tool]
control = "stroke"
lead_per_turn = "0.5 mm"
clicks_per_turn = 12
plus_turns = "more stroke"
stroke_max = "7.5 mm"
[window]
stroke_min = "4.1 mm"
stroke_max = "4.5 mm"
"""
STACK = '[[stack.layer]]\nmaterial = "DC01"\nthickness = "1.5 mm"\n'


def refused(text: str) -> BadInput:
    """The error that this job file gives."""
    with pytest.raises(BadInput) as caught:
        read_job(text)
    return caught.value


def test_the_example_of_the_design_is_read() -> None:
    """Every value stands where it belongs, with its text as typed."""
    job = read_job(EXAMPLE)
    assert [layer.thickness.nanometres for layer in job.stack.layers] == [2_000_000, 80_000]
    assert [layer.coating for layer in job.stack.layers] == [False, True]
    assert job.stack.readings[1] == parse_length("2.19 mm")
    assert job.insert is not None
    assert job.insert.length_free.typed == "15.5 mm"
    assert job.part_name is None
    assert job.tool is not None
    assert job.tool.clicks_per_turn == 12
    assert job.window is not None
    assert (job.window.source, job.window.stroke_min.mm) == ("given", 4.1)
    assert job.unit == "mm"


def test_every_section_is_read() -> None:
    """Job, batch, catalogue part, allowance, shift, needs and a force-set tool come through in the right units."""
    job = read_job(
        STACK
        + """
[stack]
thin = "1.4 mm"
thick = "1.6 mm"
load_ceiling = "8 kN"
[job]
title = "Tray"
part = "T1"
unit = "in"
[insert]
part = "K1"
[allowance]
value = "0.1 in"
sd = "0.05 mm"
source = "own coupons"
[shift]
mean = "0.08 mm"
sd = "0.03 mm"
[needs]
thread = "M6"
end = "closed"
room_behind = "20 mm"
[tool]
control = "force"
piston_area = "12.5 cm²"
ratio = 1
efficiency = 0.9
rated_pressure = "90 psi"
stiffness = "100 N/µm"
load_max = "2000 lbf"
present_set_length = "12.10 mm"
gap = "0.1 mm"
play = 0.3
"""
    )
    assert (job.title, job.part, job.unit, job.part_name, job.insert) == ("Tray", "T1", "in", "K1", None)
    assert job.batch is not None
    assert job.batch.thick.mm == 1.6
    assert job.load_ceiling_n == 8000
    assert job.allowance is not None
    assert (job.allowance.value.nanometres, job.allowance.sd_mm, job.allowance.source) == (
        2_540_000,
        0.05,
        "own coupons",
    )
    assert job.shift is not None
    assert (job.shift.mean_mm, job.shift.sd_mm) == (0.08, 0.03)
    assert job.needs is not None
    assert (job.needs.end, job.needs.room_behind_mm) == ("closed", 20.0)
    assert job.tool is not None
    assert job.tool.piston_area_mm2 == 1250
    assert job.tool.stiffness_kn_per_mm == 100
    assert job.tool.rated_pressure_bar == pytest.approx(6.205281564, abs=1e-9)
    assert job.tool.load_max_n == pytest.approx(8896.443230521, abs=1e-9)
    assert job.tool.backlash_turns == 0.3
    assert (job.gap_mm, job.present_set_length) == (0.1, parse_length("12.10 mm"))


def test_a_gauge_number_with_its_metal_is_a_thickness() -> None:
    """“16 ga steel” is read and kept as typed; a bare “16 ga” is refused with the choices."""
    job = read_job(STACK.replace("1.5 mm", "16 ga steel"))
    assert job.stack.layers[0].thickness.typed == "16 ga steel"
    assert read_job(write_job(job)) == job
    assert "16 ga steel" in write_job(job)
    error = refused(STACK.replace("1.5 mm", "16 ga"))
    assert error.where == "job.toml: stack.layer[1].thickness"


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        (STACK.replace('"1.5 mm"', "1.5"), "stack.layer[1].thickness", "“1.5 mm”"),
        (STACK + STACK.replace("1.5 mm", "1.5"), "stack.layer[2].thickness", "mm"),
        (STACK + "faces = 2", "stack.layer[1].faces", "coating"),
        (STACK + 'tolerance = "9 mm"', "stack.layer[1].tolerance", "more than the layer"),
        (STACK.replace("thickness", "thicknes"), "stack.layer[1]", "Did you mean “thickness”?"),
        (STACK.replace('material = "DC01"\n', ""), "stack.layer[1].material", "missing"),
        (STACK + '[stack]\nmeasured = ["1.5 mm", "oops"]', "stack.measured[2]", "oops"),
        (STACK + '[stack]\nmeasured = "1.5 mm"', "stack.measured", "list"),
        (STACK + '[tol]\ncontrol = "stroke"', "job.toml", "Did you mean “tool”?"),
        (STACK + '[tool]\nlead_per_turn = "0.5 mm"', "tool.control", "missing"),
        (STACK + '[tool]\ncontrol = "manual"', "tool.control", "“stroke” or “force”"),
        (STACK + '[tool]\ncontrol = "stroke"\nstiffness = 100', "tool.stiffness", "kN/mm"),
        (STACK + '[tool]\ncontrol = "stroke"\nstiffness = "0 kN/mm"', "tool.stiffness", "more than zero"),
        (STACK + '[tool]\ncontrol = "stroke"\nclicks_per_turn = 1.5', "tool.clicks_per_turn", "whole number"),
        (STACK + '[tool]\ncontrol = "stroke"\nplay = "0.2"', "tool.play", "plain number"),
        (STACK + '[tool]\ncontrol = "stroke"\nplay = nan', "tool.play", "usable"),
        (STACK + '[insert]\nthread = "M6"', "insert.length_free", "missing"),
        (STACK + '[window]\nstroke_min = "1 mm"\nstroke_max = "2 mm"\nsource = "proven"', "window.source", "“given”"),
        (STACK + "[job]\ntitle = 1979-05-27", "job.title", "date"),
        (STACK + '[job]\nunit = "cm"', "job.unit", "“mm” or “in”"),
        (STACK + "job = 3", "stack.layer[1]", "not known"),
        ("job = 3\n" + STACK, "job", "section"),
        ("", "stack", "missing"),
        ("[stack]\nlayer = []", "stack.layer", "no layers"),
        ('[stack]\nlayer = ["a"]', "stack.layer[1]", "section"),
    ],
)
def test_what_cannot_be_used_is_refused_with_its_place(text: str, place: str, words: str) -> None:
    """The error says where, by the names in the file, and what would be right."""
    error = refused(text)
    assert error.where.endswith(place)
    assert words in f"{error.what} {error.hint}"


def test_a_slip_in_the_toml_is_told_with_its_line() -> None:
    """A value with a unit and no quotes is the usual slip; the line and its text are shown."""
    error = refused(STACK + "[tool]\nstroke_max = 7.5 mm\n")
    assert error.where == "job.toml: line 5"
    assert "stroke_max = 7.5 mm" in error.what


@pytest.mark.parametrize(
    "text", ["a = " + "[" * 5000, "a = " + "9" * 6000, "a = 1" + "0" * MAX_BYTES, "x" * 10, 'a = "\ud800"']
)
def test_files_made_to_break_a_reader_are_refused(text: str) -> None:
    """Deep nesting, endless numbers and large files give our error."""
    refused(text)


def test_what_is_written_reads_back_the_same() -> None:
    """A job keeps every value and the text as typed over the file."""
    job = read_job(EXAMPLE + '[job]\ntitle = "quotes \\" and \\\\ and \\n µ \\u007f"\n')
    again = read_job(write_job(job))
    assert again == job
    assert again.insert is not None
    assert again.insert.length_free.typed == "15.5 mm"

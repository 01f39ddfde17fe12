"""The command of the virtual pull and the file it reads."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from firstpull.cli import main
from firstpull.errors import BadInput
from firstpull.exchange.pull_file import read_pull

CASE = """
grip_max = "2.5 mm"
[body]
outer_diameter = 9.0
counterbore_diameter = "7.2 mm"
unthreaded_length = 6.5
thread_bore_diameter = 5.5
threaded_length = 7
[flange]
diameter = 13.0
thickness = 1.5
[sheet]
thickness = 2.0
hole_diameter = 9.1
edge_radius = 0.1
[material]
law = "swift"
E_mpa = 210000
poisson = 0.3
K_mpa = 620
e0 = 0.008
n = 0.17
[pull]
friction = 0.12
stroke = 0.4
"""


def test_the_command_answers_with_every_named_field(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The answer has the arrays, the events, the allowance and the limits under their names."""
    file = tmp_path / "case.toml"
    file.write_text(CASE, encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main(["virtual-pull", str(file), "--json"])
    assert int(ended.value.code or 0) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["schema"] == "firstpull/virtual-pull/1"
    assert len(answer["stroke_mm"]) == len(answer["force_n"]) == len(answer["outer_diameter_mm"]) == 41
    assert set(answer["events"]) == {"peak", "minimum", "closure", "seating"}
    for name in ("stroke_plus_thickness_mm", "set_allowance_mm", "set_allowance_sd_mm", "air_to_stack_mm"):
        assert answer[name] is None  # 0.4 mm closes nothing
    assert answer["energy_error"] < 0.02
    assert answer["cpu_s"] > 0.0
    assert len(answer["profile"]) > 20
    assert "The fold does not close within this stroke." in answer["limits"]


def test_numbers_are_millimetres_and_texts_have_their_unit() -> None:
    """A length may be a number in mm or a text with its unit; both give the same case."""
    plain = read_pull(CASE).case
    inch = read_pull(CASE.replace('"7.2 mm"', '"0.283 in"')).case
    assert plain.counterbore_diameter_mm == pytest.approx(7.2)
    assert inch.counterbore_diameter_mm == pytest.approx(7.1882)
    assert read_pull(CASE).grip_max_mm == pytest.approx(2.5)


def test_a_thread_stands_for_its_bore_and_mandrel() -> None:
    """M6 gives the pitch diameter as the bore and the major diameter as the mandrel."""
    case = read_pull(CASE.replace("thread_bore_diameter = 5.5", 'thread = "M6"')).case
    assert case.bore_diameter_mm == pytest.approx(5.350, abs=0.001)
    assert case.mandrel_mm == pytest.approx(6.0)


def test_a_metal_by_its_name() -> None:
    """A name of the library stands for its flow curve; another is refused with the names held."""
    start, end = CASE.index('law = "swift"'), CASE.index("[pull]")
    named = CASE[:start] + 'name = "Stainless  steel"\n' + CASE[end:]
    assert read_pull(named).case.metal.k_mpa == pytest.approx(1250.0)
    with pytest.raises(BadInput, match="not in the library") as refused:
        read_pull(named.replace("Stainless  steel", "butter"))
    assert "aluminium" in refused.value.hint


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("[flange]", "[flang]", "case.toml"),
        ("diameter = 13.0\n", "", "case.toml: flange.diameter"),
        ("n = 0.17", "", "case.toml: material.n"),
        ('law = "swift"', "", "case.toml: material"),
        ("stroke = 0.4", 'stroke = "long"', "case.toml: pull.stroke"),
        ("friction = 0.12", "friction = true", "case.toml: pull.friction"),
        ('law = "swift"', 'law = "table"\npoints = [[0, "x"]]', "case.toml: material.points"),
        ("[body]", "[body", "case.toml"),
    ],
)
def test_what_cannot_be_read_is_named(old: str, new: str, where: str) -> None:
    """A wrong file is refused with the place of the fault."""
    with pytest.raises(BadInput) as refused:
        read_pull(CASE.replace(old, new, 1), where="case.toml")
    assert refused.value.where == where


def test_quick_answers_at_once_and_says_the_share_that_closes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Closure, allowance and share with their doubt; what the fit does not cover is refused with a way on."""
    case = tmp_path / "case.toml"
    case.write_text(CASE + '[scatter]\nthickness = "0.05 mm"\nstrength = 0.05\n')

    def ended(*options: str) -> int:
        with pytest.raises(SystemExit) as caught:
            main(["virtual-pull", str(case), *options])
        return int(caught.value.code or 0)

    assert ended("--quick", "--stroke", "3.4 mm", "--json") == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["schema"] == "firstpull/quick-pull/1"
    assert answer["clear_cut"]
    assert 2.0 < answer["events"]["closure"]["stroke_mm"] < 4.0
    assert answer["set_allowance_mm"] == pytest.approx(answer["stroke_plus_thickness_mm"] - 2.5)
    assert 0.0 <= answer["closing"]["share_closed"] <= 1.0
    case.write_text(CASE.replace("friction = 0.12", "friction = 0.5"))
    assert ended("--quick") == 2
    assert "friction" in capsys.readouterr().err
    assert ended("--stroke", "3 mm") == 2


@pytest.mark.parametrize(
    ("text", "where"), [("thickness = -1", "scatter"), ("strength = 0.9", "scatter"), ("holes = 1", "scatter")]
)
def test_a_scatter_that_is_none_is_refused(text: str, where: str) -> None:
    """Negative, too large, unknown."""
    with pytest.raises(BadInput) as caught:
        read_pull(CASE + f"[scatter]\n{text}\n")
    assert where in caught.value.where

"""The commands about measuring: gauge-study and capability, as typed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from firstpull.cli import main

ROOT = Path(__file__).resolve().parents[2]
STUDY = ROOT / "examples" / "gauge_study.csv"
RUN = ROOT / "examples" / "set_lengths.csv"


def _typed(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> str:
    with pytest.raises(SystemExit) as ended:
        main(list(words))
    out = capsys.readouterr()
    assert int(ended.value.code or 0) == code, out.out + out.err
    return out.out if code == 0 or "--json" in words else out.err


def _answer(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(_typed(capsys, *words, "--json", code=code))
    return found


def test_a_study_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """Components, limits, tolerance, classes and the bias over the range."""
    text = _typed(capsys, "gauge-study", str(STUDY), "--tolerance", "0.2 mm", "--resolution", "0.01 mm")
    assert "6 parts, 3 appraisers, 3 trials; anova" in text
    assert "repeatability" in text
    assert "% of tolerance" in text
    assert "No bias is shown" in text


def test_a_study_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    """The names are those of docs/how-to/gauge-study.md, lengths are mm, shares add up."""
    answer = _answer(capsys, "gauge-study", str(STUDY), "--tolerance", "0.2 mm")
    assert answer["schema"] == "firstpull/gauge-study/1"
    parts = answer["components"]
    assert parts["gauge"]["variance_percent"] + parts["part"]["variance_percent"] == pytest.approx(100, abs=1e-9)
    assert parts["gauge"]["tolerance_percent"] == pytest.approx(600 * parts["gauge"]["sd_mm"] / 0.2, rel=1e-9)
    assert answer["linearity"]["acceptable"] is True
    by_range = _answer(capsys, "gauge-study", str(STUDY), "--method", "range")
    assert by_range["components"]["gauge"]["sd_low_mm"] is None


def test_a_missing_reading_is_named(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A study with a hole says which part by whom, and ends with 2."""
    lines = STUDY.read_text(encoding="utf-8").splitlines()
    (tmp_path / "hole.csv").write_text("\n".join(lines[:-1]) + "\n", encoding="utf-8")
    text = _typed(capsys, "gauge-study", str(tmp_path / "hole.csv"), code=2)
    assert "part L6 by Cem has 2" in text


def test_capability_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """Indices with what is shown at least, in text and as JSON."""
    words = ("capability", str(RUN), "--low", "11.15 mm", "--high", "11.40 mm")
    assert "at least (95 %)" in _typed(capsys, *words)
    answer = _answer(capsys, *words)
    assert answer["schema"] == "firstpull/capability/1"
    assert [index["name"] for index in answer["indices"]] == ["Cp", "Cpk", "Pp", "Ppk"]
    assert all(index["at_least"] < index["value"] for index in answer["indices"])


@pytest.mark.parametrize(
    ("words", "where"),
    [
        (("capability", str(RUN)), "low"),
        (("capability", str(RUN), "--high", "11.4"), "--high"),
        (("capability", str(RUN), "--low", "12 mm", "--high", "11 mm"), "low"),
        (("capability", str(RUN), "--low", "11 mm", "--group-size", "7"), "group_size"),
        (("capability", "nowhere.csv", "--low", "11 mm"), "nowhere.csv"),
        (("gauge-study", str(RUN)), f"{RUN} row 1"),
        (("gauge-study", str(STUDY), "--confidence", "2"), "confidence"),
    ],
)
def test_what_cannot_be_done_is_said(words: tuple[str, ...], where: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each fault ends with 2, names its place and says what would be right."""
    error = _answer(capsys, *words, code=2)["error"]
    assert error["where"] == where
    assert error["what"]
    assert error["hint"]


END_GAUGE = ROOT / "examples" / "end_gauge.toml"


def test_a_budget_from_a_file(capsys: pytest.CaptureFixture[str]) -> None:
    """The end gauge of JCGM 100 H.1: u 32 nm, 16 degrees of freedom, 2.92, and table H.1; the simulation beside it."""
    found = _answer(capsys, "budget", str(END_GAUGE))
    assert found["schema"] == "firstpull/uncertainty-budget/1"
    assert found["value"] == pytest.approx(50_000_838, abs=0.5)
    assert found["standard_uncertainty"] == pytest.approx(32, abs=0.5)
    assert found["degrees_of_freedom"] == 16
    assert found["coverage_factor"] == pytest.approx(2.92, abs=0.005)
    printed = {"standard": 25, "difference": 9.7, "alpha": 0, "theta": 0, "d_alpha": 2.9, "d_theta": 16.6}
    assert {line["name"]: line["contribution"] for line in found["lines"]} == pytest.approx(printed, abs=0.09)
    assert found["simulation"]["trials"] > 10_000
    assert found["simulation"]["standard_uncertainty"] == pytest.approx(34, abs=0.5)  # with the second-order terms
    text = _typed(capsys, "budget", str(END_GAUGE))
    assert "k = 2.921" in text
    assert "believe the simulation" in text


def test_a_budget_for_a_gauge(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A gauge without a study: its limit of error and step, and warm aluminium corrected to 20 °C."""
    from firstpull.jobs.look_after import add_gauge
    from firstpull.jobs.workshop import Doing, Workshop

    workshop = Workshop(tmp_path / "shop")
    add_gauge(workshop.bench, "C1", "Caliper 1", doing=Doing("Ada"), resolution_mm=0.01, error_mm=0.03)
    workshop.close()
    shop = ("--data", str(tmp_path / "shop"))
    words = ("budget", "--gauge", "C1", "--length", "100 mm", "--part", "aluminium", "--room", "30")
    found = _answer(capsys, *shop, *words)
    assert found["correction"] == pytest.approx(-0.0115, abs=1e-9)
    assert {line["name"] for line in found["lines"]} >= {"limit of error", "resolution", "part less gauge"}
    assert "no gauge study counts" in _typed(capsys, *shop, *words)


def test_a_budget_of_nothing_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """Neither a file nor a gauge, or both."""
    assert "A file, or a gauge" in _typed(capsys, "budget", code=2)
    assert "A file, or a gauge" in _typed(capsys, "budget", str(END_GAUGE), "--gauge", "C1", code=2)


def test_one_person_shows_repeatability_only(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """By hand: pairs 0.02 apart have the sd 0.02/√2; there is no reproducibility in the answer, and it is said."""
    rows = [f"{part},Ada,{11 + part / 10 + step:.2f}" for part in range(1, 6) for step in (0.0, 0.02)]
    file = tmp_path / "alone.csv"
    file.write_text("part,appraiser,reading [mm]\n" + "\n".join(rows) + "\n", encoding="utf-8")
    found = _answer(capsys, "gauge-study", str(file))
    assert set(found["components"]) == {"repeatability", "part", "total"}
    assert found["components"]["repeatability"]["sd_mm"] == pytest.approx(0.02 / 2**0.5, rel=1e-9)
    assert "One person only" in _typed(capsys, "gauge-study", str(file), "--tolerance", "0.2 mm")


def test_the_guided_studies_of_a_gauge(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Every study with its result and whether it counts; without any it says so."""
    from firstpull.jobs import gauge_studies
    from firstpull.jobs.look_after import add_gauge
    from firstpull.jobs.workshop import Doing, Workshop
    from firstpull.units import parse_length

    workshop, ada = Workshop(tmp_path / "shop"), Doing("Ada")
    add_gauge(workshop.bench, "C1", "Caliper 1", doing=ada)
    add_gauge(workshop.bench, "C2", "Caliper 2", doing=ada)
    plan = gauge_studies.StudyPlan("set length", ("Ada",), ("1", "2"), 2)
    study = gauge_studies.begin_study(workshop.bench, "C1", plan, doing=ada)
    for slot in study.slots:
        value = parse_length(f"{11 + int(slot.part) / 10 + slot.round / 100:.2f} mm")
        gauge_studies.take_reading(workshop.bench, "C1", 1, slot=slot.number, reading=value, doing=ada)
    gauge_studies.finish_study(workshop.bench, "C1", 1, doing=ada)
    workshop.close()
    shop = ("--data", str(tmp_path / "shop"))
    found = _answer(capsys, *shop, "gauge-study", "--gauge", "C1")
    assert found["schema"] == "firstpull/gauge-studies/1"
    assert found["studies"][0]["counts"]
    assert found["scatter"]["sd_mm"] == pytest.approx(0.01 / 2**0.5, rel=1e-9)
    assert "study 1" in found["uncertainty"]["source"]
    assert "4 of 4" in _typed(capsys, *shop, "gauge-study", "--gauge", "C1")
    assert "No study yet." in _typed(capsys, *shop, "gauge-study", "--gauge", "C2")
    assert "A file, or a gauge" in _typed(capsys, "gauge-study", code=2)

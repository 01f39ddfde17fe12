"""“firstpull choose”: the table, hole, screw and torque, in text and JSON, the same each time."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from firstpull.cli import main

ROOT = Path(__file__).resolve().parents[2]
JOB, TABLE = ROOT / "examples" / "job.toml", ROOT / "src" / "firstpull" / "jobs" / "demo" / "inserts.csv"


def run(capsys: pytest.CaptureFixture[str], folder: Path, *words: str) -> str:
    """What the command prints."""
    with pytest.raises(SystemExit) as ended:
        main(["--data", str(folder / "data"), "choose", str(JOB), "--catalogue", str(TABLE), *words])
    assert not ended.value.code
    return capsys.readouterr().out


def test_the_answer_has_every_check_and_is_the_same_each_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each candidate has its table, hole, screw and torque; two runs agree to the letter."""
    first = run(capsys, tmp_path, "--json")
    assert first == run(capsys, tmp_path, "--json")
    answer = json.loads(first)
    margins = [found["tightest"]["margin"] for found in answer["candidates"]]
    assert margins == sorted(margins, reverse=True)
    for found in answer["candidates"]:
        assert {"demand", "capacity", "margin", "source", "probability", "estimate"} <= set(found["checks"][0])
        assert {"screw proof", "pull-out", "torque-to-turn", "jack-out"} <= {check["name"] for check in found["checks"]}
        assert all(check["source"] for check in found["checks"] if check["margin"] is not None)
        assert found["hole"]["go_mm"] <= found["hole"]["no_go_mm"]
        assert found["screw"]["engaged_diameters"] >= 1
        assert found["tightening"]["torque_nm"] == 5.0
    assert all(left["reason"] and left["cure"] for left in answer["rejected"])


def test_the_text_is_a_table_with_hole_screw_and_torque(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The words of the bench stand in the text, and the notes."""
    text = run(capsys, tmp_path, "--tables", "2")
    for words in ("worst margin", "chance it holds", "estimate;", "Hole", "Screw", "Torque", "Do not suit", "pins: go"):
        assert words in text

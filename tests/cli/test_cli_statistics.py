"""``firstpull stats``: what it answers, in the JSON names of docs/how-to/statistics.md, and what it refuses."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

import firstpull.statistics
from firstpull.cli import main
from firstpull.cli.statistics_group import stats

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "how-to" / "statistics.md").read_text(encoding="utf-8")
RUN = str(ROOT / "examples" / "set_lengths.csv")
STUDY = str(ROOT / "examples" / "gauge_study.csv")
LIVES = ["--failed", "54 187 216", "--failed", "240", "--running", "500x10"]


def _typed(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> str:
    with pytest.raises(SystemExit) as ended:
        main(["stats", *words])
    out = capsys.readouterr()
    assert int(ended.value.code or 0) == code, out.out + out.err
    return out.out


def _answer(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(_typed(capsys, *words, "--json", code=code))
    return found


@pytest.fixture
def sheet(tmp_path: Path) -> Any:
    """Writes lines as a file and gives its name."""

    def write(*lines: str) -> str:
        path = tmp_path / "table.csv"
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return str(path)

    return write


ASKED: dict[str, tuple[str, ...]] = {
    "factor": ("factor", "--n", "10"),
    "interval": ("interval", RUN, "--low", "11.15"),
    "success-run": ("success-run", "--reliability", "0.95"),
    "shown": ("shown", "--passed", "5"),
    "plan": ("plan",),
    "measured-plan": ("measured-plan", "--reliability", "0.95"),
    "conforms": ("conforms", "--value", "11.2", "--u", "0.01", "--low", "11.15", "--high", "11.4"),
    "constants": ("constants", "--n", "5"),
    "chart": ("chart", "individuals", RUN),
    "run-length": ("run-length", "1", "2", "3", "4"),
    "capability": ("capability", RUN, "--low", "11.15", "--high", "11.4", "--target", "11.27"),
    "gauge-study": ("gauge-study", STUDY, "--tolerance", "0.2"),
    "weibull": ("weibull", *LIVES),
    "weibull-stated-shape": ("weibull", "--running", "1000x5", "--shape", "2"),
}


@pytest.mark.parametrize("name", ASKED)
def test_names_are_those_of_the_page(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The schema is ``firstpull/stats-…/1`` and every JSON name stands on the page; the text holds numbers too."""
    answer = _answer(capsys, *ASKED[name])
    assert answer["schema"] == f"firstpull/stats-{name}/1"
    assert f"`{answer['schema']}`" in PAGE
    missing = [key for key in answer if key != "schema" and f"`{key}`" not in PAGE]
    assert missing == []
    assert re.search(r"\d", _typed(capsys, *ASKED[name]))


def test_every_command_is_shown_and_asked() -> None:
    """No command without its place on the page and in this test."""
    asked = {words[0] for words in ASKED.values()} | {"groups"}
    assert set(stats.commands) == asked
    assert [name for name in stats.commands if f"firstpull stats {name}" not in PAGE] == []


def test_every_python_name_is_on_the_page() -> None:
    """What can be imported from firstpull.statistics is listed there."""
    assert [name for name in firstpull.statistics.__all__ if f"`{name}`" not in PAGE] == []
    assert all(getattr(firstpull.statistics, name) is not None for name in dir(firstpull.statistics))
    assert dir(firstpull.statistics) == sorted(firstpull.statistics.__all__)


def test_numbers_that_are_known(capsys: pytest.CaptureFixture[str]) -> None:
    """3.981 and 4.437 for ten; 59; 54.9 %; d2 2.326; once in 91.75; 0.939 and 1.205 of the handbook's plan."""
    factors = _answer(capsys, *ASKED["factor"])
    assert (round(factors["one_sided"], 3), round(factors["two_sided"], 3)) == (3.981, 4.437)
    assert _answer(capsys, *ASKED["success-run"])["coupons"] == 59
    assert _answer(capsys, *ASKED["shown"])["reliability_at_least"] == pytest.approx(0.549, abs=5e-4)
    assert _answer(capsys, *ASKED["constants"])["constants"]["d2"] == pytest.approx(2.326, abs=5e-4)
    assert _answer(capsys, *ASKED["run-length"])["run_length"] == pytest.approx(91.75, abs=0.005)
    plan = _answer(capsys, "plan", "--good", "0.99", "--reliability", "0.9", "--confidence", "0.9", "--lines-only")
    assert (round(plan["accept_at"], 3), round(plan["reject_at"], 3)) == (0.939, 1.205)
    assert [index["name"] for index in _answer(capsys, *ASKED["capability"])["indices"]][-1] == "Cpm"


def test_charts_of_every_kind(capsys: pytest.CaptureFixture[str], sheet: Any) -> None:
    """Subgroups by row or by size, charts with a memory, and counts."""
    rows = sheet("a,b,c", "1.0,1.2,1.1", "1.1,0.9,1.0", "1.3,1.2,1.1")
    assert _answer(capsys, "chart", "range", rows)["n"] == 3
    assert _answer(capsys, "chart", "sd", rows)["kind"] == "sd"
    assert _answer(capsys, "chart", "range", RUN, "--size", "5")["n"] == 5
    assert _answer(capsys, "chart", "ewma", RUN)["false_alarms"]["ewma"] == pytest.approx(559.9, abs=0.1)
    assert _answer(capsys, "chart", "cusum", RUN)["false_alarms"]["cusum"] == pytest.approx(465.4, abs=0.1)
    counts = sheet("bad,size", "12,50", "15,50", "8,50")
    assert _answer(capsys, "chart", "p", counts)["centre"] == pytest.approx(35 / 150)
    assert _answer(capsys, "chart", "u", counts)["kind"] == "u"
    assert _answer(capsys, "chart", "c", counts)["upper"][0] == pytest.approx(35 / 3 + 3 * (35 / 3) ** 0.5)
    assert _answer(capsys, "run-length", "ewma", "--shift", "1")["run_length"] < 15
    assert _answer(capsys, "run-length", "cusum", "--shift", "1")["run_length"] == pytest.approx(10.4, abs=0.05)


def test_groups_and_lives_from_a_file(capsys: pytest.CaptureFixture[str], sheet: Any) -> None:
    """Two groups of values are compared by F, two groups of lives by likelihood."""
    values = sheet("group,value", "a,1", "a,2", "a,3", "b,4", "b,5", "b,6")
    assert _answer(capsys, "groups", values)["f"] == pytest.approx(13.5, rel=1e-12)
    lives = [f"{100 + 10 * k};failed;old" for k in range(8)] + [f"{300 + 30 * k};failed;new" for k in range(8)]
    answer = _answer(capsys, "weibull", sheet("life;state;group", *lives, "400;running;new"))
    assert answer["schema"] == "firstpull/stats-weibull-comparison/1"
    assert answer["groups"] == ["old", "new"]
    assert answer["differ"] is True


@pytest.mark.parametrize(
    ("lines", "words", "where"),
    [
        (("value", "1", "x", "3"), ("interval",), "row 3, column “value”"),
        (("value", "1", "", "nan"), ("interval",), "row 4, column “value”"),
        (("a,b", "1,2", "3,"), ("chart", "range"), "row 3, column “b”"),
        (("life,state", "1,failed", "2,lost"), ("weibull",), "row 3, column “state”"),
        (("a,b", "1,2"), ("interval",), ""),
        (("value",), ("interval",), ""),
        (("bad,size", "1.5,4"), ("chart", "p"), "count"),
        (("group,value", "a,1", "b,2"), ("groups",), "groups"),
        (("value", "1", "2", "3"), ("chart", "range", "--size", "2"), "size"),
    ],
)
def test_faults_are_told_by_place(
    lines: tuple[str, ...], words: tuple[str, ...], where: str, capsys: pytest.CaptureFixture[str], sheet: Any
) -> None:
    """File, row and column, with what would be right; exit 2."""
    name = sheet(*lines)
    at = 2 if words[0] == "chart" else 1
    error = _answer(capsys, *words[:at], name, *words[at:], code=2)["error"]
    assert where in error["where"]
    assert error["what"]
    assert error["hint"]


@pytest.mark.parametrize(
    "words",
    [
        ("factor", "--n", "1"),
        ("run-length", "5", "10"),
        ("run-length", "what"),
        ("run-length", "²"),
        ("weibull", "--failed", "5x²"),
        ("weibull",),
        ("weibull", "--failed", "many"),
        ("measured-plan", "--good", "0.9"),
        ("conforms", "--value", "1", "--u", "0.1"),
        ("capability", RUN),
        ("chart", "ewma", RUN, "--weight", "2"),
        ("nothing",),
    ],
)
def test_what_cannot_be_reckoned_is_said(words: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    """Each ends with 2 and says what would be right."""
    assert _answer(capsys, *words, code=2)["error"]["hint"]

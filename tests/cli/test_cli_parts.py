"""Commands about parts as a person types them: which one is it, and how few will do."""

from __future__ import annotations

import json
import shutil
import signal
from pathlib import Path
from typing import Any

import pytest

from firstpull.cli import main
from firstpull.jobs import standardise as verb
from firstpull.mechanics.cover import Progress

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


class Shell:
    """Types commands beside the example files, with a data folder of its own."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder = folder
        self.capsys = capsys

    def run(self, *words: str, code: int = 0) -> tuple[str, str]:
        with pytest.raises(SystemExit) as ended:
            main(["--data", str(self.folder / "data"), "--by", "Ada", *words])
        out = self.capsys.readouterr()
        assert (ended.value.code or 0) == code, out
        assert "Traceback" not in out.out + out.err
        return out.out, out.err

    def json(self, *words: str, code: int = 0) -> Any:
        return json.loads(self.run(*words, "--json", code=code)[0])


@pytest.fixture
def shell(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Shell:
    for example in EXAMPLES.iterdir():
        shutil.copy(example, tmp_path)
    monkeypatch.chdir(tmp_path)
    return Shell(tmp_path, capsys)


def test_identify_says_the_row_and_what_to_measure_next(shell: Shell) -> None:
    """Plain words first, then the rows with their chances, then “none of these”."""
    out, _err = shell.run("identify", "--thread", "M6", "--free-length", "15.5 mm", "--catalogue", "inserts.csv")
    assert out.startswith("Most likely EX-M6-30 (9")
    assert "none of these" in out
    assert "0.50 to 3.00 mm" in out


def test_identify_answers_as_json(shell: Shell) -> None:
    """The schema is named, the chances make one, and each thing not yet seen stands with what it tells."""
    found = shell.json("identify", "--thread", "M6", "--catalogue", "inserts.csv")
    assert found["schema"] == "firstpull/identify/1"
    total = sum(row["probability"] for row in found["candidates"])
    assert total + found["others_probability"] + found["none_probability"] == pytest.approx(1)
    assert found["next"]["measurement"] == "free_length"
    assert len(found["measurements"]) == 7
    assert found["verdict"] == "several"


def test_identify_in_inches_gives_the_same_chances(shell: Shell) -> None:
    """15.5 mm typed as inches is the same reading to the last digit that a caliper shows."""
    rows = [
        shell.json("identify", "--free-length", text, "--unit", unit, "--catalogue", "inserts.csv")["candidates"]
        for text, unit in (("15.494 mm", "mm"), ("0.61", "in"))
    ]
    assert [row["probability"] for row in rows[0]] == [row["probability"] for row in rows[1]]


def test_identify_takes_the_error_of_a_gauge_of_the_shop(shell: Shell) -> None:
    """A coarse gauge of the shop widens the doubt; an unknown one is refused with near names."""
    shell.run("gauge", "add", "RULE", "--name", "Steel rule", "--error", "0.5 mm")
    words = ("identify", "--free-length", "15.7 mm", "--catalogue", "inserts.csv")
    fine, coarse = (shell.json(*words, *more)["none_probability"] for more in ((), ("--gauge", "RULE")))
    assert coarse != fine
    refused = shell.json(*words, "--gauge", "RULER", code=2)
    assert "RULE" in refused["error"]["hint"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "Nothing is known"),
        (("--thread", "M66"), "M66"),
        (("--free-length", "15,5,5"), "free-length"),
        (("--marks", "99"), "head_marks"),
    ],
)
def test_identify_refuses_in_our_words(shell: Shell, words: tuple[str, ...], said: str) -> None:
    """Nothing given, an unknown thread, and values that cannot be end with code 2."""
    _out, err = shell.run("identify", *words, "--catalogue", "inserts.csv", code=2)
    assert said in err


def test_identify_with_an_empty_catalogue_says_what_to_do(shell: Shell) -> None:
    """A shop without a catalogue is told to import one."""
    assert "catalogue is empty" in shell.run("identify", "--thread", "M6", code=2)[1]


def test_standardise_says_who_takes_what_at_which_price(shell: Shell) -> None:
    """Two joints, one part number, each with its margin, and that nothing smaller exists."""
    out, err = shell.run("standardise", "job.toml", "rack.toml", "--catalogue", "inserts.csv")
    assert out.startswith("1 part number serves 2 joints")
    assert "Rack foot" in out
    assert "EX-M6-30, its own best" in out
    assert "Proven: no smaller set" in out
    assert err == ""


def test_standardise_answers_as_json(shell: Shell) -> None:
    """The schema is named, each joint has its part and price, and who is not served has a cure."""
    found = shell.json("standardise", "job.toml", "rack.toml", "--catalogue", "inserts.csv", "--min-margin", "0.4")
    assert found["schema"] == "firstpull/standardise/1"
    assert found["proven"] is True
    assert found["counts"]["inserts"] == found["counts"]["least_inserts"] == 1
    assert found["inserts"] == [{"part": "EX-M6-30", "thread": "M6", "joints": ["Battery tray lid"]}]
    lid = found["joints"][0]
    assert (lid["price"], lid["tightest"], lid["estimate"]) == (0, "tool stroke", False)
    assert lid["worst_margin"] == lid["margin"] == pytest.approx(0.47, abs=0.005)
    assert "torque-to-turn" in lid["not_checked"]
    assert found["not_served"][0]["joint"] == "Rack foot"
    assert "Accept 32 % for it" in found["not_served"][0]["cure"]


def test_standardise_reads_loads_screw_and_edges(shell: Shell) -> None:
    """With a load that the inserts' thread does not bear nothing serves, and the reason is one of strength."""
    text = (shell.folder / "job.toml").read_text("utf-8").replace('"600 N"', '"9 kN"')
    (shell.folder / "heavy.toml").write_text(text, encoding="utf-8")
    found = shell.json("standardise", "heavy.toml", "--catalogue", "inserts.csv")
    assert "would part the joint" in found["not_served"][0]["reason"]
    near = text.replace('"9 kN"', '"600 N"').replace('edge = "20 mm"', 'edge = "17 mm"')
    (shell.folder / "near.toml").write_text(near, encoding="utf-8")
    rows = (shell.folder / "inserts.csv").read_text("utf-8").splitlines()
    rows = [rows[0] + ",hole_diameter [mm]", *(row + ",8.2" for row in rows[1:])]
    (shell.folder / "holes.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    edge = shell.json("standardise", "near.toml", "--catalogue", "holes.csv", "--min-margin", "0.02")
    assert edge["joints"][0]["tightest"] == "edge distance"
    assert edge["joints"][0]["margin"] == pytest.approx(1 - 16.4 / 17, abs=1e-6)


def test_standardise_can_ask_for_estimates_at_their_worst(shell: Shell) -> None:
    """“--estimates worst” is understood; another word is refused."""
    words = ("standardise", "rack.toml", "--catalogue", "inserts.csv", "--estimates")
    assert shell.json(*words, "worst")["proven"] is True
    assert "hoped" in shell.run(*words, "hoped", code=2)[1]


def test_standardise_names_the_tool_of_the_shop(shell: Shell) -> None:
    """A tool by its id sets the joints that it can; an unknown one is refused."""
    shell.run("tool", "add", "T1", "--name", "Bench tool", "--lead", "0.5 mm", "--stroke-max", "8 mm")
    words = ("standardise", "job.toml", "--catalogue", "inserts.csv")
    found = shell.json(*words, "--tool", "T1")
    assert found["tools"] == ["T1"]
    assert found["joints"][0]["tool"] == "T1"
    assert "T9" in shell.run(*words, "--tool", "T9", code=2)[1]


def test_standardise_tells_joints_of_one_title_apart(shell: Shell) -> None:
    """Two files with the same title are named by their file as well."""
    shutil.copy(shell.folder / "rack.toml", shell.folder / "rack2.toml")
    found = shell.json("standardise", "rack.toml", "rack2.toml", "--catalogue", "inserts.csv")
    assert [row["joint"] for row in found["joints"]] == ["Rack foot (rack.toml)", "Rack foot (rack2.toml)"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("missing.toml",), "missing.toml"),
        (("job.toml", "--min-margin", "1.5"), "min_margin"),
        (("job.toml", "--time-limit", "0"), "time_limit"),
        (("inserts.csv",), "inserts.csv"),
        (("job.toml", "job.toml"), "Two joints"),
        (("bare.toml",), "needs.thread"),
    ],
)
def test_standardise_refuses_in_our_words(shell: Shell, words: tuple[str, ...], said: str) -> None:
    """A file that is not there or no job, a margin or time that is none, and the same file twice end with code 2."""
    bare = '[[stack.layer]]\nmaterial = "EN AW-5754"\nthickness = "2 mm"\n'
    (shell.folder / "bare.toml").write_text(bare, encoding="utf-8")
    _out, err = shell.run("standardise", *words, "--catalogue", "inserts.csv", code=2)
    assert said in err


def test_ctrl_c_gives_the_best_so_far(shell: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C while the search is on ends with an answer that is not called proven; afterwards Ctrl-C is what it was."""
    usual = signal.getsignal(signal.SIGINT)
    whole = verb.standardise_among

    def interrupted(*given: Any, progress: Any, **more: Any) -> Any:
        def press(step: Progress) -> None:
            progress(step)
            if step.step == "items":
                signal.raise_signal(signal.SIGINT)

        return whole(*given, progress=press, **more)

    monkeypatch.setattr(verb, "standardise_among", interrupted)
    extra = (
        (shell.folder / "inserts.csv")
        .read_text("utf-8")
        .replace("EX-M6-30,", "EX-M6-31,")
        .replace(",0.5,3.0", ",0.6,3.2")
    )
    rows = (shell.folder / "inserts.csv").read_text("utf-8") + extra.splitlines()[1] + "\n"
    (shell.folder / "inserts.csv").write_text(rows, encoding="utf-8")
    found = shell.json("standardise", "job.toml", "rack.toml", "--catalogue", "inserts.csv")
    assert found["proven"] is False
    assert len(found["joints"]) == 2
    assert found["notes"][0].startswith("Stopped: fewer part numbers cannot do")
    assert signal.getsignal(signal.SIGINT) == usual

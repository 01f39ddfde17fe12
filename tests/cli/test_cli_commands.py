"""The commands as a person types them: the whole job, answers in JSON, exit codes, and no trace ever."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from firstpull.cli import main
from firstpull.jobs import practice_bench
from workshop_example import ADA, open_workshop, simulated

JOB = """
[job]
title = "Battery tray lid"
part = "tray 1"
[[stack.layer]]
material = "EN AW-5754"
thickness = "2.0 mm"
tolerance = "0.09 mm"
[[stack.layer]]
material = "powder coat"
thickness = "0.08 mm"
faces = 2
[stack]
measured = ["2.16 mm", "2.17 mm", "2.15 mm", "2.16 mm", "2.16 mm"]
gauge_error = "0.01 mm"
[insert]
thread = "M6x1"
material = "steel"
length_free = "15.5 mm"
flange_thickness = "1.2 mm"
thread_length = "6.8 mm"
grip_min = "0.5 mm"
grip_max = "3.0 mm"
set_allowance = "3.4 mm"
set_allowance_min = "3.2 mm"
set_allowance_max = "3.6 mm"
setting_load = "9 kN"
tightening_torque_max = "8 Nm"
end = "open"
"""


class Shell:
    """Types commands into a workshop of its own."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder = folder
        self.capsys = capsys
        (folder / "job.toml").write_text(JOB, encoding="utf-8")

    def run(self, *words: str, by: str = "Ada", code: int = 0) -> str:
        with pytest.raises(SystemExit) as ended:
            main(["--data", str(self.folder / "data"), "--by", by, *words])
        out = self.capsys.readouterr()
        assert (ended.value.code or 0) == code, out
        assert "Traceback" not in out.out + out.err
        return out.out + out.err

    def json(self, *words: str, code: int = 0) -> Any:
        return json.loads(self.run(*words, "--json", code=code))


@pytest.fixture
def shell(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Shell:
    return Shell(tmp_path, capsys)


def follow(shell: Shell, job: str) -> None:
    """Do what the answers say, on the simulated tool, until the advice is to hold."""
    tool = simulated()
    state = shell.json("show", job)
    for _act in range(60):
        reply = state["advice"] or {"action": "pull"}
        if reply["action"] == "pull":
            where = reply.get("where", "air")
            before, reading = f"{tool.next_length_before_mm:.2f}", f"{tool.pull(where).reading_mm:.2f}"
            state = shell.json("pull", job, reading, "--before", before, "--where", where)
        elif reply["action"] == "turn":
            cycles = int(reply.get("dry_cycles") or 0)
            tool.turn_clicks(reply["clicks"])
            for _cycle in range(cycles):
                tool.dry_cycle()
            state = shell.json("turn", job, "--clicks", str(reply["clicks"]), "--cycles", str(cycles))
        elif reply["action"] == "dry_cycle":
            tool.dry_cycle()
            state = shell.json("cycle", job)
        elif reply["action"] == "remeasure":
            state = shell.json("again", job, f"{tool.pulls[-1].read_again(len(state['pulls'][-1]['typed'])):.2f}")
        else:
            assert reply["action"] == "release", reply
            return
    raise AssertionError("the advice did not end")


def test_the_whole_job_by_commands_alone(shell: Shell) -> None:
    """From a job file to a released card in PDF and a checked run, without a browser."""
    shell.run(
        *("tool", "add", "T1", "--lead", "0.5 mm", "--clicks", "12", "--stroke-max", "8 mm", "--load-max", "14 kN"),
        *("--rated-pressure", "6.2 bar", "--line-pressure", "6.2 bar", "--mandrel", "M6-a:M6:20000"),
    )
    shell.run("gauge", "add", "C1", "--name", "Caliper 1")
    job = shell.json("open", str(shell.folder / "job.toml"), "--tool", "T1")["job"]
    state = shell.json("fit", job, "T1", "--mandrel", "M6-a", "--gauge", "C1")
    assert state["setting"]["stroke_mm"] == pytest.approx(4.24, abs=1e-9)  # 3.0 − 2.16 + 3.4, by hand
    shell.run("done", job, "air_off", "mandrel", "engagement", "anvil", "knob", "air_on")
    assert "Released" not in shell.run("release", job, code=3)
    follow(shell, job)
    shell.run("hold", job)
    shell.run("pull", job, "11.15")
    for length in ("11.26", "11.27", "11.25"):
        coupon = ("--coupon", "--set-length", length, "--thickness", "2.16", "--cut", "pass")
        shell.run("prove", job, *coupon, "--torque", "12 Nm", "--arrangement", "flange")
    assert shell.json("prove", job)["passed"]
    assert "hash" in shell.run("release", job)
    card = shell.folder / "card.pdf"
    shell.run("card", job, "-o", str(card), "--size", "A4")
    assert card.read_bytes().startswith(b"%PDF")
    assert shell.json("card", job)["schema"] == "firstpull/card/1"
    assert "IN CONTROL" in shell.run("check", job, "tool", "--count", "1", "--length", "11.15")
    assert "STOP" in shell.run("check", job, "tool", "--count", "50", "--length", "11.9")
    assert shell.json("show", job)["status"] == "stopped"
    assert "whole" in shell.run("verify")


def test_the_allowance_is_found_by_commands(shell: Shell) -> None:
    """A ladder of coupons from short upward gives the allowance, and a window proven from both ends."""
    text = JOB.replace('set_allowance = "3.4 mm"\n', "").replace('set_allowance_min = "3.2 mm"\n', "")
    text = text.replace('set_allowance_max = "3.6 mm"\n', "")
    (shell.folder / "job.toml").write_text(text, encoding="utf-8")
    job = shell.json("open", str(shell.folder / "job.toml"))["job"]
    shell.run("ladder", job, "--take", code=3)
    for length, failed in (("11.6", "turn"), ("11.4", ""), ("11.2", ""), ("11.0", ""), ("10.8", "thread_gauge")):
        shell.run("ladder", job, "--set-length", length, *(("--fail", failed) if failed else ()))
    assert "Read it again" in shell.run("ladder", job, "--set-length", "0.44", code=2)
    found = shell.json("ladder", job, "--take")
    assert found["closed_below"]
    assert found["closed_above"]
    # strokes 4.1 to 4.5 passed at 2.16 mm; the readings spread 2.15 to 2.17 with 1.96·√(0.01²/3 + 0.01²/12) on each side
    assert found["window"]["stroke_min"]["nm"] == pytest.approx(4_122_652, abs=10)
    assert found["window"]["stroke_max"]["nm"] == pytest.approx(4_477_348, abs=10)
    assert found["allowance"]["value"]["nm"] == 3_460_000  # 4.3 − (3.0 − 2.16), by hand


def test_slips_are_asked_about(shell: Shell) -> None:
    """A free length in inches typed as mm is asked about; --sure keeps it."""
    job = shell.json("open", str(shell.folder / "job.toml"))["job"]
    assert "read in the other unit?" in shell.run("pull", job, "11.3", "--before", "0.61", code=2)
    assert not shell.json("show", job)["pulls"]
    state = shell.json("pull", job, "11.3", "--before", "0.61", "--sure")
    assert state["pulls"][0]["length_before_mm"] == pytest.approx(0.61, abs=1e-9)


def test_own_releases_are_asked_for_by_name(shell: Shell) -> None:
    """--allowance own is refused while the part has no release; a length is taken as typed."""
    shell.run("tool", "add", "T1", "--lead", "0.5 mm", "--clicks", "12", "--stroke-max", "8 mm")
    job = shell.json("open", str(shell.folder / "job.toml"))["job"]
    shell.run("fit", job, "T1", "--allowance", "own", code=2)
    setting = shell.json("fit", job, "T1", "--allowance", "3.5 mm")["setting"]
    assert (setting["set_allowance_mm"], setting["set_allowance_source"]) == (3.5, "typed")


def test_what_is_overdue_is_said_by_commands(shell: Shell) -> None:
    """A gauge never checked on a block is said where the job is shown."""
    shell.run("tool", "add", "T1", "--lead", "0.5 mm", "--clicks", "12", "--stroke-max", "8 mm")
    shell.run("gauge", "add", "C1", "--name", "Caliper 1")
    job = shell.json("open", str(shell.folder / "job.toml"))["job"]
    assert "never checked" in shell.json("fit", job, "T1", "--gauge", "C1")["overdue"][0]
    assert "never checked" in shell.run("show", job)


def test_release_without_proof_is_refused(shell: Shell) -> None:
    """The command says every reason and exits with 3."""
    job = shell.json("open", str(shell.folder / "job.toml"))["job"]
    error = shell.json("release", job, code=3)["error"]
    assert error["reasons"]
    assert shell.json("card", job, code=3)["error"]["what"]


def test_setting_answers_with_the_documented_names(shell: Shell) -> None:
    """``firstpull setting`` needs no record and gives each name of its interface."""
    found = shell.json("setting", str(shell.folder / "job.toml"))
    names = [
        "stroke_mm",
        "stroke_min_mm",
        "stroke_max_mm",
        "set_length_mm",
        "set_length_min_mm",
        "set_length_max_mm",
        "set_protrusion_mm",
        "thickness_mm",
        "thickness_low_mm",
        "thickness_high_mm",
        "unused_grip_mm",
        "set_allowance_mm",
        "set_allowance_source",
        "window_source",
        "warnings",
        "cautions",
        "steps",
        "schema",
    ]
    assert set(names) <= set(found)
    assert found["set_length_mm"] == pytest.approx(11.26, abs=1e-9)
    assert not (shell.folder / "data" / "record.sqlite").exists()


def test_a_stack_outside_the_grip_exits_with_3(shell: Shell) -> None:
    """Understood, but not safe: exit 3 with the reasons."""
    thick = JOB.replace('measured = ["2.16 mm", "2.17 mm", "2.15 mm", "2.16 mm", "2.16 mm"]', "").replace(
        '"2.0 mm"', '"3.4 mm"'
    )
    (shell.folder / "thick.toml").write_text(thick, encoding="utf-8")
    assert shell.json("setting", str(shell.folder / "thick.toml"), code=3)["error"]["reasons"]


@pytest.mark.parametrize(
    ("change", "where"),
    [
        (("2.0 mm", "16 ga"), "stack.layer[1].thickness"),
        (("2.0 mm", "1.5"), "stack.layer[1].thickness"),
        (("thread =", "threat ="), "insert"),
    ],
)
def test_bad_input_names_its_place(shell: Shell, change: tuple[str, str], where: str) -> None:
    """A bad job file exits with 2 and says file, field and what would be right."""
    (shell.folder / "bad.toml").write_text(JOB.replace(*change, 1), encoding="utf-8")
    error = shell.json("setting", str(shell.folder / "bad.toml"), code=2)["error"]
    assert where in error["where"]
    assert "bad.toml" in error["where"]
    assert error["hint"]


@pytest.mark.parametrize(
    "words",
    [
        ("nonsense",),
        ("show",),
        ("show", "no-such-job"),
        ("pull", "no-such-job", "11.2"),
        ("setting", "no-such-file.toml"),
        ("catalogue", "import", "no-such-file.csv"),
        ("lookup", "thread", "M99"),
        ("lookup", "sheet", "16 ga"),
        ("check", "x", "nonsense", "--count", "1"),
        ("restore", "no-such-backup.sqlite"),
        ("import", "no-such-export.jsonl"),
    ],
)
def test_bad_commands_exit_with_2(shell: Shell, words: tuple[str, ...]) -> None:
    """Whatever is wrong with a command, it says so in one shape and exits with 2."""
    error = shell.json(*words, code=2)["error"]
    assert set(error) >= {"what", "where", "hint"}


def test_lookup_answers(shell: Shell) -> None:
    """Threads, gauges and drills are looked up by their usual names."""
    thread = shell.json("lookup", "thread", "M6x1")
    assert thread["stress_area_mm2"] == pytest.approx(20.1, abs=0.05)  # ISO 898-1:2013 table 4
    sheet = shell.json("lookup", "sheet", "16 ga steel")
    assert sheet["thickness_in"] == pytest.approx(0.0598, abs=0.00005)  # Manufacturers' Standard gauge, 2.5/41.82
    assert shell.json("lookup", "drill", "#7")["diameter_in"] == pytest.approx(0.201, abs=0.00005)


def test_who_is_asked(shell: Shell) -> None:
    """Nothing is written without a name."""
    assert "Who" in shell.run("tool", "add", "T1", by="", code=2)


def test_catalogue_round_trip(shell: Shell) -> None:
    """Export of the catalogue and import of the same file changes nothing."""
    table = "part,thread,end,length_free [mm],grip_min [mm],grip_max [mm]\nA-1,M6,open,15.5,0.5,3.0\nA-2,M6,ajar,15.5,0.5,3.0\n"
    (shell.folder / "inserts.csv").write_text(table, encoding="utf-8")
    found = shell.json("catalogue", "import", str(shell.folder / "inserts.csv"))
    assert found["taken"] == 1
    assert [(p["row"], p["column"]) for p in found["problems"]] == [(3, "end")]
    shell.run("catalogue", "export", str(shell.folder / "out.csv"))
    again = shell.json("catalogue", "import", str(shell.folder / "out.csv"))
    assert (again["taken"], again["problems"]) == (0, [])


def test_backup_restore_export_import(shell: Shell, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A backup restores, and an export imports into an empty record, event for event."""
    shell.run("open", str(shell.folder / "job.toml"))
    shell.run("backup", str(tmp_path / "copy.sqlite"))
    shell.run("export", str(tmp_path / "out.jsonl"))
    other = Shell(tmp_path / "data", capsys)
    other.run("import", str(tmp_path / "out.jsonl"))
    other.run("export", str(tmp_path / "again.jsonl"))
    assert (tmp_path / "out.jsonl").read_bytes() == (tmp_path / "again.jsonl").read_bytes()
    assert shell.json("restore", str(tmp_path / "copy.sqlite"))["kept"]
    assert len(shell.json("jobs")["jobs"]) == 1


def test_a_practice_backup_never_becomes_the_record(shell: Shell, tmp_path: Path) -> None:
    """A backup of the practice book is refused as the record, and nothing is changed."""
    shell.run("open", str(shell.folder / "job.toml"))
    shell.run("--practice", "open", str(shell.folder / "job.toml"), code=2)
    with open_workshop(shell.folder / "data") as workshop:
        practice_bench.start(workshop.practice, doing=ADA)
    shell.run("--practice", "backup", str(tmp_path / "practice.sqlite"))
    assert "practice" in shell.json("restore", str(tmp_path / "practice.sqlite"), code=2)["error"]["what"]
    assert [row["title"] for row in shell.json("jobs")["jobs"]] == ["Battery tray lid"]


def test_advise_talks_in_lines() -> None:
    """One request a line in, one reply a line out, flushed; a bad line gets an error and the stream goes on."""
    job = {"units": "in", "insert_nominal_length": 1.0, "target_length": 0.8, "tolerance": 0.005, "knob_lead": 0.02}
    good = json.dumps({"v": 1, "job": job, "history": []})
    done = subprocess.run(
        [sys.executable, "-m", "firstpull", "advise"],
        input=f"{good}\nnot json\n\n[]\n{good}\n",
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    replies = [json.loads(line) for line in done.stdout.splitlines()]
    assert ["action" in reply for reply in replies] == [True, False, False, True]
    assert replies[0] == replies[3]
    assert {"what", "where", "hint"} <= set(replies[1]["error"])


def test_the_library_has_what_its_docstring_says() -> None:
    """Every public name of the package can be had, and another one is refused by name."""
    import firstpull

    for name in firstpull.__all__:
        assert getattr(firstpull, name) is not None
    with pytest.raises(AttributeError, match="has no"):
        _ = firstpull.nonsense

"""Commands with garbage for arguments, files that are none, closed pipes and interruptions: our words, a documented
exit code, JSON where JSON was asked for, and never a trace."""

from __future__ import annotations

import io
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pytest

from firstpull.cli import main as cli
from firstpull.cli.main import root
from firstpull.jobs import demo_workshop
from firstpull.jobs.workshop import Workshop

JOB = "battery-tray-lid-m6"
CODES = (0, 2, 3, 4)
GARBAGE = (
    "", "nan", "inf", "-1", "0", "1e400", "9" * 30, "²", "\u202ex", "x" * 3000, "../../etc/passwd", "/", "/nonexistent/x", JOB, "\udcff", "12 mm", "M6",
    "EN AW", "1", "--", "-",
)  # fmt: skip
NUMBERS = ("-1", "0", "1", "3", "9" * 30, "1e400", "nan", "1000000000000000", "½")


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demo workshop's record and files that are no text."""
    folder = tmp_path_factory.mktemp("hostile")
    workshop = Workshop(folder / "data")
    demo_workshop.fill_demo(workshop)
    workshop.close()
    (folder / "latin.toml").write_bytes(b"title = \xe9\xff")
    (folder / "empty.csv").write_bytes(b"")
    return folder


class Typed:
    """What one command gave back."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, words: list[str], given: bytes = b"") -> None:
        bytes_of = {"stdin": io.BytesIO(given), "stdout": io.BytesIO(), "stderr": io.BytesIO()}
        streams = {name: io.TextIOWrapper(raw, encoding="utf-8", write_through=True) for name, raw in bytes_of.items()}
        with monkeypatch.context() as patch:
            for name, stream in streams.items():
                patch.setattr(sys, name, stream)
            with pytest.raises(SystemExit) as ended:
                cli(words)
        self.code = ended.value.code or 0
        self.out, self.err = (bytes_of[name].getvalue().decode() for name in ("stdout", "stderr"))


def commands() -> Iterator[tuple[list[str], click.Command]]:
    context = click.Context(root)
    for name in root.list_commands(context):
        command = root.get_command(context, name)
        assert command is not None
        if isinstance(command, click.Group):
            yield from (([name, inner], found) for inner, found in command.commands.items())
        else:
            yield [name], command


def words_for(command: click.Command, dice: random.Random, folder: Path) -> list[str]:
    """Garbage for each argument and for some options; files to write stay in ``folder``."""
    words: list[str] = []
    files = (*GARBAGE, str(folder), str(folder / "latin.toml"), str(folder / "empty.csv"))
    for parameter in command.params:
        name = parameter.name or ""
        value = dice.choice(NUMBERS if parameter.type.name in ("integer", "float", "integer range") else files)
        if isinstance(parameter.type, click.Choice) and dice.random() < 0.8:
            value = str(dice.choice(list(parameter.type.choices)))
        if name in ("target", "out", "file", "output"):
            value = dice.choice((str(folder), "/nonexistent/x", str(folder / f"written-{dice.random()}")))
        if isinstance(parameter, click.Argument):
            if dice.random() < 0.92:
                words.append(JOB if name == "job" and dice.random() < 0.8 else value)
        elif isinstance(parameter, click.Option) and name != "help" and "json" not in name:
            option = dice.choice([*parameter.opts, *parameter.secondary_opts])
            if dice.random() < (0.9 if parameter.required else 0.3):
                words += (
                    [option]
                    if parameter.is_flag
                    else [f"{option}={value}" if option.startswith("--") else option + value]
                )
    return words


def test_garbage_is_answered_in_our_words(data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every command with garbage: a documented exit code, JSON for answer and error alike, and a whole record after."""
    dice = random.Random(5)
    monkeypatch.chdir(data)
    for path, command in commands():
        if path in (["bench"], ["restore"]):
            continue
        for _turn in range(10):
            words = words_for(command, dice, data)
            typed = Typed(
                monkeypatch,
                ["--data", str(data / "data"), "--by", "Ada", *path, "--json", *words],
                b"\xff{}\n[1e400]\n",
            )
            assert typed.code in CODES, (path, words, typed.out, typed.err)
            assert "Traceback" not in typed.out + typed.err
            assert "did not expect" not in typed.out + typed.err, (path, words, typed.out)
            if path not in (["export"], ["advise"]) or typed.code:
                json.loads(typed.out)
    checked = Typed(monkeypatch, ["--data", str(data / "data"), "verify", "--json"])
    assert (checked.code, json.loads(checked.out)["ok"]) == (0, True)


def test_every_command_has_its_help(monkeypatch: pytest.MonkeyPatch) -> None:
    """``--help`` of the root and of every command says what it is for and which options it takes, ``--json`` included."""
    assert "Exit: 0 done" in Typed(monkeypatch, ["--help"]).out
    for path, _command in commands():
        typed = Typed(monkeypatch, [*path, "--help"])
        assert typed.code == 0
        assert f"Usage: firstpull {' '.join(path)}" in typed.out
        assert "--json" in typed.out, path


@pytest.mark.parametrize(
    "words",
    [
        ["nope"],
        ["jobs", "--nope"],
        ["tool"],
        ["tool", "nope"],
        ["pull"],
        ["card", JOB, "--size", "A9"],
        ["--data", "/dev/null", "jobs"],
        ["--nope"],
        [],
    ],
)
def test_usage_errors_are_ours(data: Path, monkeypatch: pytest.MonkeyPatch, words: list[str]) -> None:
    """A wrong word on the command line ends with 2, in JSON when asked for."""
    place = [] if words[:1] == ["--data"] else ["--data", str(data / "data")]
    assert Typed(monkeypatch, [*place, *words]).code == 2
    typed = Typed(monkeypatch, [*place, *words, "--json"])
    assert typed.code == 2
    assert set(json.loads(typed.out)["error"]) >= {"what", "where", "hint"}
    assert "firstpull firstpull" not in typed.out


def test_a_record_that_does_not_verify_ends_with_4(data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A value changed behind the triggers' back is found by verify, refused by backup, and said with exit 4."""
    import shutil
    import sqlite3

    shutil.copytree(data / "data", tmp_path / "data")
    with sqlite3.connect(tmp_path / "data" / "record.sqlite") as file:
        file.execute("DROP TRIGGER event_never_changes")
        file.execute("UPDATE event SET \"by\" = 'Eve' WHERE number = 3")
    file.close()
    place = ["--data", str(tmp_path / "data")]
    typed = Typed(monkeypatch, [*place, "verify", "--json"])
    assert (typed.code, json.loads(typed.out)["ok"]) == (4, False)
    assert Typed(monkeypatch, [*place, "backup", str(tmp_path / "b.sqlite"), "--json"]).code == 4
    assert not (tmp_path / "b.sqlite").exists()


def process(data: Path, *words: str, **how: Any) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "firstpull", "--data", str(data / "data"), "--by", "Ada", *words]
    return subprocess.Popen(command, stderr=subprocess.PIPE, **how)


def test_a_reader_that_leaves_is_no_failure(data: Path) -> None:
    """Output into a pipe that nobody reads any more ends quietly with 0."""
    read, write = os.pipe()
    os.close(read)
    ended = process(data, "export", stdout=write)
    os.close(write)
    assert ended.communicate(timeout=60)[1] == b""
    assert ended.returncode == 0


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full device")
def test_output_that_cannot_be_written_is_said(data: Path) -> None:
    """A full disk under the output is an error with one line, not a trace at the interpreter's end."""
    with open("/dev/full", "wb") as full:
        ended = process(data, "jobs", stdout=full)
        said = ended.communicate(timeout=60)[1].decode()
    assert ended.returncode == 2
    assert said.strip().splitlines() == ["No space left on device."]


@pytest.mark.skipif(os.name == "nt", reason="interruptions are sent another way there")
def test_an_interruption_ends_without_a_trace(data: Path) -> None:
    """Ctrl+C while a command waits for its input ends it with 130 and no trace."""
    waiting = process(data, "advise", stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert waiting.stdin is not None
    assert waiting.stdout is not None
    waiting.stdin.write(b"{}\n")
    waiting.stdin.flush()
    assert waiting.stdout.readline()  # it is up and waits for more
    time.sleep(0.5)
    waiting.send_signal(signal.SIGINT)
    said = waiting.communicate(timeout=60)[1]
    assert waiting.returncode == 130
    assert b"Traceback" not in said

"""A quick walk of every parser over damaged inputs, and a short run of the real fuzzer where it is installed."""

from __future__ import annotations

import importlib.util
import random
import subprocess
import sys
from pathlib import Path

import pytest

from fuzz.parser_targets import TARGETS, seeds

ROOT = Path(__file__).parent.parent.parent
TOKENS = (
    b"\0", b"\n", b'"', b"'", b",", b";", b"[", b"]", b"[[", b"{", b"=", b"-", b"1e999", b"nan", b"9" * 30, b"\xff\xfe", b"\xc3", b"/0",
    b"<", b">", b"&a;", b"</row>", b'r="A1048577"', b"\xed\xa0\x80", b"  ", b"\\u0000", b"mm", b"in", b"true", b"\t", b"\r", b"1/3",
)  # fmt: skip
INPUTS = {"units": 4000, "job": 2000, "csv": 1000, "workbook": 300, "packed": 1500, "record": 2500}


def damaged(source: random.Random, goods: tuple[bytes, ...]) -> bytes:
    """A good input with one to six cuts, copies, swapped bytes or pushed-in tokens."""
    data = bytearray(source.choice(goods))
    for _ in range(source.randint(1, 6)):
        at = source.randint(0, len(data))
        span = source.choice((1, 2, 8, 40))
        act = source.randrange(5)
        if act == 0:
            del data[at : at + span]
        elif act == 1:
            data[at:at] = source.choice(TOKENS)
        elif act == 2 and data:
            data[min(at, len(data) - 1)] = source.randrange(256)
        elif act == 3:
            data[at:at] = data[source.randint(0, len(data)) :][:span]
        else:
            data[at : at + span] = source.choice(TOKENS)
    return bytes(data)


@pytest.mark.parametrize("name", sorted(TARGETS))
def test_good_inputs_pass(name: str) -> None:
    """The inputs that the fuzzer starts from are read."""
    assert all(TARGETS[name](data) for data in seeds(name))


@pytest.mark.parametrize("name", sorted(TARGETS))
def test_damaged_inputs_give_our_error_or_a_right_answer(name: str) -> None:
    """Thousands of damaged inputs, the same every time, raise nothing but our errors; some are still read."""
    source = random.Random(f"firstpull {name}")
    goods = seeds(name)
    read = 0
    for _ in range(INPUTS[name]):
        data = damaged(source, goods)
        try:
            read += TARGETS[name](data)
        except Exception as error:
            pytest.fail(f"{name} on {data[:400]!r}: {type(error).__name__}: {error}")
    assert 0 < read < INPUTS[name]


@pytest.mark.skipif(
    importlib.util.find_spec("atheris") is None,
    reason="atheris is not installed: it has no build for this Python or system",
)
@pytest.mark.parametrize("name", sorted(TARGETS))
def test_the_fuzzer_finds_nothing_in_a_short_run(name: str, tmp_path: Path) -> None:
    """The coverage-guided fuzzer runs and comes back clean."""
    runs = "1000" if name in ("units", "record") else "300"
    done = subprocess.run(
        [sys.executable, str(ROOT / "tests" / "fuzz" / "fuzz_parsers.py"), name, "--runs", runs],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr[-2000:]

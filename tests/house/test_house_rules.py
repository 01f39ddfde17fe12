"""The rules of the house that no linter knows: sizes, arguments, words, and tolerances that can fail."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SOURCES = sorted((ROOT / "src").rglob("*.py"))
OURS = [*SOURCES, *sorted((ROOT / "tests").rglob("*.py")), *sorted((ROOT / "bench").rglob("*.py")), ROOT / "run.py"]
TRANSLATORS = ("cli", "web")  # a command's options and a form's fields are a handler's arguments


def _functions(path: Path) -> list[ast.FunctionDef | ast.AsyncFunctionDef]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]


def _name(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def test_files_are_short() -> None:
    """No source, test or bench file is longer than 600 lines."""
    long = {_name(path): count for path in OURS if (count := len(path.read_text(encoding="utf-8").splitlines())) > 600}
    assert not long


def test_functions_are_short() -> None:
    """No function of the package has more than 60 lines beside its docstring."""
    long = {}
    for path in SOURCES:
        for function in _functions(path):
            first = function.body[0]
            described = ast.get_docstring(function) is not None
            words = (first.end_lineno or 0) - first.lineno + 1 if described else 0
            size = (function.end_lineno or 0) - function.lineno + 1 - words
            if size > 60:
                long[f"{_name(path)}:{function.name}"] = size
    assert not long


def test_arguments_are_named() -> None:
    """Outside the translators a public function takes at most three arguments by place; all others by name."""
    many = []
    for path in SOURCES:
        if path.relative_to(ROOT / "src" / "firstpull").parts[0] in TRANSLATORS:
            continue
        for function in _functions(path):
            names = [item.arg for item in (*function.args.posonlyargs, *function.args.args)]
            if names[:1] in (["self"], ["cls"]):
                names = names[1:]
            if len(names) > 3 and not function.name.startswith("_"):
                many.append(f"{_name(path)}:{function.name}")
    assert not many


def test_nothing_is_left_for_later() -> None:
    """No file of ours carries a note to finish it some day."""
    mark = re.compile(r"\b(" + "|".join(("TO" + "DO", "FIX" + "ME", "X" * 3)) + r")\b")
    left = [_name(path) for path in OURS if mark.search(path.read_text(encoding="utf-8"))]
    assert not left


def test_every_public_module_says_what_it_is() -> None:
    """Every module of the package with code in it has a docstring."""
    silent = [
        _name(path)
        for path in SOURCES
        if path.read_text(encoding="utf-8").strip()
        and not ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert not silent


def test_every_test_says_what_is_true() -> None:
    """Every test function has a one-sentence docstring."""
    silent = [
        f"{_name(path)}:{function.name}"
        for path in sorted((ROOT / "tests").rglob("test_*.py"))
        for function in _functions(path)
        if function.name.startswith("test_") and not ast.get_docstring(function)
    ]
    assert not silent


def test_tolerances_can_fail() -> None:
    """No test compares with a relative tolerance over 10 %."""
    wide = []
    for path in sorted((ROOT / "tests").rglob("*.py")):
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            for found in re.finditer(r"\brel(?:_tol)?=([0-9.]+(?:e-?\d+)?)", line):
                if float(found.group(1)) > 0.1:
                    wide.append(f"{_name(path)}:{number}")
    assert not wide


@pytest.mark.parametrize("module", ["record", "statistics", "mechanics", "practice", "trade", "drawing"])
def test_no_clock_or_chance_below_the_jobs(module: str) -> None:
    """Below the jobs nothing reads the clock, the environment or unseeded chance."""
    reach = re.compile(r"datetime\.now|time\.time\(|date\.today|os\.environ|random\.random|default_rng\(\)|uuid\.uuid4")
    found = [
        _name(path)
        for path in (ROOT / "src" / "firstpull" / module).rglob("*.py")
        if reach.search(path.read_text(encoding="utf-8"))
    ]
    assert not found

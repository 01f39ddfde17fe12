"""Our own numbers: a few seeds of the study in bench/, so that a change that spoils the adviser is seen. Proves nothing."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

STUDY = Path(__file__).resolve().parents[2] / "bench" / "dial_in_study.py"


@pytest.fixture(scope="module")
def study() -> ModuleType:
    spec = importlib.util.spec_from_file_location("dial_in_study", STUDY)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def outcomes(study: ModuleType, name: str, *, seeds: range) -> list[Any]:
    bench = next(bench for bench in study.BENCHES if bench.name == name)
    return [study.by_adviser(study.new_tool(bench, seed), confidence=0.99) for seed in seeds]


@pytest.mark.parametrize(("name", "most_inserts"), [("ordinary", 4.2), ("lengths measured", 2.8)])
def test_ordinary_tools_are_released_rightly(study: ModuleType, name: str, most_inserts: float) -> None:
    """Ten ordinary tools are released, all inside, with few inserts."""
    found = outcomes(study, name, seeds=range(910_000, 910_010))
    assert all(one.end == "release" and one.right for one in found)
    assert sum(one.inserts for one in found) / len(found) <= most_inserts


@pytest.mark.parametrize("name", ["too little stroke", "too much stroke", "stalls in the stack"])
def test_what_cannot_be_reached_is_refused_with_its_reason(study: ModuleType, name: str) -> None:
    """Five tools that cannot reach the target are refused for the right reason."""
    found = outcomes(study, name, seeds=range(910_000, 910_005))
    assert all(one.end == "refuse" and one.right for one in found)

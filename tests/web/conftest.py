"""What the page tests share: one bench, made once, copied for each test."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from web import released_bench


@pytest.fixture(scope="session")
def made_bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made") / "workshop"
    released_bench.make(folder)
    return folder


@pytest.fixture
def bench(made_bench: Path, tmp_path: Path) -> Iterator[released_bench.Bench]:
    made = released_bench.copy(made_bench, tmp_path / "workshop")
    yield made
    made.workshop.close()

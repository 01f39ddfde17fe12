"""The system's Chromium, with nothing that asks the network on its own; a demo workshop made once for all tests."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

import pytest

from browser_bench import workshop_in

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
QUIET = (
    "--no-sandbox",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """How to start the system's Chromium. Without one these tests are skipped, in CI they fail."""
    found = next(filter(None, map(shutil.which, NAMES)), None)
    if found is None:
        reason = f"there is no Chromium here (looked for {', '.join(NAMES)}); the pages were not tried in a browser"
        if os.environ.get("CI"):
            pytest.fail(reason, pytrace=False)
        pytest.skip(reason)
    return {**browser_type_launch_args, "executable_path": found, "args": list(QUIET)}


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A demo workshop as it opens for the first time; copy it, never write into it."""
    folder = tmp_path_factory.mktemp("demo") / "workshop"
    workshop_in(folder, demo=True).close()
    return folder


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The browser plugin's own fixture uses a form that this pytest warns about; it is not ours to change."""
    for item in items:
        if item.path.is_relative_to(Path(__file__).parent):
            item.add_marker(pytest.mark.filterwarnings("ignore:Session-scoped fixtures defined as instance methods"))

"""The system's Chromium, with nothing that asks the network on its own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

QUIET = (
    "--no-sandbox",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    return {**browser_type_launch_args, "executable_path": "/usr/bin/chromium", "args": list(QUIET)}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The browser plugin's own fixture uses a form that this pytest warns about; it is not ours to change."""
    for item in items:
        if item.path.is_relative_to(Path(__file__).parent):
            item.add_marker(pytest.mark.filterwarnings("ignore:Session-scoped fixtures defined as instance methods"))

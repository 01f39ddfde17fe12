"""The page on catalogues says what the program does."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from firstpull.exchange.catalogue_columns import CHOICES, FIELDS
from firstpull.exchange.catalogue_table import preview

PAGE = (Path(__file__).parent.parent.parent / "docs" / "how-to" / "catalogue.md").read_text(encoding="utf-8")


def block(language: str) -> str:
    """The first block of that language."""
    found = re.search(rf"```{language}\n(.*?)```", PAGE, re.DOTALL)
    assert found is not None
    return found.group(1)


def test_the_table_names_every_column_in_order() -> None:
    """The page's columns are those that are read."""
    assert re.findall(r"^\| `(\w+)` \|", PAGE, re.MULTILINE) == [rule.name for rule in FIELDS]


@pytest.mark.parametrize("name", ["head", "end", "body", "grip_datum"])
def test_the_choices_are_named(name: str) -> None:
    """Each word that a column takes stands in its row."""
    row = next(line for line in PAGE.splitlines() if line.startswith(f"| `{name}` |"))
    assert all(word in row for word in set(CHOICES[name].values()))


def test_the_needed_columns_are_named() -> None:
    """The page names exactly the columns that a row cannot do without."""
    needed = next(line for line in PAGE.splitlines() if line.startswith("`part`, `thread`"))
    assert set(re.findall(r"`(\w+)`", needed)) == {rule.name for rule in FIELDS if rule.required}


def test_the_example_table_is_read() -> None:
    """The table on the page has no bad row."""
    found = preview(block("csv").encode(), filename="page.csv")
    assert found.problems == ()
    assert len(found.rows) == 3


def test_the_python_example_runs(capsys: pytest.CaptureFixture[str]) -> None:
    """The lines on the page do what they say."""
    exec(compile(block("python"), "catalogue.md", "exec"), {})
    assert capsys.readouterr().out == "SHOP-1 15.5 mm 0\n"

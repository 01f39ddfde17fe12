"""What the project is compared with: enough published values, each beside its source, counted and not claimed."""

from __future__ import annotations

from pathlib import Path

import pytest

from published import DATA, belongs, count, register, rows

REGISTER = register()
BIBLIOGRAPHY = (Path(__file__).resolve().parents[2] / "docs" / "sources.bib").read_text(encoding="utf-8")


def test_there_are_enough_values_of_enough_sources() -> None:
    """At least 250 published values over at least 15 sources stand behind threads, sheet, screws and joints."""
    assert sum(count(entry) for entry in REGISTER) >= 250
    assert len({entry["key"] for entry in REGISTER}) >= 15


@pytest.mark.parametrize("entry", REGISTER, ids=lambda entry: f"{entry['key']} {entry['file']}")
def test_a_source_has_the_values_that_are_written_beside_it(entry: dict[str, str]) -> None:
    """The number in the register is the counted one, above none, and says how it was obtained."""
    assert count(entry) == int(entry["values"]) > 0
    assert entry["obtained"]


@pytest.mark.parametrize("name", sorted({entry["file"] for entry in REGISTER}))
def test_every_value_belongs_to_one_source(name: str) -> None:
    """No row of a registered file is without a source or counted twice."""
    matches = [entry["match"] for entry in REGISTER if entry["file"] == name]
    assert [row for row in rows(name) if sum(belongs(row, match) for match in matches) != 1] == []


def test_every_file_of_values_on_this_ground_is_registered() -> None:
    """A file of printed values is in the register; units, readings to reckon with and what programs gave are not."""
    given = ("statistics_gauge_study_readings", "statistics_subgroups")
    others = (*given, "statistics_normal_tolerance_factors", "statistics_success_run", "units_")
    held = {path.name for path in DATA.glob("*.csv") if not path.name.startswith(others)} - {"sources.csv"}
    assert held == {entry["file"] for entry in REGISTER}


@pytest.mark.parametrize("key", sorted({entry["key"] for entry in REGISTER}))
def test_the_bibliography_holds_every_source(key: str) -> None:
    """Each key of the register stands in docs/sources.bib."""
    assert f"{{{key}," in BIBLIOGRAPHY

"""The packaged tables name a source in every row and say nothing that a table must not."""

import csv
from importlib.resources import files

import pytest

from firstpull.errors import NotFound
from firstpull.trade import tables

DATA = files("firstpull.trade").joinpath("data")
NAMES = sorted(path.name.removesuffix(".csv") for path in DATA.iterdir() if path.name.endswith(".csv"))


@pytest.mark.parametrize("name", NAMES)
def test_every_row_has_a_source(name):
    """Each row of each packaged table is complete and names where it comes from."""
    rows = tables.rows(name)
    assert rows
    assert all(row["source"].strip() for row in rows)
    with DATA.joinpath(f"{name}.csv").open(encoding="utf-8") as text:
        widths = {len(cells) for cells in csv.reader(text)}
    assert len(widths) == 1


def test_a_table_that_is_not_packaged_is_not_found():
    """Asking for another table raises our error."""
    with pytest.raises(NotFound):
        tables.rows("../threads")

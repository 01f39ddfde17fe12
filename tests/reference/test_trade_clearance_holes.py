"""Clearance holes: ISO 273, and ASME B18.2.8, table 1a, in Machinery's Handbook, 31st ed., p. 1741 (normal drills and

loose hole diameters; the close ones were not readable there and are not tested).
"""

from __future__ import annotations

import pytest

from firstpull.trade.clearance import clearance_hole
from firstpull.trade.drills import drill
from published import rows


@pytest.mark.parametrize("row", rows("clearance_holes.csv"), ids=lambda row: f"{row['thread']} {row['series']}")
def test_clearance_holes_are_the_printed_ones(row: dict[str, str]) -> None:
    """Each hole is the printed one exactly."""
    found = clearance_hole(row["thread"])
    assert found is not None
    held = getattr(found, row["series"])
    if row["unit"] == "drill":
        assert held.nanometres == drill(row["published"]).diameter.nanometres
    else:
        assert held.mm / (25.4 if row["unit"] == "in" else 1) == pytest.approx(float(row["published"]), abs=1e-6)


def test_fine_is_smaller_than_medium_and_medium_than_coarse() -> None:
    """The three series stand in order, and above the thread."""
    for row in rows("clearance_holes.csv"):
        found = clearance_hole(row["thread"])
        assert found is not None
        assert found.fine.mm < found.medium.mm < found.coarse.mm

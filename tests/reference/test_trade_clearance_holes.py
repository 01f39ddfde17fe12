"""Clearance holes: ISO 273, and ASME B18.2.8, table 1a, in Machinery's Handbook, 31st ed., p. 1741 (normal drills and
loose hole diameters) and in a public library (drills). Usual screw lengths: ISO 4017 and ISO 4762.

Disagreement: that library has 13, 14 and 15 mm for M12, where ISO 273 has 13, 13.5 and 14.5.
"""

from __future__ import annotations

import pytest

from firstpull.trade.clearance import clearance_hole
from firstpull.trade.drills import drill
from firstpull.trade.service import screw_lengths
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


def test_metric_screw_lengths_are_those_of_hexagon_and_socket_screws() -> None:
    """From 5 to 100 mm the lengths are the nominal ones that both standards list: no 14, 18 or 22 mm."""
    printed = [float(row["length_mm"]) for row in rows("screw_lengths.csv")]
    assert [one.mm for one in screw_lengths("metric")] == printed

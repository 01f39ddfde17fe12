"""Limits and stress areas of unified threads at 2A/2B.

ASME B1.1, Unified inch screw threads (UN, UNR, UNJ thread form): limits of size of 2A and 2B, appendix B for the
tensile stress area. Read in public copies; each row names its own.
"""

import csv
from pathlib import Path

import pytest

from firstpull.trade.threads import thread

DATA = Path(__file__).parent / "data"
ATTRIBUTES = {
    "dmax": ("external", "major_max_mm"),
    "dmin": ("external", "major_min_mm"),
    "d2max": ("external", "pitch_max_mm"),
    "d2min": ("external", "pitch_min_mm"),
    "D1min": ("internal", "minor_min_mm"),
    "D1max": ("internal", "minor_max_mm"),
    "D2min": ("internal", "pitch_min_mm"),
    "D2max": ("internal", "pitch_max_mm"),
}


def rows(name):
    with (DATA / name).open(encoding="utf-8", newline="") as text:
        return list(csv.DictReader(text))


def case_name(row):
    return f"{row['thread']} {row['quantity']}"


ALL = rows("threads_unified.csv") + rows("threads_unified_more.csv")
LIMITS = [row for row in ALL if row["quantity"] in ATTRIBUTES]
AREAS = [row for row in ALL if row["quantity"] == "As"]


@pytest.mark.parametrize("row", LIMITS, ids=case_name)
def test_limits_of_2A_and_2B_come_out_as_printed(row):
    """Each limit is the printed one exactly: the formulas with their rounding give whole ten-thousandths."""
    side, name = ATTRIBUTES[row["quantity"]]
    inches = getattr(getattr(thread(row["thread"]), side), name) / 25.4
    assert inches == pytest.approx(float(row["published"]), abs=1e-9)


@pytest.mark.parametrize("row", AREAS, ids=case_name)
def test_stress_areas_come_out_as_printed(row):
    """Each stress area is the printed one to half its last digit."""
    places = len(row["published"].partition(".")[2])
    assert thread(row["thread"]).stress_area_mm2 / 25.4**2 == pytest.approx(
        float(row["published"]), abs=0.5 * 10.0**-places
    )

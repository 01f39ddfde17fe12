"""Strip areas over one diameter of engagement, 6g/6H.

FED-STD-H28/2B appendix B and ASME B1.1 appendix B for the formulas; values as in “Metric thread, stress and shear
areas”, engineersedge table 15797, which cites “Introduction to the Design and Behavior of Bolted Joints”.

Erratum: the external area of M12x1.75 comes to 227.7148 mm², printed 227.72: rounded twice, through 227.715.
"""

import csv
from pathlib import Path

import pytest

from firstpull.trade.threads import strip_areas, thread

with (Path(__file__).parent / "data" / "thread_strip_areas.csv").open(encoding="utf-8", newline="") as text:
    ROWS = list(csv.DictReader(text))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['thread']} {row['quantity'][:3]}")
def test_strip_areas_over_one_diameter_come_out_as_printed(row):
    """Each strip area is the printed one to half its last digit, the twice-rounded one through its middle step."""
    found = thread(row["thread"])
    areas = strip_areas(found, found.major_mm)
    area_mm2 = areas.external_area_mm2 if row["quantity"].startswith("ASs") else areas.internal_area_mm2
    places = len(row["published"].partition(".")[2])
    once_rounded = round(area_mm2, 3) if row["thread"] == "M12x1.75" else area_mm2
    # 1e-9: the middle step lies exactly half a digit away
    assert once_rounded == pytest.approx(float(row["published"]), abs=0.5 * 10.0**-places + 1e-9)

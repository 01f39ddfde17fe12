"""Number, letter and fraction drills.

ASME B94.11M twist drill sizes as in plib gauge_sizes.py @2a04bb02, and as rounded to 0.001 in (from 0.1 in up; some
below) in bd_warehouse 0.4.0 drill_sizes.csv.

Erratum of a copy: #69 is printed 0.0293 in there; the ANSI table has 0.0292 (from memory), and the second copy's
0.029 fits both. We hold 0.0292.
"""

import csv
from pathlib import Path

import pytest

from firstpull.trade.drills import drill

ERRATA = {"69": 0.0292}
with (Path(__file__).parent / "data" / "drill_sizes.csv").open(encoding="utf-8", newline="") as text:
    ROWS = list(csv.DictReader(text))
NAMED = {"number": "#{}", "letter": "{}", "fraction": "{}"}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['series']} {row['size']}")
def test_drill_diameters_come_out_as_printed(row):
    """Each diameter is the printed one exactly, but for the erratum."""
    found = drill(NAMED[row["series"]].format(row["size"]))
    assert found.series == row["series"]
    assert found.diameter.inch == pytest.approx(ERRATA.get(row["size"], float(row["diameter_in"])), abs=1e-9)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['series']} {row['size']}")
def test_drill_diameters_in_mm_come_out_as_printed(row):
    """Each diameter in mm is the printed one to half its last digit, 0.0001 mm, but for the erratum."""
    expected = 0.0292 * 25.4 if row["size"] in ERRATA else float(row["diameter_mm"])
    # the copy rounds halves to even: 1e-9 keeps an exact half inside
    assert drill(NAMED[row["series"]].format(row["size"])).diameter.mm == pytest.approx(expected, abs=0.00005 + 1e-9)


@pytest.mark.parametrize(
    "row", [row for row in ROWS if row["bd_warehouse_in"]], ids=lambda row: f"{row['series']} {row['size']}"
)
def test_drill_diameters_agree_with_a_second_copy(row):
    """Each diameter agrees with the second copy to half of 0.001 in, the coarsest digit it prints."""
    found = drill(NAMED[row["series"]].format(row["size"]))
    assert found.diameter.inch == pytest.approx(float(row["bd_warehouse_in"]), abs=0.0005 + 1e-9)

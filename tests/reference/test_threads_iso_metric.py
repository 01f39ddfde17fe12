"""Limits, stress areas and tolerances of ISO metric threads at 6g/6H.

ISO 965-1, ISO metric screw threads, tolerances, tables 1 and 3 to 6; ISO 898-1, tensile stress areas (A_s,nom, three
digits; five digits as reproduced with the strip areas); ASME B1.13, metric screw threads, M profile (limits in
inches). Read in public copies; each row names its own.

Erratum of a copy: M12x1.75 d2_min is printed 0.42023 in there. Its own d2_max 0.42634 in less the tabulated
tolerance of 150 µm is 0.42043 in, and the other copy prints 10.68 mm: a digit slipped.
"""

import csv
from pathlib import Path

import pytest

from firstpull.trade.threads import Thread, thread

DATA = Path(__file__).parent / "data"
ATTRIBUTES = {
    "d_max": ("external", "major_max_mm"),
    "d_min": ("external", "major_min_mm"),
    "d2_max": ("external", "pitch_max_mm"),
    "d2_min": ("external", "pitch_min_mm"),
    "D1_min": ("internal", "minor_min_mm"),
    "D1_max": ("internal", "minor_max_mm"),
    "D2_min": ("internal", "pitch_min_mm"),
    "D2_max": ("internal", "pitch_max_mm"),
}


def rows(name):
    with (DATA / name).open(encoding="utf-8", newline="") as text:
        return list(csv.DictReader(text))


def limit_mm(found: Thread, quantity: str) -> float:
    side, name = ATTRIBUTES[quantity]
    return getattr(getattr(found, side), name)


def case_name(row):
    return f"{row['thread']} {row['quantity']}"


LIMITS = [row for row in rows("threads_iso_metric.csv") if row["quantity"] in ATTRIBUTES]
AREAS = [row for row in rows("threads_iso_metric.csv") if row["quantity"] == "As"]
MORE = rows("threads_iso_metric_more.csv")
SLIPPED_DIGITS = {("M12x1.75", "d2_min", "0.42023"): "0.42043"}
TOLERANCES = rows("iso965_tolerances_grade6.csv")


@pytest.mark.parametrize("row", LIMITS, ids=case_name)
def test_limits_of_6g_and_6H_come_out_as_printed(row):
    """Each limit is the printed one to its last digit, 0.001 mm (the copy drops trailing zeros)."""
    assert limit_mm(thread(row["thread"]), row["quantity"]) == pytest.approx(float(row["published"]), abs=0.0005)


@pytest.mark.parametrize("row", MORE, ids=case_name)
def test_limits_of_the_other_sizes_come_out_as_printed(row):
    """Each limit of the further sizes is the printed one to half its last digit."""
    scale = 25.4 if row["unit"] == "in" else 1.0
    half_digit = 0.5 * 10.0 ** -int(row["places"]) * scale
    printed = SLIPPED_DIGITS.get((row["thread"], row["quantity"], row["published"]), row["published"])
    expected = float(printed) * scale
    # 1e-9: a limit may lie exactly half a digit from a value that was rounded in the copy
    assert limit_mm(thread(row["thread"]), row["quantity"]) == pytest.approx(expected, abs=half_digit + 1e-9)


@pytest.mark.parametrize("row", AREAS, ids=case_name)
def test_stress_areas_come_out_as_printed(row):
    """Each nominal stress area is the printed one to half its last digit."""
    places = len(row["published"].partition(".")[2])
    assert thread(row["thread"]).stress_area_mm2 == pytest.approx(float(row["published"]), abs=0.5 * 10.0**-places)


@pytest.mark.parametrize(("name", "published"), [("M5x0.8", 14.183), ("M6x1", 20.123), ("M10x1.5", 57.990)])
def test_stress_areas_come_out_to_three_decimals(name, published):
    """The stress areas printed with three decimals (engineersedge table 15797) come out to half the last digit."""
    assert thread(name).stress_area_mm2 == pytest.approx(published, abs=0.0005)


@pytest.mark.parametrize("row", TOLERANCES, ids=case_name)
def test_limits_hold_the_tabulated_tolerances_not_the_formulas(row):
    """The spacing of the limits is the tabulated tolerance of ISO 965-1, in whole micrometres."""
    found = thread(row["thread"])
    outer, inner = found.external, found.internal
    spacing_mm = {
        "es_g": outer.major_max_mm - found.major_mm,
        "Td_6": outer.major_max_mm - outer.major_min_mm,
        "TD1_6": inner.minor_max_mm - inner.minor_min_mm,
        "Td2_6": outer.pitch_max_mm - outer.pitch_min_mm,
        "TD2_6": inner.pitch_max_mm - inner.pitch_min_mm,
    }
    assert spacing_mm[row["quantity"]] * 1000 == pytest.approx(float(row["table_value"]), abs=0.01)

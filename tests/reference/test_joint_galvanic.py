"""Anodic index of metals and the limits of a pair, and other plain values of the trade.

The common anodic-index table, printed alike on two pages (vk6ysf.com/galvanic_table.htm; eicac.co.uk); a galvanic
series with the index; Shigley's Mechanical Engineering Design, 9th ed., table 8-15 (nut factors); a standard
tightening chart (nut factors, scatter); AC 43.13-1B and NAVEDTRA 14018 (edge distance, pitch); ISO 3506-1 (service
temperature): the keys of data/sources.csv.

Disagreements, marked in their rows: cadmium 0.80 V in the series, 0.95 held; lubricated threads K 0.18 in Shigley,
0.15 held, which gives the higher tension for a torque and so the stricter proof check. One page quotes AC 43.13-1B
with 1.5 diameters of edge: the others, and its text, have 2.
"""

from __future__ import annotations

import pytest

from firstpull.mechanics.joint.checks import EDGE_DIAMETERS, PITCH_DIAMETERS
from firstpull.trade.galvanic import LIMITS_V, galvanic_group, galvanic_pair
from firstpull.trade.screws import nut_factor
from firstpull.trade.service import service_range
from published import rows


def held(quantity: str, name: str) -> float:
    """What we hold for a printed value."""
    if quantity == "anodic_index":
        group = galvanic_group(name)
        assert group is not None
        return group.anodic_index_v
    if quantity in ("least_c", "most_c"):
        found = service_range(name, "insert")
        assert found is not None
        return float(getattr(found, quantity))
    if quantity.startswith("nut_"):
        one = nut_factor(name)
        return one.factor if quantity == "nut_factor" else one.scatter
    return {"galvanic_limit": LIMITS_V.get(name, 0), "edge_diameters": EDGE_DIAMETERS, "pitch_diameters": PITCH_DIAMETERS}[
        quantity
    ]  # fmt: skip


@pytest.mark.parametrize(
    "row", rows("plain_values.csv"), ids=lambda row: f"{row['name']} {row['quantity']} {row['source']}"
)
def test_a_value_is_the_printed_one_or_known_to_differ(row: dict[str, str]) -> None:
    """Each value is the printed one to half its last digit; where sources differ the row says so, and it does."""
    half = 0.5 * 10.0 ** -len(row["published"].partition(".")[2])
    apart = abs(held(row["quantity"], row["name"]) - float(row["published"]))
    assert (apart > half) == row["note"].startswith("disagrees")


def test_the_printed_example_of_gold_on_silver() -> None:
    """“Gold – silver would have a difference of 0.15 V being acceptable” in harsh surroundings."""
    pair = galvanic_pair("gold", "silver", surroundings="harsh")
    assert pair is not None
    assert (pair.difference_v, pair.ok, pair.anode) == (0.15, True, "silver")

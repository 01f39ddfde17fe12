"""Anodic index of metals and the limits of a pair.

“Galvanic compatibility table”, vk6ysf.com/galvanic_table.htm, and “Anodic index information”, eicac.co.uk: the common
table, printed alike in both; rows down to the 2000 series of aluminium were read there, the rest is from memory and
not tested here.
"""

from __future__ import annotations

import pytest

from firstpull.trade.galvanic import LIMITS_V, galvanic_group, galvanic_pair

PRINTED = {
    "gold": 0.00,
    "silver": 0.15,
    "nickel": 0.30,
    "copper": 0.35,
    "brass": 0.40,
    "stainless A2": 0.50,
    "chromium plate": 0.60,
    "lead": 0.70,
    "2024-T3": 0.75,
}


@pytest.mark.parametrize(("metal", "index_v"), PRINTED.items())
def test_the_index_is_the_printed_one(metal: str, index_v: float) -> None:
    """Each index is the printed one to half its last digit."""
    found = galvanic_group(metal)
    assert found is not None
    assert found.anodic_index_v == pytest.approx(index_v, abs=0.005)


@pytest.mark.parametrize(("surroundings", "limit_v"), [("harsh", 0.15), ("normal", 0.25), ("controlled", 0.50)])
def test_the_limits_are_the_printed_ones(surroundings: str, limit_v: float) -> None:
    """Outdoors 0.15 V, ordinary stores 0.25 V, controlled air 0.50 V."""
    assert LIMITS_V[surroundings] == pytest.approx(limit_v, abs=0.005)


def test_the_printed_example_of_gold_on_silver() -> None:
    """“Gold – silver would have a difference of 0.15 V being acceptable” in harsh surroundings."""
    pair = galvanic_pair("gold", "silver", surroundings="harsh")
    assert pair is not None
    assert (pair.difference_v, pair.ok, pair.anode) == (0.15, True, "silver")

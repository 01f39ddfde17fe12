"""The answers of the look-up, as others read them."""

import json

import pytest

from firstpull.errors import BadInput
from firstpull.trade.lookup import lookup
from firstpull.units import parse_length


def test_a_metric_thread_answers_with_the_agreed_names():
    """M6x1 answers with limits, areas and strip areas under the agreed names, over one diameter by default."""
    answer = lookup("thread", "M6x1")
    assert answer["schema"] == "firstpull/lookup/thread/1"
    assert answer["thread"] == "M6x1"
    assert answer["pitch_mm"] == 1.0
    assert answer["external"] == {
        "class": "6g",
        "major_max_mm": 5.974,
        "major_min_mm": 5.794,
        "pitch_max_mm": 5.324,
        "pitch_min_mm": 5.212,
    }
    assert answer["internal"] == {
        "class": "6H",
        "minor_min_mm": 4.917,
        "minor_max_mm": 5.153,
        "pitch_min_mm": 5.35,
        "pitch_max_mm": 5.5,
    }
    assert set(answer["strip"]) == {"engagement_mm", "external_area_mm2", "internal_area_mm2"}
    assert answer["strip"]["engagement_mm"] == 6.0
    assert "inch" not in answer


def test_a_unified_thread_answers_in_both_units():
    """1/4-20 answers in mm and, under “inch”, with the same names in inches and the printed limits."""
    answer = lookup("thread", "1/4-20")
    inch = answer["inch"]
    assert inch["external"] == {
        "class": "2A",
        "major_max_in": 0.2489,
        "major_min_in": 0.2408,
        "pitch_max_in": 0.2164,
        "pitch_min_in": 0.2127,
    }
    assert inch["internal"] == {
        "class": "2B",
        "minor_min_in": 0.196,
        "minor_max_in": 0.207,
        "pitch_min_in": 0.2175,
        "pitch_max_in": 0.2224,
    }
    assert inch["strip"]["engagement_in"] == 0.25
    assert inch["stress_area_in2"] == pytest.approx(answer["stress_area_mm2"] / 25.4**2, rel=1e-6)
    assert inch["threads_per_inch"] == 20


def test_the_engagement_can_be_chosen_for_a_thread_only():
    """Half the engagement is half the strip area; an engagement without a thread, or none at all, is refused."""
    whole, half = (lookup("thread", "M6", engagement=parse_length(text))["strip"] for text in ("6 mm", "3 mm"))
    assert half["internal_area_mm2"] == pytest.approx(whole["internal_area_mm2"] / 2, rel=1e-6)
    with pytest.raises(BadInput):
        lookup("drill", "#7", engagement=parse_length("3 mm"))
    with pytest.raises(BadInput) as refused:
        lookup("thread", "M6", engagement=parse_length("0 mm"))
    assert refused.value.where == "engagement"


def test_a_gauge_number_answers_with_thickness_system_and_source():
    """16 gauge steel is 0.0598 in, with its system and source."""
    answer = lookup("sheet", "16 ga steel")
    assert answer["schema"] == "firstpull/lookup/sheet/1"
    assert answer["thickness_in"] == pytest.approx(0.0598, abs=1e-9)
    assert answer["thickness_mm"] == pytest.approx(1.51892, abs=1e-9)
    assert "Manufacturers" in answer["system"]
    assert answer["source"]


def test_a_plain_thickness_answers_with_the_gauges_near_it():
    """A thickness in mm answers with the nearest gauge of each metal; one of zero is refused."""
    answer = lookup("sheet", "1.5 mm")
    assert [one["metal"] for one in answer["nearest_gauges"]] == ["steel", "galvanised", "aluminium", "stainless"]
    with pytest.raises(BadInput):
        lookup("sheet", "0 mm")


def test_a_drill_answers_with_its_diameter_and_its_neighbours():
    """#7 is 0.201 in; its neighbours come with their misfit."""
    answer = lookup("drill", "#7")
    assert (answer["drill"], answer["diameter_in"], answer["diameter_mm"]) == ("#7", 0.201, 5.1054)
    assert answer["nearest"][0] == {"drill": "5.1 mm", "diameter_mm": 5.1, "misfit_mm": -0.0054}


@pytest.mark.parametrize(("kind", "text"), [("bolt", "M6"), ("thread", "bolt"), ("sheet", "16 ga"), ("drill", "7")])
def test_what_cannot_be_looked_up_is_refused(kind, text):
    """An unknown kind, or text that cannot be read, is refused with what would be right."""
    with pytest.raises(BadInput) as refused:
        lookup(kind, text)
    assert refused.value.hint


def test_answers_are_plain_json():
    """Every answer goes through JSON unchanged and holds no NaN."""
    for kind, text in (
        ("thread", "M6"),
        ("thread", "10-32"),
        ("sheet", "16 ga steel"),
        ("sheet", "2 mm"),
        ("drill", "F"),
    ):
        answer = lookup(kind, text)
        assert json.loads(json.dumps(answer, allow_nan=False)) == answer

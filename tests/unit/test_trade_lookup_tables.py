"""Looking up the tables by name, and what is said of a name that is not held."""

from __future__ import annotations

import json

import pytest

from firstpull.cli import reckon
from firstpull.errors import BadInput
from firstpull.trade.lookup import KINDS, lookup
from firstpull.trade.texts import near


def test_a_material_has_its_strengths_and_says_what_else_bears_the_name() -> None:
    """“steel” is a sheet and an insert material; a coating says whether it parts metals."""
    answer = lookup("material", "steel")
    assert (answer["material"], answer["kind"], answer["tensile_mpa"]) == ("DC01", "sheet", 270)
    assert [one["kind"] for one in answer["others"]] == ["insert"]
    assert lookup("material", "powder coat")["parts_metals"] is True


def test_a_screw_class_and_a_nut_factor() -> None:
    """8.8 in MPa, grade 5 in ksi as well, K with its scatter."""
    assert lookup("screw-class", "8.8")["proof_mpa"] == 580
    assert lookup("screw-class", "grade 5")["inch"] == {"proof_ksi": 85, "tensile_ksi": 120}
    answer = lookup("nut-factor", "zinc-plated")
    assert (answer["condition"], answer["factor"], answer["scatter"]) == ("zinc plated", 0.2, 0.3)


@pytest.mark.parametrize(
    "text", ["stainless A2 / EN AW-5754", "stainless A2 on EN AW-5754", "stainless A2, EN AW-5754"]
)
def test_a_metal_pair_says_where_it_may_touch(text: str) -> None:
    """0.40 V apart: dry and controlled air only, and the aluminium is eaten."""
    answer = lookup("galvanic", text)
    assert answer["difference_v"] == pytest.approx(0.4)
    assert answer["may_touch"] == {"harsh": False, "normal": False, "controlled": True}
    assert answer["eaten"] == "EN AW-5754"


def test_one_metal_a_temperature_and_a_clearance_hole() -> None:
    """A metal alone has its index; a material its range; a thread its three holes, in both units for inch threads."""
    assert lookup("galvanic", "gold")["anodic_index_v"] == 0
    assert lookup("temperature", "stainless A2")["most_c"] == 300
    assert lookup("clearance-hole", "M6x0.75")["medium_mm"] == 6.6
    inch = lookup("clearance-hole", "1/4-20")
    assert inch["inch"]["medium_in"] == 0.28125
    assert inch["printed"]["medium"] == "9/32 in"


@pytest.mark.parametrize(
    ("kind", "text", "hint"),
    [
        ("material", "DC10", "“DC01”"),
        ("material", "stainles A2", "stainless A2"),
        ("screw-class", "8.9", "8.8"),
        ("nut-factor", "wet", "lubricated"),
        ("galvanic", "steel on zincc", "“zinc”"),
        ("galvanic", "one / two / three", "Near it"),
        ("temperature", "powder cote", "“powder coat”"),
        ("clearance-hole", "12-24", "M3 to M12"),
        ("clearance-hole", "M9", "Near it"),
    ],
)
def test_a_name_that_is_not_held_names_the_near_ones(kind: str, text: str, hint: str) -> None:
    """Every refusal says where, and what is near."""
    with pytest.raises(BadInput) as caught:
        lookup(kind, text)
    assert hint in caught.value.hint
    assert caught.value.where


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("text", ["", " ", "x" * 61, "☃"])
def test_nonsense_is_refused_for_every_kind(kind: str, text: str) -> None:
    """Nothing but BadInput comes of text that means nothing."""
    with pytest.raises(BadInput):
        lookup(kind, text)


def test_every_answer_is_plain_and_the_command_knows_every_kind() -> None:
    """Answers are JSON with a schema of their kind; the command offers the same kinds."""
    assert reckon.KINDS == KINDS
    for kind, text in (("material", "DC01"), ("galvanic", "gold / silver"), ("clearance-hole", "M8")):
        answer = json.loads(json.dumps(lookup(kind, text), allow_nan=False))
        assert answer["schema"] == f"firstpull/lookup/{kind}/1"
        assert answer["source"]


def test_near_names_are_the_likest_ones() -> None:
    """Likeness first, then names that hold the text; the first names where nothing is like it."""
    assert near("zinc plat", ("gold", "zinc plate", "zinc"))[0] == "zinc plate"
    assert near("☃", ("gold", "silver")) == ("gold", "silver")

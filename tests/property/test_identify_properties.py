"""What holds for any catalogue and any insert in the hand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.mechanics.identify import InHand, identify
from firstpull.mechanics.identify_model import PART_SD_MM, believe, columns, entropy_bits, information_bits
from firstpull.mechanics.insert import BODIES, ENDS, HEADS, Insert
from firstpull.units import Length, parse_length, show_length
from mechanics_examples import M6

UNTIMED = settings(deadline=None, max_examples=60)
THREADS = ("M5", "M6", "M8x1", "1/4-20", "10-32")
some_length = st.integers(8_000_000, 30_000_000).map(Length)
rows = st.builds(
    lambda **given: replace(M6, **given),
    part=st.text("abcdef", min_size=1, max_size=4),
    thread=st.sampled_from(THREADS),
    length_free=some_length,
    end=st.sampled_from(ENDS),
    head=st.sampled_from(HEADS),
    body=st.sampled_from(BODIES),
    flange_diameter=st.none() | some_length,
    body_diameter=st.none() | some_length,
    head_marks=st.none() | st.integers(0, 9),
)
catalogues = st.lists(rows, min_size=1, max_size=12).map(tuple)
sights = st.fixed_dictionaries(
    {"thread": st.sampled_from((*THREADS, "M12"))},
    optional={
        "free_length": st.integers(1, 200_000_000).map(Length),
        "flange_diameter": some_length,
        "body_diameter": some_length,
        "end": st.sampled_from(ENDS),
        "head": st.sampled_from(HEADS),
        "body": st.sampled_from(BODIES),
        "head_marks": st.integers(0, 20),
        "gauge_error_mm": st.floats(0, 1),
    },
).map(lambda given: InHand(**given))


@UNTIMED
@given(catalogue=catalogues, seen=sights)
def test_the_chances_make_one(catalogue: tuple[Insert, ...], seen: InHand) -> None:
    """Rows listed, rows not listed and “none of these” make one; every number is finite and no chance is negative."""
    found = identify(catalogue, seen, most=3)
    chances = [*(match.probability for match in found.matches), found.others_probability, found.none_probability]
    assert math.isclose(math.fsum(chances), 1, abs_tol=1e-9)
    assert all(0 <= chance <= 1 + 1e-12 for chance in chances)
    assert 0 <= found.entropy_bits <= math.log2(len(catalogue) + 1) + 1e-9
    assert all(math.isfinite(item.bits) and item.bits >= 0 for item in found.suggestions)


@UNTIMED
@given(catalogue=catalogues, seen=sights)
def test_no_answer_tells_more_than_is_open(catalogue: tuple[Insert, ...], seen: InHand) -> None:
    """What a measurement is expected to tell never exceeds what is still open."""
    found = identify(catalogue, seen)
    assert all(item.bits <= found.entropy_bits + 2e-4 for item in found.suggestions)


def _expected_chance_mm(catalogue: tuple[Insert, ...], name: str, *, true: int, gauge_sd_mm: float) -> float:
    """The chance of the true row after one reading, averaged over what may be read of it (quadrature on a fine grid)."""
    table = columns(catalogue)
    mean = table.lengths[name].mean[true]
    sd = math.hypot(float(table.lengths[name].sd[true]), gauge_sd_mm)
    grid = np.linspace(-6, 6, 481)
    weights = np.exp(-0.5 * grid**2)
    chances = [float(believe(table, {}, {name: mean + sd * z}, gauge_sd_mm=gauge_sd_mm).rows[true]) for z in grid]
    return float(np.dot(weights, chances) / weights.sum())


@settings(deadline=None, max_examples=25)
@given(
    catalogue=st.lists(rows, min_size=2, max_size=6).map(tuple),
    fine=st.floats(0, 0.2),
    more=st.floats(0.01, 0.5),
    name=st.sampled_from(tuple(PART_SD_MM)),
)
def test_a_better_gauge_never_makes_the_true_row_less_likely_on_average(
    catalogue: tuple[Insert, ...], fine: float, more: float, name: str
) -> None:
    """Averaged over what may be read of the true row, a smaller gauge error gives it at least the same chance."""
    table = columns(catalogue)
    if name not in table.lengths:
        return
    better = _expected_chance_mm(catalogue, name, true=0, gauge_sd_mm=fine)
    worse = _expected_chance_mm(catalogue, name, true=0, gauge_sd_mm=math.hypot(fine, more))
    assert better >= worse - 1e-6


@UNTIMED
@given(catalogue=catalogues, tenths=st.integers(2500, 10_000))
def test_typing_inches_changes_nothing(catalogue: tuple[Insert, ...], tenths: int) -> None:
    """The same length typed in inches or mm gives the same chances, and the answer in inches has the same numbers."""
    inch = parse_length(f"{tenths / 10} thou")
    metric = parse_length(show_length(inch, "mm", decimals=6) + " mm")

    def numbers(reading: Length, unit: Any) -> list[float]:
        found = identify(catalogue, InHand(free_length=reading), unit=unit)
        return [*(match.probability for match in found.matches), *(item.bits for item in found.suggestions)]

    assert numbers(inch, "in") == numbers(metric, "mm")


@UNTIMED
@given(catalogue=catalogues, seen=sights, name=st.sampled_from(("end", "head", "body", "head_marks")))
def test_the_expected_fall_of_entropy_is_what_the_answers_give(
    catalogue: tuple[Insert, ...], seen: InHand, name: str
) -> None:
    """For a word, the information is exactly the entropy now less the mean entropy over all its answers."""
    table = columns(catalogue, most_marks=20)
    given_words = {"thread": table.words["thread"].names.index("M6x1")}
    now = believe(table, given_words, {}, gauge_sd_mm=0.02)
    answers = range(len(table.words[name].names))
    after = [believe(table, {**given_words, name: code}, {}, gauge_sd_mm=0.02) for code in answers]
    # P(answer) from the ratio of joint to posterior of the row that is likeliest now
    place = int(np.argmax(now.rows))
    column = table.words[name]
    same = {"end": 0.99, "head": 0.95, "body": 0.95, "head_marks": 0.85}[name]
    count, code_of = len(column.names), int(column.codes[place])
    chances = []
    for code in answers:
        likelihood = 1 / count if code_of < 0 else same if code == code_of else (1 - same) / (count - 1)
        chances.append(float(now.rows[place]) * likelihood / float(after[code].rows[place]))
    expected = entropy_bits(now) - math.fsum(
        chance * entropy_bits(belief) for chance, belief in zip(chances, after, strict=True)
    )
    assert math.isclose(information_bits(table, now, name, gauge_sd_mm=0.02), expected, abs_tol=1e-9)

"""The fewest things against trying every set of them."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.errors import BadInput
from firstpull.mechanics.cover import Cover, Option, Progress, fewest

Score = tuple[int, int, int, int, int]


def score(options: Sequence[Option], group_of: Sequence[int]) -> Score:
    """What is compared, less is better."""
    items = {o.item for o in options}
    worths = [o.worth for o in options]
    return len(items), len({group_of[i] for i in items}), len({o.helper for o in options}), -min(worths), -sum(worths)


def by_trying(options: Sequence[Option], group_of: Sequence[int]) -> Score:
    """The best score over every set of items and helpers."""
    needs = sorted({o.need for o in options})
    items, helpers = sorted({o.item for o in options}), sorted({o.helper for o in options})
    best: Score | None = None
    for chosen in _subsets(items):
        for with_help in _subsets(helpers):
            served = {}
            for o in options:
                if o.item in chosen and o.helper in with_help and o.worth > served.get(o.need, (-(10**9), None))[0]:
                    served[o.need] = (o.worth, o)
            if len(served) < len(needs):
                continue
            worths = [worth for worth, _option in served.values()]
            found = len(chosen), len({group_of[i] for i in chosen}), len(with_help), -min(worths), -sum(worths)
            best = found if best is None else min(best, found)
    assert best is not None
    return best


def _subsets(things: Sequence[int]) -> list[tuple[int, ...]]:
    return [some for size in range(1, len(things) + 1) for some in itertools.combinations(things, size)]


@st.composite
def instances(draw: st.DrawFn) -> tuple[list[Option], list[int]]:
    """A few needs, items and helpers, each need with one option at least."""
    needs, items, helpers = draw(st.integers(1, 5)), draw(st.integers(1, 6)), draw(st.integers(1, 3))
    group_of = draw(st.lists(st.integers(0, 2), min_size=items, max_size=items))
    options = []
    for need in range(needs):
        pairs = draw(
            st.sets(
                st.tuples(st.integers(0, items - 1), st.integers(0, helpers - 1)), min_size=1, max_size=items * helpers
            )
        )
        options += [Option(need, item, helper, draw(st.integers(0, 12))) for item, helper in sorted(pairs)]
    return options, group_of


@settings(deadline=None, max_examples=80)
@given(instance=instances())
def test_nothing_beats_the_answer(instance: tuple[list[Option], list[int]]) -> None:
    """Counts of items, groups and helpers, the tightest worth and the total are those found by trying everything."""
    options, group_of = instance
    found = fewest(options, group_of=group_of)
    assert found.proven
    assert score(found.options, group_of) == by_trying(options, group_of)
    assert found.least_items == len(found.items)
    assert [o.need for o in found.options] == sorted({o.need for o in options})
    assert set(found.options) <= set(options)


@settings(deadline=None, max_examples=25)
@given(instance=instances(), seed=st.integers(0, 1000))
def test_the_order_of_the_options_does_not_matter(instance: tuple[list[Option], list[int]], seed: int) -> None:
    """Any order of the options gives the same answer."""
    options, group_of = instance
    mixed = list(options)
    random.Random(seed).shuffle(mixed)
    assert fewest(mixed, group_of=group_of) == fewest(options, group_of=group_of)


def _wide() -> tuple[list[Option], list[int]]:
    chance = random.Random(7)
    options = [
        Option(need, item, 0, chance.randrange(100)) for need in range(30) for item in chance.sample(range(40), 5)
    ]
    return options, [item % 4 for item in range(40)]


def _valid(found: Cover, options: Sequence[Option]) -> bool:
    return set(found.options) <= set(options) and len(found.options) == 30


def test_a_cancelled_search_gives_a_cover_that_is_not_called_proven() -> None:
    """Stopped before the first slice, or after a few, the answer serves every need and says that it is not proven."""
    options, group_of = _wide()
    best = fewest(options, group_of=group_of)
    at_once = fewest(options, group_of=group_of, cancelled=lambda: True)
    assert not at_once.proven
    assert _valid(at_once, options)
    assert at_once.least_items <= len(best.items) <= len(at_once.items)
    asked: list[int] = []

    def after_three() -> bool:
        asked.append(1)
        return len(asked) > 3

    later = fewest(options, group_of=group_of, cancelled=after_three)
    assert not later.proven
    assert _valid(later, options)
    assert len(later.items) == len(best.items)


def test_progress_names_the_steps_in_their_order() -> None:
    """Six steps are told in their order (again and again while one lasts), with the best count so far."""
    options, group_of = _wide()
    told: list[Progress] = []
    found = fewest(options, group_of=group_of, progress=told.append)
    places = [step.place for step in told]
    assert places == sorted(places)
    assert set(places) == {1, 2, 3, 4, 5, 6}
    assert told[-1].best == len(found.items)


@pytest.mark.parametrize(
    "options", [[], [Option(0, 1, 0, 0)], [Option(-1, 0, 0, 0)], [Option(0, 0, 0, 10**10)]], ids=str
)
def test_what_cannot_be_is_refused(options: list[Option]) -> None:
    """No option, a number out of range and a worth too large are refused."""
    with pytest.raises(BadInput):
        fewest(options, group_of=[0])


@pytest.mark.parametrize(
    ("worths", "taken"),
    [
        (((1, 10), (5, 5)), 1),  # the tightest counts before the total
        (((5, 5), (1, 10)), 0),
        (((5, 6), (5, 7)), 1),  # then the total
        (((5, 7), (7, 5)), 0),  # then the lower number
    ],
)
def test_the_tightest_counts_before_the_total_and_the_number_last(
    worths: tuple[tuple[int, int], ...], taken: int
) -> None:
    """Two items that each serve both needs, of which one is enough: worked by eye."""
    options = [Option(need, item, 0, worth) for item, both in enumerate(worths) for need, worth in enumerate(both)]
    assert fewest(options, group_of=[0, 0]).items == (taken,)

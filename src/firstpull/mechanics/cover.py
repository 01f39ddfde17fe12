"""The fewest things that serve every need: an exact set cover in several steps, each by a mixed-integer programme."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.errors import BadInput, FirstpullError

_FIRST_SLICE_S = 0.25
_LONGEST_SLICE_S = 4.0
_STEPS = ("items", "groups", "helpers", "tightest", "total", "order")
_OPTIMAL, _LIMIT, _INFEASIBLE = 0, 1, 2

Floats = NDArray[np.float64]
_Row = tuple[dict[int, float], float, float]  # coefficients by variable, lower and upper bound


@dataclass(frozen=True, slots=True)
class Option:
    """One way to serve a need: by an item, with a helper, at a worth (a whole number, more is better)."""

    need: int
    item: int
    helper: int
    worth: int


@dataclass(frozen=True, slots=True)
class Progress:
    """How far long work has come: the step, its place among ``of``, the count that is best so far, and the count that no
    answer can be under (``bound``; 0 = nothing is known yet)."""

    step: str
    place: int
    of: int
    best: int | None
    bound: int = 0


@dataclass(frozen=True, slots=True)
class Cover:
    """The answer: what is used, and the option that serves each need, in the order of the needs. ``proven`` = nothing
    better exists; ``least_items`` = no cover has fewer items, known even when the work was stopped."""

    items: tuple[int, ...]
    groups: tuple[int, ...]
    helpers: tuple[int, ...]
    options: tuple[Option, ...]
    proven: bool
    least_items: int


class _Stopped(Exception):
    """The work was cancelled; the best so far is kept."""


def fewest(
    options: Sequence[Option],
    *,
    group_of: Sequence[int],
    cancelled: Callable[[], bool] = lambda: False,
    progress: Callable[[Progress], None] = lambda _step: None,
) -> Cover:
    """The fewest items that serve every need named in ``options``, then fewest groups of items, then fewest helpers,
    then the greatest tightest worth, then the greatest total worth; ties to the lowest sum of item numbers.

    Needs, items and helpers are counted from 0 (numbers, no unit); ``group_of`` holds each item's group. An item that
    another of its group equals or betters for every need and helper is not used. ``cancelled`` is asked before each
    slice of the work (at most 4 s); once it says yes the best so far is returned, not proven. ``progress`` is told at
    each step, and again after each slice that did not end it. Source: set covering,
    Garey and Johnson 1979, problem SP5; solved exactly by HiGHS (Huangfu and Hall, Mathematical Programming
    Computation 10, 2018) with no gap allowed. Raises BadInput for no option or a worth over 10⁹.
    """
    _check(options, group_of)
    work = _Work(_undominated(options, group_of), tuple(group_of), cancelled, progress)
    try:
        work.run()
    except _Stopped:
        return work.answer(proven=False)
    return work.answer(proven=True)


def _check(options: Sequence[Option], group_of: Sequence[int]) -> None:
    if not options:
        raise BadInput("There is nothing to choose from.", where="options")
    for option in options:
        if min(option.need, option.item, option.helper) < 0 or option.item >= len(group_of):
            raise BadInput("Needs, items and helpers are counted from 0.", where="options")
        if abs(option.worth) > 10**9:
            raise BadInput(f"A worth of {option.worth} is too large.", where="options", hint="Up to 10⁹.")


def _undominated(options: Sequence[Option], group_of: Sequence[int]) -> tuple[Option, ...]:
    """The options of items that no other item of their group equals or betters everywhere."""
    places = {key: place for place, key in enumerate(sorted({(o.need, o.helper) for o in options}))}
    items = sorted({o.item for o in options})
    rows = {item: row for row, item in enumerate(items)}
    table = np.full((len(items), len(places)), -math.inf)
    for option in options:
        at = rows[option.item], places[option.need, option.helper]
        table[at] = max(table[at], option.worth)
    # what is equalled or bettered everywhere has no greater sum than what does it, so the greatest sums go first
    sums = np.where(np.isfinite(table), table - table[np.isfinite(table)].min() + 1, 0.0).sum(axis=1)
    kept: dict[int, list[int]] = {}
    for row in np.lexsort((np.arange(len(items)), -sums)):
        mine = kept.setdefault(group_of[items[row]], [])
        if not (table[mine] >= table[row]).all(axis=1).any():
            mine.append(int(row))
    left = {items[row] for some in kept.values() for row in some}
    best = {(o.need, o.item, o.helper): o for o in sorted(options, key=lambda o: o.worth) if o.item in left}
    return tuple(best[key] for key in sorted(best))


@dataclass(slots=True)
class _Work:
    """The steps, and the best cover so far. Variables: items, groups, helpers, then options."""

    options: tuple[Option, ...]
    group_of: tuple[int, ...]
    cancelled: Callable[[], bool]
    progress: Callable[[Progress], None]
    needs: tuple[int, ...] = ()
    items: tuple[int, ...] = ()
    groups: tuple[int, ...] = ()
    helpers: tuple[int, ...] = ()
    used: tuple[frozenset[int], frozenset[int]] = field(default=(frozenset(), frozenset()))
    caps: list[_Row] = field(default_factory=list)
    least_items: int = 1
    step: int = 0

    def __post_init__(self) -> None:
        self.needs = tuple(sorted({o.need for o in self.options}))
        self.items = tuple(sorted({o.item for o in self.options}))
        self.groups = tuple(sorted({self.group_of[item] for item in self.items}))
        self.helpers = tuple(sorted({o.helper for o in self.options}))
        self.used = (self._greedy(), frozenset(self.helpers))

    def run(self) -> None:
        count, groups, helpers = len(self.items), len(self.groups), len(self.helpers)
        self.tell(0)
        self._shrink(range(count), first=True)
        self.tell(1)
        self._shrink(range(count, count + groups))
        self.tell(2)
        self._shrink(range(count + groups, count + groups + helpers))
        self.tell(3)
        least = self._raise_tightest()
        self.tell(4)
        chances = [(place, option) for place, option in enumerate(self.options) if option.worth >= least]
        worths = {self._option(place): -float(option.worth) for place, option in chances}
        if any(worths.values()):
            total = self._solve(worths, least=least, exact=True)
            self.caps.append((worths, -math.inf, total + 0.5))
        self.tell(5)
        for power in (1, 2):
            ranks = {place: float((place + 1) ** power) for place in range(count)}
            reached = self._solve(ranks, least=least, exact=True)
            self.caps.append((ranks, -math.inf, reached + 0.5))

    def answer(self, *, proven: bool) -> Cover:
        options = self._assigned(*self.used)
        items = tuple(sorted({o.item for o in options}))
        groups = tuple(sorted({self.group_of[item] for item in items}))
        return Cover(items, groups, tuple(sorted({o.helper for o in options})), options, proven, self.least_items)

    def tell(self, place: int) -> None:
        self.step = place
        best = len({o.item for o in self._assigned(*self.used)})
        self.progress(Progress(_STEPS[place], place + 1, len(_STEPS), best, self.least_items))

    def _shrink(self, places: range, *, first: bool = False) -> None:
        """As few as can be of the variables at ``places``, and no more of them from here on."""
        if len(places) == 1:
            return
        ones = dict.fromkeys(places, 1.0)
        reached = self._solve(ones, first=first)
        self.caps.append((ones, -math.inf, reached + 0.5))
        if first:
            self.least_items = round(reached)

    def _raise_tightest(self) -> int:
        """The greatest worth that every need can have within the caps, by halving the worths that are there."""
        low = min(option.worth for option in self._assigned(*self.used))
        bests = [max(o.worth for o in self.options if o.need == need) for need in self.needs]
        steps = sorted({o.worth for o in self.options if low < o.worth <= min(bests)})
        while steps:
            middle = len(steps) // 2
            if self._can(steps[middle]):
                low = max(steps[middle], min(option.worth for option in self._assigned(*self.used)))
                steps = [step for step in steps[middle + 1 :] if step > low]
            else:
                steps = steps[:middle]
        return low

    def _can(self, least: int) -> bool:
        return not math.isnan(self._solve({}, least=least))

    def _solve(
        self, goal: dict[int, float], *, least: int | None = None, exact: bool = False, first: bool = False
    ) -> float:
        """The least of ``goal`` within the caps, as a whole number; not a number when nothing fits. The cover found is
        kept. ``exact``: each need has one option (for goals that weigh options). Raises _Stopped."""
        rows = [*self.caps, *self._rows(least, each_once=exact)]
        slice_s, floor = _FIRST_SLICE_S, -math.inf
        while True:
            if self.cancelled():
                raise _Stopped
            result = self._milp(goal, [*rows, (goal, floor, math.inf)] if goal else rows, slice_s)
            if result.status == _INFEASIBLE:
                return math.nan
            if result.x is not None:
                self._keep(np.asarray(result.x))
            if result.status == _OPTIMAL:
                return float(round(result.fun))
            if result.status != _LIMIT:
                raise FirstpullError(f"The solver gave up: {result.message}", hint="Try with fewer joints.")
            # Each slice starts anew, but never below what is proven; slices grow, so little is lost.
            bound = getattr(result, "mip_dual_bound", None)
            floor = max(floor, math.ceil(bound - 1e-6) - 0.5 if bound is not None and math.isfinite(bound) else floor)
            if first and math.isfinite(floor):
                self.least_items = max(self.least_items, round(floor + 0.5))
            self.tell(self.step)
            slice_s = min(2 * slice_s, _LONGEST_SLICE_S)

    def _milp(self, goal: dict[int, float], rows: Sequence[_Row], slice_s: float) -> Any:
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        size = len(self.items) + len(self.groups) + len(self.helpers) + len(self.options)
        cost, whole = np.zeros(size), np.zeros(size, dtype=np.int64)
        for place, value in goal.items():
            cost[place] = value
        whole[: size - len(self.options)] = 1
        data = [value for row, _low, _high in rows for value in row.values()]
        column = [place for row, _low, _high in rows for place in row]
        start = np.cumsum([0, *(len(row) for row, _low, _high in rows)])
        matrix = csr_array((data, column, start), shape=(len(rows), size))
        limits = LinearConstraint(matrix, [row[1] for row in rows], [row[2] for row in rows])
        return milp(
            cost,
            integrality=whole,
            bounds=Bounds(0, 1),
            constraints=limits,
            options={"time_limit": slice_s, "mip_rel_gap": 0.0},
        )

    def _rows(self, least: int | None, *, each_once: bool) -> list[_Row]:
        """Every need served; an option needs its item and its helper; an item needs its group."""
        item_at = {item: place for place, item in enumerate(self.items)}
        group_at = {group: len(self.items) + place for place, group in enumerate(self.groups)}
        helper_at = {helper: len(self.items) + len(self.groups) + place for place, helper in enumerate(self.helpers)}
        rows: list[_Row] = [({item_at[i]: 1.0, group_at[self.group_of[i]]: -1.0}, -math.inf, 0.0) for i in self.items]
        served: dict[int, dict[int, float]] = {need: {} for need in self.needs}
        near: dict[int, set[int]] = {need: set() for need in self.needs}
        tied: dict[tuple[int, int], dict[int, float]] = {}
        plain = len(self.helpers) == 1 and not each_once
        for place, option in enumerate(self.options):
            if least is not None and option.worth < least:
                rows.append(({self._option(place): 1.0}, 0.0, 0.0))
                continue
            # Implied by the others for whole numbers; it lets the solver see sooner that fewer are not enough.
            near[option.need].add(group_at[self.group_of[option.item]])
            if plain:  # without a choice of helpers an item serves by itself: a far smaller programme
                served[option.need][item_at[option.item]] = 1.0
            else:
                served[option.need][self._option(place)] = 1.0
                for key in ((option.need, item_at[option.item]), (option.need, helper_at[option.helper])):
                    tied.setdefault(key, {key[1]: -1.0})[self._option(place)] = 1.0
        rows += [(row, 1.0, 1.0 if each_once else math.inf) for row in served.values()]
        rows += [(dict.fromkeys(sorted(row), 1.0), 1.0, math.inf) for row in near.values()]
        rows += [(row, -math.inf, 0.0) for row in tied.values()]
        return rows

    def _option(self, place: int) -> int:
        return len(self.items) + len(self.groups) + len(self.helpers) + place

    def _keep(self, x: Floats) -> None:
        """Take a solution's items and helpers, when they serve every need and are no worse."""
        items = frozenset(item for place, item in enumerate(self.items) if x[place] > 0.5)
        start = len(self.items) + len(self.groups)
        helpers = frozenset(h for place, h in enumerate(self.helpers) if x[start + place] > 0.5)
        if len(self.helpers) == 1:
            helpers = frozenset(self.helpers)
        found = self._assigned(items, helpers)
        if len(found) == len(self.needs) and self._score(found) <= self._score(self._assigned(*self.used)):
            self.used = (frozenset(o.item for o in found), frozenset(o.helper for o in found))

    def _score(self, options: Sequence[Option]) -> tuple[int, int, int, int, int]:
        """What is made small, the first before all; the order of items, last of all, is left to the programme."""
        items, worths = {o.item for o in options}, [o.worth for o in options]
        groups, helpers = {self.group_of[item] for item in items}, {o.helper for o in options}
        return len(items), len(groups), len(helpers), -min(worths), -sum(worths)

    def _assigned(self, items: frozenset[int], helpers: frozenset[int]) -> tuple[Option, ...]:
        """The best option of each need among those items and helpers; ties to the lower numbers."""
        best: dict[int, Option] = {}
        for option in self.options:
            if option.item in items and option.helper in helpers:
                held = best.get(option.need)
                if held is None or option.worth > held.worth:
                    best[option.need] = option
        return tuple(best[need] for need in self.needs if need in best)

    def _greedy(self) -> frozenset[int]:
        """Items that serve every need, the one that serves most of the rest first: where the search begins."""
        serves: dict[int, set[int]] = {}
        for option in self.options:
            serves.setdefault(option.item, set()).add(option.need)
        left, taken = set(self.needs), set()
        while left:
            item = max(sorted(serves), key=lambda one: len(serves[one] & left))
            taken.add(item)
            left -= serves[item]
        return frozenset(taken)

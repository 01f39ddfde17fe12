"""Do groups differ by more than chance? Batches of inserts, mandrels, days: the one-way analysis of variance.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods 7.4.3 (one-way ANOVA), 3.2.3.1; judged by the NIST Statistical
Reference Datasets (SmLs01 to SmLs09, AtmWtAg, SiRstv).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_count, some_numbers
from firstpull.statistics.moments import moments


@dataclass(frozen=True, slots=True)
class GroupMean:
    """One group: its name, how many values, their mean and sd (None for one value), in the unit of the values."""

    name: str
    n: int
    mean: float
    sd: float | None


@dataclass(frozen=True, slots=True)
class GroupsCompared:
    """Groups compared. ``chance`` is that of an F at least this large when all groups share one mean.

    ``sd_within`` is the pooled scatter inside the groups, ``sd_between`` that of the groups' true means (0 where the
    estimate came out negative), both in the unit of the values. ``r_squared`` is the share of the sum of squares
    between.
    """

    groups: tuple[GroupMean, ...]
    square_between: float
    freedom_between: int
    square_within: float
    freedom_within: int
    f: float
    chance: float
    r_squared: float
    sd_within: float
    sd_between: float


def compare_groups(groups: Mapping[str, Sequence[float]]) -> GroupsCompared:
    """One-way analysis of variance of 2 to 1000 named groups of values, all in one unit; groups need not be equally large.

    Raises BadInput: fewer than two groups, no group with two values, no scatter inside the groups.
    Source: NIST/SEMATECH e-Handbook 7.4.3.3: F = (SSB/(k − 1))/(SSW/(N − k)); between groups of unequal size the
    variance is (MSB − MSW)/n₀, n₀ = (N − Σn²/N)/(k − 1).
    """
    from scipy.special import fdtrc

    a_count(len(groups), "number of groups", least=2, most=1000)
    table = {name: some_numbers(values, f"group {name}", least=1) for name, values in groups.items()}
    # One reading is taken off all others first: the differences of near numbers are exact.
    base = next(iter(table.values()))[0]
    found = {name: moments([value - base for value in values]) for name, values in table.items()}
    count = sum(m.n for m in found.values())
    between_freedom, within_freedom = len(found) - 1, count - len(found)
    if within_freedom < 1:
        raise BadInput("No group has two values.", where="groups", hint="Measure each group more than once.")
    grand = math.fsum(m.n * m.mean for m in found.values()) / count
    between = math.fsum(m.n * (m.mean - grand) ** 2 for m in found.values())
    within = math.fsum(m.square for m in found.values())
    largest = max(abs(value - base) for values in table.values() for value in values)
    if within <= 1e-26 * largest * largest:
        raise BadInput(
            "The values inside the groups do not scatter, so there is nothing to compare with.",
            where="groups",
            hint="Read one digit more.",
        )
    mean_between, mean_within = between / between_freedom, within / within_freedom
    size = (count - math.fsum(m.n**2 for m in found.values()) / count) / between_freedom
    ratio = mean_between / mean_within
    return GroupsCompared(
        groups=tuple(GroupMean(name, m.n, base + m.mean, m.sd if m.n > 1 else None) for name, m in found.items()),
        square_between=between,
        freedom_between=between_freedom,
        square_within=within,
        freedom_within=within_freedom,
        f=ratio,
        chance=float(fdtrc(between_freedom, within_freedom, ratio)),
        r_squared=between / (between + within),
        sd_within=math.sqrt(mean_within),
        sd_between=math.sqrt(max(0.0, mean_between - mean_within) / size),
    )

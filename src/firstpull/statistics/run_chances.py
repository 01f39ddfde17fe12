"""How soon any set of the eight run rules holds, exactly: rises and falls (rules 5 and 6) beside the zones of the others.

For independent values with one steady normal distribution. A value enters by its place u between 0 and 1 in its own
distribution. What matters of the past is then which zone rules are under way, how long values have been rising, falling
or going up and down by turns, and the last u. The chance that nothing has held after one more value is an integral over
the next u, split at the last one; inside a zone it is a smooth function of the last u and held at Gauss–Legendre places
(spectral collocation), so that nothing is rounded to a grid.

Sources: C. W. Champ, W. H. Woodall, Technometrics 29 (1987) 393–399 (the chain of the zone rules); R. B. Davis,
W. H. Woodall, Journal of Quality Technology 20 (1988) 260–262 (a trend rule beside the limits); E. Walker,
J. W. Philpot, J. Clement, Journal of Quality Technology 23 (1991) 247–252 (false alarms of supplementary rules);
counts of rising and of alternating permutations that this must meet: D. André, Comptes rendus 88 (1879) 965–967;
F. N. David, D. E. Barton, Combinatorial Chance, 1962 (chapter from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

_Floats = npt.NDArray[np.float64]
Past = tuple[int, ...]
After = Callable[[Past, int, tuple[int, ...]], Past | None]
"""What the zone rules remember after one more value in a zone; None where one of them holds."""

_PLACES = 6
_Trend = tuple[int, int, int]  # direction of the last step, steps in it, steps by turns
_STEPS_RISING, _STEPS_BY_TURNS = 5, 13
_MOST_POINTS = 1_000_000


@dataclass(frozen=True, slots=True)
class _Chain:
    """Blocks of the past, each with its places in the last value's zone.

    ``spread`` takes integrals of blocks to blocks of other zones; ``up`` and ``down`` name the block in the same zone
    after a rise or a fall (the last, empty block where a rule holds); ``above`` and ``below`` are the integrals from a
    place to its zone's end. ``first`` are the chances of the first value's blocks.
    """

    spread: Any
    up: npt.NDArray[np.intp]
    down: npt.NDArray[np.intp]
    widths: _Floats
    above: _Floats
    below: _Floats
    weights: _Floats
    first: _Floats

    def step(self, chances: _Floats) -> _Floats:
        """The chances of no signal in one more value than before."""
        padded = np.vstack([chances, np.zeros((1, chances.shape[1]))])
        own = padded[self.up] @ self.above.T + padded[self.down] @ self.below.T
        total: _Floats = self.widths[:, None] * own + (self.spread @ (chances @ self.weights))[:, None]
        return total


def survivals(rules: tuple[int, ...], shift: float, *, after: After, start: Past) -> Iterator[float]:
    """The chance that no rule holds within 1, 2, 3 … values; no unit, ``shift`` in sigmas of a value.

    Source: the module's; ``after`` and ``start`` are the zone rules' memory (:mod:`run_lengths`).
    """
    chain = _chain(rules, shift, after, start)
    chances = np.ones((len(chain.widths), len(chain.weights)))
    while True:
        yield min(1.0, float(chain.first @ (chances @ chain.weights)))
        chances = chain.step(chances)


def mean_length(rules: tuple[int, ...], shift: float, *, after: After, start: Past) -> float | None:
    """The sum of the survivals, its geometric tail in closed form; None where that does not settle.

    In values, no unit. Source: E T = Σ P(T > n); the tail's ratio is the chain's largest eigenvalue.
    """
    total, last, ratio, steady = 1.0, 1.0, 0.0, 0
    for count, chance in enumerate(survivals(rules, shift, after=after, start=start)):
        if chance < 1e-300:
            return total
        now = chance / last
        steady = steady + 1 if abs(now - ratio) <= 1e-14 * max(1.0 - now, 1e-3) + 2e-16 else 0
        total, last, ratio = total + chance, chance, now
        if (steady >= 20 or (chance < 1e-13 * total)) and count > 30 and ratio < 1:
            return total + chance * ratio / (1 - ratio)
        if count >= _MOST_POINTS:
            break
    return None


_Key = tuple[Past, int, _Trend]


class _Blocks:
    """The pasts that can come about, numbered as they are met; they are walked while they grow."""

    def __init__(self) -> None:
        self.number: dict[_Key, int] = {}
        self.order: list[_Key] = []

    def place(self, past: Past | None, zone: int, trend: _Trend | None) -> int:
        """The number of a block, −1 where a rule holds."""
        if past is None or trend is None:
            return -1
        key = (past, zone, trend)
        if key not in self.number:
            self.number[key] = len(self.order)
            self.order.append(key)
        return self.number[key]

    def walk(self) -> Iterator[tuple[int, _Key]]:
        place = 0
        while place < len(self.order):
            yield place, self.order[place]
            place += 1


@lru_cache(maxsize=16)
def _chain(rules: tuple[int, ...], shift: float, after: After, start: Past) -> _Chain:
    from scipy.sparse import csr_matrix
    from scipy.special import ndtr

    zones = any(rule not in (5, 6) for rule in rules)
    trends = 5 in rules or 6 in rules
    edges = np.array([-math.inf, -3, -2, -1, 0, 1, 2, 3, math.inf]) if zones else np.array([-math.inf, math.inf])
    widths = np.diff(ndtr(edges - shift))
    blocks = _Blocks()

    def past_after(past: Past, zone: int) -> Past | None:
        return after(past, zone, rules) if zones else past

    firsts = [blocks.place(past_after(start, zone), zone, (0, 0, 0)) for zone in range(len(widths))]
    links: list[tuple[int, int, float]] = []
    ups: list[int] = []
    downs: list[int] = []
    for number, (past, zone, trend) in blocks.walk():
        rise, fall = (_after_trend(trend, way, rules) if trends else trend for way in (1, -1))
        for other, width in enumerate(widths):
            now = past_after(past, other)
            if other == zone:
                ups.append(blocks.place(now, other, rise))
                downs.append(blocks.place(now, other, fall))
            else:
                links.append((number, blocks.place(now, other, rise if other > zone else fall), float(width)))
    size = len(blocks.order)
    above, below, weights = _places((_PLACES if zones else 3 * _PLACES) if trends else 1)
    first = np.zeros(size)
    for zone, block in enumerate(firsts):
        first[block] += widths[zone] if block >= 0 else 0.0
    rows, columns, values = zip(*[link for link in links if link[1] >= 0], strict=True) if links else ((), (), ())
    return _Chain(
        spread=csr_matrix((values, (rows, columns)), shape=(size, size)),
        # −1, where a rule holds, is the empty block at the end
        up=np.array(ups, dtype=np.intp),
        down=np.array(downs, dtype=np.intp),
        widths=np.array([widths[zone] for _past, zone, _trend in blocks.order]),
        above=above,
        below=below,
        weights=weights,
        first=first,
    )


def _after_trend(trend: _Trend, way: int, rules: tuple[int, ...]) -> _Trend | None:
    """The steps after one more, upward (+1) or downward (−1); None where rule 5 or 6 holds."""
    direction, same, turns = trend
    same = same + 1 if way == direction else 1
    turns = turns + 1 if way == -direction else 1
    if (5 in rules and same >= _STEPS_RISING) or (6 in rules and turns >= _STEPS_BY_TURNS):
        return None
    return way, same if 5 in rules else 0, turns if 6 in rules else 0


def _places(count: int) -> tuple[_Floats, _Floats, _Floats]:
    """Integrals from each Gauss–Legendre place of (0, 1) up to 1 and down to 0 of what is held at the places; weights."""
    node, weight = np.polynomial.legendre.leggauss(count)
    values = np.polynomial.legendre.legvander(node, count)
    degree = np.arange(count)
    coefficients = (degree[:, None] + 0.5) * values[:, :count].T * weight[None, :]
    before = np.hstack([-np.ones((count, 1)), values[:, : count - 1]])
    below = ((values[:, 1:] - before) / (2 * degree + 1)) @ coefficients / 2
    return weight[None, :] / 2 - below, below, weight / 2

"""The model behind identifying an insert: how likely each answer is for each row of the catalogue, and for an insert
that is in no row.

An insert of the catalogue shows its row's words, seen rightly with the chance beside each word, and its row's lengths
with the scatter of the part and the gauge. An insert that is *not* in the catalogue is thought of as a cousin of some
row: like it in kind, with words that often and lengths that widely differ. So a strange insert is recognised by what
it is not, and lengths that go together stay together. The chances and scatters are engineering judgement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from firstpull.errors import BadInput
from firstpull.mechanics.insert import BODIES, ENDS, HEADS, Insert
from firstpull.trade.threads import thread, thread_designations

Measurement = Literal[
    "thread", "free_length", "end", "head", "flange_diameter", "body_diameter", "body", "head_marks"
]  # fmt: skip
MEASUREMENTS: tuple[Measurement, ...] = (
    "thread", "free_length", "end", "head", "flange_diameter", "body_diameter", "body", "head_marks",
)  # fmt: skip
"""What can be found out, the easier and surer first; ties between equally good ones go to the first."""

SEEN_RIGHTLY: dict[str, float] = {"thread": 0.995, "end": 0.99, "head": 0.95, "body": 0.95, "head_marks": 0.85}
"""Chance that what is seen is what the row says. Marks differ between makers and wear off, so they only propose."""
PART_SD_MM: dict[str, float] = {"free_length": 0.1, "flange_diameter": 0.1, "body_diameter": 0.05}
"""How parts scatter about their row's value, mm."""
NONE_PRIOR = 0.1
"""Chance, before anything is seen, that the insert is in no row."""

_COUSIN_SAME = 0.6
_COUSIN_SPREAD = 0.12
_LEAST_MARKS = 6
_MOST_GROUPS = 300
_MOST_READINGS = 4000
ATTRIBUTE = {
    "free_length": "length_free", "flange_diameter": "flange_diameter", "body_diameter": "body_diameter",
}  # fmt: skip

_NAMES: dict[str, tuple[str, ...]] = {"thread": thread_designations(), "end": ENDS, "head": HEADS, "body": BODIES}
_PLACES = {name: {word: place for place, word in enumerate(words)} for name, words in _NAMES.items()}

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Words:
    """A column of words as places in ``names``; −1 where the catalogue does not say."""

    names: tuple[str, ...]
    codes: Codes


@dataclass(frozen=True, slots=True)
class Lengths:
    """A column of lengths, mm. Where the catalogue does not say, ``mean`` and ``sd`` are those of rows alike in thread."""

    mean: Floats
    sd: Floats
    known: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Table:
    """The catalogue as columns; a length column that no row fills is left out."""

    words: dict[str, Words]
    lengths: dict[str, Lengths]
    count: int


@dataclass(frozen=True, slots=True)
class Belief:
    """Chances: ``rows`` that it is the row, ``cousins`` that it is a stranger like that row. All together they are one."""

    rows: Floats
    cousins: Floats

    @property
    def none(self) -> float:
        """Chance that it is in no row."""
        return float(self.cousins.sum())


@lru_cache(maxsize=1024)
def canonical(name: str) -> str | None:
    """The thread's one name, or None for a text that names none."""
    try:
        return thread(name).designation
    except BadInput:
        return None


def columns(inserts: Sequence[Insert], *, most_marks: int = 0) -> Table:
    """The inserts as columns. ``most_marks`` is the greatest count of head marks that was seen."""
    top = max([most_marks, *(insert.head_marks or 0 for insert in inserts)])
    words = {
        name: np.array([code_of(name, getattr(insert, name)) for insert in inserts], dtype=np.int64)
        for name in SEEN_RIGHTLY
    }
    values = {name: [getattr(insert, ATTRIBUTE[name]) for insert in inserts] for name in PART_SD_MM}
    lengths = {
        name: np.array([np.nan if value is None else value.mm for value in some], dtype=np.float64)
        for name, some in values.items()
    }
    return table_of(words, lengths, most_marks=top)


def code_of(name: str, value: Any) -> int:
    """The place of a row's word among the words of its column; −1 for a word that is not said or not known here."""
    if value is None or name == "head_marks":
        return -1 if value is None else int(value)
    return _PLACES[name].get(str(canonical(value)) if name == "thread" else value, -1)


def table_of(words: dict[str, Codes], lengths_mm: dict[str, Floats], *, most_marks: int) -> Table:
    """Columns put together: codes of words as by :func:`code_of`, lengths in mm (NaN = not known), and the greatest
    count of head marks, on a row or seen."""
    marks = tuple(str(count) for count in range(max(_LEAST_MARKS, most_marks) + 1))
    names = {**_NAMES, "head_marks": marks}
    found = {name: _lengths(values, words["thread"], name) for name, values in lengths_mm.items()}
    return Table(
        {name: Words(names[name], codes) for name, codes in words.items()},
        {name: column for name, column in found.items() if column is not None},
        len(words["thread"]),
    )


def believe(table: Table, words: dict[str, int], lengths_mm: dict[str, float], *, gauge_sd_mm: float) -> Belief:
    """The chances after what was seen: places in the columns' names for ``words``, readings in mm.

    Source: Bayes' rule, with 1 − NONE_PRIOR shared evenly by the rows.
    """
    row = np.full(table.count, np.log((1 - NONE_PRIOR) / table.count))
    cousin = np.full(table.count, np.log(NONE_PRIOR / table.count))
    for name, code in words.items():
        column = table.words[name]
        row += np.log(_chances(column, SEEN_RIGHTLY[name])[column.codes, code])
        cousin += np.log(_chances(column, _COUSIN_SAME)[column.codes, code])
    for name, reading_mm in lengths_mm.items():
        if name in table.lengths:
            mean, row_sd, cousin_sd = _spreads(table.lengths[name], gauge_sd_mm)
            row += _log_normal(reading_mm, mean, row_sd)
            cousin += _log_normal(reading_mm, mean, cousin_sd)
    top = max(row.max(), cousin.max())
    rows, cousins = np.exp(row - top), np.exp(cousin - top)
    total = rows.sum() + cousins.sum()
    return Belief(rows / total, cousins / total)


def information_bits(table: Table, belief: Belief, name: str, *, gauge_sd_mm: float) -> float:
    """What one more answer is expected to tell of which row it is, in bits (no unit); never below zero.

    The mutual information of row (or none) and answer, Σ P(h) Σ P(a|h) log₂ P(a|h)/P(a). Source: Lindley, “On a
    measure of the information provided by an experiment”, Annals of Mathematical Statistics 27 (1956). A length's
    answers are taken on a grid of a third of the finest scatter.
    """
    if name in table.words:
        column = table.words[name]
        count = len(column.names)
        places = np.where(column.codes < 0, count, column.codes)  # what is not said has the last place
        weights = _together(places, belief, count + 1)
        return _mutual(
            weights[0], weights[1], _chances(column, SEEN_RIGHTLY[name]), cousins=_chances(column, _COUSIN_SAME)
        )
    if name not in table.lengths:
        return 0.0
    mean, row_sd, cousin_sd = _spreads(table.lengths[name], gauge_sd_mm)
    # the cousin's scatter follows from the other two, so two numbers tell the kinds apart
    _both, first, kind_of = np.unique(mean + 1j * row_sd, return_index=True, return_inverse=True)
    kinds = np.stack([mean[first], row_sd[first], cousin_sd[first]], axis=1)
    weights = _together(kind_of, belief, len(kinds))
    kept = np.sort(np.argsort(-weights.sum(axis=0), kind="stable")[:_MOST_GROUPS])
    kinds, weights = kinds[kept], weights[:, kept] / weights[:, kept].sum()
    heavy = kinds[weights.sum(axis=0) > 1e-6]
    low, high = (heavy[:, 0] - 4 * heavy[:, 2]).min(), (heavy[:, 0] + 4 * heavy[:, 2]).max()
    step = max(float(heavy[:, 1].min()) / 3, float(high - low) / _MOST_READINGS)
    grid = np.arange(low, high + step, step)
    return _mutual(
        weights[0],
        weights[1],
        _on_grid(grid, kinds[:, 0], kinds[:, 1]),
        cousins=_on_grid(grid, kinds[:, 0], kinds[:, 2]),
    )


def entropy_bits(belief: Belief) -> float:
    """How open the question still is, −Σ P log₂ P by definition (bits, no unit): 0 when one row, or none, is certain."""
    chances = np.append(belief.rows, belief.none)
    some = chances[chances > 0]
    return max(float(-(some * np.log2(some)).sum()), 0.0)


def _together(places: Codes, belief: Belief, count: int) -> Floats:
    """The chances of the rows and of their cousins, added up by place."""
    return np.array([np.bincount(places, some, count) for some in (belief.rows, belief.cousins)], dtype=np.float64)


def _lengths(values_mm: Floats, threads: Codes, name: str) -> Lengths | None:
    known = ~np.isnan(values_mm)
    if not known.any():
        return None
    mean, sd = values_mm.copy(), np.where(known, PART_SD_MM[name], np.nan)
    for code in np.unique(threads[~known]):
        alike = known & (threads == code)
        like = mean[alike] if alike.any() else mean[known]
        gap = ~known & (threads == code)
        middle = float(like.mean())
        mean[gap], sd[gap] = middle, max(float(like.std()), _COUSIN_SPREAD * middle)
    return Lengths(mean, sd, known)


def _chances(column: Words, same: float) -> Floats:
    """Chance of each answer (column) for each word (row); the last row is for “not said”: every answer alike."""
    count = len(column.names)
    chances = np.full((count + 1, count), (1 - same) / (count - 1))
    chances[np.arange(count), np.arange(count)] = same
    chances[count] = 1 / count
    return chances


def _spreads(column: Lengths, gauge_sd_mm: float) -> tuple[Floats, Floats, Floats]:
    row = np.sqrt(column.sd**2 + gauge_sd_mm**2)
    return column.mean, row, np.sqrt(row**2 + (_COUSIN_SPREAD * column.mean) ** 2)


def _log_normal(reading_mm: float, mean: Floats, sd: Floats) -> Any:
    return -0.5 * ((reading_mm - mean) / sd) ** 2 - np.log(sd)


def _on_grid(grid: Floats, mean: Floats, sd: Floats) -> Floats:
    z = (grid[None, :] - mean[:, None]) / sd[:, None]
    density: Floats = np.exp(-0.5 * z**2)
    total = density.sum(axis=1, keepdims=True)
    shares: Floats = np.divide(density, total, out=np.full_like(density, 1 / len(grid)), where=total > 0)
    return shares


def _mutual(row_weights: Floats, cousin_weights: Floats, rows: Floats, *, cousins: Floats) -> float:
    none = float(cousin_weights.sum())
    stranger = cousin_weights @ cousins
    answer = row_weights @ rows + stranger
    gain = float(row_weights @ _divergence(rows, answer))
    if none > 0:
        gain += none * float(_divergence(stranger[None, :] / none, answer)[0])
    return max(gain, 0.0)


def _divergence(chances: Floats, answer: Floats) -> Floats:
    ratio = np.divide(chances, answer[None, :], out=np.ones_like(chances), where=(chances > 0) & (answer > 0)[None, :])
    found: Floats = (chances * np.log2(ratio)).sum(axis=1)
    return found

"""The readings of a gauge study as a full table: parts × appraisers × trials, nothing missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_count, a_number


@dataclass(frozen=True, slots=True)
class GaugeReading:
    """One reading: which ``part``, by which ``appraiser``, and the ``value`` (any one unit)."""

    part: str
    appraiser: str
    value: float


@dataclass(frozen=True, slots=True)
class CrossedTable:
    """``values[part, appraiser, trial]`` with the names in the order in which they first came."""

    parts: tuple[str, ...]
    appraisers: tuple[str, ...]
    values: npt.NDArray[np.float64]


def crossed_table(readings: Sequence[GaugeReading]) -> CrossedTable:
    """Put the readings in their cells. 2 to 100 parts, 2 to 50 appraisers, 2 to 1000 trials each.

    Raises BadInput that names the cells which have fewer readings than the fullest one, up to five of them.
    """
    cells: dict[tuple[str, str], list[float]] = {}
    for place, reading in enumerate(readings):
        value = a_number(reading.value, f"reading {place + 1}")
        cells.setdefault((reading.part, reading.appraiser), []).append(value)
    parts = tuple(dict.fromkeys(part for part, _ in cells))
    appraisers = tuple(dict.fromkeys(appraiser for _, appraiser in cells))
    a_count(len(parts), "number of parts", least=2, most=100)
    if len(appraisers) < 2:
        raise BadInput(
            "One appraiser shows no reproducibility.",
            where="appraisers",
            hint="Let two or more people read the same parts, or one person on two days under two names.",
        )
    a_count(len(appraisers), "number of appraisers", least=2, most=50)
    trials = max(len(values) for values in cells.values())
    short = [
        (part, appraiser, len(cells.get((part, appraiser), ())))
        for part in parts
        for appraiser in appraisers
        if len(cells.get((part, appraiser), ())) < trials
    ]
    if short:
        named = "; ".join(f"part {part} by {appraiser} has {count}" for part, appraiser, count in short[:5])
        more = f"; and {len(short) - 5} more" if len(short) > 5 else ""
        raise BadInput(
            f"Each appraiser must read each part equally often, {trials} times here: {named}{more}.",
            where="readings",
            hint="Read what is missing, or leave that part or appraiser out.",
        )
    a_count(trials, "number of trials", least=2, most=1000)
    table = np.array([[cells[part, appraiser] for appraiser in appraisers] for part in parts], dtype=np.float64)
    return CrossedTable(parts, appraisers, table)

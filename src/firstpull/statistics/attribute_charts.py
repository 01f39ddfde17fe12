"""Charts of what is counted: the share of bad ones in samples (p), and faults per sample or per area (c, u).

Sources: NIST/SEMATECH e-Handbook of Statistical Methods 6.3.3.1 (counts) and 6.3.3.2 (proportions); ISO 7870-2
(Shewhart control charts); D. C. Montgomery, Introduction to Statistical Quality Control, chapter 7.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_count, a_number

_MOST_SAMPLES = 10_000
_FEW = 5.0


@dataclass(frozen=True, slots=True)
class AttributeChart:
    """A chart of shares (p) or of faults per unit (u; c where every sample is one unit), no unit.

    ``upper`` and ``lower`` hold for each sample; ``signals`` are the zero-based samples beyond them. ``notes`` say where
    three sigmas are a poor stand-in for the counted distribution.
    """

    kind: Literal["p", "c", "u"]
    values: tuple[float, ...]
    centre: float
    upper: tuple[float, ...]
    lower: tuple[float, ...]
    signals: tuple[int, ...]
    notes: tuple[str, ...]


def share_chart(bad: Sequence[int], sizes: Sequence[int], *, centre: float | None = None) -> AttributeChart:
    """p chart of ``bad`` ones in samples of ``sizes`` (1 to 10 000 samples, counts up to 10⁶); ``centre`` a known share.

    No unit. Raises BadInput. Source: NIST/SEMATECH e-Handbook 6.3.3.2: p̄ ± 3·√(p̄(1 − p̄)/n), not beyond 0 and 1.
    """
    counts, many = _counts(bad, "bad", least=0), _counts(sizes, "sizes", least=1)
    _alike(len(counts), len(many))
    for place, (count, size) in enumerate(zip(counts, many, strict=True)):
        if count > size:
            raise BadInput(f"{count} of {size} is more than all.", where=f"bad[{place}]", hint="Swap the columns?")
    middle = sum(counts) / sum(many) if centre is None else a_number(centre, "centre", least=0, most=1)
    reach = [3 * math.sqrt(middle * (1 - middle) / size) for size in many]
    few = min(many) * min(middle, 1 - middle) < _FEW
    values = tuple(count / size for count, size in zip(counts, many, strict=True))
    return _chart("p", values, middle=middle, reach=reach, most=1.0, few=few)


def fault_chart(
    faults: Sequence[int], areas: Sequence[float] | None = None, *, centre: float | None = None
) -> AttributeChart:
    """c chart of ``faults`` per sample, or u chart of faults per unit of ``areas`` (above 0; any unit, no unit without).

    1 to 10 000 samples, counts up to 10⁶; ``centre`` known faults per unit. Raises BadInput. Source: NIST/SEMATECH
    e-Handbook 6.3.3.1: c̄ ± 3·√c̄, not below 0; u: ū ± 3·√(ū/area).
    """
    counts = _counts(faults, "faults", least=0)
    many = [1.0] * len(counts)
    if areas is not None:
        many = [a_number(area, f"areas[{place}]", least=1e-9, most=1e9) for place, area in enumerate(areas)]
    _alike(len(counts), len(many))
    middle = sum(counts) / math.fsum(many) if centre is None else a_number(centre, "centre", least=0, most=1e9)
    reach = [3 * math.sqrt(middle / area) for area in many]
    values = tuple(count / area for count, area in zip(counts, many, strict=True))
    few = middle * min(many) < _FEW
    return _chart("c" if areas is None else "u", values, middle=middle, reach=reach, most=math.inf, few=few)


def _chart(
    kind: Literal["p", "c", "u"],
    values: tuple[float, ...],
    *,
    middle: float,
    reach: Sequence[float],
    most: float,
    few: bool,
) -> AttributeChart:
    upper = tuple(min(most, middle + far) for far in reach)
    lower = tuple(max(0.0, middle - far) for far in reach)
    beyond = tuple(
        place
        for place, (value, high, low) in enumerate(zip(values, upper, lower, strict=True))
        if value > high + 1e-12 * (1 + high) or value < low - 1e-12 * (1 + low)
    )
    notes = ("Fewer than five are expected in a sample: the limits are rough.",) if few else ()
    return AttributeChart(kind, values, middle, upper, lower, beyond, notes)


def _counts(values: Sequence[int], name: str, *, least: int) -> list[int]:
    if isinstance(values, str | bytes) or not hasattr(values, "__len__"):
        raise BadInput(f"{name} must be a list of whole numbers.", where=name, hint="For example [3, 0, 5].")
    a_count(len(values), f"number of {name}", least=1, most=_MOST_SAMPLES)
    return [a_count(value, f"{name}[{place}]", least=least) for place, value in enumerate(values)]


def _alike(first: int, second: int) -> None:
    if first != second:
        raise BadInput(
            f"There are {first} counts and {second} samples.", where="sizes", hint="Give one of each for every sample."
        )

"""What the statistics accept: finite numbers, shares between 0 and 1, whole counts. Anything else is BadInput."""

from __future__ import annotations

import math
from collections.abc import Sequence
from numbers import Integral, Real

from firstpull.errors import BadInput

_LARGEST = 1e15
_MOST_VALUES = 1_000_000


def a_number(value: object, name: str, *, least: float = -_LARGEST, most: float = _LARGEST) -> float:
    """``value`` as a finite float within ``least`` … ``most``; raises BadInput naming ``name``."""
    if isinstance(value, bool) or not isinstance(value, Real):
        raise BadInput(f"{name} must be a number, not {value!r}.", where=name, hint=_range_hint(least, most))
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not least <= number <= most:
        raise BadInput(f"{name} is {value}, out of range.", where=name, hint=_range_hint(least, most))
    return number


def a_share(value: object, name: str) -> float:
    """``value`` as a float between 0.001 and 0.999999, such as a confidence or a coverage; raises BadInput."""
    number = a_number(value, name)
    if not 0.001 <= number <= 0.999999:
        raise BadInput(
            f"{name} is {number:g}; it must lie between 0.001 and 0.999999.",
            where=name,
            hint="Write 95 % as 0.95.",
        )
    return number


def a_count(value: object, name: str, *, least: int, most: int = _MOST_VALUES) -> int:
    """``value`` as a whole number within ``least`` … ``most``; raises BadInput."""
    if isinstance(value, bool) or not isinstance(value, Integral):
        raise BadInput(f"{name} must be a whole number, not {value!r}.", where=name, hint=f"From {least} to {most}.")
    number = int(value)
    if not least <= number <= most:
        raise BadInput(f"{name} is {number}, out of range.", where=name, hint=f"From {least} to {most}.")
    return number


def some_numbers(values: Sequence[float], name: str, *, least: int) -> tuple[float, ...]:
    """At least ``least`` finite numbers as a tuple; raises BadInput naming the place of the first bad one."""
    if isinstance(values, str | bytes):
        raise BadInput(f"{name} must be a list of numbers, not text.", where=name, hint="For example [15.51, 15.49].")
    try:
        given = tuple(values)
    except TypeError:
        raise BadInput(f"{name} must be a list of numbers.", where=name, hint="For example [15.51, 15.49].")
    a_count(len(given), f"number of {name}", least=least)
    return tuple(a_number(value, f"{name}[{place}]") for place, value in enumerate(given))


def _range_hint(least: float, most: float) -> str:
    return "It must be finite." if (least, most) == (-_LARGEST, _LARGEST) else f"From {least:g} to {most:g}."

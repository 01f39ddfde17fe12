"""What is seen on a set insert or in its readings, the usual causes, and what to try. Common practice of the trade."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from firstpull.errors import NotFound
from firstpull.trade import tables

STEPS = ("choose", "set up", "dial in", "prove", "hand over", "run", "look after")


@dataclass(frozen=True, slots=True)
class Try:
    """One thing to try, and the step of the path where it is done (one of :data:`STEPS`)."""

    text: str
    step: str


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: a stable ``key``, what is ``seen``, its usual ``causes`` (the likeliest first), what to try in order,
    the name of its picture, and the source."""

    key: str
    seen: str
    causes: tuple[str, ...]
    tries: tuple[Try, ...]
    picture: str
    source: str


@cache
def faults() -> tuple[Fault, ...]:
    """Every fault, in the order of the table."""
    return tuple(
        Fault(
            row["key"],
            row["seen"],
            tuple(row["causes"].split(";")),
            tuple(Try(*one.rsplit("|", 1)) for one in row["tries"].split(";")),
            row["picture"],
            row["source"],
        )
        for row in tables.rows("faults")
    )


def fault(key: str) -> Fault:
    """The fault ``key``. Raises NotFound with the keys there are."""
    for one in faults():
        if one.key == key:
            return one
    raise NotFound(
        f"“{key[:40]}” is not a fault in the table.",
        where="fault",
        hint=f"One of {', '.join(one.key for one in faults())}.",
    )

"""Cautions, keyed by the moment at which they belong on the page and on the card."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from firstpull.errors import BadInput
from firstpull.trade import tables

MOMENTS = ("always", "air_off", "air_on", "mandrel", "drill", "pull", "prove", "release", "remove", "composite")


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: a stable ``key``, its ``text`` for the person, where it comes from and when it is due."""

    key: str
    text: str
    source: str
    moments: tuple[str, ...]


def cautions(*moments: str) -> tuple[Caution, ...]:
    """The cautions due at any of ``moments`` (see :data:`MOMENTS`), each once, in a fixed order; none for no moment.

    “always” is a moment like the others: ask for it where the standing cautions are wanted. Raises BadInput for an
    unknown moment.
    """
    unknown = [moment for moment in moments if moment not in MOMENTS]
    if unknown:
        raise BadInput(f"“{unknown[0]}” is not a moment.", hint=f"Moments: {', '.join(MOMENTS)}.")
    return tuple(one for one in _held() if any(moment in one.moments for moment in moments))


@cache
def _held() -> tuple[Caution, ...]:
    return tuple(
        Caution(row["key"], row["text"], row["source"], tuple(row["moments"].split(";")))
        for row in tables.rows("cautions")
    )

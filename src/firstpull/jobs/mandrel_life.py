"""How long mandrels of one thread last in this shop, from its own record: those that ended, and those that still run or
were changed in time (censored)."""

from __future__ import annotations

from dataclasses import dataclass

from firstpull.errors import BadInput
from firstpull.jobs.workshop import Book
from firstpull.statistics.weibull import weibayes, weibull_fit

ENDED, IN_TIME = "ended", "in time"  # broken or worn out; changed while it still worked
STATED_SHAPE = 2.0  # until two have ended: wear, from memory of common practice (2 to 4); the lower, the more careful
_B10_SURE = 0.90  # two-sided, so that its lower end is surpassed with 95 % confidence


@dataclass(frozen=True, slots=True)
class MandrelLife:
    """Of one thread: how many ended and how many ran on, the cycles by which to change so that nine of ten last longer
    with 95 % confidence, and how that was found; ``change_by`` 0: nothing is known yet."""

    thread: str
    ended: int
    running: int
    left_out: int
    change_by: int
    text: str


def mandrel_life(book: Book, thread: str) -> MandrelLife:
    """The life of this shop's mandrels of ``thread``. Those retired without a word of how are left out."""
    ended: list[float] = []
    running: list[float] = []
    left_out = 0
    for mandrel in (one for tool in book.tools() for one in tool.mandrels.values() if one["thread"] == thread):
        cycles, how = float(mandrel.get("cycles", 0)), mandrel.get("how", "")
        if cycles <= 0:
            continue
        if mandrel.get("retired") and how not in (ENDED, IN_TIME):
            left_out += 1
        elif how == ENDED:
            ended.append(cycles)
        else:
            running.append(cycles)
    if not ended and not running:
        return MandrelLife(thread, 0, 0, left_out, 0, "No cycles are counted yet.")
    try:
        least = weibull_fit(ended, running, confidence=_B10_SURE).b10.low
        found = f"{len(ended)} ended, {len(running)} ran on"
    except BadInput:
        least = weibayes(ended, running, shape=STATED_SHAPE, confidence=0.95).b10_at_least
        found = f"{len(ended)} ended, {len(running)} ran on; wear of shape {STATED_SHAPE:g} assumed"
    by = int(least)
    text = f"Change by {by} sets: nine of ten last longer, with 95 % confidence ({found})."
    return MandrelLife(thread, len(ended), len(running), left_out, by, text)

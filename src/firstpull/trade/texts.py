"""Small helpers for text that a person typed: bounded, shown back, and compared loosely."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable

from firstpull.errors import BadInput

LONGEST = 60


def typed(text: str, *, noun: str, example: str, where: str = "") -> str:
    """``text`` without its outer blanks. Raises BadInput when it is empty, too long or not text at all."""
    if not isinstance(text, str):
        raise BadInput(
            f"{text!r:.60} is not text.", where=where, hint=f"Write {noun} in quotes, for example “{example}”."
        )
    shown = text.strip()
    if not shown:
        raise BadInput("Nothing is written here.", where=where, hint=f"Write {noun}, for example “{example}”.")
    if len(shown) > LONGEST:
        raise BadInput(f"That is too long for {noun}.", where=where, hint=f"For example “{example}”.")
    return shown


def key(text: str) -> str:
    """What is left of a name when case, blanks and punctuation do not count: “EN AW-5754” → “enaw5754”."""
    return re.sub(r"[\W_]+", "", text.casefold())


def near(text: str, names: Iterable[str], *, count: int = 4) -> tuple[str, ...]:
    """The ``count`` names most like ``text``, best first; the first ones where none is like it."""
    spelled = {key(name): name for name in reversed(tuple(names))}
    folded = key(text[:LONGEST])
    inside = [name for name in spelled if folded and folded in name]
    like = difflib.get_close_matches(folded, list(spelled), n=count, cutoff=0.5)
    found = list(dict.fromkeys([*like, *sorted(inside, key=len)])) or sorted(spelled)
    return tuple(spelled[name] for name in found[:count])

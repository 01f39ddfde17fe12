"""Guessing which known name was meant by an unknown one."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name most like ``name``, or None when none is like it."""
    options = list(known)
    by_lower = {option.lower(): option for option in options}
    found = difflib.get_close_matches(name[:80].lower(), list(by_lower), n=1, cutoff=0.6)
    return by_lower[found[0]] if found else None


def nearest_hint(name: str, known: Iterable[str]) -> str:
    """A hint that names the most likely known name, or lists all of them."""
    options = list(known)
    found = nearest(name, options)
    if found is not None:
        return f"Did you mean “{found}”?"
    return f"Known here: {', '.join(options)}." if options else ""

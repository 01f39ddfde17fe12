"""The record on the disk. The only place with SQL."""

from __future__ import annotations

from firstpull.store.results import MovedOn, Problem, Restored, Summary, VerifyReport
from firstpull.store.store import Guard, Store

__all__ = ["Guard", "MovedOn", "Problem", "Restored", "Store", "Summary", "VerifyReport"]

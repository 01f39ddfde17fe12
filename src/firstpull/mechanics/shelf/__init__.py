"""A catalogue of very many inserts, column by column, so that a choice among a million takes milliseconds.

``columns`` holds a measure of all rows as its distinct values and where each stands, ``shelf`` the rows as a mapping
from part to insert, ``sieve`` and ``strength`` the checks of :mod:`firstpull.mechanics.choose` on whole columns. What is
shown to a person is always judged once more by the checks of single inserts: the columns only say which rows to look at.
"""

from __future__ import annotations

from firstpull.mechanics.shelf.building import ShelfBuilder
from firstpull.mechanics.shelf.columns import Column
from firstpull.mechanics.shelf.shelf import Shelf

__all__ = ["Column", "Shelf", "ShelfBuilder"]

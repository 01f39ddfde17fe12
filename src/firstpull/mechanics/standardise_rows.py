"""The rows that the fewest part numbers are sought among: all of a list; of a shelf of very many those that count."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.mechanics.asked import Asked, ask
from firstpull.mechanics.choose import Choice, choose
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.joint.demand import JointDemand
from firstpull.mechanics.needs import Needs
from firstpull.mechanics.request import Batch
from firstpull.mechanics.shelf import Shelf
from firstpull.mechanics.stack import Stack
from firstpull.units import LengthUnit

MOST_FITS = 2000
"""So many fitting inserts of a joint are looked at one by one; of a list all."""

Numbers = NDArray[Any]


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of the rows, as by :func:`firstpull.mechanics.choose.choose`."""

    stack: Stack
    needs: Needs
    unit: LengthUnit
    demand: JointDemand | None
    batch: Batch | None

    def among(self, inserts: Sequence[Insert] | Shelf, most: int | None = None) -> Choice:
        """The choice among ``inserts``."""
        return choose(
            inserts,
            stack=self.stack,
            needs=self.needs,
            unit=self.unit,
            joint=self.demand,
            batch=self.batch,
            most=most,
        )

    def asked(self) -> Asked:
        """The question prepared for whole columns."""
        return ask(self.stack, self.needs, unit=self.unit, demand=self.demand, batch=self.batch)


class Rows:
    """Inserts to choose from. Where more than ``MOST_FITS`` fit a joint, those are taken that fit most of all joints (of
    those alike the ones with most to spare in all), and the roomiest: what serves many joints is what fewest part numbers are made of. ``min_margin`` (a share) is what
    they must have to spare at worst, where any has."""

    def __init__(self, inserts: Sequence[Insert] | Shelf, *, min_margin: float) -> None:
        self.min_margin = min_margin
        self.inserts: Sequence[Insert] | Shelf = inserts
        if not isinstance(inserts, Shelf):
            self.inserts = sorted(inserts, key=lambda insert: insert.name)
        self._fits: NDArray[np.int32] | None = None
        self._spare: NDArray[np.float64] | None = None

    @property
    def very_many(self) -> bool:
        """Whether a joint may have more fitting rows than are looked at."""
        return isinstance(self.inserts, Shelf) and len(self.inserts) > MOST_FITS

    def count(self, question: Question) -> None:
        """Take up which rows fit; to be called for every question before the first choice, where there are very many."""
        if not isinstance(self.inserts, Shelf):
            return
        rows, margin, _all = self._good(self.inserts, question)
        if self._fits is None or self._spare is None:
            self._fits, self._spare = np.zeros(len(self.inserts), np.int32), np.zeros(len(self.inserts))
        self._fits[rows] += 1
        self._spare[rows] += np.minimum(margin, 1.0)

    def choice(self, question: Question) -> tuple[Choice, bool]:
        """The choice for one question, and whether every row that fits is in it."""
        rows = self.inserts
        if not isinstance(rows, Shelf):
            return question.among(rows), True
        if self._fits is not None and self._spare is not None:
            picked = self._picked(rows, question, fits=self._fits, spare=np.round(self._spare, 4))
            if picked is not None:
                return question.among(list(rows.inserts(picked))), False
        found = question.among(rows, MOST_FITS)
        return found, found.fits == len(found.candidates)

    def _good(self, shelf: Shelf, question: Question) -> tuple[Numbers, Numbers, int]:
        """The rows that fit with the margin asked for (all that fit, where none has it), their margins at worst, and
        how many fit in all."""
        from firstpull.mechanics.shelf.sieve import fitting

        rows, margin = fitting(shelf, question.asked())
        good = margin >= self.min_margin
        return (rows[good], margin[good], len(rows)) if good.any() else (rows, margin, len(rows))

    def _picked(
        self, shelf: Shelf, question: Question, *, fits: NDArray[np.int32], spare: NDArray[np.float64]
    ) -> NDArray[np.int64] | None:
        rows, margin, count = self._good(shelf, question)
        if count <= MOST_FITS:
            return None
        parts = shelf.by_part[rows]
        shared = rows[np.lexsort((parts, -spare[rows], -fits[rows]))[: MOST_FITS - MOST_FITS // 4]]
        roomy = rows[np.lexsort((parts, -margin))[: MOST_FITS // 4]]
        return np.unique(np.concatenate([shared, roomy]))

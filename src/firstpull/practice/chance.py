"""Seeded chance that replays: each draw belongs to a place (what, which insert, which reading), not to an order of calls.

A NumPy Generator is made for each place from SeedSequence(seed, spawn_key = place). Only its uniform numbers are used;
normal ones are made from them here, so that a recorded practice job replays the same with later NumPy versions.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np

from firstpull.errors import BadInput

_LARGEST_SEED = 2**63 - 1
_NORMAL = NormalDist()


class Chance:
    """The draws of one place, in order."""

    def __init__(self, seed: int, *place: int) -> None:
        self._generator = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=place)))

    def uniform(self, low: float, high: float) -> float:
        """A number between ``low`` and ``high``, all equally likely."""
        return low + (high - low) * float(self._generator.random())

    def normal(self, sd: float) -> float:
        """A normal number about 0, kept within ± 4 sd: nobody's tool is ten sigmas off."""
        share = min(max(float(self._generator.random()), 1e-12), 1 - 1e-12)
        return sd * min(max(_NORMAL.inv_cdf(share), -4.0), 4.0)

    def happens(self, probability: float) -> bool:
        """True with ``probability``."""
        return float(self._generator.random()) < probability


def checked_seed(seed: object) -> int:
    """``seed`` as a whole number from 0 to 2⁶³ − 1; raises BadInput."""
    if isinstance(seed, bool) or not isinstance(seed, int) or not 0 <= seed <= _LARGEST_SEED:
        raise BadInput(f"{seed!r} is not a seed.", where="seed", hint="A whole number from 0, for example 7.")
    return seed

"""What the kernels work on: the bodies, what touches them, and the sums they keep. Arrays are changed in place.

A step of the march is the unit of time: masses are in N·step²/mm, speeds in mm a step. Forces, masses and energies are
kept for one radian of the circle; ``AROUND`` makes them whole.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

AROUND = 2.0 * math.pi


class Body(NamedTuple):
    """All metal: insert (kind 0) and sheet (kind 1). ``moduli``: shear and bulk per kind; ``tables``: flow stress."""

    x: Floats
    v: Floats
    force: Floats
    quads: Ints
    kind: Ints
    moduli: Floats
    tables: Floats
    cells: npt.NDArray[np.float32]
    """What each quadrilateral has, sixteen side by side (rows: see ``cells``)."""
    quad_mass: Floats
    mass: Floats
    damping: Floats
    """Share of its speed that a node loses in a step."""


class Bounds(NamedTuple):
    """What holds and guides: ``bore`` moves with the mandrel's thread, ``face`` rests on the anvil at ``face_mm``."""

    bore: Ints
    face: Ints
    inner: Ints
    face_mm: float
    mandrel_mm: float
    """The mandrel's radius."""
    friction: float
    deepest_mm: float
    """A node deeper than this under a surface is on the body's other side."""
    heavy: float
    """Mass that a push counts with at most: crushed elements are scaled heavy, and must not kick."""


class Touching(NamedTuple):
    """Candidate (node, piece end, piece end) rows; ``counts`` of them for each of up to four pairs of surfaces."""

    rows: Ints
    counts: Ints
    held: Floats
    """Per pair of surfaces and node: what friction holds it with, N a radian."""
    when: Ints
    """Per pair and node: the step of its last touch."""
    clock: Ints
    """The number of the step."""


PULL, ANVIL, PULL_WORK, METAL_WORK, FRICTION_WORK, DAMPING_WORK, MASS_WORK, FIRST_PAIR = range(8)
SUMS = FIRST_PAIR + 8
"""Places in the array of sums; forces are summed over the steps (per pair: up, down), works are totals."""

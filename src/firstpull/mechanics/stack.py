"""The stack: everything that the insert clamps, from the grip datum to the blind side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from firstpull.units import Length

Basis = Literal["measured", "worst case"]


@dataclass(frozen=True, slots=True)
class Layer:
    """One sheet, shim or coating. ``tolerance`` is ± on the thickness; ``None`` = not known.

    A coating's thickness is that of one face; ``faces`` says how many faces of the stack carry it (faying faces
    included). Everything else has one.
    """

    material: str
    thickness: Length
    tolerance: Length | None = None
    coating: bool = False
    faces: int = 1


@dataclass(frozen=True, slots=True)
class Stack:
    """Layers from the head side to the blind side, and thickness readings of the clamped, coated stack.

    ``gauge_error_mm`` is the limit of the gauge's error (±), ``resolution_mm`` its smallest step.
    """

    layers: tuple[Layer, ...]
    readings: tuple[Length, ...] = ()
    gauge_error_mm: float = 0.02
    resolution_mm: float = 0.01


@dataclass(frozen=True, slots=True)
class Thickness:
    """The stack's thickness in mm: nominal, limits, and what was measured (``None`` without readings).

    ``low_mm`` and ``high_mm`` are what a setting must serve; ``value_mm`` is what its stroke is computed for.
    """

    nominal_mm: float
    worst_low_mm: float
    worst_high_mm: float
    rss_low_mm: float
    rss_high_mm: float
    measured_mean_mm: float | None
    measured_u_mm: float | None
    low_mm: float
    high_mm: float
    basis: Basis
    notes: tuple[str, ...]

    @property
    def value_mm(self) -> float:
        """The measured mean, or the nominal thickness without readings (mm)."""
        return self.nominal_mm if self.measured_mean_mm is None else self.measured_mean_mm

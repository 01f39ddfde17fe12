"""The question put to the virtual pull: the insert's dimensions, the sheet, the metal and the pull, in mm and MPa."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firstpull.errors import BadInput
from firstpull.mechanics.collapse.material import FlowCurve, check_flow_curve, flow_stress_mpa

SQUASH_STRAIN = 0.2
SHEAR_MOST = 10.0
"""Of 174 random soft sheets those up to 9.1 were pulled through; the one at 11.9 fell apart (studies/collapse_random.py)."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """The sheet as the shank meets it. Without a modulus it is taken as stiff steel that does not yield."""

    thickness_mm: float
    hole_diameter_mm: float
    edge_radius_mm: float
    e_mpa: float | None = None
    yield_mpa: float | None = None


@dataclass(frozen=True, slots=True)
class PullCase:
    """One pull. ``unthreaded_length_mm`` runs from the flange's underside to the thread block.

    ``mandrel_diameter_mm`` is what the wall would meet inside; None: as wide as the thread bore. No ``sheet``: pulled
    in the air.
    """

    outer_diameter_mm: float
    counterbore_diameter_mm: float
    unthreaded_length_mm: float
    bore_diameter_mm: float
    threaded_length_mm: float
    flange_diameter_mm: float
    flange_thickness_mm: float
    metal: FlowCurve
    friction: float
    stroke_mm: float
    sheet: Sheet | None = None
    mandrel_diameter_mm: float | None = None

    @property
    def wall_mm(self) -> float:
        """The shank's wall."""
        return (self.outer_diameter_mm - self.counterbore_diameter_mm) / 2.0

    @property
    def mandrel_mm(self) -> float:
        """The mandrel's diameter inside the shank."""
        return self.bore_diameter_mm if self.mandrel_diameter_mm is None else self.mandrel_diameter_mm

    @property
    def free_length_mm(self) -> float:
        """The length of shank behind the sheet, which collapses."""
        return self.unthreaded_length_mm - (self.sheet.thickness_mm if self.sheet else 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """Standard deviations from set to set: lengths in mm; the metal's strength and the friction as shares of their values."""

    thickness_mm: float = 0.0
    hole_mm: float = 0.0
    wall_mm: float = 0.0
    strength: float = 0.0
    friction: float = 0.0


def check_case(case: PullCase) -> PullCase:
    """The same case, or BadInput that names what cannot be pulled. Lengths in mm. Source: by definition."""
    check_flow_curve(case.metal)
    _check_body(case)
    if not 0.0 <= case.friction <= 0.6:
        raise BadInput("Friction must lie in 0 … 0.6.", where="pull.friction", hint="Oiled steel is about 0.1.")
    if case.sheet is not None:
        _check_sheet(case, case.sheet)
    if not 0.0 < case.stroke_mm <= 0.95 * case.free_length_mm:
        raise BadInput(
            f"The stroke must lie between 0 and 95 % of the free shank, {0.95 * case.free_length_mm:.2f} mm.",
            where="pull.stroke",
            hint="Ask for less stroke.",
        )
    return case


def _check_body(case: PullCase) -> None:
    for name in ("outer_diameter", "counterbore_diameter", "unthreaded_length", "threaded_length"):
        if not 0.2 <= getattr(case, f"{name}_mm") <= 100.0:
            raise BadInput("The size is not an insert's.", where=f"body.{name}", hint="It must lie in 0.2 … 100 mm.")
    ratio = case.wall_mm / case.outer_diameter_mm
    if not 0.025 <= ratio <= 0.22:
        raise BadInput(
            f"The wall of {case.wall_mm:.3f} mm is {100 * ratio:.1f} % of the diameter; 2.5 to 22 % can be pulled here.",
            where="body.counterbore_diameter",
            hint="Check both diameters.",
        )
    if not 1.0 <= case.bore_diameter_mm <= case.counterbore_diameter_mm:
        raise BadInput(
            "The thread bore is no wider than the counterbore.", where="body.thread_bore_diameter", hint="Check both."
        )
    if case.mandrel_mm > case.counterbore_diameter_mm:
        raise BadInput("The mandrel does not go through the counterbore.", where="body.thread", hint="Check both.")
    if not case.outer_diameter_mm < case.flange_diameter_mm <= 6.0 * case.outer_diameter_mm:
        raise BadInput("The flange must be wider than the shank.", where="flange.diameter", hint="Check both.")
    if not 0.15 <= case.flange_thickness_mm <= 20.0:
        raise BadInput("The flange's thickness is out of range.", where="flange.thickness", hint="0.15 … 20 mm.")
    slender = case.free_length_mm / case.wall_mm
    if not 2.0 <= slender <= 11.5:
        raise BadInput(
            f"The free shank is {slender:.1f} walls long; 2 to 11.5 can be pulled here.",
            where="body.unthreaded_length",
            hint="A shorter one has no room to fold, a longer one folds more than once.",
        )


def _check_sheet(case: PullCase, sheet: Sheet) -> None:
    if not 0.2 <= sheet.thickness_mm <= 30.0:
        raise BadInput("The sheet's thickness is out of range.", where="sheet.thickness", hint="0.2 … 30 mm.")
    if not case.outer_diameter_mm <= sheet.hole_diameter_mm < case.flange_diameter_mm:
        raise BadInput("The hole must lie between shank and flange.", where="sheet.hole_diameter", hint="Check both.")
    if not 0.0 <= sheet.edge_radius_mm <= 0.45 * sheet.thickness_mm:
        raise BadInput(
            "The hole's edge radius must lie in 0 … 45 % of the thickness.",
            where="sheet.edge_radius",
            hint="Often 0.1 mm.",
        )
    if sheet.e_mpa is not None and not 500.0 <= sheet.e_mpa <= 500_000.0:
        raise BadInput("The sheet's modulus is out of range.", where="sheet.E_mpa", hint="Steel is about 210000 MPa.")
    if sheet.yield_mpa is not None and not 10.0 <= sheet.yield_mpa <= 3_000.0:
        raise BadInput("The sheet's yield is out of range.", where="sheet.yield_mpa", hint="10 … 3000 MPa.")
    if sheet.yield_mpa is not None:
        _check_strength(case, sheet.thickness_mm, sheet.yield_mpa)


def _check_strength(case: PullCase, thickness_mm: float, yield_mpa: float) -> None:
    """Refuse a sheet that the insert would punch through long before it folds; that cannot be simulated here."""
    stress = float(flow_stress_mpa(case.metal, np.array([SQUASH_STRAIN]))[0])
    squash = stress * math.pi * (case.outer_diameter_mm - case.wall_mm) * case.wall_mm
    shear = yield_mpa / math.sqrt(3.0) * math.pi * case.outer_diameter_mm * thickness_mm
    if squash > SHEAR_MOST * shear:
        raise BadInput(
            f"The shank folds at some {squash / 1000.0:.1f} kN, {squash / shear:.0f} times what the sheet carries in shear.",
            where="sheet.yield_mpa",
            hint="The sheet would be crushed, not clamped: a thicker or harder one, or a washer.",
        )

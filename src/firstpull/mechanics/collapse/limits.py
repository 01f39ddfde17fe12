"""What a simulated pull asks of threads, mandrel, sheet and tool, and what they stand. Loads in N, lengths in mm."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firstpull.mechanics.collapse.case import PullCase
from firstpull.mechanics.collapse.material import FlowCurve, flow_stress_mpa
from firstpull.mechanics.mandrel import MARGIN_WANTED, SHEAR_SHARE
from firstpull.trade.screws import property_class
from firstpull.trade.threads import strip_areas, thread

MANDREL_CLASS = "12.9"


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What stands around the pull: thread ("" = not known), mandrel class, tool and screw. None: not known.

    ``tool_load_n`` and ``tool_stroke_mm`` are the most the tool gives, ``compliance_mm_per_kn`` is that of mandrel and
    tool, ``sheet_load_n`` a pull that the sheet is known to stand, ``preload_n`` the largest preload of the screw.
    """

    thread: str = ""
    mandrel_class: str = MANDREL_CLASS
    tool_load_n: float | None = None
    tool_stroke_mm: float | None = None
    compliance_mm_per_kn: float | None = None
    sheet_load_n: float | None = None
    preload_n: float | None = None


@dataclass(frozen=True, slots=True)
class Ceiling:
    """A pull in N that must not be passed, its short name and where it comes from in words."""

    name: str
    load_n: float
    text: str


def tensile_strength_mpa(curve: FlowCurve) -> float:
    """Tensile strength R_m in MPa of a metal with this flow curve (any that check_flow_curve takes).

    R_m = σ(ε_u) exp(−ε_u) at the necking strain, where dσ/dε = σ. Source: Considère 1885 (from memory).
    """
    strain = np.linspace(0.0, 1.5, 3001)
    return float(np.max(flow_stress_mpa(curve, strain) * np.exp(-strain)))


def thread_strip_n(case: PullCase, *, designation: str, mandrel_class: str = MANDREL_CLASS) -> float:
    """Pull in N that strips the weaker of the insert's and the mandrel's engaged thread. Raises BadInput.

    Strip area at minimum material (FED-STD-H28/2B, Appendix B) over the whole threaded length × shear strength, 0.577
    of the tensile strength (von Mises): of the flow curve for the insert, of the property class for the mandrel.
    """
    areas = strip_areas(thread(designation, where="body.thread"), case.threaded_length_mm)
    insert = areas.internal_area_mm2 * SHEAR_SHARE * tensile_strength_mpa(case.metal)
    mandrel = (
        areas.external_area_mm2 * SHEAR_SHARE * property_class(mandrel_class, where="pull.mandrel_class").tensile_mpa
    )
    return min(insert, mandrel)


def mandrel_proof_n(designation: str, *, mandrel_class: str = MANDREL_CLASS) -> float:
    """Proof load in N of a mandrel: its tensile stress area × the proof stress of its class (ISO 898-1). BadInput."""
    found = property_class(mandrel_class, where="pull.mandrel_class")
    return thread(designation, where="body.thread").stress_area_mm2 * found.proof_mpa


def flange_crush_n(case: PullCase) -> float | None:
    """Pull in N at which the sheet under the flange yields: R_e π/4 (D_flange² − D_hole²); None without its yield.

    Source: elementary bearing on the ring under the flange. Lengths in mm, stresses in MPa. Dents on the blind side are
    in the simulated curve itself, since the sheet yields there too.
    """
    sheet = case.sheet
    if sheet is None or sheet.yield_mpa is None:
        return None
    return sheet.yield_mpa * math.pi / 4.0 * (case.flange_diameter_mm**2 - sheet.hole_diameter_mm**2)


def ceilings(case: PullCase, around: Surroundings) -> tuple[Ceiling, ...]:
    """Each pull that must not be passed, the lowest first: threads and mandrel / 1.25, sheet, tool. N. Raises BadInput.

    Source: common practice; the margin of 1.25 is our choice. What is not known is left out.
    """
    found = []
    if around.thread:
        strip = thread_strip_n(case, designation=around.thread, mandrel_class=around.mandrel_class)
        proof = mandrel_proof_n(around.thread, mandrel_class=around.mandrel_class)
        found.append(Ceiling("threads", strip / MARGIN_WANTED, "the engaged threads would strip (margin 1.25)"))
        found.append(Ceiling("mandrel", proof / MARGIN_WANTED, "the mandrel would stretch (proof load, margin 1.25)"))
    crush = flange_crush_n(case)
    if crush is not None:
        found.append(Ceiling("sheet", crush, "the sheet under the flange would yield"))
    if around.sheet_load_n is not None:
        found.append(Ceiling("sheet", around.sheet_load_n, "the sheet’s own limit, as given"))
    if around.tool_load_n is not None:
        found.append(Ceiling("tool", around.tool_load_n, "the tool gives no more"))
    return tuple(sorted(found, key=lambda one: (one.load_n, one.name)))

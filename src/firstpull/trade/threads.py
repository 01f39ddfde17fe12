"""Threads: ISO metric at 6g/6H and unified at 2A/2B, their limits, stress area and strip areas.

Profile: ISO 68-1 / ISO 724 (metric), ASME B1.1 (unified): H = √3/2 · P, D2 = D − 3/4 H, D1 = D − 5/4 H.
Metric limits: ISO 965-1 needs its tabulated tolerances; its formulas with rounding miss several sizes.
Unified limits: ASME B1.1 clause 5.8 formulas; the printed tables come out exactly when the pitch-diameter tolerance
is rounded to 6 decimals of an inch and each further term to 4, the 2B minor diameter to 3 (to 4 under 0.138 in).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from firstpull.errors import BadInput
from firstpull.trade import tables
from firstpull.trade.drills import drill
from firstpull.trade.thread_names import System, ThreadSize, find, sizes
from firstpull.units import NM_PER_INCH, NM_PER_MM

LONGEST_ENGAGEMENT_MM = 1000.0
_UNIT_NM = 2540  # unified limits are whole ten-thousandths of an inch
_PITCH_DROP = 3 / 4 * math.sqrt(3) / 2  # (D − D2) / P
_MINOR_DROP = 5 / 4 * math.sqrt(3) / 2  # (D − D1) / P
_STRESS_DROP = 13 / 12 * math.sqrt(3) / 2  # (d − (d2 + d3)/2) / P, printed 0.9382


@dataclass(frozen=True, slots=True)
class ExternalLimits:
    """Limits of the screw (or mandrel) thread, mm."""

    class_: str
    major_max_mm: float
    major_min_mm: float
    pitch_max_mm: float
    pitch_min_mm: float


@dataclass(frozen=True, slots=True)
class InternalLimits:
    """Limits of the insert's thread, mm. A go gauge is made to ``pitch_min_mm``, a no-go gauge to ``pitch_max_mm``."""

    class_: str
    minor_min_mm: float
    minor_max_mm: float
    pitch_min_mm: float
    pitch_max_mm: float


@dataclass(frozen=True, slots=True)
class Thread:
    """A thread with its basic diameters (mm), limits, tensile stress area (mm²) and tap drill."""

    designation: str
    system: System
    series: str
    pitch_mm: float
    threads_per_inch: int | None
    major_mm: float
    pitch_diameter_mm: float
    minor_mm: float
    external: ExternalLimits
    internal: InternalLimits
    stress_area_mm2: float
    tap_drill_mm: float
    tap_drill: str
    source: str


@dataclass(frozen=True, slots=True)
class StripAreas:
    """Areas that shear when the external or the internal thread strips over ``engagement_mm``, mm²."""

    engagement_mm: float
    external_area_mm2: float
    internal_area_mm2: float


def thread(designation: str, *, where: str = "") -> Thread:
    """The thread that ``designation`` names: “M6”, “M6x1”, “1/4-20”, “#10-32 UNF”, ….

    Held: metric M3 to M12, coarse and usual fine, 6g/6H (ISO 965-1); unified 4-40 to 1/2-20, UNC and UNF, 2A/2B
    (ASME B1.1). Lengths in mm, areas in mm². Raises BadInput, with the near sizes, for anything else.
    """
    return _thread(find(designation, where=where))


def thread_designations() -> tuple[str, ...]:
    """Every thread held, metric first, by diameter."""
    return tuple(size.designation for size in sizes())


def strip_areas(thread: Thread, engagement_mm: float) -> StripAreas:
    """The strip areas over ``engagement_mm`` (mm, over 0 up to 1000) of full threads, at the worst limits.

    FED-STD-H28/2B appendix B and ASME B1.1 appendix B: external π n Le K_n,max [1/(2n) + 0.57735 (E_s,min − K_n,max)],
    internal π n Le D_s,min [1/(2n) + 0.57735 (D_s,min − E_n,max)], n = 1/P. Raises BadInput outside the range.
    """
    if not 0 < engagement_mm <= LONGEST_ENGAGEMENT_MM:
        raise BadInput(
            f"An engagement of {engagement_mm} mm cannot be used.", hint="It must be over 0 and at most 1000 mm."
        )
    external, internal = thread.external, thread.internal
    turns = engagement_mm / thread.pitch_mm
    half_pitch_mm = thread.pitch_mm / 2
    outer = (
        math.pi
        * turns
        * internal.minor_max_mm
        * (half_pitch_mm + 0.57735 * (external.pitch_min_mm - internal.minor_max_mm))
    )
    inner = (
        math.pi
        * turns
        * external.major_min_mm
        * (half_pitch_mm + 0.57735 * (external.major_min_mm - internal.pitch_max_mm))
    )
    return StripAreas(engagement_mm, round(outer, 6), round(inner, 6))


@cache
def _thread(size: ThreadSize) -> Thread:
    major_mm = size.major_nm / NM_PER_MM
    pitch_mm = float(size.pitch_nm / NM_PER_MM)
    metric = size.system == "metric"
    external, internal = _metric_limits(size) if metric else _unified_limits(size)
    return Thread(
        designation=size.designation,
        system=size.system,
        series=size.series,
        pitch_mm=pitch_mm,
        threads_per_inch=size.threads_per_inch,
        major_mm=major_mm,
        pitch_diameter_mm=round(major_mm - _PITCH_DROP * pitch_mm, 6),
        minor_mm=round(major_mm - _MINOR_DROP * pitch_mm, 6),
        external=external,
        internal=internal,
        stress_area_mm2=round(_stress_area_mm2(major_mm, pitch_mm, metric=metric), 6),
        tap_drill_mm=drill(size.tap_drill).diameter.mm,
        tap_drill=size.tap_drill,
        source=("limits ISO 965-1; " if metric else "limits ASME B1.1 clause 5.8; ") + size.source,
    )


def _stress_area_mm2(major_mm: float, pitch_mm: float, *, metric: bool) -> float:
    """Tensile stress area, mm²: ISO 898-1 clause 9.1.6, π/4 ((d2 + d3)/2)²; ASME B1.1 appendix B, π/4 (D − 0.9743/n)²."""
    drop = _STRESS_DROP if metric else 0.9743
    return math.pi / 4 * (major_mm - drop * pitch_mm) ** 2


def _metric_limits(size: ThreadSize) -> tuple[ExternalLimits, InternalLimits]:
    by_pitch = next(
        row for row in tables.rows("iso965_by_pitch") if Fraction(row["pitch_mm"]) * NM_PER_MM == size.pitch_nm
    )
    by_diameter = next(
        row
        for row in tables.rows("iso965_pitch_diameter")
        if Fraction(row["pitch_mm"]) * NM_PER_MM == size.pitch_nm
        and Fraction(row["over_mm"]) * NM_PER_MM < size.major_nm <= Fraction(row["up_to_mm"]) * NM_PER_MM
    )
    # whole micrometres throughout, as ISO 965-1 prints them
    major = size.major_nm // 1000
    pitch_um = float(size.pitch_nm) / 1000
    pitch_diameter = round(major - _PITCH_DROP * pitch_um)
    minor = round(major - _MINOR_DROP * pitch_um)
    shift = int(by_pitch["es_g_um"])
    external = ExternalLimits(
        "6g",
        (major + shift) / 1000,
        (major + shift - int(by_pitch["major_external_um"])) / 1000,
        (pitch_diameter + shift) / 1000,
        (pitch_diameter + shift - int(by_diameter["pitch_external_um"])) / 1000,
    )
    internal = InternalLimits(
        "6H",
        minor / 1000,
        (minor + int(by_pitch["minor_internal_um"])) / 1000,
        pitch_diameter / 1000,
        (pitch_diameter + int(by_diameter["pitch_internal_um"])) / 1000,
    )
    return external, internal


def _unified_limits(size: ThreadSize) -> tuple[ExternalLimits, InternalLimits]:
    diameter = size.major_nm / NM_PER_INCH
    pitch = float(size.pitch_nm / NM_PER_INCH)
    # 5.8.1(c), class 2A; UNC and UNF take the diameter as length of engagement
    pitch_tolerance = round(0.0015 * (diameter ** (1 / 3) + math.sqrt(diameter) + 10 * pitch ** (2 / 3)), 6)
    allowance = _units(0.3 * pitch_tolerance)
    major_max = _units(diameter) - allowance
    pitch_diameter = _units(diameter - _PITCH_DROP * pitch)
    external = ExternalLimits(
        "2A",
        _unit_mm(major_max),
        _unit_mm(major_max - _units(0.06 * pitch ** (2 / 3))),
        _unit_mm(pitch_diameter - allowance),
        _unit_mm(pitch_diameter - allowance - _units(pitch_tolerance)),
    )
    minor = diameter - _MINOR_DROP * pitch
    internal = InternalLimits(
        "2B",
        _unit_mm(_minor_units(minor, diameter=diameter)),
        _unit_mm(_minor_units(minor + _minor_tolerance(diameter, pitch), diameter=diameter)),
        _unit_mm(pitch_diameter),
        _unit_mm(pitch_diameter + _units(1.3 * pitch_tolerance)),
    )
    return external, internal


def _minor_tolerance(diameter: float, pitch: float) -> float:
    """2B minor diameter tolerance, inches: ASME B1.1 clause 5.8.2(c)(1)."""
    coarse = 0.25 * pitch - 0.4 * pitch**2
    if diameter >= 0.25:
        return coarse
    return float(min(max(0.05 * pitch ** (2 / 3) + 0.03 * pitch / diameter - 0.002, coarse), 0.394 * pitch))


def _minor_units(minor: float, *, diameter: float) -> int:
    return round(minor * 1000) * 10 if diameter >= 0.138 else _units(minor)


def _units(inches: float) -> int:
    return round(inches * 10_000)


def _unit_mm(units: int) -> float:
    return units * _UNIT_NM / NM_PER_MM

"""The answers of ``firstpull lookup``, as plain dicts with a ``schema``: a thread, a sheet thickness, a drill here; the

tables by name (materials, screw classes, …) in :mod:`firstpull.trade.lookup_tables`.
"""

from __future__ import annotations

from typing import Any

from firstpull.errors import BadInput
from firstpull.trade.drills import drill, nearest_drills
from firstpull.trade.lookup_tables import TABLES
from firstpull.trade.sheet_gauges import names_gauge, nearest_gauges, parse_thickness, sheet_gauge
from firstpull.trade.threads import Thread, strip_areas, thread
from firstpull.units import NM_PER_INCH, NM_PER_MM, Length

KINDS = ("thread", "sheet", "drill", *TABLES)
_MM_PER_INCH = 25.4


def lookup(kind: str, text: str, *, engagement: Length | None = None) -> dict[str, Any]:
    """Look up ``text`` as one of :data:`KINDS`. Lengths in mm, and in inches where it says so.

    ``engagement`` (a length over 0 up to 1 m) is the engaged thread length for the strip areas; one diameter if left
    out. Raises BadInput for an unknown kind, for text that cannot be read, and for an engagement without a thread.
    """
    if kind not in KINDS:
        raise BadInput(f"“{kind}” cannot be looked up.", where="kind", hint=f"Look up one of: {', '.join(KINDS)}.")
    if engagement is not None and kind != "thread":
        raise BadInput("An engagement goes with a thread only.", where="engagement", hint="Leave it out.")
    if kind == "thread":
        return _thread_answer(thread(text, where="thread"), engagement)
    if kind in TABLES:
        return TABLES[kind](text)
    return _sheet_answer(text) if kind == "sheet" else _drill_answer(text)


def _thread_answer(found: Thread, engagement: Length | None) -> dict[str, Any]:
    engagement_mm = found.major_mm if engagement is None else engagement.mm
    try:
        strip = strip_areas(found, engagement_mm)
    except BadInput as problem:
        raise problem.at("engagement")
    external, internal = found.external, found.internal
    metric: dict[str, Any] = {
        "pitch_mm": found.pitch_mm,
        "major_mm": found.major_mm,
        "pitch_diameter_mm": found.pitch_diameter_mm,
        "minor_mm": found.minor_mm,
        "external": {
            "class": external.class_,
            "major_max_mm": external.major_max_mm,
            "major_min_mm": external.major_min_mm,
            "pitch_max_mm": external.pitch_max_mm,
            "pitch_min_mm": external.pitch_min_mm,
        },
        "internal": {
            "class": internal.class_,
            "minor_min_mm": internal.minor_min_mm,
            "minor_max_mm": internal.minor_max_mm,
            "pitch_min_mm": internal.pitch_min_mm,
            "pitch_max_mm": internal.pitch_max_mm,
        },
        "stress_area_mm2": found.stress_area_mm2,
        "strip": {
            "engagement_mm": strip.engagement_mm,
            "external_area_mm2": strip.external_area_mm2,
            "internal_area_mm2": strip.internal_area_mm2,
        },
        "tap_drill_mm": found.tap_drill_mm,
    }
    answer = {"schema": "firstpull/lookup/thread/1", "thread": found.designation, "system": found.system, **metric}
    answer |= {"tap_drill": found.tap_drill, "source": found.source}
    if found.system == "unified":
        answer["inch"] = {"threads_per_inch": found.threads_per_inch, **_in_inches(metric)}
    return answer


def _sheet_answer(text: str) -> dict[str, Any]:
    thickness = parse_thickness(text, where="sheet")
    if thickness.nanometres <= 0:
        raise BadInput(f"“{thickness.typed}” is not a thickness.", where="sheet", hint="It must be over 0.")
    answer: dict[str, Any] = {
        "schema": "firstpull/lookup/sheet/1",
        "sheet": thickness.typed,
        "thickness_mm": thickness.mm,
        "thickness_in": thickness.inch,
    }
    if not names_gauge(text):
        near = [
            {
                "metal": one.metal,
                "gauge": one.gauge,
                "thickness_mm": one.thickness.mm,
                "thickness_in": one.thickness.inch,
            }
            for one in nearest_gauges(thickness)
        ]
        return answer | {"system": "as typed", "source": "as typed", "nearest_gauges": near}
    gauge = sheet_gauge(text)
    return answer | {
        "system": gauge.system,
        "metal": gauge.metal,
        "gauge": gauge.gauge,
        "formula": gauge.formula,
        "source": gauge.source,
    }


def _drill_answer(text: str) -> dict[str, Any]:
    found = drill(text, where="drill")
    others = [one for one in nearest_drills(found.diameter.mm, count=6) if one.name != found.name][:4]
    return {
        "schema": "firstpull/lookup/drill/1",
        "drill": found.name,
        "series": found.series,
        "diameter_mm": found.diameter.mm,
        "diameter_in": found.diameter.inch,
        "source": found.source,
        "nearest": [
            {"drill": one.name, "diameter_mm": one.diameter.mm, "misfit_mm": one.misfit_mm(found.diameter.mm)}
            for one in others
        ],
    }


def _in_inches(values: dict[str, Any]) -> dict[str, Any]:
    """The same names with ``_in`` for ``_mm`` and ``_in2`` for ``_mm2``, values converted."""
    converted: dict[str, Any] = {}
    for name, value in values.items():
        if isinstance(value, dict):
            converted[name] = _in_inches(value)
        elif name.endswith("_mm2"):
            converted[name.removesuffix("_mm2") + "_in2"] = round(value / _MM_PER_INCH**2, 9)
        elif name.endswith("_mm"):
            # limits are whole ten-thousandths of an inch: through whole nanometres they come out as printed
            converted[name.removesuffix("_mm") + "_in"] = round(round(value * NM_PER_MM) / NM_PER_INCH, 7)
        else:
            converted[name] = value
    return converted

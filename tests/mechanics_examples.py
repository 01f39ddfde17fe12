"""A stack, an insert and tools that the tests of the mechanics share; all invented."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from firstpull.mechanics.insert import Insert
from firstpull.mechanics.request import GivenWindow, SettingRequest
from firstpull.mechanics.stack import Layer, Stack
from firstpull.mechanics.tool import Tool
from firstpull.units import parse_length as length

TRAY = Stack(
    (
        Layer("EN AW-5754", length("2.0 mm"), length("0.09 mm")),
        Layer("powder coat", length("0.08 mm"), None, coating=True),
    ),
    (length("2.16 mm"), length("2.19 mm"), length("2.17 mm")),
)
PLAIN = Stack((Layer("EN AW-5754", length("2.0 mm"), length("0.1 mm")),))
M6 = Insert(
    part="T6-30",
    thread="M6x1",
    material="steel",
    length_free=length("15.5 mm"),
    flange_thickness=length("1.5 mm"),
    flange_diameter=length("13 mm"),
    body_diameter=length("8.9 mm"),
    hole_diameter=length("9.0 mm"),
    thread_length=length("6.5 mm"),
    grip_min=length("0.5 mm"),
    grip_max=length("3.0 mm"),
    set_allowance=length("3.4 mm"),
    setting_load_n=6000,
    end="open",
)
KNOB = Tool(
    control="stroke",
    lead_per_turn=length("0.5 mm"),
    clicks_per_turn=12,
    stroke_max=length("7.5 mm"),
    load_max_n=9000,
    rated_pressure_bar=6.2,
    line_pressure_bar=6.0,
    stiffness_kn_per_mm=50,
)
SQUEEZE = Tool(
    control="force", piston_area_mm2=3000, ratio=6, efficiency=0.9, rated_pressure_bar=7, line_pressure_bar=6
)
LIMITS = GivenWindow(length("4.1 mm"), length("4.5 mm"))


def request(**changes: Any) -> SettingRequest:
    """The tray's M6 setting, with changes to the request; ``insert_`` fields go to the insert."""
    insert = replace(M6, **{name[7:]: changes.pop(name) for name in list(changes) if name.startswith("insert_")})
    return replace(SettingRequest(insert=insert, stack=TRAY, tool=KNOB, window=LIMITS), **changes)

"""What a joint asks of its insert, apart from loads."""

from __future__ import annotations

from dataclasses import dataclass

from firstpull.errors import BadInput
from firstpull.mechanics import fields as field_readers
from firstpull.mechanics.insert import BODIES, ENDS, HEADS, Body, End, Head
from firstpull.mechanics.tool import Tool, check_tool
from firstpull.trade.galvanic import SURROUNDINGS


@dataclass(frozen=True, slots=True, kw_only=True)
class Needs:
    """What the joint asks for; ``None`` = does not matter. ``room_behind_mm`` is the free room behind the blind side,
    ``tightening_torque_nm`` what the screw is tightened with.

    ``sealed``: nothing may leak through, so the end is closed. ``temperature_c``: the highest in service, °C.
    ``surroundings``: “harsh” (outdoors, wet, salt), “normal” (indoor air) or “controlled”. ``dimple``: the sheet may
    be dimpled for a countersunk head. ``pocket_diameter_mm`` and ``pocket_depth_mm``: the recess in which the insert
    is set, into which the tool's nose must reach.
    """

    thread: str
    end: End | None = None
    head: Head | None = None
    body: Body | None = None
    material: str | None = None
    room_behind_mm: float | None = None
    tightening_torque_nm: float | None = None
    tool: Tool | None = None
    sealed: bool = False
    temperature_c: float | None = None
    surroundings: str | None = None
    dimple: bool = False
    pocket_diameter_mm: float | None = None
    pocket_depth_mm: float | None = None


def check_needs(needs: Needs) -> None:
    """Raises BadInput naming the need that cannot be right."""
    for name, words in (("end", ENDS), ("head", HEADS), ("body", BODIES), ("surroundings", SURROUNDINGS)):
        if getattr(needs, name) is not None:
            field_readers.choice(getattr(needs, name), words, f"needs.{name}")
    for name in ("room_behind_mm", "tightening_torque_nm", "pocket_diameter_mm", "pocket_depth_mm"):
        if getattr(needs, name) is not None:
            field_readers.positive(getattr(needs, name), f"needs.{name}")
    if needs.sealed and needs.end == "open":
        raise BadInput("A sealed joint cannot have an open end.", where="needs.end", hint="Leave the end out.")
    hot = needs.temperature_c
    if hot is not None and not -273.15 <= field_readers.number(hot, "needs.temperature_c") <= 2000:
        raise BadInput(f"{hot:g} °C cannot be right.", where="needs.temperature", hint="For example “80 °C”.")
    if needs.tool is not None:
        check_tool(needs.tool)

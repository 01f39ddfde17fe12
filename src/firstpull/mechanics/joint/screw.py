"""Which screw length reaches the insert's thread fully and touches nothing behind."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from firstpull.mechanics.insert import head_height_nm
from firstpull.units import NM_PER_MM, LengthUnit, show_mm

if TYPE_CHECKING:
    from firstpull.mechanics.insert import Insert
    from firstpull.mechanics.joint.demand import Screw
    from firstpull.trade.threads import Thread

POINT_PITCHES = 1.0
UNKNOWN_BOTTOM_MM = 1.0
LEAST_MESH = 0.7


@dataclass(frozen=True, slots=True)
class ScrewLength:
    """The screw's length under its head, mm; ``None`` = cannot be said, and ``text`` says why.

    ``reach_least_mm`` and ``reach_most_mm`` are how far the screw must and may reach below the part that it holds.
    ``engaged_mm`` is the full thread in mesh, ``engaged_diameters`` the same in diameters, ``behind_mm`` what
    the screw stands out behind the stack.
    """

    length_mm: float | None
    name: str
    reach_least_mm: float | None
    reach_most_mm: float | None
    engaged_mm: float | None
    engaged_diameters: float | None
    behind_mm: float | None
    ok: bool
    text: str
    source: str


def screw_length(
    insert: Insert,
    thread: Thread,
    screw: Screw,
    *,
    thickness_mm: float,
    room_behind_mm: float | None,
    unit: LengthUnit = "mm",
) -> ScrewLength:
    """The screw for ``insert`` set in a stack of ``thickness_mm`` (mm, over 0).

    The set length L_free − S, S = G_max − t + A, says where the thread lies. Open end: the shortest usual length that
    reaches a pitch (the point's incomplete thread, an assumption) past the thread's far end, within the room behind.
    Closed end: the longest that stays inside the thread. One diameter of full thread in mesh is wanted [common practice];
    where the usual lengths or the room do not give it, 0.7 of a diameter (a judgement) or all that a shorter thread
    can give will do, as the strip checks reckon with what is in mesh.
    """
    if insert.set_allowance is None or insert.thread_length is None:
        missing = "set allowance" if insert.set_allowance is None else "thread length"
        return _unknown(f"The screw's length cannot be said: the insert's {missing} is not known.")
    stroke_mm = insert.grip_max.mm - thickness_mm + insert.set_allowance.mm
    far_mm = insert.length_free.mm - stroke_mm - _bottom_mm(insert, thread)
    thread_mm, point_mm = insert.thread_length.mm, POINT_PITCHES * thread.pitch_mm
    near_mm = far_mm - thread_mm
    can_mm = max(thread_mm - point_mm, 0.0) if insert.end == "closed" else thread_mm
    least = near_mm + min(LEAST_MESH * thread.major_mm, can_mm) + point_mm
    most = far_mm if insert.end == "closed" else None
    head = head_height_nm(insert)
    below_top = thickness_mm + (0.0 if head is None else head / NM_PER_MM)
    if most is None and room_behind_mm is not None:
        most = below_top + room_behind_mm
    wanted = far_mm + point_mm if insert.end == "open" else far_mm
    if screw.mating_thickness is None:
        text = f"The screw reaches {show_mm(wanted, unit)} {unit} below the part that it holds"
        text += f", at least {show_mm(least, unit)} {unit}. Give that part's thickness for its length."
        return ScrewLength(
            None, "", _r(least), _r(most), None, None, None, True, text, "set length by S = G_max − t + A"
        )
    between_mm = screw.mating_thickness.mm + (0.0 if screw.washer is None else screw.washer.mm)
    found = _pick(thread, between_mm, least=least, wanted=wanted, most=most, closed=insert.end == "closed")
    if found is None:
        text = f"No usual screw length reaches at least {show_mm(between_mm + least, unit)} {unit}"
        text += "." if most is None else f" and at most {show_mm(between_mm + most, unit)} {unit}."
        return ScrewLength(
            None, "", _r(least), _r(most), None, None, None, False, text, "set length by S = G_max − t + A"
        )
    name, length_mm = found
    reach = length_mm - between_mm
    engaged = min(reach - point_mm - near_mm, thread_mm)
    behind = reach - below_top
    text = f"{name} long: {show_mm(engaged, unit)} of {show_mm(thread_mm, unit)} {unit} of thread in mesh"
    text += (
        f" ({engaged / thread.major_mm:.2f} diameters), tip {show_mm(max(behind, 0.0), unit)} {unit} behind the stack."
    )
    if engaged < thread.major_mm - 1e-9:
        text += " Less than one diameter is in mesh: the strip checks reckon with that."
    return ScrewLength(
        _r(length_mm), name, _r(least), _r(most), _r(engaged), _r(engaged / thread.major_mm), _r(behind), True, text,
        "set length by S = G_max − t + A; usual lengths as ISO 4017 and ISO 4762",
    )  # fmt: skip


def _pick(
    thread: Thread, between_mm: float, *, least: float, wanted: float, most: float | None, closed: bool
) -> tuple[str, float] | None:
    from firstpull.trade.service import screw_lengths

    usable = [
        one
        for one in screw_lengths(thread.system)
        if one.mm >= between_mm + least - 1e-9 and (most is None or one.mm <= between_mm + most + 1e-9)
    ]
    if not usable:
        return None
    enough = [one for one in usable if one.mm >= between_mm + wanted - 1e-9]
    one = enough[0] if enough and not closed else usable[-1]
    return one.typed, one.mm


def _bottom_mm(insert: Insert, thread: Thread) -> float:
    """What lies beyond the full thread at a closed end, mm; two pitches and 1 mm where the lengths do not say."""
    if insert.end == "open":
        return 0.0
    if insert.unthreaded_length is None or insert.flange_thickness is None or insert.thread_length is None:
        return 2 * thread.pitch_mm + UNKNOWN_BOTTOM_MM
    known = insert.flange_thickness.mm + insert.unthreaded_length.mm + insert.thread_length.mm
    return max(insert.length_free.mm - known, 0.0)


def _unknown(text: str) -> ScrewLength:
    return ScrewLength(None, "", None, None, None, None, None, True, text, "")


def _r(value: float | None) -> float | None:
    return None if value is None else round(value, 6)

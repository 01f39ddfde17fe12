"""The setting: from insert, stack and tool to stroke, set length, window and steps."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from firstpull.errors import BadInput, Unsafe
from firstpull.mechanics import steps as acts
from firstpull.mechanics.insert import Insert, head_height_nm, set_protrusion_nm
from firstpull.mechanics.mandrel import MandrelPlan, mandrel_plan
from firstpull.mechanics.pressure import PressureLadder, pressure_ladder
from firstpull.mechanics.request import (
    AirToStack,
    Allowance,
    Batch,
    GivenWindow,
    SettingRequest,
    check_request,
    find_allowance,
)
from firstpull.mechanics.stack import Thickness, has_soft_layer, thickness
from firstpull.mechanics.steps import Step
from firstpull.mechanics.tool import Capacity, KnobMove, Tool, capacity, knob_move
from firstpull.mechanics.window import End, Window, WindowSource, find_window
from firstpull.units import NM_PER_MM, Length, LengthUnit, show_length, show_mm

if TYPE_CHECKING:
    from firstpull.trade.cautions import Caution

__all__ = [
    "AirToStack",
    "Allowance",
    "Batch",
    "End",
    "GivenWindow",
    "Setting",
    "SettingRequest",
    "Step",
    "compute_setting",
]

SCHEMA = "firstpull/setting/1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """The complete setting; lengths in mm, loads in N. See :func:`compute_setting`."""

    stroke_mm: float
    stroke_sd_mm: float
    stroke_min_mm: float | None
    stroke_max_mm: float | None
    set_length_mm: float
    set_length_min_mm: float | None
    set_length_max_mm: float | None
    batch_stroke_min_mm: float | None
    batch_stroke_max_mm: float | None
    free_protrusion_mm: float | None
    set_protrusion_mm: float | None
    thickness_mm: float
    thickness_low_mm: float
    thickness_high_mm: float
    thickness_basis: str
    unused_grip_mm: float
    set_allowance_mm: float
    set_allowance_sd_mm: float | None
    set_allowance_source: str
    window_source: WindowSource | None
    air_target_mm: float | None
    air_to_stack_mm: float
    air_to_stack_sd_mm: float
    air_to_stack_source: str
    one_setting_serves: bool | None
    ends: tuple[End, ...]
    releasable: bool
    blockers: tuple[str, ...]
    warnings: tuple[str, ...]
    cautions: tuple[Caution, ...]
    steps: tuple[Step, ...]
    knob_move: KnobMove | None
    capacity: Capacity | None
    mandrel: MandrelPlan
    pressure: PressureLadder | None

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON with ``schema``; cautions as their texts."""
        result: dict[str, Any] = {"schema": SCHEMA, **asdict(self)}
        result["cautions"] = [caution.text for caution in self.cautions]
        plain: dict[str, Any] = _plain(result)
        return plain


SLOPE_DOUBT = 0.1
_WORTH_SAYING_NM = 50_000


def compute_setting(request: SettingRequest, *, unit: LengthUnit = "mm") -> Setting:
    """The setting of one insert in one stack.

    Stroke S = (G_max − t) + A and set length L_set = L_free − S, with t the measured mean or nominal thickness and A
    the set allowance [common practice]; 0.1 · (G_max − t) is added to the doubt because the slope is not quite one
    for one. Over a batch S_min = G_max − t_thin + A_min and S_max = G_max − t_thick + A_max; limits come from the
    catalogue, the user, or proven coupons, and are never made up: without them there is a warning and
    ``releasable`` is False. Air target = L_set − shift; the shift is 0 ± 0.25 mm ("assumed") until coupons show it.
    ``unit`` is that of the lengths in the texts; every number is in mm or N. Raises BadInput for what cannot be
    right, and Unsafe for a stack outside the grip range, a stroke that the insert has no room for, or a pull beyond
    the tool.
    """
    insert, tool = request.insert, request.tool
    check_request(request)
    stack = thickness(request.stack, unit=unit)
    value, low, high = _limits_nm(request, stack)
    _check_grip(insert, low, high, stack, unit)
    allowance = find_allowance(request)
    unused = insert.grip_max.nanometres - value
    stroke = unused + allowance.value.nanometres
    set_length = insert.length_free.nanometres - stroke
    protrusion = _check_room(insert, allowance.value, stroke, unit)
    window = find_window(request, value_nm=value, low_nm=low, high_nm=high, allowance=allowance.value, unit=unit)
    mandrel = mandrel_plan(insert, setting_load_n=insert.setting_load_n, mandrel_class=request.mandrel_class)
    room = (
        None if tool is None else _check_capacity(tool, stroke / NM_PER_MM, insert.setting_load_n, request.gap_mm, unit)
    )
    shift = request.shift or AirToStack()
    air_target = _air_target_mm(tool, set_length, shift)
    ladder, ladder_warnings = _ladder(request, mandrel)
    move = _move(tool, request.present_set_length, air_target, unit)
    blockers = _blockers(tool, window, mandrel, ladder)
    head = head_height_nm(insert)
    said = _warnings(request, stack, unused, window, room, unit)
    return Setting(
        stroke_mm=_mm(stroke),
        stroke_sd_mm=round(math.hypot(allowance.sd_mm or 0.0, SLOPE_DOUBT * unused / NM_PER_MM), 6),
        stroke_min_mm=_mm_or_none(window.stroke_min_nm),
        stroke_max_mm=_mm_or_none(window.stroke_max_nm),
        set_length_mm=_mm(set_length),
        set_length_min_mm=_left_mm(insert, window.stroke_max_nm),
        set_length_max_mm=_left_mm(insert, window.stroke_min_nm),
        batch_stroke_min_mm=_mm_or_none(window.batch_min_nm),
        batch_stroke_max_mm=_mm_or_none(window.batch_max_nm),
        free_protrusion_mm=None if head is None else _mm(insert.length_free.nanometres - head - value),
        set_protrusion_mm=_mm_or_none(protrusion),
        thickness_mm=_mm(value),
        thickness_low_mm=_mm(low),
        thickness_high_mm=_mm(high),
        thickness_basis=stack.basis,
        unused_grip_mm=_mm(unused),
        set_allowance_mm=_mm(allowance.value.nanometres),
        set_allowance_sd_mm=allowance.sd_mm,
        set_allowance_source=allowance.source,
        window_source=window.source,
        air_target_mm=air_target,
        air_to_stack_mm=shift.mean_mm,
        air_to_stack_sd_mm=shift.sd_mm,
        air_to_stack_source=shift.source,
        one_setting_serves=window.one_setting_serves,
        ends=window.ends,
        releasable=not blockers,
        blockers=blockers,
        warnings=(*blockers, *said, *ladder_warnings, *mandrel.warnings),
        cautions=_cautions(request),
        steps=_steps(request, mandrel, move, ladder, air_target, set_length, unit),
        knob_move=move,
        capacity=room,
        mandrel=mandrel,
        pressure=ladder,
    )


def _air_target_mm(tool: Tool | None, set_length_nm: int, shift: AirToStack) -> float | None:
    """The set length to aim at in the air (mm); None for a force-set tool, which is never dialled in by air pulls."""
    if tool is not None and tool.control == "force":
        return None
    return round(set_length_nm / NM_PER_MM - shift.mean_mm, 6)


def _left_mm(insert: Insert, stroke_nm: int | None) -> float | None:
    """What is left of the free length after a stroke (mm); None for no stroke."""
    return None if stroke_nm is None else _mm(insert.length_free.nanometres - stroke_nm)


def _limits_nm(request: SettingRequest, stack: Thickness) -> tuple[int, int, int]:
    """Working thickness, thinnest and thickest, in nm."""
    value, low, high = (round(size * NM_PER_MM) for size in (stack.value_mm, stack.low_mm, stack.high_mm))
    if request.batch is not None:
        # The stack in hand belongs to the batch, whatever the batch was said to be.
        return value, min(request.batch.thin.nanometres, value), max(request.batch.thick.nanometres, value)
    return value, low, high


def _check_grip(insert: Insert, low: int, high: int, stack: Thickness, unit: LengthUnit) -> None:
    """The grip range must enclose the thinnest and thickest stack. Raises Unsafe with the smallest cure."""
    least, most = insert.grip_min.nanometres, insert.grip_max.nanometres
    reasons, cures = [], []
    if high > most:
        over = show_length(high - most, unit)
        reasons.append(
            f"The thickest stack, {show_length(high, unit)} {unit}, is {over} {unit} above the maximum grip of {show_length(most, unit)} {unit}."
        )
        cures.append(f"Take the next longer grip range, or take {over} {unit} off the stack.")
    if low < least:
        under = show_length(least - low, unit)
        reasons.append(
            f"The thinnest stack, {show_length(low, unit)} {unit}, is {under} {unit} below the minimum grip of {show_length(least, unit)} {unit}."
        )
        cures.append(f"Take the next shorter grip range, or add a shim of {under} {unit}.")
    if not reasons:
        return
    inside = least <= round(stack.value_mm * NM_PER_MM) <= most
    if inside:
        cures.append("Or measure the stack more closely, or sort the panels: its working thickness is inside.")
    raise Unsafe(
        "The grip range does not enclose the stack.", where="stack", hint=" ".join(cures), reasons=tuple(reasons)
    )


def _check_room(insert: Insert, allowance: Length, stroke: int, unit: LengthUnit) -> int | None:
    """The set protrusion in nm. Raises Unsafe when the insert is too short for the stroke."""
    protrusion = set_protrusion_nm(insert, allowance)
    at_most = (
        insert.length_free.nanometres - insert.grip_max.nanometres - allowance.nanometres
        if protrusion is None
        else protrusion
    )
    thread = insert.thread_length.nanometres if insert.thread_length is not None else 0
    if stroke <= 0:
        raise Unsafe(
            "The stroke is nothing.",
            where="set_allowance",
            hint="The set allowance must be more than zero at maximum grip.",
        )
    if at_most <= 0 or at_most < thread:
        raise Unsafe(
            "The insert has no room for this stroke.",
            where="set_allowance",
            hint="Check the set allowance and its unit.",
            reasons=(f"A stroke of {show_length(stroke, unit)} {unit} would pull the threaded end into the sheet.",),
        )
    return protrusion


def _check_capacity(tool: Tool, stroke_mm: float, load_n: float | None, gap_mm: float, unit: LengthUnit) -> Capacity:
    """Raises Unsafe when the tool cannot do it."""
    found = capacity(tool, stroke_mm=stroke_mm, load_n=load_n, gap_mm=gap_mm, unit=unit)
    if not found.ok:
        raise Unsafe("The tool cannot set this insert in this stack.", where="tool", reasons=found.reasons)
    return found


def _ladder(request: SettingRequest, mandrel: MandrelPlan) -> tuple[PressureLadder | None, tuple[str, ...]]:
    """The pressure ladder of a force-set tool, or why there is none."""
    tool, low = request.tool, request.insert.setting_load_n
    if tool is None or tool.control != "force":
        return None, ()
    ceilings = [limit for limit in (mandrel.pull_limit_n, request.load_ceiling_n) if limit is not None]
    if low is None or mandrel.pull_limit_n is None:
        return None, (
            "There is no pressure ladder: the setting load, or what threads and mandrel stand, is not known.",
        )
    try:
        ladder = pressure_ladder(tool, load_low_n=low, load_high_n=min(ceilings))
    except BadInput as problem:
        return None, (f"There is no pressure ladder: {problem.what}",)
    return ladder, ladder.warnings


def _move(tool: Tool | None, present: Length | None, target_mm: float | None, unit: LengthUnit) -> KnobMove | None:
    if tool is None or present is None or target_mm is None or tool.lead_per_turn is None or target_mm <= 0:
        return None
    return knob_move(tool, present_set_length_mm=present.mm, target_set_length_mm=target_mm, unit=unit)


def _blockers(
    tool: Tool | None, window: Window, mandrel: MandrelPlan, ladder: PressureLadder | None
) -> tuple[str, ...]:
    """Each thing that stands against a release."""
    blockers = list(window.blockers)
    if tool is not None and tool.control == "force":
        # The limits of the pull take the place of the limits of the stroke.
        blockers = (
            [] if ladder is not None else ["The limits of the pull are not known, so this setting cannot be released."]
        )
    if mandrel.strip_margin is not None and mandrel.strip_margin < 1:
        blockers.append("The engaged threads would strip below the setting load.")
    if mandrel.tension_margin is not None and mandrel.tension_margin < 1:
        blockers.append("The mandrel would yield below the setting load.")
    return tuple(blockers)


def _warnings(
    request: SettingRequest, stack: Thickness, unused: int, window: Window, room: Capacity | None, unit: LengthUnit
) -> tuple[str, ...]:
    insert, tool = request.insert, request.tool
    warnings = [*window.warnings, *stack.notes]
    doubt = round(SLOPE_DOUBT * unused)
    if doubt >= _WORTH_SAYING_NM:
        warnings.append(
            f"The stack is {show_length(unused, unit)} {unit} thinner than the maximum grip: the one-for-one rule leaves a doubt of "
            f"{show_length(doubt, unit)} {unit} in the stroke. Prove it on coupons of this thickness."
        )
    if insert.head == "countersunk" and insert.grip_datum == "flange":
        warnings.append(
            "Countersunk head with its grip counted from under the head: the stack must be what lies below the head. If the catalogue counts the head, set the grip datum to “surface”."
        )
    if request.load_ceiling_n is None and has_soft_layer(request.stack):
        warnings.append(
            "A soft layer can be crushed by the pull, and its limit is not known: use a backing washer, or give the load that it stands."
        )
    if room is not None:
        warnings.extend(room.unknown)
    shift = request.shift or AirToStack()
    if tool is None or tool.control == "stroke":
        if shift.source == "assumed":
            warnings.append(
                f"The shift from air to stack is not known; {show_mm(shift.mean_mm, unit)} ± {show_mm(shift.sd_mm, unit)} {unit} is assumed. An air pull shows the tool, only coupons show the joint."
            )
    else:
        warnings.append("A force-set tool is never dialled in by air pulls.")
    if (
        request.present_set_length is not None
        and tool is not None
        and tool.control == "stroke"
        and tool.lead_per_turn is None
    ):
        warnings.append(
            "The knob's lead is not known, so the turn cannot be said: learn it from two pulls a few turns apart."
        )
    return tuple(warnings)


def _cautions(request: SettingRequest) -> tuple[Caution, ...]:
    from firstpull.trade.cautions import cautions

    composite = ("composite",) if has_soft_layer(request.stack) else ()
    return cautions(*composite, "always", "air_off", "mandrel", "air_on", "pull", "prove")


def _steps(
    request: SettingRequest,
    mandrel: MandrelPlan,
    move: KnobMove | None,
    ladder: PressureLadder | None,
    air_target: float | None,
    set_length: int,
    unit: LengthUnit,
) -> tuple[Step, ...]:
    tool = request.tool
    first = (acts.air_off(), *mandrel.steps)
    if tool is not None and tool.control == "force":
        climb = ladder.steps if ladder is not None else (acts.no_ladder(),)
        return (*first, acts.air_on(tool, unit), *climb)
    both_ends = request.batch is not None and request.batch.thin != request.batch.thick
    target = set_length / NM_PER_MM if air_target is None else air_target
    return (
        *first,
        acts.knob(tool, move),
        acts.air_on(tool, unit),
        acts.trial(target, unit),
        acts.coupon(set_length / NM_PER_MM, unit, both_ends=both_ends),
        acts.lock(),
    )


def _plain(value: Any) -> Any:
    """Tuples as lists, so that the same form comes back from JSON."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    return [_plain(item) for item in value] if isinstance(value, list | tuple) else value


def _mm(value_nm: int) -> float:
    return round(value_nm / NM_PER_MM, 6)


def _mm_or_none(value_nm: int | None) -> float | None:
    return None if value_nm is None else _mm(value_nm)

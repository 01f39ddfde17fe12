"""The window: between which strokes the joint is good, over the whole batch, and from which source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from firstpull.mechanics.request import SettingRequest
from firstpull.units import NM_PER_MM, Length, LengthUnit, show_length

SHARE_INSIDE_Z = 2.575829  # two-sided 99 % of a normal distribution, the share of sets wanted inside

WindowSource = Literal["given", "catalogue", "proven", "computed"]
_NO_WINDOW = (
    "There is no window: no limits of the stroke are known, so this setting cannot be released. "
    "Give the maker's or your own limits, or prove them on coupons from both ends."
)


@dataclass(frozen=True, slots=True)
class End:
    """What one end of the batch wants: its thickness, stroke, stroke limits and set length, in mm."""

    name: Literal["thin", "thick"]
    thickness_mm: float
    stroke_mm: float
    stroke_min_mm: float | None
    stroke_max_mm: float | None
    set_length_mm: float


@dataclass(frozen=True, slots=True)
class Window:
    """Limits of the stroke in nm. ``stroke_*`` are as given, or over the batch for the catalogue's limits;
    ``batch_*`` always hold over the batch, and are ``None`` when no single setting serves or there are no limits.
    """

    source: WindowSource | None
    stroke_min_nm: int | None
    stroke_max_nm: int | None
    batch_min_nm: int | None
    batch_max_nm: int | None
    one_setting_serves: bool | None
    ends: tuple[End, ...]
    blockers: tuple[str, ...]
    warnings: tuple[str, ...]


def find_window(
    request: SettingRequest, *, value_nm: int, low_nm: int, high_nm: int, allowance: Length, unit: LengthUnit
) -> Window:
    """The window of a checked request, for a working thickness and the batch's thinnest and thickest stack (nm).

    Limits of the stroke given at the working thickness t are limits of the allowance, S − (G_max − t). Over the
    batch, S_min = G_max − t_thin + A_min and S_max = G_max − t_thick + A_max [common practice; one for one].
    Proven limits were found on the batch's own thinnest and thickest stack and hold over it as they are. One
    setting serves when the two leave room for 2 · 2.576 standard deviations of the tool's scatter (99 % inside).
    """
    grip = request.insert.grip_max.nanometres
    stroke = grip - value_nm + allowance.nanometres
    if request.window is not None and request.window.source == "proven":
        source: WindowSource | None = "proven"
        shown_min, shown_max = request.window.stroke_min.nanometres, request.window.stroke_max.nanometres
        batch_min, batch_max = shown_min, shown_max
        thin, thick = (shown_min, shown_max), (shown_min, shown_max)
    else:
        source, limits = _allowance_limits(request, grip - value_nm)
        if limits is None:
            ends = _ends(request, low_nm, high_nm, allowance, (None, None), (None, None))
            return Window(None, None, None, None, None, None, ends, (_NO_WINDOW,), ())
        thin = grip - low_nm + limits[0], grip - low_nm + limits[1]
        thick = grip - high_nm + limits[0], grip - high_nm + limits[1]
        batch_min, batch_max = thin[0], thick[1]
        shown_min, shown_max = grip - value_nm + limits[0], grip - value_nm + limits[1]
        if source == "catalogue":
            shown_min, shown_max = batch_min, batch_max
    ends = _ends(request, low_nm, high_nm, allowance, thin, thick)
    serves, warnings = _serves(request, batch_min, batch_max)
    if serves is False:
        blocker = _sort_text(batch_min, batch_max, ends, unit)
        if source == "catalogue":
            return Window(source, None, None, None, None, False, ends, (blocker,), warnings)
        return Window(source, shown_min, shown_max, None, None, False, ends, (blocker,), warnings)
    outside, nearer = _target(stroke, batch_min, batch_max, request, unit)
    return Window(source, shown_min, shown_max, batch_min, batch_max, serves, ends, outside, (*warnings, *nearer))


def _allowance_limits(request: SettingRequest, unused_nm: int) -> tuple[WindowSource | None, tuple[int, int] | None]:
    """Where the limits come from, and the least and greatest set allowance that they mean, in nm."""
    if request.window is not None:
        return request.window.source, (
            request.window.stroke_min.nanometres - unused_nm,
            request.window.stroke_max.nanometres - unused_nm,
        )
    least, greatest = request.insert.set_allowance_min, request.insert.set_allowance_max
    if least is None or greatest is None:
        return None, None
    return "catalogue", (least.nanometres, greatest.nanometres)


_Limits = tuple[int, int] | tuple[None, None]


def _ends(
    request: SettingRequest, low_nm: int, high_nm: int, allowance: Length, thin: _Limits, thick: _Limits
) -> tuple[End, End]:
    return _end("thin", low_nm, request, allowance=allowance, limits=thin), _end(
        "thick", high_nm, request, allowance=allowance, limits=thick
    )


def _end(
    name: Literal["thin", "thick"], thickness_nm: int, request: SettingRequest, *, allowance: Length, limits: _Limits
) -> End:
    stroke = request.insert.grip_max.nanometres - thickness_nm + allowance.nanometres
    least, greatest = limits
    return End(
        name=name,
        thickness_mm=thickness_nm / NM_PER_MM,
        stroke_mm=stroke / NM_PER_MM,
        stroke_min_mm=None if least is None else least / NM_PER_MM,
        stroke_max_mm=None if greatest is None else greatest / NM_PER_MM,
        set_length_mm=(request.insert.length_free.nanometres - stroke) / NM_PER_MM,
    )


def _serves(request: SettingRequest, batch_min: int, batch_max: int) -> tuple[bool | None, tuple[str, ...]]:
    if request.tool is None:
        if batch_min > batch_max:
            return False, ()
        return None, ("No tool is given: whether its scatter fits the window is not known.",)
    if request.tool.control == "force":
        return None, ("A force-set tool is not held to a stroke: the limits of its pull decide.",)
    needed = 2 * SHARE_INSIDE_Z * request.tool.process_sd_mm * NM_PER_MM
    return batch_max - batch_min >= needed, ()


def _sort_text(batch_min: int, batch_max: int, ends: tuple[End, ...], unit: LengthUnit) -> str:
    thin, thick = ends[0].thickness_mm * NM_PER_MM, ends[1].thickness_mm * NM_PER_MM
    between = f"from {show_length(round(thin), unit)} to {show_length(round(thick), unit)} {unit}"
    if batch_min > batch_max:
        return (
            f"No single setting serves stacks {between}: the thinnest needs at least {show_length(batch_min, unit)} {unit} of stroke "
            f"and the thickest allows at most {show_length(batch_max, unit)} {unit}. Sort the panels by thickness, or use a force-set tool."
        )
    return (
        f"No single setting serves stacks {between}: the window of {show_length(batch_max - batch_min, unit)} {unit} that is left is narrower "
        "than the tool's scatter. Sort the panels by thickness, use a tool that repeats better, or use a force-set tool."
    )


def _target(
    stroke: int, batch_min: int, batch_max: int, request: SettingRequest, unit: LengthUnit
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What is wrong with the target stroke inside the batch's window: blockers, warnings."""
    if request.tool is not None and request.tool.control == "force":
        return (), ()
    limits = f"{show_length(batch_min, unit)} to {show_length(batch_max, unit)} {unit}"
    if not batch_min <= stroke <= batch_max:
        middle = (batch_min + batch_max) // 2
        change = middle - stroke
        return (
            f"The stroke {show_length(stroke, unit)} {unit} is outside the limits that serve the whole batch, {limits}. "
            f"One of them is not right, or the set allowance must be {show_length(abs(change), unit)} {unit} {'more' if change > 0 else 'less'} to aim at the middle.",
        ), ()
    scatter = 0.0 if request.tool is None else SHARE_INSIDE_Z * request.tool.process_sd_mm * NM_PER_MM
    if min(stroke - batch_min, batch_max - stroke) < scatter:
        return (), (
            f"The stroke {show_length(stroke, unit)} {unit} is nearer to a limit of {limits} than the tool's scatter: aim nearer to the middle.",
        )
    return (), ()

"""What a setting is computed from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from firstpull.errors import BadInput
from firstpull.mechanics import fields as field_readers
from firstpull.mechanics.insert import Insert, check_insert
from firstpull.mechanics.stack import Stack
from firstpull.mechanics.tool import Tool, check_tool
from firstpull.units import Length


@dataclass(frozen=True, slots=True)
class Allowance:
    """The set allowance: the stroke wanted at maximum grip, its standard doubt in mm
    (``None`` = not known), and where it comes from."""

    value: Length
    sd_mm: float | None = None
    source: str = "typed"


@dataclass(frozen=True, slots=True)
class GivenWindow:
    """Limits of the stroke.

    "given" by the maker or the user: at the stack's working thickness. "proven" on coupons of the thinnest and the
    thickest stack: over the whole batch. "computed" by a virtual pull, at the working thickness.
    """

    stroke_min: Length
    stroke_max: Length
    source: Literal["given", "proven", "computed"] = "given"


@dataclass(frozen=True, slots=True)
class AirToStack:
    """Mean set length in the stack minus that in the air at the same knob, with its standard doubt, in mm."""

    mean_mm: float = 0.0
    sd_mm: float = 0.25
    source: str = "assumed"


@dataclass(frozen=True, slots=True)
class Batch:
    """The thinnest and thickest stack of the batch, when they are not those of ``Stack``."""

    thin: Length
    thick: Length


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingRequest:
    """What a setting is computed from.

    ``allowance`` may be left out when the insert carries its own set allowance. ``present_set_length`` is what an
    air pull with the knob as it stands gave. ``gap_mm`` is the gap between flange and anvil after spin-on.
    ``load_ceiling_n`` is a ceiling on the pull that the sheet or composite sets.
    """

    insert: Insert
    stack: Stack
    tool: Tool | None = None
    allowance: Allowance | None = None
    window: GivenWindow | None = None
    shift: AirToStack | None = None
    batch: Batch | None = None
    present_set_length: Length | None = None
    gap_mm: float = 0.0
    load_ceiling_n: float | None = None
    mandrel_class: str = "12.9"


def check_request(request: SettingRequest) -> None:
    """Raises BadInput naming the field that cannot be right; the stack is checked where its thickness is computed."""
    check_insert(request.insert)
    if request.tool is not None:
        check_tool(request.tool)
    if request.allowance is not None:
        field_readers.length(request.allowance.value, "set_allowance", zero=True)
        if request.allowance.sd_mm is not None:
            field_readers.positive(request.allowance.sd_mm, "set_allowance_sd_mm", zero=True)
    if request.shift is not None:
        field_readers.positive(request.shift.sd_mm, "shift.sd_mm", zero=True)
        if abs(field_readers.number(request.shift.mean_mm, "shift.mean_mm")) > 5:
            raise BadInput(
                f"An air-to-stack shift of {request.shift.mean_mm:g} mm cannot be right.",
                where="shift.mean_mm",
                hint="In mm; a few tenths at most.",
            )
    _check_ranges(request)
    if request.present_set_length is not None:
        field_readers.length(request.present_set_length, "present_set_length")
    if field_readers.positive(request.gap_mm, "gap_mm", zero=True) > 100:
        raise BadInput(f"A gap of {request.gap_mm:g} mm cannot be right.", where="gap_mm", hint="In mm.")
    if request.load_ceiling_n is not None:
        field_readers.positive(request.load_ceiling_n, "load_ceiling_n")


def _check_ranges(request: SettingRequest) -> None:
    if request.window is not None:
        field_readers.choice(request.window.source, ("given", "proven", "computed"), "window.source")
        low = field_readers.length(request.window.stroke_min, "window.stroke_min")
        high = field_readers.length(request.window.stroke_max, "window.stroke_max")
        if low >= high:
            raise BadInput(
                f"The least stroke {low.typed} is not below the greatest {high.typed}.",
                where="window.stroke_min",
                hint="Swap them, or check the unit.",
            )
    if request.batch is not None:
        thin = field_readers.length(request.batch.thin, "batch.thin")
        thick = field_readers.length(request.batch.thick, "batch.thick")
        if thin > thick:
            raise BadInput(
                f"The thinnest stack {thin.typed} is above the thickest {thick.typed}.",
                where="batch.thin",
                hint="Swap them.",
            )


def find_allowance(request: SettingRequest) -> Allowance:
    """The set allowance handed in, else the insert's own. Raises BadInput when there is neither."""
    if request.allowance is not None:
        return request.allowance
    if request.insert.set_allowance is not None:
        return Allowance(request.insert.set_allowance, None, "catalogue")
    raise BadInput(
        "The set allowance is not known: without it there is no stroke.",
        where="insert.set_allowance",
        hint="Take it from the maker's data, from this part's own releases, or find it on short coupons.",
    )

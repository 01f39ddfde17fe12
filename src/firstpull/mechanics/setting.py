"""The setting: from insert, stack and tool to stroke, set length, window and steps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from firstpull.mechanics.insert import Insert
from firstpull.mechanics.stack import Stack
from firstpull.mechanics.tool import Capacity, KnobMove, Tool
from firstpull.units import Length

if TYPE_CHECKING:
    from firstpull.mechanics.mandrel import MandrelPlan
    from firstpull.mechanics.pressure import PressureLadder
    from firstpull.trade.cautions import Caution

WindowSource = Literal["given", "catalogue", "proven"]


@dataclass(frozen=True, slots=True)
class Allowance:
    """The set allowance: the stroke wanted at maximum grip, its standard doubt in mm, and where it comes from."""

    value: Length
    sd_mm: float = 0.0
    source: str = "typed"


@dataclass(frozen=True, slots=True)
class GivenWindow:
    """Limits of the stroke at the stack's working thickness, given by the maker or the user, or proven on coupons."""

    stroke_min: Length
    stroke_max: Length
    source: Literal["given", "proven"] = "given"


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


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do: ``key`` for the page, a ``title`` of a few words, and ``text`` as an instruction."""

    key: str
    title: str
    text: str


@dataclass(frozen=True, slots=True)
class End:
    """What one end of the batch wants: its thickness, stroke, stroke limits and set length, in mm."""

    name: Literal["thin", "thick"]
    thickness_mm: float
    stroke_mm: float
    stroke_min_mm: float | None
    stroke_max_mm: float | None
    set_length_mm: float


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
    free_protrusion_mm: float | None
    set_protrusion_mm: float | None
    thickness_mm: float
    thickness_low_mm: float
    thickness_high_mm: float
    thickness_basis: str
    unused_grip_mm: float
    set_allowance_mm: float
    set_allowance_sd_mm: float
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

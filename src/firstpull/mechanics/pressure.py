"""Force-set tools: the pressure ladder, upward, on coupons; never by air pulls."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from firstpull.mechanics.setting import Step


@dataclass(frozen=True, slots=True)
class Rung:
    """One pressure to try, in bar, and the pull it should give, in N."""

    pressure_bar: float
    load_n: float


@dataclass(frozen=True, slots=True)
class PressureLadder:
    """The pressures to try, lowest first. Pressures in bar, loads in N."""

    rungs: tuple[Rung, ...]
    lower_pressure_bar: float
    upper_pressure_bar: float
    lower_load_n: float
    upper_load_n: float
    judged_by: tuple[str, ...]
    steps: tuple[Step, ...]
    warnings: tuple[str, ...]

"""What the practice bench gives back: a pull, a coupon, and the truth for the review afterwards. Lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from firstpull.errors import BadInput

Where = Literal["air", "stack"]
Verdict = Literal["good", "under-set", "over-set", "tilted", "outside grip"]


@dataclass(frozen=True, slots=True)
class PracticePull:
    """One simulated pull. The bench shows ``length_before_mm`` and readings; the rest is truth, for the review.

    ``readings_mm`` are what successive readings of this one insert give; ``misread`` says which of them are wrong.
    """

    index: int
    where: Where
    thickness_mm: float | None
    length_before_mm: float
    readings_mm: tuple[float, ...]
    misread: tuple[bool, ...]
    true_length_before_mm: float
    true_length_mm: float
    load_n: float
    stalled: bool
    spun_off_early: bool
    cold: float

    @property
    def reading_mm(self) -> float:
        """The first reading."""
        return self.readings_mm[0]

    @property
    def reading_again_mm(self) -> float:
        """The second reading of the same insert."""
        return self.readings_mm[1]

    @property
    def true_stroke_mm(self) -> float:
        """Permanent shortening."""
        return round(self.true_length_before_mm - self.true_length_mm, 6)

    def read_again(self, times: int = 1) -> float:
        """The reading after ``times`` re-reads (1 = the second reading). Raises BadInput past the last one."""
        if times not in range(len(self.readings_mm)):
            raise BadInput(
                f"This insert has been read {len(self.readings_mm)} times; more readings add nothing.",
                where="read_again",
                hint="Pull another insert.",
            )
        return self.readings_mm[times]


@dataclass(frozen=True, slots=True)
class PracticeCoupon:
    """One simulated coupon: what the eye, the thread gauge and the turning test find. ``verdict`` is the truth."""

    thickness_mm: float
    pull: PracticePull
    gap: bool
    tilt: bool
    turns_in_hole: bool
    thread_gauge_goes: bool
    blind_head_even: bool
    torque_to_turn_nm: float
    verdict: Verdict

    @property
    def set_length_mm(self) -> float:
        """The first reading of the set length."""
        return self.pull.reading_mm

    @property
    def flush(self) -> bool:
        """Flange on the sheet all round."""
        return not self.gap and not self.tilt

    @property
    def passes(self) -> bool:
        """Every check is good."""
        return self.flush and not self.turns_in_hole and self.thread_gauge_goes and self.blind_head_even


@dataclass(frozen=True, slots=True)
class PracticeTruth:
    """What nobody at a real bench knows. Means are over the lot, tool warm, at the present knob position."""

    temperament: str
    lead_mm: float
    play_turns: float
    cold_shortfall_mm: float
    drift_per_cycle_mm: float
    pull_sd_mm: float
    insert_sd_mm: float
    lot_mean_length_mm: float
    caliper_bias_mm: float
    stroke_ceiling_mm: float
    pressure_bar: float
    mean_air_length_mm: float
    mean_stack_length_mm: float
    air_to_stack_mm: float
    stalls_in_stack: bool
    target_length_mm: float
    reachable: bool
    length_shortest_good_mm: float
    length_longest_good_mm: float
    inserts_used: int
    cycles: int

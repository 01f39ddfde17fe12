"""What the checks of a simulated coupon find: they fail as the stroke really is for that stack.

Too short: the insert turns, then the flange gaps; too long: the thread gauge sticks, then the blind head cracks. The
true limits lie a little outside the insert's set allowance limits. All numbers are engineering judgement.
"""

from __future__ import annotations

from firstpull.practice.chance import Chance
from firstpull.practice.nominals import Nominals
from firstpull.practice.results import PracticeCoupon, PracticePull, Verdict
from firstpull.practice.temperament import Traits

_GAPS_FROM_MM = 0.08
_CRACKS_FROM_MM = 0.06
_UNEVEN_FROM_MM = 0.3


def good_strokes_mm(nominals: Nominals, traits: Traits, *, thickness_mm: float) -> tuple[float, float]:
    """True least and largest good stroke in a stack of ``thickness_mm``."""
    free = nominals.grip_max_mm - thickness_mm
    return (
        free + nominals.set_allowance_min_mm - traits.under_margin_mm,
        free + nominals.set_allowance_max_mm + traits.over_margin_mm,
    )


def check_coupon(
    pull: PracticePull, thickness_mm: float, *, nominals: Nominals, traits: Traits, chance: Chance
) -> PracticeCoupon:
    """The coupon made by ``pull`` in ``thickness_mm`` of scrap."""
    least, largest = good_strokes_mm(nominals, traits, thickness_mm=thickness_mm)
    under, over = least - pull.true_stroke_mm, pull.true_stroke_mm - largest
    tilted, firmness = chance.happens(traits.tilt_chance), 1 + chance.normal(0.04)
    too_thick, too_thin = thickness_mm > nominals.grip_max_mm, thickness_mm < nominals.grip_min_mm
    loose = under > 0 or too_thick or too_thin
    held = max(0.1, 0.55 - 1.5 * max(under, 0.0)) if loose else 1.0
    verdict: Verdict = "good"
    if too_thick or too_thin:
        verdict = "outside grip"
    elif under > 0:
        verdict = "under-set"
    elif over > 0:
        verdict = "over-set"
    elif tilted:
        verdict = "tilted"
    return PracticeCoupon(
        thickness_mm=thickness_mm,
        pull=pull,
        gap=under > _GAPS_FROM_MM or too_thick,
        tilt=tilted,
        turns_in_hole=loose,
        thread_gauge_goes=over <= 0,
        blind_head_even=over <= _CRACKS_FROM_MM and under <= _UNEVEN_FROM_MM,
        torque_to_turn_nm=round(nominals.torque_to_turn_nm * held * firmness, 1),
        verdict=verdict,
    )

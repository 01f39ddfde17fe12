"""The plan of a proof: what must be shown, with which coupons, and how the run is checked afterwards."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from firstpull.errors import BadInput
from firstpull.record.job import JobState

# a torque tool's limit of error as a share of its reading; ISO 6789-1 allows 4 % (from memory)
TORQUE_ERROR_SHARE = 0.04


@dataclass(frozen=True, slots=True)
class Plan:
    """What the proof must hold: good coupons at each end, sections and turning tests in all, what is promised, and
    whether the coupons must show it before a release.

    The promise: with ``confidence`` at least ``share_inside`` of the sets lie inside the window (measured lengths), and
    at least ``reliability`` pass every check (pass or fail).
    """

    coupons_each_end: int = 3
    sections: int = 1
    torque_tests: int = 1
    torque_min_nm: float | None = None
    torque_error_share: float = TORQUE_ERROR_SHARE
    reliability: float = 0.99
    confidence: float = 0.95
    share_inside: float = 0.99
    show_claim_first: bool = False
    measure_before: bool = True
    both_ends_over_mm: float = 0.1
    coupons_again: int = 3
    check_every_sets: int = 50
    check_every_minutes: int = 120


def plan_of(state: JobState) -> Plan:
    """The plan on record, with the defaults for what it does not say."""
    return Plan(**{**asdict(Plan()), **state.plan})


def check_plan(plan: Plan) -> None:
    """Raises BadInput, naming the field, for values that make no plan."""
    if not 1 <= plan.coupons_each_end <= 1000 or not 1 <= plan.coupons_again <= 1000:
        raise BadInput("Between 1 and 1000 coupons.", where="coupons_each_end")
    if not 0 <= plan.sections <= 1000 or not 0 <= plan.torque_tests <= 1000:
        raise BadInput("Between 0 and 1000.", where="sections", hint="For example 1.")
    if not 1 <= plan.check_every_sets <= 1_000_000 or not 1 <= plan.check_every_minutes <= 527_040:
        raise BadInput(
            "Checks come every 1 to 1,000,000 sets and every minute to once a year.", where="check_every_sets"
        )
    if plan.torque_min_nm is not None and not 0 < plan.torque_min_nm < 1e4:
        raise BadInput(
            "The turning torque must be more than zero.", where="torque_min_nm", hint="At least the tightening torque."
        )
    if not 0 <= plan.torque_error_share <= 0.5:
        raise BadInput("A limit of error from 0 to 50 %.", where="torque_error_share", hint="For example 0.04.")
    for name in ("reliability", "confidence", "share_inside"):
        if not 0.5 <= getattr(plan, name) <= 0.9999:
            raise BadInput("A share from 50 % to 99.99 %.", where=name, hint="For example 95 %.")

"""Pass or fail one coupon at a time: stop as soon as the answer is clear, with the exact risks of doing so.

What can be saved, and what cannot: whatever the plan, if all coupons pass it may not accept before as many as the
success run needs, for else it would accept bad lots too often (R^n ≤ 1 − C for each path without a failure). A plan
that allows failures saves coupons on lots that are far better or far worse than the edge; a success run that stops at
its first failure saves them on bad lots.

Sources: A. Wald, Sequential Analysis, 1947 (probability ratio test, its lines); NIST/SEMATECH e-Handbook 6.2.6
(sequential plans); ISO 28591 (sequential sampling plans for inspection by attributes). Risks and mean numbers here are
not Wald's approximations but counted path by path.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from firstpull.errors import BadInput
from firstpull.statistics.acceptance import success_run_count
from firstpull.statistics.inputs import a_count, a_number, a_share

_MOST_COUPONS = 5000


@dataclass(frozen=True, slots=True)
class SequentialPlan:
    """When to stop. After ``n`` coupons with ``d`` failures accept if d ≤ ``accept[n − 1]``, reject if d ≥
    ``reject[n − 1]``, else test one more; −1 in ``accept`` means “not yet”. The last coupon always decides.

    ``slope``, ``accept_at`` and ``reject_at`` are the lines d = slope · n − accept_at and d = slope · n + reject_at
    (None for plans that are not of that kind).
    """

    accept: tuple[int, ...]
    reject: tuple[int, ...]
    slope: float | None
    accept_at: float | None
    reject_at: float | None

    @property
    def most(self) -> int:
        """The most coupons that the plan can take."""
        return len(self.accept)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a plan does with lots of which the share ``reliability`` is good: chances and coupons, exact."""

    reliability: float
    accepted: float
    mean_coupons: float
    most_coupons: int


def probability_ratio_plan(
    good: float, bad: float, *, producer: float = 0.05, consumer: float = 0.05, most: int | None = None
) -> SequentialPlan:
    """Wald's plan between a ``good`` and a ``bad`` reliability (shares, good above bad), cut off at ``most`` coupons.

    ``producer`` and ``consumer`` are the wanted risks, 0.0001 … 0.5; Wald's lines keep them nearly, the cut-off changes
    them a little: ask :func:`outcome` for the true ones, or take :func:`plan_that_keeps_the_risk`. Without ``most``
    three times the single-sample number that both risks need. 1 to 5000 coupons. Raises BadInput.
    Source: Wald (1947); NIST/SEMATECH e-Handbook 6.2.6: h = ln((1 − α)/β)/k, ln((1 − β)/α)/k, s = ln((1 − p1)/(1 − p2))/k,
    k = ln(p2(1 − p1)/(p1(1 − p2))).
    """
    p1, p2 = 1 - a_share(good, "good"), 1 - a_share(bad, "bad")
    alpha = a_number(producer, "producer", least=1e-4, most=0.5)
    beta = a_number(consumer, "consumer", least=1e-4, most=0.5)
    if p1 >= p2:
        raise BadInput("The good reliability must be above the bad one.", where="good", hint="Swap them.")
    if alpha + beta >= 1:
        raise BadInput("Risks that add up to 1 ask for no test at all.", where="producer", hint="Take smaller risks.")
    k = math.log(p2 * (1 - p1) / (p1 * (1 - p2)))
    slope = math.log((1 - p1) / (1 - p2)) / k
    accept_at, reject_at = math.log((1 - alpha) / beta) / k, math.log((1 - beta) / alpha) / k
    last = most if most is not None else min(_MOST_COUPONS, 3 * _single_number(p1, p2, alpha=alpha, beta=beta))
    count = a_count(last, "most", least=1, most=_MOST_COUPONS)
    # A count exactly on a line is beyond it: decimal risks must not be pushed off by binary rounding.
    accept = [math.floor(slope * n - accept_at + 1e-9) for n in range(1, count + 1)]
    reject = [math.ceil(slope * n + reject_at - 1e-9) for n in range(1, count + 1)]
    # At the last coupon the middle between the lines decides.
    accept[-1] = max(accept[-1], math.floor(slope * count + (reject_at - accept_at) / 2))
    if accept[-1] < 0:
        raise BadInput(
            f"{count} coupons end before it can accept.",
            where="most",
            hint=f"Allow {math.ceil(accept_at / slope)} or more.",
        )
    reject[-1] = accept[-1] + 1
    return SequentialPlan(tuple(max(-1, value) for value in accept), tuple(reject), slope, accept_at, reject_at)


def success_run_plan(reliability: float, confidence: float, *, failed: int = 0) -> SequentialPlan:
    """The success run as a sequential plan that stops as soon as it is lost or won (shares; up to 5000 coupons).

    It keeps the promise of :func:`acceptance.success_run_count` exactly: stopping early only leaves out coupons that
    can no longer change the answer. Raises BadInput. Source: curtailed sampling, binomial; NIST/SEMATECH e-Handbook
    8.3.1.1.
    """
    allowed = a_count(failed, "failed", least=0, most=1000)
    count = a_count(success_run_count(reliability, confidence, failed=allowed), "coupons needed", least=1, most=5000)
    accept = tuple(allowed - (count - n) if count - n <= allowed else -1 for n in range(1, count + 1))
    return SequentialPlan(accept, (allowed + 1,) * count, None, None, None)


def plan_that_keeps_the_risk(
    good: float, reliability: float, *, confidence: float, producer: float = 0.05, most: int | None = None
) -> SequentialPlan:
    """A cut-off probability ratio plan whose exact chance to accept a lot of ``reliability`` is at most 1 − confidence.

    Shares; ``good`` is a reliability worth accepting nearly always (above ``reliability``). Wald's consumer's risk is
    tightened until the exact one holds. Raises BadInput where no plan of up to 5000 coupons does.
    Source: Wald (1947) for the lines; exact risk by :func:`outcome`.
    """
    allowed = 1 - a_share(confidence, "confidence")
    wanted = min(0.5, allowed)
    for _ in range(60):
        plan = probability_ratio_plan(good, reliability, producer=producer, consumer=max(1e-4, wanted), most=most)
        got = outcome(plan, reliability).accepted
        if got <= allowed:
            return plan
        if wanted <= 1e-4:
            break
        wanted *= max(0.5, 0.98 * allowed / got)
    raise BadInput(
        "No such plan keeps that confidence.", where="most", hint="Allow more coupons, or a better good reliability."
    )


def outcome(plan: SequentialPlan, reliability: float) -> Outcome:
    """The exact chance that ``plan`` accepts lots with this ``reliability`` (a share), and its mean number of coupons.

    Raises BadInput. Source: the binomial paths that stop at each coupon, summed; ISO 28591 gives such tables.
    """
    good = a_number(reliability, "reliability", least=0, most=1)
    size = max(plan.reject) + 2
    chances = np.zeros(size)
    chances[0] = 1.0
    counts = np.arange(size)
    accepted = coupons = 0.0
    for accept, reject in zip(plan.accept, plan.reject, strict=True):
        coupons += float(chances.sum())
        chances = good * chances + (1 - good) * np.concatenate([[0.0], chances[:-1]])
        accepted += float(chances[counts <= accept].sum())
        chances = np.where((counts <= accept) | (counts >= reject), 0.0, chances)
    return Outcome(good, min(1.0, accepted), coupons, plan.most)


def decide(plan: SequentialPlan, results: tuple[bool, ...]) -> Literal["accept", "reject", "go on"]:
    """What the plan says after these ``results`` (True: good), in order; results after its end are an error.

    Values are pass or fail, no unit. Raises BadInput. Source: the plan's own counts, :class:`SequentialPlan`.
    """
    failures = 0
    answer: Literal["accept", "reject", "go on"] = "go on"
    for place, good in enumerate(results):
        if answer != "go on":
            raise BadInput(
                f"The plan had said “{answer}” after {place} coupons.", where="results", hint="Stop where it says so."
            )
        failures += not good
        if failures <= plan.accept[place]:
            answer = "accept"
        elif failures >= plan.reject[place]:
            answer = "reject"
    return answer


def _single_number(p1: float, p2: float, *, alpha: float, beta: float) -> int:
    """Coupons of the single-sample plan with both risks, by the normal approximation; for the cut-off only."""
    from scipy.special import ndtri

    za, zb = float(ndtri(1 - alpha)), float(ndtri(1 - beta))
    root = za * math.sqrt(p1 * (1 - p1)) + zb * math.sqrt(p2 * (1 - p2))
    return max(20, math.ceil((root / (p2 - p1)) ** 2))

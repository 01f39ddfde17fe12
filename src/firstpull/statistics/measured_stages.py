"""Measured values in stages: look after some coupons, stop when the answer is clear, and keep both promises.

A plan has a few stages. After stage i, with n readings, mean m and standard deviation s, the distance to the nearest
limit in s is k; the lot is accepted at k ≥ accept[i], rejected at k ≤ reject[i]. What is promised, for independent normal
readings with unknown mean and sigma and one limit:

- a lot of which less than the share ``reliability`` lies inside is accepted, at any stage, with a chance of at most
  1 − confidence;
- a lot of which the share ``good`` or more lies inside is rejected with a chance of at most ``producer``.

Both hold exactly, not nearly: each stage spends a part of the risk by its exact one-sided factor (noncentral t), and the
risk of a union is at most the sum of the risks. So the true risks are a little smaller. With two limits the lower bound
of the share inside decides (:func:`tolerance_intervals.share_inside`), whose coverage between the limits was found by
simulation to be at or above the nominal.

Sources: ISO 16269-6:2014, one-sided interval (factors); ISO 3951-1, ISO 39511 (plans for measured values, k method;
numbers from memory); group sequential spending of risk: K. K. G. Lan, D. L. DeMets, Biometrika 70 (1983) 659–663;
sum of risks: Bonferroni's inequality.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_count, a_number, a_share, some_numbers
from firstpull.statistics.moments import moments
from firstpull.statistics.tolerance_intervals import one_sided_factor, share_inside

_MOST_READINGS = 2000
_LEAST_RISK = 2e-6


@dataclass(frozen=True, slots=True)
class Stage:
    """After ``n`` readings: accept at k ≥ ``accept``, reject at k ≤ ``reject``, k = distance to the limit / sd.

    ``consumer`` and ``producer`` are the risks spent here. At the last stage ``accept`` decides alone.
    """

    n: int
    accept: float
    reject: float
    consumer: float
    producer: float


@dataclass(frozen=True, slots=True)
class MeasuredPlan:
    """Stages in order, with the shares and risks they promise. ``single`` is the number one stage alone would need."""

    stages: tuple[Stage, ...]
    good: float
    reliability: float
    confidence: float
    producer: float
    single: int


@dataclass(frozen=True, slots=True)
class MeasuredOutcome:
    """What drawn lots did: the share accepted, its standard error, and the mean number of readings."""

    accepted: float
    standard_error: float
    mean_readings: float
    lots: int


def measured_plan(
    good: float, reliability: float, *, confidence: float = 0.95, producer: float = 0.05, stages: int = 4
) -> MeasuredPlan:
    """Stages that show ``reliability`` at ``confidence`` and seldom refuse a lot that is ``good`` (shares, good above).

    ``producer`` 0.0001 … 0.5; 1 to 10 ``stages``, of which each adds as many readings. Risk is spent as (i/stages)², so
    that a look at few readings costs little. No unit. Raises BadInput, also where over 2000 readings would be needed.
    Source: exact one-sided factors of ISO 16269-6; spending as Lan and DeMets (1983).
    """
    best, least = a_share(good, "good"), a_share(reliability, "reliability")
    if best <= least:
        raise BadInput("The good reliability must be above the wanted one.", where="good", hint="Swap them.")
    sure = a_share(confidence, "confidence")
    alpha = a_number(producer, "producer", least=1e-4, most=0.5)
    count = a_count(stages, "stages", least=1, most=10)
    single = _enough(best, least, consumer=1 - sure, producer=alpha)
    parts = [(2 * place + 1) / count**2 for place in range(count)]
    if min(1 - sure, alpha) * parts[0] < _LEAST_RISK:
        raise BadInput("So little risk cannot be spent in so many stages.", where="stages", hint="Take fewer stages.")
    most = _enough(best, least, consumer=(1 - sure) * parts[-1], producer=alpha * parts[-1])
    sizes = [max(2, math.ceil(most * (place + 1) / count)) for place in range(count)]
    found: list[Stage] = []
    for n, part in zip(sizes, parts, strict=True):
        if found and n <= found[-1].n:
            continue
        spent, refused = (1 - sure) * part, alpha * part
        accept = one_sided_factor(n, least, 1 - spent)
        reject = accept if n == most else min(accept, one_sided_factor(n, best, refused))
        found.append(Stage(n, accept, reject, spent, refused))
    return MeasuredPlan(tuple(found), best, least, sure, alpha, single)


def judge_measured(
    plan: MeasuredPlan, values: Sequence[float], *, low: float | None = None, high: float | None = None
) -> Literal["accept", "reject", "go on"]:
    """What ``plan`` says after these ``values``, in the order they were read, against one limit or two, in their unit.

    Only whole stages are looked at; readings after an answer are an error. Raises BadInput, also where a stage's values
    do not scatter. Source: the plan's factors; with two limits the generalized bound of Krishnamoorthy and Mathew (2009).
    """
    if low is None and high is None:
        raise BadInput("There is no limit to compare with.", where="low", hint="Give a lower or an upper limit.")
    lower = None if low is None else a_number(low, "low")
    upper = None if high is None else a_number(high, "high")
    readings = some_numbers(values, "values", least=0)
    answer: Literal["accept", "reject", "go on"] = "go on"
    for stage in plan.stages:
        if len(readings) < stage.n:
            return answer
        answer = _judge(stage, readings[: stage.n], plan=plan, limits=(lower, upper))
        if answer != "go on":
            if len(readings) > stage.n:
                raise BadInput(
                    f"The plan had said “{answer}” after {stage.n} readings.",
                    where="values",
                    hint="Stop where it says so.",
                )
            return answer
    if len(readings) > plan.stages[-1].n:
        raise BadInput("There are more readings than the plan takes.", where="values", hint="Leave the last ones out.")
    return answer


def measured_outcome(
    plan: MeasuredPlan, share: float, *, generator: np.random.Generator, lots: int = 10_000
) -> MeasuredOutcome:
    """What the plan does with lots of which ``share`` lies inside one limit, drawn at random (100 to 10⁶ lots).

    No unit. Raises BadInput. Source: normal readings, simulated; the risks proper are kept by the plan's construction.
    """
    from scipy.special import ndtri

    inside = a_share(share, "share")
    count = a_count(lots, "lots", least=100, most=1_000_000)
    off = float(ndtri(inside))
    accepted, readings, left = 0, 0, count
    sums, squares = np.zeros(count), np.zeros(count)
    before = 0
    for place, stage in enumerate(plan.stages):
        for _ in range(stage.n - before):
            drawn = generator.standard_normal(left)
            sums, squares = sums + drawn, squares + drawn * drawn
        readings += left * (stage.n - before)
        before = stage.n
        mean = sums / stage.n
        k = (off - mean) / np.sqrt((squares - stage.n * mean * mean) / (stage.n - 1))
        yes = k >= stage.accept
        stop = yes | (k <= stage.reject) | (place == len(plan.stages) - 1)
        accepted += int(yes.sum())
        sums, squares = sums[~stop], squares[~stop]
        left = len(sums)
        if left == 0:
            break
    portion = accepted / count
    return MeasuredOutcome(portion, math.sqrt(portion * (1 - portion) / count), readings / count, count)


def _judge(
    stage: Stage, readings: tuple[float, ...], *, plan: MeasuredPlan, limits: tuple[float | None, float | None]
) -> Literal["accept", "reject", "go on"]:
    last = stage.n == plan.stages[-1].n
    lower, upper = limits
    if lower is None or upper is None:
        found = moments(readings)
        if found.sd <= 1e-13 * max(abs(value) for value in readings):
            raise BadInput("All readings are equal.", where="values", hint="Use a finer gauge.")
        k = (found.mean - lower if lower is not None else (upper or 0.0) - found.mean) / found.sd
        return "accept" if k >= stage.accept else "reject" if last or k <= stage.reject else "go on"
    if share_inside(readings, lower, upper, confidence=1 - stage.consumer) >= plan.reliability:
        return "accept"
    refused = share_inside(readings, lower, upper, confidence=stage.producer) <= plan.good
    return "reject" if last or refused else "go on"


def _enough(good: float, least: float, *, consumer: float, producer: float) -> int:
    """The fewest readings whose one stage keeps both risks."""

    def keeps(n: int) -> bool:
        return one_sided_factor(n, least, 1 - consumer) <= one_sided_factor(n, good, producer)

    low, high = 1, 2
    while not keeps(high):
        low, high = high, high * 2
        if low > _MOST_READINGS:
            raise BadInput(
                f"That takes more than {_MOST_READINGS} readings.",
                where="good",
                hint="The two shares are too close together, or the risks too small.",
            )
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if keeps(middle) else (middle, high)
    if high > _MOST_READINGS:
        raise BadInput(
            f"That takes {high} readings, more than {_MOST_READINGS}.",
            where="good",
            hint="The two shares are too close together, or the risks too small.",
        )
    return high

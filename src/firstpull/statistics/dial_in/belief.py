"""What the mixture says in the job's own terms: the true mean, the chance that it is inside, what a move would do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from firstpull.statistics.dial_in.mixture import (
    CEILING,
    DEAD,
    FLOOR,
    LIMIT,
    LOT,
    RATIO,
    SETTING,
    SHIFT,
    SIZE,
    STALL,
    Floats,
    Mixture,
    limit_beyond,
    limit_middle,
)
from firstpull.statistics.dial_in.replay import MISCOUNT_SHARE, State, played, reading_row, turn_doubt_turns
from firstpull.statistics.dial_in.request import Job, Where

CEILING_RISK = 0.001
MODEL_DOUBT = 0.004


@dataclass(frozen=True, slots=True)
class Belief:
    """The mean set length at the present knob (in the stack where the job gives a shift), mm, and P(inside).

    ``sd_mm`` is led by far-off explanations; ``usual_sd_mm`` is half the width of the middle 68.3 %, for drawing.
    """

    mean_mm: float
    sd_mm: float
    p_inside: float
    usual_sd_mm: float


@dataclass(frozen=True, slots=True)
class Outlook:
    """What one or two moves of the knob would bring: P(inside), P(below the stroke ceiling), mean, mm."""

    p_inside: float
    ceiling_risk: float
    mean_mm: float


@dataclass(frozen=True, slots=True)
class Faults:
    """Probability of each reason why no knob position can be inside, that the knob is without effect where it stands,
    and what was judged misread or bad."""

    unreachable_max: float
    unreachable_min: float
    stalled: float
    unmoved: float
    misread: Floats
    bad: Floats


def truth_row(job: Job, *, limited: bool = False) -> Floats:
    """The linear combination that is the lot's mean: in the stack where the job gives a shift, else in the air."""
    row = np.zeros(SIZE)
    row[LIMIT if limited else SETTING] = 1.0
    row[LOT] = 1.0
    row[SHIFT] = 1.0 if job.shift is not None else 0.0
    return row


def belief_now(mixture: Mixture, job: Job) -> Belief:
    """The belief about the present knob position."""
    mean, variance = mixture.value(truth_row(job))
    weight = mixture.weights()
    at_limit, limit_variance = limit_middle(mixture, truth_row(job, limited=True))
    acts = _limit_acts(mixture, mean, limit=at_limit)
    centre = np.where(acts, at_limit, mean)
    spread = np.where(acts, limit_variance, variance)
    middle = float(weight @ centre)
    sd = float(np.sqrt(weight @ (spread + (centre - middle) ** 2)))
    inside = float(weight @ _inside(mixture, job, mean=mean, variance=variance))
    width = np.sqrt(spread)
    low, high = (_quantile(weight, centre, width, share=share) for share in (ndtr(-1.0), ndtr(1.0)))
    return Belief(middle, sd, min(max(inside, 0.0), 1.0 - model_doubt(job)), (high - low) / 2.0)


def model_doubt(job: Job) -> float:
    """Never surer than this: the doubt that no tool of the model is like the tool at hand (measured on tools of another
    kind), but not so much that the wanted probability could not be reached."""
    return min(MODEL_DOUBT, 0.4 * (1.0 - job.confidence))


def middles_mm(mixture: Mixture, job: Job) -> tuple[float, ...]:
    """Weighted medians of the mean set length, unmoved by a few far-off explanations, mm: over all components, and
    over those alone in which turning further can still help."""
    mean, _ = mixture.value(truth_row(job))
    limit, _ = limit_middle(mixture, truth_row(job, limited=True))
    kind = mixture.kind
    too_long = np.isin(kind, (FLOOR, STALL)) & (limit > job.high_mm)
    hopeless = too_long | ((kind == CEILING) & (limit < job.low_mm)) | (kind == DEAD)
    order = np.argsort(mean, kind="stable")
    weight = mixture.weights()[order]
    found = []
    for share in (weight, weight * ~hopeless[order]):
        total = np.cumsum(share)
        if total[-1] > 1e-6:
            found.append(float(mean[order[min(int(np.searchsorted(total, 0.5 * total[-1])), total.size - 1)]]))
    return tuple(found)


def outlook(mixture: Mixture, moves: tuple[float, ...], *, job: Job) -> Outlook:
    """What these knob steps (turns, + towards more stroke), one after the other, would bring."""
    effective, riskiest = _effective(mixture, moves)
    doubt = len(moves) * (job.lead_mm * turn_doubt_turns(job)) ** 2
    mean, variance = _after(mixture, effective, job=job, row=truth_row(job))
    weight = mixture.weights()
    inside = float(weight @ _inside(mixture, job, mean=mean, variance=variance + doubt))
    if job.step_turns is not None:
        slips = len(moves) * MISCOUNT_SHARE
        inside *= 1.0 - 2.0 * slips
        for slip in (-job.step_turns, job.step_turns):
            off, spread = _after(mixture, effective + slip, job=job, row=truth_row(job))
            inside += slips * float(weight @ _inside(mixture, job, mean=off, variance=spread + doubt))
    limit, _ = limit_middle(mixture, truth_row(job, limited=True))
    centre = np.where(_limit_acts(mixture, mean, limit=limit), limit, mean)
    return Outlook(inside, _ceiling_risk(mixture, riskiest, job=job), float(weight @ centre))


def _effective(mixture: Mixture, moves: tuple[float, ...]) -> tuple[Floats, Floats]:
    """Sum of effective steps, and the largest sum reached on the way."""
    slack = mixture.slack_turns
    total = np.zeros_like(slack)
    largest = np.zeros_like(slack)
    for move in moves:
        slack, step = played(slack, move, backlash=mixture.backlash_turns)
        total = total + step
        largest = np.maximum(largest, total)
    return total, largest


def _after(mixture: Mixture, effective: Floats, *, job: Job, row: Floats) -> tuple[Floats, Floats]:
    mean, variance = mixture.value(row)
    gain = job.lead_mm * effective
    along = mixture.cov[:, RATIO, :] @ row
    moved = variance - 2.0 * gain * along + gain**2 * mixture.cov[:, RATIO, RATIO]
    return mean - gain * mixture.mean[:, RATIO], np.maximum(moved, 1e-12)


def _ceiling_risk(mixture: Mixture, effective: Floats, *, job: Job) -> float:
    """P(the mean, in the air or in the stack, lies below the stroke ceiling after the move)."""
    if job.ceiling_mm is None or not (effective > 0.0).any():
        return 0.0
    risk = 0.0
    weight = mixture.weights()
    air = truth_row(job)
    air[SHIFT] = 0.0
    for row in [air] + ([truth_row(job)] if job.shift is not None else []):
        mean, variance = _after(mixture, effective, job=job, row=row)
        limit_row = row.copy()
        limit_row[SETTING], limit_row[LIMIT] = 0.0, 1.0
        below = ndtr((job.ceiling_mm - mean) / np.sqrt(variance))
        held = (mixture.kind == FLOOR) | ((mixture.kind == STALL) & (row[SHIFT] == 1.0))
        below *= np.where(held, 1.0 - limit_beyond(mixture, limit_row, value_mm=job.ceiling_mm), 1.0)
        risk = max(risk, float(weight @ below))
    return risk


def _limit_acts(mixture: Mixture, mean: Floats, *, limit: Floats) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    floor = (mixture.kind == FLOOR) | (mixture.kind == STALL)
    return np.asarray((floor & (limit > mean)) | ((mixture.kind == CEILING) & (limit < mean)))


def _inside(mixture: Mixture, job: Job, *, mean: Floats, variance: Floats) -> Floats:
    """P(low ≤ true mean ≤ high) in every component, limits of the stroke included.

    The setting and the limit are taken as independent within a component.
    """
    sd = np.sqrt(variance)
    below_high = ndtr((job.high_mm - mean) / sd)
    below_low = ndtr((job.low_mm - mean) / sd)
    row = truth_row(job, limited=True)
    beyond_high = limit_beyond(mixture, row, value_mm=job.high_mm)
    beyond_low = limit_beyond(mixture, row, value_mm=job.low_mm)
    plain = below_high - below_low
    floor = below_high * (1.0 - beyond_high) - below_low * (1.0 - beyond_low)
    ceiling = (1.0 - below_low) * (1.0 - beyond_low) - (1.0 - below_high) * (1.0 - beyond_high)
    kind = mixture.kind
    floored = (kind == FLOOR) | ((kind == STALL) & (job.shift is not None))
    return np.where(floored, floor, np.where(kind == CEILING, ceiling, plain))


def beyond_limit_mm(mixture: Mixture, kind: int) -> float:
    """How far the knob may stand beyond a limit of that kind which acts, mm: mean and three standard deviations."""
    row, side = np.zeros(SIZE), -1.0 if kind == CEILING else 1.0
    row[LIMIT], row[SETTING] = side, -side
    mean, variance = mixture.value(row)
    weight = mixture.weights() * ((mixture.kind == kind) & ~mixture.vague & (mean > 0.0))
    total = float(weight.sum())
    return float(weight @ (mean + 3.0 * np.sqrt(variance))) / total if total > 1e-6 else 0.0


def faults(state: State, job: Job) -> Faults:
    """Probabilities of what may be wrong."""
    mixture = state.mixture
    weight = mixture.weights()
    row = truth_row(job, limited=True)
    too_long = limit_beyond(mixture, row, value_mm=job.high_mm)
    too_short = limit_beyond(mixture, row, value_mm=job.low_mm)
    mean, spread = mixture.value(truth_row(job))
    plain_outside = 1.0 - (ndtr((job.high_mm - mean) / np.sqrt(spread)) - ndtr((job.low_mm - mean) / np.sqrt(spread)))
    kind = mixture.kind
    stalled = np.where(kind == STALL, too_long, 0.0) + np.where(kind == DEAD, plain_outside, 0.0)
    acts = _limit_acts(mixture, mean, limit=limit_middle(mixture, row)[0]) & ~mixture.vague
    return Faults(
        unmoved=float(weight @ (acts | (kind == DEAD))),
        unreachable_max=float(weight @ np.where(kind == FLOOR, too_long, 0.0)),
        unreachable_min=float(weight @ np.where(kind == CEILING, too_short, 0.0)),
        stalled=float(weight @ stalled),
        misread=weight @ mixture.misread,
        bad=weight @ mixture.bad,
    )


def next_reading(state: State, job: Job, *, where: Where, moves: tuple[float, ...] = (), warm: bool = False) -> Belief:
    """The reading of the next pull after these moves, mm (``p_inside`` of that reading): the median, and half the width
    of the middle 68.3 %, which is one standard deviation where nothing is wrong.

    Mean and variance would be led by the few far-off explanations (a dead knob, a stall): a reading out there is news,
    not what is expected. ``warm``: the dry cycles asked for are done first.
    """
    mixture = state.mixture
    cold_cycles = 2 if warm else (0 if moves else state.knob.cycles_since_air)
    effective, _ = _effective(mixture, moves)
    row = reading_row(where=where, cold_cycles=cold_cycles, length_known=False)
    at_limit = reading_row(where=where, cold_cycles=cold_cycles, length_known=False, limited=True)
    mean, variance = _after(mixture, effective, job=job, row=row)
    limit, limit_variance = limit_middle(mixture, at_limit)
    acts = _limit_acts(mixture, mean, limit=limit)
    if where == "air":
        acts = acts & (mixture.kind != STALL)
    centre = np.where(acts, limit, mean)
    noise = mixture.process_sd**2 + mixture.insert_sd**2 + job.caliper_sd_mm**2 + job.resolution_mm**2 / 12.0
    spread = np.where(acts, limit_variance, variance) + noise
    weight = mixture.weights()
    width = np.sqrt(spread)
    low, middle, high = (_quantile(weight, centre, width, share=share) for share in (ndtr(-1.0), 0.5, ndtr(1.0)))
    inside = float(
        weight @ (ndtr((job.high_mm - centre) / np.sqrt(spread)) - ndtr((job.low_mm - centre) / np.sqrt(spread)))
    )
    return Belief(middle, (high - low) / 2.0, inside, (high - low) / 2.0)


def _quantile(weight: Floats, centre: Floats, width: Floats, *, share: float) -> float:
    """The value with ``share`` of a mixture of normals below it, by bisection to 1e-6 mm."""
    low, high = float((centre - 8.0 * width).min()), float((centre + 8.0 * width).max())
    while high - low > 1e-6:
        middle = (low + high) / 2.0
        if float(weight @ ndtr((middle - centre) / width)) < share:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0

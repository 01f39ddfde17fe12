"""The belief: a weighted mixture of Gaussians, one per combination of things that are not Gaussian.

Within one component the unknowns are jointly Gaussian and every reading is linear in them (so a Kalman update is
exact); what is not linear is carried by the components: the play of the knob and its side, how much larger or
smaller the scatter is than stated, whether and how the stroke is limited, miscounted clicks, misreads, bad pulls.
This is a Rao-Blackwellised (Gaussian-sum) filter: Alspach and Sorenson, IEEE Trans. Automatic Control 17 (1972)
439-448; mixture reduction here is plain pruning by weight. Nothing is random.

Unknowns of one component (mm unless said):
    SETTING  mean set length at the present knob, tool warm, in the air, if the lot's mean length were nominal
    LOT      the lot's mean free length above nominal
    RATIO    true lead / stated lead
    COLD     how much longer the first set after connecting the air is
    DRIFT    lengthening per cycle
    SHIFT    set length in the stack above that in the air
    LIMIT    the value of SETTING at which the stroke is limited, in components that have a limit
The numbers below that no request carries (shares of troubles, size of the cold start) are engineering judgement.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from firstpull.statistics.dial_in.request import Gaussian, Job

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Whole = NDArray[np.int64]

SETTING, LOT, RATIO, COLD, DRIFT, SHIFT, LIMIT = range(7)
SIZE = 7

PLAIN, SURPRISE, FLOOR, CEILING, DEAD, STALL, DRIFTING = range(7)
"""Kinds of component: as stated; stated too sure; stroke limited above; stroke limited below; knob without effect;
force runs out in the stack; drifts more than a sound tool."""

_SHARE = {PLAIN: 0.882, DRIFTING: 0.05, SURPRISE: 0.015, FLOOR: 0.03, CEILING: 0.02, DEAD: 0.001, STALL: 0.05}
_PROCESS_FACTORS = ((0.75, 0.27), (1.0, 0.44), (1.35, 0.23), (2.2, 0.06))
_INSERT_FACTORS = ((0.87, 0.5), (1.13, 0.5))
_LIMIT_WIDTHS_MM = ((0.4, 0.2), (1.5, 0.8))
_BACKLASH_SHARES = ((0.0, 0.15), (0.3, 0.3), (0.65, 0.3), (1.0, 0.25))
_KNOWN_BACKLASH = ((0.7, 0.25), (1.0, 0.5), (1.3, 0.25))

COLD_START = Gaussian(0.05, 0.06)
UNKNOWN_SHIFT = Gaussian(0.0, 0.25)
UNKNOWN_SETTING_SD_MM = 2.5
DRIFT_SHARE = 0.07
DRIFTING_FACTOR = 4.5
SURPRISE_FACTOR = 3.0

KEPT = 2500
_LEAST_LOG_WEIGHT = -15.0


@dataclass(frozen=True, slots=True)
class Mixture:
    """Components along the first axis. ``misread`` and ``bad`` remember what each component holds of each reading
    and each pull. ``bound``: the limit of the stroke is known to lie below (CEILING: above) this SETTING, mm, because
    a pull there was not limited. ``vague``: no limited pull has shown the limit yet, so that only ``bound`` narrows it."""

    log_weight: Floats
    mean: Floats
    cov: Floats
    backlash_turns: Floats
    slack_turns: Floats
    process_sd: Floats
    insert_sd: Floats
    kind: Whole
    bound: Floats
    vague: Bools
    misread: Bools
    bad: Bools

    def take(self, index: Any) -> Mixture:
        """The components named by an index array or mask."""
        return Mixture(*(getattr(self, name)[index] for name in _NAMES))

    def weights(self) -> Floats:
        """Normalised weights."""
        weight = np.exp(self.log_weight - self.log_weight.max())
        return np.asarray(weight / weight.sum())

    def value(self, row: Floats) -> tuple[Floats, Floats]:
        """Mean and variance of the linear combination ``row`` in every component."""
        mean = self.mean @ row
        variance = np.einsum("i,nij,j->n", row, self.cov, row)
        return mean, np.maximum(variance, 1e-12)


_NAMES = tuple(Mixture.__dataclass_fields__)


def limit_side(mixture: Mixture) -> Floats:
    """+1 where the limit holds sets long, −1 where it holds them short."""
    return np.where(mixture.kind == CEILING, -1.0, 1.0)


def limit_beyond(mixture: Mixture, row: Floats, *, value_mm: float) -> Floats:
    """P(the set length at the limit is on the far side of ``value_mm``: above it, CEILING: below it).

    ``row`` is the combination with LIMIT in the place of SETTING. A vague limit is a normal one cut at ``bound``.
    """
    side = limit_side(mixture)
    mean, variance = mixture.value(row)
    plain = ndtr(side * (mean - value_mm) / np.sqrt(variance))
    vague = mixture.vague
    if not vague.any():
        return np.asarray(plain)
    centre, sd = mixture.mean[:, LIMIT], np.sqrt(np.maximum(mixture.cov[:, LIMIT, LIMIT], 1e-12))
    whole = ndtr(np.clip(side * (mixture.bound - centre) / sd, -8.0, 40.0))
    part = ndtr(np.clip(side * (value_mm - (mean - centre) - centre) / sd, -40.0, 40.0))
    return np.where(vague, np.clip(1.0 - part / whole, 0.0, 1.0), plain)


def limit_middle(mixture: Mixture, row: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of the set length at the limit, a vague one cut at ``bound``."""
    mean, variance = mixture.value(row)
    vague = mixture.vague
    side, sd = limit_side(mixture), np.sqrt(np.maximum(mixture.cov[:, LIMIT, LIMIT], 1e-12))
    alpha = np.clip(side * (mixture.bound - mixture.mean[:, LIMIT]) / sd, -8.0, 40.0)
    mills = np.exp(-0.5 * alpha**2) / np.sqrt(2.0 * np.pi) / ndtr(alpha)
    cut = np.maximum(variance - sd**2 * np.clip(mills * (mills + alpha), 0.0, 0.9999), 1e-12)
    return np.where(vague, mean - side * sd * mills, mean), np.where(vague, cut, variance)


def joined(parts: list[Mixture]) -> Mixture:
    """All components of several mixtures, pruned."""
    whole = Mixture(*(np.concatenate([getattr(part, name) for part in parts]) for name in _NAMES))
    return pruned(whole)


def pruned(mixture: Mixture) -> Mixture:
    """The heaviest components, at most ``KEPT``, weights normalised."""
    log_weight = mixture.log_weight - mixture.log_weight.max()
    order = np.argsort(-log_weight, kind="stable")[:KEPT]
    order = order[log_weight[order] > _LEAST_LOG_WEIGHT]
    kept = mixture.take(order)
    total = np.log(np.exp(log_weight[order]).sum())
    return replace(kept, log_weight=log_weight[order] - total)


def observed(mixture: Mixture, row: Floats, *, value: float, noise_variance: Floats) -> tuple[Mixture, Floats]:
    """Kalman update with one reading; returns the new mixture (weights not yet changed) and its log likelihood."""
    gain = mixture.cov @ row
    variance = np.maximum(gain @ row, 0.0) + noise_variance
    residual = value - mixture.mean @ row
    log_likelihood = -0.5 * (np.log(2.0 * np.pi * variance) + residual**2 / variance)
    mean = mixture.mean + gain * (residual / variance)[:, None]
    cov = mixture.cov - gain[:, :, None] * gain[:, None, :] / variance[:, None, None]
    return replace(mixture, mean=mean, cov=cov), log_likelihood


def with_room(mixture: Mixture, *, readings: int) -> Mixture:
    """The mixture with room to remember one more pull and its readings."""
    count = mixture.log_weight.size
    misread = np.hstack([mixture.misread, np.zeros((count, readings), dtype=np.bool_)])
    bad = np.hstack([mixture.bad, np.zeros((count, 1), dtype=np.bool_)])
    return replace(mixture, misread=misread, bad=bad)


def prior(job: Job, *, stack: bool) -> Mixture:
    """The belief before anything was done."""
    kinds = [PLAIN, DRIFTING, SURPRISE, FLOOR, CEILING, DEAD] + ([STALL] if stack else [])
    forms = [(kind, width, share) for kind in kinds for width, share in _limit_widths(kind)]
    rows = list(product(forms, _backlashes(job), _PROCESS_FACTORS, _INSERT_FACTORS))
    count = len(rows)
    kind = np.array([row[0][0] for row in rows], dtype=np.int64)
    share = [_SHARE[row[0][0]] * row[0][2] * row[1][2] * row[2][1] * row[3][1] for row in rows]
    process = _stated_process_sd(job)
    insert_sd = job.insert_sd_mm * np.array([row[3][0] for row in rows])
    mean, cov = _first_moments(job, kind, process_sd=process)
    cov[:, LIMIT, LIMIT] = np.array([row[0][1] for row in rows]) ** 2
    mixture = Mixture(
        log_weight=np.log(np.array(share)),
        mean=mean,
        cov=cov,
        backlash_turns=np.array([row[1][0] for row in rows]),
        slack_turns=np.array([row[1][1] for row in rows]),
        process_sd=process * np.array([row[2][0] for row in rows]),
        insert_sd=insert_sd,
        kind=kind,
        bound=np.where(kind == CEILING, -np.inf, np.inf),
        vague=np.ones(count, dtype=np.bool_),
        misread=np.zeros((count, 0), dtype=np.bool_),
        bad=np.zeros((count, 0), dtype=np.bool_),
    )
    return pruned(_with_lot_lengths(mixture, job))


def _stated_process_sd(job: Job) -> float:
    return job.process_sd_mm if job.history.process_sd_mm is None else max(job.history.process_sd_mm, 5e-4)


def typical_process_variance(job: Job) -> float:
    """Expected variance of the tool from pull to pull, mm², its own doubt included."""
    return float(_stated_process_sd(job) ** 2 * sum(factor**2 * share for factor, share in _PROCESS_FACTORS))


def _limit_widths(kind: int) -> tuple[tuple[float, float], ...]:
    """(doubt of where the stroke is limited, mm; share): some of the tools that are limited are so near what is asked of them."""
    return _LIMIT_WIDTHS_MM if kind in (FLOOR, CEILING) else ((_LIMIT_WIDTHS_MM[-1][0] if kind == STALL else 0.0, 1.0),)


def _backlashes(job: Job) -> list[tuple[float, float, float]]:
    """(play, present slack, share): the knob may stand at either side of its play."""
    known = job.history.backlash_turns
    grid = _BACKLASH_SHARES if known is None else _KNOWN_BACKLASH
    reach = job.max_backlash_turns if known is None else known
    found = []
    for factor, share in grid:
        play = factor * reach
        sides = (0.0,) if play == 0.0 else (-0.5 * play, 0.5 * play)
        found += [(play, side, share / len(sides)) for side in sides]
    return found


def _first_moments(job: Job, kind: Whole, *, process_sd: float) -> tuple[Floats, Floats]:
    surprised = np.where(kind == SURPRISE, SURPRISE_FACTOR, 1.0)
    known = job.history
    present = job.prior or Gaussian(job.target_mm, UNKNOWN_SETTING_SD_MM)
    ratio_sd = job.lead_rel_sd if known.lead_rel_sd is None else max(known.lead_rel_sd, 1e-5)
    shift = job.shift or UNKNOWN_SHIFT
    mean = np.zeros((kind.size, SIZE))
    sd = np.zeros((kind.size, SIZE))
    mean[:, SETTING] = present.mean_mm
    sd[:, SETTING] = present.sd_mm * surprised
    sd[:, LOT] = job.lot_mean_sd_mm
    mean[:, RATIO] = np.where(kind == DEAD, 0.0, 1.0 if known.lead_ratio is None else known.lead_ratio)
    sd[:, RATIO] = np.where(kind == DEAD, 0.03, ratio_sd * surprised)
    mean[:, COLD] = COLD_START.mean_mm
    sd[:, COLD] = COLD_START.sd_mm
    mean[:, DRIFT] = known.drift_per_cycle_mm or 0.0
    sd[:, DRIFT] = DRIFT_SHARE * process_sd * np.where(kind == DRIFTING, DRIFTING_FACTOR, surprised)
    mean[:, SHIFT] = shift.mean_mm
    sd[:, SHIFT] = shift.sd_mm
    limited = np.isin(kind, (FLOOR, CEILING, STALL))
    offset = np.where(kind == STALL, 0.5, 0.0) - (shift.mean_mm if job.shift else 0.0)
    mean[:, LIMIT] = np.where(limited, job.target_mm + offset, 0.0)
    return mean, np.asarray(sd[:, :, None] * sd[:, None, :] * np.eye(SIZE))


def _with_lot_lengths(mixture: Mixture, job: Job) -> Mixture:
    """What free lengths measured beforehand say about the lot's mean and its scatter."""
    usable = [x for x in job.lot_lengths_mm if abs(x - job.nominal_length_mm) < 0.2 * job.nominal_length_mm]
    if not usable:
        return mixture
    above = np.array(usable) - job.nominal_length_mm
    spread = float(((above - above.mean()) ** 2).sum())
    variance = mixture.insert_sd**2 + job.caliper_sd_mm**2
    row = np.zeros(SIZE)
    row[LOT] = 1.0
    updated, fit = observed(mixture, row, value=float(above.mean()), noise_variance=variance / above.size)
    scatter_fit = -0.5 * ((above.size - 1) * np.log(variance) + spread / variance)
    return replace(updated, log_weight=updated.log_weight + fit + scatter_fit)

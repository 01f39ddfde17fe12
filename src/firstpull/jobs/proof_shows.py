"""What coupons show, reckoned: tolerance intervals and the mean of measured lengths, turning torques, pass or fail,
each against limits that the gauge's doubt has narrowed.

Everything is plain data for the record, lengths in mm; :mod:`proof_words` puts it into sentences.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Any

from firstpull.errors import BadInput
from firstpull.jobs.dial_in import CALIPER_ERROR_MM, CALIPER_RESOLUTION_MM
from firstpull.jobs.gauge_studies import measurement_uncertainty
from firstpull.jobs.proof_plan import Plan
from firstpull.jobs.shapes import insert_of, set_length_limits_mm
from firstpull.jobs.workshop import Book
from firstpull.record.job import Coupon, JobState
from firstpull.statistics.acceptance import reliability_shown, success_run_count
from firstpull.statistics.guard_bands import conformance, guarded_limits
from firstpull.statistics.measurement import (
    coverage_factor,
    effective_degrees_of_freedom,
    rectangular,
    resolution_uncertainty,
)
from firstpull.statistics.tolerance_intervals import (
    one_sided_factor,
    share_inside,
    tolerance_interval,
    two_sided_factor,
)
from firstpull.units import NM_PER_MM, Length

USUAL_CALIPER = "a usual caliper (assumed: ± 0.03 mm, step 0.01 mm)"
LOOKS = 5  # how often the wanted promise is looked at; each look spends a fifth of the doubt
_MOST_FORETOLD = 2000


@dataclass(frozen=True, slots=True)
class ReadingDoubt:
    """The standard uncertainty in mm of one reading of a length, and where it comes from."""

    u_mm: float
    source: str


def reading_doubt(book: Book, gauge_id: str) -> ReadingDoubt:
    """Of one reading with this gauge, from its study where one counts, else from its limit of error; of a usual caliper
    when no gauge is named."""
    if gauge_id and book.store.last(f"gauge:{gauge_id}"):
        found = measurement_uncertainty(book, gauge_id)
        if found is not None:
            return ReadingDoubt(found.u_mm, found.source)
    usual = math.hypot(rectangular(CALIPER_ERROR_MM), resolution_uncertainty(CALIPER_RESOLUTION_MM))
    return ReadingDoubt(usual, USUAL_CALIPER)


def nominal_length_nm(state: JobState, set_length: Length, length_before: Length | None) -> int:
    """A set length as an insert of nominal free length would have it: the window is one of stroke, so an insert that
    was measured before its pull brings no error of its own length along."""
    own = 0 if length_before is None else length_before.nanometres - insert_of(state).length_free.nanometres
    return set_length.nanometres - own


def length_doubt_mm(u_mm: float, length_before: Length | None) -> float:
    """Standard uncertainty in mm of such a length: one reading, or two where the insert was measured before."""
    return u_mm * (math.sqrt(2) if length_before is not None else 1.0)


def length_chance(state: JobState, length_nm: int, u_mm: float, *, confidence: float) -> float | None:
    """The chance that a length lies inside the window, for one inside by less than its guard; None where it is shown
    (or where there is no window). JCGM 106, ISO 14253-1."""
    limits = set_length_limits_mm(state)
    if limits is None:
        return None
    found = conformance(length_nm / NM_PER_MM, u_mm, low=limits[0], high=limits[1], confidence=confidence)
    return None if found.verdict == "conforms" else found.chance


def torque_chance(value_nm: float, limit_nm: float | None, plan: Plan) -> float | None:
    """The same for a turning torque against its least value."""
    if limit_nm is None:
        return None
    found = conformance(value_nm, torque_doubt_nm(value_nm, plan), low=limit_nm, confidence=plan.confidence)
    return None if found.verdict == "conforms" else found.chance


def torque_doubt_nm(value_nm: float, plan: Plan) -> float:
    """Standard uncertainty in N·m of a torque read, from the torque tool's limit of error."""
    return rectangular(plan.torque_error_share * value_nm)


def pass_or_fail(good: int, not_good: int, plan: Plan, *, bad: int) -> dict[str, Any]:
    """What passing every check shows: the share of good sets, how many coupons the wanted share needs, and how many
    more good ones in a row at most. A coupon that is neither shown good nor bad counts as not good here."""
    shown = reliability_shown(good, plan.confidence, failed=not_good)
    needed = success_run_count(plan.reliability, plan.confidence, failed=min(not_good, 1000))
    return {
        "good": good,
        "not_good": not_good,
        "bad": bad,
        "share_shown": shown,
        "share_wanted": plan.reliability,
        "confidence": plan.confidence,
        "needed": needed,
        "more_at_most": 0 if shown >= plan.reliability else max(needed - good - not_good, 1),
        "shown": shown >= plan.reliability,
    }


def lengths_shown(state: JobState, coupons: Sequence[Coupon], plan: Plan, *, planned: int) -> dict[str, Any] | None:
    """What the set lengths of the coupons show of each set and, apart from that, of their mean; None with fewer than two
    lengths, without a window, or where all are equal. ``planned`` is how many coupons the plan wants."""
    limits = set_length_limits_mm(state)
    measured = [c for c in coupons if c.set_length is not None]
    values = [
        nominal_length_nm(state, c.set_length, c.length_before) / NM_PER_MM
        for c in measured
        if c.set_length is not None
    ]
    if len(values) < 2 or limits is None or max(values) == min(values):
        return None
    usual = math.hypot(rectangular(CALIPER_ERROR_MM), resolution_uncertainty(CALIPER_RESOLUTION_MM))
    u_mm = max(length_doubt_mm(c.u_mm if c.u_mm is not None else usual, c.length_before) for c in measured)
    sources = list(dict.fromkeys(c.u_source or USUAL_CALIPER for c in measured))
    interval = tolerance_interval(values, coverage=plan.share_inside, confidence=plan.confidence)
    guard, guarded = _guarded(limits, u_mm, plan.confidence)
    share = _share(values, guarded, plan.confidence)
    return {
        "n": len(values),
        "mean_mm": interval.mean,
        "sd_mm": interval.sd,
        "low_mm": interval.low,
        "high_mm": interval.high,
        "factor": interval.factor,
        "share_wanted": plan.share_inside,
        "confidence": plan.confidence,
        "window_low_mm": limits[0],
        "window_high_mm": limits[1],
        "u_mm": u_mm,
        "u_source": "; ".join(sources),
        "guard_mm": guard,
        "share_inside": share,
        "shown": share >= plan.share_inside,
        "needed": None if guarded is None else _needed(interval.mean, interval.sd, limits=guarded, plan=plan),
        **_mean(interval.mean, interval.sd, n=len(values), u_mm=u_mm, confidence=plan.confidence),
        **(_looks(values, guarded, plan, planned=planned) if plan.show_claim_first else {}),
    }


def torques_shown(coupons: Sequence[Coupon], plan: Plan, limit_nm: float | None) -> dict[str, Any] | None:
    """The turning torque that at least the wanted share of sets holds, one-sided; of one arrangement only, the one of
    the last test. None with fewer than two values or where all are equal."""
    tests = [c.checks["torque"] for c in coupons if "torque" in c.checks]
    if not tests:
        return None
    arrangement = str(tests[-1]["arrangement"])
    values = [float(test["value_nm"]) for test in tests if test["arrangement"] == arrangement]
    if len(values) < 2 or max(values) == min(values):
        return None
    mean = fmean(values)
    sd = math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))
    factor = one_sided_factor(len(values), plan.share_inside, plan.confidence)
    least = mean - factor * sd
    guard = None
    if limit_nm is not None:
        guard = guarded_limits(torque_doubt_nm(mean, plan), low=limit_nm, risk=1 - plan.confidence).guard_band
    return {
        "n": len(values),
        "arrangement": arrangement,
        "mean_nm": mean,
        "sd_nm": sd,
        "factor": factor,
        "least_nm": least,
        "limit_nm": limit_nm,
        "guard_nm": guard,
        "share_wanted": plan.share_inside,
        "confidence": plan.confidence,
        "shown": None if limit_nm is None or guard is None else least >= limit_nm + guard,
    }


def _guarded(
    limits: tuple[float, float], u_mm: float, confidence: float
) -> tuple[float | None, tuple[float, float] | None]:
    """The guard band in mm and the narrowed window; None where the gauge is too coarse for any value."""
    try:
        found = guarded_limits(u_mm, low=limits[0], high=limits[1], risk=1 - confidence)
    except BadInput:
        return None, None
    if found.low is None or found.high is None:
        return None, None
    return found.guard_band, (found.low, found.high)


def _share(values: Sequence[float], limits: tuple[float, float] | None, confidence: float) -> float:
    if limits is None or max(values) == min(values):  # equal readings say nothing about the scatter
        return 0.0
    return share_inside(values, *limits, confidence=confidence)


def _mean(mean: float, sd: float, *, n: int, u_mm: float, confidence: float) -> dict[str, float]:
    """Between which lengths the mean of all such sets lies, the gauge's doubt counted whole (GUM G.4)."""
    parts: list[tuple[float, float | None]] = [(sd / math.sqrt(n), float(n - 1)), (u_mm, None)]
    reach = coverage_factor(effective_degrees_of_freedom(parts), confidence) * math.hypot(parts[0][0], u_mm)
    return {"mean_low_mm": mean - reach, "mean_high_mm": mean + reach}


def _needed(mean: float, sd: float, *, limits: tuple[float, float], plan: Plan) -> int | None:
    """How many lengths with this mean and scatter have a tolerance interval inside the limits; None where no number up
    to 2000 does."""
    room = min(mean - limits[0], limits[1] - mean) / sd
    if two_sided_factor(_MOST_FORETOLD, plan.share_inside, plan.confidence) > room:
        return None
    low, high = 1, 2
    while two_sided_factor(high, plan.share_inside, plan.confidence) > room:
        low, high = high, min(2 * high, _MOST_FORETOLD)
    while high - low > 1:
        middle = (low + high) // 2
        if two_sided_factor(middle, plan.share_inside, plan.confidence) > room:
            low = middle
        else:
            high = middle
    return high


def _looks(values: Sequence[float], limits: tuple[float, float] | None, plan: Plan, *, planned: int) -> dict[str, Any]:
    """Whether the promise is shown where coupons are set until it is: looked at after the planned number, twice, four
    times … as many, five looks at most, each with a fifth of the doubt, so that looking often does not make it easier
    to pass (the union bound)."""
    least = max(planned, 2)
    places = [least * 2**look for look in range(LOOKS)]
    sure = 1 - (1 - plan.confidence) / LOOKS
    done = [place for place in places if place <= len(values)]
    shown = any(_share(values[:place], limits, sure) >= plan.share_inside for place in done)
    coming = [place for place in places if place > len(values)]
    return {
        "claim_shown": shown,
        "looks_at": places,
        "look_confidence": sure,
        "next_look_at": None if shown or not coming else coming[0],
    }

"""How many sacrificial inserts to expect, said before the first pull: a rough count, not a promise.

It supposes a knob that does what it says and no misreads: n pulls near the final position, the mean put on the click
next to the middle of the window, and the scatters as uncertain as the estimator holds them.
"""

from __future__ import annotations

from math import sqrt

from scipy.special import ndtr

from firstpull.statistics.dial_in.mixture import typical_process_variance
from firstpull.statistics.dial_in.request import Job

MOST_COUNTED = 30
MOST_LENGTHS = 10
_READINGS_EACH = 2


def inserts_expected(job: Job, *, measured: bool, more_lengths: int = 0) -> int | None:
    """The least number of pulls, at least 2, that gives the wanted probability; ``None`` if more than 30 are needed.

    ``measured``: each free length is measured before its pull. ``more_lengths``: so many other free lengths of the lot
    are measured too.
    """
    half = 0.5 * (job.high_mm - job.low_mm)
    off = 0.25 * (job.step_turns or 0.0) * job.lead_mm
    caliper = job.caliper_sd_mm**2
    one = typical_process_variance(job) + caliper / _READINGS_EACH + (caliper if measured else job.insert_sd_mm**2)
    for count in range(2, MOST_COUNTED + 1):
        variance = one / count + (_lot_variance(job, count + more_lengths) if measured else 0.0)
        sd = sqrt(variance)
        if ndtr((half - off) / sd) + ndtr((half + off) / sd) - 1.0 >= job.confidence:
            return count
    return None


def lengths_that_save(job: Job) -> int | None:
    """How many more free lengths of the lot, at most 10, save an insert where each is measured; ``None`` if none do."""
    now = inserts_expected(job, measured=True)
    for count in (5, MOST_LENGTHS):
        then = inserts_expected(job, measured=True, more_lengths=count)
        if then is not None and (now is None or then < now):
            return count
    return None


def _lot_variance(job: Job, count: int) -> float:
    """Variance of the lot's mean free length once ``count`` more lengths are measured, mm²."""
    each = job.insert_sd_mm**2 + job.caliper_sd_mm**2
    return 1.0 / (1.0 / job.lot_mean_sd_mm**2 + (count + len(job.lot_lengths_mm)) / each)

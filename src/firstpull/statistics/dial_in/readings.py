"""The readings of one pull: every way to call them good, misread, or taken in the other unit.

The shares below are engineering judgement. A gauge left in the other unit is a misread whose value is still known:
the reading is used, converted, and named as suspect.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from firstpull.statistics.dial_in.mixture import Bools, Floats
from firstpull.statistics.dial_in.request import MM_PER_INCH, Job

GROSS_MM = 0.19
_MISREADS_BEFORE, _READINGS_BEFORE = 0.5, 25.0
_UNIT_SHARE = 0.2
_MISREAD_SPREAD_MM = 1.5
_MANY_READINGS = 6
_HOPELESS = 60.0
_LEAST_SET, _LARGEST_SET = 0.4, 1.15


@dataclass(frozen=True, slots=True)
class Way:
    """One way to take the readings: which are misread, the mean of those that count (mm; none: ``None``), its
    variance, the log of what the readings say for this way beside the shares, and how many of each kind it holds."""

    misread: tuple[bool, ...]
    value_mm: float | None
    variance: float
    log_fit: float
    units_slipped: int

    def log_share(self, earlier_misreads: Floats, *, earlier_readings: int) -> Floats:
        """Log probability of so many misreads among these readings, learned from what was misread before."""
        share = (_MISREADS_BEFORE + earlier_misreads) / (_READINGS_BEFORE + earlier_readings)
        bad = sum(self.misread)
        slips = self.units_slipped * np.log(_UNIT_SHARE)
        return np.asarray(bad * np.log(share) + (len(self.misread) - bad) * np.log1p(-share) + slips)


def in_job_unit(readings_mm: tuple[float, ...], job: Job) -> tuple[Floats, Bools]:
    """The readings, those that are only possible in the other unit converted; and which those are."""
    values = np.array(readings_mm)
    factor = 1.0 / MM_PER_INCH if job.units == "in" else MM_PER_INCH
    slipped = ~_possible(values, job) & _possible(values * factor, job)
    return np.where(slipped, values * factor, values), slipped


def _possible(values: Floats, job: Job) -> Bools:
    return np.asarray((values > _LEAST_SET * job.target_mm) & (values < _LARGEST_SET * job.nominal_length_mm))


def ways_to_read(readings_mm: tuple[float, ...], *, job: Job, centre: float, spread: float) -> list[Way]:
    """Each way to take the readings of one pull; ``centre`` and ``spread`` (variance) are what was expected, mm."""
    variance = job.caliper_sd_mm**2 + job.resolution_mm**2 / 12.0
    values, slipped = in_job_unit(readings_mm, job)
    possible = _possible(values, job)
    wide = _MISREAD_SPREAD_MM**2 + spread
    far = np.where(slipped, 600.0, np.minimum((values - centre) ** 2 / wide, 600.0))
    gross = np.log(0.7 * np.exp(-0.5 * far) / np.sqrt(2 * np.pi * wide) + 0.01)
    odd = np.abs(values - np.median(values)) > max(6.0 * variance**0.5, GROSS_MM)
    every = product((False, True), repeat=len(readings_mm))
    choices = every if len(readings_mm) <= _MANY_READINGS else iter([tuple(odd), (True,) * len(readings_mm)])
    ways: list[Way] = []
    for flags in choices:
        lost = np.array(flags)
        used = values[~lost]
        if not possible[~lost].all():
            continue
        misread = tuple(bool(flag) for flag in lost | slipped)
        fit = float(gross[lost].sum())
        if used.size == 0:
            ways.append(Way(misread, None, 0.0, fit, 0))
            continue
        mean = float(used.mean())
        fit -= 0.5 * ((used.size - 1) * np.log(2 * np.pi * variance) + np.log(used.size))
        fit -= 0.5 * float(((used - mean) ** 2).sum()) / variance
        ways.append(Way(misread, mean, variance / used.size, fit, int((slipped & ~lost).sum())))
    best = max((way.log_fit for way in ways), default=0.0)
    return [way for way in ways if way.log_fit > best - _HOPELESS or not any(way.misread)]

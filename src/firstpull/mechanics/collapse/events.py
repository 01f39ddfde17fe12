"""What happens along a pull: the peak, the least load after it, the closure of the fold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
WINDOW_MM = 0.1
STEEP = 0.5
DROP = 0.01
"""A load is a peak once it has fallen by this share."""
START_WALLS = 0.1


@dataclass(frozen=True, slots=True)
class Event:
    """A place on the curve: stroke in mm, pull force in N."""

    stroke_mm: float
    force_n: float


def find_events(stroke_mm: Floats, force_n: Floats, *, wall_mm: float) -> dict[str, Event | None]:
    """Peak, minimum and closure (None where the curve does not reach it). Strokes in mm, forces in N, evenly spaced.

    Source: by definition. Closure is the first stroke S after the peak with [F(S) − F(S − 0.1 mm)] / 0.1 mm ≥
    0.5 F_peak / wall; the peak is the first load that falls by 1 %, or, where none falls, the load where the curve is
    flattest before it rises that steeply.
    """
    peak = _peak(stroke_mm, force_n, wall_mm)
    if peak is None:
        return {"peak": None, "minimum": None, "closure": None}
    rise = (force_n - np.interp(stroke_mm - WINDOW_MM, stroke_mm, force_n)) / WINDOW_MM
    after = (np.arange(len(stroke_mm)) > peak) & (stroke_mm - WINDOW_MM >= stroke_mm[peak])
    steep = np.nonzero(after & (rise >= STEEP * force_n[peak] / wall_mm))[0]
    end = int(steep[0]) if len(steep) else len(stroke_mm) - 1
    lowest = peak + int(np.argmin(force_n[peak : end + 1]))
    return {
        "peak": _at(stroke_mm, force_n, peak),
        "minimum": _at(stroke_mm, force_n, lowest) if lowest > peak else None,
        "closure": _at(stroke_mm, force_n, end) if len(steep) else None,
    }


def _at(stroke_mm: Floats, force_n: Floats, place: int) -> Event:
    return Event(round(float(stroke_mm[place]), 6), round(float(force_n[place]), 3))


def _peak(stroke_mm: Floats, force_n: Floats, wall_mm: float) -> int | None:
    """The place of the peak."""
    started = int(np.searchsorted(stroke_mm, START_WALLS * wall_mm))
    if started >= len(stroke_mm) - 2:
        return None
    most = np.maximum.accumulate(force_n)
    fallen = np.nonzero((force_n < (1.0 - DROP) * most) & (np.arange(len(force_n)) > started))[0]
    if len(fallen):
        return int(np.argmax(force_n[: fallen[0]]))
    flat = np.gradient(force_n, stroke_mm)
    smooth = np.convolve(flat, np.ones(11) / 11.0, mode="same")
    steep = np.nonzero((smooth >= STEEP * force_n / wall_mm) & (stroke_mm > wall_mm))[0]
    end = int(steep[0]) if len(steep) else len(stroke_mm) - 6
    return started + int(np.argmin(smooth[started : max(end, started + 1)]))

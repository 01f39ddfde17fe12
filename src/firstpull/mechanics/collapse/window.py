"""Between which strokes a simulated pull makes a good joint: from under-set to over-set, and what limits each end."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from firstpull.mechanics.collapse.events import Event, Floats
from firstpull.mechanics.collapse.limits import Ceiling, Surroundings

PRELOAD_MARGIN = 1.1
GRID_MM = 0.01
"""Strokes of a curve stand this far apart."""


@dataclass(frozen=True, slots=True)
class StrokeWindow:
    """Least and greatest stroke in mm with what limits each in words; None where an end was not reached or known."""

    stroke_min_mm: float | None
    min_by: str
    stroke_max_mm: float | None
    max_by: str
    notes: tuple[str, ...]

    @property
    def open(self) -> bool:
        """Whether both ends are known and there is room between them."""
        low, high = self.stroke_min_mm, self.stroke_max_mm
        return low is not None and high is not None and low < high


def stroke_window(
    stroke_mm: Floats,
    force_n: Floats,
    *,
    events: Mapping[str, Event | None],
    ceilings: tuple[Ceiling, ...],
    around: Surroundings,
) -> StrokeWindow:
    """The window of a curve (strokes in mm rising, pull in N) with its events and ceilings.

    Under-set: the least stroke that leaves a clamp of a tenth of the peak (the event *seating*) and whose pull stands at
    1.1 times the largest screw preload or more, since tightening is a second pull. Over-set: the first stroke at which
    the pull comes to the lowest ceiling or the tool's stroke is used up; the first peak counts. Source: by definition.
    """
    notes: list[str] = []
    low, low_by = _under(stroke_mm, force_n, events.get("seating"), around, notes)
    closure = events.get("closure")
    if low is not None and closure is not None and low < closure.stroke_mm:
        notes.append("At the least stroke the fold is not closed yet: it holds that clamp, but a hard pull moves it.")
    high, high_by = _over(stroke_mm, force_n, ceilings, around, notes)
    if low is not None and high is not None and low >= high:
        notes.append("There is no window: the upper end comes before the lower one.")
    return StrokeWindow(low, low_by, high, high_by, tuple(notes))


def _under(
    stroke_mm: Floats, force_n: Floats, seating: Event | None, around: Surroundings, notes: list[str]
) -> tuple[float | None, str]:
    if seating is None:
        return None, "No stroke up to the end of this pull leaves a clamp of a tenth of the peak."
    if around.preload_n is None:
        notes.append("The screw’s preload is not known: only the clamp counts for the lower end.")
        return seating.stroke_mm, "Less leaves too little clamp on the sheet."
    held = (stroke_mm >= seating.stroke_mm) & (force_n >= PRELOAD_MARGIN * around.preload_n)
    places = np.nonzero(held)[0]
    if not len(places):
        return None, "The pull never stands at 1.1 times the screw’s preload: tightening would go on collapsing it."
    least = round(float(stroke_mm[places[0]]), 6)
    if least - seating.stroke_mm < 2.0 * GRID_MM:
        return seating.stroke_mm, "Less leaves too little clamp on the sheet."
    return least, "Less, and tightening the screw would go on collapsing it."


def _over(
    stroke_mm: Floats, force_n: Floats, ceilings: tuple[Ceiling, ...], around: Surroundings, notes: list[str]
) -> tuple[float | None, str]:
    ends: list[tuple[float, str]] = []
    for one in ceilings:
        above = np.nonzero(force_n >= one.load_n)[0]
        if len(above):
            place = int(above[0])
            ends.append((_cross(stroke_mm, force_n, one.load_n, place), f"More, and {one.text}."))
    if around.tool_stroke_mm is not None:
        used = stroke_mm + (around.compliance_mm_per_kn or 0.0) * force_n / 1000.0
        above = np.nonzero(used >= around.tool_stroke_mm)[0]
        if len(above):
            ends.append((float(stroke_mm[above[0]]), "More, and the tool has no stroke left."))
    known = {one.name for one in ceilings}
    for name, text in (
        ("threads", "The thread is not known: threads and mandrel are not among the limits."),
        ("sheet", "The sheet’s yield is not known: its crushing is not among the limits."),
        ("tool", "The tool’s load is not known: it is not among the limits."),
    ):
        if name not in known:
            notes.append(text)
    if ends:
        least, text = min(ends)
        return round(least, 6), text
    return round(float(stroke_mm[-1]), 6), "The simulated pull ends there; no limit was reached."


def _cross(stroke_mm: Floats, force_n: Floats, load_n: float, place: int) -> float:
    """The stroke at which the load is first met, on the straight line before ``place``."""
    if place == 0 or force_n[place] <= force_n[place - 1]:
        return float(stroke_mm[place])
    share = (load_n - force_n[place - 1]) / (force_n[place] - force_n[place - 1])
    return float(stroke_mm[place - 1] + share * (stroke_mm[place] - stroke_mm[place - 1]))

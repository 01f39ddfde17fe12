"""The shape of an insert before and after the pull, in mm, as half-section outlines.

Coordinates are (radius, depth): the radius from the centre line, the depth from the grip datum towards the blind
side. A length that the catalogue does not give is filled by one of our drawing proportions and named in ``filled``.
The blind head keeps the volume of the shank it is folded from; its outline is a drawing, not a simulated collapse.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from firstpull.drawing.svg import Point, finite
from firstpull.errors import BadInput

_SAMPLES = 40
_MINOR_SHARE = 0.84  # drawn minor diameter over thread diameter, coarse series; drawing convention only


@dataclass(frozen=True, slots=True)
class InsertShape:
    """The lengths of an insert in mm; ``None`` where they are not known. ``length_free_mm`` is overall.

    ``head`` is flat, countersunk or low profile; ``end`` is open or closed.
    """

    length_free_mm: float
    thread_diameter_mm: float | None = None
    flange_diameter_mm: float | None = None
    flange_thickness_mm: float | None = None
    body_diameter_mm: float | None = None
    thread_length_mm: float | None = None
    counterbore_diameter_mm: float | None = None
    head: str = "flat"
    end: str = "open"


@dataclass(frozen=True, slots=True)
class Profile:
    """Outlines in (radius, depth), mm. ``filled`` names what was not known; ``squeezed``: the pull does not fit."""

    before: tuple[Point, ...]
    after: tuple[Point, ...] | None
    thread_before: tuple[float, float]
    thread_after: tuple[float, float] | None
    major_radius_mm: float
    body_radius_mm: float
    flange_radius_mm: float
    head_depth_mm: float
    top_mm: float
    end_before_mm: float
    end_after_mm: float | None
    widest_mm: float
    filled: tuple[str, ...]
    squeezed: bool


@dataclass(frozen=True, slots=True)
class _Full:
    length: float
    major: float
    body: float
    bore: float
    flange: float
    flange_thickness: float
    thread: float
    bottom: float
    countersunk: bool
    filled: tuple[str, ...]

    @property
    def top(self) -> float:
        return 0.0 if self.countersunk else -self.flange_thickness


def profile(shape: InsertShape, *, thickness_mm: float, set_length_mm: float | None) -> Profile:
    """Outlines before and, when ``set_length_mm`` is given, after the pull in a stack of ``thickness_mm``.

    Lengths in mm, free length above 0 and up to 500 mm. Raises BadInput for lengths that are not positive and finite.
    """
    thickness = _positive(thickness_mm, "thickness_mm")
    stroke = 0.0
    if set_length_mm is not None:
        stroke = max(shape.length_free_mm - _positive(set_length_mm, "set_length_mm"), 0.0)
    full = _complete(shape, thickness, stroke=stroke)
    end = full.length + full.top
    thread_start = end - full.bottom - full.thread
    after, thread_after, squeezed = None, None, False
    if set_length_mm is not None:
        room = thread_start - thickness - stroke
        least = min(0.6 * (full.body - full.bore), 0.25 * full.length)
        squeezed = room < least and stroke > 0
        start_after = thickness + (least if squeezed else room)
        start_after = min(start_after, end - stroke - full.bottom - 0.02 * full.length)
        fold = _fold(full, thickness, bottom=start_after, before=thread_start - thickness) if stroke > 0 else ()
        after = _outline(full, start_after, end=end - stroke, fold=fold)
        thread_after = (start_after, end - stroke - full.bottom)
    widest = max(r for r, _ in [*_outline(full, thread_start, end=end, fold=()), *(after or ())])
    return Profile(
        before=_outline(full, thread_start, end=end, fold=()),
        after=after,
        thread_before=(thread_start, end - full.bottom),
        thread_after=thread_after,
        major_radius_mm=full.major,
        body_radius_mm=full.body,
        flange_radius_mm=full.flange,
        head_depth_mm=min(full.flange_thickness, thickness) if full.countersunk else 0.0,
        top_mm=full.top,
        end_before_mm=end,
        end_after_mm=None if set_length_mm is None else end - stroke,
        widest_mm=widest,
        filled=full.filled,
        squeezed=squeezed,
    )


def _positive(value: float, where: str) -> float:
    if not 0 < finite(value, where) <= 500:
        raise BadInput(f"{value} can not be drawn.", where=where, hint="A length above 0 and up to 500 mm.")
    return float(value)


def _complete(shape: InsertShape, thickness: float, *, stroke: float) -> _Full:
    """Fill what is missing or impossible with our drawing proportions."""
    filled: list[str] = []
    length = _positive(shape.length_free_mm, "length_free_mm")

    def known(value: float | None, low: float, *, high: float, usual: float, name: str) -> float:
        if value is not None and low <= finite(value, name) <= high:
            return float(value)
        filled.append(name)
        return min(max(usual, low), high)

    body_given = shape.body_diameter_mm
    major_usual = body_given / 1.45 if body_given is not None and body_given > 0 else 0.4 * length
    major = known(shape.thread_diameter_mm, 0.02 * length, high=1.5 * length, usual=major_usual, name="thread diameter")
    body = known(body_given, 1.06 * major, high=3 * major, usual=1.45 * major, name="body diameter")
    countersunk, low_head = shape.head == "countersunk", shape.head.startswith("low")
    over = 1.14 if low_head else 1.34 if countersunk else 1.45
    flange = known(shape.flange_diameter_mm, 1.02 * body, high=3 * body, usual=over * body, name="flange diameter")
    plate_usual = 0.12 * major if low_head else 0.5 * (flange - body) if countersunk else 0.25 * major
    plate = known(
        shape.flange_thickness_mm, 0.005 * length, high=0.4 * length, usual=plate_usual, name="flange thickness"
    )
    bore_usual = min(major + 0.4 * (body - major), body)
    bore = known(
        shape.counterbore_diameter_mm, 0.86 * major, high=0.97 * body, usual=bore_usual, name="counterbore diameter"
    )
    bottom = 0.22 * major if shape.end == "closed" else 0.0
    reach = length - (0.0 if countersunk else plate) - bottom
    fits = reach - thickness - stroke - 1.15 * (body - bore)
    thread = known(
        shape.thread_length_mm,
        0.04 * length,
        high=0.9 * reach,
        usual=max(min(1.15 * major, fits), 0.25 * reach),
        name="thread length",
    )
    return _Full(
        length, major / 2, body / 2, bore / 2, flange / 2, plate, thread, bottom, countersunk, tuple(sorted(filled))
    )


def _outline(full: _Full, thread_start: float, *, end: float, fold: tuple[tuple[Point, ...], ...]) -> tuple[Point, ...]:
    """The closed half-section; ``fold`` is empty or (outer, inner) points of the blind head, top to bottom."""
    minor = _MINOR_SHARE * full.major
    lip = 0.06 * full.major
    head = [(full.bore, full.top), (full.flange, full.top)]
    head += [(full.body, full.flange_thickness)] if full.countersunk else [(full.flange, 0.0), (full.body, 0.0)]
    outer, inner = fold or ((), ())
    if full.bottom:
        foot = [(full.body - lip, end), (0.0, end), (0.0, end - full.bottom), (minor, end - full.bottom)]
    else:
        foot = [(full.body - lip, end), (minor, end)]
    points = [*head, *outer, (full.body, end - lip), *foot, (minor, thread_start), (full.bore, thread_start)]
    return (*points, *reversed(inner))


@dataclass(frozen=True, slots=True)
class _Fold:
    """A blind head between two depths; ``open_share`` runs from 0 (folded flat) to 1 (barely bulged)."""

    full: _Full
    height: float
    open_share: float

    def outer(self, bulge: float, share: float) -> float:
        """Outer radius; a folded head lies along the sheet, an open one swells gently."""
        x = abs(2 * share - 1)
        folded = (1 - x**2.3) ** (1 / 2.3)
        return float(self.full.body + bulge * self._blend(folded, x))

    def inner(self, groove: float, share: float) -> float:
        """Inner radius; a sharp groove when folded, parallel to the outside when open."""
        x = abs(2 * share - 1)
        return float(self.full.bore + groove * self._blend((1 - x) ** 0.8, x))

    def _blend(self, folded: float, x: float) -> float:
        return float((1 - self.open_share) * folded + self.open_share * (1 + math.cos(math.pi * x)) / 2)

    def volume(self, bulge: float, groove: float) -> float:
        """Volume over π, mm³, by the midpoint rule."""
        count = 2 * _SAMPLES
        shares = [(index + 0.5) / count for index in range(count)]
        squares = (self.outer(bulge, share) ** 2 - self.inner(groove, share) ** 2 for share in shares)
        return self.height / count * sum(squares)


def _fold(full: _Full, top: float, *, bottom: float, before: float) -> tuple[tuple[Point, ...], ...]:
    """Outer and inner outline of the blind head between depths ``top`` and ``bottom``, from ``before`` mm of shank."""
    height = max(bottom - top, 1e-6)
    shape = _Fold(full, height, min(max((height / before - 0.4) / 0.5, 0.0), 1.0) if before > 0 else 0.0)
    wanted = (full.body**2 - full.bore**2) * before
    bulge = max((before**2 - height**2), 0.0) ** 0.5 / 2
    groove = 0.0
    if shape.volume(bulge, 0.0) < wanted:
        bulge = _bisect(lambda value: shape.volume(value, 0.0) - wanted, bulge, high=3 * before)
    else:
        groove = _bisect(lambda value: wanted - shape.volume(bulge, value), 0.0, high=bulge)
        if shape.volume(bulge, groove) > wanted * 1.001:
            bulge = _bisect(lambda value: shape.volume(value, value) - wanted, 0.0, high=bulge)
            groove = bulge
    steps = [index / _SAMPLES for index in range(_SAMPLES + 1)]
    outer = tuple((shape.outer(bulge, share), top + height * share) for share in steps)
    inner = tuple((shape.inner(groove, share), top + height * share) for share in steps)
    return outer, inner


def _bisect(rises: Callable[[float], float], low: float, *, high: float) -> float:
    """Where the rising function crosses zero in [low, high]; an end when it does not."""
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (low, middle) if rises(middle) > 0 else (middle, high)
    return (low + high) / 2

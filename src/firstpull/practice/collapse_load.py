"""The simple load curve of a practice insert and what the tool makes of it.

The pull force rises to a peak, falls to a plateau while the shank folds, and rises again when the blind head seats: on
the sheet in a stack, on its own closed fold in the air, there about one stack thickness later. Straight pieces only.
This is our own engineering judgement for learning; it shares nothing with the mechanics that advises on real work.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

_PEAK_AT_MM = 0.3
_FALL_MM = 0.6
_PEAK_SHARE = 0.82
_PLATEAU_SHARE = 0.65


@dataclass(frozen=True, slots=True)
class LoadCurve:
    """Pull force (N) over compression (mm): to ``peak_n``, down to ``plateau_n``, up from ``seat_mm``."""

    peak_n: float
    plateau_n: float
    seat_mm: float
    seat_rate: float

    def load_n(self, compression_mm: float) -> float:
        """Pull force (N) at a compression (mm, 0 or more)."""
        if compression_mm <= _PEAK_AT_MM:
            return self.peak_n * max(compression_mm, 0.0) / _PEAK_AT_MM
        fallen = min((compression_mm - _PEAK_AT_MM) / _FALL_MM, 1.0)
        folding = self.peak_n + (self.plateau_n - self.peak_n) * fallen
        return folding + self.seat_rate * max(compression_mm - self.seat_mm, 0.0)


@dataclass(frozen=True, slots=True)
class Squeezed:
    """The insert after one pull: permanent ``stroke_mm``, highest ``load_n`` reached, ``stalled`` when force ran out."""

    stroke_mm: float
    load_n: float
    stalled: bool


def load_curve(setting_load_n: float, *, seat_mm: float, seated_mm: float) -> LoadCurve:
    """A curve that has its seat at ``seat_mm`` and reaches ``setting_load_n`` at ``seated_mm`` (mm, later)."""
    plateau = _PLATEAU_SHARE * setting_load_n
    rate = (setting_load_n - plateau) / max(seated_mm - seat_mm, 0.05)
    return LoadCurve(_PEAK_SHARE * setting_load_n, plateau, seat_mm, rate)


def squeeze(
    gross_mm: float, *, curve: LoadCurve, tool_stiffness: float, insert_stiffness: float, available_n: float
) -> Squeezed:
    """What a tool that travels ``gross_mm`` leaves in the insert: part of the travel stretches mandrel and tool.

    compression + load/k_tool = travel, and the insert springs back by load/k_insert when it is let go.
    """
    compression = _solve(
        lambda c: c + curve.load_n(c) / tool_stiffness, wanted=max(gross_mm, 0.0), highest=max(gross_mm, 0.0)
    )
    reachable = _farthest(curve, available_n=available_n)
    stalled = reachable < compression
    compression = min(compression, reachable)
    load = curve.load_n(compression)
    highest_load = max(load, curve.peak_n if compression >= _PEAK_AT_MM else load)
    return Squeezed(max(compression - load / insert_stiffness, 0.0), highest_load, stalled)


def travel_for(stroke_mm: float, *, curve: LoadCurve, tool_stiffness: float, insert_stiffness: float) -> float:
    """The tool travel (mm) that leaves ``stroke_mm`` of permanent shortening, force enough."""
    compression = _solve(lambda c: c - curve.load_n(c) / insert_stiffness, wanted=stroke_mm, highest=stroke_mm + 1.0)
    return compression + curve.load_n(compression) / tool_stiffness


def _farthest(curve: LoadCurve, *, available_n: float) -> float:
    """The compression (mm) at which the force runs out."""
    if available_n < curve.peak_n:
        return _PEAK_AT_MM * available_n / curve.peak_n
    seat = max(curve.seat_mm, _PEAK_AT_MM + _FALL_MM)
    at_seat = curve.load_n(seat)
    return seat if available_n <= at_seat else seat + (available_n - at_seat) / curve.seat_rate


def _solve(rising: Callable[[float], float], *, wanted: float, highest: float) -> float:
    low, high = 0.0, highest
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if rising(middle) < wanted else (low, middle)
    return (low + high) / 2

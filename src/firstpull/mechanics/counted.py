"""Which margin of a candidate counts when it is held against a least margin."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from firstpull.mechanics.check import Check

if TYPE_CHECKING:
    from firstpull.mechanics.choose import Candidate
    from firstpull.mechanics.joint.tightening import Tightening

Estimates = Literal["expected", "worst"]
ESTIMATES: tuple[str, ...] = ("expected", "worst")

# a torque that is found here is as high as these allow, and may be lower: what they leave says nothing about the insert
_WITH_THE_TORQUE = frozenset(
    ("screw proof", "thread strip, screw", "thread strip, insert", "seated fold", "torque-to-turn")
)
_CLAMP = "clamp"


@dataclass(frozen=True, slots=True)
class Counted:
    """The check that counts and its margin as a share; and the check with the smallest margin at worst, ``worst``: under
    ``margin`` where an estimate holds on average but may fall short."""

    check: Check
    margin: float
    worst_check: Check
    worst: float


def counted_margin(candidate: Candidate, *, estimates: Estimates = "expected") -> Counted | None:
    """The tightest margin (a share of the offer, no unit) of a candidate, by :func:`counted`; ``None`` when no check has
    one. Errors and source as there."""
    torque = None if candidate.strength is None else candidate.strength.tightening
    return counted(candidate.checks, torque, estimates=estimates)


def counted(checks: Iterable[Check], torque: Tightening | None, *, estimates: Estimates = "expected") -> Counted | None:
    """The tightest margin (a share of the offer, no unit) of an insert's checks; ``None`` when none has one.

    A check by a standard, a test or plain geometry counts at its worst case; an estimate at its expected value, as when
    ``choose`` rejects, or with ``estimates`` “worst” at its worst too. Where the tightening torque was found and not
    given, the checks that only ask for less torque do not count, and the clamp counts with what the torque's window
    leaves, 1 − lower limit / upper limit: another torque of the window may be taken. Source: the least of the margins,
    by definition.
    """
    rows = [(check, margin) for check in checks if (margin := _at_worst(check, torque)) is not None]
    if not rows:
        return None
    worst_check, worst = min(rows, key=lambda row: row[1])
    check, margin = min(((row, _counts(row, at_worst, estimates)) for row, at_worst in rows), key=lambda row: row[1])
    return Counted(check, margin, worst_check, worst)


def _at_worst(check: Check, torque: Tightening | None) -> float | None:
    """The check's margin at its worst; ``None`` where it has none, or none that counts."""
    if check.margin is None or torque is None or torque.given:
        return check.margin
    if check.name == _CLAMP and torque.low_nm is not None and torque.high_nm > 0:
        return round(1 - torque.low_nm / torque.high_nm, 6)
    return None if check.name in _WITH_THE_TORQUE else check.margin


def _counts(check: Check, at_worst: float, estimates: Estimates) -> float:
    if check.estimate and estimates == "expected" and check.expected_margin is not None:
        return check.expected_margin
    return at_worst

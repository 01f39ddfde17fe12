"""The run rules: patterns on a control chart that chance alone seldom makes.

Sources: Western Electric Co., Statistical Quality Control Handbook, 1956 (rules 1 to 4 and the patterns behind 7 and
8; page from memory: section I-B); NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2 (rules 1 to 4 as “WECO
rules”, 5 and 6 as trend rules, with the warning that rules 1 to 4 together cry wolf once in 91.75 points instead of
once in 371); L. S. Nelson, Journal of Quality Technology 16 (1984) 237–239 (7 and 8). ISO 7870-2, Shewhart control
charts, lists such patterns in an annex and leaves the choice to the user; for a process that is already running it
relies on the limits (clause number from memory: 8.2). That is why only rule 1 says “stop” here and the others “look”.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["stop", "look"]


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: ``number``, ``name`` (the key in a signal), ``text`` for people, ``source`` and what it asks for."""

    number: int
    name: str
    text: str
    severity: Severity
    source: str


@dataclass(frozen=True, slots=True)
class Signal:
    """Rule ``rule`` (its name) holds at the reading with zero-based ``index``, the last one of the pattern."""

    index: int
    rule: str
    text: str
    number: int
    severity: Severity


_WE = "Western Electric (1956); NIST/SEMATECH e-Handbook 6.3.2; ISO 7870-2"
_TREND = "NIST/SEMATECH e-Handbook 6.3.2, trend rules; Nelson (1984)"
_NELSON = "Western Electric (1956), patterns; Nelson (1984)"

RULES: tuple[Rule, ...] = (
    Rule(1, "beyond a limit", "One reading is beyond a control limit.", "stop", _WE),
    Rule(2, "two of three far out", "Two of three readings are beyond two sigma on the same side.", "look", _WE),
    Rule(3, "four of five out", "Four of five readings are beyond one sigma on the same side.", "look", _WE),
    Rule(4, "eight on one side", "Eight readings in a row are on the same side of the centre.", "look", _WE),
    Rule(5, "six rising or falling", "Six readings in a row keep rising or keep falling.", "look", _TREND),
    Rule(6, "fourteen up and down", "Fourteen readings in a row go up and down by turns.", "look", _TREND),
    Rule(7, "fifteen too close", "Fifteen readings in a row are within one sigma of the centre.", "look", _NELSON),
    Rule(8, "eight keep away", "Eight readings in a row, on both sides, are all beyond one sigma.", "look", _NELSON),
)
JUMP = Rule(
    9,
    "jump",
    "Two readings in a row differ by more than the moving-range limit.",
    "look",
    "NIST/SEMATECH e-Handbook 6.3.2.2",
)


def signal(rule: Rule, index: int) -> Signal:
    """The signal of ``rule`` at the reading ``index``."""
    return Signal(index, rule.name, rule.text, rule.number, rule.severity)


def find_signals(offsets: tuple[float, ...], *, changes: tuple[int, ...]) -> tuple[Signal, ...]:
    """Every place where one of the eight rules holds, in order of reading, then rule number.

    ``offsets`` are (reading − centre) / sigma, finite. ``changes`` are +1, 0 or −1 for each reading against the one
    before (one fewer than the readings): taken from the readings themselves, so that equal ones stay equal. Source:
    NIST/SEMATECH e-Handbook 6.3.2 and ISO 7870-2 (module docstring).
    """
    found: list[Signal] = []
    for index in range(len(offsets)):
        # No rule looks back further than fifteen readings.
        held = _held(offsets[max(0, index - 14) : index + 1], changes[max(0, index - 14) : index])
        found.extend(signal(rule, index) for rule, holds in zip(RULES, held, strict=True) if holds)
    return tuple(found)


def _held(offsets: tuple[float, ...], changes: tuple[int, ...]) -> tuple[bool, ...]:
    """Which of the eight rules the last reading completes."""
    last = offsets[-1]
    side = 1 if last > 0 else -1
    last_fifteen, last_eight = offsets[-15:], offsets[-8:]
    return (
        abs(last) > 3,
        side * last > 2 and sum(side * value > 2 for value in offsets[-3:]) >= 2,
        side * last > 1 and sum(side * value > 1 for value in offsets[-5:]) >= 4,
        len(last_eight) == 8 and all(side * value > 0 for value in last_eight),
        # six readings make five steps
        len(changes) >= 5 and abs(sum(changes[-5:])) == 5,
        # fourteen readings make thirteen steps, each against the one before
        len(changes) >= 13 and all(changes[-k] * changes[-k - 1] < 0 for k in range(1, 13)),
        len(last_fifteen) == 15 and all(abs(value) < 1 for value in last_fifteen),
        len(last_eight) == 8 and all(abs(value) > 1 for value in last_eight) and _both_sides(last_eight),
    )


def _both_sides(offsets: tuple[float, ...]) -> bool:
    return min(offsets) < 0 < max(offsets)

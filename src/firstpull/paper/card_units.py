"""The sentences of a frozen card in another unit. The card itself keeps the words that were released; only what is shown
changes, so that nobody reads two units on one card."""

from __future__ import annotations

import re

from firstpull.units import LengthUnit, parse_length, show_length

_NM_PER_LBF_IN = 0.1129848290276167
# inch sentences have four decimals at least, which keeps “3 in the air” what it is
_LENGTHS = re.compile(r"(?<![\w.])(?P<low>\d+\.\d+)(?: to (?P<high>\d+\.\d+))? (?P<unit>mm\b|in(?!\w))")
_TORQUE = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) N·m")


def in_unit(text: str, unit: LengthUnit) -> str:
    """``text`` with its lengths in ``unit`` (0.01 mm pairs with 0.0001 in) and, for inches, its torques in lbf·in."""
    shown = _LENGTHS.sub(lambda found: _length(found, unit), text)
    if unit == "in":
        shown = _TORQUE.sub(lambda found: f"{float(found[1]) / _NM_PER_LBF_IN:.0f} lbf·in", shown)
    return shown


def _length(found: re.Match[str], unit: LengthUnit) -> str:
    written, decimals = found["unit"], len(found["low"].partition(".")[2])
    if written == unit or (written == "in" and decimals < 4):
        return found[0]
    fine = decimals + 2 if unit == "in" else decimals - 2
    ends = [
        show_length(parse_length(f"{found[end]} {written}"), unit, decimals=fine)
        for end in ("low", "high")
        if found[end]
    ]
    return f"{' to '.join(ends)} {unit}"

"""Values as text that reads back as the same value."""

from __future__ import annotations

import re
from collections.abc import Callable

from firstpull.errors import BadInput
from firstpull.units import Length, parse_length, show_length

PLACES = 9
# these turn the order of the letters round, so that a text reads as another one (Unicode Standard Annex 9)
TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
# signs that hide, turn round or break a line of print; tab and line breaks are none of them
HIDDEN = re.compile(f"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f{''.join(sorted(TURNING))}]")


def rounded(value: float) -> float:
    """A load, torque or pressure to 9 places, so that its decimal text is the value: 55 lbf·in has no shorter one."""
    return round(value, PLACES)


def number_text(value: float) -> str:
    """A plain decimal without an exponent, at most 9 places."""
    text = f"{value:.{PLACES}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def length_text(value: Length, *, parse: Callable[[str], Length] = parse_length) -> str:
    """The length as typed when ``parse`` reads that text as the same length; else the exact number of mm."""
    try:
        if value.typed == value.typed.strip() and parse(value.typed) == value:
            return value.typed
    except BadInput:
        pass
    return show_length(value, "mm", decimals=6).rstrip("0").rstrip(".") + " mm"

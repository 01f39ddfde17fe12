"""What a verdict on coupons says, in sentences with lengths in the reader's unit: what was reached, never what was wished.

Shares are rounded down: a proof must not read better than it is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from firstpull.jobs.dial_in import fine_length
from firstpull.units import LengthUnit, show_mm

Data = Mapping[str, Any]
_NM_PER_LBF_IN = 0.1129848290276167


def percent(share: float) -> str:
    """A share in per cent, rounded down to a tenth."""
    return f"{math.floor(share * 1000 + 1e-9) / 10:.1f}".removesuffix(".0") + " %"


def wished(share: float) -> str:
    """A wanted share or confidence in per cent, as it was given."""
    return f"{100 * share:.10g} %"


def sets_sentence(measured: Data, unit: LengthUnit) -> str:
    """Between which lengths the sets lie: the exact promise of the measured coupons."""
    return (
        f"With {wished(measured['confidence'])} confidence at least {wished(measured['share_wanted'])} of sets lie "
        f"within {_wide_span(measured['low_mm'], measured['high_mm'], unit)}."
    )


def window_sentence(measured: Data, unit: LengthUnit) -> str:
    """How that stands against the window, the gauge's doubt counted."""
    window = _span(measured["window_low_mm"], measured["window_high_mm"], unit)
    if measured["guard_mm"] is None:
        return (
            f"With this gauge no length can be shown inside {window}: one reading is doubtful by "
            f"{fine_length(measured['u_mm'], unit)}. Measure with a finer one."
        )
    less = f"the window {window}, less {fine_length(measured['guard_mm'], unit)} at each end for the gauge"
    if measured["shown"]:
        return f"Shown: at least {wished(measured['share_wanted'])} of sets lie inside {less}."
    return (
        f"Shown so far: at least {percent(measured['share_inside'])} of sets lie inside {less}; "
        f"{wished(measured['share_wanted'])} is wanted."
    )


def more_sentence(measured: Data) -> str:
    """How many more would show what is wanted; "" where it is shown."""
    if measured["shown"] or measured["guard_mm"] is None:
        return ""
    if measured["needed"] is None:
        return (
            "No number of coupons like these shows it: the sets scatter too much or stand too near a limit. Dial in "
            "nearer to the middle, steady the tool, or measure with a finer gauge."
        )
    more = max(int(measured["needed"]) - int(measured["n"]), 1)
    return f"If the next ones come like these, about {more} more would show it."


def mean_sentence(measured: Data, unit: LengthUnit) -> str:
    """Where the mean of all sets lies: another promise than that of each set."""
    return (
        f"The mean of all sets lies within {_wide_span(measured['mean_low_mm'], measured['mean_high_mm'], unit)} at "
        f"{wished(measured['confidence'])} confidence. That is no promise for each set."
    )


def gauge_sentence(measured: Data, unit: LengthUnit) -> str:
    """How doubtful one length is, and what that costs."""
    return f"A length is known to {fine_length(measured['u_mm'], unit)} (standard uncertainty; {measured['u_source']})."


def torque_sentence(torque: Data, unit: LengthUnit) -> str:
    """The least turning torque that the wanted share of sets holds."""
    if torque["least_nm"] <= 0:
        return f"{torque['n']} turning tests scatter too much to promise a torque for each set."
    text = (
        f"With {wished(torque['confidence'])} confidence at least {wished(torque['share_wanted'])} of sets hold "
        f"{_torque(torque['least_nm'], unit)} ({torque['n']} turning tests)."
    )
    if torque["limit_nm"] is None:
        return text
    wanted = f"{_torque(torque['limit_nm'], unit)} is wanted"
    return f"{text} {wanted}: {'shown' if torque['shown'] else 'not shown'}."


def open_sentence(number: int, found: Data) -> str:
    """Why one coupon does not count as good: its value lies nearer to a limit than the gauge can tell."""
    what = {"set_length": "set length", "torque": "torque"}[found["what"]]
    return (
        f"Coupon {number}: its {what} lies inside by less than the gauge can tell (chance to conform "
        f"{percent(found['chance'])}). It does not count as shown; set another, or measure with a finer gauge."
    )


def pass_sentence(runs: Data) -> str:
    """What passing every check alone shows, and what would be needed."""
    good, confidence = int(runs["good"]), wished(runs["confidence"])
    counted = f"{good} good coupon{'' if good == 1 else 's'}"
    if runs["not_good"]:
        counted = f"{good} good of {good + int(runs['not_good'])} coupons"
    text = f"{counted} alone show{'s' if good == 1 and not runs['not_good'] else ''} {percent(runs['share_shown'])} reliability at {confidence} confidence"
    if runs["shown"]:
        return f"{text}; the wanted {wished(runs['share_wanted'])} is shown."
    return f"{text}; {wished(runs['share_wanted'])} by pass or fail needs {runs['needed']} in all."


def details(verdict: Data, unit: LengthUnit) -> list[str]:
    """Every sentence of a verdict, the promise of each set first; for whoever asks, and for the card."""
    lines = []
    measured, torque = verdict.get("measured"), verdict.get("torque")
    if measured is not None and "share_wanted" in measured:
        lines += [sets_sentence(measured, unit), window_sentence(measured, unit), more_sentence(measured)]
        lines += [mean_sentence(measured, unit), gauge_sentence(measured, unit), look_sentence(measured)]
    elif measured is not None:  # judged by an earlier firstpull
        lines.append(str(measured.get("sentence", "")))
    if torque is not None:
        lines.append(torque_sentence(torque, unit))
    return [line for line in lines if line]


def promise_text(verdict: Data, unit: LengthUnit) -> str:
    """What the measured lengths promise of each set, and how that stands against the window; "" without lengths."""
    measured = verdict.get("measured")
    if measured is None:
        return ""
    if "share_wanted" not in measured:  # judged by an earlier firstpull
        return str(measured.get("sentence", ""))
    return f"{sets_sentence(measured, unit)} {window_sentence(measured, unit)}"


def look_sentence(measured: Data) -> str:
    """When it is looked at next and how many coupons it can take at most; "" where the plan does not ask for it."""
    if "looks_at" not in measured or measured["claim_shown"]:
        return ""
    places = [str(place) for place in measured["looks_at"]]
    text = f"Judged after {', '.join(places[:-1])} and {places[-1]} coupons, each time more strictly, so that setting more until it passes does not help."
    if measured["next_look_at"] is None:
        return f"{text} All five looks are used up: it is not shown."
    more = int(measured["next_look_at"]) - int(measured["n"])
    return f"{text} Next look after {more} more; {int(places[-1]) - int(measured['n'])} more at most."


def _span(low_mm: float, high_mm: float, unit: LengthUnit) -> str:
    return f"{show_mm(low_mm, unit)} to {show_mm(high_mm, unit)} {unit}"


def _wide_span(low_mm: float, high_mm: float, unit: LengthUnit) -> str:
    """Limits that are promised, rounded outward."""
    step = 0.01 if unit == "mm" else 0.00254
    return _span(math.floor(low_mm / step + 1e-6) * step, math.ceil(high_mm / step - 1e-6) * step, unit)


def _torque(value_nm: float, unit: LengthUnit) -> str:
    """Rounded down, as a promise."""
    if unit == "in":
        return f"{math.floor(value_nm / _NM_PER_LBF_IN)} lbf·in"
    return f"{math.floor(value_nm * 10) / 10:.1f} N·m"

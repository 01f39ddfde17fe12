"""The result of a gauge study in plain words, in the reader's unit."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from firstpull.jobs.gauge_results import half_window_served, share_of_window
from firstpull.units import LengthUnit, show_mm

Data = Mapping[str, Any]
NAMES = {
    "repeatability": "same person",
    "reproducibility": "between people",
    "appraiser": "between people",
    "interaction": "person × part",
    "gauge": "gauge",
    "part": "between parts",
    "total": "all",
}
"""The parts of the scatter as the shop says them."""
CURES = {
    "resolution": "The step of the gauge is the largest part: take one that reads a digit more.",
    "repeatability": "The same person reads differently each time: clean jaws, the same light force, held square; "
    "or take the mean of two.",
    "appraiser": "People read differently: agree where and how hard to hold, and measure one part side by side.",
    "interaction": "Some parts are read differently by some people: look at them for burrs or tilt, and mark the place.",
}
"""What to do about the largest part of the gauge's scatter (common practice)."""
CURES["reproducibility"] = CURES["appraiser"]


def fine(value_mm: float, unit: LengthUnit) -> str:
    """A scatter with its unit: one digit more than a caliper shows."""
    return f"{show_mm(value_mm, unit, decimals=4 if unit == 'mm' else 5)} {unit}"


def half_width(value_mm: float, unit: LengthUnit) -> str:
    """Half of a window as ± with its unit, rounded up so that it promises no more than is known."""
    step = 0.01 if unit == "mm" else 0.0005 * 25.4
    return f"±{show_mm(math.ceil(value_mm / step - 1e-6) * step, unit, decimals=2 if unit == 'mm' else 4)} {unit}"


def rounded_up(value_mm: float, unit: LengthUnit) -> str:
    """A doubt with its unit, rounded up to the digit that a caliper shows and one more."""
    step = 0.001 if unit == "mm" else 0.0001 * 25.4
    return f"{show_mm(math.ceil(value_mm / step - 1e-6) * step, unit, decimals=3 if unit == 'mm' else 4)} {unit}"


def _plain(value_mm: float, unit: LengthUnit) -> str:
    """A bias with its unit, to the digit that a caliper shows and one more."""
    return f"{show_mm(value_mm, unit, decimals=3 if unit == 'mm' else 4)} {unit}"


def exact_half(value_mm: float, unit: LengthUnit) -> str:
    """Half of a window as it was given."""
    return f"±{show_mm(value_mm, unit, decimals=3 if unit == 'mm' else 4)} {unit}"


def headline(result: Data, unit: LengthUnit) -> str:
    """What it is good for, in one line."""
    if result["kind"] == "blocks":
        bias = float(result["bias_mm"])
        if not result["shown"]:
            return "No bias is shown"
        return f"Reads {_plain(abs(bias), unit)} too {'long' if bias > 0 else 'short'}"
    return f"Good for {half_width(float(result['good_for_mm']), unit)} and wider".replace(f" {unit} ", f"\u00a0{unit} ")


def note(result: Data, unit: LengthUnit, *, half_window_mm: float | None = None) -> str:
    """What stands under the headline: how sure that is, or how it stands against a window."""
    if result["kind"] == "blocks":
        u = float(result["bias_u_mm"])
        return f"Known to ±{rounded_up(2 * u, unit)}, the blocks’ own doubt included."
    half = half_window_mm if half_window_mm is not None else result.get("half_window_mm")
    if half is not None:
        return _window_line(result, float(half), unit)
    worst = float(result["good_for_at_worst_mm"])
    if worst > 5 * float(result["good_for_mm"]):
        return "So few people leave open how far people differ: with more of them this becomes sure."
    return f"Windows of which it takes 30 % or less; at worst {half_width(worst, unit)} (90 % limits)."


def lines(result: Data, unit: LengthUnit) -> list[str]:
    """What else is to be known, the most useful first."""
    if result["kind"] == "blocks":
        return _block_lines(result, unit)
    return [
        CURES[str(result["largest"])],
        *(["One person only: nothing is said of others."] if result["people"] == 1 else []),
    ]


def asides(result: Data, unit: LengthUnit) -> list[str]:
    """What stands beside the numbers: what a reading is worth, and what limits the study itself."""
    if result["kind"] == "blocks":
        return []
    sd = float(result["sd_mm"])
    found = [f"One reading scatters by {fine(sd, unit)} (sd): 19 of 20 lie within ±{rounded_up(2 * sd, unit)}."]
    worst = float(result["good_for_at_worst_mm"])
    found.append(f"Good for windows of {half_width(worst, unit)} at worst (90 % limits).")
    if result["coarse"]:
        found.append("The readings scatter less than the step lets see: step/√12 is taken instead.")
    step = float(result.get("seen_step_mm") or 0.0)
    if step > 1.5 * float(result["resolution_mm"]):
        found.append(f"All readings lie {exact_step(step, unit)} apart or multiples of it: is the last digit rounded?")
    distinct = result.get("distinct_categories")
    if distinct is not None:
        found.append(f"It tells {max(1, int(distinct))} groups of these parts apart; five or more are wanted.")
    if result["parts"] < 5:
        found.append("Few parts: take parts that cover what you measure.")
    return found


def table(result: Data, unit: LengthUnit) -> dict[str, Any]:
    """The numbers: one row for each part of the scatter, or for each block."""
    if result["kind"] == "blocks":
        head: tuple[str, ...] = ("block", "bias", "limits (95 %)", "readings")
        rows = [
            [
                str(row["part"]),
                signed(float(row["bias_mm"]), unit),
                f"{signed(float(row['low_mm']), unit)} to {signed(float(row['high_mm']), unit)}",
                str(row["n"]),
            ]
            for row in result["blocks"]
        ]
        return _table(head, rows)
    head = ("", f"sd [{unit}]", "limits (90 %)", "study", "window")
    return _table(head, [_component(name, one, unit) for name, one in _ordered(result)])


def _ordered(result: Data) -> list[tuple[str, Data]]:
    found = result["components"]
    return [
        (name, found[name])
        for name in NAMES
        if name in found and not (name == "reproducibility" and "appraiser" in found)
    ]


def _component(name: str, one: Data, unit: LengthUnit) -> list[str]:
    limits = "–"
    if one["sd_low_mm"] is not None and one["sd_high_mm"] is not None:
        limits = f"{_bare(one['sd_low_mm'], unit)} to {_bare(one['sd_high_mm'], unit)}"
    share = "–" if one["tolerance_percent"] is None else f"{one['tolerance_percent']:.1f} %"
    return [NAMES[name], _bare(one["sd_mm"], unit), limits, f"{one['study_percent']:.1f} %", share]


def _bare(value_mm: Any, unit: LengthUnit) -> str:
    return show_mm(float(value_mm), unit, decimals=4 if unit == "mm" else 5)


def exact_step(value_mm: float, unit: LengthUnit) -> str:
    """A step with its unit, as it is."""
    return f"{show_mm(value_mm, unit, decimals=3 if unit == 'mm' else 4)} {unit}"


def signed(value_mm: float, unit: LengthUnit) -> str:
    """A bias with its sign, without its unit."""
    text = _bare(value_mm, unit)
    return text if text.startswith(("-", "−")) else f"+{text}"


def _table(head: tuple[str, ...], rows: list[list[str]]) -> dict[str, Any]:
    columns = [{"label": label, "number": place > 0} for place, label in enumerate(head)]
    return {"columns": columns, "rows": rows}


def _window_line(result: Data, half: float, unit: LengthUnit) -> str:
    share = share_of_window(float(result["sd_mm"]), half)
    worst = share_of_window(float(result["sd_at_worst_mm"]), half)
    at_worst = "so few people leave open much more" if worst > 1 else f"at worst {worst * 100:.0f} %"
    verdict = "good" if share < 0.1 else "it may do" if share <= 0.3 else "too much"
    return f"Of {exact_half(half, unit)} it takes {share * 100:.0f} %: {verdict}. {at_worst.capitalize()}."


def _block_lines(result: Data, unit: LengthUnit) -> list[str]:
    found = []
    if result["shown"]:
        found.append("Set it anew on a block, or have it serviced; until then the bias counts in every doubt.")
    line = result.get("linearity")
    if line is not None:
        if line["straight"] is not None and line["straight"] < 0.05:
            found.append("Over the range the bias does not follow a line: look at the table.")
        elif line["acceptable"]:
            found.append("Over the range no bias is shown.")
        else:
            length_mm, name = (10.0, "10 mm") if unit == "mm" else (25.4, "inch")
            slope = _plain(abs(float(line["slope"])) * length_mm, unit)
            found.append(f"The bias changes by {slope} for each {name} of length.")
    else:
        found.append("One block, or readings without scatter: nothing is said of the range.")
    return found


def served(sd_mm: float, unit: LengthUnit) -> str:
    """The narrowest window that a scatter serves, as ±."""
    return half_width(half_window_served(sd_mm), unit)

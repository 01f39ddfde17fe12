"""The setting tool: its adjuster, its limits, and what it can still do."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any, Literal, Self

from firstpull.errors import BadInput
from firstpull.mechanics import fields as field_readers
from firstpull.units import Length, LengthUnit, show_mm

Control = Literal["stroke", "force"]
PlusTurns = Literal["more stroke", "less stroke"]
Rotation = Literal["clockwise", "anticlockwise"]

CONTROLS: tuple[str, ...] = ("stroke", "force")
PLUS_TURNS: tuple[str, ...] = ("more stroke", "less stroke")
ROTATIONS: tuple[str, ...] = ("clockwise", "anticlockwise")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tool:
    """One setting tool. Loads in N, pressures in bar, stiffness in kN/mm; ``None`` means not known.

    ``line_pressure_bar`` is the pressure at the tool's inlet while it cycles, not the gauge on the wall at rest.
    ``plus_direction`` is the rotation of a plus turn, seen from the knob's end. ``stiffness_kn_per_mm`` is that of
    mandrel and tool together. ``piston_area_mm2``, ``ratio`` and ``efficiency`` describe a force-set tool.
    ``nose_diameter`` and ``nose_reach`` say into which pocket it gets: the width of its nose, and how far that stands
    out before the tool grows wider.
    ``backlash_turns``, ``lead_rel_sd`` and ``process_sd_mm`` are the play, the doubt of the lead as a share of it,
    and the scatter from pull to pull: assumptions until this tool's own pulls replace them.
    """

    control: Control
    name: str = ""
    lead_per_turn: Length | None = None
    clicks_per_turn: int | None = None
    plus_turns: PlusTurns = "more stroke"
    plus_direction: Rotation = "clockwise"
    stroke_max: Length | None = None
    stroke_min: Length | None = None
    load_max_n: float | None = None
    rated_pressure_bar: float | None = None
    line_pressure_bar: float | None = None
    piston_area_mm2: float | None = None
    ratio: float | None = None
    efficiency: float | None = None
    stiffness_kn_per_mm: float | None = None
    nose_diameter: Length | None = None
    nose_reach: Length | None = None
    backlash_turns: float = 0.2
    lead_rel_sd: float = 0.03
    process_sd_mm: float = 0.03

    def to_json(self) -> dict[str, Any]:
        """The form held in the record."""
        return field_readers.to_record(self)

    @classmethod
    def from_json(cls, data: Any, *, where: str = "tool") -> Self:
        """Read back what :meth:`to_json` wrote. Raises BadInput naming the field."""
        given = field_readers.from_record(data, FORM, names=NAMES, where=where)
        if given.get("control") is None:
            raise BadInput("“control” is missing.", where=f"{where}.control", hint="Use “stroke” or “force”.")
        return cls(**given)


NAMES: tuple[str, ...] = tuple(field.name for field in fields(Tool))
FORM = field_readers.Form(
    lengths=frozenset(("lead_per_turn", "stroke_max", "stroke_min", "nose_diameter", "nose_reach")),
    numbers=frozenset(
        (
            "load_max_n",
            "rated_pressure_bar",
            "line_pressure_bar",
            "piston_area_mm2",
            "ratio",
            "efficiency",
            "stiffness_kn_per_mm",
            "backlash_turns",
            "lead_rel_sd",
            "process_sd_mm",
        )
    ),
    whole=frozenset(("clicks_per_turn",)),
    choices={"control": CONTROLS, "plus_turns": PLUS_TURNS, "plus_direction": ROTATIONS},
)


@dataclass(frozen=True, slots=True)
class Capacity:
    """Whether the tool can do the pull. ``ok`` is False when anything that could be checked fails.

    ``reasons`` say what fails, ``unknown`` says what could not be checked. Strokes in mm, loads in N.
    """

    ok: bool
    gross_stroke_mm: float
    available_load_n: float | None
    reasons: tuple[str, ...]
    unknown: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class KnobMove:
    """How far to turn. ``turns`` and ``clicks`` are plus in the tool's plus direction; ``leftover_mm`` is the set
    length's distance from the target after whole clicks (plus = too long). ``text`` says it for the hands.
    """

    turns: float
    clicks: int | None
    leftover_mm: float
    direction: Rotation
    text: str


def check_tool(tool: Tool, *, where: str = "tool") -> None:
    """Raises BadInput with the field when a value cannot be right."""
    for name, words in (FORM.choices or {}).items():
        field_readers.choice(getattr(tool, name), words, f"{where}.{name}")
    for name in sorted(FORM.lengths):
        if getattr(tool, name) is not None:
            field_readers.length(getattr(tool, name), f"{where}.{name}", zero=name == "stroke_min")
    may_be_zero = ("backlash_turns", "lead_rel_sd", "process_sd_mm")
    for name in FORM.numbers:
        if getattr(tool, name) is not None:
            field_readers.positive(getattr(tool, name), f"{where}.{name}", zero=name in may_be_zero)
    if (
        tool.clicks_per_turn is not None
        and not 1 <= field_readers.whole(tool.clicks_per_turn, f"{where}.clicks_per_turn") <= 1000
    ):
        raise BadInput(
            f"{tool.clicks_per_turn} clicks a turn cannot be right.",
            where=f"{where}.clicks_per_turn",
            hint="Leave it out when the knob has no clicks.",
        )
    if tool.stroke_min is not None and tool.stroke_max is not None and tool.stroke_min >= tool.stroke_max:
        raise BadInput(
            f"The least stroke {tool.stroke_min.typed} is not below the greatest {tool.stroke_max.typed}.",
            where=f"{where}.stroke_min",
        )
    if tool.efficiency is not None and tool.efficiency > 1:
        raise BadInput(
            f"An efficiency of {tool.efficiency:g} is above 1.", where=f"{where}.efficiency", hint="Write 0.9 for 90 %."
        )
    if tool.backlash_turns > 5 or tool.lead_rel_sd > 1:
        raise BadInput(
            "The knob's play or the doubt of its lead is too large to be right.",
            where=where,
            hint="Play in turns, doubt as a share of the lead.",
        )


def available_load_n(tool: Tool) -> float | None:
    """The load that the tool gives at its inlet pressure while cycling, in N; ``None`` when it is not known.

    A pneumatic tool's load is proportional to the pressure: F = F_max · p / p_rated [common practice], never more
    than F_max. A force-set tool with a known piston gives F = p · A · ratio · efficiency.
    """
    limit = tool.load_max_n
    if tool.line_pressure_bar is None:
        return None
    if limit is not None and tool.rated_pressure_bar is not None:
        return limit * min(tool.line_pressure_bar / tool.rated_pressure_bar, 1.0)
    slope = load_per_bar_n(tool)
    if slope is None:
        return None
    return slope * tool.line_pressure_bar if limit is None else min(limit, slope * tool.line_pressure_bar)


def load_per_bar_n(tool: Tool) -> float | None:
    """Pull per bar of a force-set tool, in N: A_piston · ratio · efficiency · 0.1; ``None`` when one is not known.

    Source: F = p · A with 1 bar = 0.1 MPa, by definition; ratio and efficiency are the user's data.
    """
    if tool.piston_area_mm2 is None or tool.ratio is None or tool.efficiency is None:
        return None
    return tool.piston_area_mm2 * tool.ratio * tool.efficiency * 0.1


def capacity(
    tool: Tool,
    *,
    stroke_mm: float,
    load_n: float | None,
    gap_mm: float = 0.0,
    springback_mm: float = 0.0,
    unit: LengthUnit = "mm",
) -> Capacity:
    """Can the tool pull ``stroke_mm`` against ``load_n``?

    Gross stroke = S + F/k + springback + gap between flange and anvil, against the tool's stroke; the load available
    at the inlet pressure while cycling against the setting load. What is not known is not assumed: it is listed.
    Lengths in mm (stroke > 0), load in N (> 0 or ``None``), ``unit`` is that of the texts. Raises BadInput. Source:
    balance of lengths, F/k by Hooke's law [common practice].
    """
    check_tool(tool)
    field_readers.positive(stroke_mm, "stroke_mm")
    field_readers.positive(gap_mm, "gap_mm", zero=True)
    field_readers.positive(springback_mm, "springback_mm", zero=True)
    if load_n is not None:
        field_readers.positive(load_n, "load_n")
    reasons: list[str] = []
    unknown: list[str] = []
    gross = stroke_mm + gap_mm + springback_mm
    if load_n is None:
        unknown.append("The setting load is not known: load and elastic give are not checked.")
    elif tool.stiffness_kn_per_mm is None:
        unknown.append("The stiffness of mandrel and tool is not known: their elastic give is not in the gross stroke.")
    else:
        gross += load_n / (1000 * tool.stiffness_kn_per_mm)
    _check_stroke(tool, gross, unit, reasons, unknown)
    available = available_load_n(tool)
    if load_n is not None:
        _check_load(tool, load_n, available, reasons, unknown)
    return Capacity(
        ok=not reasons,
        gross_stroke_mm=round(gross, 6),
        available_load_n=None if available is None else round(available, 3),
        reasons=tuple(reasons),
        unknown=tuple(unknown),
    )


def _check_stroke(tool: Tool, gross: float, unit: LengthUnit, reasons: list[str], unknown: list[str]) -> None:
    # Half a nanometre of slack: a stroke equal to the limit is within it whatever its binary rounding.
    if tool.stroke_max is None:
        unknown.append("The tool's greatest stroke is not known.")
    elif gross > tool.stroke_max.mm + 5e-7:
        reasons.append(
            f"The pull needs {show_mm(gross, unit)} {unit} of gross stroke and the tool has {show_mm(tool.stroke_max.mm, unit)} {unit}: "
            "use a tool with more stroke, or an insert with a shorter maximum grip."
        )
    if tool.stroke_min is not None and gross < tool.stroke_min.mm - 5e-7:
        reasons.append(
            f"The tool cannot pull less than {show_mm(tool.stroke_min.mm, unit)} {unit} and the pull needs {show_mm(gross, unit)} {unit}: it would over-set."
        )


def _check_load(tool: Tool, load_n: float, available: float | None, reasons: list[str], unknown: list[str]) -> None:
    ceiling = tool.load_max_n if available is None else available
    if (
        tool.line_pressure_bar is not None
        and tool.rated_pressure_bar is not None
        and tool.line_pressure_bar > tool.rated_pressure_bar
    ):
        reasons.append(
            f"{tool.line_pressure_bar:g} bar at the inlet is above the tool's rated {tool.rated_pressure_bar:g} bar: lower it."
        )
    if available is None:
        unknown.append(
            "The load at the inlet pressure while the tool cycles is not known: give its greatest load, rated pressure and inlet pressure."
        )
    if ceiling is not None and ceiling < load_n:
        at = f" at {tool.line_pressure_bar:g} bar" if available is not None else ""
        reasons.append(
            f"Setting takes {load_n / 1000:.2f} kN and the tool gives {ceiling / 1000:.2f} kN{at}: it would stall. Raise the pressure within its rating, service it, or use a stronger tool; do not turn the knob."
        )


def take_up(tool: Tool) -> tuple[float, int | None]:
    """The least turn towards more stroke that uses up all play the knob may have: turns, and whole clicks where it has
    them; both signed as the knob counts. A knob without click stops is turned by twelfths [common practice: a move
    ends towards more stroke with its play taken up]."""
    per_turn = tool.clicks_per_turn or 12
    steps = max(1, math.ceil(tool.backlash_turns * per_turn - 1e-9))
    sign = 1 if tool.plus_turns == "more stroke" else -1
    return sign * steps / per_turn, sign * steps if tool.clicks_per_turn else None


def knob_move(
    tool: Tool, *, present_set_length_mm: float, target_set_length_mm: float, unit: LengthUnit = "mm"
) -> KnobMove:
    """How far to turn from a knob that gives ``present_set_length_mm`` to one that gives the target.

    turns = (present − target) / lead, in the tool's plus direction when plus is more stroke. Whole clicks, when the
    knob has them, are the nearest; a tie goes to less stroke [common practice]. A move to less stroke overshoots by the play and comes
    back, so that every move finishes in the more-stroke direction. Lengths in mm, > 0. Raises BadInput for a
    force-set tool or one without a lead.
    """
    check_tool(tool)
    present = field_readers.positive(present_set_length_mm, "present_set_length_mm")
    target = field_readers.positive(target_set_length_mm, "target_set_length_mm")
    if tool.control == "force":
        raise BadInput(
            "A force-set tool has no stroke knob.", where="tool.control", hint="Use the pressure ladder on coupons."
        )
    if tool.lead_per_turn is None:
        raise BadInput(
            "The knob's lead is not known.",
            where="tool.lead_per_turn",
            hint="Give the stroke per turn, or learn it from two pulls a few turns apart.",
        )
    more = present - target
    lead = tool.lead_per_turn.mm
    more_turns = round(more / lead, 9)
    clicks = None
    if tool.clicks_per_turn is not None:
        clicks = math.ceil(more_turns * tool.clicks_per_turn - 0.5)
        more_turns = clicks / tool.clicks_per_turn
    leftover = round(more - more_turns * lead, 6)
    sign = 1 if tool.plus_turns == "more stroke" else -1
    to_more: Rotation = tool.plus_direction if sign > 0 else _other(tool.plus_direction)
    direction: Rotation = to_more if more_turns >= 0 else _other(to_more)
    text = _move_text(tool, more_turns, clicks, to_more) + _leftover_text(leftover, unit)
    return KnobMove(
        turns=round(sign * more_turns, 9) + 0.0,
        clicks=None if clicks is None else sign * clicks,
        leftover_mm=leftover + 0.0,
        direction=direction,
        text=text,
    )


def _move_text(tool: Tool, more_turns: float, clicks: int | None, to_more: Rotation) -> str:
    if more_turns == 0:
        return "Leave the knob where it is."
    back = 0.0
    if more_turns < 0:
        back = tool.backlash_turns
        if tool.clicks_per_turn is not None:
            back = math.ceil(back * tool.clicks_per_turn - 1e-9) / tool.clicks_per_turn
    if more_turns > 0:
        return f"Turn the knob {_amount(tool, more_turns, clicks)} {to_more}, seen from the knob's end: more stroke. Finish in that direction; if you go past, come back by more than the play and approach again."
    away = _amount(tool, -more_turns + back, clicks)
    if back == 0:
        return f"Turn the knob {away} {_other(to_more)}, seen from the knob's end: less stroke."
    return (
        f"Turn the knob {away} {_other(to_more)}, seen from the knob's end, then {_amount(tool, back, clicks)} {to_more}: less stroke, "
        "and the knob comes to rest in the more-stroke direction, with its play taken up."
    )


def _amount(tool: Tool, turns: float, clicks: int | None) -> str:
    shown = f"{turns:.2f} turn{'' if turns <= 1 else 's'}"
    if clicks is None or tool.clicks_per_turn is None:
        return shown
    count = round(turns * tool.clicks_per_turn)
    return f"{count} click{'' if count == 1 else 's'} ({shown})"


def _leftover_text(leftover: float, unit: LengthUnit) -> str:
    if abs(leftover) < 0.005:
        return ""
    return f" Whole clicks leave the set length {show_mm(abs(leftover), unit)} {unit} too {'long' if leftover > 0 else 'short'}."


def _other(rotation: Rotation) -> Rotation:
    return "anticlockwise" if rotation == "clockwise" else "clockwise"

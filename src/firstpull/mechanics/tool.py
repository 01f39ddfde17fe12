"""The setting tool: its adjuster, its limits, and what it can still do."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, Literal, Self

from firstpull.errors import BadInput
from firstpull.mechanics import fields as field_readers
from firstpull.units import Length

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
    lengths=frozenset(("lead_per_turn", "stroke_max", "stroke_min")),
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

"""What is known openly about a practice job: the numbers on the insert's bag, on the tool and on the gauge."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, fields
from typing import Any, Literal, Self

from firstpull.errors import BadInput

PlusTurns = Literal["more stroke", "less stroke"]


@dataclass(frozen=True, slots=True)
class Nominals:
    """The open numbers of a practice job; lengths in mm, loads in N, pressures in bar, torques in N·m.

    The defaults are an invented M6 steel insert in a 2.16 mm stack on a pneumatic tool. ``plus_turns`` says what a
    positive turn does. ``start_long_mm`` is how much too long the mean set length in the air is at the start; None
    lets the seed choose. ``unit`` is what the gauge shows. ``torque_to_turn_nm`` is what a well set insert resists.
    """

    insert_length_mm: float = 15.5
    grip_min_mm: float = 0.5
    grip_max_mm: float = 3.0
    set_allowance_mm: float = 3.4
    set_allowance_min_mm: float = 3.2
    set_allowance_max_mm: float = 3.6
    thickness_mm: float = 2.16
    setting_load_n: float = 9000.0
    torque_to_turn_nm: float = 14.0
    lead_mm: float = 0.5
    clicks_per_turn: int | None = 12
    plus_turns: PlusTurns = "more stroke"
    stroke_min_mm: float = 0.5
    stroke_max_mm: float = 8.0
    load_max_n: float = 14000.0
    rated_pressure_bar: float = 6.2
    resolution_mm: float = 0.01
    unit: Literal["mm", "in"] = "mm"
    start_long_mm: float | None = None

    def __post_init__(self) -> None:
        for item in fields(self):
            _check_value(item.name, getattr(self, item.name))
        _check_order(self)

    @property
    def stroke_mm(self) -> float:
        """The stroke wanted in the job's stack (mm): grip_max − thickness + set allowance (handbook convention)."""
        return self.grip_max_mm - self.thickness_mm + self.set_allowance_mm

    @property
    def target_length_mm(self) -> float:
        """The set length wanted in the job's stack (mm)."""
        return round(self.insert_length_mm - self.stroke_mm, 6)

    def as_dict(self) -> dict[str, Any]:
        """Plain values for the record."""
        return asdict(self)

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> Self:
        """Read back what :meth:`as_dict` wrote. Raises BadInput for unknown names and unusable values."""
        unknown = sorted(set(data) - {item.name for item in fields(cls)})
        if unknown:
            raise BadInput(f"“{unknown[0]}” is not a number of a practice job.", where=unknown[0], hint="Leave it out.")
        return cls(**data)


_CHOICES = {"plus_turns": ("more stroke", "less stroke"), "unit": ("mm", "in")}
_MAY_BE_ZERO = ("grip_min_mm", "stroke_min_mm")


def _check_value(name: str, value: object) -> None:
    if name in _CHOICES:
        if value not in _CHOICES[name]:
            choices = "” or “".join(_CHOICES[name])
            raise BadInput(f"{value!r} is not usable as {name}.", where=name, hint=f"Use “{choices}”.")
        return
    if value is None and name in ("clicks_per_turn", "start_long_mm"):
        return
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise BadInput(f"{name} must be a finite number, not {value!r}.", where=name, hint="In mm, N, bar or N·m.")
    if name == "start_long_mm":
        if not -3 <= value <= 3:
            raise BadInput(f"{name} is {value}.", where=name, hint="Between −3 and 3 mm.")
        return
    least = 0 if name in _MAY_BE_ZERO else 1e-4
    if not least <= value <= 1e6:
        raise BadInput(f"{name} is {value}, out of range.", where=name, hint=f"From {least:g} to a million.")
    if name == "clicks_per_turn" and (not isinstance(value, int) or value > 1000):
        raise BadInput(f"{name} is {value}.", where=name, hint="A whole number up to 1000, or none.")


def _check_order(nominals: Nominals) -> None:
    for low, high in (
        ("grip_min_mm", "grip_max_mm"),
        ("set_allowance_min_mm", "set_allowance_mm"),
        ("set_allowance_mm", "set_allowance_max_mm"),
        ("stroke_min_mm", "stroke_max_mm"),
    ):
        if not getattr(nominals, low) < getattr(nominals, high):
            raise BadInput(f"{low} must be below {high}.", where=low, hint="Swap them or check the unit.")
    if not nominals.grip_min_mm <= nominals.thickness_mm <= nominals.grip_max_mm:
        raise BadInput("The stack is outside the grip.", where="thickness_mm", hint="Choose a stack within the grip.")
    if not nominals.grip_max_mm + nominals.set_allowance_max_mm < nominals.insert_length_mm:
        raise BadInput(
            "The insert is shorter than the stroke it would need.", where="insert_length_mm", hint="Check the unit."
        )

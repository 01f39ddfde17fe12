"""The insert (blind rivet nut) as its maker's or user's table describes it."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, Literal, Self

from firstpull.errors import BadInput
from firstpull.mechanics import fields as field_readers
from firstpull.units import Length

Head = Literal["flat", "countersunk", "low profile"]
End = Literal["open", "closed"]
Body = Literal["round", "knurled", "ribbed", "hexagonal"]
GripDatum = Literal["flange", "surface"]

HEADS: tuple[str, ...] = ("flat", "countersunk", "low profile")
ENDS: tuple[str, ...] = ("open", "closed")
BODIES: tuple[str, ...] = ("round", "knurled", "ribbed", "hexagonal")
GRIP_DATUMS: tuple[str, ...] = ("flange", "surface")


@dataclass(frozen=True, slots=True, kw_only=True)
class Insert:
    """One insert. Lengths are exact; loads in N, torque in N·m; ``None`` means not known.

    ``grip_datum`` says where the grip range counts from: "flange" = underside of the head; "surface" = the flush
    surface of a countersunk head, so that the head's height is part of the thickness. ``set_allowance`` is the stroke
    wanted at the maximum grip; its ``_min`` and ``_max`` are the maker's or user's limits for it.
    """

    thread: str
    length_free: Length
    grip_min: Length
    grip_max: Length
    end: End
    part: str = ""
    material: str = ""
    head: Head = "flat"
    body: Body = "round"
    set_allowance: Length | None = None
    set_allowance_min: Length | None = None
    set_allowance_max: Length | None = None
    flange_diameter: Length | None = None
    flange_thickness: Length | None = None
    body_diameter: Length | None = None
    hole_diameter: Length | None = None
    hole_tolerance: Length | None = None
    thread_length: Length | None = None
    unthreaded_length: Length | None = None
    counterbore_diameter: Length | None = None
    setting_load_n: float | None = None
    tightening_torque_max_nm: float | None = None
    head_marks: int | None = None
    grip_datum: GripDatum = "flange"
    note: str = ""

    @property
    def name(self) -> str:
        """The part number, or the thread and free length when it has none."""
        return self.part or f"{self.thread}, {self.length_free.typed or f'{self.length_free.mm:g} mm'} long"

    def to_json(self) -> dict[str, Any]:
        """The form held in the record."""
        return field_readers.to_record(self)

    @classmethod
    def from_json(cls, data: Any, *, where: str = "insert") -> Self:
        """Read back what :meth:`to_json` wrote. Raises BadInput naming the field."""
        given = field_readers.from_record(data, FORM, names=NAMES, where=where)
        for name in ("thread", "length_free", "grip_min", "grip_max", "end"):
            if given.get(name) is None:
                raise BadInput(f"“{name}” is missing.", where=f"{where}.{name}" if where else name)
        return cls(**given)


NAMES: tuple[str, ...] = tuple(field.name for field in fields(Insert))
LENGTH_NAMES: tuple[str, ...] = (
    "length_free",
    "grip_min",
    "grip_max",
    "set_allowance",
    "set_allowance_min",
    "set_allowance_max",
    "flange_diameter",
    "flange_thickness",
    "body_diameter",
    "hole_diameter",
    "hole_tolerance",
    "thread_length",
    "unthreaded_length",
    "counterbore_diameter",
)
FORM = field_readers.Form(
    lengths=frozenset(LENGTH_NAMES),
    numbers=frozenset(("setting_load_n", "tightening_torque_max_nm")),
    whole=frozenset(("head_marks",)),
    choices={"head": HEADS, "end": ENDS, "body": BODIES, "grip_datum": GRIP_DATUMS},
)

"""The insert (blind rivet nut) as its maker's or user's table describes it."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import lru_cache
from typing import Any, Literal, Self

from firstpull.errors import BadInput
from firstpull.mechanics import fields as field_readers
from firstpull.units import NM_PER_MM, Length

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
    wanted at the maximum grip; its ``_min`` and ``_max`` are the maker's or user's limits for it. ``pull_out_n``
    (towards the head), ``push_out_n`` (towards the blind side) and ``torque_to_turn_nm`` are the least tested values
    in a sheet like the job's.
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
    pull_out_n: float | None = None
    push_out_n: float | None = None
    torque_to_turn_nm: float | None = None
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
        for name in REQUIRED:
            if given.get(name) is None:
                raise BadInput(f"“{name}” is missing.", where=f"{where}.{name}" if where else name)
        return cls(**given)


NAMES: tuple[str, ...] = tuple(field.name for field in fields(Insert))
REQUIRED: tuple[str, ...] = ("thread", "length_free", "grip_min", "grip_max", "end")
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
    numbers=frozenset(("setting_load_n", "tightening_torque_max_nm", "pull_out_n", "push_out_n", "torque_to_turn_nm")),
    whole=frozenset(("head_marks",)),
    choices={"head": HEADS, "end": ENDS, "body": BODIES, "grip_datum": GRIP_DATUMS},
)


# An insert is a few diameters long. These lie far outside that on both sides, and inside of what millimetres taken for
# inches, or inches for millimetres, make of it: a judgement, not a standard.
SHORTEST_DIAMETERS = 0.5
LONGEST_DIAMETERS = 30.0


def check_insert(insert: Insert, *, where: str = "insert") -> None:
    """Raises BadInput with the field when the dimensions cannot all be true.

    Checked: every length positive and under 1 m; grip_min < grip_max; set allowance inside its own limits;
    body ≤ hole < flange; counterbore < body; the lengths of thread, shank and flange within the free length; and
    room for the stroke, L_free − flange − G_max − A ≥ thread length (the set protrusion does not depend on the stack).
    """
    _check_values(insert, where)
    if insert.grip_min >= insert.grip_max:
        raise BadInput(
            f"Minimum grip {insert.grip_min.typed} is not below maximum grip {insert.grip_max.typed}.",
            where=f"{where}.grip_min",
            hint="Swap them, or check the unit.",
        )
    if insert.grip_datum == "surface" and insert.head != "countersunk":
        raise BadInput(
            "Only a countersunk head can have its grip counted from the surface.",
            where=f"{where}.grip_datum",
            hint="Use “flange”.",
        )
    _check_allowance(insert, where)
    _below(insert, "counterbore_diameter", "body_diameter", where=where)
    _below(insert, "body_diameter", "hole_diameter", where=where, equal=True)
    _below(insert, "hole_diameter", "flange_diameter", where=where)
    _below(insert, "body_diameter", "flange_diameter", where=where)
    _check_lengths(insert, where)


def check_unit(insert: Insert, *, where: str = "insert") -> None:
    """Raises BadInput for a free length that no insert of its thread has: millimetres taken for inches, or the other way.

    For what is new; what is kept is read as it was taken.
    """
    shortest, longest = free_length_limits_nm(insert.thread)
    if not shortest <= insert.length_free.nanometres <= longest:
        raise BadInput(
            f"A free length of {insert.length_free.typed} cannot be that of an insert for {insert.thread}.",
            where=f"{where}.length_free",
            hint="Check its unit, mm or inches.",
        )


@lru_cache(maxsize=1024)
def free_length_limits_nm(thread: str) -> tuple[int, int]:
    """The shortest and the longest free length in nm, 0.5 and 30 diameters, that an insert for ``thread`` can have; 0 and
    1 m for a thread that is not held. Source: a judgement, wide enough for every insert and too narrow for a wrong unit."""
    from firstpull.trade.threads import thread as held

    try:
        major_mm = held(thread).major_mm
    except BadInput:
        return 0, 1000 * NM_PER_MM
    return round(SHORTEST_DIAMETERS * major_mm * NM_PER_MM), round(LONGEST_DIAMETERS * major_mm * NM_PER_MM)


def set_protrusion_nm(insert: Insert, allowance: Length) -> int | None:
    """What stands behind the stack after setting, in nm: L_free − head − G_max − A; ``None`` without the head's height.

    With the grip counted from the surface the head's height is part of the grip and is not taken off again. Source:
    S = (G_max − t) + A [common practice], so that the stack's thickness t cancels.
    """
    head = head_height_nm(insert)
    return (
        None
        if head is None
        else insert.length_free.nanometres - head - insert.grip_max.nanometres - allowance.nanometres
    )


def head_height_nm(insert: Insert) -> int | None:
    """How far the grip datum lies below the insert's top, in nm; ``None`` when the flange thickness is not known."""
    if insert.grip_datum == "surface":
        return 0
    return None if insert.flange_thickness is None else insert.flange_thickness.nanometres


def _check_values(insert: Insert, where: str) -> None:
    for name in ("thread", *LENGTH_NAMES, *(FORM.choices or {}), *sorted(FORM.numbers), "head_marks"):
        value = getattr(insert, name)
        if value is not None or name in REQUIRED:
            check_value(name, value, where=where)


def check_value(name: str, value: Any, *, where: str) -> None:
    """Raises BadInput when ``value`` cannot be that of field ``name``, whatever the other fields hold."""
    place = f"{where}.{name}"
    if name == "thread":
        if not value.strip():
            raise BadInput("The thread is missing.", where=place, hint="For example “M6” or “1/4-20 UNC”.")
    elif name in FORM.lengths:
        field_readers.length(value, place, zero=name in ("grip_min", "hole_tolerance", "set_allowance_min"))
    elif name in (FORM.choices or {}):
        field_readers.choice(value, (FORM.choices or {})[name], place)
    elif name in FORM.numbers:
        field_readers.positive(value, place)
    elif name in FORM.whole and not 0 <= field_readers.whole(value, place) <= 20:
        raise BadInput(f"{value} head marks cannot be right.", where=place, hint="A number from 0 to 20.")


def _check_allowance(insert: Insert, where: str) -> None:
    low, value, high = insert.set_allowance_min, insert.set_allowance, insert.set_allowance_max
    if low is not None and high is not None and low > high:
        raise BadInput(
            f"The lower limit of the set allowance, {low.typed}, is above the upper one, {high.typed}.",
            where=f"{where}.set_allowance_min",
        )
    if value is not None and ((low is not None and value < low) or (high is not None and value > high)):
        raise BadInput(f"The set allowance {value.typed} is outside its own limits.", where=f"{where}.set_allowance")


def _below(insert: Insert, smaller: str, larger: str, *, where: str, equal: bool = False) -> None:
    less, more = getattr(insert, smaller), getattr(insert, larger)
    if less is None or more is None or less < more or (equal and less == more):
        return
    names = smaller.replace("_", " "), larger.replace("_", " ")
    raise BadInput(
        f"The {names[0]} {less.typed} is not below the {names[1]} {more.typed}.",
        where=f"{where}.{smaller}",
        hint="Check both, and their units.",
    )


def _check_lengths(insert: Insert, where: str) -> None:
    parts = [part for part in (insert.thread_length, insert.unthreaded_length) if part is not None]
    if sum(part.nanometres for part in parts) > insert.length_free.nanometres:
        raise BadInput(
            "Thread and shank together are longer than the insert.",
            where=f"{where}.length_free",
            hint="Check the lengths and their units.",
        )
    allowance = insert.set_allowance or Length(0)
    left = (
        insert.length_free.nanometres
        - (head_height_nm(insert) or 0)
        - insert.grip_max.nanometres
        - allowance.nanometres
    )
    thread = insert.thread_length.nanometres if insert.thread_length is not None else 0
    if left <= 0 or left < thread:
        raise BadInput(
            f"A free length of {insert.length_free.typed} has no room for the maximum grip, the set allowance and the thread.",
            where=f"{where}.length_free",
            hint="Check the lengths and their units.",
        )

"""The catalogue's columns in plain words, and their values in the person's unit."""

from __future__ import annotations

from firstpull.units import LengthUnit
from firstpull.web.typed import show_force, show_torque

_LABELS = {
    "part": "name",
    "end": "far end",
    "length_free": "free length",
    "grip_min": "least grip",
    "grip_max": "greatest grip",
    "set_allowance": "set allowance",
    "set_allowance_min": "least set allowance",
    "set_allowance_max": "greatest set allowance",
    "flange_diameter": "flange across",
    "flange_thickness": "flange thick",
    "body_diameter": "body across",
    "hole_diameter": "hole, least",
    "hole_tolerance": "hole, plus",
    "thread_length": "thread long",
    "unthreaded_length": "shank long",
    "counterbore_diameter": "bore of the shank",
    "setting_load_n": "setting load",
    "tightening_torque_max_nm": "greatest tightening torque",
    "pull_out_n": "pull-out, tested",
    "push_out_n": "push-out, tested",
    "torque_to_turn_nm": "torque to turn, tested",
    "head_marks": "marks on the head",
    "grip_datum": "grip counts from",
}


def label(name: str) -> str:
    """What a column is called on a page."""
    return _LABELS.get(name, name.replace("_", " "))


def heading(name: str) -> str:
    """A heading under which a table may bring the column; it is understood as it stands."""
    return name.removesuffix("_nm").removesuffix("_n").replace("_", " ")


def plain_value(name: str, text: str, unit: LengthUnit) -> str:
    """The text of a value that is no length; a force or a torque with the person's unit."""
    if not text:
        return text
    if name.endswith("_n"):
        return show_force(float(text), unit)
    return show_torque(float(text), unit) if name.endswith("_nm") else text

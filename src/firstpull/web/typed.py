"""What people type besides lengths: torques, pressures and counts; slips of unit or digit; and answers that a page
carries along until all of them can be saved together.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from typing import Any
from urllib.parse import parse_qsl, urlencode

from firstpull.errors import BadInput
from firstpull.jobs.slips import slip_question
from firstpull.units import (
    NEWTON_PER_LBF,
    Length,
    LengthUnit,
    Pressure,
    Torque,
    parse_force,
    parse_length,
    parse_number,
    parse_pressure,
    parse_torque,
)

NM_PER_LBF_IN = 0.1129848290276167
BAR_PER_PSI = 0.06894757293168362
_MOST_COUNT = 10_000_000
_LOAD_EXAMPLE = {"mm": "“1.2 to 2 kN”", "in": "“250 to 400 lbf”"}


def torque_unit(unit: LengthUnit) -> str:
    """The torque unit beside lengths in ``unit``."""
    return "N·m" if unit == "mm" else "lbf·in"


def show_torque(value_nm: float, unit: LengthUnit) -> str:
    """A torque in N·m as the person reads it, with its unit."""
    return f"{value_nm:.1f} N·m" if unit == "mm" else f"{value_nm / NM_PER_LBF_IN:.0f} lbf·in"


def typed_torque(text: str, unit: LengthUnit, where: str) -> Torque:
    """A torque as typed; a bare number has the unit beside the field. Raises BadInput."""
    return parse_torque(_with_unit(text, torque_unit(unit), where), where=where)


def force_unit(unit: LengthUnit) -> str:
    """The force unit beside lengths in ``unit``."""
    return "kN" if unit == "mm" else "lbf"


def show_force(value_n: float, unit: LengthUnit, *, bare: bool = False) -> str:
    """A force in N as the person reads it: kN to 0.01, lbf whole."""
    value = f"{value_n / 1000:.2f}" if unit == "mm" else f"{value_n / float(NEWTON_PER_LBF):.0f}"
    return value if bare else f"{value} {force_unit(unit)}"


def show_force_range(low_n: float, high_n: float, unit: LengthUnit) -> str:
    """A load as the person reads it: one value, or from the lowest to the highest."""
    if low_n == high_n:
        return show_force(high_n, unit)
    return f"{show_force(low_n, unit, bare=True)} to {show_force(high_n, unit)}"


def field_force_range(low_n: float, high_n: float, unit: LengthUnit) -> str:
    """A load as it stands in its field: no unit, no more digits than it has."""
    one = 1000.0 if unit == "mm" else float(NEWTON_PER_LBF)
    low, high = (f"{round(value / one, 4 if unit == 'mm' else 1):g}" for value in (low_n, high_n))
    return high if low_n == high_n else f"{low} to {high}"


def typed_force_range(text: str, unit: LengthUnit, where: str) -> tuple[float, float]:
    """A load as typed, in N: one value, or the lowest and the highest as “1.2 to 2 kN”; a bare number has the unit
    beside the field, and a unit behind the second speaks for both. Raises BadInput."""
    low, *more = re.split(r"\s+to\s+|\s*[–—]\s*|(?<=[\w.])\s*-\s*(?=[\d.,])", text.strip())
    if len(more) > 1:
        raise BadInput("There is more than one range here.", where=where, hint=f"For example {_LOAD_EXAMPLE[unit]}.")
    high = more[0] if more else low
    behind = re.search(r"[A-Za-z].*", high)
    first, second = (_force_n(part, behind[0] if behind else force_unit(unit), where) for part in (low, high))
    if first > second:
        raise BadInput("The lowest load is above the highest.", where=where, hint="Swap them.")
    return first, second


def _force_n(text: str, unit: str, where: str) -> float:
    try:
        value = round(parse_force(_with_unit(text, unit, where), where=where).newtons, 9)
    except BadInput as problem:
        problem.hint = "A force in N, kN, lbf or kgf, or a range as “1.2 to 2 kN”."
        raise
    if not 0 <= value <= 1e7:
        raise BadInput("That load cannot be right.", where=where, hint="0 or more; check the unit.")
    return value


def pressure_unit(unit: LengthUnit) -> str:
    """The pressure unit beside lengths in ``unit``."""
    return "bar" if unit == "mm" else "psi"


def show_pressure(value_bar: float, unit: LengthUnit, *, bare: bool = False) -> str:
    """A pressure in bar as the person reads it."""
    value = f"{value_bar:.2f}" if unit == "mm" else f"{value_bar / BAR_PER_PSI:.1f}"
    return value if bare else f"{value} {pressure_unit(unit)}"


def typed_pressure(text: str, unit: LengthUnit, where: str) -> Pressure:
    """A pressure as typed; a bare number has the unit beside the field. Raises BadInput."""
    return parse_pressure(_with_unit(text, pressure_unit(unit), where), where=where)


def typed_count(text: str, where: str, what: str, *, hint: str = "A whole number, 0 or more.") -> int:
    """A count as typed. Raises BadInput with ``what`` when it is none."""
    plain = text.strip()
    if not (plain.isascii() and plain.isdigit() and len(plain) <= 8 and int(plain) < _MOST_COUNT):
        raise BadInput(what, where=where, hint=hint)
    return int(plain)


def typed_share(text: str, where: str) -> float:
    """A share as typed: 95 %, 95 or 0.95. Raises BadInput."""
    plain = text.strip().removesuffix("%").strip()
    try:
        value = float(parse_number(plain, where=where))
    except BadInput as problem:
        problem.what, problem.hint = f"“{plain[:40]}” is not a share.", "For example 30 %, or 0.3."
        raise
    return value / 100 if value >= 1 else value


def with_unit(text: str, unit: LengthUnit) -> str:
    """A length's text with its unit, so that it means the same when the person's unit changes. Raises BadInput."""
    plain = text.strip()
    try:
        parse_length(plain)
    except BadInput:
        return f"{plain} {unit}"
    return plain


def slip_of(
    value: Length, expected_mm: float | None, unit: LengthUnit, *, far_mm: float | None = None
) -> dict[str, Any] | None:
    """The question about a reading that is near 25.4×, 10× or a tenth of what was to be expected, or farther than
    ``far_mm`` from it; None when it is not. “It is right” keeps it."""
    question = slip_question(value, expected_mm, unit, far_mm=far_mm)
    if not question:
        return None
    return {
        "what": question,
        "hint": "Read it again, or say that it is right.",
        "buttons": [{"label": "It is right", "do": "keep"}],
    }


def read_answers(text: str, known: Collection[str]) -> dict[str, str]:
    """The answers that a page carried along. Raises BadInput for anything that no page of ours wrote."""
    wrong = BadInput("This page is not one of this bench.", where="answers", hint="Begin this coupon again.")
    try:
        pairs = parse_qsl(text, keep_blank_values=True, strict_parsing=bool(text), max_num_fields=24)
    except ValueError:
        raise wrong
    answers = dict(pairs)
    if len(answers) != len(pairs) or set(answers) - set(known) or any(len(value) > 60 for value in answers.values()):
        raise wrong
    return answers


def write_answers(answers: Mapping[str, str]) -> str:
    """The answers as a text for a hidden field or an address."""
    return urlencode(answers)


def _with_unit(text: str, unit: str, where: str) -> str:
    try:
        parse_number(text, where=where)
    except BadInput:
        return text
    return f"{text.strip()} {unit}"

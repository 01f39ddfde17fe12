"""How the mechanics' inputs are written to the record and read back."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from firstpull.errors import BadInput
from firstpull.units import Length

MAX_PLAIN_NUMBER = 1e9


@dataclass(frozen=True, slots=True)
class Form:
    """Which fields of a record are lengths, numbers, whole numbers and choices; every other field is text."""

    lengths: frozenset[str] = frozenset()
    numbers: frozenset[str] = frozenset()
    whole: frozenset[str] = frozenset()
    choices: Mapping[str, tuple[str, ...]] | None = None


def to_record(thing: Any) -> dict[str, Any]:
    """A dataclass of lengths, numbers and texts as plain JSON: a length as ``{"nm": int, "typed": str}``."""
    result: dict[str, Any] = {}
    for field in fields(thing):
        value = getattr(thing, field.name)
        result[field.name] = value.to_json() if isinstance(value, Length) else value
    return result


def from_record(data: Any, form: Form, *, names: tuple[str, ...], where: str) -> dict[str, Any]:
    """The keyword arguments that :func:`to_record` wrote. ``None`` = left out.

    Raises BadInput naming the field.
    """
    if not isinstance(data, dict):
        raise BadInput("This should be a set of named values.", where=where)
    unknown = sorted(str(key) for key in data if key not in names)
    if unknown:
        raise BadInput(f"“{unknown[0]}” is not known here.", where=where, hint="Known: " + ", ".join(names) + ".")
    return {
        name: _read(value, name, form, f"{where}.{name}" if where else name)
        for name, value in data.items()
        if value is not None
    }


def _read(value: Any, name: str, form: Form, place: str) -> Any:
    if name in form.lengths:
        return Length.from_json(value, where=place)
    if name in form.whole:
        return whole(value, place)
    if name in form.numbers:
        return number(value, place)
    choices = (form.choices or {}).get(name)
    if choices is not None:
        return choice(value, choices, place)
    if not isinstance(value, str):
        raise BadInput(f"{value!r} should be text.", where=place)
    return value


def number(value: Any, place: str) -> float:
    """A finite plain number below 1e9 in size. Raises BadInput."""
    usable = isinstance(value, int | float) and not isinstance(value, bool)
    if not usable or not math.isfinite(value) or abs(value) > MAX_PLAIN_NUMBER:
        raise BadInput(f"{value!r} is not a usable number.", where=place, hint="It must be finite.")
    return float(value)


def whole(value: Any, place: str) -> int:
    """A whole number. Raises BadInput."""
    if isinstance(value, bool) or not isinstance(value, int) or abs(value) > MAX_PLAIN_NUMBER:
        raise BadInput(f"{value!r} is not a whole number.", where=place)
    return value


def choice(value: Any, choices: tuple[str, ...], place: str) -> str:
    """One of the given words. Raises BadInput naming them."""
    if value not in choices:
        raise BadInput(
            f"“{value}” is not known here.",
            where=place,
            hint="Use " + " or ".join(f"“{word}”" for word in choices) + ".",
        )
    return str(value)


def positive(value: Any, place: str, *, zero: bool = False) -> float:
    """A finite number above zero (or from zero when ``zero``). Raises BadInput."""
    result = number(value, place)
    if result < 0 or (result == 0 and not zero):
        raise BadInput(f"{result:g} must be {'zero or more' if zero else 'more than zero'}.", where=place)
    return result


def length(value: Any, place: str, *, zero: bool = False) -> Length:
    """A length above zero (or from zero when ``zero``) and below 1 m. Raises BadInput."""
    if not isinstance(value, Length):
        raise BadInput(f"{value!r} is not a length.", where=place, hint="For example “3.05 mm”.")
    if value.nanometres < 0 or (value.nanometres == 0 and not zero):
        raise BadInput(
            f"“{value.typed or value.mm}” must be {'zero or more' if zero else 'more than zero'}.", where=place
        )
    if value.nanometres >= 1_000_000_000:
        raise BadInput(f"“{value.typed or value.mm}” is a metre or more.", where=place, hint="Check the unit.")
    return value

"""Reading one section of a job file: each value by its kind, each error with its place, unknown names refused."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from firstpull.errors import BadInput
from firstpull.exchange.names import nearest_hint
from firstpull.exchange.texts import rounded
from firstpull.units import (
    METRE_PER_INCH,
    NEWTON_PER_LBF,
    Length,
    parse_force,
    parse_length,
    parse_number,
    parse_pressure,
    parse_torque,
)

MAX_TEXT = 500

_STIFFNESS = {
    "kn/mm": Fraction(1),
    "n/mm": Fraction(1, 1000),
    "n/µm": Fraction(1),
    "mn/m": Fraction(1),
    "lbf/in": NEWTON_PER_LBF / METRE_PER_INCH / 10**6,
}
_AREA = {
    **dict.fromkeys(("mm²", "mm2"), Fraction(1)),
    **dict.fromkeys(("cm²", "cm2"), Fraction(100)),
    **dict.fromkeys(("in²", "in2", "sq in"), METRE_PER_INCH**2 * 10**6),
}


@dataclass(frozen=True, slots=True)
class Section:
    """One table of a job file: its ``values``, the ``place`` it stands at, and the names ``known`` in it."""

    values: Mapping[str, Any]
    place: str

    @classmethod
    def of(cls, values: Any, place: str, *, known: Iterable[str]) -> Section:
        """The section at ``place``. Raises BadInput when it is not a table or holds an unknown name."""
        if not isinstance(values, dict):
            raise BadInput(
                f"This should be a section with named values, not {described(values)}.",
                where=place,
                hint=f"Start it with [{place}].",
            )
        names = tuple(known)
        for key in values:
            if key not in names:
                raise BadInput(f"“{str(key)[:80]}” is not known here.", where=place, hint=nearest_hint(str(key), names))
        return cls(values, place)

    def at(self, key: str) -> str:
        """The place of one value."""
        return f"{self.place}.{key}" if self.place else key

    def has(self, key: str) -> bool:
        """Whether the value is given."""
        return key in self.values

    def text(self, key: str, default: str = "") -> str:
        """Plain text of one line, at most 500 characters."""
        if key not in self.values:
            return default
        value = self._string(key, 'title = "Tray lid"' if key == "title" else f'{key} = "…"')
        if len(value) > MAX_TEXT:
            raise BadInput(
                f"The text is {len(value)} characters long.", where=self.at(key), hint=f"At most {MAX_TEXT} are kept."
            )
        return value

    def required_text(self, key: str, *, example: str) -> str:
        """Text that must be there and not be blank."""
        value = self.text(key).strip()
        if not value:
            raise BadInput(f"“{key}” is missing.", where=self.at(key), hint=f"For example {key} = “{example}”.")
        return value

    def choice(self, key: str, options: tuple[str, ...], default: str | None = None) -> str | None:
        """One of the given words."""
        if key not in self.values:
            return default
        value = self._string(key, f'{key} = "{options[0]}"')
        if value not in options:
            raise BadInput(
                f"“{value[:60]}” is not known here.",
                where=self.at(key),
                hint="Use " + " or ".join(f"“{word}”" for word in options) + ".",
            )
        return value

    def length(self, key: str, *, parse: Callable[[str, str], Length] | None = None) -> Length | None:
        """A length with its unit; ``parse`` reads (text, place) where gauge numbers are allowed too."""
        if key not in self.values:
            return None
        return self.length_of(self.values[key], self.at(key), parse=parse)

    def length_of(self, value: Any, place: str, *, parse: Callable[[str, str], Length] | None = None) -> Length:
        """A length from a value that stands at ``place``."""
        if not isinstance(value, str):
            raise _not_text(value, place, "2.0 mm")
        return parse(value, place) if parse is not None else parse_length(value, where=place)

    def required_length(self, key: str, *, parse: Callable[[str, str], Length] | None = None) -> Length:
        """A length that must be there."""
        value = self.length(key, parse=parse)
        if value is None:
            raise BadInput(f"“{key}” is missing.", where=self.at(key), hint=f"For example {key} = “3.0 mm”.")
        return value

    def length_mm(self, key: str) -> float | None:
        """A length with its unit, in mm."""
        value = self.length(key)
        return None if value is None else value.mm

    def length_mm_or(self, key: str, default_mm: float) -> float:
        """A length with its unit, in mm, or the default."""
        value = self.length_mm(key)
        return default_mm if value is None else value

    def lengths(self, key: str, *, most: int) -> tuple[Length, ...]:
        """A list of lengths, each with its unit."""
        values = self.values.get(key, [])
        if not isinstance(values, list):
            raise BadInput(
                f"This should be a list, not {described(values)}.",
                where=self.at(key),
                hint=f"For example {key} = [“2.16 mm”, “2.19 mm”].",
            )
        if len(values) > most:
            raise BadInput(f"The list has {len(values)} values; at most {most} are read.", where=self.at(key))
        return tuple(self.length_of(value, f"{self.at(key)}[{index}]") for index, value in enumerate(values, start=1))

    def force_n(self, key: str) -> float | None:
        """A force with its unit, in N."""
        return self._measured(key, "9 kN", lambda text, place: parse_force(text, where=place).newtons)

    def torque_nm(self, key: str) -> float | None:
        """A torque with its unit, in N·m."""
        return self._measured(key, "9 Nm", lambda text, place: parse_torque(text, where=place).newton_metres)

    def pressure_bar(self, key: str) -> float | None:
        """A pressure with its unit, in bar."""
        return self._measured(key, "6.2 bar", lambda text, place: parse_pressure(text, where=place).bar)

    def force_range_n(self, key: str) -> tuple[float, float] | None:
        """A force with its unit, or a list of the lowest and the highest, in N."""
        value = self.values.get(key)
        if not isinstance(value, list):
            one = self.force_n(key)
            return None if one is None else (one, one)
        if len(value) != 2:
            raise BadInput(
                f"The list has {len(value)} values.",
                where=self.at(key),
                hint=f"Write one load, or the lowest and the highest: {key} = [“1 kN”, “2 kN”].",
            )
        low, high = (Section({key: one}, self.place).force_n(key) for one in value)
        if low is None or high is None or low > high:
            raise BadInput("The lowest load is above the highest.", where=self.at(key), hint="Swap them.")
        return low, high

    def temperature_c(self, key: str) -> float | None:
        """A temperature in °C or °F, in °C."""
        if key not in self.values:
            return None
        value = self._string(key, f'{key} = "80 °C"')
        match = re.fullmatch(r"\s*(-?\d{1,4}(?:[.,]\d{1,9})?)\s*°?\s*([CcFf])\s*", value, re.ASCII)
        if match is None:
            raise BadInput(
                f"“{value[:60]}” is not a temperature.", where=self.at(key), hint=f"For example {key} = “80 °C”."
            )
        degrees = float(match.group(1).replace(",", "."))
        return rounded(degrees if match.group(2) in "Cc" else (degrees - 32) / 1.8)

    def stiffness_kn_per_mm(self, key: str) -> float | None:
        """A stiffness with its unit, in kN/mm."""
        return self._measured(key, "100 kN/mm", lambda text, place: _with_unit(text, _STIFFNESS, "100 kN/mm", place))

    def area_mm2(self, key: str) -> float | None:
        """An area with its unit, in mm²."""
        return self._measured(key, "1250 mm²", lambda text, place: _with_unit(text, _AREA, "1250 mm²", place))

    def number(self, key: str, default: float | None = None) -> float | None:
        """A plain number of no unit."""
        if key not in self.values:
            return default
        value = self.values[key]
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise BadInput(
                f"This should be a plain number, not {described(value)}.",
                where=self.at(key),
                hint=f"For example {key} = 0.2",
            )
        if not math.isfinite(value) or abs(value) > 1e9:
            raise BadInput(
                f"{value:g} is not a usable number." if isinstance(value, float) else "The number is too large.",
                where=self.at(key),
            )
        return rounded(float(value))

    def whole(self, key: str) -> int | None:
        """A whole number of no unit."""
        if key not in self.values:
            return None
        value = self.values[key]
        if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 10**6:
            raise BadInput(
                f"This should be a whole number, not {described(value)}.",
                where=self.at(key),
                hint=f"For example {key} = 12",
            )
        return value

    def yes_no(self, key: str) -> bool | None:
        """``true`` or ``false``."""
        value = self.values.get(key)
        if value is not None and not isinstance(value, bool):
            raise BadInput(
                f"This should be true or false, not {described(value)}.",
                where=self.at(key),
                hint=f"Write {key} = true, without quotes.",
            )
        return value

    def _string(self, key: str, example: str) -> str:
        value = self.values[key]
        if not isinstance(value, str):
            raise BadInput(
                f"This should be text in quotes, not {described(value)}.",
                where=self.at(key),
                hint=f"For example {example}",
            )
        return value

    def _measured(self, key: str, example: str, read: Callable[[str, str], float]) -> float | None:
        if key not in self.values:
            return None
        value = self.values[key]
        if not isinstance(value, str):
            raise _not_text(value, self.at(key), example)
        result = read(value, self.at(key))
        if not 0 <= result <= 1e9:
            raise BadInput(f"“{value}” cannot be right.", where=self.at(key), hint=f"For example {key} = “{example}”.")
        return rounded(result)


def described(value: Any) -> str:
    """A few words on what a TOML value is."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return f"the number {value}" if abs(value) < 1e15 else "a very large number"
    if isinstance(value, str):
        return f"the text “{value[:60]}”"
    if isinstance(value, list):
        return "a list"
    return "a section" if isinstance(value, dict) else "a date"


def _not_text(value: Any, place: str, example: str) -> BadInput:
    if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e9:
        unit = example.split(" ", 1)[1]
        return BadInput(
            f"{value} has no unit.",
            where=place,
            hint=f"Write it in quotes with its unit, for example “{value} {unit}”.",
        )
    return BadInput(
        f"This should be a value with its unit, not {described(value)}.",
        where=place,
        hint=f"Write it in quotes, for example “{example}”.",
    )


def _with_unit(text: str, units: Mapping[str, Fraction], example: str, place: str) -> float:
    match = re.fullmatch(r"\s*([+\-\d.,/ ]*?\d[.,]?)\s*([^\d\s.,][^\n]{0,11}?)\s*", text) if len(text) <= 60 else None
    scale = units.get(match.group(2).lower()) if match else None
    if match is None or scale is None:
        raise BadInput(
            f"“{text.strip()[:60]}” is not a number with one of the units {', '.join(units)}.",
            where=place,
            hint=f"For example “{example}”.",
        )
    return float(parse_number(match.group(1), where=place) * scale)

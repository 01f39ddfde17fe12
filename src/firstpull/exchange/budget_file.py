"""An uncertainty budget as a TOML file: a model, its inputs with their doubt, and correlations between them."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast, get_args

import numpy as np

from firstpull.errors import BadInput
from firstpull.exchange.formula import read_formula
from firstpull.exchange.job_fields import Section
from firstpull.statistics.uncertainty_inputs import Correlation, Distribution, Model, Quantity, from_half_width

_TOP = (
    "title",
    "model",
    "unit",
    "confidence",
    "digits",
    "second_order",
    "correlate_readings",
    "inputs",
    "correlations",
)
_INPUT = (
    "value", "u", "half_width", "expanded", "factor", "readings", "distribution", "degrees_of_freedom", "unit", "limit_doubt",
)  # fmt: skip
_MOST_BYTES = 1_000_000


@dataclass(frozen=True, slots=True)
class BudgetFile:
    """What the file says; ``unit`` is that of the result."""

    title: str
    unit: str
    model: Model
    quantities: tuple[Quantity, ...]
    correlations: tuple[Correlation, ...]
    confidence: float
    digits: int
    second_order: bool


def read_budget(data: bytes, *, filename: str) -> BudgetFile:
    """Read a budget. Each input has a ``value`` and one of ``u``, ``half_width``, ``expanded`` (with ``factor``, 2 unless
    said), or else ``readings``, whose mean and standard error are taken. Raises BadInput with the place."""
    if len(data) > _MOST_BYTES:
        raise BadInput("This file is too long for a budget.", where=filename, hint="At most 1 MB.")
    try:
        raw = tomllib.loads(data.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as problem:
        raise BadInput(f"This is not TOML: {problem}.", where=filename, hint="See examples/end_gauge.toml.")
    top = Section.of(raw, filename, known=_TOP).values
    inputs = top.get("inputs")
    if not isinstance(inputs, dict) or not inputs:
        raise BadInput("There is no input.", where=filename, hint="Write [inputs.name] with value and u.")
    quantities, series = [], {}
    for name, values in inputs.items():
        place = f"{filename} inputs.{name}"
        if not name.isidentifier() or not name.isascii():
            raise BadInput(
                f"“{name}” can not stand in a formula.", where=place, hint="Letters, digits and _, such as d_alpha."
            )
        section = Section.of(values, place, known=_INPUT)
        quantities.append(_quantity(name, section))
        if "readings" in section.values:
            series[name] = _readings(section)
    model = read_formula(_text(top, "model", filename), frozenset(inputs), where=f"{filename} model")
    return BudgetFile(
        title=_text(top, "title", filename, other=filename),
        unit=_text(top, "unit", filename, other=""),
        model=model,
        quantities=tuple(quantities),
        correlations=_correlations(top, series, filename),
        confidence=_number(top, "confidence", filename, other=0.95),
        digits=round(_number(top, "digits", filename, other=2)),
        second_order=_flag(top, "second_order", filename),
    )


def _quantity(name: str, section: Section) -> Quantity:
    values, place = section.values, section.place
    ways = [way for way in ("u", "half_width", "expanded", "readings") if way in values]
    if len(ways) != 1:
        raise BadInput("Exactly one of u, half_width, expanded or readings.", where=place, hint="How is it known?")
    shape = _text(values, "distribution", place, other="rectangular" if ways == ["half_width"] else "normal")
    if shape not in get_args(Distribution):
        raise BadInput(
            f"“{shape}” is not a distribution known here.",
            where=place,
            hint=f"One of {', '.join(get_args(Distribution))}.",
        )
    distribution = cast("Distribution", shape)
    unit = _text(values, "unit", place, other="")
    freedom = _number(values, "degrees_of_freedom", place) if "degrees_of_freedom" in values else None
    if ways == ["readings"]:
        readings = _readings(section)
        mean = math.fsum(readings) / len(readings)
        error = math.sqrt(math.fsum((one - mean) ** 2 for one in readings) / (len(readings) - 1) / len(readings))
        return Quantity(
            name=name,
            value=mean,
            u=error,
            degrees_of_freedom=float(len(readings) - 1),
            unit=unit,
            distribution=distribution,
        )
    value = _number(values, "value", place)
    if ways == ["half_width"]:
        if shape == "normal":
            raise BadInput(
                "A half width has no normal distribution.", where=place, hint="rectangular, triangular, arcsine."
            )
        made = from_half_width(name, value, _number(values, "half_width", place), distribution=distribution, unit=unit)
        return Quantity(
            name=name, value=made.value, u=made.u, distribution=distribution, unit=unit, degrees_of_freedom=freedom
        )
    factor = _number(values, "factor", place, other=2.0)
    if not factor > 0:
        raise BadInput("A factor is above 0.", where=place, hint="k = 2 is usual.")
    u = _number(values, "u", place) if ways == ["u"] else _number(values, "expanded", place) / factor
    return Quantity(
        name=name,
        value=value,
        u=u,
        distribution=distribution,
        degrees_of_freedom=freedom,
        unit=unit,
        limit_doubt=_number(values, "limit_doubt", place, other=0.0),
    )


def _readings(section: Section) -> list[float]:
    readings = section.values["readings"]
    if not isinstance(readings, list) or not 2 <= len(readings) <= 100_000 or not all(map(_is_number, readings)):
        raise BadInput("readings must be two numbers or more.", where=section.place, hint="readings = [5.007, 4.994]")
    return [float(one) for one in readings]


def _correlations(top: Any, series: dict[str, list[float]], filename: str) -> tuple[Correlation, ...]:
    found = []
    given = top.get("correlations", [])
    if not isinstance(given, list):
        raise BadInput("correlations is a list.", where=filename, hint="Write [[correlations]].")
    for place, one in enumerate(given, 1):
        where = f"{filename} correlations {place}"
        values = Section.of(one, where, known=("between", "coefficient")).values
        pair = values.get("between")
        if not isinstance(pair, list) or len(pair) != 2 or not all(isinstance(name, str) for name in pair):
            raise BadInput("between names two inputs.", where=where, hint='between = ["V", "I"]')
        found.append(Correlation(pair[0], pair[1], _number(values, "coefficient", where)))
    if _flag(top, "correlate_readings", filename):
        found += _of_series(series, filename)
    return tuple(found)


def _of_series(series: dict[str, list[float]], filename: str) -> list[Correlation]:
    """Correlations of inputs that were read together (JCGM 100 5.2.3)."""
    names: Sequence[str] = list(series)
    if len({len(values) for values in series.values()}) != 1 or len(names) < 2:
        raise BadInput(
            "Readings taken together are equally many, of two inputs or more.",
            where=filename,
            hint="correlate_readings",
        )
    if any(len(set(values)) == 1 for values in series.values()):
        raise BadInput("Readings that are all equal follow nothing.", where=filename, hint="Leave the correlation out.")
    table = np.corrcoef(np.array([series[name] for name in names]))
    return [
        Correlation(names[i], names[j], float(np.clip(table[i, j], -1, 1)))
        for i in range(len(names))
        for j in range(i + 1, len(names))
    ]


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < 1e300


def _number(values: Any, name: str, where: str, *, other: float | None = None) -> float:
    if name not in values and other is not None:
        return other
    value = values.get(name)
    if not _is_number(value):
        raise BadInput(f"{name} must be a number.", where=where, hint=f"{name} = 0.5")
    return float(value)


def _text(values: Any, name: str, where: str, *, other: str | None = None) -> str:
    if name not in values and other is not None:
        return other
    value = values.get(name)
    if not isinstance(value, str):
        raise BadInput(f"{name} must be a text.", where=where, hint=f'{name} = "…"')
    return value


def _flag(values: Any, name: str, where: str) -> bool:
    value = values.get(name, False)
    if not isinstance(value, bool):
        raise BadInput(f"{name} is true or false.", where=where, hint=f"{name} = true")
    return value

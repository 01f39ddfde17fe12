"""The stack: everything that the insert clamps, from the grip datum to the blind side."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any, Literal, Self

from firstpull.errors import BadInput
from firstpull.mechanics import fields as field_readers
from firstpull.units import NM_PER_MM, Length, LengthUnit, show_mm

Basis = Literal["measured", "worst case"]


@dataclass(frozen=True, slots=True)
class Layer:
    """One sheet, shim or coating. ``tolerance`` is ± on the thickness; ``None`` = not known.

    A coating's thickness is that of one face; ``faces`` says how many faces of the stack carry it (faying faces
    included). Everything else has one.
    """

    material: str
    thickness: Length
    tolerance: Length | None = None
    coating: bool = False
    faces: int = 1

    def to_json(self) -> dict[str, Any]:
        """The form held in the record."""
        return field_readers.to_record(self)

    @classmethod
    def from_json(cls, data: Any, *, where: str = "layer") -> Self:
        """Read back what :meth:`to_json` wrote. Raises BadInput naming the field."""
        coating = data.get("coating") if isinstance(data, dict) else None
        if coating is not None and not isinstance(coating, bool):
            raise BadInput(f"{coating!r} should be true or false.", where=f"{where}.coating")
        rest = {name: value for name, value in data.items() if name != "coating"} if isinstance(data, dict) else data
        given = field_readers.from_record(rest, _LAYER_FORM, names=_LAYER_NAMES, where=where)
        for name in ("material", "thickness"):
            if given.get(name) is None:
                raise BadInput(f"“{name}” is missing.", where=f"{where}.{name}")
        return cls(**given, coating=bool(coating))


@dataclass(frozen=True, slots=True)
class Stack:
    """Layers from the head side to the blind side, and thickness readings of the clamped, coated stack.

    ``gauge_error_mm`` is the limit of the gauge's error (±), ``resolution_mm`` its smallest step.
    """

    layers: tuple[Layer, ...]
    readings: tuple[Length, ...] = ()
    gauge_error_mm: float = 0.02
    resolution_mm: float = 0.01

    def to_json(self) -> dict[str, Any]:
        """The form held in the record."""
        return {
            "layers": [layer.to_json() for layer in self.layers],
            "readings": [reading.to_json() for reading in self.readings],
            "gauge_error_mm": self.gauge_error_mm,
            "resolution_mm": self.resolution_mm,
        }

    @classmethod
    def from_json(cls, data: Any, *, where: str = "stack") -> Self:
        """Read back what :meth:`to_json` wrote. Raises BadInput naming the place."""
        if (
            not isinstance(data, dict)
            or not isinstance(data.get("layers"), list)
            or not isinstance(data.get("readings", []), list)
        ):
            raise BadInput("A recorded stack has a list of layers and a list of readings.", where=where)
        layers = tuple(
            Layer.from_json(row, where=f"{where}.layer[{index}]") for index, row in enumerate(data["layers"], 1)
        )
        readings = tuple(
            Length.from_json(row, where=f"{where}.measured[{index}]")
            for index, row in enumerate(data.get("readings", []), 1)
        )
        numbers = {
            name: field_readers.number(data[name], f"{where}.{name}")
            for name in ("gauge_error_mm", "resolution_mm")
            if name in data
        }
        return cls(layers, readings, **numbers)


@dataclass(frozen=True, slots=True)
class Thickness:
    """The stack's thickness in mm: nominal, limits, and what was measured (``None`` without readings).

    ``low_mm`` and ``high_mm`` are what a setting must serve; ``value_mm`` is what its stroke is computed for.
    """

    nominal_mm: float
    worst_low_mm: float
    worst_high_mm: float
    rss_low_mm: float
    rss_high_mm: float
    measured_mean_mm: float | None
    measured_u_mm: float | None
    low_mm: float
    high_mm: float
    basis: Basis
    notes: tuple[str, ...]

    @property
    def value_mm(self) -> float:
        """The measured mean, or the nominal thickness without readings (mm)."""
        return self.nominal_mm if self.measured_mean_mm is None else self.measured_mean_mm


_LAYER_NAMES = tuple(field.name for field in fields(Layer) if field.name != "coating")
_LAYER_FORM = field_readers.Form(lengths=frozenset(("thickness", "tolerance")), whole=frozenset(("faces",)))
_MAX_LAYERS = 200
_MAX_READINGS = 10_000


def check_stack(stack: Stack) -> None:
    """Raises BadInput naming the layer or reading that cannot be right."""
    if not stack.layers:
        raise BadInput(
            "The stack has no layers.", where="stack.layer", hint="Name at least one sheet and its thickness."
        )
    if len(stack.layers) > _MAX_LAYERS or len(stack.readings) > _MAX_READINGS:
        raise BadInput(
            "The stack has too many layers or readings.",
            where="stack",
            hint=f"At most {_MAX_LAYERS} layers and {_MAX_READINGS} readings.",
        )
    for index, layer in enumerate(stack.layers, 1):
        place = f"stack.layer[{index}]"
        field_readers.length(layer.thickness, f"{place}.thickness")
        if layer.tolerance is not None:
            field_readers.length(layer.tolerance, f"{place}.tolerance", zero=True)
            if layer.tolerance > layer.thickness:
                raise BadInput(
                    f"± {layer.tolerance.typed} is more than the layer itself.",
                    where=f"{place}.tolerance",
                    hint="Check the unit; the tolerance is ± on the thickness.",
                )
        if not 1 <= field_readers.whole(layer.faces, f"{place}.faces") <= _MAX_LAYERS:
            raise BadInput(
                f"{layer.faces} faces cannot be right.",
                where=f"{place}.faces",
                hint="A sheet that is coated on both sides has 2.",
            )
        if layer.faces != 1 and not layer.coating:
            raise BadInput(
                "Only a coating counts by faces.",
                where=f"{place}.faces",
                hint="Mark the layer as a coating, or write one layer a sheet.",
            )
    for index, reading in enumerate(stack.readings, 1):
        field_readers.length(reading, f"stack.measured[{index}]")
    field_readers.positive(stack.gauge_error_mm, "stack.gauge_error_mm", zero=True)
    if field_readers.positive(stack.resolution_mm, "stack.resolution_mm") < 1e-6:
        raise BadInput(
            "The gauge's step is under a nanometre.", where="stack.resolution_mm", hint="In mm, for example 0.01."
        )


def thickness(stack: Stack, *, unit: LengthUnit = "mm") -> Thickness:
    """The stack's thickness and its limits, in mm; ``unit`` is that of the lengths in the notes.

    Nominal and worst case are plain sums; the root-sum-square limits take the layers' tolerances as independent
    (faces of one coating are not: they come from one bath, so their tolerances add). A coating counts once per coated
    face. With readings, the mean is used and the limits enclose every reading ± the gauge's own expanded
    uncertainty and the mean ± its expanded uncertainty (95 %, Student's t on the effective degrees of freedom:
    JCGM 100:2008, 4.2, 4.3.7 and G.4.1). Raises BadInput.
    """
    check_stack(stack)
    nominal = sum(layer.thickness.nanometres * layer.faces for layer in stack.layers)
    spreads = [layer.tolerance.nanometres * layer.faces for layer in stack.layers if layer.tolerance is not None]
    worst = sum(spreads)
    together = math.sqrt(sum(spread * spread for spread in spreads))
    notes = _tolerance_notes(stack)
    mean = expanded = None
    low, high = float(nominal - worst), float(nominal + worst)
    if stack.readings:
        readings = [reading.nanometres for reading in stack.readings]
        mean = sum(readings) / len(readings)
        expanded, own = _expanded_nm(readings, stack)
        low = min(min(readings) - own, mean - expanded)
        high = max(max(readings) + own, mean + expanded)
        notes = _reading_notes(nominal, worst, mean, expanded, len(readings), unit)
    return Thickness(
        nominal_mm=_mm(nominal),
        worst_low_mm=_mm(nominal - worst),
        worst_high_mm=_mm(nominal + worst),
        rss_low_mm=_mm(nominal - together),
        rss_high_mm=_mm(nominal + together),
        measured_mean_mm=None if mean is None else _mm(mean),
        measured_u_mm=None if expanded is None else _mm(expanded),
        low_mm=_mm(max(low, 0.0)),
        high_mm=_mm(high),
        basis="measured" if stack.readings else "worst case",
        notes=notes,
    )


def has_soft_layer(stack: Stack) -> bool:
    """Whether a layer may be crushed or split: composite, plastic, wood."""
    from firstpull.trade.materials import sheet_material

    held = (sheet_material(layer.material) for layer in stack.layers if not layer.coating)
    return any(material is not None and material.soft for material in held)


def _expanded_nm(readings: list[int], stack: Stack) -> tuple[float, float]:
    """Expanded uncertainty (95 %) of the readings' mean, and that of the gauge alone, in nm."""
    from firstpull.statistics.measurement import coverage_factor, measured, rectangular, resolution_uncertainty

    resolution, error = stack.resolution_mm * NM_PER_MM, stack.gauge_error_mm * NM_PER_MM
    own = coverage_factor(None) * math.hypot(rectangular(error), resolution_uncertainty(resolution))
    return measured(readings, resolution=resolution, limit_error=error).expanded, own


def _tolerance_notes(stack: Stack) -> tuple[str, ...]:
    without = [layer.material for layer in stack.layers if layer.tolerance is None]
    notes = []
    if without:
        notes.append(
            f"No tolerance is given for {', '.join(f'“{name}”' for name in without)}: the thinnest and thickest stack leave its spread out."
        )
    notes.append("The thickness is nominal. Measure the real stack, coated and clamped, before the first pull.")
    return tuple(notes)


def _reading_notes(
    nominal: int, worst: int, mean: float, expanded: float, count: int, unit: LengthUnit
) -> tuple[str, ...]:
    notes = []
    apart = mean - nominal
    if abs(apart) > expanded:
        text = (
            f"Measured {_shown(mean, unit)} is {_shown(abs(apart), unit)} {'more' if apart > 0 else 'less'} than the nominal "
            f"{_shown(nominal, unit)}: the measured thickness is used."
        )
        if abs(apart) > expanded + worst:
            text += " That is outside the layers' tolerances: look for a missing or extra layer, coating, burrs, or loose clamping."
        notes.append(text)
    if count < 3:
        notes.append(
            f"{'One reading shows' if count == 1 else 'Two readings show'} little of the spread: take at least three, at different places."
        )
    return tuple(notes)


def _shown(value_nm: float, unit: LengthUnit) -> str:
    return f"{show_mm(value_nm / NM_PER_MM, unit, decimals=3 if unit == 'mm' else None)} {unit}"


def _mm(value_nm: float) -> float:
    return round(value_nm / NM_PER_MM, 6)

"""The doubt of a reading, line by line: what the gauge, the hand, the blocks and the warmth of the part bring in.

Also budgets of any other measurement, from a file. The answer is plain data with a ``schema``; lengths in mm.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from firstpull.errors import BadInput
from firstpull.exchange.budget_file import BudgetFile
from firstpull.jobs.gauge_studies import measurement_uncertainty
from firstpull.jobs.workshop import Book
from firstpull.statistics.uncertainty_budget import Budget, uncertainty_budget
from firstpull.statistics.uncertainty_inputs import Distribution, Quantity, from_half_width
from firstpull.statistics.uncertainty_simulation import Simulated, check_budget, simulate_uncertainty

REFERENCE_C = 20.0
"""Lengths are stated at 20 °C (ISO 1:2022)."""
EXPANSIONS: dict[str, float] = {"aluminium": 23.0e-6, "steel": 11.5e-6, "stainless": 16.0e-6, "brass": 19.0e-6}
"""Linear expansion in 1/K near 20 °C, known to ± 10 % (handbook values, from memory; steel as in JCGM 100 H.1)."""
_EXPANSION_SHARE = 0.1
_GAUGE = "steel"
_RECTANGULAR = frozenset({"limit of error", "resolution", "bias"})


@dataclass(frozen=True, slots=True)
class Conditions:
    """How a length is read: its ``length_mm``, the ``material`` of the part, the room’s temperature and how far it may be
    off (°C, K), how far part and gauge may differ (K), and the mean of how many ``readings``."""

    length_mm: float
    material: str = "steel"
    temperature_c: float = 20.0
    temperature_half_k: float = 3.0
    difference_half_k: float = 1.0
    readings: int = 1


@dataclass(frozen=True, slots=True)
class Doubt:
    """A budget with its simulation; ``correction_mm`` is what brings the reading to 20 °C, None for a file."""

    budget: Budget
    simulated: Simulated
    holds: bool
    correction_mm: float | None
    source: str


def doubt_of_reading(book: Book, gauge_id: str, at: Conditions, *, confidence: float = 0.95) -> Doubt:
    """The doubt of one length read with a gauge of the shop, corrected to 20 °C. Raises NotFound, BadInput.

    Model: L = reading + gauge, hand, step and bias (each 0 ± its doubt) − L·((α_part − α_gauge)·Δt + α_part·δt), with Δt
    the gauge’s temperature less 20 °C and δt the part’s less the gauge’s. Source: JCGM 100 H.1 equations (H.2), (H.3).
    """
    _check(at)
    found = measurement_uncertainty(book, gauge_id, readings=at.readings)
    if found is None:
        raise BadInput("Which gauge?", where="gauge", hint="Name one of the shop’s gauges.")
    part, scale = EXPANSIONS[at.material], EXPANSIONS[_GAUGE]
    reading = Quantity(name="reading", value=at.length_mm, u=0.0, unit="mm")
    own = [
        Quantity(name=name, value=0.0, u=u, degrees_of_freedom=_freedom(freedom), unit="mm", distribution=_shape(name))
        for name, u, freedom in found.parts
    ]
    warm = at.temperature_c - REFERENCE_C
    thermal = [
        from_half_width("expansion of the part", part, _EXPANSION_SHARE * part, unit="1/K"),
        from_half_width("expansion of the gauge", scale, _EXPANSION_SHARE * scale, unit="1/K"),
        from_half_width("room less 20 °C", warm, at.temperature_half_k, unit="K"),
        from_half_width("part less gauge", 0.0, at.difference_half_k, unit="K"),
    ]
    names = [one.name for one in own]

    def length(x: Mapping[str, Any]) -> Any:
        growth = (x["expansion of the part"] - x["expansion of the gauge"]) * x["room less 20 °C"]
        growth = growth + x["expansion of the part"] * x["part less gauge"]
        return x["reading"] * (1 - growth) + sum(x[name] for name in names)

    quantities = [reading, *own, *thermal]
    budget = uncertainty_budget(length, quantities, confidence=confidence)
    simulated = simulate_uncertainty(
        length, quantities, generator=_generator(quantities), confidence=confidence, most_trials=400_000, digits=1
    )
    return Doubt(
        budget, simulated, check_budget(budget, simulated).holds, budget.value - at.length_mm, source=found.source
    )


def doubt_of_file(file: BudgetFile, *, most_trials: int = 2_000_000) -> Doubt:
    """The budget that a file describes, with its simulation. Raises BadInput."""
    budget = uncertainty_budget(
        file.model,
        file.quantities,
        correlations=file.correlations,
        confidence=file.confidence,
        second_order=file.second_order,
    )
    simulated = simulate_uncertainty(
        file.model,
        file.quantities,
        generator=_generator(file.quantities),
        correlations=file.correlations,
        confidence=file.confidence,
        digits=file.digits,
        most_trials=most_trials,
    )
    return Doubt(budget, simulated, check_budget(budget, simulated).holds, None, source=file.title)


def doubt_answer(found: Doubt, *, unit: str = "mm") -> dict[str, Any]:
    """``firstpull/uncertainty-budget/1``: value, standard_uncertainty, expanded, coverage_factor, degrees_of_freedom,
    lines and simulation, in ``unit``."""
    budget = asdict(found.budget)
    lines = budget.pop("lines")
    return {
        "schema": "firstpull/uncertainty-budget/1",
        "unit": unit,
        "source": found.source,
        **budget,
        "lines": list(lines),
        "correction": found.correction_mm,
        "simulation": {**asdict(found.simulated), "agrees": found.holds},
        "notes": list(found.budget.notes),
    }


def _check(at: Conditions) -> None:
    if not 0 < at.length_mm <= 1000:
        raise BadInput("A length above 0 and up to 1000 mm.", where="length", hint="What is read.")
    if at.material not in EXPANSIONS:
        raise BadInput(
            f"“{at.material}” is not a material known here.", where="material", hint=f"One of {', '.join(EXPANSIONS)}."
        )
    if not -40 <= at.temperature_c <= 80:
        raise BadInput("Between −40 and 80 °C.", where="temperature", hint="The room where it is measured.")
    for name, value in (("temperature_half", at.temperature_half_k), ("difference_half", at.difference_half_k)):
        if not 0 <= value <= 50:
            raise BadInput("Between 0 and 50 K.", where=name, hint="How far it may be off, ±.")


def _shape(name: str) -> Distribution:
    return "rectangular" if name in _RECTANGULAR else "normal"


def _freedom(freedom: float | None) -> float | None:
    """At least 1: fewer, as Satterthwaite’s rule may give, would ask for an endless factor."""
    return None if freedom is None else max(1.0, freedom)


def _generator(quantities: Sequence[Quantity]) -> np.random.Generator:
    """The same inputs are simulated with the same draws, so that the same question has the same answer."""
    text = repr([(one.name, one.value, one.u, one.distribution) for one in quantities])
    return np.random.default_rng(int(hashlib.sha256(text.encode()).hexdigest()[:16], 16))


def largest_line(budget: Budget) -> tuple[str, float]:
    """The line that brings most, and its share in percent; "" when nothing is in doubt."""
    line = max(budget.lines, key=lambda one: one.contribution)
    return (line.name, line.percent) if line.contribution > 0 and math.isfinite(line.percent) else ("", 0.0)

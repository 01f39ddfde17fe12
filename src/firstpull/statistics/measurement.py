"""What a few readings of one thing are worth: mean, standard uncertainty, expanded uncertainty.

Source: JCGM 100:2008, Guide to the expression of uncertainty in measurement (GUM): type A 4.2, type B 4.3, combining
5.1.2, effective degrees of freedom and coverage factor annex G.4.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_number, a_share, some_numbers
from firstpull.statistics.moments import moments

_LARGE_FREEDOM = 1e9


@dataclass(frozen=True, slots=True)
class Measured:
    """A measured mean with its doubt, in the unit of the readings.

    ``expanded`` = ``coverage_factor`` · ``standard_uncertainty`` holds the true value with the confidence asked for.
    ``degrees_of_freedom`` is None when only type B parts count (taken as exactly known). ``sd`` is the scatter of the
    readings, None for a single one. ``notes`` say what a person should know about the number.
    """

    mean: float
    standard_uncertainty: float
    expanded: float
    coverage_factor: float
    degrees_of_freedom: float | None
    n: int
    sd: float | None
    notes: tuple[str, ...]


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value known only to lie within ± ``half_width`` (0 or more, any unit).

    Raises BadInput. Source: GUM 4.3.7, equation (7): u = a/√3.
    """
    return a_number(half_width, "half_width", least=0) / math.sqrt(3)


def resolution_uncertainty(step: float) -> float:
    """Standard uncertainty left by an indication that moves in ``step`` (0 or more, any unit): 0.29 · step.

    Raises BadInput. Source: GUM F.2.2.1: u = step/√12.
    """
    return rectangular(a_number(step, "step", least=0) / 2)


def effective_degrees_of_freedom(parts: Sequence[tuple[float, float | None]]) -> float | None:
    """Degrees of freedom of a sum of independent parts (standard uncertainty, its degrees of freedom or None).

    None stands for “exactly known”, and is the answer when every part that counts is. At least one part, all
    uncertainties 0 or more. Raises BadInput. Source: GUM G.4.1, equation (G.2b), Welch–Satterthwaite.
    """
    if len(parts) == 0:
        raise BadInput("There is no part to combine.", where="parts", hint="Give (uncertainty, degrees of freedom).")
    sizes = [a_number(size, "uncertainty", least=0) for size, _ in parts]
    freedoms = [None if f is None else a_number(f, "degrees of freedom", least=1e-6) for _, f in parts]
    largest = max(sizes)
    if largest == 0:
        return None
    # Scaled by the largest part, so that fourth powers neither vanish nor overflow.
    shares = [size / largest for size in sizes]
    total = math.fsum(share * share for share in shares)
    below = math.fsum(share**4 / f for share, f in zip(shares, freedoms, strict=True) if f is not None)
    if below == 0 or total * total / below > _LARGE_FREEDOM:
        return None
    return total * total / below


def coverage_factor(degrees_of_freedom: float | None, confidence: float = 0.95) -> float:
    """k such that ± k standard uncertainties hold the value with ``confidence`` (0.001 … 0.999999).

    ``degrees_of_freedom`` 1 or more, None for infinitely many. Raises BadInput. Source: GUM G.4.2 and table G.2: the
    two-sided t point. 16 degrees of freedom, 0.95: 2.12.
    """
    from scipy.special import ndtri, stdtrit

    upper = (1 + a_share(confidence, "confidence")) / 2
    if degrees_of_freedom is None:
        return float(ndtri(upper))
    freedom = a_number(degrees_of_freedom, "degrees_of_freedom", least=1)
    return float(stdtrit(freedom, upper))


def measured(
    values: Sequence[float],
    *,
    resolution: float,
    limit_error: float = 0.0,
    scatter: float | None = None,
    confidence: float = 0.95,
) -> Measured:
    """Mean and doubt of the readings of one thing (1 to 1 000 000), in their unit.

    ``resolution`` (above 0) is the gauge's step, ``limit_error`` its permissible error ± (0 when unknown),
    ``scatter`` a standard deviation known from earlier work, used when a single reading shows none. Type A is
    sd/√n; the resolution and the gauge's error are common to all readings, so they are added once and not divided by
    n: cautious, and right for readings that all round to the same number. Raises BadInput.
    Source: GUM 4.2.3 equation (5), 4.3.7, F.2.2.1, 5.1.2 equation (10), G.4.
    """
    readings = some_numbers(values, "values", least=1)
    step = a_number(resolution, "resolution", least=1e-12)
    count = len(readings)
    found = moments(readings)
    mean, sd = found.mean, found.sd if count > 1 else None
    notes: list[str] = []
    parts: list[tuple[float, float | None]] = [
        (resolution_uncertainty(step), None),
        (rectangular(a_number(limit_error, "limit_error", least=0)), None),
    ]
    if sd is not None:
        parts.append((sd / math.sqrt(count), float(count - 1)))
    elif scatter is not None:
        parts.append((a_number(scatter, "scatter", least=0), None))
        notes.append("One reading only: its scatter is taken from earlier work.")
    else:
        notes.append("One reading only: its scatter is not known and not in the uncertainty. Take three.")
    combined = math.sqrt(math.fsum(size * size for size, _ in parts))
    freedom = effective_degrees_of_freedom(parts)
    factor = coverage_factor(freedom, confidence)
    return Measured(mean, combined, factor * combined, factor, freedom, count, sd, tuple(notes))

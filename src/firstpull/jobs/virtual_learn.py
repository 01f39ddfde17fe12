"""Learning from a real pull, as a verb: measured texts in, the lot’s metal and the allowance issued again out."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from firstpull.errors import BadInput
from firstpull.exchange.pull_file import PullRequest
from firstpull.exchange.pull_readings import SetRow, read_curve, read_inserts
from firstpull.jobs.virtual_pull import pull_virtually
from firstpull.mechanics.collapse.case import PullCase, check_case

SLOPE_DOUBT = 0.1
SPRINGBACK_MM = 0.05
"""A set length tells the stroke after springing back; so much is added for the stroke under load (our assumption)."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What was measured, as text: a force–stroke curve, set inserts, or both ("" = none)."""

    curve: str = ""
    inserts: str = ""

    @property
    def any(self) -> bool:
        return bool(self.curve.strip() or self.inserts.strip())


def check_measured(measured: Measured) -> None:
    """Raises BadInput for texts that cannot be read, before any run."""
    if not measured.any:
        raise BadInput("There is nothing to learn from.", where="inserts", hint="A curve, or a few set inserts.")
    if measured.curve.strip():
        read_curve(measured.curve)
    if measured.inserts.strip():
        read_inserts(measured.inserts)


def learn_virtually(
    request: PullRequest, measured: Measured, *, watch: Callable[[float], None] | None = None, whole: bool = False
) -> dict[str, Any]:
    """The answer of :func:`pull_virtually` for the learned lot, with ``learned`` and its allowance and doubt issued again.

    ``watch`` hears the share done and may raise to cancel. Raises BadInput and Unsafe.
    """
    import numpy as np

    check_case(request.case)
    check_measured(measured)
    from firstpull.mechanics.collapse.learn import learn

    pairs = read_curve(measured.curve) if measured.curve.strip() else ()
    rows = read_inserts(measured.inserts) if measured.inserts.strip() else ()
    curve = None if not pairs else (np.array([one for one, _n in pairs]), np.array([force for _s, force in pairs]))

    def counted(runs: int) -> None:
        if watch is not None:
            watch(0.6 * (1.0 - math.exp(-runs / 12.0)))

    found = learn(
        request.case, curve=curve, inserts=tuple(_set_insert(request.case, row) for row in rows), watch=counted
    )
    learned = replace(request, case=replace(found.case, stroke_mm=request.case.stroke_mm))
    answer = pull_virtually(
        learned, watch=None if watch is None else lambda share: watch(0.6 + 0.4 * share), whole=whole
    )
    return {**answer, **_issued(request, found.closure_mm, found.closure_sd_mm), "learned": _learned(found)}


def _set_insert(case: PullCase, row: SetRow) -> Any:
    from firstpull.mechanics.collapse.learn import SetInsert

    stroke = row.stroke_mm
    if stroke is None:
        free = case.flange_thickness_mm + case.unthreaded_length_mm + case.threaded_length_mm
        stroke = free - (row.set_length_mm or 0.0) + SPRINGBACK_MM
    return SetInsert(stroke, row.outer_diameter_mm)


def _issued(request: PullRequest, closure_mm: float | None, sd_mm: float | None) -> dict[str, Any]:
    """The allowance again, from the learned closure and its lesser doubt."""
    sheet = request.case.sheet
    if closure_mm is None or sd_mm is None or sheet is None:
        return {}
    target = closure_mm + sheet.thickness_mm
    issued: dict[str, Any] = {"stroke_plus_thickness_mm": round(target, 4), "closure_sd_mm": round(sd_mm, 4)}
    if request.grip_max_mm is not None:
        doubt = math.hypot(sd_mm, SLOPE_DOUBT * (request.grip_max_mm - sheet.thickness_mm))
        issued |= {
            "set_allowance_mm": round(target - request.grip_max_mm, 4),
            "set_allowance_sd_mm": round(doubt, 4),
        }
    return issued


def _learned(found: Any) -> dict[str, Any]:
    error = found.discrepancy
    return {
        "constants": [
            {"name": one.name, "value": one.value, "sd": one.sd, "prior_sd": one.prior_sd, "text": one.text}
            for one in found.told
        ],
        "model_error_mm": round(error.mean_mm, 4),
        "model_error_sd_mm": round(error.sd_mm, 4),
        "shown_by": [one.text for one in error.observations],
        "runs": found.runs,
        "misfit": found.misfit,
        "notes": list(found.notes),
    }

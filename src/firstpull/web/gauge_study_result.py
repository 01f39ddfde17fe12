"""What came out of a gauge study: one line, one picture, the numbers, and what to do about the largest part."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from typing import Any
from urllib.parse import quote

from fastapi.responses import Response

from firstpull.drawing.gauge_study import ScatterBar, StudyDot, study_picture
from firstpull.errors import BadInput
from firstpull.jobs.gauge_results import readings_of
from firstpull.jobs.gauge_studies import valid_until, why_not
from firstpull.record.gauge_study import Study
from firstpull.record.things import GaugeState
from firstpull.units import Length, LengthUnit
from firstpull.web import gauge_words as words
from firstpull.web.desk import Desk, problem_of
from firstpull.web.render import page

_BARS = ("repeatability", "reproducibility", "part")


def result_page(here: Desk, state: GaugeState, study: Study, *, window: str = "", see: str = "") -> Response:
    """The page of a finished study; ``window`` is another half width to hold it against, as typed; ``see`` “numbers”
    lays the table on the sheet instead of the picture."""
    result = study.result or {}
    unit, name = here.unit, str(state.gauge.get("name") or state.id)
    half, problem = _half(here, window)
    address = f"/gauges/{quote(state.id)}/study/{study.number}"
    numbers = see == "numbers" or bool(window)
    other = address if numbers else f"{address}?see=numbers"
    why = why_not(state, study, date.fromisoformat(here.book.now()[:10]))
    context = {
        "title": f"Study {study.number}",
        "crumb": f"{name} · study {study.number}",
        "question": "What is it worth?",
        "headline": words.headline(result, unit),
        "note": words.note(result, unit, half_window_mm=half),
        "lines": words.lines(result, unit),
        "asides": words.asides(result, unit),
        "counts": f"{study.measured.capitalize()}, {study.finished_at[:10]}. Counts until {valid_until(state, study)}."
        if not why
        else f"Does not count: {why}.",
        "counts_mark": "look" if why else "done",
        "window": None if result["kind"] == "blocks" else _window_field(window, unit, problem),
        "address": address,
        "numbers": numbers,
        "buttons": [
            {"label": "Done", "do": "", "address": f"/gauges/{quote(state.id)}/study"},
            {"label": "Picture" if numbers else "Numbers", "do": "", "address": other, "kind": "other"},
        ],
        "table": words.table(result, unit),
        "table_title": "Bias by block" if result["kind"] == "blocks" else "What the scatter is made of",
        "drawing": _picture(study, result, unit),
        "drawing_title": "Readings less their block"
        if result["kind"] == "blocks"
        else "Readings by part, and what the scatter is made of",
        "drawing_notes": [here.lengths_note],
    }
    return page(here.request, "gauge_result.html", context, status_code=422 if problem else 200)


def _half(here: Desk, window: str) -> tuple[float | None, dict[str, Any] | None]:
    """Half a window as typed, in mm, or what is wrong with it."""
    if not window.strip():
        return None, None
    try:
        half = here.length(window.strip().lstrip("±+- ")[:60], "window").mm
        if not 0 < half < 1000:
            raise BadInput("A window is more than zero.", where="window", hint="± half of its width.")
    except BadInput as problem:
        return None, problem_of(problem)
    return half, None


def _window_field(window: str, unit: LengthUnit, problem: dict[str, Any] | None) -> dict[str, Any]:
    return {
        "name": "window",
        "label": f"Another window ±, {unit}",
        "value": window[:60],
        "problem": problem,
        "inputmode": "decimal",
        "maxlength": 30,
    }


def _picture(study: Study, result: Mapping[str, Any], unit: LengthUnit) -> str:
    readings = readings_of(study)
    by_part: dict[str, list[float]] = {}
    for one in readings:
        by_part.setdefault(one.part, []).append(one.value)
    if study.references:
        centres = {part: Length.from_json(study.references[part]).mm for part in study.parts}
    else:
        centres = {part: math.fsum(values) / len(values) for part, values in by_part.items()}
    dots = [
        StudyDot(study.parts.index(one.part), study.people.index(one.appraiser), one.value - centres[one.part])
        for one in readings
    ]
    shown = result.get("components") or {}
    bars = [
        ScatterBar(words.NAMES[name], shown[name]["sd_mm"], shown[name]["sd_low_mm"], shown[name]["sd_high_mm"])
        for name in _BARS
        if name in shown
    ]
    return study_picture(dots, bars, parts=study.parts, people=study.people, unit=unit)

"""The doubt of a reading: what is asked of the room and the part, and the table with the sum and its simulation."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import BaseModel

from firstpull.errors import BadInput
from firstpull.jobs.gauge_doubt import EXPANSIONS, Conditions, Doubt, doubt_of_reading, largest_line
from firstpull.record.things import GaugeState
from firstpull.units import LengthUnit, parse_number, show_mm
from firstpull.web import gauge_words as words
from firstpull.web.desk import Desk, desk, need_name, problem_of
from firstpull.web.render import page
from firstpull.web.tools import entry_of
from firstpull.web.typed import typed_count

router = APIRouter()

_LENGTHS = {"mm": "12", "in": "0.5"}
_WHY = {
    "repeatability": "same hand again",
    "reproducibility": "between people",
    "resolution": "step",
    "bias": "bias, left as it is",
    "bias, its doubt": "how well the bias is known",
    "expansion of the part": "part’s expansion",
    "expansion of the gauge": "gauge’s expansion",
    "room less 20 °C": "room",
    "part less gauge": "part warmer than gauge",
}
_SHAPES = {"normal": "normal", "rectangular": "even"}


class DoubtForm(BaseModel):
    """What the page asks, as typed; temperatures in °C and K."""

    length: str = ""
    material: str = "steel"
    temperature: str = "20"
    temperature_half: str = "3"
    difference_half: str = "1"
    readings: str = "1"


@router.get("/gauges/{gauge}/doubt")
def show_doubt(request: Request, gauge: str, form: Annotated[DoubtForm, Query()]) -> Response:
    """The doubt of a reading under what was typed. It writes nothing."""
    here = desk(request, "bench")
    return need_name(here) or _page(here, here.book.gauge(gauge), form)


def _page(here: Desk, state: GaugeState, form: DoubtForm) -> Response:
    unit, name = here.unit, str(state.gauge.get("name") or state.id)
    form = form.model_copy(update={"length": form.length or _LENGTHS[unit]})
    found: Doubt | None = None
    problem: dict[str, Any] | None = None
    try:
        found = doubt_of_reading(here.book, state.id, _conditions(here, form))
    except BadInput as refused:
        problem = problem_of(refused)
    values = form.model_dump()
    number = {"inputmode": "decimal", "maxlength": 30}
    fields = [
        entry_of("length", f"Length, {unit}", values, problem, **number),
        entry_of("temperature", "Room, °C", values, problem, **number),
        entry_of("temperature_half", "Room known to ± K", values, problem, **number),
        entry_of("difference_half", "Part off gauge ± K", values, problem, **number),
        entry_of("readings", "Mean of readings", values, problem, inputmode="numeric", maxlength=4),
    ]
    material = {
        "name": "material",
        "legend": "The part is of",
        "choices": [{"value": one, "label": one, "note": ""} for one in EXPANSIONS],
        "chosen": form.material,
        "across": 4,
    }
    context = {
        "title": "Doubt of a reading",
        "question": "How sure is a reading?",
        "crumb": name,
        "address": f"/gauges/{quote(state.id)}/doubt",
        "fields": fields[:2],
        "more": fields[2:],
        "material": material,
        "problem": problem if problem and problem["where"] not in values else None,
        "headline": "" if found is None else f"±{words.rounded_up(found.budget.expanded, unit)}",
        "note": "" if found is None else _note(found),
        "lines": [] if found is None else _lines(found, unit),
        "table": None if found is None else _table(found, unit),
        "back": f"/gauges/{quote(state.id)}/study",
        "sheet_notes": [here.lengths_note],
    }
    return page(here.request, "gauge_doubt.html", context, status_code=422 if problem else 200)


def _conditions(here: Desk, form: DoubtForm) -> Conditions:
    return Conditions(
        length_mm=here.length(form.length[:60], "length").mm,
        material=form.material,
        temperature_c=_signed(form.temperature, "temperature"),
        temperature_half_k=_signed(form.temperature_half, "temperature_half"),
        difference_half_k=_signed(form.difference_half, "difference_half"),
        readings=typed_count(form.readings, "readings", "The mean of how many readings?", hint="1 to 1000."),
    )


def _signed(text: str, where: str) -> float:
    plain = text.strip()[:30].replace("−", "-").lstrip("±")
    sign = -1.0 if plain.startswith("-") else 1.0
    return sign * float(parse_number(plain.lstrip("+- "), where=where))


def _note(found: Doubt) -> str:
    budget = found.budget
    return f"95 % sure, k = {budget.coverage_factor:.2f}."


def _lines(found: Doubt, unit: LengthUnit) -> list[str]:
    name, percent = largest_line(found.budget)
    rows = [f"The largest part: {_WHY.get(name, name)}, {percent:.0f} % of the variance."] if name else []
    correction = found.correction_mm or 0.0
    if abs(correction) >= 5e-5:
        way = "longer" if correction > 0 else "shorter"
        rows.append(f"At 20 °C the part is {words.fine(abs(correction), unit)} {way} than it reads.")
    simulated = found.simulated
    half = (simulated.high - simulated.low) / 2
    word = "agrees" if found.holds else "differs: believe the simulation"
    rows.append(f"Checked by {simulated.trials} simulated readings: ±{words.fine(half, unit)}, it {word}.")
    return [*rows, *found.budget.notes]


def _table(found: Doubt, unit: LengthUnit) -> dict[str, Any]:
    head = ("", "u", "shape, freedom", f"brings [{unit}]", "share")
    rows = [
        [
            _WHY.get(line.name, line.name),
            _own(line.u, line.unit, unit),
            _how(line.distribution, line.degrees_of_freedom),
            _bare(line.contribution, unit),
            f"{line.percent:.0f} %",
        ]
        for line in found.budget.lines
        if line.u > 0
    ]
    budget = found.budget
    freedom = _freedom(budget.degrees_of_freedom)
    rows.append(["together", "", freedom, _bare(budget.standard_uncertainty, unit), ""])
    rows.append([f"95 %, k = {budget.coverage_factor:.2f}", "", "", _bare(budget.expanded, unit), ""])
    columns = [{"label": label, "number": place in (1, 3, 4)} for place, label in enumerate(head)]
    return {"columns": columns, "rows": rows, "source": found.source}


def _own(u: float, of: str, unit: LengthUnit) -> str:
    if of == "mm":
        return words.fine(u, unit)
    return f"{u * 1e6:.2f} ·10⁻⁶/K" if of == "1/K" else f"{u:.2f} {of}"


def _bare(value_mm: float, unit: LengthUnit) -> str:
    return show_mm(value_mm, unit, decimals=4 if unit == "mm" else 5)


def _freedom(freedom: float | None) -> str:
    return "∞" if freedom is None else f"{freedom:.0f}"


def _how(shape: str, freedom: float | None) -> str:
    word = _SHAPES.get(shape, shape)
    return word if freedom is None else f"{word}, {freedom:.0f}"

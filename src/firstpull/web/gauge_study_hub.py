"""A gauge's studies: which count, what to do next, a repair noted, and how long a study counts."""

from __future__ import annotations

import uuid
from datetime import date
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from firstpull.errors import BadInput
from firstpull.jobs import gauge_studies
from firstpull.jobs.gauge_studies import (
    STUDY_DAYS,
    gauge_scatter,
    known_bias,
    measurement_uncertainty,
    valid_until,
    why_not,
)
from firstpull.record.gauge_study import Study
from firstpull.record.things import GaugeState
from firstpull.web import gauge_words as words
from firstpull.web.desk import Desk, act, desk, need_name
from firstpull.web.record import history_table
from firstpull.web.render import page
from firstpull.web.tools import blank, entry_of, told_events
from firstpull.web.typed import typed_count

router = APIRouter()

_NEWEST = 3


@router.get("/gauges/{gauge}/study")
def show_studies(request: Request, gauge: str, do: str = "") -> Response:
    """The studies of a gauge; ``do`` names the one act whose form is shown."""
    here = desk(request, "bench")
    return need_name(here) or _page(here, here.book.gauge(gauge), do, {})


@router.post("/gauges/{gauge}/study")
def do_studies(
    request: Request,
    gauge: str,
    do: Annotated[str, Form()] = "",
    what: Annotated[str, Form()] = "",
    days: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """A service or repair is noted, or how long a study counts is set."""
    here = desk(request, "bench")

    def perform() -> str:
        doing = here.doing({"expected": expected, "client_id": client_id})
        if do == "service":
            gauge_studies.service_gauge(here.book, gauge, what, doing=doing)
        elif do == "age":
            count = typed_count(days, "days", "How many days does a study count?", hint="1 to 3660, for example 365.")
            gauge_studies.set_study_age(here.book, gauge, count, doing=doing)
        else:
            raise BadInput("This page does not know that button.", where="do", hint="Load the page again.")
        return f"/gauges/{quote(gauge)}/study"

    def refused(problem: dict[str, Any], status: int) -> Response:
        typed = {"what": what, "days": days}
        return _page(here, here.book.gauge(gauge), do, typed, problem=problem, status_code=status)

    return act(perform, refused)


def _page(
    here: Desk,
    state: GaugeState,
    do: str,
    typed: dict[str, str],
    *,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    name = str(state.gauge.get("name") or state.id)
    address = f"/gauges/{quote(state.id)}/study"
    today = date.fromisoformat(here.book.now()[:10])
    context = {
        **blank(f"Studies of {name}"),
        "question": "What is this gauge worth?",
        "crumb": f"{name} · gauge studies",
        "acts": _acts(state, today),
        "buttons": _buttons(state),
        "facts": _facts(here, state),
        "history": history_table(here.request, told_events(here.book.store.read(state.stream))),
        "sheet_title": "Data and history",
        "sheet_notes": [here.lengths_note],
    }
    shown = _form(state, do, typed, problem)
    if shown:
        context |= shown
        context["form"] = {"address": address, "expected": str(state.sequence), "client_id": uuid.uuid4().hex}
        context["problem"] = None if problem is None or problem.get("where") in ("what", "days") else problem
        context["buttons"] = [*shown["buttons"], {"label": "Back", "do": "", "address": address, "kind": "other"}]
    return page(here.request, "thing.html", context, status_code=status_code)


def _form(state: GaugeState, do: str, typed: dict[str, str], problem: dict[str, Any] | None) -> dict[str, Any] | None:
    if do == "service":
        field = entry_of("what", "What was done", typed, problem, note="for example jaws lapped")
        return {
            "question": "What was serviced or repaired?",
            "caution": "No earlier study of this gauge counts after that.",
            "fields": [field],
            "buttons": [{"label": "It was done", "do": "service", "address": "", "kind": ""}],
        }
    if do == "age":
        values = {"days": typed.get("days") or str(state.study_days or STUDY_DAYS)}
        field = entry_of("days", "Days", values, problem, inputmode="numeric", maxlength=4)
        return {
            "question": "How long does a study count?",
            "fields": [field],
            "buttons": [{"label": "Save", "do": "age", "address": "", "kind": ""}],
        }
    return None


def _buttons(state: GaugeState) -> list[dict[str, str]]:
    address = f"/gauges/{quote(state.id)}"
    begin = {"label": "Begin a study", "do": "", "address": f"{address}/study/new", "kind": ""}
    if state.open_study is not None:
        label = f"Go on with study {state.open_study.number}"
        begin = {"label": label, "do": "", "address": f"{address}/study/{state.open_study.number}", "kind": ""}
    return [begin, {"label": "Back", "do": "", "address": address, "kind": "other"}]


def _acts(state: GaugeState, today: date) -> list[dict[str, str]]:
    address = f"/gauges/{quote(state.id)}"
    rows = [_study_row(state, study, today) for study in reversed(state.studies[-_NEWEST:]) if not study.open]
    days = state.study_days or STUDY_DAYS
    others = [
        ("Doubt of a reading", "with temperature", f"{address}/doubt"),
        ("Serviced or repaired", "ends what studies say", f"{address}/study?do=service"),
        ("Studies count for", f"{days} days", f"{address}/study?do=age"),
    ]
    return rows + [{"label": label, "note": note, "address": to, "kind": ""} for label, note, to in others]


def _study_row(state: GaugeState, study: Study, today: date) -> dict[str, str]:
    why = why_not(state, study, today)
    note = f"does not count: {why}" if why else f"counts until {valid_until(state, study)}"
    to = f"/gauges/{quote(state.id)}/study" + (f"/{study.number}" if study.result is not None else "")
    label = f"Study {study.number}: {study.measured}"
    return {"label": label, "note": note, "address": to, "kind": "look" if why else "done"}


def _facts(here: Desk, state: GaugeState) -> list[dict[str, str]]:
    found, unit = gauge_scatter(here.book, state.id), here.unit
    bias, _u, blocks = known_bias(state, date.fromisoformat(here.book.now()[:10]))
    doubt = measurement_uncertainty(here.book, state.id)
    rows = [{"name": "Reads to", "value": words.rounded_up(float(state.gauge["resolution_mm"]), unit), "note": ""}]
    if found is None:
        rows.append({"name": "Scatter of a reading", "value": "not known", "note": "no study counts"})
    else:
        served = f"{words.served(found.sd_mm, unit)} and wider"
        rows.append(
            {"name": "Scatter of a reading", "value": words.fine(found.sd_mm, unit), "note": f"study {found.study}"}
        )
        rows.append({"name": "Good for windows", "value": served, "note": ""})
    known = f"{words.signed(bias, unit)} {unit}" if blocks else "not studied"
    rows.append({"name": "Bias", "value": known, "note": f"study {blocks}" if blocks else ""})
    if doubt is not None:
        rows.append({"name": "Standard uncertainty", "value": words.fine(doubt.u_mm, unit), "note": ""})
    return rows

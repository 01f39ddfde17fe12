"""Templates into pages: one environment, compiled once, strict about names, with what every page's frame needs."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from contextvars import ContextVar
from functools import cache
from pathlib import Path
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from firstpull import __version__
from firstpull.units import LengthUnit, show_length, show_mm
from firstpull.web.numbers import with_comma
from firstpull.web.person import decimal_of, person_of, unit_of
from firstpull.web.texts import TEXTS
from firstpull.web.tour_stops import STOPS
from firstpull.web.whys import WHYS

HERE = Path(__file__).resolve().parent
STATIC = HERE / "static"

PATH_KEYS = ("choose", "set_up", "dial_in", "prove", "hand_over", "run", "look_after")
"""The seven steps in their order; the first five end in a card."""

TOUR_COOKIE = "firstpull_tour"

STEP_STATES = ("done", "now", "owed", "due", "stop", "later")


@cache
def environment() -> Environment:
    """The one template environment; compiled templates stay in memory."""
    made = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        auto_reload=False,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(t=TEXTS, whys=WHYS, static=static_address, software_version=__version__)
    made.filters.update(shown=_shown, shown_mm=_shown_mm)
    return made


@cache
def static_address(name: str) -> str:
    """The address of a file in static/, with a mark of its content, so that browsers may keep it for good."""
    digest = hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:12]
    return f"/static/{name}?v={digest}"


def steps(
    states: Mapping[str, str] | None = None,
    *,
    counts: Mapping[str, int] | None = None,
    addresses: Mapping[str, str] | None = None,
) -> list[dict[str, Any]]:
    """The path as the frame shows it.

    ``states`` maps step keys to one of :data:`STEP_STATES` (missing: "later"), ``counts`` says how many things are
    owed or due there, ``addresses`` where the step's page is (missing: not a link).
    """
    given, numbers, links = states or {}, counts or {}, addresses or {}
    return [
        {"key": key, "state": given.get(key, "later"), "count": numbers.get(key, 0), "address": links.get(key, "")}
        for key in PATH_KEYS
    ]


def page(
    request: Request,
    template: str,
    context: Mapping[str, Any] | None = None,
    *,
    path: Sequence[Mapping[str, Any]] = (),
    job: Mapping[str, Any] | None = None,
    owed: Sequence[Mapping[str, Any]] = (),
    gauge: Mapping[str, Any] | None = None,
    practice: bool = False,
    status_code: int = 200,
) -> HTMLResponse:
    """Render a page inside the frame.

    ``path`` comes from :func:`steps` (empty: no path in the band), ``job`` is ``{"name", "note", "address"}``,
    ``owed`` a list of ``{"text", "address"}``, ``gauge`` is ``{"name", "note", "overdue"}``. Person and unit are
    read from the request.
    """
    frame = {
        "path": path,
        "job": job,
        "owed": owed,
        "gauge": gauge,
        "practice": practice,
        "person": person_of(request),
        "unit": unit_of(request),
        "decimal": decimal_of(request),
        "tour": _tour(request),
        "here": request.url.path + (f"?{request.url.query}" if request.url.query else ""),
    }
    text = environment().get_template(template).render({**frame, **(context or {})})
    return HTMLResponse(with_comma(text) if decimal_of(request) == "comma" else text, status_code=status_code)


def tour_number(request: Request) -> int:
    """At which stop of the tour this browser is; 0 outside it."""
    text = request.cookies.get(TOUR_COOKIE, "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 3 and int(text) <= len(STOPS) else 0


def _tour(request: Request) -> dict[str, Any] | None:
    """The line above the page while the tour is on: where it is, what to look at, where it goes on."""
    number = tour_number(request)
    if not number or request.url.path == "/tour":
        return None
    last = number == len(STOPS)
    words = TEXTS["tour"]
    return {
        "at": words["at"].format(number, len(STOPS)),
        "text": STOPS[number - 1].text,
        "next": "/tour/0?own=yes" if last else f"/tour/{number + 1}",
        "next_label": words["last"] if last else words["next"],
    }


def wants_page(request: Request) -> bool:
    """Whether a person's browser asks (it names text/html); everything else gets JSON."""
    return "text/html" in request.headers.get("accept", "")


ASKED_BY_PROGRAM: ContextVar[bool] = ContextVar("asked_by_program", default=False)
"""Whether the request that is being answered came from a program: then a refused act is told as JSON, not as a page."""


def _shown(value: Any, unit: LengthUnit, decimals: int | None = None) -> str:
    """A stored length as its number in ``unit``."""
    return show_length(value, unit, decimals=decimals)


def _shown_mm(value_mm: float, unit: LengthUnit, decimals: int | None = None) -> str:
    """A computed length in mm as its number in ``unit``."""
    return show_mm(value_mm, unit, decimals=decimals)

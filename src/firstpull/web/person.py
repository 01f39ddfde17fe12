"""Who works here, in which unit and with which decimal sign: kept in this browser, named and not signed."""

from __future__ import annotations

import re
from typing import Annotated
from urllib.parse import quote, unquote

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from firstpull.errors import BadInput
from firstpull.units import LengthUnit
from firstpull.web.numbers import DecimalSign

PERSON_COOKIE = "firstpull_person"
UNIT_COOKIE = "firstpull_unit"
DECIMAL_COOKIE = "firstpull_decimal"
MAX_NAME = 60
_YEAR_S = 365 * 24 * 3600
_UNITS: tuple[LengthUnit, ...] = ("mm", "in")

router = APIRouter()


def person_of(request: Request) -> str:
    """The name given in this browser, or an empty text."""
    try:
        return _name(unquote(request.cookies.get(PERSON_COOKIE, "")))
    except BadInput:
        return ""


def unit_of(request: Request) -> LengthUnit:
    """The unit chosen in this browser; mm until one is."""
    unit = request.cookies.get(UNIT_COOKIE, "mm")
    return unit if unit in _UNITS else "mm"


def decimal_of(request: Request) -> DecimalSign:
    """The decimal sign chosen in this browser; a point until one is."""
    return "comma" if request.cookies.get(DECIMAL_COOKIE) == "comma" else "point"


def local_address(text: str) -> str:
    """``text`` when it is a place in this bench, else the start page: a form must not send anyone elsewhere."""
    return text if re.fullmatch(r"/(?![/\\])[!-~]*", text) and "\\" not in text else "/"


@router.get("/person")
def show_person(request: Request, back: str = "/") -> Response:
    """The page that asks for a name and a unit."""
    from firstpull.web.render import page

    return page(request, "person.html", {"back": local_address(back), "problem": None, "typed": person_of(request)})


@router.post("/person")
def set_person(
    request: Request,
    name: Annotated[str, Form()] = "",
    unit: Annotated[str, Form()] = "mm",
    decimal: Annotated[str, Form()] = "point",
    back: Annotated[str, Form()] = "/",
) -> Response:
    """Keep the name, the unit and the decimal sign in this browser."""
    from firstpull.web.render import page, wants_page

    try:
        kept, kept_unit = _name(name), _unit(unit)
    except BadInput as problem:
        if not wants_page(request):
            raise
        return page(
            request, "person.html", {"back": local_address(back), "problem": problem, "typed": name}, status_code=422
        )
    response = RedirectResponse(local_address(back), status_code=303)
    _keep(response, PERSON_COOKIE, quote(kept))
    _keep(response, UNIT_COOKIE, kept_unit)
    _keep(response, DECIMAL_COOKIE, "comma" if decimal == "comma" else "point")
    return response


@router.post("/unit")
def set_unit(unit: Annotated[str, Form()], back: Annotated[str, Form()] = "/") -> Response:
    """Show lengths in mm or in inches from now on; what is stored stays as it was typed."""
    kept = _unit(unit)
    response = RedirectResponse(local_address(back), status_code=303)
    _keep(response, UNIT_COOKIE, kept)
    return response


def _name(text: str) -> str:
    name = " ".join(text.split())
    if len(name) > MAX_NAME:
        raise BadInput(
            f"That name is longer than {MAX_NAME} letters.",
            where="name",
            hint="Use the name that others here know you by.",
        )
    if any(not letter.isprintable() for letter in name):
        raise BadInput(
            "That name has a sign that cannot be printed.", where="name", hint="Type it again with letters and spaces."
        )
    return name


def _unit(text: str) -> LengthUnit:
    if text not in _UNITS:
        raise BadInput(f"“{text[:20]}” is not a unit to show lengths in.", where="unit", hint="Choose mm or in.")
    return text


def _keep(response: Response, name: str, value: str) -> None:
    response.set_cookie(name, value, max_age=_YEAR_S, path="/", httponly=True, samesite="strict")

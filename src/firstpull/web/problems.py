"""Errors as people and programs meet them: one shape, the right status, never a trace.

============== ====== =====================================================================
error          status why
============== ====== =====================================================================
NotFound       404
Conflict       409    the record moved on; nothing was written
Unsafe         409    understood, but not in the state that things are in; reasons are listed
BadInput       422    as a form or body of the wrong shape
RecordDamaged  500    stop and verify
anything else  500    logged with its trace; the page says only that it was logged
============== ====== =====================================================================
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException
from starlette.responses import Response

from firstpull.errors import BadInput, Conflict, FirstpullError, NotFound, RecordDamaged, Unsafe
from firstpull.web.render import page, wants_page

_STATUS: tuple[tuple[type[FirstpullError], int, str], ...] = (
    (NotFound, 404, "not-found"),
    (Conflict, 409, "conflict"),
    (Unsafe, 409, "unsafe"),
    (BadInput, 422, "bad-input"),
    (RecordDamaged, 500, "record-damaged"),
)


@dataclass(frozen=True, slots=True)
class Problem:
    """What the page or the JSON says. ``kind`` is a word that programs can rely on."""

    status: int
    kind: str
    what: str
    where: str = ""
    hint: str = ""
    reasons: tuple[str, ...] = ()

    @classmethod
    def of(cls, error: FirstpullError, *, status: int | None = None) -> Problem:
        """The problem of one of our errors."""
        for type_, usual, kind in _STATUS:
            if isinstance(error, type_):
                reasons = error.reasons if isinstance(error, Unsafe) else ()
                return cls(status or usual, kind, error.what, error.where, error.hint, reasons)
        return cls(status or 500, "problem", error.what, error.where, error.hint)

    @classmethod
    def unforeseen(cls) -> Problem:
        """For what none of us thought of."""
        return cls(
            500,
            "unforeseen",
            "Something in the bench itself broke.",
            hint="What was saved is safe. Go back and try again; the details are in the bench's log.",
        )

    def as_dict(self) -> dict[str, Any]:
        """``{"error": {…}}`` with what, where and hint as everywhere, and the kind and reasons beside them."""
        body: dict[str, Any] = {"kind": self.kind, "what": self.what, "where": self.where, "hint": self.hint}
        if self.reasons:
            body["reasons"] = list(self.reasons)
        return {"error": body}


def answer(request: Request, problem: Problem) -> Response:
    """The problem as a page for a person, as JSON for everything else."""
    if wants_page(request):
        return page(request, "problem.html", {"problem": problem}, status_code=problem.status)
    return JSONResponse(problem.as_dict(), status_code=problem.status)


def add_handlers(app: FastAPI) -> None:
    """Have ``app`` answer every error in our shape."""

    def ours(request: Request, error: Exception) -> Response:
        assert isinstance(error, FirstpullError)
        return answer(request, Problem.of(error))

    def shape(request: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)
        first = error.errors()[0] if error.errors() else {"loc": (), "msg": ""}
        field = ".".join(str(part) for part in first["loc"][1:]) or str(first["loc"][0] if first["loc"] else "")
        return answer(
            request,
            Problem(
                422, "bad-input", "A field is missing or of the wrong kind.", field, str(first["msg"]).rstrip(".") + "."
            ),
        )

    def http(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        return answer(request, _http_problem(error.status_code))

    app.add_exception_handler(FirstpullError, ours)
    app.add_exception_handler(RequestValidationError, shape)
    app.add_exception_handler(HTTPException, http)


def _http_problem(status: int) -> Problem:
    if status == 404:
        return Problem(404, "not-found", "There is nothing at this address.", hint="Start from the overview.")
    if status == 405:
        return Problem(
            405,
            "method",
            "This address does not take that kind of request.",
            hint="Go back and use the buttons of the page.",
        )
    return Problem(status, "request", "The bench could not read this request.", hint="Go back and send it again.")

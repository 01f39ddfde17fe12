"""The papers of a job and of a tool as PDF: trial log, first-article record, tool history."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from firstpull.errors import BadInput
from firstpull.jobs import papers
from firstpull.paper.report import SIZES
from firstpull.units import LengthUnit
from firstpull.web.desk import desk
from firstpull.web.event_words import words_of

router = APIRouter()


@router.get("/{room}/jobs/{job}/papers/{kind}.pdf")
def show_job_paper(request: Request, room: str, job: str, kind: str, *, size: str = "", unit: str = "") -> Response:
    """A paper of the job, in the person's unit and on the paper usual with it unless said otherwise."""
    here = desk(request, room)
    shown = _unit(unit) or here.unit
    return _pdf(papers.job_paper(here.book, job, kind, size=size or usual_size(shown), unit=shown), f"{job}-{kind}")


@router.get("/tools/{tool}/history.pdf")
def show_tool_paper(request: Request, tool: str, size: str = "", unit: str = "") -> Response:
    """The history of a tool."""
    here = desk(request, "bench")
    shown = _unit(unit) or here.unit
    made = papers.tool_paper(here.book, tool, words=words_of, unit=shown, size=size or usual_size(shown))
    return _pdf(made, f"{tool}-history")


def job_papers(address: str, unit: LengthUnit) -> list[dict[str, object]]:
    """Each paper of the job at ``address`` with its sizes, the usual one first: name and links."""
    return [
        {"name": name, "ways": paper_ways(f"{address}/papers/{kind}.pdf", unit)} for kind, name in papers.PAPERS.items()
    ]


def paper_ways(address: str, unit: LengthUnit) -> list[dict[str, str]]:
    """The sizes of one paper as links, the usual one first."""
    sizes = sorted(SIZES, key=lambda size: size != usual_size(unit))
    return [{"label": size, "address": f"{address}?size={size}"} for size in sizes]


def usual_size(unit: LengthUnit) -> str:
    """Letter where lengths are in inches, else A4."""
    return "Letter" if unit == "in" else "A4"


def _unit(text: str) -> LengthUnit | None:
    if text in ("", "mm", "in"):
        return "in" if text == "in" else "mm" if text == "mm" else None
    raise BadInput(f"“{text[:20]}” is not a unit of a paper.", where="unit", hint="mm or in.")


def _pdf(made: bytes, name: str) -> Response:
    plain = "".join(letter if letter.isascii() and (letter.isalnum() or letter in "._-") else "-" for letter in name)
    headers = {"Content-Disposition": f'inline; filename="{plain}.pdf"', "Cache-Control": "no-store"}
    return Response(made, media_type="application/pdf", headers=headers)

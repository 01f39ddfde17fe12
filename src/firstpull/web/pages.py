"""Pages that need no job: the words of the trade and the cautions."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from firstpull.trade.cautions import MOMENTS, cautions
from firstpull.web.glossary import WORDS
from firstpull.web.render import page

router = APIRouter()


@router.get("/glossary")
def show_glossary(request: Request) -> Response:
    """The words of the trade, in plain English."""
    return page(request, "glossary.html", {"words": WORDS})


@router.get("/cautions")
def show_cautions(request: Request) -> Response:
    """Every caution, by the moment it belongs to, with its source."""
    groups = [{"moment": moment, "cautions": cautions(moment)} for moment in MOMENTS]
    return page(request, "cautions.html", {"groups": groups})

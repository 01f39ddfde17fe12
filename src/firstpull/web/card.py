"""The setup card on screen: the same words as on paper, in HTML that prints well in black and white."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi.responses import Response

from firstpull.drawing.qr import qr_svg
from firstpull.errors import BadInput
from firstpull.paper.card import card_code, card_drawing
from firstpull.paper.card_view import card_view
from firstpull.paper.report import SIZES
from firstpull.record.job import JobState
from firstpull.units import LengthUnit
from firstpull.web.desk import Desk
from firstpull.web.render import environment, page
from firstpull.web.typed import show_torque


def card_html(card: Mapping[str, Any], *, unit: LengthUnit) -> str:
    """The card's own HTML in ``unit``; the lengths of a released card stay those that were frozen."""
    return environment().get_template("card.html").render(_context(card, unit=unit))


def card_page(here: Desk, state: JobState, card: Mapping[str, Any], *, unit: LengthUnit) -> Response:
    """The card alone on a page to print, with its QR code, record id and hash."""
    pdf = here.address(state.id, "card.pdf")
    other: LengthUnit = "in" if unit == "mm" else "mm"
    context = {
        **_context(card, unit=unit),
        "back": here.address(state.id, "hand_over"),
        "pdfs": [{"label": f"PDF {size}", "address": f"{pdf}?size={size}&unit={unit}"} for size in SIZES],
        "other": {
            "label": "Lengths in inches" if other == "in" else "Lengths in mm",
            "address": f"{here.address(state.id, 'card')}?unit={other}",
        },
    }
    return page(here.request, "card_page.html", context, practice=here.practice)


def _context(card: Mapping[str, Any], *, unit: LengthUnit) -> dict[str, Any]:
    drawing, _share = card_drawing(card, unit=unit)
    torque = (card.get("run") or {}).get("torque_min_nm")
    try:
        code = qr_svg(card_code(card), key="card-code") if card.get("hash") else ""
    except BadInput:
        code = ""  # a record id too long for a code is printed in full beside it
    return {
        "view": card_view(card, unit=unit),
        "standing": str(card.get("standing") or ""),
        "torque_min": "" if torque is None else show_torque(float(torque), unit),
        "drawing": drawing,
        "code": code,
        "card_unit": str(card.get("unit") or "mm"),
    }

"""The setup card as PDF: A5 for the machine, A4 with the details behind every number."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any, Literal

from firstpull.drawing.marks import state_mark
from firstpull.drawing.qr import qr_svg
from firstpull.drawing.section import InsertShape, Layer, joint_section
from firstpull.errors import BadInput
from firstpull.paper.card_view import Reader, card_view, plain_number
from firstpull.paper.glyphs import fit_to_fonts
from firstpull.paper.report import SIZES
from firstpull.paper.typeset import typeset
from firstpull.units import LengthUnit

__all__ = ["CARD_SCHEMA", "card_code", "card_drawing", "card_pdf"]

CARD_SCHEMA = "firstpull/card/1"
_WIDE_PX, _TALL_PX, _BLANK_PX = 472.0, 400.0, 120.0


def card_pdf(card: Mapping[str, Any], *, size: Literal["A4", "A5", "Letter"] = "A4", unit: LengthUnit = "mm") -> bytes:
    """The card (schema firstpull/card/1, lengths in mm) as PDF with lengths in ``unit``; the same card, the same bytes.

    A5 is one page, A4 and Letter a page at a glance and a page of details. A released card is an archive's file
    (PDF/A-2a). Values that are null print as “not given”. Raises
    BadInput for another size or unit, a card of another form, or numbers that are not finite.
    """
    if size not in SIZES:
        raise BadInput(f"“{size}” is not a size of card.", where="size", hint="A4, A5 or Letter")
    if unit not in ("mm", "in"):
        raise BadInput(f"“{unit}” is not a unit of a card.", where="unit", hint="mm or in")
    if not isinstance(card, Mapping):
        raise BadInput("A card is a table.", where="card", hint=f"See schema {CARD_SCHEMA}.")
    drawing, share = card_drawing(card, unit=unit)
    inputs = {
        "size": size,
        "card": json.dumps({**card_view(card, unit=unit), "drawing_share": share}, ensure_ascii=True),
        "drawing": drawing,
        "code": qr_svg(card_code(card)),
        "stop": state_mark("stop", with_word=False),
        "date": _day(card),
    }
    return typeset(Path(__file__).parent / "card.typ", inputs, archive=bool(inputs["date"]))


def _day(card: Mapping[str, Any]) -> str:
    """The day of the release, which an archive's file must name; empty for a card that is not released."""
    try:
        return date.fromisoformat(str(card.get("released_at") or "")[:10]).isoformat()
    except ValueError:
        return ""


def card_code(card: Mapping[str, Any]) -> str:
    """What the code says: the record and the start of its hash, enough to find the job and to see a mismatch."""
    record, mark = str(card.get("record_id") or card.get("job") or "no record"), str(card.get("hash") or "")
    return f"{record[:120]} {mark[:16]}".strip()


def card_drawing(card: Mapping[str, Any], *, unit: LengthUnit) -> tuple[str, float]:
    """The joint as SVG, and its height over its width."""
    read = Reader(card, unit)
    free, thickness = read.number("insert.length_free_mm"), read.number("stack.thickness_mm")
    if free is None or thickness is None or not 0 < free <= 500 or not 0 < thickness <= 500:
        return _blank(), _BLANK_PX / _WIDE_PX
    set_length = read.number("setting.set_length_mm")
    shape = InsertShape(
        free,
        thread_diameter_mm=read.number("insert.thread_diameter_mm") or _thread_mm(read.text("insert.thread")),
        flange_diameter_mm=read.number("insert.flange_diameter_mm"),
        flange_thickness_mm=read.number("insert.flange_thickness_mm"),
        body_diameter_mm=read.number("insert.body_diameter_mm"),
        thread_length_mm=read.number("insert.thread_length_mm"),
        counterbore_diameter_mm=read.number("insert.counterbore_diameter_mm"),
        head=read.text("insert.head") or "flat",
        end=read.text("insert.end") or "open",
    )
    layers: list[Layer] = []
    for index, row in enumerate(read.rows("stack.layers")):
        value = plain_number(row.get("thickness_mm"), f"card.stack.layers[{index + 1}].thickness_mm")
        if value is not None and value > 0:
            layers.append((fit_to_fonts(str(row.get("material") or "layer")[:200]), value, bool(row.get("coating"))))
    usable = set_length if set_length is not None and 0 < set_length <= 500 else None
    made = joint_section(
        shape,
        thickness_mm=thickness,
        set_length_mm=usable,
        unit=unit,
        layers=layers,
        width=_WIDE_PX,
        height=_TALL_PX,
    )
    return made, _TALL_PX / _WIDE_PX


def _thread_mm(designation: str) -> float | None:
    """The thread's major diameter for the drawing, mm; None when the designation is not known."""
    from firstpull.trade.threads import thread

    try:
        return thread(designation).major_mm
    except BadInput:
        return None


def _blank() -> str:
    from firstpull.drawing import svg

    words = svg.text("no drawing: length or stack not given", (236, 60), anchor="middle", fill=svg.QUIET)
    return svg.sheet(
        words, width=_WIDE_PX, height=_BLANK_PX, title="No drawing", description="Length or stack not given."
    )

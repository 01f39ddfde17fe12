"""Identify: the insert in the hand, from the catalogue and what was measured with a gauge of the shop."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

from firstpull.jobs.workshop import Book
from firstpull.mechanics.identify import Identification, InHand
from firstpull.mechanics.identify import identify as identify_among
from firstpull.units import LengthUnit


def identify_insert(book: Book, seen: InHand, *, gauge: str = "", unit: LengthUnit = "mm") -> Identification:
    """Which insert of the book's catalogue this is. With ``gauge`` the limit of error is that gauge's, as the shop holds
    it. Writes nothing. Raises BadInput, NotFound for an unknown gauge."""
    if gauge:
        seen = with_gauge(book, seen, gauge)
    return identify_among(book.inserts(), seen, unit=unit)


def with_gauge(book: Book, seen: InHand, gauge: str) -> InHand:
    """What was seen, measured with a gauge of the shop: its limit of error counts. Raises NotFound."""
    return replace(seen, gauge_error_mm=float(book.gauge(gauge).gauge["error_mm"]))


def identify_answer(found: Identification) -> dict[str, Any]:
    """``firstpull/identify/1``: candidates likeliest first, “none of these”, and what to find out next."""
    return {
        "schema": "firstpull/identify/1",
        "verdict": found.verdict,
        "candidates": [
            {
                "part": match.insert.part,
                "probability": match.probability,
                "thread": match.insert.thread,
                "material": match.insert.material,
                "head": match.insert.head,
                "end": match.insert.end,
                "grip_min_mm": match.insert.grip_min.mm,
                "grip_max_mm": match.insert.grip_max.mm,
                "agreements": [asdict(item) for item in match.agreements],
                "alike": list(match.alike),
                "differ_in": list(match.differ_in),
            }
            for match in found.matches
        ],
        "none_probability": found.none_probability,
        "others_probability": found.others_probability,
        "entropy_bits": found.entropy_bits,
        "next": None if found.next is None else asdict(found.next),
        "measurements": [asdict(item) for item in found.suggestions],
        "text": found.text,
        "notes": list(found.notes),
    }

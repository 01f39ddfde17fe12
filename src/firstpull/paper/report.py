"""Trial log, first-article record and tool history as PDF: one glance at the top, the detail below, any number of pages."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

from firstpull.drawing.qr import qr_svg
from firstpull.errors import BadInput
from firstpull.paper.glyphs import MISSING, fit_to_fonts
from firstpull.paper.typeset import typeset
from firstpull.units import LengthUnit

SIZES: Final = ("A4", "A5", "Letter")
_BLANK = '<svg xmlns="http://www.w3.org/2000/svg" width="4" height="4"></svg>'
_LONG = 400


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table: its heading, whether it holds numbers, and its share of the width (0: as wide as needed)."""

    label: str
    number: bool = False
    share: float = 0.0


@dataclass(frozen=True, slots=True)
class Table:
    """A table under its own heading; ``note`` stands between the two."""

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


@dataclass(frozen=True, slots=True)
class Report:
    """Everything on the paper as words, lengths already in ``unit``. ``verdict`` and ``verdict_note`` are the glance;
    ``facts`` are (name, value, note); ``drawing`` is SVG or empty, ``drawing_alt`` says it in words; ``sign`` are
    lines to be signed by hand; ``record`` names the stream and what it stood at."""

    kind: str
    title: str
    note: str
    unit: LengthUnit
    verdict: str
    verdict_note: str
    facts: tuple[tuple[str, str, str], ...]
    tables: tuple[Table, ...]
    record: str
    made_at: str
    marks: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()
    drawing: str = ""
    drawing_alt: str = ""
    sign: tuple[str, ...] = ()


def report_pdf(report: Report, *, size: str = "A4") -> bytes:
    """The report as PDF/A-2a with tags (ISO 19005-2, level A; ISO 14289-1), on A4, A5 or Letter; the same report, the
    same bytes. Raises BadInput for another size, or a moment that is no date."""
    if size not in SIZES:
        raise BadInput(f"“{size}” is not a size of paper here.", where="size", hint=f"Use {', '.join(SIZES)}.")
    view = _view(report)
    inputs = {
        "size": size,
        "report": json.dumps(view, ensure_ascii=True),
        "drawing": report.drawing or _BLANK,
        "code": qr_svg(report.record[:120]),
    }
    return typeset(Path(__file__).parent / "report.typ", inputs)


def _view(report: Report) -> dict[str, Any]:
    try:
        day = date.fromisoformat(report.made_at[:10])
    except ValueError:
        raise BadInput("A report says when it was made.", where="made_at", hint="As 2026-03-02T09:00:00Z.")
    print_ = _Printer()
    view = {
        "kind": print_(report.kind),
        "title": print_(report.title) or report.kind,
        "note": print_(report.note),
        "lengths": "all lengths in inches" if report.unit == "in" else "all lengths in mm",
        "verdict": {"word": print_(report.verdict), "note": print_(report.verdict_note)},
        "facts": [[print_(cell) for cell in row] for row in report.facts],
        "tables": [_table(table, print_) for table in report.tables],
        "lines": [print_(line) for line in report.lines],
        "marks": [print_(mark) for mark in report.marks],
        "sign": [print_(word) for word in report.sign],
        "drawing_alt": report.drawing_alt if report.drawing else "",
        "record": f"{print_(report.record)} · {report.made_at[:16].replace('T', ' ')} UTC",
        "date": [day.year, day.month, day.day],
    }
    return {**view, "missing": MISSING if print_.missing else ""}


def _table(table: Table, print_: _Printer) -> dict[str, Any]:
    width = len(table.columns)
    if any(len(row) != width for row in table.rows):
        raise BadInput("A row of the report has another number of cells than its heading.", where=table.title)
    columns = [{"label": print_(one.label), "number": one.number, "share": one.share} for one in table.columns]
    rows = [[print_(cell) for cell in row] for row in table.rows]
    return {"title": print_(table.title), "note": print_(table.note), "columns": columns, "rows": rows}


class _Printer:
    """Texts as the fonts can print them, cut where they are endless; remembers whether a letter was missing."""

    def __init__(self) -> None:
        self.missing = False

    def __call__(self, text: str) -> str:
        shown = fit_to_fonts(text[: 4 * _LONG])
        self.missing = self.missing or MISSING in shown
        return shown if len(shown) <= _LONG else shown[: _LONG - 1].rstrip() + "…"

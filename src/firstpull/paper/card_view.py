"""From a card (JSON, schema firstpull/card/1) to the words that are printed: every text ready, every length shown.

Nothing is computed here: a value that the card does not have is printed as “not given”.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from firstpull.errors import BadInput
from firstpull.paper.card_units import in_unit
from firstpull.paper.glyphs import MISSING, fit_to_fonts
from firstpull.units import LengthUnit, show_mm

NOT_GIVEN = "not given"
_SHORT, _LONG = 90, 320
_BAR_PER_PSI = 0.06894757293168


class Reader:
    """Reads a card by path, with the place in every error; counts the characters that can not be printed."""

    def __init__(self, card: Mapping[str, Any], unit: LengthUnit) -> None:
        self.card = card
        self.unit: LengthUnit = unit
        self.missing = False

    def at(self, path: str) -> Any:
        """The value at a dotted path, None where any part is missing."""
        value: Any = self.card
        for name in path.split("."):
            if value is None:
                return None
            if not isinstance(value, Mapping):
                raise BadInput("A card has a table here.", where=f"card.{path}", hint="See schema firstpull/card/1.")
            value = value.get(name)
        return value

    def words(self, value: Any, *, most: int = _SHORT) -> str:
        """A short text or number as printable words, cut with an ellipsis; empty for None."""
        if value is None:
            return ""
        if isinstance(value, Mapping | list | tuple):
            raise BadInput("A card has a text here.", where="card", hint="See schema firstpull/card/1.")
        shown = fit_to_fonts(f"{value:g}" if isinstance(value, float) else str(value)[: 4 * _LONG])
        self.missing = self.missing or MISSING in shown
        return _breakable(shown if len(shown) <= most else shown[: most - 1].rstrip() + "…")

    def text(self, path: str, *, most: int = _SHORT) -> str:
        """The text at ``path``; empty when missing."""
        return self.words(self.at(path), most=most)

    def sentence(self, value: Any, *, most: int = _SHORT) -> str:
        """As :meth:`words`, with the numbers of a sentence in the card's unit."""
        return self.words(in_unit(value, self.unit) if isinstance(value, str) else value, most=most)

    def rows(self, path: str) -> Sequence[Any]:
        """The list at ``path``; empty when missing."""
        value = self.at(path)
        if value is None:
            return ()
        if not isinstance(value, list | tuple):
            raise BadInput("A card has a list here.", where=f"card.{path}", hint="See schema firstpull/card/1.")
        return value

    def number(self, path: str) -> float | None:
        """The finite number at ``path`` or None."""
        return plain_number(self.at(path), f"card.{path}")

    def length(self, path: str) -> str:
        """The length in mm at ``path`` in the card's unit, without the unit; “not given” when missing."""
        return self.shown(self.number(path))

    def shown(self, value_mm: float | None) -> str:
        """A length in mm in the card's unit."""
        return NOT_GIVEN if value_mm is None else show_mm(value_mm, self.unit)

    def pressure(self, value_bar: float | None) -> str:
        """A pressure: bar, or psi on an inch card."""
        if value_bar is None:
            return NOT_GIVEN
        return f"{value_bar:.2f} bar" if self.unit == "mm" else f"{value_bar / _BAR_PER_PSI:.1f} psi"


def _breakable(text: str) -> str:
    """Very long runs without a space may break after every 20 letters, so that they stay in their column."""
    return re.sub(r"\S{28,}", lambda run: "\u200b".join(textwrap.wrap(run[0], 20)), text)


def plain_number(value: Any, where: str) -> float | None:
    """``value`` when it is None or a usable number; raises BadInput otherwise."""
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not -1e9 < value < 1e9:
        raise BadInput("A card has a finite number here.", where=where, hint="Or null when it is not known.")
    return float(value)


def card_view(card: Mapping[str, Any], *, unit: LengthUnit) -> dict[str, Any]:
    """All the words of the card for the template, lengths in ``unit``. Raises BadInput for a card of another form."""
    read = Reader(card, unit)
    view: dict[str, Any] = {
        "unit": unit,
        "standing": read.text("standing").upper(),
        "marks": _marks(card),
        "title": read.text("title") or read.text("job") or "Setup card",
        "part_name": read.text("part_name"),
        "job": read.text("job", most=40),
        "revision": read.text("revision", most=12),
        "record_id": read.text("record_id", most=60),
        "hash": read.text("hash", most=80).replace("\u200b", ""),
        "released": _who(read, "released_by", at="released_at"),
        "proved": _who(read, "proof.by", at="proof.at"),
        "big": _big(read),
        "glance": _glance(read),
        "knob": read.text("knob.text", most=160),
        "mandrel": read.text("tool.mandrel"),
        "anvil": read.text("tool.anvil"),
        "steps": _texts(read, "mandrel_steps", most=7, letters=150),
        "every": _every(read),
        "checks": _texts(read, "run.checks", most=6, letters=120),
        "valid_until": _texts(read, "valid_until", most=8, letters=90),
        "cautions": [
            {"text": text, "short": text if len(text) <= 150 else text[:149].rstrip() + "…", "source": source}
            for text, source in _pairs(read, "cautions", names=("text", "source"), most=14)
        ],
        "details": _details(read),
        "proof": _proof(read),
        "sources": _sources(read),
    }
    view["missing"] = MISSING if read.missing else ""
    return view


def _marks(card: Mapping[str, Any]) -> list[str]:
    marks = []
    if card.get("practice"):
        marks.append("PRACTICE – not for production")
    if card.get("demo"):
        marks.append("DEMO DATA")
    return marks


def _who(read: Reader, by: str, *, at: str) -> str:
    """A name and its time; a time without a name is nobody's."""
    name, when = read.text(by, most=60), _moment(read.text(at, most=40))
    return f"{name}, {when}" if name and when else name


def _moment(text: str) -> str:
    """A stored moment as people write it: 2026-03-02T08:00:00Z becomes 2026-03-02 08:00 UTC."""
    found = re.fullmatch(r"(\d{4}-\d{2}-\d{2})T(\d{2}:\d{2}):\d{2}Z", text)
    return f"{found[1]} {found[2]} UTC" if found else text


def _big(read: Reader) -> dict[str, str]:
    """The one number that the operator looks for: the set length, or the pressure of a force-set tool."""
    low, high = read.number("setting.pressure_bar_min"), read.number("setting.pressure_bar_max")
    force = read.text("tool.control") == "force" or (read.number("setting.set_length_mm") is None and low is not None)
    if force:
        value = read.number("tool.pressure_bar")
        return {
            "word": "AIR PRESSURE",
            "value": _bare(read, value) if value is not None else f"{_bare(read, low)}–{_bare(read, high)}",
            "low": _bare(read, low),
            "high": _bare(read, high),
            "unit": "bar" if read.unit == "mm" else "psi",
            "note": "at the tool's inlet while it cycles; judge each set by blind head and turning test",
        }
    return {
        "word": "SET LENGTH",
        "value": _bare_length(read, "setting.set_length_mm"),
        "low": _bare_length(read, "setting.set_length_min_mm"),
        "high": _bare_length(read, "setting.set_length_max_mm"),
        "unit": read.unit,
        "note": "overall, flange face to far end",
    }


def _bare_length(read: Reader, path: str) -> str:
    value = read.number(path)
    return "–" if value is None else show_mm(value, read.unit)


def _bare(read: Reader, value_bar: float | None) -> str:
    return "–" if value_bar is None else read.pressure(value_bar).split(" ")[0]


def _span(read: Reader, low: str, *, high: str) -> str:
    one, two = read.number(low), read.number(high)
    if one is None and two is None:
        return ""
    return f"{read.shown(one)} to {read.shown(two)}"


def _join(*parts: str, by: str = ", ") -> str:
    return by.join(part for part in parts if part)


def _with_word(word: str, text: str) -> str:
    return f"{word} {text}" if text else ""


def _glance(read: Reader) -> list[list[str]]:
    hole = read.number("hole.diameter_mm")
    plus = read.number("hole.tolerance_mm")
    hole_text = NOT_GIVEN if hole is None else read.shown(hole)
    if hole is not None and plus is not None:
        hole_text = f"{read.shown(hole)} to {read.shown(hole + plus)}"
    shape = _join(
        read.text("insert.material"),
        _with_word("head", read.text("insert.head")),
        _with_word("end", read.text("insert.end")),
        read.text("insert.body"),
    )
    rows = [
        ["Insert", _join(read.text("insert.part"), read.text("insert.thread"), by=" · ") or NOT_GIVEN, shape],
        ["Hole", hole_text, read.text("hole.note")],
        [
            "Stack",
            read.length("stack.thickness_mm"),
            _with_word("good for", _span(read, "stack.thickness_low_mm", high="stack.thickness_high_mm")),
        ],
        ["Tool", _join(read.text("tool.name"), read.text("tool.id", most=40), by=" · ") or NOT_GIVEN, _air(read)],
        ["Mandrel", read.text("tool.mandrel") or NOT_GIVEN, ""],
        ["Anvil", read.text("tool.anvil") or NOT_GIVEN, ""],
    ]
    if read.number("setting.stroke_mm") is not None:
        rows.append(
            [
                "Stroke",
                read.length("setting.stroke_mm"),
                _span(read, "setting.stroke_min_mm", high="setting.stroke_max_mm"),
            ]
        )
    if read.number("setting.air_target_mm") is not None:
        rows.append(["Air pull", read.length("setting.air_target_mm"), "set length in the air, tool check"])
    return rows


def _air(read: Reader) -> str:
    value = read.number("tool.pressure_bar")
    return "" if value is None else f"air {read.pressure(value)}"


def _every(read: Reader) -> str:
    count, minutes = read.number("run.every_count"), read.number("run.every_minutes")
    parts = [f"every {count:g} sets" if count else "", f"every {minutes:g} minutes" if minutes else ""]
    return _join(*parts, by=" or ")


def _texts(read: Reader, path: str, *, most: int, letters: int) -> list[str]:
    rows = [read.sentence(value, most=letters) for value in read.rows(path)]
    rows = [row for row in rows if row]
    return rows if len(rows) <= most else [*rows[: most - 1], f"+ {len(rows) - most + 1} more in the record"]


def _pairs(read: Reader, path: str, *, names: tuple[str, ...], most: int) -> list[tuple[str, ...]]:
    out = []
    for index, row in enumerate(read.rows(path)):
        if not isinstance(row, Mapping):
            raise BadInput("A card has a table here.", where=f"card.{path}[{index + 1}]")
        filled = _with_lengths(read, row, where=f"card.{path}[{index + 1}]")
        out.append(
            tuple(
                read.sentence(filled.get(name), most=_LONG if name in ("text", "source") else _SHORT) for name in names
            )
        )
    if len(out) > most:
        more = f"+ {len(out) - most + 1} more in the record"
        out = [*out[: most - 1], (more, *[""] * (len(names) - 1))]
    return out


def _with_lengths(read: Reader, row: Mapping[str, Any], *, where: str) -> Mapping[str, Any]:
    """A row whose ``value_mm`` or ``value_bar`` and ``limits_mm`` (low, high) are written out in the card's units."""
    out = dict(row)
    value = plain_number(row.get("value_mm"), f"{where}.value_mm")
    if value is not None:
        out["value"] = read.shown(value)
    pressure = plain_number(row.get("value_bar"), f"{where}.value_bar")
    if pressure is not None:
        out["value"] = read.pressure(pressure)
    limits = row.get("limits_mm")
    if isinstance(limits, list | tuple) and len(limits) == 2:
        low, high = (plain_number(limit, f"{where}.limits_mm") for limit in limits)
        out["limits"] = f"{read.shown(low)} to {read.shown(high)}"
    return out


def _details(read: Reader) -> dict[str, Any]:
    layers = []
    for index, row in enumerate(read.rows("stack.layers")):
        if not isinstance(row, Mapping):
            raise BadInput("A card has a table here.", where=f"card.stack.layers[{index + 1}]")
        thick = plain_number(row.get("thickness_mm"), f"card.stack.layers[{index + 1}].thickness_mm")
        layers.append(
            [read.words(row.get("material")), read.shown(thick), "coating" if row.get("coating") else "sheet"]
        )
    if len(layers) > 10:
        layers = [*layers[:9], [f"+ {len(layers) - 9} more in the record", "", ""]]
    insert = [
        ["grip range", _span(read, "insert.grip_min_mm", high="insert.grip_max_mm") or NOT_GIVEN],
        ["free length", read.length("insert.length_free_mm")],
        ["flange, diameter", read.length("insert.flange_diameter_mm")],
        ["flange, thickness", read.length("insert.flange_thickness_mm")],
        ["body, diameter", read.length("insert.body_diameter_mm")],
        ["thread, length", read.length("insert.thread_length_mm")],
        ["counterbore", read.length("insert.counterbore_diameter_mm")],
    ]
    setting = [
        [
            "set allowance",
            read.length("setting.set_allowance_mm"),
            read.text("setting.set_allowance_source", most=_LONG),
        ],
        [
            "window",
            _span(read, "setting.set_length_min_mm", high="setting.set_length_max_mm") or NOT_GIVEN,
            read.text("setting.window_source", most=_LONG),
        ],
        ["behind the stack, set", read.length("setting.set_protrusion_mm"), "from free length, stack and stroke"],
    ]
    basis = _with_word("basis:", read.text("stack.basis", most=160))
    return {
        "layers": layers,
        "stack": _join(
            read.length("stack.thickness_mm"),
            _span(read, "stack.thickness_low_mm", high="stack.thickness_high_mm"),
            basis,
            by=" · ",
        ),
        "insert": insert,
        "setting": setting,
    }


def _proof(read: Reader) -> dict[str, Any]:
    more = [
        read.sentence(read.at(f"proof.{name}"), most=_LONG)
        for name in ("measured", "mean", "torque", "gauge", "dial_in", "overdue")
    ]
    rows = _pairs(read, "proof.rows", names=("check", "result", "value", "limits", "count"), most=14)
    return {
        "sentence": read.sentence(read.at("proof.sentence"), most=_LONG),
        "more": [text for text in more if text],
        "rows": [list(row) for row in rows],
    }


def _sources(read: Reader) -> list[list[str]]:
    return [list(row) for row in _pairs(read, "sources", names=("what", "value", "source"), most=18)]

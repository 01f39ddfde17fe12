"""Begin a gauge study in three short screens: what is measured, of how many, and by whom."""

from __future__ import annotations

import math
import re
import uuid
from typing import Annotated, Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import Response
from pydantic import BaseModel

from firstpull.errors import BadInput
from firstpull.jobs import gauge_studies
from firstpull.jobs.gauge_studies import BLOCKS, StudyPlan
from firstpull.record.things import GaugeState
from firstpull.units import Length, LengthUnit, show_mm
from firstpull.web.asking import asking
from firstpull.web.desk import Desk, act, desk, need_name
from firstpull.web.person import person_of
from firstpull.web.render import page
from firstpull.web.tools import entry_of
from firstpull.web.typed import typed_count

router = APIRouter()

_WHAT = (
    ("set length", "Set length", "set coupons, short to long"),
    ("free length", "Free length", "inserts as delivered"),
    (BLOCKS, "Gauge blocks", "is it off, and where?"),
)
_PARTS = (("10", "10 parts", "usual"), ("5", "5 parts", "quick, less sure"))
_ROUNDS = (("3", "3 times each", "usual"), ("2", "Twice each", "quick"))
_DOUBTS = (("2", "certificate (k = 2)", ""), ("limit", "limits of the grade", ""))
_LONGEST = 400


class BeginForm(BaseModel):
    """What the three screens ask, as typed."""

    do: str = "next"
    measured: str = ""
    parts: str = ""
    rounds: str = ""
    blocks: str = ""
    doubt: str = ""
    doubt_is: str = "2"
    people: str = ""
    half_window: str = ""
    expected: str = ""
    client_id: str = ""

    @property
    def answered(self) -> dict[str, str]:
        """The answers of the earlier screens."""
        names = ("measured", "parts", "rounds", "blocks", "doubt", "doubt_is")
        return {name: getattr(self, name)[:_LONGEST] for name in names if getattr(self, name)}


@router.get("/gauges/{gauge}/study/new")
def show_begin(request: Request, gauge: str, form: Annotated[BeginForm, Query()]) -> Response:
    """The first screen that is not answered yet."""
    here = desk(request, "bench")
    return need_name(here) or _screen(here, here.book.gauge(gauge), form)


@router.post("/gauges/{gauge}/study/new")
def do_begin(request: Request, gauge: str, form: Annotated[BeginForm, Form()]) -> Response:
    """The next screen, or the study itself."""
    here = desk(request, "bench")
    state = here.book.gauge(gauge)
    address = f"/gauges/{quote(gauge)}/study"

    def perform() -> str:
        if form.do != "begin":
            _check_screen(here, form)
            kept = form.answered
            for name in ("blocks", "doubt"):
                if name in kept and form.measured == BLOCKS:
                    kept[name] = _each_with_unit(kept[name], here.unit)
            return f"{address}/new?{urlencode(kept)}"
        study = gauge_studies.begin_study(
            here.book,
            gauge,
            _plan(here, form),
            doing=here.doing({"expected": form.expected, "client_id": form.client_id}),
        )
        return f"{address}/{study.number}"

    def refused(problem: dict[str, Any], status: int) -> Response:
        return _screen(here, state, form, problem=problem, status_code=status)

    return act(perform, refused)


def typed_people(text: str) -> tuple[str, ...]:
    """Names as typed, parted by commas, semicolons or “and”."""
    return tuple(name for part in re.split(r"[,;\n]|\band\b", text) if (name := " ".join(part.split())))


def typed_lengths(text: str, unit: LengthUnit) -> tuple[str, ...]:
    """Lengths as typed in a row: “5 10 20 mm”, “5, 10, 20”; each with its unit, the last one’s when it has none."""
    found = re.findall(r"([\d.,]*\d)\s*(mm|in\b|inch\b|\")?", text.replace(";", " "))
    last = next((one for _number, one in reversed(found) if one), unit)
    return tuple(f"{number.rstrip(',')} {one or last}" for number, one in found)


def _each_with_unit(text: str, unit: LengthUnit) -> str:
    return " ".join(typed_lengths(text, unit))[:_LONGEST] or text


def _check_screen(here: Desk, form: BeginForm) -> None:
    """What a screen's answers must be before the next one is asked. Raises BadInput."""
    if form.measured not in gauge_studies.MEASURED:
        raise BadInput("What is measured?", where="measured", hint="Choose one of the three.")
    if form.measured == BLOCKS and form.blocks:
        _blocks(here, form)
    if form.parts or form.rounds:
        _counts(form)


def _counts(form: BeginForm) -> tuple[int, int]:
    parts = typed_count(form.parts, "parts", "How many parts?", hint="2 to 50.")
    rounds = typed_count(form.rounds, "rounds", "How often is each one read?", hint="2 to 20; three times is usual.")
    if not 2 <= parts <= 50 or not 2 <= rounds <= 20:
        raise BadInput("2 to 50 parts, each read 2 to 20 times.", where="parts", hint="Ten parts, three times: usual.")
    return parts, rounds


def _blocks(here: Desk, form: BeginForm) -> tuple[dict[str, Length], float]:
    """The blocks by their length, and the standard uncertainty of one in mm."""
    texts = typed_lengths(form.blocks, here.unit)
    lengths = {text: here.length(text, "blocks") for text in texts}
    if not 1 <= len(lengths) <= 20 or len({one.nanometres for one in lengths.values()}) < len(texts):
        raise BadInput("Which blocks?", where="blocks", hint="Their lengths, each once, such as “5 10 20 mm”.")
    doubt = here.length(form.doubt, "doubt").mm if form.doubt.strip() else 0.0
    if not 0 <= doubt < 0.1:
        raise BadInput("Blocks are good to a few thousandths of a mm.", where="doubt", hint="From their certificate.")
    return lengths, doubt / (2 if form.doubt_is != "limit" else math.sqrt(3))


def _plan(here: Desk, form: BeginForm) -> StudyPlan:
    people = typed_people(form.people[:1000])
    if form.measured == BLOCKS:
        blocks, doubt = _blocks(here, form)
        rounds = typed_count(form.rounds or "5", "rounds", "How often is each block read?", hint="2 to 20.")
        return StudyPlan(BLOCKS, people, tuple(blocks), rounds, references=blocks, reference_u_mm=doubt)
    parts, rounds = _counts(form)
    half = here.length(form.half_window.strip().lstrip("±+- "), "half_window").mm if form.half_window.strip() else None
    return StudyPlan(
        form.measured, people, tuple(str(number) for number in range(1, parts + 1)), rounds, half_window_mm=half
    )


def _screen(
    here: Desk, state: GaugeState, form: BeginForm, *, problem: dict[str, Any] | None = None, status_code: int = 200
) -> Response:
    name = str(state.gauge.get("name") or state.id)
    if state.open_study is not None and problem is None:
        context = _still_open(state)
    elif form.measured not in gauge_studies.MEASURED:
        context = _what()
    elif (form.measured == BLOCKS and not form.blocks) or (problem and problem["where"] in ("blocks", "doubt")):
        context = _which_blocks(here, form, problem)
    elif form.measured != BLOCKS and not (form.parts and form.rounds):
        context = _how_many(form)
    else:
        context = _who(here, form, problem)
    fields = {field["name"] for field in context.get("fields", [])}
    beside = None if problem is None or problem.get("where") in fields else problem
    context = {"carry": list(form.answered.items()), "problem": beside, **context}
    asked = {group["name"] for key in ("choices", "choices_after") for group in context.get(key, [])} | fields
    context["carry"] = [pair for pair in context["carry"] if pair[0] not in asked]
    form_fields = {
        "address": f"/gauges/{quote(state.id)}/study/new",
        "expected": str(state.sequence),
        "client_id": form.client_id if form.do == "begin" and form.client_id else uuid.uuid4().hex,
    }
    shown = asking(form=form_fields, crumb=f"{name} · gauge study", title="Gauge study", **context)
    return page(here.request, "steps/question.html", shown, status_code=status_code)


def _tiles(name: str, legend: str, tiles: tuple[tuple[str, str, str], ...], chosen: str) -> dict[str, Any]:
    choices = [{"value": value, "label": label, "note": note} for value, label, note in tiles]
    return {"name": name, "legend": legend, "choices": choices, "chosen": chosen, "hide_legend": True}


def _what() -> dict[str, Any]:
    return {
        "question": "What will you measure?",
        "choices": [{**_tiles("measured", "What", _WHAT, "set length"), "across": 1}],
        "buttons": [{"label": "Go on", "do": "next"}],
        "drawing_title": "What comes of it",
        "lines": [
            "Parts of your own tell how far readings scatter: the same person again, and between people.",
            "Gauge blocks tell whether the gauge reads too long or too short.",
            "Both feed the advice while dialling in, and the doubt in every verdict.",
        ],
    }


def _how_many(form: BeginForm) -> dict[str, Any]:
    return {
        "question": "How many parts, how often?",
        "choices": [
            _tiles("parts", "Parts", _PARTS, form.parts or "10"),
            _tiles("rounds", "Rounds", _ROUNDS, form.rounds or "3"),
        ],
        "buttons": [{"label": "Go on", "do": "next"}],
        "drawing_title": "Before you begin",
        "lines": [
            "Take parts that cover what you measure, short to long.",
            "Number them where it can not be seen while measuring.",
            "Ten parts and three people three times: 90 readings, 30 each. Five parts alone: 15.",
        ],
    }


def _which_blocks(here: Desk, form: BeginForm, problem: dict[str, Any] | None) -> dict[str, Any]:
    unit = here.unit
    values = {"blocks": form.blocks, "doubt": form.doubt, "rounds": form.rounds or "5"}
    example = "5 10 20 25" if unit == "mm" else "0.2 0.4 0.8 1"
    return {
        "question": "Which blocks, how often each?",
        "fields": [
            entry_of("blocks", f"Lengths, {unit}", values, problem, note=f"as {example}", maxlength=200),
            entry_of("doubt", f"Good to ±, {unit}", values, problem, note="empty: exact", maxlength=30),
            entry_of("rounds", "Times each", values, problem, inputmode="numeric", maxlength=2),
        ],
        "pairs": True,
        "choices_after": [_tiles("doubt_is", "The ± is from", _DOUBTS, form.doubt_is)],
        "buttons": [{"label": "Go on", "do": "next"}],
        "drawing_title": "Before you begin",
        "lines": [
            "One block tells the bias there; three or more over the range tell how it changes.",
            "Wipe them, lay them beside the gauge for a while, hold them no longer than needed.",
        ],
    }


def _who(here: Desk, form: BeginForm, problem: dict[str, Any] | None) -> dict[str, Any]:
    window = gauge_studies.window_half_of(here.book)
    unit = here.unit
    half, where_from = "", "empty: not judged against one"
    if window is not None:
        half = show_mm(window[0], unit, decimals=3 if unit == "mm" else 4)
        where_from = f"of “{window[1]}”"
    values = {
        "people": form.people or person_of(here.request),
        "half_window": form.half_window if form.do == "begin" else half,
    }
    blocks = form.measured == BLOCKS
    fields = [entry_of("people", "Who measures", values, problem, note="names with commas", maxlength=300)]
    if not blocks:
        fields.append(entry_of("half_window", f"Window ±, {unit}", values, problem, note=where_from, maxlength=30))
    times = f"each {form.rounds or '5'} times"
    size = f"{len(typed_lengths(form.blocks, unit))} blocks, {times}" if blocks else f"{form.parts} parts, {times}"
    lines = ["The order is mixed now and kept with the study. Nobody sees what another one read."]
    if not blocks:
        lines.insert(0, "Two or three people. One alone shows no more than how the same person reads again.")
    return {
        "question": "Who measures?" if blocks else "Who measures, and which window?",
        "fields": fields,
        "buttons": [{"label": "Begin", "do": "begin"}],
        "facts": [{"name": form.measured.capitalize(), "value": size}],
        "drawing_title": "The study",
        "lines": lines,
    }


def _still_open(state: GaugeState) -> dict[str, Any]:
    number = state.studies[-1].number
    return {
        "question": f"Study {number} is not finished.",
        "buttons": [{"label": "Go on with it", "do": "", "address": f"/gauges/{quote(state.id)}/study/{number}"}],
        "drawing_title": "The study",
        "lines": ["One study of a gauge at a time. It can be given up, with a reason."],
    }

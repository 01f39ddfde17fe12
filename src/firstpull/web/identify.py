"""Find the insert in my hand: one question at a time, always the one that tells most, until its row is known.

Nothing is written. The answers so far stand in the address, so that a page can be gone back to and sent on.
"""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import BaseModel

from firstpull.drawing.stack import insert_on_its_side
from firstpull.errors import BadInput
from firstpull.jobs.identify import identify_insert
from firstpull.mechanics.identify import Identification, InHand, Match, percent
from firstpull.mechanics.identify_model import MEASUREMENTS
from firstpull.mechanics.insert import BODIES, ENDS, HEADS
from firstpull.trade.threads import thread
from firstpull.units import LengthUnit, show_length
from firstpull.web.asking import entry
from firstpull.web.desk import Desk, desk, problem_of
from firstpull.web.render import page
from firstpull.web.texts import TEXTS
from firstpull.web.typed import typed_count, with_unit

router = APIRouter()
_ADDRESS = "/inserts/identify"
_LENGTHS = ("free_length", "flange_diameter", "body_diameter")
_IN_HAND = {"free_length": "length_free"}
_WORDS = {"end": ENDS, "head": HEADS, "body": BODIES}
_LONGEST = 60
_MOST_ROWS = 4
_SURELY_NONE = 0.9
_WORTH_BITS = 0.02


class Answers(BaseModel):
    """What the address holds: an answer a measurement, which was asked, what to ask, and what could not be told."""

    thread: str = ""
    free_length: str = ""
    end: str = ""
    head: str = ""
    flange_diameter: str = ""
    body_diameter: str = ""
    body: str = ""
    head_marks: str = ""
    asked: str = ""
    ask: str = ""
    skipped: str = ""
    job: str = ""
    do: str = ""


@router.get(_ADDRESS)
def show_identify(request: Request, answers: Annotated[Answers, Query()]) -> Response:
    """The next question, or the row that it most likely is."""
    here = desk(request, "bench")
    given: dict[str, str] = {name: getattr(answers, name).strip() for name in MEASUREMENTS}
    skipped: list[str] = [name for name in answers.skipped.split(",") if name in MEASUREMENTS]
    asked = answers.asked if answers.asked in MEASUREMENTS else ""
    if answers.do == "skip" and asked:
        given[asked] = ""
        skipped = [*dict.fromkeys([*skipped, asked])]
    job = answers.job if _is_job(here, answers.job) else ""
    if not here.book.inserts():
        return _empty(here, job)
    try:
        if answers.do == "next" and asked and not given[asked]:
            raise BadInput("There is no answer yet.", where=asked, hint="Give one, or say that you cannot tell.")
        seen = _seen(here, given)
    except BadInput as problem:
        name = problem.where if problem.where in MEASUREMENTS else asked or "thread"
        return _page(here, given, skipped, ask=name, job=job, problem=problem_of(problem), status_code=422)
    found = None if not any(given.values()) else identify_insert(here.book, seen, unit=here.unit)
    ask = _next(found, skipped, wanted=answers.ask)
    return _page(here, given, skipped, ask=ask, job=job, found=found)


def _is_job(here: Desk, job: str) -> bool:
    """Whether it is a job of the bench, for which the insert is looked for."""
    try:
        return bool(job) and here.book.store.last(f"job:{job}") > 0
    except BadInput:
        return False


def _seen(here: Desk, given: dict[str, str]) -> InHand:
    """The answers as they are reckoned with; lengths in ``given`` get their unit. Raises BadInput naming the field."""
    values: dict[str, Any] = {}
    for name, text in given.items():
        if not text:
            continue
        if len(text) > _LONGEST:
            raise BadInput("That is too long.", where=name, hint=f"{_LONGEST} letters at most.")
        if name in _LENGTHS:
            values[name] = here.length(text, name)
            if values[name].nanometres <= 0:
                raise BadInput("A length is more than nothing.", where=name, hint="Measure it again.")
            given[name] = with_unit(text, here.unit)
        elif name == "head_marks":
            values[name] = typed_count(text, name, "How many marks?", hint="0, 1, 2 …")
            if values[name] > 20:
                raise BadInput(f"{values[name]} marks cannot be right.", where=name, hint="A number from 0 to 20.")
        elif name == "thread":
            thread(text, where=name)
            values[name] = text
        elif text in _WORDS[name]:
            values[name] = text
        else:
            raise BadInput(f"“{text}” is not one of these.", where=name, hint="Tap one.")
    return InHand(**values)


def _next(found: Identification | None, skipped: list[str], *, wanted: str) -> str | None:
    """What to ask: what the person wants to answer, else what tells most; None when it is known well enough."""
    if wanted in MEASUREMENTS:
        return wanted
    if found is None:
        return next((name for name in MEASUREMENTS if name not in skipped), None)
    if found.verdict == "one" or found.none_probability >= _SURELY_NONE or found.next is None:
        return None
    return next(
        (one.measurement for one in found.suggestions if one.measurement not in skipped and one.bits >= _WORTH_BITS),
        None,
    )


def _page(
    here: Desk,
    given: dict[str, str],
    skipped: list[str],
    *,
    ask: str | None,
    job: str = "",
    found: Identification | None = None,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    state = {
        **{name: text for name, text in given.items() if text},
        **({"skipped": ",".join(skipped)} if skipped else {}),
        **({"job": job} if job else {}),
    }
    measure = _measure_address(here, given, job)
    address = f"{_ADDRESS}?{urlencode(state)}" if state else _ADDRESS
    carried = [(name, value) for name, value in state.items() if name != ask]
    context = {
        "here": address,
        "question": TEXTS["identify_questions"][ask] if ask is not None else _verdict(found),
        "said": _so_far(found) if ask is not None else "",
        "fields": _fields(here, ask, given, problem),
        "choices": _choices(ask, given) if ask is not None else [],
        "problem": problem if ask in _WORDS else None,
        "carry": [*carried, ("asked", ask or "")],
        "buttons": _buttons(here, found, measure=measure, job=job) if ask is None else [],
        "measure": measure,
        "asking": ask is not None,
        "why": [] if found is None else list(found.notes),
        "ways": _ways(found, given, state, ask=ask),
        "text": "" if found is None or (found.verdict != "none" and not found.matches[0].alike) else found.text,
        "rows": [] if found is None else [_row(match, here.unit) for match in found.matches[:_MOST_ROWS]],
        "others": _others(found),
        "stranger": "" if found is None else _chance(found.none_probability),
        "changes": [
            {
                "name": TEXTS["identify_names"][name],
                "value": given[name],
                "address": f"{_ADDRESS}?{urlencode({**state, 'ask': name})}",
            }
            for name in MEASUREMENTS
            if given[name] and name != ask
        ],
        "drawing": insert_on_its_side("open", key="identify") if found is None else "",
        "unit_of_rows": here.unit,
    }
    return page(here.request, "insert_identify.html", context, status_code=status_code)


def _fields(here: Desk, ask: str | None, given: dict[str, str], problem: dict[str, Any] | None) -> list[dict[str, Any]]:
    if ask is None or ask in _WORDS:
        return []
    name = TEXTS["identify_names"][ask]
    label = f"{name}, {here.unit}" if ask in _LENGTHS else name
    mode = "decimal" if ask in _LENGTHS else "numeric" if ask == "head_marks" else "text"
    field = entry(ask, label, given[ask], note=TEXTS["identify_notes"].get(ask, ""), problem=problem, inputmode=mode)
    return [{**field, "maxlength": _LONGEST}]


def _choices(ask: str, given: dict[str, str]) -> list[dict[str, Any]]:
    if ask not in _WORDS:
        return []
    choices = [{"value": word, "label": word.capitalize()} for word in _WORDS[ask]]
    legend = TEXTS["identify_names"][ask]
    across = 2 if len(choices) % 2 == 0 else 3
    return [
        {"name": ask, "legend": legend, "choices": choices, "chosen": given[ask], "hide_legend": True, "across": across}
    ]


def _so_far(found: Identification | None) -> str:
    words = TEXTS["identify"]
    if found is None:
        return ""
    if found.verdict == "none":
        return str(words["so_far_none"].format(_chance(found.none_probability)))
    best = found.matches[0]
    if best.probability < 0.5:
        return str(words["so_far_many"])
    return str(words["so_far"].format(best.insert.name, _chance(best.probability)))


def _verdict(found: Identification | None) -> str:
    words = TEXTS["identify"]
    if found is None:
        return str(words["unknown"])
    if found.verdict == "none":
        return str(words["none"])
    best = found.matches[0]
    if best.probability * (1 + len(best.alike)) < 0.5:
        return str(words["many"])
    if best.alike:
        return str(words["alike"].format(len(best.alike) + 1))
    return str(words["one"].format(best.insert.name, _chance(best.probability)))


def _buttons(here: Desk, found: Identification | None, *, measure: str, job: str) -> list[dict[str, str]]:
    words = TEXTS["identify"]
    again = {"label": words["again"], "address": _ADDRESS, "kind": "other"}
    if job:
        again = {"label": words["back_to_job"], "address": here.address(job, "choose"), "kind": "other"}
    if found is None or found.verdict == "none":
        return [{"label": words["measure"], "address": measure}, again]
    part = found.matches[0].insert.part
    if job:
        address = f"{here.address(job, 'choose')}?screen=pick&part={quote(part, safe='')}"
        return [{"label": words["in_job"], "address": address}, again]
    return [{"label": words["open"].format(part), "address": f"/inserts/row?part={quote(part, safe='')}"}, again]


def _measure_address(here: Desk, given: dict[str, str], job: str) -> str:
    """“Insert in my hand” with what was answered so far, so that nothing is typed twice."""
    address = here.address(job, "in-hand") if job else "/inserts/in-hand"
    brought = {_IN_HAND.get(name, name): text for name, text in given.items() if text and len(text) <= _LONGEST}
    return f"{address}?{urlencode(brought)}" if brought else address


def _ways(
    found: Identification | None, given: dict[str, str], state: dict[str, str], *, ask: str | None
) -> list[dict[str, str]]:
    """The other things that could be answered now."""
    names = MEASUREMENTS if found is None else [one.measurement for one in found.suggestions]
    return [
        {"label": TEXTS["identify_names"][name], "address": f"{_ADDRESS}?{urlencode({**state, 'ask': name})}"}
        for name in names
        if name != ask and not given[name]
    ][:4]


def _row(match: Match, unit: LengthUnit) -> dict[str, Any]:
    insert = match.insert
    grip = f"{show_length(insert.grip_min, unit)} to {show_length(insert.grip_max, unit)}"
    looks = f"{insert.thread}, {insert.material}, {insert.head}, {insert.end}, {insert.body}"
    return {"chance": _chance(match.probability), "part": insert.part, "looks": looks, "grip": grip}


def _others(found: Identification | None) -> str:
    """The chance of all rows that are not listed; empty when they hardly count."""
    if found is None:
        return ""
    share = found.others_probability + sum(match.probability for match in found.matches[_MOST_ROWS:])
    return "" if share < 0.005 else _chance(share)


def _chance(share: float) -> str:
    return percent(share).replace(" %", "\u00a0%")


def _empty(here: Desk, job: str) -> Response:
    """Nothing to find it among: the way to a catalogue."""
    words = TEXTS["identify"]
    context = {
        "here": _ADDRESS, "question": words["empty"], "said": "", "fields": [], "choices": [], "problem": None, "carry": [],
        "buttons": [
            {"label": TEXTS["inserts"]["bring"], "address": "/inserts/import"},
            {"label": words["measure"], "address": _measure_address(here, {}, job), "kind": "other"},
        ],
        "asking": False, "measure": "", "why": [], "ways": [], "text": "", "rows": [], "others": "", "stranger": "", "changes": [],
        "drawing": insert_on_its_side("open", key="identify"), "unit_of_rows": here.unit,
    }  # fmt: skip
    return page(here.request, "insert_identify.html", context)

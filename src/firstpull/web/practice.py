"""Practice: choose a simulated tool, follow the advice or hide it and move by oneself, and see afterwards what the tool
really was.
"""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs import dial_in, practice_bench
from firstpull.jobs.path import owed
from firstpull.jobs.shapes import tool_of
from firstpull.jobs.workshop import Doing, Workshop
from firstpull.record.job import JobState
from firstpull.units import show_length, show_mm
from firstpull.web.desk import Desk, act, desk, form_of, show
from firstpull.web.person import local_address
from firstpull.web.render import page
from firstpull.web.trial_views import chart_of, inserts_used, mm_text

router = APIRouter()

OWN_COOKIE = "firstpull_own_moves"
DEMO_CARD_JOB = "battery-tray-lid-m6"
TEMPERAMENT_WORDS: dict[str, tuple[str, str, str]] = {
    "steady": ("Steady", "the loop itself", "A good tool: pull, read, turn, pull."),
    "worn": ("Worn", "play and scatter", "Finish towards more stroke, and do not chase one reading."),
    "coarse": ("Coarse", "few clicks", "Four clicks a turn: what to do when no click lies on the aim."),
    "drifting": (
        "Drifting",
        "drift or scatter?",
        "Every pull comes a little longer: see it before it leaves the window.",
    ),
    "near its limit": ("Near its limit", "when to stop", "Stroke or air runs short: find the cause, do not turn on."),
    "short of air": (
        "Short of air",
        "long in the stack",
        "It stalls in the stack: stop and find the air, do not turn.",
    ),
    "hasty": ("Hasty hand", "let go early", "A short pull is no misread: keep it, pull again, twice is a fault."),
    "misreading": ("Misreading", "read again", "One reading in five is wrong: read again before you believe it."),
}
"""Each temperament: its name, what it is about in a few words, and what it teaches."""

_MOST_CLICKS = 400


@router.get("/practice")
def show_practice(request: Request) -> Response:
    """Which tool to practise on, and the practice jobs so far."""
    return _start_page(request)


@router.post("/practice")
def start_practice(
    request: Request, temperament: Annotated[str, Form()] = "steady", client_id: Annotated[str, Form()] = ""
) -> Response:
    """Start a practice job on a tool of that temperament."""
    here = desk(request, "practice")

    def perform() -> str:
        doing = here.doing({"client_id": client_id})
        started = practice_bench.start(here.book, doing=Doing(doing.by), temperament=temperament)
        return here.address(started.id, "dial_in")

    return act(perform, lambda problem, status: _start_page(request, problem=problem, status_code=status))


@router.get("/practice/advice")
def choose_advice(show: str = "yes", back: str = "/practice") -> Response:
    """Show the advice, or hide it to move by oneself. A preference of this browser; nothing is written."""
    response = RedirectResponse(local_address(back), status_code=303)
    if show == "no":
        response.set_cookie(OWN_COOKIE, "1", path="/practice", httponly=True, samesite="strict")
    else:
        response.delete_cookie(OWN_COOKIE, path="/practice", httponly=True, samesite="strict")
    return response


@router.post("/practice/jobs/{job}/own")
def do_own_move(
    request: Request,
    job: str,
    do: Annotated[str, Form()] = "turn",
    clicks: Annotated[str, Form()] = "",
    way: Annotated[str, Form()] = "more",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """A move of one's own: turn, pull, read again, cycle, or call it dialled in."""
    here = desk(request, "practice")

    def perform() -> str:
        doing = here.doing({"expected": expected, "client_id": client_id})
        return _do_own(here, here.book.job(job), do, clicks=clicks, way=way, doing=doing)

    def refused(problem: dict[str, Any], status: int) -> Response:
        state = here.book.job(job)
        return own_page(here, state, problem=problem, clicks=clicks, way=way, status_code=status)

    return act(perform, refused)


@router.get("/practice/jobs/{job}/said")
def show_said(request: Request, job: str) -> Response:
    """What the last reading said, what the tool did, and what would have been better."""
    here = desk(request, "practice")
    state = here.book.job(job)
    view = practice_bench.review(state, unit=here.unit)
    used = practice_bench.used(state)
    context = {
        "form": form_of(state, f"/practice/jobs/{quote(state.id)}/own"),
        "question": "How was that move?",
        "crumb": "Your own moves · the advice is hidden",
        "said": view.said,
        "did": view.did,
        "better": view.better,
        "score": f"{used} insert{'s' if used != 1 else ''} used.",
        "knob": "",
        "chart": chart_of(here, state, advised=False),
        "sheet_title": "Set lengths",
        "sheet_notes": [here.lengths_note, "simulated"],
        "buttons": [
            {"label": "My next move", "address": here.address(state.id, "dial_in"), "kind": ""},
            {"label": "Show the advice", "address": _advice_address(here, state, shown=True), "kind": "other"},
        ],
    }
    return show(here, state, "steps/practice_said.html", context, step="dial_in")


@router.get("/practice/jobs/{job}/review")
def show_review(request: Request, job: str) -> Response:
    """What the tool really was: everything that nobody knows at a real bench."""
    here = desk(request, "practice")
    state = here.book.job(job)
    truth = practice_bench.simulated_tool(state).truth()
    inside = truth.length_shortest_good_mm <= truth.mean_stack_length_mm <= truth.length_longest_good_mm
    words = TEMPERAMENT_WORDS.get(truth.temperament, (truth.temperament, "", ""))
    verdict = (
        "The mean in the stack lies inside what makes a good joint."
        if inside
        else ("The mean in the stack does not make a good joint yet.")
    )
    if not truth.reachable:
        verdict = "This tool can not reach the target: the right answer was to stop."
    context = {
        "crumb": f"{words[0]} · {inserts_used(truth.inserts_used)}, {truth.cycles} cycles",
        "verdict": verdict,
        "kind": "done" if inside and truth.reachable else "look",
        "teaches": words[2],
        "moves": _move_rows(here, state),
        "rows": _truth_rows(here, state),
        "unit_note": here.unit,
        "back": here.address(state.id, "dial_in"),
    }
    return show(here, state, "practice_review.html", context, step="dial_in")


def own_moves(request: Request) -> bool:
    """Whether the advice is hidden in this browser."""
    return request.cookies.get(OWN_COOKIE) == "1"


def aside(here: Desk, state: JobState) -> list[dict[str, str]]:
    """The small ways out of a practice dial-in; fewer once it runs, so that the action stays in sight."""
    if state.pulls:
        return [{"label": "Hide the advice", "address": _advice_address(here, state, shown=False)}]
    return [
        {"label": "Other practice tools", "address": "/practice"},
        {"label": "Overview", "address": "/?overview=yes"},
        {"label": "Tour", "address": "/tour"},
    ]


def own_page(
    here: Desk,
    state: JobState,
    *,
    problem: dict[str, Any] | None = None,
    clicks: str = "",
    way: str = "more",
    status_code: int = 200,
) -> Response:
    """The dial-in with the advice hidden: the last reading, the aim, and a move of one's own."""
    tool, aim = tool_of(state), dial_in.promise(state)
    plus = "clockwise" if tool is None else tool.plus_direction
    minus = "anticlockwise" if plus == "clockwise" else "clockwise"
    more_is_plus = tool is None or tool.plus_turns == "more stroke"
    has_clicks = bool(tool and tool.clicks_per_turn)
    per_turn = f"{tool.clicks_per_turn} clicks, " if tool is not None and has_clicks else ""
    lead = mm_text(here, tool.lead_per_turn.mm) if tool is not None and tool.lead_per_turn is not None else ""
    counted = [pull for pull in state.pulls if not pull.struck_out]
    context = {
        "form": form_of(state, f"/practice/jobs/{quote(state.id)}/own"),
        "question": "What is your move?",
        "crumb": f"Your own moves · {len(state.pulls)} pulled",
        "said": _own_said(here, state),
        "aim": f"Aim {mm_text(here, aim.target_mm)}. {per_turn}{lead} a turn.",
        "clicks": {
            "name": "clicks",
            "label": "Clicks" if has_clicks else "Turns",
            "value": clicks,
            "problem": problem,
            "inputmode": "decimal",
            "maxlength": 8,
        },
        "ways": [
            {"value": "more", "label": "More stroke", "note": plus if more_is_plus else minus},
            {"value": "less", "label": "Less stroke", "note": minus if more_is_plus else plus},
        ],
        "way": way if way in ("more", "less") else "more",
        "caution": "Air off to turn. Eye protection on to pull.",
        "pulled": bool(counted),
        "show_address": _advice_address(here, state, shown=True),
        "chart": chart_of(here, state, advised=False),
        "sheet_notes": [here.lengths_note, "simulated"],
    }
    return show(here, state, "practice_own.html", context, step="dial_in", status_code=status_code)


def end_page(here: Desk, state: JobState) -> Response:
    """Dialled in: there is no release while anything is owed, and from here one's own work begins."""
    held = state.held or {}
    workshop: Workshop = here.request.app.state.workshop
    card = workshop.bench.store.summary(f"job:{DEMO_CARD_JOB}")
    buttons = []
    if card is not None and card.data.get("record"):
        address = f"/bench/jobs/{DEMO_CARD_JOB}/card"
        buttons.append({"label": "See the demo card", "do": "", "address": address, "kind": ""})
    own = {"label": "Start with my own insert", "do": "", "address": "/bench/jobs/new"}
    buttons.append({**own, "kind": "other" if buttons else ""})
    missing = owed(state)
    context = {
        "question": "Do you release it?",
        "crumb": inserts_used(practice_bench.used(state)),
        "said": f"Dialled in: mean {mm_text(here, float(held['estimate_mm']))}, "
        f"inside its limits with {float(held['confidence']) * 100:.1f} % confidence.",
        "owed": [{"text": text, "address": here.address(state.id, "prove")} for text in missing],
        "buttons": buttons,
        "aside": [
            {"label": "What the tool really was", "address": f"/practice/jobs/{quote(state.id)}/review"},
            {"label": "Another tool", "address": "/practice"},
        ],
        "chart": chart_of(here, state),
        "sheet_notes": [here.lengths_note, "simulated"],
    }
    return show(here, state, "practice_end.html", context, step="dial_in")


def _start_page(request: Request, *, problem: dict[str, Any] | None = None, status_code: int = 200) -> Response:
    here = desk(request, "practice")
    rows = []
    for row in here.book.store.summaries("job", limit=8):
        name = row.stream.partition(":")[2]
        temper = TEMPERAMENT_WORDS.get(str(row.data.get("temperament")), ("Own", "", ""))[0]
        pulls = int(row.data.get("pulls") or 0)
        note = f"{pulls} pull{'s' if pulls != 1 else ''}"
        rows.append(
            {
                "name": f"{temper} tool",
                "note": note,
                "address": here.address(name, "dial_in"),
                "review": f"/practice/jobs/{quote(name)}/review",
            }
        )
    choices = [{"value": key, "label": label, "note": note} for key, (label, note, _) in TEMPERAMENT_WORDS.items()]
    context = {
        "choices": choices,
        "lessons": [{"name": label, "text": text} for label, _, text in TEMPERAMENT_WORDS.values()],
        "rows": rows,
        "own": own_moves(request),
        "problem": problem,
    }
    return page(request, "practice.html", context, practice=True, status_code=status_code)


def _do_own(here: Desk, state: JobState, do: str, *, clicks: str, way: str, doing: Doing) -> str:
    book, said = here.book, f"/practice/jobs/{quote(state.id)}/said"
    if do == "pull":
        practice_bench.pull(book, state.id, doing=doing)
        return said
    if do == "again":
        practice_bench.read_again(book, state.id, doing=doing)
        return here.address(state.id, "dial_in")
    if do == "cycle":
        dial_in.dry_cycle(book, state.id, doing=doing)
        return here.address(state.id, "dial_in")
    if do == "hold":
        dial_in.hold(book, state.id, doing=doing)
        return here.address(state.id, "dial_in")
    if do != "turn":
        raise BadInput("This page does not know that button.", where="do", hint="Load the page again.")
    tool = tool_of(state)
    if tool is None:
        raise Unsafe("There is no tool in this job.", where="tool")
    sign = 1 if (way == "more") == (tool.plus_turns == "more stroke") else -1
    if tool.clicks_per_turn:
        dial_in.turn(book, state.id, doing=doing, clicks=sign * _clicks(clicks))
    else:
        dial_in.turn(book, state.id, doing=doing, turns=sign * _turns(clicks))
    return said


def _clicks(text: str) -> int:
    typed = text.strip()
    if not (typed.isascii() and typed.isdigit() and 0 < int(typed) <= _MOST_CLICKS):
        raise BadInput(
            f"“{typed[:20]}” is not a number of clicks." if typed else "How many clicks?",
            where="clicks",
            hint=f"A whole number from 1 to {_MOST_CLICKS}; choose the way below.",
        )
    return int(typed)


def _turns(text: str) -> float:
    from firstpull.units import parse_number

    value = float(parse_number(text, where="clicks"))
    if not 0 < value <= 40:
        raise BadInput("Between 0 and 40 turns.", where="clicks", hint="For example 0.31; choose the way below.")
    return value


def _own_said(here: Desk, state: JobState) -> str:
    counted = [pull for pull in state.pulls if not pull.struck_out]
    if not counted:
        return "Nothing has been pulled yet."
    last = counted[-1]
    place = "in the stack" if last.where == "stack" else "in the air"
    before = f", from {show_length(last.length_before, here.unit)}" if last.length_before else ""
    return f"{show_length(last.reading, here.unit)} {here.unit} {place}{before}."


def _advice_address(here: Desk, state: JobState, *, shown: bool) -> str:
    back = quote(here.address(state.id, "dial_in"), safe="")
    return f"/practice/advice?show={'yes' if shown else 'no'}&back={back}"


def _move_rows(here: Desk, state: JobState) -> list[list[str]]:
    """Pull by pull: what it said, what it really was, the best move then, what was done."""
    marks = {True: "✓ ", False: "✗ ", None: ""}
    return [
        [row.number, row.said, row.did, row.better, f"{marks[row.right]}{row.done}"]
        for row in practice_bench.looked_back(state, unit=here.unit)
    ]


def _truth_rows(here: Desk, state: JobState) -> list[list[str]]:
    """Each hidden number beside what the label or the bench said of it."""
    truth = practice_bench.simulated_tool(state).truth()
    tool, setting, reply = tool_of(state), state.setting or {}, state.advice or {}
    fine = 3 if here.unit == "mm" else 5

    def mm(value: float) -> str:
        return show_mm(value, here.unit, decimals=fine)

    label_lead = mm(tool.lead_per_turn.mm) if tool is not None and tool.lead_per_turn is not None else ""
    belief = reply.get("belief") or {}
    believed = mm(float(belief["length_mean"])) if belief and state.unit == "mm" else ""
    return [
        ["Mean set length in the stack", believed, mm(truth.mean_stack_length_mm)],
        ["Mean set length in the air", "", mm(truth.mean_air_length_mm)],
        ["Air to stack", mm(float(setting.get("air_to_stack_mm") or 0.0)), mm(truth.air_to_stack_mm)],
        ["Target", mm(float(setting.get("set_length_mm") or truth.target_length_mm)), mm(truth.target_length_mm)],
        ["Good joints from", mm(float(setting.get("set_length_min_mm") or 0.0)), mm(truth.length_shortest_good_mm)],
        ["Good joints to", mm(float(setting.get("set_length_max_mm") or 0.0)), mm(truth.length_longest_good_mm)],
        ["Stroke a turn", label_lead, mm(truth.lead_mm)],
        ["Play of the knob, turns", f"{tool.backlash_turns:g}" if tool is not None else "", f"{truth.play_turns:.3f}"],
        ["First pull after the air comes short by", "", mm(truth.cold_shortfall_mm)],
        ["Drift with every cycle", "0", mm(truth.drift_per_cycle_mm)],
        ["Scatter of a pull (sd)", mm(tool.process_sd_mm) if tool is not None else "", mm(truth.pull_sd_mm)],
        ["Scatter of free lengths (sd)", mm(dial_in.INSERT_LENGTH_SD_MM), mm(truth.insert_sd_mm)],
        ["Mean free length of the lot", "", mm(truth.lot_mean_length_mm)],
        ["The caliper reads long by", "0", mm(truth.caliper_bias_mm)],
    ]

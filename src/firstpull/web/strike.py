"""Strike out a pull or a ladder coupon: which one, and why. It stays in the record and no longer counts."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from firstpull.errors import BadInput
from firstpull.jobs import dial_in, force_set
from firstpull.record.job import Coupon, JobState, Pull
from firstpull.units import show_length
from firstpull.web.asking import asking, entry
from firstpull.web.desk import Desk, act, desk, form_of, need_name, show
from firstpull.web.trial_views import chart_of

router = APIRouter()

_MOST_SHOWN = 3
# what usually spoils a pull at the bench; anything else is typed (common practice)
REASONS = ("read the wrong insert", "typed wrongly", "pull was not complete", "not spun home")


@router.get("/{room}/jobs/{job}/dial-in/strike")
def ask_strike(request: Request, room: str, job: str) -> Response:
    """Which pull does not count, and why."""
    here = desk(request, room)
    return need_name(here) or _page(here, here.book.job(job), {})


@router.post("/{room}/jobs/{job}/dial-in/strike")
def do_strike(
    request: Request,
    room: str,
    job: str,
    of: Annotated[str, Form()] = "",
    why: Annotated[str, Form()] = "",
    reason: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """Strike it out with its reason: the words typed, else the one chosen."""
    here = desk(request, room)
    given = {"of": of, "why": why, "reason": reason}

    def perform() -> str:
        doing = here.doing({"expected": expected, "client_id": client_id})
        if not (of.isascii() and of.isdigit() and len(of) < 10):
            raise BadInput("Which one does not count?", where="of", hint="Choose one of them.")
        dial_in.strike_out(here.book, job, int(of), reason=reason.strip() or why, doing=doing)
        return here.address(job, "dial_in")

    def refused(problem: dict[str, Any], status: int) -> Response:
        return _page(here, here.book.job(job), given, problem=problem, status_code=status)

    return act(perform, refused)


def strikeable(state: JobState) -> list[Pull | Coupon]:
    """What can be struck out while dialling in, newest first: pulls, or on a force-set tool the ladder's coupons."""
    items: list[Pull | Coupon] = [pull for pull in state.pulls if not pull.struck_out]
    items += [coupon for coupon in force_set.ladder_coupons(state) if not coupon.struck_out]
    return sorted(items, key=lambda item: -item.sequence)[:_MOST_SHOWN]


def strike_button(here: Desk, state: JobState) -> list[dict[str, str]]:
    """The way to this screen, where there is something to strike out."""
    if not strikeable(state):
        return []
    address = f"{here.address(state.id, 'dial_in')}/strike"
    return [{"label": "Strike out", "do": "", "address": address, "kind": "other"}]


def _page(
    here: Desk,
    state: JobState,
    given: dict[str, str],
    *,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    items = strikeable(state)
    address = here.address(state.id, "dial_in")
    newest = str(items[0].sequence) if items else ""
    which = {
        "name": "of",
        "legend": "Pull",
        "choices": [{"value": str(item.sequence), "label": _label(here, state, item), "note": ""} for item in items],
        "chosen": given.get("of") or newest,
        "hide_legend": True,
        "across": 3,
    }
    why = {
        "name": "why",
        "legend": "Why",
        "choices": [{"value": text, "label": text, "note": ""} for text in REASONS],
        "chosen": given.get("why", ""),
        "hide_legend": True,
        "across": 2,
    }
    context = asking(
        form=form_of(state, f"{address}/strike"),
        title="Strike out",
        question="Which pull does not count, and why?" if items else "There is nothing to strike out.",
        choices=[which, why] if items else [],
        fields=[entry("reason", "Or in your words", given.get("reason", ""), problem=problem)] if items else [],
        buttons=[
            *([{"label": "Strike it out", "do": "strike"}] if items else []),
            {"label": "Back", "do": "", "address": address, "kind": "other" if items else ""},
        ],
        drawing="" if force_set.ladder_coupons(state) else chart_of(here, state),
        drawing_title="It stays in the record, with its reason",
        drawing_notes=[here.lengths_note],
    )
    return show(here, state, "steps/question.html", context, step="dial_in", status_code=status_code)


def _label(here: Desk, state: JobState, item: Pull | Coupon) -> str:
    if isinstance(item, Coupon):
        return f"Coupon {item.number}"
    number = 1 + [pull.sequence for pull in state.pulls].index(item.sequence)
    return f"{number}: {show_length(item.reading, here.unit)}"

"""The hand-over page: what was proven, what is owed, who releases; the card beside it, on screen and on paper."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs import hand_over, open_job, path
from firstpull.jobs.workshop import Doing
from firstpull.record.job import JobState
from firstpull.record.rules import release_hindrances
from firstpull.units import LengthUnit, show_mm
from firstpull.web.asking import asking, entry
from firstpull.web.card import card_html, card_page
from firstpull.web.desk import NOBODY_IN_PRACTICE, Desk, act, desk, form_of, need_name, show
from firstpull.web.person import person_of
from firstpull.web.typed import show_pressure

router = APIRouter()


@router.get("/{room}/jobs/{job}/hand-over")
def show_hand_over(request: Request, room: str, job: str) -> Response:
    """The draft card with what is owed, or the released card."""
    here = desk(request, room)
    return need_name(here) or _page(here, here.book.job(job))


@router.post("/{room}/jobs/{job}/hand-over")
def do_release(
    request: Request,
    room: str,
    job: str,
    do: Annotated[str, Form()] = "release",
    name: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """Release in the name given. Refused with every reason while anything is owed."""
    here = desk(request, room)

    def perform() -> str:
        if do != "release":
            raise BadInput("This page does not know that button.", where="do", hint="Load the page again.")
        asked = here.doing({"expected": expected, "client_id": client_id})
        who = " ".join(name.split())
        if not who:
            raise BadInput("A release needs a person’s name.", where="name", hint="Who answers for this setting?")
        hand_over.release(here.book, job, doing=Doing(who, asked.seen, asked.slip))
        return here.address(job, "hand_over")

    def refused(problem: dict[str, Any], status: int) -> Response:
        return _page(here, here.book.job(job), name=name, problem=problem, status_code=status)

    return act(perform, refused)


@router.get("/{room}/jobs/{job}/card")
def show_card(request: Request, room: str, job: str, unit: str = "") -> Response:
    """The released card as a page to print, in the unit it was proved in unless ``unit`` says otherwise."""
    here = desk(request, room)
    state = here.book.job(job)
    card = hand_over.card_of(here.book, state)
    return card_page(here, state, card, unit=_unit(unit) or _proved_unit(card))


@router.get("/{room}/jobs/{job}/card.pdf")
def show_pdf(request: Request, room: str, job: str, size: str = "A5", unit: str = "") -> Response:
    """The released card as PDF."""
    here = desk(request, room)
    made = hand_over.card_pdf(here.book, job, size=size, unit=_unit(unit))
    name = "".join(letter if letter.isascii() and (letter.isalnum() or letter in "._-") else "-" for letter in job)
    headers = {"Content-Disposition": f'inline; filename="{name}-{size}.pdf"', "Cache-Control": "no-store"}
    return Response(made, media_type="application/pdf", headers=headers)


@router.get("/{room}/jobs/{job}/revise")
def show_revise(request: Request, room: str, job: str) -> Response:
    """Asks why a new revision is opened."""
    here = desk(request, room)
    return need_name(here) or _revise_page(here, here.book.job(job))


@router.post("/{room}/jobs/{job}/revise")
def do_revise(
    request: Request,
    room: str,
    job: str,
    reason: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """Open the next revision; the card that stands now is replaced by it."""
    here = desk(request, room)

    def perform() -> str:
        doing = here.doing({"expected": expected, "client_id": client_id})
        return here.address(open_job.revise(here.book, job, reason=reason, doing=doing).id)

    def refused(problem: dict[str, Any], status: int) -> Response:
        return _revise_page(here, here.book.job(job), reason=reason, problem=problem, status_code=status)

    return act(perform, refused)


def _page(
    here: Desk,
    state: JobState,
    *,
    name: str = "",
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    if state.setting is None:
        raise Unsafe("There is no setting yet.", where=state.id, hint="Choose the insert and set up the tool first.")
    released = state.released
    card = hand_over.card_of(here.book, state) if released else hand_over.draft_card(here.book, state.id)
    owed = [] if released else owed_rows(here, state)
    who = name or person_of(here.request) or (NOBODY_IN_PRACTICE if here.practice else "")
    context = {
        "form": form_of(state, here.address(state.id, "hand_over")),
        "question": _question(state, owed),
        "verdict": _verdict(state),
        "shown": str((state.proof or {}).get("sentence", "")) if state.good_coupons and not released else "",
        "proven": _proven(here, card),
        "owed_here": owed,
        "name": entry("name", "Who releases it?", who, problem=problem),
        "release": None if released or owed else {"label": "Release it", "do": "release"},
        "released": _released(here, state) if released else None,
        "standing": str(card["standing"]) if released else "",
        "ways": _ways(here, state) if released else [],
        "problem": problem,
        "card": card_html(card, unit=here.unit),
        "card_notes": [here.lengths_note, *_unit_note(here, card), *(["practice"] if here.practice else [])],
    }
    return show(here, state, "steps/hand_over.html", context, step="hand_over", status_code=status_code)


def owed_rows(here: Desk, state: JobState) -> list[dict[str, str]]:
    """Everything still owed, each with the step where it is settled."""
    rows = [
        {"text": stage.note, "address": here.address(state.id, stage.name.replace(" ", "_"))}
        for stage in path.path(state)
        if stage.name in ("choose", "set up", "dial in") and stage.note
    ]
    if rows:
        return rows
    return [{"text": text, "address": here.address(state.id, _settled_at(text))} for text in release_hindrances(state)]


def _settled_at(text: str) -> str:
    return "set_up" if "window" in text else "prove"


def _question(state: JobState, owed: list[dict[str, str]]) -> str:
    if state.superseded_by:
        return "This card was replaced."
    if state.stopped:
        return "This card is locked by a stop."
    if state.released:
        return "Released: the card is frozen."
    return "It can not be released yet." if owed else "Do you release it?"


def _verdict(state: JobState) -> str:
    good = sum(coupon.purpose == "proof" for coupon in state.good_coupons)
    if not good:
        return "No coupon has been proven for this setting yet."
    return f"{good} coupon{'' if good == 1 else 's'} passed every check."


def _proven(here: Desk, card: dict[str, Any]) -> list[dict[str, str]]:
    setting, unit = card["setting"], here.unit
    rows = []
    if setting.get("pressure_bar") is not None:
        low, high = setting.get("pressure_bar_min"), setting.get("pressure_bar_max")
        band = "" if low is None else f"{show_pressure(low, unit, bare=True)} to {show_pressure(high, unit, bare=True)}"
        rows.append({"name": "Pressure", "value": show_pressure(setting["pressure_bar"], unit), "note": band})
    elif setting.get("set_length_mm") is not None:
        rows.append({"name": "Set length", "value": _span(setting, "set_length", unit), "note": ""})
    if card["released_by"] and setting.get("stroke_mm") is not None and setting.get("pressure_bar") is None:
        rows.append({"name": "Stroke", "value": _span(setting, "stroke", unit), "note": ""})
    if card["proof"]["by"]:
        rows.append({"name": "Proven by", "value": str(card["proof"]["by"]), "note": ""})
    return rows


def _span(setting: dict[str, Any], name: str, unit: LengthUnit) -> str:
    low, high = setting.get(f"{name}_min_mm"), setting.get(f"{name}_max_mm")
    text = show_mm(float(setting[f"{name}_mm"]), unit)
    return text if low is None or high is None else f"{text} ({show_mm(low, unit)} to {show_mm(high, unit)})"


def _released(here: Desk, state: JobState) -> dict[str, Any]:
    before = []
    if state.superseded_by:
        before = [{"label": "The new revision", "address": here.address(state.superseded_by)}]
    elif state.stopped:
        before = [{"label": "Prove it again", "address": here.address(state.id, "prove")}]
    return {"card_address": here.address(state.id, "card"), "pdf_path": "", "print_failed": False, "before": before}


def _ways(here: Desk, state: JobState) -> list[dict[str, str]]:
    pdf = here.address(state.id, "card.pdf")
    ways = [
        {"label": "PDF A5", "address": f"{pdf}?size=A5"},
        {"label": "PDF A4", "address": f"{pdf}?size=A4"},
        {"label": "Operator’s page", "address": here.address(state.id, "operator")},
    ]
    if state.superseded_by:
        return ways
    return [*ways, {"label": "Open a new revision", "address": here.address(state.id, "revise")}]


def _unit_note(here: Desk, card: dict[str, Any]) -> list[str]:
    return [] if card["unit"] == here.unit else [f"proved in {card['unit']}, shown in {here.unit}"]


def _unit(text: str) -> LengthUnit | None:
    if text == "":
        return None
    if text == "mm":
        return "mm"
    if text == "in":
        return "in"
    raise BadInput(f"“{text[:20]}” is not a unit of a card.", where="unit", hint="mm or in.")


def _proved_unit(card: dict[str, Any]) -> LengthUnit:
    return "in" if card["unit"] == "in" else "mm"


def _revise_page(
    here: Desk, state: JobState, *, reason: str = "", problem: dict[str, Any] | None = None, status_code: int = 200
) -> Response:
    back = here.address(state.id, "hand_over")
    context = asking(
        form=form_of(state, here.address(state.id, "revise")),
        title="New revision",
        question="Why is it revised?",
        crumb=f"Revision {state.revision} is replaced",
        fields=[entry("reason", "Reason", reason, note="for example “new sheet supplier”", problem=problem)],
        why=[
            "The old card stays readable and says that it was replaced.",
            "The new revision is dialled in and proven again.",
        ],
        buttons=[
            {"label": "Open the new revision", "do": "revise"},
            {"label": "Back", "address": back, "kind": "other"},
        ],
        lines=[
            "Stack, insert and tool are taken over.",
            "The setting, the dial-in and the coupons are not: they begin again.",
        ],
        drawing_title="What a new revision takes over",
    )
    return show(here, state, "steps/question.html", context, step="hand_over", status_code=status_code)

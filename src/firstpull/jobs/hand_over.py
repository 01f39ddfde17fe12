"""Hand over: a person releases, the setup card is frozen, and its paper carries the record's id and hash."""

from __future__ import annotations

from typing import Any, Literal

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs import look_after
from firstpull.jobs.card_lines import build_card
from firstpull.jobs.workshop import Book, Doing
from firstpull.record.job import JobState
from firstpull.record.rules import release_hindrances
from firstpull.units import LengthUnit


def release(book: Book, job_id: str, *, doing: Doing) -> JobState:
    """Release the setting in ``doing.by``'s name and freeze the card.

    Raises Unsafe with every reason that stands in the way; the record's own rules refuse it too, on every interface.
    """
    doing = doing.checked()
    state = book.job(job_id)
    if state.released and book.repeats(state.stream, doing):
        return state
    reasons = release_hindrances(state)
    if reasons:
        raise Unsafe("This can not be released yet.", where=job_id, reasons=reasons)
    card = build_card(state, overdue=_overdue(book, state))
    seen = state.sequence if doing.seen is None else doing.seen
    release_data = {"name": doing.by, "card": card}
    book.write(f"job:{job_id}", [("Released", release_data)], Doing(doing.by, seen, doing.slip), tool=state.tool_id)
    return book.job(job_id)


def card_of(book: Book, state: JobState) -> dict[str, Any]:
    """The released card as it was frozen, with the hash and moment of its release. Raises Unsafe before a release."""
    if not state.released or state.card is None:
        raise Unsafe(
            "There is no released card.",
            where=state.id,
            hint="Prove and release the setting first.",
            reasons=release_hindrances(state),
        )
    return {
        **state.card,
        "record_id": f"{state.id}#{state.release_sequence}",
        "hash": state.release_hash,
        "released_by": state.released_by,
        "released_at": state.released_at,
        "practice": book.practice,
        "standing": {"superseded": f"replaced by {state.superseded_by}", "stopped": "STOPPED: set no more"}.get(
            state.status, ""
        ),
    }


def card_pdf(book: Book, job_id: str, *, size: str = "A5", unit: LengthUnit | None = None) -> bytes:
    """The released card as PDF, A5, A4 or Letter, in the unit the job was proved in unless ``unit`` says otherwise.

    Raises BadInput for another size, Unsafe before a release.
    """
    from firstpull.paper import card_pdf as draw

    sizes: dict[str, Literal["A4", "A5", "Letter"]] = {"A4": "A4", "A5": "A5", "Letter": "Letter"}
    if size not in sizes:
        raise BadInput(f"“{size}” is not a size of card.", where="size", hint="A5, A4 or Letter.")
    card = card_of(book, book.job(job_id))
    return draw(card, size=sizes[size], unit=unit or card["unit"])


def draft_card(book: Book, job_id: str) -> dict[str, Any]:
    """The card as it would be released now, for looking at before the release. Not a card to set by."""
    state = book.job(job_id)
    if state.setting is None:
        raise Unsafe(
            "There is no setting yet.", where=job_id, hint="Describe the stack, the insert and the tool first."
        )
    return {
        **build_card(state, overdue=_overdue(book, state)),
        "record_id": f"{state.id} (not released)",
        "hash": "",
        "released_by": "",
        "released_at": "",
        "practice": book.practice,
        "standing": "NOT RELEASED",
    }


def _overdue(book: Book, state: JobState) -> tuple[str, ...]:
    """What was past its date or its limit when this was proven: the card says so as well."""
    return look_after.warnings_for(book, tool_id=state.tool_id, gauge_id=state.gauge_id)

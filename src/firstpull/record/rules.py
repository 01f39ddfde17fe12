"""What may follow what in a job's record. Checked inside the transaction of every append and on every import,
so that no interface can release without proof or change a released card.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from firstpull.errors import BadInput, Unsafe
from firstpull.record.event import Event
from firstpull.record.forms import check_form
from firstpull.record.job import Coupon, JobState, Pull, RunCheck, fold_job

_AFTER_RELEASE = frozenset({"RunChecked", "RunCounted", "Stopped", "ReadingStruckOut", "Superseded", "NoteWritten"})
# a stop may be cured at the knob; the card and its window stay as they are, and only coupons reopen the run
_CURES = frozenset(
    {
        "FreeLengthMeasured",
        "LotMeasured",
        "TrialPulled",
        "ReadAgain",
        "AdjusterTurned",
        "DryCycled",
        "AirReconnected",
        "PressureSet",
        "AdviceGiven",
    }
)
_WHILE_STOPPED = _CURES | {"CouponChecked", "Reopened", "ReadingStruckOut", "RunCounted", "Superseded", "NoteWritten"}
# what stands in addresses and file names: no slash, no space, no leading dot
_JOB_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")
LEAST_COUPONS = 3  # at each end, where the plan says nothing else
_NEED_SETTING = frozenset({"SettingHeld", "CouponChecked", "TrialPulled", "AdjusterTurned", "PressureSet"})


def guard_job(before: Sequence[Event], new: Iterable[Event]) -> JobState:
    """Fold ``before`` and then each of ``new``, checking each against the rules. Returns the state after.

    Raises Unsafe when something may not be done, BadInput when it makes no sense there.
    """
    state = fold_job(before) if before else None
    for event in new:
        _check(state, event)
        state = fold_job([event], state)
    if state is None:
        raise BadInput("A job needs at least one event.")
    return state


def release_hindrances(state: JobState) -> tuple[str, ...]:
    """Why this job can not be released, in words; empty when nothing stands in the way."""
    reasons = []
    if state.released:
        reasons.append("It is released already; open a new revision.")
    if state.setting is None:
        reasons.append("No setting has been computed.")
    elif not state.setting.get("releasable"):
        reasons.append("The setting has no window with a source, so there is nothing to prove against.")
    if state.held is None:
        reasons.append("The tool has not been dialled in.")
    if state.proof is None or state.proof_sequence < state.changed_sequence:
        reasons.append("The setting as it stands now has not been proven on coupons.")
    else:
        if not state.proof.get("passed"):
            reasons.extend(state.proof.get("owed") or ["The proof has not passed."])
        good = sum(coupon.purpose == "proof" for coupon in state.good_coupons)
        if good < max(int(state.plan.get("coupons_each_end", LEAST_COUPONS)), 1):
            reasons.append("Too few good coupons count for this setting.")
    if any(coupon.counts and not coupon.passed for coupon in state.coupons):
        reasons.append("A coupon of this setting failed; cure the cause, then prove again.")
    return tuple(reasons)


def reopen_hindrances(state: JobState) -> tuple[str, ...]:
    """Why a stopped job can not go on; empty when it was proven again since the stop."""
    if not state.stopped:
        return ("It is not stopped.",)
    since = [c for c in state.coupons if c.sequence > state.stops[-1].sequence and c.counts]
    wanted = int(state.plan.get("coupons_again", 3))
    reasons = []
    if any(not coupon.passed for coupon in since):
        reasons.append("A coupon pulled after the stop failed; strike it out with its reason or open a new revision.")
    good = sum(coupon.shown for coupon in since)
    if good < wanted:
        missing = wanted - good
        reasons.append(f"{missing} more good coupon{'s' if missing > 1 else ''} after the stop.")
    return tuple(reasons)


def _check(state: JobState | None, event: Event) -> None:
    place = f"{event.stream} {event.sequence}"
    check_form(event)
    if (state is None) != (event.type == "JobOpened"):
        raise BadInput("A job begins with its opening, once.", where=place)
    if state is None:
        if not _JOB_ID.fullmatch(event.stream.partition(":")[2]):
            raise BadInput("That is not the id of a job.", where=place, hint="Letters, digits, dash and dot, up to 80.")
        return
    if state.superseded_by:
        raise Unsafe(f"This revision was replaced by {state.superseded_by}.", where=place, hint="Work on that one.")
    if event.type == "Released":
        reasons = release_hindrances(state)
        if reasons:
            raise Unsafe("This can not be released yet.", where=place, reasons=reasons)
        if not str(event.data.get("name", "")).strip():
            raise BadInput("A release needs a person's name.", where="name", hint="Who answers for it?")
        _check_card(state, event, place)
        return
    if event.type == "Reopened":
        reasons = reopen_hindrances(state)
        if reasons:
            raise Unsafe("The run can not go on yet.", where=place, reasons=reasons)
        return
    _check_phase(state, event, place)
    _check_reference(state, event, place)


def _check_card(state: JobState, event: Event, place: str) -> None:
    """A card says what was proven: this job's stroke and set length, and limits that are no wider."""
    card, proven = event.data["card"], state.setting or {}
    shown = card.get("setting")
    same = card.get("job") == state.id and isinstance(shown, dict)
    if same:
        same = all(shown.get(name) == proven.get(name) for name in ("stroke_mm", "set_length_mm"))
        same = same and all(_within(shown, proven, name) for name in ("stroke", "set_length"))
    if not same:
        raise BadInput("The card is not of the setting that was proven.", where=place, hint="Release it again.")


def _within(shown: Mapping[str, Any], proven: Mapping[str, Any], name: str) -> bool:
    low, high = shown.get(f"{name}_min_mm"), shown.get(f"{name}_max_mm")
    least, most = proven.get(f"{name}_min_mm"), proven.get(f"{name}_max_mm")
    if least is None or most is None:
        return True
    if not isinstance(low, (int, float)) or not isinstance(high, (int, float)):
        return False
    return bool(least <= low <= high <= most)


def _check_phase(state: JobState, event: Event, place: str) -> None:
    if state.stopped:
        if event.type not in _WHILE_STOPPED:
            raise Unsafe("The run is stopped.", where=place, hint="Prove the setting again on coupons, then reopen it.")
    elif state.released and event.type not in _AFTER_RELEASE:
        raise Unsafe("A released job is frozen.", where=place, hint="Open a new revision to change it.")
    elif not state.released and event.type in {"RunChecked", "RunCounted", "Stopped"}:
        raise Unsafe(
            "There is no released card to run against.", where=place, hint="Prove and release the setting first."
        )
    if event.type in _NEED_SETTING and state.setting is None and not _ladder_rung(state, event):
        raise Unsafe("There is no setting yet.", where=place, hint="Describe the stack, the insert and the tool first.")


def _ladder_rung(state: JobState, event: Event) -> bool:
    """A coupon of the ladder that finds the allowance comes before any setting; it needs stack and insert only."""
    ladder = event.type == "CouponChecked" and event.data.get("purpose") == "ladder"
    return ladder and state.stack is not None and state.insert is not None


def _check_reference(state: JobState, event: Event, place: str) -> None:
    """A strike-out or a second reading must name something that is there and still counts."""
    if event.type == "ReadAgain" and event.data["of"] not in {p.sequence for p in state.pulls}:
        raise BadInput("There is no such pull to read again.", where=place)
    if event.type != "ReadingStruckOut":
        return
    if not str(event.data.get("reason", "")).strip():
        raise BadInput(
            "A reading is struck out with a reason.", where="reason", hint="For example “read the wrong insert”."
        )
    items: list[Pull | Coupon | RunCheck] = [*state.pulls, *state.coupons, *state.checks]
    known = {item.sequence: item.struck_out for item in items}
    of = event.data["of"]
    if of not in known:
        raise BadInput("There is no such reading to strike out.", where=place)
    if known[of]:
        raise BadInput("That reading is struck out already.", where=place)
    if state.released and of < state.release_sequence:
        raise Unsafe(
            "What the released card stands on can not be struck out.", where=place, hint="Open a new revision."
        )

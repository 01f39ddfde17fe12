"""Each decision in one plain sentence, in the job's own unit, and as the reply object of version 1."""

from __future__ import annotations

from typing import Any

from firstpull.statistics.dial_in.decide import Decision
from firstpull.statistics.dial_in.plan import MOST_COUNTED, inserts_expected, lengths_that_save
from firstpull.statistics.dial_in.request import Job, Pull, Request

_REFUSED = {
    "unreachable_max": "The stroke is at its limit and the sets stay too long at {mean}: use a tool with more stroke, or check mandrel, anvil and air.",
    "unreachable_min": "The stroke cannot be made small enough and the sets stay too short at {mean}: check the anvil, or use a tool with less stroke.",
    "detent_limited": "One click moves the set length by more than the window, and no click position is inside: widen the window or use a finer adjuster.",
    "not_converged": "{pulls} inserts are used and the mean is still not known well enough: look for play, a loose adjuster or a sticking tool.",
    "inconsistent_data": "Too many readings do not fit each other: check the gauge, its zero and its unit, then start again.",
    "stalled": "The sets stay at {mean} whatever the knob does: raise the pressure within the tool's rating or have the tool serviced; do not turn further.",
    "incomplete_cycle": "Two pulls were not complete: hold the trigger through the full pull, spin the insert fully home, and check the tool.",
    "gave_up": "The knob was turned many times without a result: have the adjuster and the tool checked.",
}


def shown_length(value_mm: float, request: Request) -> str:
    """A length as a technician reads it: 0.01 mm or 0.0001 in."""
    unit = request.job.units
    value = value_mm / request.job.millimetres
    return f"{value:.4f} in" if unit == "in" else f"{value:.2f} mm"


def reply(decision: Decision, request: Request) -> dict[str, Any]:
    """The reply object: the action with its fields, then ``why``, ``belief`` and ``expected``."""
    job = request.job
    answer: dict[str, Any] = {"action": decision.action}
    if decision.action == "turn":
        answer.update(_knob_fields(decision, request))
    if decision.action == "pull" and job.shift is not None:
        answer["where"] = decision.where
    if decision.action == "release":
        answer["confidence"] = _probability(decision.confidence)
        answer["estimate"] = _length(decision.belief.mean_mm, request)
    if decision.action == "refuse":
        answer["reason"] = decision.reason
        answer["confidence"] = _probability(decision.confidence)
    if decision.action in ("release", "refuse"):
        answer["suspect_readings"] = [list(pair) for pair in decision.suspect_readings]
        answer["suspect_pulls"] = list(decision.suspect_pulls)
    answer["why"] = sentence(decision, request)
    answer["belief"] = {
        "length_mean": _length(decision.belief.mean_mm, request),
        "length_sd": _length(decision.belief.sd_mm, request),
        "p_inside": _probability(decision.belief.p_inside),
        "usual_sd": _length(decision.belief.usual_sd_mm, request),
    }
    answer["expected"] = expected_fields(decision, request)
    if request.ignored:
        answer["ignored"] = list(request.ignored)
    return answer


def expected_fields(decision: Decision, request: Request) -> dict[str, float]:
    """What the next pull should read after this action, job units."""
    return {
        "reading": _length(decision.expected.mean_mm, request),
        "reading_sd": _length(decision.expected.sd_mm, request),
    }


def _knob_fields(decision: Decision, request: Request) -> dict[str, Any]:
    """The order; ``then`` names the step that the next reply is going to order after a move past the aim."""
    fields = _knob_step(decision.steps_turns[0], request)
    if len(decision.steps_turns) > 1:
        fields["then"] = _knob_step(decision.steps_turns[1], request)
    if decision.dry_cycles:
        fields["dry_cycles"] = decision.dry_cycles
    return fields


def _knob_step(more_turns: float, request: Request) -> dict[str, Any]:
    job = request.job
    turns = more_turns if job.plus_is_more else -more_turns
    return {"turns": round(turns, 4)} if job.clicks_per_turn is None else {"clicks": round(turns * job.clicks_per_turn)}


def sentence(decision: Decision, request: Request) -> str:
    """One plain sentence for the technician."""
    job = request.job
    mean = shown_length(decision.belief.mean_mm, request)
    expected = shown_length(decision.expected.mean_mm, request)
    if decision.action == "refuse":
        return _REFUSED[decision.reason].format(mean=mean, pulls=job.max_pulls)
    if decision.action == "release":
        limits = f"{shown_length(job.low_mm, request)} to {shown_length(job.high_mm, request)}"
        return f"The mean is {mean}, inside {limits} with {_percent(decision.confidence)} confidence."
    if decision.action == "remeasure":
        return {
            "unlikely": f"That reading is not possible here (about {expected} was expected): read the same insert again, and check unit and zero.",
            "confirm": "Read the same insert again: a second reading costs no insert and rules out a misread.",
            "disagree": "The readings of this insert do not agree: read it once more; all readings are kept.",
        }[decision.cause]
    if decision.action == "dry_cycle":
        return "Cycle the tool once without an insert: the first pull after connecting the air is not like the rest."
    if decision.action == "turn":
        return _turn_sentence(decision, request, expected=expected)
    return _pull_sentence(decision, request, mean=mean, expected=expected)


def _turn_sentence(decision: Decision, request: Request, *, expected: str) -> str:
    job = request.job
    turns = abs(decision.steps_turns[0])
    clicks = None if job.clicks_per_turn is None else round(turns * job.clicks_per_turn)
    amount = f"{turns:.2f} turns" if clicks is None else f"{clicks} click{'' if clicks == 1 else 's'}"
    direction = "more" if decision.steps_turns[0] > 0 else "less"
    if decision.cause == "take_up":
        return f"Turn {amount} towards {direction} stroke to take up the play of the knob before the first pull."
    if decision.cause == "back_off":
        return f"Turn {amount} towards less stroke, past the aim, so that the next turn finishes towards more stroke without play."
    if decision.cause == "apart":
        return f"Turn {amount} towards {direction} stroke: the next pull stands long on purpose, to show that the knob acts; expect {expected}."
    if decision.cause == "proof":
        return f"The knob may be without effect here: turn {amount} towards {direction} stroke, so that the next pull shows it; expect {expected}."
    off = decision.belief.mean_mm - job.aim_mm
    word = "long" if off > 0 else "short"
    pulled = any(isinstance(event, Pull) and not event.struck_out for event in request.events)
    subject = "The sets are" if pulled else "The present setting is believed to be"
    return (
        f"{subject} about {shown_length(abs(off), request)} too {word}: turn {amount} towards {direction} stroke; "
        f"expect {expected} then."
    )


def _pull_sentence(decision: Decision, request: Request, *, mean: str, expected: str) -> str:
    place = " in the stack" if decision.where == "stack" else ""
    if decision.cause == "acts":
        return f"Pull one more in the stack: it shows that the knob moved the sets there too; expect {expected}."
    if decision.cause == "first":
        return f"Pull one sacrificial insert{place} and measure it: {_count_sentence(request.job)}."
    chance = _percent(decision.belief.p_inside)
    return f"The mean is believed at {mean}, inside with {chance} so far: pull another{place}; expect {expected}."


def _count_sentence(job: Job) -> str:
    """How many inserts to expect, and what would save some."""
    count = inserts_expected(job, measured=job.length_before_available)
    if count is None:
        said = f"with this scatter more than {MOST_COUNTED} inserts would be needed for {_percent(job.confidence)}"
    else:
        said = f"about {count} in all are to be expected"
    if job.length_before_available:
        lengths = lengths_that_save(job)
        fewer = None if lengths is None else inserts_expected(job, measured=True, more_lengths=lengths)
        return (
            said
            if fewer is None
            else f"{said}, about {fewer} if {lengths} more free lengths of the lot are measured first"
        )
    saved = inserts_expected(job, measured=True)
    if saved is None or (count is not None and saved >= count):
        return said
    return f"{said}, about {saved} if each is measured before its pull"


def _percent(p: float) -> str:
    return f"{100 * min(p, 0.9999):.1f} %" if p < 0.999 else f"{100 * min(p, 0.9999):.2f} %"


def _probability(p: float) -> float:
    return round(min(max(p, 0.0), 1.0), 6)


def _length(value_mm: float, request: Request) -> float:
    return round(value_mm / request.job.millimetres, 7)

"""What the coupons show, what is owed, and the screens that change the plan or strike a coupon out."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from firstpull.errors import BadInput
from firstpull.jobs import dial_in, proof_words, prove
from firstpull.jobs.proof_shows import pass_or_fail
from firstpull.jobs.shapes import tool_of
from firstpull.record.job import Coupon, JobState
from firstpull.units import show_length, show_mm
from firstpull.web.asking import asking, entry
from firstpull.web.confirm import wants_air_pull
from firstpull.web.desk import Desk, act, desk, form_of, need_name, show
from firstpull.web.drawings import joint_of
from firstpull.web.typed import (
    NM_PER_LBF_IN,
    show_pressure,
    show_torque,
    torque_unit,
    typed_count,
    typed_share,
    typed_torque,
)

router = APIRouter()
_END_WORDS = {"thin": "thin", "thick": "thick", "as measured": "–"}
_CHECK_WORDS = {
    "flush": "head not flush",
    "gap": "gap under the head",
    "tilt": "tilted",
    "turn": "turns in the hole",
    "thread_gauge": "thread gauge sticks",
    "blind_head": "blind head uneven or cracked",
    "section": "fold open or torn",
    "torque": "moved too early",
    "set_length": "set length outside the window",
}
_OPEN_WORDS = {"set_length": "length", "torque": "torque"}
# field of the plan screens → its label; the first screen holds what a release needs, the second what a run needs
_PROOF_FIELDS = {
    "coupons_each_end": "Coupons each end",
    "sections": "Cut through",
    "torque_tests": "Turning tests",
    "torque_min": "Least torque",
    "reliability": "Good sets promised",
    "confidence": "With confidence",
}
_RUN_FIELDS = {
    "check_every_sets": "Every … sets",
    "check_every_minutes": "Every … minutes",
    "coupons_again": "Coupons after a stop",
}


def verdict_page(
    here: Desk, state: JobState, *, problem: dict[str, Any] | None = None, status_code: int = 200
) -> Response:
    """The verdict so far: what was achieved, what is owed, and the way on."""
    verdict = prove.verdict_of(state)
    again = prove.again_of(state) if state.stopped else None
    owed = list(again.owed) if again else [] if state.released else list(verdict["owed"])
    sentence = _shown_sentence(state, verdict, again)
    context = {
        "form": form_of(state, here.address(state.id, "prove")),
        "question": _question(state, owed),
        "crumb": _ends_text(here, state),
        "failed": _failed(here, state),
        "achieved": sentence,
        "measured": _measured_lines(here, state, verdict) if again is None else [],
        "next": verdict["next"] if again is None and not state.released and state.held is not None else "",
        "owed_here": [{"text": text, "address": _owed_at(here, state, text)} for text in owed],
        "owed_said": not state.released or state.stopped,
        "problem": problem,
        "buttons": _buttons(here, state, owed),
        "ways": _ways(here, state),
        "coupons": _coupon_rows(here, state),
        "torque_unit": torque_unit(here.unit),
        "drawing": "" if state.coupons else joint_of(state, unit=here.unit),
        "sheet_notes": [here.lengths_note, *(["simulated"] if here.practice else [])],
    }
    return show(here, state, "steps/proof.html", context, step="prove", status_code=status_code)


@router.get("/{room}/jobs/{job}/prove/plan")
def show_plan(request: Request, room: str, job: str, part: str = "proof") -> Response:
    """The plan of the proof (``part=proof``) or of the checks in the run (``part=run``)."""
    here = desk(request, room)
    return need_name(here) or _plan_page(here, here.book.job(job), part)


@router.post("/{room}/jobs/{job}/prove/plan")
def change_plan(
    request: Request,
    room: str,
    job: str,
    *,
    part: Annotated[str, Form()] = "proof",
    coupons_each_end: Annotated[str, Form()] = "",
    sections: Annotated[str, Form()] = "",
    torque_tests: Annotated[str, Form()] = "",
    torque_min: Annotated[str, Form()] = "",
    reliability: Annotated[str, Form()] = "",
    confidence: Annotated[str, Form()] = "",
    check_every_sets: Annotated[str, Form()] = "",
    check_every_minutes: Annotated[str, Form()] = "",
    coupons_again: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """Change the plan; the proof is judged again by it."""
    here = desk(request, room)
    typed = {
        "coupons_each_end": coupons_each_end,
        "sections": sections,
        "torque_tests": torque_tests,
        "torque_min": torque_min,
        "reliability": reliability,
        "confidence": confidence,
        "check_every_sets": check_every_sets,
        "check_every_minutes": check_every_minutes,
        "coupons_again": coupons_again,
    }
    wrong: list[str] = []

    def perform() -> str:
        doing = here.doing({"expected": expected, "client_id": client_id})
        names = _RUN_FIELDS if part == "run" else _PROOF_FIELDS
        changes: dict[str, Any] = {}
        for name in names:
            wrong[:] = [name]
            key, value = _plan_value(here, name, typed[name])
            changes[key] = value
        if "reliability" in changes:  # one promise: of the lengths and of passing every check
            changes["share_inside"] = changes["reliability"]
        prove.change_plan(here.book, job, changes, doing=doing)
        return here.address(job, "prove")

    def refused(problem: dict[str, Any], status: int) -> Response:
        return _plan_page(here, here.book.job(job), part, typed=typed, wrong=wrong, problem=problem, status_code=status)

    return act(perform, refused)


@router.get("/{room}/jobs/{job}/prove/coupons")
def show_coupons(request: Request, room: str, job: str) -> Response:
    """The coupons that count, to strike one out with a reason."""
    here = desk(request, room)
    return need_name(here) or _coupons_page(here, here.book.job(job))


@router.post("/{room}/jobs/{job}/prove/coupons")
def strike_coupon(
    request: Request,
    room: str,
    job: str,
    of: Annotated[str, Form()] = "",
    reason: Annotated[str, Form()] = "",
    expected: Annotated[str, Form()] = "",
    client_id: Annotated[str, Form()] = "",
) -> Response:
    """Strike a coupon out: it stays in the record and no longer counts."""
    here = desk(request, room)

    def perform() -> str:
        doing = here.doing({"expected": expected, "client_id": client_id})
        if not of:
            raise BadInput("Which coupon?", where="of", hint="Choose one of the list.")
        if not reason.strip():
            raise BadInput("A coupon is struck out with a reason.", where="reason", hint="For example “wrong sheet”.")
        number = typed_count(of, "of", "There is no such coupon.", hint="Load the page again.")
        dial_in.strike_out(here.book, job, number, reason=reason, doing=doing)
        return here.address(job, "prove")

    def refused(problem: dict[str, Any], status: int) -> Response:
        state = here.book.job(job)
        return _coupons_page(here, state, of=of, reason=reason, problem=problem, status_code=status)

    return act(perform, refused)


def _question(state: JobState, owed: list[str]) -> str:
    if state.stopped:
        return "Prove it again after the stop." if owed else "Proven again. Let the run go on?"
    if state.released:
        return "It is proven and released."
    if state.held is None:
        tool = tool_of(state)
        force = tool is not None and tool.control == "force"
        return "The pressure is not held yet." if force else "The tool is not dialled in yet."
    if not owed:
        return "Proven as planned."
    if not any(coupon.counts and coupon.purpose == "proof" for coupon in state.coupons):
        return "Set the first coupon."
    return "What do the coupons show?"


def _ends_text(here: Desk, state: JobState) -> str:
    setting, wanted = state.setting or {}, prove.ends(state)
    low, high = (show_mm(float(setting[f"thickness_{end}_mm"]), here.unit) for end in ("low", "high"))
    if len(wanted) == 1:
        return f"One stack, {low} to {high} {here.unit}"
    return f"Thin to thick, {low} to {high} {here.unit}: coupons at both ends"


def _shown_sentence(state: JobState, verdict: dict[str, Any], again: prove.Again | None) -> str:
    """What the coupons alone show; "" before the first good one, which is when it would say nothing."""
    if again is not None:
        return again.sentence if again.good else ""
    if state.released and state.proof is not None:
        return str(state.proof.get("sentence", ""))
    return str(verdict["sentence"]) if verdict["good"] else ""


def _measured_lines(here: Desk, state: JobState, verdict: dict[str, Any]) -> list[str]:
    """What exactly is shown of each set, of their mean and of the turning torque, in the unit of the person."""
    return proof_words.details(state.proof if state.released and state.proof is not None else verdict, here.unit)


def _failed(here: Desk, state: JobState) -> dict[str, Any] | None:
    """The last coupon's failure, while it counts: cause and the step that cures it."""
    counting = [coupon for coupon in state.coupons if coupon.counts]
    if not counting or counting[-1].passed:
        return None
    last = counting[-1]
    cures = prove.failing_cures(last)
    words = ", ".join(_CHECK_WORDS.get(key, key) for key in last.failed)
    steps = list(dict.fromkeys(cure.cure for cure in cures))
    return {
        "what": f"Coupon {last.number} failed: {words}.",
        "cause": " ".join(dict.fromkeys(cure.cause for cure in cures)),
        "steps": [
            {"label": f"Go back to {step}", "address": here.address(state.id, step.replace(" ", "_"))} for step in steps
        ],
    }


def _buttons(here: Desk, state: JobState, owed: list[str]) -> list[dict[str, str]]:
    if state.stopped:
        if not owed:
            return [_button("Let the run go on", "reopen")]
        return [_set_button(here, state)]
    if state.superseded_by or state.released:
        return [_button("To the run", address=here.address(state.id, "run"))]
    if state.held is None:
        return [_button("Go on with dial in", address=here.address(state.id, "dial_in"))]
    if wants_air_pull(state):
        return [
            _button("Pull one in the air", address=here.address(state.id, "prove", "air")),
            _set_button(here, state, "other"),
        ]
    if not owed:
        more = {**_set_button(here, state), "label": "One more coupon", "kind": "other"}
        return [_button("Hand it over", address=here.address(state.id, "hand_over")), more]
    return [_set_button(here, state)]


def _set_button(here: Desk, state: JobState, kind: str = "") -> dict[str, str]:
    if here.practice:
        return _button("Set a coupon on the simulated tool", "simulate", kind=kind)
    end = {"thin": ", thinnest stack", "thick": ", thickest stack"}.get(prove.next_end(state), "")
    return _button(f"Coupon {1 + len(state.coupons)}{end}", "begin", kind=kind)


def _ways(here: Desk, state: JobState) -> list[dict[str, str]]:
    ways = []
    address = here.address(state.id, "prove")
    if not state.released:
        ways.append({"label": "Change the plan", "address": f"{address}/plan"})
    if any(coupon.counts for coupon in _strikeable(state)):
        ways.append({"label": "Strike out a coupon", "address": f"{address}/coupons"})
    return ways


def _strikeable(state: JobState) -> list[Coupon]:
    return [c for c in state.coupons if c.counts and (not state.released or c.sequence > state.release_sequence)]


def _owed_at(here: Desk, state: JobState, text: str) -> str:
    """Where something owed is settled, when that is not here."""
    return here.address(state.id, "prove", "air") if text.startswith("One air pull") else ""


def _coupon_rows(here: Desk, state: JobState) -> list[dict[str, Any]]:
    """The newest coupons first: number, stack, set length, torque and how it went."""
    rows = []
    for coupon in reversed(state.coupons):
        torque = coupon.checks.get("torque", {})
        if coupon.struck_out:
            kind, word = "later", f"struck out: {coupon.struck_out}"
        elif coupon.purpose == "ladder":
            kind, word = _ladder_word(here, coupon)
        elif coupon.stale:
            kind, word = "later", "of an earlier setting"
        elif coupon.shown:
            kind, word = "done", "passed" + (", cut" if "section" in coupon.checks else "")
        elif coupon.passed:
            kind, word = (
                "owed",
                f"not shown: {', '.join(_OPEN_WORDS.get(key, key) for key in coupon.open)} near a limit",
            )
        else:
            kind, word = "fail", "; ".join(_CHECK_WORDS.get(key, key) for key in coupon.failed)
        rows.append(
            {
                "number": coupon.number,
                "end": _END_WORDS.get(coupon.end, coupon.end)
                if coupon.purpose == "proof"
                else {"ladder": "ladder", "re-proof": "again"}.get(coupon.purpose, ""),
                "length": "–" if coupon.set_length is None else show_length(coupon.set_length, here.unit),
                "torque": show_torque(torque["value_nm"], here.unit).split(" ")[0] if torque else "–",
                "kind": kind,
                "word": word,
                "gone": not coupon.counts and (coupon.purpose != "ladder" or bool(coupon.struck_out)),
            }
        )
    return rows


def _ladder_word(here: Desk, coupon: Coupon) -> tuple[str, str]:
    """A coupon of the pressure ladder says at which pressure it passed or failed, before and after the hold."""
    at = "" if coupon.pressure_bar is None else f"{show_pressure(coupon.pressure_bar, here.unit)}: "
    if coupon.passed:
        return "done", f"{at}passed"
    return "fail", at + "; ".join(_CHECK_WORDS.get(key, key) for key in coupon.failed)


def _plan_value(here: Desk, name: str, text: str) -> tuple[str, Any]:
    label = {**_PROOF_FIELDS, **_RUN_FIELDS}[name]
    if name == "torque_min":
        return "torque_min_nm", typed_torque(text, here.unit, name).newton_metres if text.strip() else None
    if name in ("reliability", "confidence"):
        return name, typed_share(text, name)
    return name, typed_count(text, name, f"“{label}” wants a whole number.")


def _plan_page(
    here: Desk,
    state: JobState,
    part: str,
    *,
    typed: dict[str, str] | None = None,
    wrong: list[str] | None = None,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    run = part == "run"
    names = _RUN_FIELDS if run else _PROOF_FIELDS
    shown = typed or _plan_texts(here, state)
    bad = (wrong or [""])[-1] if problem else ""
    fields = [
        entry(name, label, shown[name], note=_plan_note(here, name), problem=problem if name == bad else None)
        for name, label in names.items()
    ]
    address = here.address(state.id, "prove")
    other = "proof" if run else "run"
    context = asking(
        form=form_of(state, f"{address}/plan"),
        title="Plan",
        question="How is the run checked?" if run else "What must the proof hold?",
        fields=fields,
        pairs=True,
        carry=[("part", "run" if run else "proof")],
        problem=None if bad else problem,
        ways=[
            {
                "label": "The plan of the proof" if run else "Checks in the run",
                "address": f"{address}/plan?part={other}",
            }
        ],
        buttons=[_button("Keep this plan", "plan"), _button("Back", address=address, kind="other")],
        lines=_plan_lines(state),
        drawing_title="What a plan can show",
    )
    return show(here, state, "steps/question.html", context, step="prove", status_code=status_code)


def _plan_texts(here: Desk, state: JobState) -> dict[str, str]:
    plan = asdict(prove.plan_of(state))
    texts = {name: str(plan[name]) for name in (*_PROOF_FIELDS, *_RUN_FIELDS) if name in plan}
    texts |= {name: f"{100 * plan[name]:.10g} %" for name in ("reliability", "confidence")}
    limit = plan["torque_min_nm"]
    value = "" if limit is None else f"{limit:g}" if here.unit == "mm" else f"{limit / NM_PER_LBF_IN:.1f}"
    return {**texts, "torque_min": f"{value} {torque_unit(here.unit)}" if value else ""}


def _plan_note(here: Desk, name: str) -> str:
    return torque_unit(here.unit) if name == "torque_min" else ""


def _plan_lines(state: JobState) -> list[str]:
    plan = prove.plan_of(state)
    counts = sorted({plan.coupons_each_end * len(prove.ends(state)), 3, 5})
    lines = [proof_words.pass_sentence(pass_or_fail(count, 0, plan, bad=0)) for count in counts]
    limit = "Without a least torque the insert’s greatest tightening torque is the limit of the turning test."
    few = "Few coupons show little by passing. Measured set lengths show more; the card says both, as reached."
    return [*lines, few, limit]


def _coupons_page(
    here: Desk,
    state: JobState,
    *,
    of: str = "",
    reason: str = "",
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    address = here.address(state.id, "prove")
    rows = {row["number"]: row for row in _coupon_rows(here, state)}
    tiles = [
        {
            "value": str(coupon.sequence),
            "label": f"Coupon {coupon.number}",
            "note": f"{rows[coupon.number]['word']} · {rows[coupon.number]['length']} {here.unit}",
        }
        for coupon in reversed(_strikeable(state))
    ]
    context = asking(
        form=form_of(state, f"{address}/coupons"),
        title="Strike out a coupon",
        question="Which coupon does not count, and why?",
        choices=[{"name": "of", "legend": "Coupon", "choices": tiles, "chosen": of, "hide_legend": True, "across": 2}],
        fields=[entry("reason", "Why", reason, problem=problem)],
        buttons=[_button("Strike it out", "strike"), _button("Back", address=address, kind="other")],
        lines=["It stays in the record with your reason and your name, and no longer counts."],
        drawing=joint_of(state, unit=here.unit),
        drawing_title="The joint, before and after",
        drawing_notes=[here.lengths_note],
    )
    return show(here, state, "steps/question.html", context, step="prove", status_code=status_code)


def _button(label: str, do: str = "", *, address: str = "", kind: str = "") -> dict[str, str]:
    return {"label": label, "do": do, "address": address, "kind": kind}

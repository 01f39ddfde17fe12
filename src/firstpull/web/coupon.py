"""The checks of the coupon in hand: which are asked, in which order, and the page that asks one of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

from fastapi.responses import Response

from firstpull.drawing.checks import check_picture
from firstpull.jobs import dial_in, prove
from firstpull.jobs.shapes import set_length_limits_mm, tool_of
from firstpull.record.job import JobState
from firstpull.units import Length, show_length, show_mm
from firstpull.web.desk import Desk, form_of, gauge_line, show
from firstpull.web.drawings import joint_of
from firstpull.web.typed import show_pressure, show_torque, torque_unit, write_answers

EYE: tuple[str, ...] = (*(kind.key for kind in prove.CHECKS), "section")
VALUES: tuple[str, ...] = ("thickness", "length_before", "set_length", "torque")
MAY_BE_LEFT_OUT = frozenset({*VALUES, "section"})
ANSWERS: frozenset[str] = frozenset({*EYE, *VALUES, "arrangement", "end", "on"})
_SHORT = {
    "thickness": "stack",
    "length_before": "free length",
    "set_length": "set length",
    "flush": "flush",
    "gap": "no gap",
    "tilt": "square",
    "turn": "does not turn",
    "thread_gauge": "thread",
    "blind_head": "blind head",
    "torque": "torque",
    "section": "section",
}
_HOW = {
    "flush": "Lay a straight edge across the head.",
    "gap": "Try the thinnest leaf under the head, all round. Shake the parts: they must not be loose.",
    "tilt": "Look along the sheet: the head stands level all round.",
    "turn": "Draw a mark across head and sheet. Turn the insert by hand, with a screw run in.",
    "thread_gauge": "Run the gauge through the whole thread by hand.",
    "blind_head": "Look at the blind side, all round.",
    "section": "Cut one set coupon along its axis and look at the fold.",
    "torque": "Hardened washer and bushing. Match-mark, turn slowly, note the torque at the first movement.",
}
_ENDS = {"thin": "thinnest stack", "thick": "thickest stack", "as measured": "stack as measured"}


def questions(state: JobState) -> tuple[str, ...]:
    """Every check of the next coupon, in order. Lengths are read under a stroke-set tool only; torque and section are
    asked while the plan still wants them."""
    tool = tool_of(state)
    stroke = tool is None or tool.control == "stroke"
    purpose = prove.purpose_of(state)
    torques, sections = prove.still_wanted(state)
    asked = [] if purpose == "ladder" else ["thickness"]
    if stroke:
        asked += [*(["length_before"] if dial_in.measures_before(state) else []), "set_length"]
    asked += [kind.key for kind in prove.CHECKS]
    if torques or purpose == "ladder":
        asked.append("torque")
    if sections and purpose != "ladder":
        asked.append("section")
    return tuple(asked)


def next_question(state: JobState, answers: Mapping[str, str]) -> str:
    """The first check without an answer; "" when all have one."""
    return next((key for key in questions(state) if key not in answers), "")


def check_page(
    here: Desk,
    state: JobState,
    answers: dict[str, str],
    *,
    typed: str = "",
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    """The next check of the coupon in hand, or what a failed one usually means."""
    asked = next_question(state, answers)
    failed = [key for key in EYE if answers.get(key) == "fail"]
    if failed and ("on" not in answers or not asked):
        view = _failed_view(here, state, answers, failed[-1])
    elif asked in VALUES:
        view = _value_view(here, state, asked, typed=typed, problem=problem)
    elif asked:
        view = _eye_view(state, asked)
    else:
        view = _done_view(here, state)
    if problem is not None and view["field"] is None:
        view = {**view, "refused": problem}
    context = {
        "form": {**form_of(state, here.address(state.id, "prove")), "coupon": write_answers(answers), "asked": asked},
        "crumb": _crumb(here, state, answers),
        "text": "",
        "caution": _pull_caution(state, asked, answers),
        "field": None,
        "verdict": None,
        "failed": None,
        "refused": None,
        "achieved": "",
        "arrangements": [],
        "arrangement": _last_arrangement(state),
        "other": None,
        "checks": _progress(state, answers, asked),
        "buttons": [],
        "why": [],
        "bad": "",
        "sheet_notes": ["simulated"] if here.practice else [],
        **view,
    }
    step = "dial_in" if prove.purpose_of(state) == "ladder" else "prove"
    return show(here, state, "steps/prove.html", context, step=step, status_code=status_code)


def _eye_view(state: JobState, asked: str) -> dict[str, Any]:
    kind = prove.BY_KEY[asked]
    return {
        "question": f"Coupon {_number(state)}: {kind.question[0].lower()}{kind.question[1:]}",
        "text": _HOW[asked],
        "field": None,
        "verdict": {"good": "Passes", "bad": "Fails"},
        "other": {"label": "Not cut", "do": "skip"} if asked == "section" else None,
        **_pictures(asked),
    }


def _value_view(
    here: Desk, state: JobState, asked: str, *, typed: str, problem: dict[str, Any] | None
) -> dict[str, Any]:
    setting = state.setting or {}
    question, label = {
        "thickness": ("how thick is its stack?", "Stack of this coupon"),
        "length_before": ("how long is the insert before its pull?", "Free length"),
        "set_length": ("how long is it set?", "Set length"),
        "torque": ("at what torque does it first move?", "Torque at first movement"),
    }[asked]
    field = {
        "name": "reading",
        "label": label,
        "unit": torque_unit(here.unit) if asked == "torque" else here.unit,
        "value": typed,
        "expected": _limits_text(here, state, asked),
        "saved": "",
        "problem": problem,
        "gauge": None if asked == "torque" else gauge_line(here.book, state),
    }
    view: dict[str, Any] = {
        "question": f"Coupon {_number(state)}: {question}",
        "text": "",
        "field": field,
        "buttons": [{"label": "Save and go on", "do": "read"}],
        "other": {"label": "No turning test" if asked == "torque" else "Not measured", "do": "skip"},
    }
    if asked == "torque":
        tiles = [{"value": "flange", "label": "On the flange", "note": "free to turn"}]
        tiles.append({"value": "bushing", "label": "On a bushing", "note": "held, clear of the flange"})
        texts = [f"{text[0].upper()}{text[1:]}." for text in prove.ARRANGEMENTS.values()]
        return {**view, "arrangements": tiles, "why": [_HOW["torque"], *texts], **_pictures(asked)}
    pulled = asked == "set_length"
    return {
        **view,
        "good": joint_of(state, unit=here.unit, set_length_mm=float(setting["set_length_mm"])),
        "sheet_title": "The joint, before and after" if pulled else "The joint, to scale",
        "sheet_notes": [here.lengths_note, *(["simulated"] if here.practice else [])],
    }


def _failed_view(here: Desk, state: JobState, answers: dict[str, str], key: str) -> dict[str, Any]:
    kind = prove.BY_KEY[key]
    before = {name: value for name, value in answers.items() if name not in (key, "on")}
    address = here.address(state.id, "prove")
    buttons = [{"label": "Save it as failed", "do": "save"}]
    if next_question(state, answers):
        buttons.append({"label": "Go on with its checks", "do": "go_on", "kind": "other"})
    return {
        "checks": _progress(state, answers, ""),
        "question": f"Coupon {_number(state)}: {kind.bad[0].lower()}{kind.bad[1:]}.",
        "text": "",
        "field": None,
        "failed": {
            "cause": kind.cause,
            "cure": f"The cure is under “{kind.cure}”; save the coupon first.",
            "undo": {
                "label": "I pressed wrong: answer again",
                "address": f"{address}?coupon={quote(write_answers(before))}",
            },
        },
        "buttons": buttons,
        **_pictures(key),
    }


def _done_view(here: Desk, state: JobState) -> dict[str, Any]:
    """Only reached by going back to a coupon whose checks were all answered."""
    return {
        "question": f"Coupon {_number(state)}: every check is answered. Save it?",
        "field": None,
        "buttons": [
            {"label": "Save the coupon", "do": "save"},
            {"label": "Leave it", "address": here.address(state.id, "prove"), "kind": "other"},
        ],
        "good": joint_of(state, unit=here.unit),
        "sheet_title": "The joint, before and after",
    }


def _pictures(key: str) -> dict[str, Any]:
    return {
        "good": check_picture(key, True, key=f"{key}-good"),
        "bad": check_picture(key, False, key=f"{key}-bad"),
        "sheet_title": "Good and bad, side by side",
    }


def _limits_text(here: Desk, state: JobState, asked: str) -> str:
    setting = state.setting or {}
    if asked == "torque":
        limit = prove.torque_limit_nm(state)
        return "" if limit is None else f"at least {show_torque(limit, here.unit)}"
    if asked == "length_before":
        nominal = Length.from_json((state.insert or {})["length_free"])
        return f"about {show_length(nominal, here.unit)}"
    low, high = setting.get("thickness_low_mm"), setting.get("thickness_high_mm")
    if asked == "set_length":
        low, high = set_length_limits_mm(state) or (None, None)
    if low is None or high is None:
        return ""
    return f"{show_mm(float(low), here.unit)} to {show_mm(float(high), here.unit)}"


def _crumb(here: Desk, state: JobState, answers: Mapping[str, str]) -> str:
    place = _ENDS.get(answers.get("end", ""), "")
    if prove.purpose_of(state) == "ladder" and state.pressure_bar is not None:
        place = f"pressure ladder, {show_pressure(state.pressure_bar, here.unit)}"
    elif place and answers.get("end") != "as measured":
        setting = state.setting or {}
        key = "thickness_low_mm" if answers["end"] == "thin" else "thickness_high_mm"
        place += f", about {show_mm(float(setting[key]), here.unit)} {here.unit}"
    asked = questions(state)
    number = min(1 + sum(key in answers for key in asked), len(asked))
    again = " · proof after the stop" if state.stopped else ""
    return f"Check {number} of {len(asked)} · {place}{again}"


def _pull_caution(state: JobState, asked: str, answers: Mapping[str, str]) -> str:
    """Said where the pull is made: before its length is read, or before the first look."""
    asked_all = questions(state)
    pull_at = "set_length" if "set_length" in asked_all else prove.CHECKS[0].key
    if asked != pull_at or "fail" in answers.values():
        return ""
    return "Set it in scrap of exactly this stack. Eye protection on, hands clear of the nose, hold through the pull."


def _progress(state: JobState, answers: Mapping[str, str], asked: str) -> list[dict[str, str]]:
    states = {"pass": "done", "fail": "fail", "-": "later"}
    rows = []
    for key in questions(state):
        answer = answers.get(key)
        kind = "now" if key == asked else "later" if answer is None else states.get(answer, "done")
        rows.append({"text": f"{_SHORT[key]}: {_said(answer)}" if _is_value(answer) else _SHORT[key], "state": kind})
    return rows


def _is_value(answer: str | None) -> bool:
    return answer is not None and answer not in ("pass", "fail")


def _said(answer: str | None) -> str:
    return "left out" if answer == "-" else str(answer)


def _last_arrangement(state: JobState) -> str:
    """The arrangement of the last turning test, so that tests compare."""
    for coupon in reversed(state.coupons):
        if "torque" in coupon.checks:
            return str(coupon.checks["torque"]["arrangement"])
    return ""


def _number(state: JobState) -> int:
    return 1 + len(state.coupons)

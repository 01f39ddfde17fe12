"""Prove: coupons of exactly the job's stack, what is found on each, what that shows, and what is still owed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs import dial_in, proof_words
from firstpull.jobs.proof_plan import Plan, check_plan, plan_of
from firstpull.jobs.proof_shows import (
    ReadingDoubt,
    length_chance,
    length_doubt_mm,
    lengths_shown,
    nominal_length_nm,
    pass_or_fail,
    reading_doubt,
    torque_chance,
    torques_shown,
)
from firstpull.jobs.shapes import insert_of, set_length_limits_mm, tool_of, unit_of
from firstpull.jobs.workshop import Book, Doing
from firstpull.record.job import Coupon, JobState
from firstpull.record.rules import reopen_hindrances
from firstpull.units import Length, Torque

__all__ = ["Plan", "plan_of"]  # where others look for them


@dataclass(frozen=True, slots=True)
class CheckKind:
    """One thing to look at on a coupon. ``cure`` is the step to go back to when it fails, ``cause`` the usual causes."""

    key: str
    question: str
    good: str
    bad: str
    cause: str
    cure: str


# The published accept list (parts not loose, nut does not rotate, head seated tightly, threads good: TM 10-5411-205-13
# p 3-18) with the blind head and the cut section of good practice; the causes are those of common practice.
CHECKS: tuple[CheckKind, ...] = (
    CheckKind(
        "flush",
        "Is the head flush?",
        "Head seated all round",
        "Head proud or dished",
        "Burr, chips or not pulled square; hole too small for the body.",
        "set up",
    ),
    CheckKind(
        "gap",
        "Is there no gap under the head?",
        "No gap",
        "Gap under the head",
        "Under-set; burr or chips; stack thicker than the grip.",
        "dial in",
    ),
    CheckKind(
        "tilt",
        "Does it sit square?",
        "Square",
        "Tilted",
        "Hole out of square, tool held off square, or a burr.",
        "set up",
    ),
    CheckKind(
        "turn",
        "Does it stay put when turned by hand?",
        "Does not turn",
        "Turns in the hole",
        "Under-set; hole too big; stack thinner than set for.",
        "dial in",
    ),
    CheckKind(
        "thread_gauge",
        "Does the thread gauge go?",
        "Gauge goes freely",
        "Gauge sticks",
        "Over-set; mandrel worn; too few threads engaged.",
        "dial in",
    ),
    CheckKind(
        "blind_head",
        "Is the blind head even and uncracked?",
        "Even all round",
        "Cracked or one-sided",
        "Over-set; brittle lot; wrong grip; sharp hole edge.",
        "dial in",
    ),
)
SECTION = CheckKind(
    "section",
    "Cut through: is the fold closed on the sheet?",
    "Closed on the sheet",
    "Open or torn",
    "Under-set when open; over-set when torn.",
    "dial in",
)
TORQUE = CheckKind(
    "torque",
    "At what torque does it first move?",
    "Holds the torque",
    "Moves too early",
    "Under-set; hole too big; no notch or hexagon where one is needed.",
    "dial in",
)
BY_KEY: dict[str, CheckKind] = {kind.key: kind for kind in (*CHECKS, SECTION, TORQUE)}
ARRANGEMENTS: dict[str, str] = {
    "flange": "bearing on the flange, free to turn: the insert sees nearly the full torque",
    "bushing": "on a held bushing clear of the flange: only the thread torque, blind head pulled against the sheet",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What was found on one coupon: each check as "pass" or "fail" by its key, lengths, thickness, and the torque at
    first movement with how the turning test was arranged ("flange" or "bushing")."""

    checks: Mapping[str, str]
    end: str = ""
    thickness: Length | None = None
    set_length: Length | None = None
    length_before: Length | None = None
    torque: Torque | None = None
    arrangement: str = ""


def change_plan(book: Book, job_id: str, changes: Mapping[str, Any], *, doing: Doing) -> JobState:
    """Change the proof plan. Raises BadInput for values that make no plan."""
    state = book.job(job_id)
    known = asdict(Plan())
    for name in changes:
        if name not in known:
            raise BadInput(f"“{name}” is not part of a proof plan.", where=name, hint=f"Known: {', '.join(known)}.")
    plan = Plan(**{**known, **state.plan, **changes})
    check_plan(plan)
    book.write(f"job:{job_id}", [("ProofPlanned", {"plan": asdict(plan)})], doing)
    state = book.job(job_id)
    return state if state.held is None else judge(book, job_id, doing)


def ends(state: JobState) -> tuple[str, ...]:
    """Which ends of the batch need coupons: both when the stack spreads more than the plan's limit."""
    setting = state.setting or {}
    low, high = setting.get("thickness_low_mm", 0.0), setting.get("thickness_high_mm", 0.0)
    return ("thin", "thick") if high - low > plan_of(state).both_ends_over_mm + 1e-9 else ("as measured",)


def next_end(state: JobState) -> str:
    """The end of the batch that still wants a good coupon; the first when none does."""
    plan, wanted = plan_of(state), ends(state)
    for end in wanted:
        done = sum(c.counts and c.shown and c.end == end and c.purpose == "proof" for c in state.coupons)
        if done < plan.coupons_each_end:
            return end
    return wanted[0]


def still_wanted(state: JobState) -> tuple[int, int]:
    """How many turning tests with a value and how many cut coupons the plan still wants; after a stop the same again."""
    plan = plan_of(state)
    since = state.stops[-1].sequence if state.stopped else 0
    purpose = purpose_of(state)
    good = [c for c in state.good_coupons if c.purpose == purpose and c.sequence > since]
    torques = plan.torque_tests - sum("torque" in coupon.checks for coupon in good)
    sections = plan.sections - sum("section" in coupon.checks for coupon in good)
    return max(torques, 0), max(sections, 0)


def check_coupon(
    book: Book, job_id: str, finding: Finding, *, doing: Doing, purpose: str = "proof", gauge: str = ""
) -> JobState:
    """One coupon: what was found on it. A value outside its limit fails the coupon. The verdict is judged and recorded
    with it. Every eye check must be answered, unless one has failed already; ``section`` when the coupon was cut.
    Raises BadInput, Unsafe.
    """
    state = book.job(job_id)
    wanted = ends(state)
    end = finding.end or wanted[0]
    if end not in ("thin", "thick", "as measured"):
        raise BadInput(f"“{end}” is not an end of the batch.", where="end", hint=f"Use {' or '.join(wanted)}.")
    if purpose == "proof" and state.held is None and not state.stopped:
        raise Unsafe(
            "The tool has not been dialled in.",
            where=job_id,
            hint="Dial in first; coupons prove a setting that is held.",
        )
    found, failed = _judge_checks(state, finding)
    length_note = _length_fails(state, finding)
    if length_note:
        failed.append("set_length")
    doubt = reading_doubt(book, gauge or state.gauge_id)
    if finding.set_length is not None:
        found["set_length"] = {"result": "fail" if length_note else "pass", "text": length_note or "inside the window"}
    doubtful = _doubtful(state, finding, found, doubt)
    data = {
        "number": 1 + len(state.coupons),
        "end": end,
        "purpose": "re-proof" if state.stopped else purpose,
        "thickness": finding.thickness.to_json() if finding.thickness else None,
        "set_length": finding.set_length.to_json() if finding.set_length else None,
        "length_before": finding.length_before.to_json() if finding.length_before else None,
        "pressure_bar": state.pressure_bar,
        "checks": found,
        "passed": not failed,
        "failed": failed,
        "open": doubtful,
        "u_mm": doubt.u_mm if finding.set_length is not None else None,
        "u_source": doubt.source if finding.set_length is not None else "",
    }
    book.write(
        f"job:{job_id}",
        [("CouponChecked", data)],
        doing,
        gauge=gauge or state.gauge_id,
        tool=state.tool_id,
        settled=("number", "purpose", "open", "u_mm", "u_source"),
    )
    return judge(book, job_id, doing)


def judge(book: Book, job_id: str, doing: Doing) -> JobState:
    """Put the verdict on the proof as it stands on record, and learn the air-to-stack shift from the coupons."""
    slip = f"{doing.slip}.verdict" if doing.slip else ""
    for _attempt in range(dial_in.FOLLOW_UPS):
        state = book.job(job_id)
        if state.released:
            return state
        if dial_in.follow_up(book, state, ("ProofJudged", verdict_of(state)), doing=Doing(doing.by, slip=slip)):
            break
    state = book.job(job_id)
    tool = tool_of(state)
    if state.proof is not None and state.proof["passed"] and tool is not None and tool.control == "stroke":
        dial_in.learn_shift(book, state, doing)
    return state


def verdict_of(state: JobState) -> dict[str, Any]:
    """What the coupons show and what is owed, as plain data: ``passed``, ``owed``, ``sentence``, ``rows``, and what is
    promised of each set (``measured``, ``torque``), of their mean, and by passing every check (``pass_or_fail``)."""
    plan = plan_of(state)
    counting = [coupon for coupon in state.coupons if coupon.counts and coupon.purpose == "proof"]
    good = [coupon for coupon in counting if coupon.shown]
    bad = [coupon for coupon in counting if not coupon.passed]
    unit = unit_of(state)
    runs = pass_or_fail(len(good), len(counting) - len(good), plan, bad=len(bad))
    tool = tool_of(state)
    by_length = tool is None or tool.control == "stroke"
    planned = plan.coupons_each_end * len(ends(state))
    measured = lengths_shown(state, counting, plan, planned=planned) if by_length else None
    torque = torques_shown(counting, plan, torque_limit_nm(state))
    if measured is not None:
        measured["sentence"] = (
            f"{proof_words.sets_sentence(measured, unit)} {proof_words.window_sentence(measured, unit)}"
        )
        measured["mean_sentence"] = proof_words.mean_sentence(measured, unit)
        measured["gauge_sentence"] = proof_words.gauge_sentence(measured, unit)
    if torque is not None:
        torque["sentence"] = proof_words.torque_sentence(torque, unit)
    owed = [*_failed_text(bad), *_open_texts(counting), *_owed_coupons(state, good)]
    if by_length and tool is not None and not dial_in.confirmed(state):
        owed.append(
            "One air pull after locking: it shows that the lock moved nothing, and the run is compared with it."
        )
    moved = dial_in.lock_moved(state)
    if moved:
        owed.append(moved)
    if plan.show_claim_first and not _claim_shown(counting, measured, runs):
        owed.append(_claim_text(measured, runs))
    return {
        "passed": not owed,
        "owed": owed,
        "next": _next_text(state, good, owed, planned=planned),
        "sentence": proof_words.pass_sentence(runs),
        "good": len(good),
        "bad": len(bad),
        "open": [{"coupon": c.number, **found} for c in counting for found in _open_values(c)],
        "confidence": plan.confidence,
        "reliability_wanted": plan.reliability,
        "reliability_shown": runs["share_shown"],
        "coupons_needed": runs["needed"],
        "pass_or_fail": runs,
        "ends": list(ends(state)),
        "measured": measured,
        "torque": torque,
        "rows": _rows(state, good),
    }


def _owed_coupons(state: JobState, good: list[Coupon]) -> list[str]:
    """Coupons, sections and turning tests that the plan still wants."""
    plan, owed = plan_of(state), []
    for end in ends(state):
        missing = plan.coupons_each_end - sum(coupon.end == end for coupon in good)
        if missing > 0:
            place = {"thin": " of the thinnest stack", "thick": " of the thickest stack"}.get(end, "")
            owed.append(f"{missing} more good coupon{'s' if missing > 1 else ''}{place}.")
    sections = plan.sections - sum("section" in coupon.checks for coupon in good)
    if sections > 0:
        owed.append(f"{sections} coupon{'s' if sections > 1 else ''} cut through.")
    torques = plan.torque_tests - sum("torque" in coupon.checks for coupon in good)
    if torques > 0:
        owed.append(f"{torques} turning test{'s' if torques > 1 else ''} with a torque value.")
    return owed


def _claim_shown(counting: list[Coupon], measured: dict[str, Any] | None, runs: dict[str, Any]) -> bool:
    """By the measured lengths where every coupon has one, else by passing every check: which of them decides does not
    depend on how they come out."""
    if measured is not None and all(coupon.set_length is not None for coupon in counting):
        return bool(measured.get("claim_shown"))
    return bool(runs["shown"])


def _claim_text(measured: dict[str, Any] | None, runs: dict[str, Any]) -> str:
    if measured is not None and measured.get("next_look_at"):
        more = int(measured["next_look_at"]) - int(measured["n"])
        most = int(measured["looks_at"][-1]) - int(measured["n"])
        return f"What is promised, shown by measured lengths: next look after {more} more, at most {most} more."
    return f"The claim: {runs['needed']} good coupons in all, or measured lengths that show it."


def _next_text(state: JobState, good: list[Coupon], owed: list[str], *, planned: int) -> str:
    """Whether more coupons are needed, and how many at most."""
    if not owed:
        return "As planned: no more coupons are needed."
    if any(coupon.counts and not coupon.passed for coupon in state.coupons):
        return "A coupon failed: more good ones do not help before its cause is cured."
    left = planned - len(good)
    if left <= 0:
        return ""
    return f"{left} more at most, if all are good; the first that fails ends it."


def _open_values(coupon: Coupon) -> list[dict[str, Any]]:
    """The values of a coupon that lie inside by less than the gauge can tell, each with its chance to conform."""
    return [{"what": key, "chance": coupon.checks[key].get("chance", 0.0)} for key in coupon.open]


def _open_texts(counting: list[Coupon]) -> list[str]:
    return [proof_words.open_sentence(c.number, found) for c in counting if c.passed for found in _open_values(c)][:1]


def _doubtful(state: JobState, finding: Finding, found: dict[str, Any], doubt: ReadingDoubt) -> list[str]:
    """Which values passed by less than their doubt; the chance that they conform is noted beside them. The length of a
    force-set tool's coupon is not judged."""
    plan, tool, names = plan_of(state), tool_of(state), []
    judged = tool is None or tool.control == "stroke"
    if judged and finding.set_length is not None and found["set_length"]["result"] == "pass":
        u_mm = length_doubt_mm(doubt.u_mm, finding.length_before)
        length_nm = nominal_length_nm(state, finding.set_length, finding.length_before)
        chance = length_chance(state, length_nm, u_mm, confidence=plan.confidence)
        if chance is not None:
            found["set_length"] |= {
                "result": "open",
                "text": "inside by less than the gauge can tell",
                "chance": chance,
            }
            names.append("set_length")
    if finding.torque is not None and found["torque"]["result"] == "pass":
        chance = torque_chance(finding.torque.newton_metres, found["torque"]["limit_nm"], plan)
        if chance is not None:
            found["torque"] |= {"result": "open", "chance": chance}
            names.append("torque")
    return names


@dataclass(frozen=True, slots=True)
class Again:
    """The proof after a stop: good and bad coupons since then, what is still owed, and what they show in a sentence."""

    good: int
    bad: int
    owed: tuple[str, ...]
    sentence: str


def again_of(state: JobState) -> Again:
    """What the coupons since the last stop show, and what is owed before the run may go on."""
    plan = plan_of(state)
    since = [c for c in state.coupons if state.stops and c.sequence > state.stops[-1].sequence and c.counts]
    good = sum(coupon.shown for coupon in since)
    bad = sum(not coupon.passed for coupon in since)
    sentence = proof_words.pass_sentence(pass_or_fail(good, len(since) - good, plan, bad=bad))
    return Again(good, bad, (*_open_texts(since), *reopen_hindrances(state)), sentence)


def purpose_of(state: JobState) -> str:
    """What a coupon set now is for: "re-proof" after a stop, "ladder" while a force-set tool's pressure is looked for,
    else "proof"."""
    tool = tool_of(state)
    if state.stopped:
        return "re-proof"
    return "ladder" if tool is not None and tool.control == "force" and state.held is None else "proof"


def failing_cures(coupon: Coupon) -> tuple[CheckKind, ...]:
    """What each failed check of a coupon usually means, and the step that cures it."""
    length = CheckKind(
        "set_length", "Set length", "inside", "outside", "The tool drifted, stalled or the knob was moved.", "dial in"
    )
    return tuple(BY_KEY.get(key, length) for key in coupon.failed)


def torque_limit_nm(state: JobState) -> float | None:
    """The least torque at which a set insert may first move, in N·m: the plan's, else the insert's greatest
    tightening torque; None when neither is known."""
    plan = plan_of(state)
    if plan.torque_min_nm is not None:
        return plan.torque_min_nm
    return insert_of(state).tightening_torque_max_nm


def _judge_checks(state: JobState, finding: Finding) -> tuple[dict[str, Any], list[str]]:
    checks, torque, arrangement = finding.checks, finding.torque, finding.arrangement
    found: dict[str, Any] = {}
    failed: list[str] = []
    for kind in (*CHECKS, SECTION):
        answer = checks.get(kind.key, "")
        if not answer and (kind is SECTION or "fail" in checks.values()):
            continue
        if answer not in ("pass", "fail"):
            raise BadInput(f"“{kind.question}” is not answered.", where=kind.key, hint="pass or fail.")
        found[kind.key] = {"result": answer}
        if answer == "fail":
            failed.append(kind.key)
    unknown = sorted(set(checks) - set(BY_KEY))
    if unknown:
        raise BadInput(
            f"“{unknown[0]}” is not a check of a coupon.", where=unknown[0], hint=f"Known: {', '.join(BY_KEY)}."
        )
    if torque is not None:
        if arrangement not in ARRANGEMENTS:
            raise BadInput(
                "How was the turning test arranged?",
                where="arrangement",
                hint="flange (bearing on the flange, free to turn) or bushing (held, clear of the flange).",
            )
        value, limit = torque.newton_metres, torque_limit_nm(state)
        if not 0 < value < 1e4:
            raise BadInput("The turning torque must be more than zero.", where="torque", hint="For example 12 Nm.")
        result = "fail" if limit is not None and value < limit else "pass"
        found["torque"] = {
            "result": result,
            "value_nm": value,
            "typed": torque.typed,
            "limit_nm": limit,
            "arrangement": arrangement,
        }
        if result == "fail":
            failed.append("torque")
    return found, failed


def _length_fails(state: JobState, finding: Finding) -> str:
    """Why this set length fails, or "". A free length measured before allows for the insert's own length. Compared on
    exact values: the window's ends belong to it. Under a force-set tool the length is noted and not judged: it is steep
    on the plateau and flat after seating."""
    tool, limits = tool_of(state), set_length_limits_mm(state)
    if tool is not None and tool.control == "force":
        return ""
    if finding.set_length is None or limits is None:
        return ""
    low, high = limits
    length_nm = nominal_length_nm(state, finding.set_length, finding.length_before)
    if length_nm < round(low * 1e6):
        return "shorter than the window: over-set"
    if length_nm > round(high * 1e6):
        return "longer than the window: under-set"
    return ""


def _rows(state: JobState, good: list[Coupon]) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for kind in (*CHECKS, SECTION):
        count = sum(coupon.checks.get(kind.key, {}).get("result") == "pass" for coupon in good)
        if count:
            rows.append({"check": kind.question, "result": kind.good, "value": "", "limits": "", "count": count})
    torques = [coupon.checks["torque"] for coupon in good if "torque" in coupon.checks]
    if torques:
        least = min(torque["value_nm"] for torque in torques)
        limit = torque_limit_nm(state)
        rows.append(
            {
                "check": TORQUE.question,
                "result": ARRANGEMENTS[torques[0]["arrangement"]],
                "value": f"{least:.2f} N·m",
                "limits": f"≥ {limit:.2f} N·m" if limit is not None else "no limit given",
                "count": len(torques),
            }
        )
    return rows


def _failed_text(bad: list[Coupon]) -> list[str]:
    """What failed coupons owe, in one sentence however many there are."""
    if not bad:
        return []
    found = _names(tuple(dict.fromkeys(key for coupon in bad for key in coupon.failed)))
    numbers = [str(coupon.number) for coupon in bad]
    which = numbers[0] if len(numbers) == 1 else f"{', '.join(numbers[:-1])} and {numbers[-1]}"
    coupons, them = ("Coupon", "it") if len(numbers) == 1 else ("Coupons", "each")
    return [
        f"{coupons} {which} failed ({found}): cure the cause, change the setting or strike {them} out with a reason."
    ]


def _names(keys: tuple[str, ...]) -> str:
    return ", ".join(key.replace("_", " ") for key in keys)

"""Dial in: pull, read, be told what to do next, until the tool's mean is where it must be with stated confidence."""

from __future__ import annotations

import contextlib
import math
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import Any

from firstpull.errors import BadInput, Conflict, Unsafe
from firstpull.jobs import learned
from firstpull.jobs.learned import LOT_MEAN_SD_MM, Known, known_of, shift_with, tool_history
from firstpull.jobs.shapes import (
    in_unit,
    insert_of,
    set_length_limits_mm,
    shift_key,
    stack_of,
    to_mm,
    tool_of,
    unit_of,
)
from firstpull.jobs.workshop import Book, Doing, Planned
from firstpull.mechanics.setting import AirToStack
from firstpull.record.job import Coupon, JobState, Move, Pull
from firstpull.record.things import GaugeState, ToolState
from firstpull.statistics.acceptance import mean_tolerance_mm
from firstpull.statistics.dial_in import advise
from firstpull.units import NM_PER_MM, Length, LengthUnit, show_mm

# Assumptions until this shop's own data replace them (common practice, no source): a tool's scatter, and a caliper's
# resolution and limit of error.
INSERT_LENGTH_SD_MM = learned.INSERT_LENGTH_SD_MM
PROCESS_SD_MM = 0.03
CALIPER_RESOLUTION_MM = 0.01
CALIPER_ERROR_MM = 0.03
SHARE_INSIDE = 0.99
CONFIDENCE = 0.95
MAX_PULLS = 12
FOLLOW_UPS = 3  # how often advice and verdict are found anew when others write in between


@dataclass(frozen=True, slots=True)
class Promise:
    """What dialling in must reach, in mm: the mean inside ``low_mm``…``high_mm`` so that ``share`` of the sets, which
    scatter with ``sigma_mm``, stay inside the window."""

    target_mm: float
    low_mm: float
    high_mm: float
    tolerance_mm: float
    sigma_mm: float
    share: float
    confidence: float


def promise(state: JobState) -> Promise:
    """The mean's own window, derived from the set-length window of the whole batch and the scatter of individual sets.

    Raises Unsafe without a window, and when the scatter leaves no room: then no single setting serves.
    """
    setting = _setting(state)
    limits = set_length_limits_mm(state)
    if limits is None:
        raise Unsafe(
            "There is no window for the set length.",
            where=state.id,
            hint="Give the maker's limits, or find them on coupons from both ends.",
            reasons=tuple(setting.get("blockers") or ()),
        )
    low, high = limits
    tool = tool_of(state)
    # the window is one of stroke: an insert's own length error moves its set length, not what the joint gets
    sigma = tool.process_sd_mm if tool is not None else PROCESS_SD_MM
    share = float(state.plan.get("share_inside", SHARE_INSIDE))
    tolerance = mean_tolerance_mm((high - low) / 2, sigma_mm=sigma, share=share)
    if tolerance <= 0:
        raise Unsafe(
            f"No single setting serves: sets scatter by {fine_length(sigma, unit_of(state))} (one sigma), too much for this window.",
            where=state.id,
            hint="Sort the panels by thickness, steady the tool, or use a force-set tool.",
        )
    margin = (high - low) / 2 - tolerance
    target = min(max(float(setting["set_length_mm"]), low + margin), high - margin)
    confidence = float(state.plan.get("confidence", CONFIDENCE))
    return Promise(target, low + margin, high - margin, tolerance, sigma, share, confidence)


def measures_before(state: JobState) -> bool:
    """Whether each insert is measured before its pull; on by default since it saves inserts."""
    return bool(state.plan.get("measure_before", True))


def advise_request(
    state: JobState,
    tool_state: ToolState | None,
    gauge: GaugeState | None,
    *,
    unit: LengthUnit | None = None,
    known: Known | None = None,
) -> dict[str, Any]:
    """The whole conversation so far as one request of the ``advise`` interface, in the job's unit unless ``unit`` says
    otherwise. ``known`` is what the record teaches of tool, part and gauge; without it the assumptions stand."""
    unit = unit or unit_of(state)
    insert, tool, setting = insert_of(state), tool_of(state), _setting(state)
    if tool is None:
        raise Unsafe("No tool has been chosen.", where=state.id, hint="Choose the tool that sets this job.")
    aim = promise(state)
    resolution, error = gauge_limits(gauge)
    lengths = known.lengths if known is not None else None

    def length(value_mm: float) -> float:
        return in_unit(value_mm, unit)

    lead = tool.lead_per_turn.mm if tool.lead_per_turn is not None else None
    return {
        "v": 1,
        "case": state.id,
        "job": {
            "units": unit,
            "insert_nominal_length": length(insert.length_free.mm),
            "target_length": length(aim.target_mm),
            "tolerance": length(aim.tolerance_mm),
            "window": [length(aim.low_mm), length(aim.high_mm)],
            "confidence": aim.confidence,
            "knob_lead": None if lead is None else length(lead),
            "lead_rel_sd": tool.lead_rel_sd,
            "clicks_per_turn": tool.clicks_per_turn,
            "plus_turns": tool.plus_turns.replace(" ", "_"),
            "max_backlash_turns": tool.backlash_turns,
            "caliper_resolution": length(resolution),
            "caliper_sd": length(error / math.sqrt(3.0) if known is None else known.caliper.sd_mm),
            "insert_length_sd": length(INSERT_LENGTH_SD_MM if lengths is None else lengths.within_sd_mm),
            "lot_mean_sd": length(LOT_MEAN_SD_MM if lengths is None else lengths.lot_sd_mm),
            "process_sd": length(tool.process_sd_mm),
            "lot_lengths": [length(one) for one in known.lot_lengths_mm] if known and known.lot_lengths_mm else None,
            "length_before_available": measures_before(state),
            "prior": None,
            "tool_history": tool_history(tool, tool_state, known, unit=unit),
            "control": tool.control,
            "stroke_ceiling": length(known.ceiling_mm) if known and known.ceiling_mm is not None else None,
            "air_to_stack": {"mean": length(setting["air_to_stack_mm"]), "sd": length(setting["air_to_stack_sd_mm"])},
            "max_pulls": MAX_PULLS,
        },
        "history": [_as_request(item, unit) for item in _story(state)],
    }


def known_for(book: Book, state: JobState) -> Known | None:
    """What the record teaches for this job's dial-in; None before a tool is chosen."""
    tool = tool_of(state)
    if tool is None:
        return None
    return known_of(book, state, tool, error_mm=gauge_limits(_gauge_state(book, state))[1])


def gauge_limits(gauge: GaugeState | None) -> tuple[float, float]:
    """A gauge's resolution and limit of error in mm; a usual caliper's when none is named (ISO 13385-1 leaves the
    limit of error to the maker, so it is the user's input)."""
    data = gauge.gauge if gauge is not None else {}
    return float(data.get("resolution_mm", CALIPER_RESOLUTION_MM)), float(data.get("error_mm", CALIPER_ERROR_MM))


def record_free_length(book: Book, job_id: str, length: Length, *, doing: Doing, gauge: str = "") -> JobState:
    """The next insert's free length, measured before its pull."""
    _sensible(length)
    book.write(f"job:{job_id}", [("FreeLengthMeasured", {"length_before": length.to_json()})], doing, gauge=gauge)
    return book.job(job_id)


def record_lot_length(book: Book, job_id: str, length: Length, *, doing: Doing, gauge: str = "") -> JobState:
    """The free length of one more insert of this lot, which is not pulled: it saves pulls (see the advice)."""
    _sensible(length)
    free = insert_of(book.job(job_id)).length_free
    if abs(length.nanometres - free.nanometres) > 0.05 * free.nanometres:
        raise BadInput(
            f"{length.typed or length.mm} is not the free length of this insert.",
            where="reading",
            hint=f"It should be near {free.typed or free.mm}.",
        )
    book.write(f"job:{job_id}", [("LotMeasured", {"length": length.to_json()})], doing, gauge=gauge)
    return refresh_advice(book, job_id, doing)


def record_pull(
    book: Book,
    job_id: str,
    reading: Length,
    *,
    doing: Doing,
    where: str = "air",
    length_before: Length | None = None,
    second_reading: Length | None = None,
    gauge: str = "",
) -> JobState:
    """One trial pull and its reading, durable when this returns; then the advice that follows from it.

    ``where`` is "air" or "stack". Nothing is refused for being unlikely: it is kept, and questioned by the advice.
    """
    if where not in ("air", "stack"):
        raise BadInput(f"“{where}” is not a place to pull.", where="where", hint="air or stack.")
    _sensible(reading)
    state = book.job(job_id)
    before = length_before or state.length_before
    readings = [reading.to_json()] + ([second_reading.to_json()] if second_reading else [])
    data = {"readings": readings, "length_before": before.to_json() if before else None, "where": where}
    # a free length measured beforehand belongs to one pull: a retry keeps the one that it had
    settled = () if length_before is not None else ("length_before",)
    book.write(
        f"job:{job_id}",
        [("TrialPulled", data)],
        doing,
        gauge=gauge or state.gauge_id,
        tool=state.tool_id,
        settled=settled,
    )
    return refresh_advice(book, job_id, doing) if state.held is None else _judge(book, state, doing)


def read_again(book: Book, job_id: str, reading: Length, *, doing: Doing, of: int | None = None) -> JobState:
    """A further reading of an insert already pulled (the last one unless ``of`` names its sequence). Both are kept."""
    _sensible(reading)
    state = book.job(job_id)
    counted = [pull for pull in state.pulls if not pull.struck_out]
    if of is None and not counted:
        raise BadInput("There is no pull to read again.", where="reading", hint="Pull one insert first.")
    sequence = of if of is not None else counted[-1].sequence
    book.write(
        f"job:{job_id}",
        [("ReadAgain", {"of": sequence, "reading": reading.to_json()})],
        doing,
        gauge=state.gauge_id,
        settled=() if of is not None else ("of",),
    )
    return refresh_advice(book, job_id, doing)


def turn(
    book: Book, job_id: str, *, doing: Doing, clicks: int | None = None, turns: float | None = None, dry_cycles: int = 0
) -> JobState:
    """The adjuster was turned: whole ``clicks`` where the knob has click stops, else ``turns``; plus as the knob
    counts. ``dry_cycles`` were run afterwards, with the air back on."""
    state = book.job(job_id)
    tool = tool_of(state)
    per_turn = tool.clicks_per_turn if tool is not None else None
    if (clicks is None) == (turns is None):
        raise BadInput("Say the clicks or the turns.", where="turn", hint="For example 11 clicks, or 0.31 turns.")
    if clicks is not None:
        if not per_turn:
            raise BadInput("This knob has no click stops.", where="clicks", hint="Give turns, for example 0.31.")
        turned = clicks / per_turn
    else:
        turned = float(turns or 0.0)
    if not math.isfinite(turned) or turned == 0 or abs(turned) > 40:
        raise BadInput(
            "A turn must be more than nothing and at most 40 turns.", where="turn", hint="For example −3 clicks."
        )
    _cycles_sensible(dry_cycles)
    planned: list[Planned] = [("AdjusterTurned", {"turns": turned, "clicks": clicks})]
    planned += [("DryCycled", {})] * dry_cycles
    book.write(f"job:{job_id}", planned, doing, tool=state.tool_id)
    return refresh_advice(book, job_id, doing)


def dry_cycle(book: Book, job_id: str, *, doing: Doing, count: int = 1) -> JobState:
    """The tool was cycled without an insert, ``count`` times."""
    _cycles_sensible(count)
    state = book.job(job_id)
    book.write(f"job:{job_id}", [("DryCycled", {})] * max(count, 1), doing, tool=state.tool_id)
    return refresh_advice(book, job_id, doing)


def reconnect(book: Book, job_id: str, *, doing: Doing) -> JobState:
    """The air was taken off and put on again without a turn: the tool is cold."""
    book.write(f"job:{job_id}", [("AirReconnected", {})], doing, tool=book.job(job_id).tool_id)
    return refresh_advice(book, job_id, doing)


def strike_out(book: Book, job_id: str, sequence: int, *, reason: str, doing: Doing) -> JobState:
    """Strike out a pull, coupon or check, with a reason; it stays in the record and no longer counts.

    A hold falls with a pull that it stood on; the proof is judged again without the coupon or the confirming pull.
    """
    book.write(f"job:{job_id}", [("ReadingStruckOut", {"of": sequence, "reason": reason.strip()})], doing)
    state = book.job(job_id)
    if any(pull.sequence == sequence for pull in state.pulls) and state.held is None:
        return refresh_advice(book, job_id, doing)
    return _judge(book, state, doing)


def hold(book: Book, job_id: str, *, doing: Doing) -> JobState:
    """Take the setting as dialled in: only when the advice says so, for the readings as they stand."""
    state = book.job(job_id)
    reply = state.advice or {}
    if reply.get("action") != "release" or not advice_stands(state):
        raise Unsafe(
            "The tool is not dialled in yet.",
            where=job_id,
            hint=str(reply.get("why") or "Pull an insert and read its length."),
        )
    unit = unit_of(state)
    aim = promise(state)
    _resolution, error = gauge_limits(_gauge_state(book, state))
    data = {
        "confidence": reply["confidence"],
        "estimate_mm": to_mm(float(reply["estimate"]), unit),
        "estimate_sd_mm": to_mm(float(reply["belief"]["length_sd"]), unit),
        "mean_low_mm": aim.low_mm,
        "mean_high_mm": aim.high_mm,
        "sigma_mm": aim.sigma_mm,
        # what one reading of an unmeasured insert scatters by: tool, insert and gauge
        "reading_sigma_mm": math.hypot(aim.sigma_mm, INSERT_LENGTH_SD_MM, error / math.sqrt(3.0)),
        "share": aim.share,
        "pulls": sum(not pull.struck_out for pull in state.pulls),
        "turned_turns": sum(move.turns for move in state.moves if move.kind == "turn"),
    }
    seen = state.sequence if doing.seen is None else doing.seen
    book.write(f"job:{job_id}", [("SettingHeld", data)], Doing(doing.by, seen, doing.slip), tool=state.tool_id)
    return book.job(job_id)


def advice_stands(state: JobState) -> bool:
    """Whether the advice on record is about the readings as they stand; not after a cut between the two."""
    return state.advice is not None and state.advice_sequence >= _last_dial_in(state)


def refresh_advice(book: Book, job_id: str, doing: Doing) -> JobState:
    """Compute the advice for the readings as they stand and put it on record beside its inputs.

    A setting without a window or a stroke-set tool has no advice; the state is returned as it is.
    """
    for _attempt in range(FOLLOW_UPS):
        state = book.job(job_id)
        tool = tool_of(state)
        if tool is None or tool.control != "stroke" or state.setting is None:
            return state
        try:
            request = _request(book, state, unit_of(state))
        except Unsafe:
            return state
        reply = advise(request)
        if "error" in reply:
            problem = reply["error"]
            raise BadInput(problem["what"], where=problem["where"], hint=problem["hint"])
        slip = f"{doing.slip}.advice" if doing.slip else ""
        given = ("AdviceGiven", {"request": request, "reply": reply})
        if follow_up(book, state, given, doing=Doing(doing.by, slip=slip)):
            break
    return book.job(job_id)


def follow_up(book: Book, state: JobState, event: Planned, *, doing: Doing) -> bool:
    """Write what follows from an act that is on record already; False when somebody else wrote meanwhile, so that it
    must be found anew. The act itself is saved and must not look refused."""
    try:
        book.write(f"job:{state.id}", [event], Doing(doing.by, state.sequence, doing.slip), tool=state.tool_id)
    except Conflict:
        return False
    return True


def foretold(book: Book, state: JobState) -> tuple[float, float] | None:
    """What the advice said the last counted pull would read before it was pulled: (reading, standard doubt) in mm;
    None when nothing had been said, or only a guess wider than the window itself."""
    counted = [pull for pull in state.pulls if not pull.struck_out]
    if not counted or state.setting is None:
        return None
    given: dict[str, Any] = {}
    for event in book.store.read(f"job:{state.id}"):
        if event.sequence >= counted[-1].sequence:
            break
        if event.type == "AdviceGiven":
            given = event.data["reply"].get("expected") or {}
    if not given:
        return None
    unit, aim = unit_of(state), promise(state)
    reading, doubt = to_mm(float(given["reading"]), unit), to_mm(float(given["reading_sd"]), unit)
    return None if doubt > 2 * (aim.high_mm - aim.low_mm) else (reading, doubt)


def why_in(book: Book, state: JobState, unit: LengthUnit) -> str:
    """The sentence of the standing advice with its lengths in ``unit``; what is on record stays in the job's unit."""
    reply = state.advice or {}
    if unit == unit_of(state) or not reply:
        return str(reply.get("why", ""))
    return str(advise(_request(book, state, unit)).get("why", ""))


def _request(book: Book, state: JobState, unit: LengthUnit) -> dict[str, Any]:
    """The request as the record stands now."""
    tool, gauge = _tool_state(book, state), _gauge_state(book, state)
    return advise_request(state, tool, gauge, unit=unit, known=known_for(book, state))


def lock_moved(state: JobState) -> str:
    """Why the newest air pull after locking does not fit the setting that was held, or "": outside the limits of the
    set length as they are in the air, by more than twice the doubt of that one reading."""
    limits, after = set_length_limits_mm(state), _air_pulls_after(state)
    if limits is None or not after or state.held is None or state.setting is None:
        return ""
    pull, free = after[-1], insert_of(state).length_free.mm
    shift = float(state.setting.get("air_to_stack_mm") or 0.0)
    doubt = 2 * math.hypot(
        float(state.setting.get("air_to_stack_sd_mm") or 0.0), float(state.held.get("reading_sigma_mm") or 0.0)
    )
    length = _allowed_for_mm(pull.reading, pull.length_before, free)
    if limits[0] - shift - doubt <= length <= limits[1] - shift + doubt:
        return ""
    return (
        f"The air pull after locking read {pull.reading.typed}, outside the limits: strike it out if it was misread, "
        "else dial in again."
    )


def _air_pulls_after(state: JobState) -> list[Pull]:
    """The air pulls that count since the adjuster was locked."""
    return [
        pull
        for pull in state.pulls
        if pull.where == "air" and not pull.struck_out and pull.sequence > state.held_sequence > 0
    ]


def confirmed(state: JobState) -> bool:
    """Whether an insert was pulled in the air after the adjuster was locked: locking can move it, and the run's air
    pulls are compared with this one."""
    return bool(_air_pulls_after(state))


def observed_shift(state: JobState) -> AirToStack | None:
    """The air-to-stack shift that this job's pulls have shown at the held setting: mean set length of the good coupons
    minus that of the air pulls after locking, free lengths allowed for. None before both are there.

    Its standard doubt (mm) is that of a difference of two means, σ·√(1/n + 1/m), with σ of one pull the larger of what
    tool, gauge and insert are said to scatter and what the coupons did (JCGM 100:2008, 5.1.2)."""
    stack = [(c.set_length, c.length_before) for c in state.coupons if c.counts and c.passed and c.purpose == "proof"]
    air = [(pull.reading, pull.length_before) for pull in _air_pulls_after(state)]
    free = insert_of(state).length_free.mm
    in_stack = [_allowed_for_mm(length, before, free) for length, before in stack if length is not None]
    in_air = [_allowed_for_mm(length, before, free) for length, before in air]
    if len(in_stack) < 2 or not in_air:
        return None
    tool = tool_of(state)
    process = tool.process_sd_mm if tool is not None else PROCESS_SD_MM
    # an insert that was not measured before its pull brings its own length error along
    lengths = 0.0 if all(before for _length, before in (*stack, *air)) else INSERT_LENGTH_SD_MM
    # coupons that scatter more than the tool was said to are believed
    one = max(math.hypot(process, CALIPER_ERROR_MM / math.sqrt(3.0), lengths), stdev(in_stack))
    doubt = one * math.sqrt(1 / len(in_stack) + 1 / len(in_air))
    mean = fmean(in_stack) - fmean(in_air)
    return AirToStack(round(mean, 6), round(doubt, 6), f"observed: {len(in_stack)} coupons, {len(in_air)} air pull(s)")


def learn_shift(book: Book, state: JobState, doing: Doing) -> None:
    """Keep the observed air-to-stack shift for the next job, per tool × insert × stack."""
    found = observed_shift(state)
    if found is None or not book.store.last(f"tool:{state.tool_id}"):
        return
    stack, _batch = stack_of(state)
    coupons = sum(c.counts and c.passed and c.purpose == "proof" for c in state.coupons)
    key = shift_key(insert_of(state), stack)
    shift = shift_with(book.tool(state.tool_id), key, found, job=state.id, coupons=coupons, at=book.now())
    with contextlib.suppress(Conflict):  # somebody else counted cycles meanwhile; the next verdict learns it
        book.write(f"tool:{state.tool_id}", [("ShiftLearned", {"key": key, "shift": shift})], Doing(doing.by))


def fine_length(value_mm: float, unit: LengthUnit) -> str:
    """A scatter or a doubt with its unit, one digit finer than a reading."""
    return f"{show_mm(value_mm, unit, decimals=3 if unit == 'mm' else 5)} {unit}"


def _allowed_for_mm(length: Length, before: Length | None, free_mm: float) -> float:
    """A set length as an insert of nominal free length would have it (mm)."""
    return length.mm - ((before.mm - free_mm) if before is not None else 0.0)


def _judge(book: Book, state: JobState, doing: Doing) -> JobState:
    """The proof as it stands now; nothing to judge before a hold."""
    from firstpull.jobs.prove import judge  # prove stands on dial_in; only what a proof rests on looks back

    return state if state.held is None else judge(book, state.id, doing)


def _setting(state: JobState) -> Any:
    if state.setting is None:
        raise Unsafe(
            "There is no setting yet.", where=state.id, hint="Describe the stack, the insert and the tool first."
        )
    return state.setting


def _story(state: JobState) -> list[Pull | Move | Coupon]:
    """Pulls and moves in order, with coupons that were measured as what they are: pulls in the stack."""
    coupons = [coupon for coupon in state.coupons if coupon.set_length is not None and coupon.purpose != "ladder"]
    items: list[Pull | Move | Coupon] = [*state.pulls, *state.moves, *coupons]
    return sorted(items, key=lambda item: item.sequence)


def _as_request(item: Pull | Move | Coupon, unit: LengthUnit) -> dict[str, Any]:
    if isinstance(item, Move):
        if item.kind != "turn":
            return {"type": item.kind}
        return (
            {"type": "turn", "clicks": item.clicks}
            if item.clicks is not None
            else {"type": "turn", "turns": item.turns}
        )
    if isinstance(item, Coupon):
        readings, where = [length for length in (item.set_length,) if length is not None], "stack"
    else:
        readings, where = list(item.readings), item.where
    values = [in_unit(reading.mm, unit) for reading in readings]
    before = None if item.length_before is None else in_unit(item.length_before.mm, unit)
    return {
        "type": "pull",
        "reading": values[0],
        "readings": values,
        "length_before": before,
        "where": where,
        "struck_out": bool(item.struck_out),
    }


def _last_dial_in(state: JobState) -> int:
    return max((item.sequence for item in state.history), default=0)


def _tool_state(book: Book, state: JobState) -> ToolState | None:
    return book.tool(state.tool_id) if book.store.last(f"tool:{state.tool_id}") else None


def _gauge_state(book: Book, state: JobState) -> GaugeState | None:
    return book.gauge(state.gauge_id) if state.gauge_id and book.store.last(f"gauge:{state.gauge_id}") else None


def _sensible(length: Length) -> None:
    if not 0 < length.nanometres < 1000 * NM_PER_MM:
        raise BadInput(
            f"A length of {length.typed or length.mm} can not be a reading.",
            where="reading",
            hint="More than 0 and under 1 m.",
        )


def _cycles_sensible(count: int) -> None:
    if not 0 <= count <= 50:
        raise BadInput("Between 0 and 50 cycles without an insert.", where="dry_cycles")

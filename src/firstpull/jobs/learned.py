"""What the record teaches of a tool, a part and a gauge before a dial-in: nothing is stored, all is read from what stands.

Looked at are the last jobs with the same tool and the last with the same part (``LOOK_BACK`` of each), found among the
newest ``ROWS`` rows that name them; what one job says is kept in memory until its stream grows. Practice has invented
tools and lots, each another, and teaches nothing.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from statistics import fmean, median
from threading import Lock
from typing import Any

from firstpull.jobs.gauge_studies import gauge_scatter
from firstpull.jobs.shapes import in_unit
from firstpull.jobs.workshop import Book
from firstpull.mechanics.setting import AirToStack
from firstpull.mechanics.tool import Tool
from firstpull.record.job import Coupon, JobState, Move, Pull
from firstpull.record.things import ToolState
from firstpull.statistics.learning import (
    KnobKnown,
    KnobPull,
    KnobSession,
    LengthsKnown,
    Level,
    Lot,
    knob_known,
    lengths_known,
    level_after,
)
from firstpull.units import LengthUnit

LOOK_BACK = 20
ROWS = 120
INSERT_LENGTH_SD_MM = 0.04
LOT_MEAN_SD_MM = 0.06
LEAD_REL_SD = 0.03
_MISREAD_MM = 0.12
_REMEMBERED = 2000
_OVERSET = frozenset({"thread_gauge", "blind_head", "section"})


@dataclass(frozen=True, slots=True)
class Lesson:
    """What one job says: its knob session, its free lengths, its part; and how far second readings differed."""

    stream: str
    at: str
    tool_id: str
    part: str
    session: KnobSession
    lengths_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Caliper:
    """What one reading scatters by, standard deviation in mm, and where that comes from in words."""

    sd_mm: float
    source: str
    studied: bool


@dataclass(frozen=True, slots=True)
class Known:
    """What is known before the first pull. ``knob`` and ``lengths`` are None where no earlier job says anything;
    ``knob_at`` and ``lengths_at`` are the moments of the last evidence."""

    knob: KnobKnown | None
    knob_at: str
    play_turns: float | None
    lengths: LengthsKnown | None
    lengths_at: str
    caliper: Caliper
    lot_lengths_mm: tuple[float, ...]
    ceiling_mm: float | None


def known_of(book: Book, state: JobState, tool: Tool, *, error_mm: float) -> Known:
    """What the record of ``book`` says for this job's tool, part and gauge. ``error_mm``: the gauge's limit of error."""
    caliper = _caliper(book, state, error_mm)
    own = tuple(length.mm for length in state.lot_lengths)
    ceiling = _ceiling_mm(state)
    tool_state = book.tool(state.tool_id) if book.store.last(f"tool:{state.tool_id}") else None
    play = _play(tool_state)
    if book.practice or tool.lead_per_turn is None:
        return Known(None, "", play, None, "", caliper, own, ceiling)
    today = _day(book.now())
    since = "" if tool_state is None else tool_state.serviced_at
    of_tool = [
        one for one in _lessons(book, state, "tool", state.tool_id) if one.at > since and len(one.session.pulls) > 1
    ]
    part = str((state.insert or {}).get("part", ""))
    of_part = [one for one in _lessons(book, state, "insert", part) if one.lengths_mm]
    knob = None
    if of_tool:
        knob = knob_known(
            [one.session for one in of_tool],
            today=today,
            lead_mm=tool.lead_per_turn.mm,
            lead_rel_sd=_lead_doubt(tool, tool_state),
            process_sd_mm=max(tool.process_sd_mm, 1e-3),
        )
    lengths = None
    if of_part:
        lengths = lengths_known(
            [Lot(one.session.day, one.lengths_mm) for one in of_part],
            today=today,
            nominal_mm=_free_mm(state),
            caliper_sd_mm=caliper.sd_mm,
            within_sd_mm=INSERT_LENGTH_SD_MM,
            lot_sd_mm=LOT_MEAN_SD_MM,
        )
    knob_at = of_tool[-1].at if of_tool else ""
    return Known(knob, knob_at, play, lengths, of_part[-1].at if of_part else "", caliper, own, ceiling)


def lesson_of(state: JobState) -> Lesson:
    """What a job's own pulls say. Pulls that were struck out, in a stack, or made before the play was taken up
    towards more stroke are left out; several readings of one insert count as their median."""
    insert, tool = state.insert or {}, Tool.from_json(state.tool) if state.tool is not None else None
    free = _free_mm(state)
    pulls: list[KnobPull] = []
    place, taken_up, cycles, since_air = 0.0, 0.0, 0, 0
    play = tool.backlash_turns if tool is not None else 0.2
    sign = -1.0 if tool is not None and tool.plus_turns == "less stroke" else 1.0
    wild = _suspects(state)
    number = -1
    for item in _story(state):
        if isinstance(item, Move):
            if item.kind == "turn":
                more = sign * item.turns
                taken_up = (taken_up if taken_up > 0 else 0.0) + more if more > 0 else 0.0
                place, since_air = place + more, 0
            elif item.kind == "dry_cycle":
                cycles, since_air = cycles + 1, since_air + 1
            else:
                since_air = 0
            continue
        number += isinstance(item, Pull)
        if isinstance(item, Pull) and item.where == "air" and not item.struck_out and number not in wild:
            settled = taken_up >= play - 1e-9
            if settled:
                pulls.append(_knob_pull(item, free, place=place, cycles=cycles, since_air=since_air))
        cycles, since_air = cycles + 1, since_air + 1
    done: list[Pull | Coupon] = [*state.pulls, *state.coupons]
    measured = [pull.length_before for pull in done if not pull.struck_out]
    lengths = [length.mm for length in (*state.lot_lengths, *measured) if length is not None]
    at = max((pull.at for pull in done), default="")
    near = tuple(length for length in lengths if abs(length - free) < 0.05 * free)
    return Lesson(
        state.stream,
        at,
        state.tool_id,
        str(insert.get("part", "")),
        KnobSession(_day(at) if at else 0.0, tuple(pulls)),
        near,
    )


def tool_history(
    tool: Tool, tool_state: ToolState | None, known: Known | None, *, unit: LengthUnit
) -> dict[str, Any] | None:
    """What is known of the tool by its knob trials and its earlier jobs, as a request says it; None when nothing is."""
    stated = (tool_state.learned if tool_state else None) or {}
    knob = known.knob if known is not None else None
    if known is None or knob is None:
        return (
            {
                "lead_ratio": 1.0,
                "lead_rel_sd": stated.get("lead_rel_sd", tool.lead_rel_sd),
                "process_sd": in_unit(stated.get("process_sd_mm", tool.process_sd_mm), unit),
                "backlash_turns": stated.get("backlash_turns", tool.backlash_turns),
                "drift_per_cycle": 0.0,
            }
            if stated
            else None
        )
    # a drift that can not be told from none is none
    drift = knob.drift_mm if abs(knob.drift_mm) > 2 * knob.drift_sd_mm else 0.0
    return {
        "lead_ratio": round(knob.ratio, 6),
        "lead_rel_sd": round(knob.ratio_sd, 6),
        "process_sd": in_unit(knob.process_sd_mm, unit),
        "backlash_turns": known.play_turns,
        "drift_per_cycle": in_unit(drift, unit),
    }


def age_days(book: Book, at: str) -> float:
    """How long ago a moment of the record was, in days; never below 0."""
    return max(_day(book.now()) - _day(at), 0.0)


def _knob_pull(pull: Pull, free_mm: float, *, place: float, cycles: int, since_air: int) -> KnobPull:
    reading = median(length.mm for length in pull.readings)
    before = pull.length_before.mm if pull.length_before is not None else free_mm
    gauge = 0.01**2
    own = gauge if pull.length_before is not None else INSERT_LENGTH_SD_MM**2
    return KnobPull(place, cycles, since_air, before - reading, gauge / len(pull.readings) + own)


_lessons_kept: OrderedDict[tuple[Path, str, int], Lesson] = OrderedDict()
_lock = Lock()


def _lessons(book: Book, state: JobState, field: str, value: str) -> list[Lesson]:
    """The lessons of the last jobs whose ``field`` is ``value``, oldest first; this job itself left out."""
    if not value:
        return []
    found: list[Lesson] = []
    for row in book.store.search(value, kind="job", limit=ROWS):
        if row.data.get(field) != value or row.stream == state.stream or not row.data.get("pulls"):
            continue
        found.append(_lesson(book, row.stream, row.last))
        if len(found) == LOOK_BACK:
            break
    return sorted((one for one in found if one.at), key=lambda one: (one.at, one.stream))


def _lesson(book: Book, stream: str, last: int) -> Lesson:
    key = (book.path, stream, last)
    with _lock:
        kept = _lessons_kept.get(key)
    if kept is None:
        kept = lesson_of(book.job(stream.partition(":")[2]))
    with _lock:
        _lessons_kept[key] = kept
        _lessons_kept.move_to_end(key)
        while len(_lessons_kept) > _REMEMBERED:
            _lessons_kept.popitem(last=False)
    return kept


def _caliper(book: Book, state: JobState, error_mm: float) -> Caliper:
    """The gauge's repeatability by its own study; else its limit of error as a rectangle (JCGM 100, 4.3.7), and more
    where repeated readings of this job scatter more than that."""
    if state.gauge_id and book.store.last(f"gauge:{state.gauge_id}"):
        studied = gauge_scatter(book, state.gauge_id, measured="set length")
        if studied is not None:
            return Caliper(studied.repeatability_mm, studied.source, True)
    stated = error_mm / math.sqrt(3.0)
    squares, spare = _repeats(state.pulls)
    if spare >= 4 and math.sqrt(squares / spare) > stated:
        return Caliper(math.sqrt(squares / spare), f"{spare} repeated readings", False)
    return Caliper(stated, "its limit of error", False)


def _repeats(pulls: Iterable[Pull]) -> tuple[float, int]:
    squares, spare = 0.0, 0
    for pull in pulls:
        values = [length.mm for length in pull.readings]
        middle = median(values)
        near = [value for value in values if abs(value - middle) < _MISREAD_MM]
        if len(near) > 1 and not pull.struck_out:
            mean = fmean(near)
            squares += math.fsum((value - mean) ** 2 for value in near)
            spare += len(near) - 1
    return squares, spare


def _play(tool_state: ToolState | None) -> float | None:
    """The play that was learned at the knob, unless a service came after it."""
    learned = None if tool_state is None else tool_state.learned
    if tool_state is None or learned is None or str(learned.get("at", "")) < tool_state.serviced_at:
        return None
    play = learned.get("backlash_turns")
    return None if play is None else float(play)


def _lead_doubt(tool: Tool, tool_state: ToolState | None) -> float:
    """The stated doubt of the lead; what was learned at the knob before a service is doubted as if it were stated."""
    if tool_state is not None and tool_state.serviced_at and _play(tool_state) is None:
        return max(tool.lead_rel_sd, LEAD_REL_SD)
    return tool.lead_rel_sd


def _ceiling_mm(state: JobState) -> float | None:
    """The longest set length at which a coupon of this job was set too far (thread, blind head or section bad on a
    coupon shorter than one that passed): no ordered move goes below it."""
    counting = [c for c in state.coupons if not c.struck_out and c.set_length is not None]
    good = [c.set_length.mm for c in counting if c.passed and c.set_length is not None]
    if not good:
        return None
    bad = [
        c.set_length.mm
        for c in counting
        if c.set_length is not None and _OVERSET & set(c.failed) and c.set_length.mm < min(good)
    ]
    return max(bad, default=None)


def _suspects(state: JobState) -> frozenset[int]:
    reply = state.advice or {}
    readings = [int(pair[0]) for pair in reply.get("suspect_readings") or ()]
    return frozenset([*readings, *(int(pull) for pull in reply.get("suspect_pulls") or ())])


def _story(state: JobState) -> list[Pull | Move | Coupon]:
    items: list[Pull | Move | Coupon] = [*state.pulls, *state.moves, *state.coupons]
    return sorted(items, key=lambda item: item.sequence)


def _free_mm(state: JobState) -> float:
    length = (state.insert or {}).get("length_free")
    return float(length["nm"]) / 1e6 if length else 0.0


def _day(at: str) -> float:
    return datetime.strptime(at, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC).timestamp() / 86_400


def shift_with(tool: ToolState, key: str, found: AirToStack, *, job: str, coupons: int, at: str) -> dict[str, Any]:
    """The air-to-stack shift of ``key`` (insert × stack) with this job's finding taken in, as the record keeps it.

    ``before`` holds what was known without this job, so that judging it again does not count it twice. A service or
    another mandrel since then widens what was known.
    """
    kept = tool.shifts.get(key) or {}
    same = kept.get("job") == job
    names = ("mean_mm", "sd_mm", "coupons", "at")
    before: Mapping[str, Any] = (kept.get("before") or {}) if same else {n: kept[n] for n in names if n in kept}
    earlier = None
    if before:
        earlier = Level(float(before["mean_mm"]), float(before["sd_mm"]))
    jolted = bool(before) and str(before.get("at", "")) < tool.serviced_at
    days = max(_day(at) - _day(str(before["at"])), 0.0) if before and before.get("at") else 0.0
    level = level_after(earlier, Level(found.mean_mm, found.sd_mm), days=days, jolted=jolted)
    return {
        "mean_mm": round(level.mean_mm, 6),
        "sd_mm": round(level.sd_mm, 6),
        "coupons": coupons + int(before.get("coupons", 0)),
        "job": job,
        "before": dict(before) or None,
    }

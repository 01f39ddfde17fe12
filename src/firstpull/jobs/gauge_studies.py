"""Guided gauge studies: begun, read in a fixed mixed order, finished; and what a reading of a gauge is worth by them.

For other verbs two functions matter: :func:`gauge_scatter` (what dialling in reckons with) and
:func:`measurement_uncertainty` (what a verdict with guard bands reckons with).
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np

from firstpull.errors import BadInput, Conflict, Unsafe
from firstpull.jobs.gauge_results import result_of
from firstpull.jobs.slips import slip_question
from firstpull.jobs.workshop import Book, Doing
from firstpull.record.gauge_study import Study, find
from firstpull.record.things import GaugeState
from firstpull.statistics.measurement import effective_degrees_of_freedom, rectangular, resolution_uncertainty
from firstpull.units import Length, LengthUnit

MEASURED = ("free length", "set length", "gauge blocks")
"""What a study measures: parts of the shop, or blocks whose length is known."""
BLOCKS = "gauge blocks"
STUDY_DAYS = 730
"""How long a study counts where the shop has set nothing (our choice)."""
_TRIES = 5


@dataclass(frozen=True, slots=True)
class GaugeScatter:
    """What one reading of a gauge is worth, by its own studies; lengths in mm.

    ``sd_mm``: from one reading to another, whoever reads (at least step/√12); ``repeatability_mm``: the same person again;
    ``degrees_of_freedom`` of ``sd_mm``, None where the step decides. ``bias_mm``: reading less truth on gauge blocks, 0
    where no study of blocks counts; ``bias_u_mm`` its standard uncertainty, from the limit of error where there is none.
    ``u_mm``: standard uncertainty of one reading, all of these together, the bias not corrected.
    """

    sd_mm: float
    repeatability_mm: float
    degrees_of_freedom: float | None
    bias_mm: float
    bias_u_mm: float
    resolution_mm: float
    u_mm: float
    study: int
    valid_until: str
    source: str


@dataclass(frozen=True, slots=True)
class ReadingUncertainty:
    """The standard uncertainty of a length read with a gauge, in mm, its ``parts`` (name, u_mm, degrees of freedom) and
    in words where it comes from. ``degrees_of_freedom`` None: taken as exactly known."""

    u_mm: float
    degrees_of_freedom: float | None
    parts: tuple[tuple[str, float, float | None], ...]
    source: str


@dataclass(frozen=True, slots=True)
class StudyPlan:
    """What a study shall be. ``references`` holds the blocks' lengths by name, ``reference_u_mm`` their standard
    uncertainty; ``half_window_mm`` what the gauge is to judge, ± that much, None when nothing is said."""

    measured: str
    people: tuple[str, ...]
    parts: tuple[str, ...]
    rounds: int
    half_window_mm: float | None = None
    references: Mapping[str, Length] | None = None
    reference_u_mm: float = 0.0


def gauge_scatter(book: Book, gauge_id: str, *, measured: str = "") -> GaugeScatter | None:
    """What the gauge's readings scatter by its last study that counts: of ``measured`` (“free length”, “set length”)
    where there is one, else of either; None without any. Raises NotFound for a gauge that is not known."""
    state, today = book.gauge(gauge_id), _today(book)
    study = _counting_study(state, today, measured=measured)
    if study is None or study.result is None:
        return None
    result, bias, bias_u, blocks = study.result, *known_bias(state, today)
    sd, alone = float(result["sd_mm"]), _repeatability(result)
    freedom = result["degrees_of_freedom"]
    name = str(state.gauge.get("name") or state.id)
    from_blocks = f", bias by study {blocks}" if blocks else ", bias within its limit of error"
    return GaugeScatter(
        sd_mm=sd,
        repeatability_mm=alone,
        degrees_of_freedom=None if freedom is None else float(freedom),
        bias_mm=bias,
        bias_u_mm=bias_u,
        resolution_mm=float(state.gauge["resolution_mm"]),
        u_mm=math.hypot(sd, rectangular(abs(bias)), bias_u),
        study=study.number,
        valid_until=valid_until(state, study),
        source=f"{name}, study {study.number} of {study.finished_at[:10]} ({study.measured}){from_blocks}",
    )


def measurement_uncertainty(book: Book, gauge_id: str, *, readings: int = 1) -> ReadingUncertainty | None:
    """The standard uncertainty in mm of the mean of ``readings`` (1 to 1000) by one person with this gauge; None when
    no gauge is named. Only the repeatability shrinks with their number, and never below the step. Without a study that
    counts, the limit of error and the step alone. Raises NotFound, BadInput."""
    if not gauge_id:
        return None
    if not 1 <= readings <= 1000:
        raise BadInput("Between 1 and 1000 readings.", where="readings", hint="How often one length is read.")
    state, today = book.gauge(gauge_id), _today(book)
    found = gauge_scatter(book, gauge_id)
    name = str(state.gauge.get("name") or state.id)
    floor = resolution_uncertainty(float(state.gauge["resolution_mm"]))
    bias, bias_u, blocks = known_bias(state, today)
    repeat, freedom, between = 0.0, None, None
    if found is not None:
        shown = (find(state.studies, found.study).result or {})["components"]
        repeat, freedom, between = *_sd_of(shown.get("repeatability")), shown.get("reproducibility")
        source = found.source
    elif blocks:
        result = find(state.studies, blocks).result or {}
        repeat, freedom = float(result["repeatability_mm"]), float(result["degrees_of_freedom"])
        source = f"{name}: study {blocks} of gauge blocks; no study of parts counts, so people are not in it"
    else:
        source = f"{name}: limit of error and step; no gauge study counts"
    alone = repeat / math.sqrt(readings)
    lines: list[tuple[str, float, float | None]] = [
        ("resolution", floor, None) if floor >= alone else ("repeatability", alone, freedom)
    ]
    if between is not None:
        lines.append(("reproducibility", *_sd_of(between)))
    if blocks:
        lines += [("bias", rectangular(abs(bias)), None), ("bias, its doubt", bias_u, None)]
    else:
        lines.append(("limit of error", bias_u, None))
    return _together(lines, source)


def known_bias(state: GaugeState, today: date) -> tuple[float, float, int]:
    """Bias in mm, its standard uncertainty, and the study of blocks it comes from; by the limit of error, and 0 for the
    study, where none counts."""
    for study in reversed(state.studies):
        if study.references and study.result is not None and not why_not(state, study, today):
            return float(study.result["bias_mm"]), float(study.result["bias_u_mm"]), study.number
    return 0.0, rectangular(float(state.gauge["error_mm"])), 0


def studies_answer(book: Book, gauge_id: str) -> dict[str, Any]:
    """``firstpull/gauge-studies/1``: every study of a gauge with its result, whether it counts and until when, and what
    the gauge is worth by them: ``scatter`` and ``uncertainty`` (null where nothing is known). Lengths in mm."""
    state, today = book.gauge(gauge_id), _today(book)
    scatter, doubt = gauge_scatter(book, gauge_id), measurement_uncertainty(book, gauge_id)
    return {
        "schema": "firstpull/gauge-studies/1",
        "gauge": gauge_id,
        "studies": [
            {
                "number": study.number,
                "measured": study.measured,
                "people": list(study.people),
                "parts": list(study.parts),
                "rounds": study.rounds,
                "begun_at": study.begun_at,
                "finished_at": study.finished_at,
                "readings": len(study.counting),
                "of": len(study.slots),
                "counts": not why_not(state, study, today),
                "why_not": why_not(state, study, today),
                "valid_until": valid_until(state, study) if study.finished_at else "",
                "result": None if study.result is None else dict(study.result),
            }
            for study in state.studies
        ],
        "scatter": None if scatter is None else asdict(scatter),
        "uncertainty": None if doubt is None else asdict(doubt),
    }


def begin_study(book: Book, gauge_id: str, plan: StudyPlan, *, doing: Doing) -> Study:
    """Begin a study: the order of all readings is drawn now, from the id of this act, and stands in the record.
    Raises BadInput, and Unsafe while another study of this gauge is open."""
    state = book.gauge(gauge_id)
    if book.repeats(state.stream, doing):
        return book.gauge(gauge_id).studies[-1]
    plan = _checked(plan)
    doing = doing.checked()
    references = plan.references or {}
    data = {
        "number": len(state.studies) + 1,
        "measured": plan.measured,
        "people": list(plan.people),
        "parts": list(plan.parts),
        "rounds": plan.rounds,
        "order": study_order(len(plan.people), len(plan.parts), rounds=plan.rounds, seed=doing.slip),
        "seed": doing.slip,
        "half_window_mm": plan.half_window_mm,
        "references": {name: length.to_json() for name, length in references.items()},
        "reference_u_mm": plan.reference_u_mm,
    }
    book.write(state.stream, [("StudyBegun", {"study": data})], doing, gauge=gauge_id)
    return book.gauge(gauge_id).studies[-1]


def study_order(people: int, parts: int, *, rounds: int, seed: str) -> list[list[int]]:
    """Every reading once as [person, part, round]: each person reads every part in each round, in an order drawn anew,
    never one part twice running. The same ``seed`` gives the same order."""
    generator = np.random.default_rng(int(hashlib.sha256(seed.encode()).hexdigest()[:16], 16))
    order: list[list[int]] = []
    for who in range(people):
        last = -1
        for turn in range(1, rounds + 1):
            drawn = [int(part) for part in generator.permutation(parts)]
            if drawn[0] == last and parts > 1:
                drawn = drawn[1:] + drawn[:1]
            last = drawn[-1]
            order += [[who, part, turn] for part in drawn]
    return order


def take_reading(
    book: Book, gauge_id: str, study: int, *, slot: int, reading: Length, doing: Doing, sure: bool = False
) -> Study:
    """One reading of the study into its place. Two people may read at once, each at their own screen. Raises BadInput
    when it can hardly be meant (a slip of unit or digit) unless ``sure``, Unsafe when that place was read already."""
    state = book.gauge(gauge_id)
    if book.repeats(state.stream, doing):
        return find(book.gauge(gauge_id).studies, study)
    there = find(state.studies, study)
    question = "" if sure else slip_of_study(there, slot, reading)
    if question:
        raise BadInput(question, where="reading", hint="Read it again, or say that it is right.")
    data = {"study": study, "slot": slot, "reading": reading.to_json()}
    _write(book, state.stream, ("StudyRead", data), doing=doing, gauge=gauge_id)
    return find(book.gauge(gauge_id).studies, study)


def slip_of_study(study: Study, slot: int, reading: Length) -> str:
    """The question about a reading near 25.4×, 10× or a tenth of the block's length or of what else was read; "" when it
    is none. Parts are told apart by no more than that: nobody learns what another one read."""
    if not reading.nanometres > 0:
        return "A length is more than zero."
    if not 0 <= slot < len(study.slots):
        return ""
    part = study.slots[slot].part
    if part in study.references:
        expected: float | None = Length.from_json(study.references[part]).mm
    else:
        read = sorted(Length.from_json(one.value).mm for one in study.counting.values())
        expected = read[len(read) // 2] if read else None
    unit: LengthUnit = "in" if reading.typed.rstrip().endswith(("in", '"', "″", "inch")) else "mm"
    return slip_question(reading, expected, unit)


def strike_reading(book: Book, gauge_id: str, study: int, *, of: int, reason: str, doing: Doing) -> Study:
    """A reading that does not count, with a reason; its place is read again. ``of`` is its event's sequence."""
    data = {"study": study, "of": of, "reason": reason.strip()}
    _write(book, f"gauge:{gauge_id}", ("StudyReadingStruckOut", data), doing=doing, gauge=gauge_id)
    return find(book.gauge(gauge_id).studies, study)


def finish_study(book: Book, gauge_id: str, study: int, *, doing: Doing) -> Study:
    """Reckon with a complete study and put its result on record. Raises Unsafe while readings are missing."""
    state = book.gauge(gauge_id)
    there = find(state.studies, study)
    if there.result is not None:
        return there
    if not there.complete:
        left = len(there.slots) - len(there.counting)
        raise Unsafe(f"{left} readings are still to be taken.", where="study", hint="Read them first.")
    result = result_of(there, resolution_mm=float(state.gauge["resolution_mm"]))
    book.write(state.stream, [("StudyFinished", {"study": study, "result": result})], doing, gauge=gauge_id)
    return find(book.gauge(gauge_id).studies, study)


def give_study_up(book: Book, gauge_id: str, study: int, *, reason: str, doing: Doing) -> Study:
    """End a study without a result, with a reason; its readings stay on record."""
    if not reason.strip():
        raise BadInput("Why is it given up?", where="reason", hint="For example “parts were mixed up”.")
    data = {"study": study, "reason": reason.strip()}
    book.write(f"gauge:{gauge_id}", [("StudyGivenUp", data)], doing, gauge=gauge_id)
    return find(book.gauge(gauge_id).studies, study)


def service_gauge(book: Book, gauge_id: str, what: str, *, doing: Doing) -> GaugeState:
    """The gauge was serviced or repaired: what was done. No earlier study counts from now on."""
    if not what.strip():
        raise BadInput("What was done?", where="what", hint="For example “jaws lapped”.")
    book.write(f"gauge:{gauge_id}", [("GaugeServiced", {"what": what.strip()})], doing, gauge=gauge_id)
    return book.gauge(gauge_id)


def set_study_age(book: Book, gauge_id: str, days: int, *, doing: Doing) -> GaugeState:
    """How many days a study of this gauge counts, 1 to 3660."""
    if not 1 <= days <= 3660:
        raise BadInput("Between 1 and 3660 days.", where="days", hint="For example 365.")
    book.write(f"gauge:{gauge_id}", [("StudyAgeSet", {"days": days})], doing, gauge=gauge_id)
    return book.gauge(gauge_id)


def valid_until(state: GaugeState, study: Study) -> str:
    """The last day on which a finished study counts, ISO 8601."""
    days = state.study_days or STUDY_DAYS
    return (date.fromisoformat(study.finished_at[:10]) + timedelta(days=days)).isoformat()


def why_not(state: GaugeState, study: Study, today: date) -> str:
    """Why a study does not count, in words; "" when it does."""
    if study.given_up:
        return f"given up: {study.given_up}"
    if study.result is None:
        return "not finished"
    if state.serviced > study.finished:
        return f"the gauge was serviced on {state.serviced_at[:10]}"
    if today.isoformat() > valid_until(state, study):
        return f"too old since {valid_until(state, study)}"
    return ""


def window_half_of(book: Book) -> tuple[float, str] | None:
    """Half the width in mm of the stroke window of the job released last, and its title: a window to hold a gauge
    against; None when there is none."""
    released = [row.data for row in book.store.summaries("job") if row.data.get("proven")]
    for row in sorted(released, key=lambda one: str(one.get("released_at")), reverse=True):
        low, high = row["proven"].get("stroke_min_mm"), row["proven"].get("stroke_max_mm")
        if low is not None and high is not None and high > low:
            return (float(high) - float(low)) / 2, str(row.get("title", ""))
    return None


def _checked(plan: StudyPlan) -> StudyPlan:
    people = tuple(name.strip() for name in plan.people if name.strip())
    parts = tuple(part.strip() for part in plan.parts if part.strip())
    if plan.measured not in MEASURED:
        raise BadInput("What is measured?", where="measured", hint=f"One of {', '.join(MEASURED)}.")
    if not people or len(people) > 12 or len({name.casefold() for name in people}) < len(people):
        raise BadInput("Who measures?", where="people", hint="One to twelve people, each name once.")
    if max(map(len, people)) > 80 or not all(name.isprintable() for name in people):
        raise BadInput("That name can not be used.", where="people", hint="80 letters at most.")
    least = 1 if plan.measured == BLOCKS else 2
    if not least <= len(parts) <= 50 or len(set(parts)) < len(parts):
        raise BadInput("How many parts?", where="parts", hint=f"{least} to 50, each with its own number.")
    if not 2 <= plan.rounds <= 20:
        raise BadInput("How many rounds?", where="rounds", hint="2 to 20; three are usual.")
    if len(people) * len(parts) * plan.rounds > 600:
        raise BadInput("That is over 600 readings.", where="parts", hint="Take fewer parts or rounds.")
    if plan.half_window_mm is not None and not 0 < plan.half_window_mm < 1000:
        raise BadInput("A window is more than zero.", where="half_window", hint="± half of its width.")
    if (plan.measured == BLOCKS) != bool(plan.references) or set(plan.references or parts) != set(parts):
        raise BadInput("Every block needs its length.", where="blocks", hint="For example 10 20 30 mm.")
    if not 0 <= plan.reference_u_mm < 1:
        raise BadInput("The blocks’ doubt is 0 or more.", where="reference_u", hint="From their certificate.")
    return StudyPlan(
        plan.measured,
        people,
        parts,
        plan.rounds,
        half_window_mm=plan.half_window_mm,
        references=plan.references,
        reference_u_mm=plan.reference_u_mm,
    )


def _write(book: Book, stream: str, planned: tuple[str, Any], *, doing: Doing, gauge: str) -> None:
    """Write one act of a study. Another screen's reading in between is no conflict: the rules look at the place itself."""
    doing = doing.checked()
    if doing.seen is not None:
        doing = Doing(doing.by, None, doing.slip)
    for attempt in range(_TRIES):
        try:
            book.write(stream, [planned], doing, gauge=gauge, settled=("slot",))
        except Conflict:
            if attempt + 1 == _TRIES:
                raise
        else:
            return


def _counting_study(state: GaugeState, today: date, *, measured: str) -> Study | None:
    counting = [one for one in state.studies if not one.references and not why_not(state, one, today)]
    of_kind = [one for one in counting if one.measured == measured]
    return next(reversed(of_kind or counting), None)


def _sd_of(component: Mapping[str, Any] | None) -> tuple[float, float | None]:
    """A component's sd in mm and its degrees of freedom; 0 where there is none."""
    if component is None:
        return 0.0, None
    freedom = component["degrees_of_freedom"]
    return float(component["sd_mm"]), None if freedom is None else float(freedom)


def _repeatability(result: Mapping[str, Any]) -> float:
    floor = resolution_uncertainty(float(result["resolution_mm"]))
    shown = result["components"].get("repeatability")
    return floor if shown is None else max(floor, float(shown["sd_mm"]))


def _together(parts: Sequence[tuple[str, float, float | None]], source: str) -> ReadingUncertainty:
    used = tuple((name, u, freedom) for name, u, freedom in parts if u > 0)
    freedom = effective_degrees_of_freedom([(u, freedom) for _name, u, freedom in used]) if used else None
    return ReadingUncertainty(math.hypot(*(u for _name, u, _freedom in used)), freedom, used, source)


def _today(book: Book) -> date:
    return date.fromisoformat(book.now()[:10])

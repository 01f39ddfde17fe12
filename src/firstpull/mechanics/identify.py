"""Which insert of the catalogue is this one in the hand, how sure is that, and what to look at next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Literal

from firstpull.errors import BadInput
from firstpull.mechanics import fields as field_readers
from firstpull.mechanics.identify_model import (
    MEASUREMENTS,
    PART_SD_MM,
    SEEN_RIGHTLY,
    Belief,
    Measurement,
    Table,
    believe,
    canonical,
    entropy_bits,
    information_bits,
)
from firstpull.mechanics.identify_rows import Rows, rows_of
from firstpull.mechanics.insert import BODIES, ENDS, HEADS, Body, End, Head, Insert
from firstpull.mechanics.shelf import Shelf
from firstpull.units import Length, LengthUnit, show_length, show_mm

SURE = 0.95
_WORTH_BITS = 0.02
_LEAST_SHOWN = 0.001
_MOST_ALIKE = 10
_MOST_MARKS = 20
_WORDS: dict[str, tuple[str, ...]] = {"end": ENDS, "head": HEADS, "body": BODIES}
_DO: dict[Measurement, str] = {
    "thread": "Try the thread with a screw or a thread gauge",
    "free_length": "Measure the free length",
    "end": "Look whether the far end is open or closed",
    "head": "Look at the head: flat, countersunk or low profile",
    "flange_diameter": "Measure the flange diameter",
    "body_diameter": "Measure the body diameter",
    "body": "Look at the body: round, knurled, ribbed or hexagonal",
    "head_marks": "Count the marks on the head",
}
_ATTRIBUTE = {"free_length": "length_free"}


@dataclass(frozen=True, slots=True, kw_only=True)
class InHand:
    """What was found out of the insert in the hand; ``None`` = not looked at. ``gauge_error_mm`` is the limit of error
    of what the lengths were measured with, 0 to 1 mm."""

    thread: str | None = None
    free_length: Length | None = None
    end: End | None = None
    head: Head | None = None
    flange_diameter: Length | None = None
    body_diameter: Length | None = None
    body: Body | None = None
    head_marks: int | None = None
    gauge_error_mm: float = 0.03


@dataclass(frozen=True, slots=True)
class Agreement:
    """One thing seen beside what the row says: ``agrees`` is None where the row does not say."""

    measurement: Measurement
    seen: str
    row: str
    agrees: bool | None


@dataclass(frozen=True, slots=True)
class Match:
    """A row of the catalogue with its probability. ``alike`` are parts that none of these measurements tells from it,
    ``differ_in`` the columns in which they differ."""

    insert: Insert
    probability: float
    agreements: tuple[Agreement, ...]
    alike: tuple[str, ...]
    differ_in: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One more thing to find out, with what it is expected to tell, in bits (1 bit halves the possibilities)."""

    measurement: Measurement
    bits: float
    text: str


@dataclass(frozen=True, slots=True)
class Identification:
    """The answer. Probabilities of ``matches``, ``others_probability`` (rows not listed) and ``none_probability`` (in no
    row) make one. ``verdict``: “one” is sure enough, “several” are possible, “none” of these is likeliest."""

    matches: tuple[Match, ...]
    others_probability: float
    none_probability: float
    verdict: Literal["one", "several", "none"]
    entropy_bits: float
    next: Suggestion | None
    suggestions: tuple[Suggestion, ...]
    text: str
    notes: tuple[str, ...]


def identify(
    inserts: Sequence[Insert] | Shelf, seen: InHand, *, unit: LengthUnit = "mm", most: int = 20
) -> Identification:
    """The rows that the insert in the hand may be, likeliest first, and the one more measurement that decides best.

    Bayes' rule with every row equally likely beforehand and a tenth for “none of these”; a length reads normally about
    the row's value with the scatter of the part (free length and flange 0.1 mm, body 0.05 mm) and of the gauge
    (``gauge_error_mm``/√3, mm); a word is seen rightly with the chance in ``SEEN_RIGHTLY`` (head marks 0.85: a
    mismatch is unlikely, not impossible). The next measurement is the one with the greatest expected fall of entropy.
    Source: Bayes' rule; JCGM 100:2008, 4.3.7 (limit of error as a rectangular distribution); Lindley 1956 for the
    expected information; chances and scatters are engineering judgement. ``most`` rows are listed (1 to 1000), in the
    texts lengths are in ``unit``. Among very many rows (``NARROW_FROM``) a thread that is given leaves only its own. Raises BadInput for an empty catalogue, nothing seen, or a value that cannot be.
    """
    _check(inserts, seen, most)
    gauge_sd_mm = seen.gauge_error_mm / math.sqrt(3)
    rows = rows_of(inserts, seen.thread)
    table = rows.table(most_marks=seen.head_marks or 0)
    words, lengths_mm = _said(table, seen)
    belief = believe(table, words, lengths_mm, gauge_sd_mm=gauge_sd_mm)
    matches = _matches(rows, seen, belief, most=most, unit=unit)
    suggestions = _suggestions(table, seen, belief, gauge_sd_mm)
    listed = math.fsum(match.probability for match in matches)
    best = matches[0]
    together = best.probability * (1 + len(best.alike))
    # What is left between parts that look alike no measurement decides.
    settled = bool(best.alike) and together >= SURE
    following = suggestions[0] if suggestions and suggestions[0].bits >= _WORTH_BITS and not settled else None
    verdict: Literal["one", "several", "none"] = "several"
    if belief.none >= 0.5:
        verdict = "none"
    elif together >= SURE and not best.alike:
        verdict = "one"
    return Identification(
        matches=matches,
        others_probability=max(float(belief.rows.sum()) - listed, 0.0),
        none_probability=belief.none,
        verdict=verdict,
        entropy_bits=entropy_bits(belief),
        next=following,
        suggestions=suggestions,
        text=_text(matches, verdict, belief.none, following=following),
        notes=_notes(table, seen, narrowed=rows.narrowed, unit=unit),
    )


def _check(inserts: Sequence[Insert] | Shelf, seen: InHand, most: int) -> None:
    if not inserts:
        raise BadInput("The catalogue is empty.", where="catalogue", hint="Import the inserts that it may be.")
    if all(getattr(seen, name) is None for name in MEASUREMENTS):
        raise BadInput(
            "Nothing is known of the insert yet.", where="in hand", hint="Begin with its thread or its free length."
        )
    for name in PART_SD_MM:
        if getattr(seen, name) is not None:
            field_readers.length(getattr(seen, name), name)
    for name, words in _WORDS.items():
        if getattr(seen, name) is not None:
            field_readers.choice(getattr(seen, name), words, name)
    if seen.head_marks is not None and not 0 <= field_readers.whole(seen.head_marks, "head_marks") <= _MOST_MARKS:
        raise BadInput(
            f"{seen.head_marks} head marks cannot be right.", where="head_marks", hint="A number from 0 to 20."
        )
    if not 0 <= field_readers.number(seen.gauge_error_mm, "gauge_error") <= 1:
        raise BadInput(
            "A gauge error lies between 0 and 1 mm.", where="gauge_error", hint="A good caliper has 0.02 to 0.03 mm."
        )
    field_readers.whole(most, "most")
    if not 1 <= most <= 1000:
        raise BadInput("From 1 to 1000 rows can be listed.", where="most")


def _said(table: Table, seen: InHand) -> tuple[dict[str, int], dict[str, float]]:
    from firstpull.trade.threads import thread

    words = {}
    for name in SEEN_RIGHTLY:
        value = getattr(seen, name)
        if value is not None:
            word = thread(value, where="thread").designation if name == "thread" else str(value)
            words[name] = table.words[name].names.index(word)
    lengths = {name: getattr(seen, name).mm for name in PART_SD_MM if getattr(seen, name) is not None}
    return words, lengths


def _matches(rows: Rows, seen: InHand, belief: Belief, *, most: int, unit: LengthUnit) -> tuple[Match, ...]:
    import numpy as np

    # Equal looks must tie in every order of the catalogue, so chances are compared without their last digits.
    top = float(belief.rows.max())
    chances = np.round(belief.rows / (top or 1.0), 9)
    likely = np.flatnonzero(belief.rows >= min(_LEAST_SHOWN, top))
    order = rows.likeliest(likely, chances)
    looks: dict[tuple[object, ...], list[Insert]] = {}
    for place in order:
        looks.setdefault(_looks(rows.insert(place)), []).append(rows.insert(place))
    found = []
    for place in order[:most]:
        insert = rows.insert(place)
        twins = [other for other in looks[_looks(insert)] if other is not insert]
        found.append(
            Match(
                insert,
                float(belief.rows[place]),
                _agreements(insert, seen, unit),
                tuple(twin.name for twin in twins[:_MOST_ALIKE]),
                _differences(insert, twins),
            )
        )
    return tuple(found)


def _value(insert: Insert, name: str) -> object:
    return canonical(insert.thread) if name == "thread" else getattr(insert, _ATTRIBUTE.get(name, name))


def _looks(insert: Insert) -> tuple[object, ...]:
    return tuple(_value(insert, name) for name in MEASUREMENTS)


def _differences(insert: Insert, twins: Sequence[Insert]) -> tuple[str, ...]:
    names = [field.name for field in fields(Insert) if field.name not in ("part", "note", "thread")]
    return tuple(
        name.removesuffix("_n").removesuffix("_nm").replace("_", " ")
        for name in names
        if any(getattr(twin, name) != getattr(insert, name) for twin in twins)
    )


def _agreements(insert: Insert, seen: InHand, unit: LengthUnit) -> tuple[Agreement, ...]:
    found = []
    for name in MEASUREMENTS:
        value, has = getattr(seen, name), _value(insert, name)
        if value is None:
            continue
        if isinstance(value, Length):
            sd_mm = math.hypot(PART_SD_MM[name], seen.gauge_error_mm / math.sqrt(3))
            agrees = abs(value.mm - has.mm) <= 2 * sd_mm if isinstance(has, Length) else None
            row = f"{show_length(has, unit)} {unit}" if isinstance(has, Length) else "not known"
            found.append(Agreement(name, f"{show_length(value, unit)} {unit}", row, agrees))
            continue
        word = canonical(value) if name == "thread" else value
        found.append(
            Agreement(name, str(word), "not known" if has is None else str(has), None if has is None else word == has)
        )
    return tuple(found)


def _suggestions(table: Table, seen: InHand, belief: Belief, gauge_sd_mm: float) -> tuple[Suggestion, ...]:
    open_ones = [name for name in MEASUREMENTS if getattr(seen, name) is None]
    found = [
        Suggestion(name, round(information_bits(table, belief, name, gauge_sd_mm=gauge_sd_mm), 4), _DO[name])
        for name in open_ones
    ]
    return tuple(sorted(found, key=lambda item: (-item.bits, MEASUREMENTS.index(item.measurement))))


def percent(share: float) -> str:
    """A probability (a share, no unit) as a person reads it, by definition: never a round 0 or 100 %."""
    if share > 0.995:
        return "over 99 %"
    return "under 1 %" if share < 0.005 else f"{100 * share:.0f} %"


def _text(matches: Sequence[Match], verdict: str, none: float, *, following: Suggestion | None) -> str:
    best = matches[0]
    if verdict == "none":
        text = f"Probably none of these ({percent(none)}): it is not in the catalogue, or something was misread."
        text += f" Nearest is {best.insert.name} ({percent(best.probability)}).{_misfits(best)}"
        return f"{text} {following.text} to make sure." if following is not None else text
    text = _alike(best) if best.alike and best.probability * (1 + len(best.alike)) >= 0.5 else _likeliest(matches)
    text += _misfits(best)
    if verdict == "one":
        return text
    if following is None:
        return f"{text} Nothing more that is measured here tells more: look at its box or its data sheet."
    return f"{text} {following.text} to decide."


def _alike(best: Match) -> str:
    names = ", ".join([best.insert.name, *best.alike[:3]]) + (" and more" if len(best.alike) > 3 else "")
    share = percent(min(best.probability * (1 + len(best.alike)), 1.0))
    text = f"Most likely one of {names}, which look alike (together {share})."
    return f"{text} They differ in {', '.join(best.differ_in[:3])}." if best.differ_in else text


def _likeliest(matches: Sequence[Match]) -> str:
    best = matches[0]
    if best.probability < 0.5:
        listed = ", ".join(f"{match.insert.name} {percent(match.probability)}" for match in matches[:4])
        others = "" if sum(match.probability for match in matches[:4]) > 0.9 else " and others"
        return f"Several are possible: {listed}{others}."
    rivals = [match for match in matches[1:4] if match.probability >= 0.02]
    listed = ", ".join(f"{match.insert.name} {percent(match.probability)}" for match in rivals)
    text = f"Most likely {best.insert.name} ({percent(best.probability)})."
    return f"{text} Also possible: {listed}." if rivals else text


def _misfits(best: Match) -> str:
    wrong = [item for item in best.agreements if item.agrees is False]
    if not wrong:
        return ""
    listed = "; ".join(f"{item.measurement.replace('_', ' ')} {item.seen}, its row says {item.row}" for item in wrong)
    return f" What does not fit: {listed}."


def _notes(table: Table, seen: InHand, *, narrowed: bool, unit: LengthUnit) -> tuple[str, ...]:
    notes = []
    if narrowed and seen.thread is not None:
        notes.append(f"Of so many rows only the {table.count} with the thread {canonical(seen.thread)} were looked at.")
    if seen.head_marks is not None:
        notes.append("Head marks only propose: they differ between makers and wear off.")
    for name in PART_SD_MM:
        label = name.replace("_", " ")
        if name not in table.lengths:
            if getattr(seen, name) is not None:
                notes.append(f"No row gives a {label}, so it was not used.")
            continue
        missing = int((~table.lengths[name].known).sum())
        if missing and getattr(seen, name) is not None:
            notes.append(f"{missing} of {table.count} rows give no {label}; for them it says little.")
    gauge = f"{show_mm(seen.gauge_error_mm, unit, decimals=3 if unit == 'mm' else 4)} {unit}"
    notes.append(f"Chances assume a gauge within {gauge} and parts near their row’s values: judgement, not a proof.")
    return tuple(notes)

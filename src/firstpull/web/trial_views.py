"""What the dial-in and the practice pages both show of the trial pulls: the last one in words, and the chart."""

from __future__ import annotations

from firstpull.drawing.charts import ChartPoint, convergence_chart
from firstpull.jobs import dial_in
from firstpull.jobs.learned import age_days
from firstpull.jobs.shapes import insert_of, set_length_limits_mm, to_mm, unit_of
from firstpull.record.job import JobState, Pull
from firstpull.units import show_length, show_mm
from firstpull.web.desk import Desk

ON_THE_DOT_MM = 0.05
"""How near a reading must be to the one foretold to be said to lie on its dot (about the size of the dot drawn)."""

A_GUESS_MM = 0.5
"""A standard doubt from which an expected reading is called a guess: the knob is not known at all yet."""


def inserts_used(count: int) -> str:
    """How many inserts, in words."""
    return f"{count} insert{'' if count == 1 else 's'} used"


def said_of(here: Desk, state: JobState, *, brief: bool = False) -> str:
    """What the last pull gave, against the aim, and whether it was foretold: “11.74 mm, counts as 11.71: 0.45 mm too
    long”. What it counts as allows for the insert's own free length; the chart shows the same number. ``brief``
    says only how far off it was, beside the turn that follows from it."""
    counted = [pull for pull in state.pulls if not pull.struck_out]
    if not counted or state.held is not None:
        return ""
    last, aim = counted[-1], dial_in.promise(state)
    reading = f"{show_length(last.reading, here.unit)} {here.unit}"
    told = dial_in.foretold(here.book, state)
    place = len(state.pulls) - 1
    if [place, 0] in [list(pair) for pair in (state.advice or {}).get("suspect_readings") or ()]:
        return f"{reading}?" + (f" Expected {mm_text(here, told[0])}." if told else "") + " It is kept."
    free = insert_of(state).length_free.mm
    off = last.reading.mm - ((last.length_before.mm - free) if last.length_before else 0.0) - aim.target_mm
    if brief:
        return f"{_off_words(here, off, aim).capitalize()}."
    counts = show_mm(aim.target_mm + off, here.unit)
    as_if = "" if counts == show_length(last.reading, here.unit) else f", counts as {counts}"
    text = f"{reading}{as_if}: {_off_words(here, off, aim)}"
    if any(move.kind == "turn" and move.sequence > last.sequence for move in state.moves):
        return f"Before the turn: {text}."
    if told is None or abs(last.reading.mm - told[0]) > ON_THE_DOT_MM:
        return f"{text}."
    return f"{text}. It landed on the dot: {show_mm(told[0], here.unit)} was foretold."


def _off_words(here: Desk, off_mm: float, aim: dial_in.Promise) -> str:
    if abs(off_mm) < 0.005:
        return "on the aim"
    amount, word = mm_text(here, abs(off_mm)), "long" if off_mm > 0 else "short"
    if aim.low_mm <= aim.target_mm + off_mm <= aim.high_mm:
        return f"inside, {amount} {word}er than the aim"
    return f"{amount} too {word}"


def suspects_of(here: Desk, state: JobState) -> list[str]:
    reply = state.advice or {}
    pulls = list(state.pulls)
    found = []
    for pair in reply.get("suspect_readings") or ():
        index, reading = int(pair[0]), int(pair[1])
        if 0 <= index < len(pulls) and reading < len(pulls[index].readings):
            found.append(
                f"Pull {index + 1}: {show_length(pulls[index].readings[reading], here.unit)} {here.unit} looks like a misread."
            )
    found += [f"Pull {int(index) + 1} looks like a bad pull." for index in reply.get("suspect_pulls") or ()]
    return found


def known_lines(here: Desk, state: JobState) -> list[str]:
    """What is known of this tool, part and gauge before a pull, where it comes from and how old it is."""
    known = dial_in.known_for(here.book, state)
    if known is None:
        return []
    lines = []
    if known.knob is not None:
        knob = known.knob
        changed = f" In {knob.odd} of them it was not the same tool." if knob.odd else ""
        lines.append(
            f"This tool, from {_many(knob.sessions, 'job')}, the last {_ago(here, known.knob_at)}: {knob.ratio * 100:.1f} ± "
            f"{knob.ratio_sd * 200:.1f} % of the stated stroke a turn, pulls scatter by "
            f"{dial_in.fine_length(knob.process_sd_mm, here.unit)}.{changed}"
        )
    if known.lengths is not None:
        lengths = known.lengths
        lines.append(
            f"This part, from {_many(lengths.lengths, 'length')} of {_many(lengths.lots, 'job')}, the last "
            f"{_ago(here, known.lengths_at)}: free lengths scatter by {dial_in.fine_length(lengths.within_sd_mm, here.unit)}, "
            f"lots by {dial_in.fine_length(lengths.lot_sd_mm, here.unit)}."
        )
    if known.lot_lengths_mm:
        lines.append(f"This lot: {_many(len(known.lot_lengths_mm), 'length')} measured beforehand.")
    lines.append(
        f"A reading scatters by {dial_in.fine_length(known.caliper.sd_mm, here.unit)}, by {known.caliper.source}."
    )
    return lines


def _many(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _ago(here: Desk, at: str) -> str:
    days = int(age_days(here.book, at))
    return "today" if days == 0 else "yesterday" if days == 1 else f"{days} days ago"


def promise_text(here: Desk, aim: dial_in.Promise) -> str:
    return (
        f"The tool’s mean must lie between {mm_text(here, aim.low_mm)} and {mm_text(here, aim.high_mm)}, so that "
        f"{aim.share * 100:g} % of the sets, which scatter, stay in the window."
    )


def chart_of(here: Desk, state: JobState, *, advised: bool = True, low: bool = False) -> str:
    """Readings as the tool gave them, free lengths allowed for, so that they compare with the window. ``advised``
    draws what is believed and where the next reading is expected; ``low`` leaves room for the knob on the same sheet."""
    reply, setting = state.advice or {}, state.setting or {}
    unit = unit_of(state)
    shift = float(setting.get("air_to_stack_mm") or 0.0)
    suspects = {int(pair[0]) for pair in reply.get("suspect_readings") or ()} | set(reply.get("suspect_pulls") or ())
    points = [
        ChartPoint(
            number,
            _tool_length_mm(state, pull, shift),
            "stack" if pull.where == "stack" else "air",
            bool(pull.struck_out),
            number - 1 in suspects,
        )
        for number, pull in enumerate(state.pulls, 1)
    ]
    belief = expected = None
    if advised and reply.get("belief") and points:
        said = reply["belief"]
        spread = float(said.get("usual_sd", said["length_sd"]))
        belief = (to_mm(float(said["length_mean"]), unit), to_mm(spread, unit))
    if advised and reply.get("expected") and state.held is None and points:
        there = 0.0 if reply.get("where") == "stack" else shift
        expected = (
            to_mm(float(reply["expected"]["reading"]), unit) + there,
            to_mm(float(reply["expected"]["reading_sd"]), unit),
        )
    told = dial_in.foretold(here.book, state) if advised and state.held is None else None
    return convergence_chart(
        points,
        window=set_length_limits_mm(state),
        target=float(setting["set_length_mm"]),
        belief=belief,
        expected=expected,
        foretold_mm=None if told is None else told[0] + _last_shift(state, shift),
        unit=here.unit,
        width=488,
        height=234 if low else 440,
        key="chart",
    )


def counted_note(here: Desk, state: JobState) -> list[str]:
    """The note of the sheet that says for which free length the lengths drawn stand."""
    if not state.pulls or not any(pull.length_before for pull in state.pulls):
        return []
    return [f"as from {show_length(insert_of(state).length_free, here.unit)} free"]


def _last_shift(state: JobState, shift_mm: float) -> float:
    counted = [pull for pull in state.pulls if not pull.struck_out]
    return shift_mm if counted and counted[-1].where == "air" else 0.0


def _tool_length_mm(state: JobState, pull: Pull, shift_mm: float) -> float:
    free = insert_of(state).length_free.mm
    before = (pull.length_before.mm - free) if pull.length_before else 0.0
    return pull.reading.mm - before + (shift_mm if pull.where == "air" else 0.0)


def expected_text(here: Desk, state: JobState) -> str:
    expected = (state.advice or {}).get("expected")
    if not expected:
        return ""
    unit = unit_of(state)
    reading = show_mm(to_mm(float(expected["reading"]), unit), here.unit)
    if to_mm(float(expected["reading_sd"]), unit) > A_GUESS_MM:
        return f"{reading} {here.unit}, a guess"
    return f"{reading} ± {show_mm(2 * to_mm(float(expected['reading_sd']), unit), here.unit)} {here.unit}"


def saved_of(here: Desk, state: JobState) -> str:
    if state.length_before is not None:
        return f"free {show_length(state.length_before, here.unit)}"
    return show_length(state.pulls[-1].readings[-1], here.unit) if state.pulls else ""


def mm_text(here: Desk, value_mm: float) -> str:
    return f"{show_mm(value_mm, here.unit)} {here.unit}"

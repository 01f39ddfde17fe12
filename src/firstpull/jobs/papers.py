"""The papers beside the setup card: a job's trial log and first-article record, and the history of a tool. They only put
on paper what is on record; nothing is computed anew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Final

from firstpull.drawing.charts import ChartPoint, convergence_chart
from firstpull.errors import Unsafe
from firstpull.jobs import look_after, proof_words, prove
from firstpull.jobs.dial_in import promise
from firstpull.jobs.path import owed
from firstpull.jobs.shapes import insert_of, set_length_limits_mm, stack_of, tool_of, unit_of
from firstpull.jobs.workshop import Book
from firstpull.paper.card import card_drawing
from firstpull.paper.report import Column, Report, Table, report_pdf
from firstpull.record.event import Event
from firstpull.record.job import Coupon, JobState, Move, Pull
from firstpull.record.things import ToolState
from firstpull.units import LengthUnit, show_length, show_mm

PAPERS: Final = {"trial-log": "Trial log", "first-article": "First-article record"}
"""The papers of a job, by the name that addresses and commands use."""

Words = Callable[[Event, LengthUnit], str]
_NEWEST_EVENTS = 400


def job_paper(book: Book, job_id: str, kind: str, *, size: str = "A4", unit: LengthUnit | None = None) -> bytes:
    """The trial log or first-article record of a job as PDF, in the unit the job is proved in unless ``unit`` says
    otherwise. Raises BadInput for another size, Unsafe for another paper or a job that has no setting yet."""
    state = book.job(job_id)
    makers = {"trial-log": trial_log, "first-article": first_article}
    if kind not in makers:
        raise Unsafe(f"There is no paper “{kind}”.", where="paper", hint=f"Use {', '.join(PAPERS)}.")
    if state.setting is None or state.insert is None or state.stack is None:
        raise Unsafe("There is no setting yet.", where=job_id, hint="Choose the insert and set the tool up first.")
    return report_pdf(makers[kind](book, state, unit or unit_of(state)), size=size)


def tool_paper(book: Book, tool_id: str, *, words: Words, unit: LengthUnit = "mm", size: str = "A4") -> bytes:
    """The history of a tool as PDF; ``words`` says each event of it in a sentence. Raises BadInput for another size."""
    return report_pdf(tool_history(book, book.tool(tool_id), words=words, unit=unit), size=size)


def trial_log(book: Book, state: JobState, unit: LengthUnit) -> Report:
    """Every trial pull and every move between them, in order, with what was struck out and why."""
    held, inserts = state.held, len(state.pulls)
    used = f"{inserts} insert{'' if inserts == 1 else 's'} used"
    if held is None:
        verdict, note = "Not dialled in", f"{used}, and no setting is held yet."
    elif held.get("confidence") is None:
        verdict, note = "Pressure found", f"On {held.get('coupons', 0)} coupons, upward only."
    else:
        mean = f"{show_mm(float(held['estimate_mm']), unit)} {unit}"
        verdict = f"Dialled in: mean {mean}"
        note = f"Inside its limits with {float(held['confidence']) * 100:.1f} % confidence; {used}."
    columns = (
        Column("no.", number=True),
        Column("when, UTC"),
        Column("what was done", share=2.2),
        Column("before", number=True),
        Column("read", number=True, share=1),
        Column("off the aim", number=True),
        Column("who", share=1),
    )
    table = Table(
        "Pulls and moves, in order",
        columns,
        tuple(_trial_row(item, state, unit) for item in _in_order(state)),
        note="" if _in_order(state) else "Nothing has been pulled yet.",
    )
    return Report(
        kind=PAPERS["trial-log"],
        verdict=verdict,
        verdict_note=note,
        facts=(*_what_is_set(state, unit), *_what_with(book, state)),
        tables=(table,),
        lines=_aim_lines(state, unit),
        drawing=_trials_drawn(state, unit),
        drawing_alt="Set length of each pull with the window and the aim",
        **_common(book, state, unit),
    )


def first_article(book: Book, state: JobState, unit: LengthUnit) -> Report:
    """The proof as a record: what each coupon had to be, what was found on it, what that shows, and lines to sign."""
    proof, missing = state.proof or {}, list(owed(state))
    counted = [coupon for coupon in state.coupons if coupon.counts and coupon.purpose != "ladder"]
    good = sum(coupon.shown for coupon in counted)
    if state.stopped:
        verdict = "STOPPED since it was accepted"
    elif proof.get("passed") and not missing:
        verdict = f"Accepted: {good} of {len(counted)} coupons good"
    else:
        verdict = "Not accepted yet"
    if state.stopped:
        missing = [f"stopped: {state.stops[-1].reason}.", *missing]
    note = (
        str(proof.get("sentence") or "") if proof.get("passed") and not missing else f"Still owed: {' '.join(missing)}"
    )
    measured = proof_words.promise_text(proof, unit)
    return Report(
        kind=PAPERS["first-article"],
        verdict=verdict,
        verdict_note=" ".join(part for part in (note, measured) if part),
        facts=(*_what_is_set(state, unit), *_what_with(book, state)),
        tables=(_wanted_and_found(state, counted, unit), _coupons(state, counted, unit)),
        lines=tuple(_release_line(state)),
        drawing=_joint_drawn(state, unit),
        drawing_alt="The joint in section, before and after the pull",
        sign=("made by", "checked by", "date"),
        **_common(book, state, unit),
    )


def tool_history(book: Book, state: ToolState, *, words: Words, unit: LengthUnit) -> Report:
    """A tool as it stands, its mandrels, and everything that was done to it, the newest first."""
    due = look_after.tool_due(state)
    worst = min(due, key=lambda row: ("due", "soon", "fine").index(row.state))
    verdict = {"due": "Due: look after it", "soon": "Soon due", "fine": "Nothing is due"}[worst.state]
    mandrels = tuple(
        (
            f"{name}{' (fitted)' if name == state.fitted else ''}",
            str(row.get("thread") or ""),
            str(row.get("cycles") or 0),
            str(row.get("cycle_limit") or "not given"),
            f"retired: {row['retired']}" if row.get("retired") else "in use",
        )
        for name, row in state.mandrels.items()
    )
    events = book.store.read(state.stream)
    rows = tuple((_moment(one.at), one.by, words(one, unit)) for one in events[-_NEWEST_EVENTS:][::-1])
    left_out = f"The newest {_NEWEST_EVENTS} of {len(events)} events." if len(events) > len(rows) else ""
    return Report(
        kind="Tool history",
        title=str(state.tool.get("name") or state.id),
        note=f"tool {state.id}",
        unit=unit,
        verdict=verdict,
        verdict_note="; ".join(f"{row.name}: {row.text}" for row in due) + ".",
        facts=_tool_facts(state, unit),
        tables=(
            Table(
                "Mandrels",
                (Column("mandrel", share=1), Column("thread"), Column("cycles", True), Column("limit", True),
                 Column("standing", share=1.4)),
                mandrels,
                note="" if mandrels else "None on record.",
            ),
            Table("What was done", (Column("when, UTC"), Column("who", share=0.6), Column("what", share=2)), rows, left_out),
        ),
        record=f"tool:{state.id}#{state.sequence}",
        made_at=book.now(),
        marks=("DEMO DATA",) if state.demo else (),
    )  # fmt: skip


def _common(book: Book, state: JobState, unit: LengthUnit) -> dict[str, Any]:
    marks = ["PRACTICE – not for production"] if book.practice else []
    return {
        "title": state.title,
        "note": " · ".join(part for part in (state.part_name, f"job {state.id}", f"revision {state.revision}") if part),
        "unit": unit,
        "record": f"{state.id}#{state.sequence}",
        "made_at": book.now(),
        "marks": tuple([*marks, *(["DEMO DATA"] if state.demo else [])]),
    }


def _what_is_set(state: JobState, unit: LengthUnit) -> tuple[tuple[str, str, str], ...]:
    """Insert, stack, set length and stroke, each with its limits or source."""
    setting, insert = state.setting or {}, insert_of(state)
    limits, (stack, _batch) = set_length_limits_mm(state), stack_of(state)
    window = "" if limits is None else f"{show_mm(limits[0], unit)} to {show_mm(limits[1], unit)}"
    source = "measured" if stack.readings else "as stated"
    layers = ", ".join(layer.material for layer in stack.layers)
    hole = "not given" if insert.hole_diameter is None else show_length(insert.hole_diameter, unit)
    plus = "" if insert.hole_tolerance is None else f"+{show_length(insert.hole_tolerance, unit)}"
    return (
        ("Insert", insert.part or insert.name, f"{insert.thread} {insert.material}".strip()),
        ("Hole", hole, plus),
        ("Stack", show_mm(float(setting["thickness_mm"]), unit), f"{source}: {layers}" if layers else source),
        ("Set length", show_mm(float(setting["set_length_mm"]), unit), window),
        ("Stroke", show_mm(float(setting["stroke_mm"]), unit), str(setting.get("window_source") or "no window")),
    )


def _what_with(book: Book, state: JobState) -> tuple[tuple[str, str, str], ...]:
    """Tool, mandrel and gauge, and whether one was past its limit."""
    tool, mandrel = tool_of(state), state.mandrel or {}
    late = look_after.warnings_for(book, tool_id=state.tool_id, gauge_id=state.gauge_id)
    rows = [
        ("Tool", tool.name if tool else "not chosen", state.tool_id),
        ("Mandrel", str(mandrel.get("id") or "not given"), str(mandrel.get("thread") or "")),
        ("Read with", state.gauge_id or "not given", ""),
    ]
    return (*rows, *(("Overdue", text, "") for text in late))


def _in_order(state: JobState) -> list[Pull | Move]:
    items: list[Pull | Move] = [*state.pulls, *state.moves]
    return sorted(items, key=lambda item: item.sequence)


def _trial_row(item: Pull | Move, state: JobState, unit: LengthUnit) -> tuple[str, ...]:
    if isinstance(item, Move):
        return ("", "", _move_words(item, state), "", "", "", "")
    number = state.pulls.index(item) + 1
    struck = f" Struck out: {item.struck_out}" if item.struck_out else ""
    before = "" if item.length_before is None else show_length(item.length_before, unit)
    return (
        str(number),
        _moment(item.at),
        f"Pulled in {'the stack' if item.where == 'stack' else 'the air'}.{struck}",
        before,
        ", ".join(show_length(reading, unit) for reading in item.readings),
        _off_aim(item, state, unit),
        item.by,
    )


def _off_aim(pull: Pull, state: JobState, unit: LengthUnit) -> str:
    """How far the pull came out of the aim of its place, its own free length allowed for."""
    setting = state.setting or {}
    aim = setting.get("air_target_mm") if pull.where == "air" else None
    target = float(aim if aim is not None else setting["set_length_mm"])
    free = insert_of(state).length_free.mm
    off = pull.reading.mm - ((pull.length_before.mm - free) if pull.length_before else 0.0) - target
    sign = "−" if off < 0 else "+"
    return f"{sign}{show_mm(abs(off), unit)}"


def _move_words(move: Move, state: JobState) -> str:
    if move.kind != "turn":
        return {"dry_cycle": "Cycled without an insert.", "reconnect": "Air off and on again."}.get(
            move.kind, move.kind
        )
    tool = tool_of(state)
    more = tool is None or (move.turns > 0) == (tool.plus_turns == "more stroke")
    amount = f"{abs(move.turns):.2f} turns" if move.clicks is None else f"{abs(move.clicks)} clicks"
    return f"Knob: {amount} towards {'more' if more else 'less'} stroke."


def _aim_lines(state: JobState, unit: LengthUnit) -> tuple[str, ...]:
    """What dialling in had to reach; nothing for a force-set tool, which is judged on coupons."""
    try:
        aim = promise(state)
    except Unsafe:
        return ()
    low, high = show_mm(aim.low_mm, unit), show_mm(aim.high_mm, unit)
    return (
        f"“Off the aim” allows for each insert’s own free length where it was measured. The tool’s mean must lie between "
        f"{low} and {high} {unit}, so that {aim.share * 100:g} % of the sets stay in the window.",
    )


def _trials_drawn(state: JobState, unit: LengthUnit) -> str:
    if not state.pulls:
        return ""
    setting, free = state.setting or {}, insert_of(state).length_free.mm
    shift = float(setting.get("air_to_stack_mm") or 0.0)
    points = [
        ChartPoint(
            number,
            pull.reading.mm
            - ((pull.length_before.mm - free) if pull.length_before else 0.0)
            + (shift if pull.where == "air" else 0.0),
            "stack" if pull.where == "stack" else "air",
            bool(pull.struck_out),
        )
        for number, pull in enumerate(state.pulls, 1)
    ]
    return convergence_chart(
        points, window=set_length_limits_mm(state), target=float(setting["set_length_mm"]), unit=unit, height=360
    )


def _joint_drawn(state: JobState, unit: LengthUnit) -> str:
    from firstpull.jobs.card_lines import build_card

    return card_drawing(build_card(state, overdue=()), unit=unit)[0]


def _wanted_and_found(state: JobState, counted: list[Coupon], unit: LengthUnit) -> Table:
    """One row a characteristic: what it must be, how many coupons were checked, how many were good."""
    limits = set_length_limits_mm(state)
    rows = [row for row in (_length_row(counted, limits, unit),) if row is not None]
    for kind in prove.BY_KEY.values():
        found = [coupon.checks[kind.key] for coupon in counted if kind.key in coupon.checks]
        if not found:
            continue
        good = sum(row.get("result") == "pass" for row in found)
        values = [float(row["value_nm"]) for row in found if row.get("value_nm") is not None]
        least = next((row.get("limit_nm") for row in found if row.get("limit_nm") is not None), None)
        must = f"{kind.good}, not below {float(least):.1f} N·m" if least is not None else kind.good
        seen = f"{min(values):.1f} to {max(values):.1f} N·m" if values else ""
        rows.append((kind.question, must, seen, f"{good} of {len(found)}"))
    columns = (
        Column("characteristic", share=1.6),
        Column("must be", share=1.6),
        Column("found", share=1),
        Column("good"),
    )
    note = "" if rows else "No coupon counts for this setting yet."
    return Table("Characteristics", columns, tuple(rows), note)


def _length_row(
    counted: Iterable[Coupon], limits: tuple[float, float] | None, unit: LengthUnit
) -> tuple[str, str, str, str] | None:
    read = [coupon for coupon in counted if coupon.set_length is not None]
    lengths = [coupon.set_length.mm for coupon in read if coupon.set_length is not None]
    if not lengths:
        return None
    must = "not limited" if limits is None else f"{show_mm(limits[0], unit)} to {show_mm(limits[1], unit)}"
    good = sum(coupon.checks.get("set_length", {}).get("result") != "fail" for coupon in read)
    seen = f"{show_mm(min(lengths), unit)} to {show_mm(max(lengths), unit)}"
    return ("Set length", must, seen, f"{good} of {len(read)}")


def _coupons(state: JobState, counted: list[Coupon], unit: LengthUnit) -> Table:
    columns = (
        Column("no.", number=True), Column("when, UTC"), Column("end"), Column("stack", number=True),
        Column("set length", number=True), Column("torque, N·m", number=True), Column("found", share=1.6), Column("who", share=1),
    )  # fmt: skip
    rows = tuple(_coupon_row(coupon, unit) for coupon in state.coupons if coupon.purpose != "ladder")
    left = sum(coupon.purpose != "ladder" for coupon in state.coupons) - len(counted)
    note = f"{left} of them no longer count: the setting changed or they were struck out." if left else ""
    return Table("Every coupon", columns, rows, note)


def _coupon_row(coupon: Coupon, unit: LengthUnit) -> tuple[str, ...]:
    torque = coupon.checks.get("torque", {}).get("value_nm")
    found = "good" if coupon.passed else f"NOT GOOD: {', '.join(name.replace('_', ' ') for name in coupon.failed)}"
    if coupon.struck_out:
        found = f"struck out: {coupon.struck_out}"
    elif coupon.stale:
        found = f"{found}; set before the setting changed"
    return (
        str(coupon.number),
        _moment(coupon.at),
        coupon.end,
        "" if coupon.thickness is None else show_length(coupon.thickness, unit),
        "" if coupon.set_length is None else show_length(coupon.set_length, unit),
        "" if torque is None else f"{float(torque):.1f}",
        found + (", cut through" if "section" in coupon.checks else ""),
        coupon.by,
    )


def _release_line(state: JobState) -> list[str]:
    if not state.released:
        return ["Not released."]
    at, standing = _moment(state.released_at), f" Now: {state.status}." if state.status != "released" else ""
    return [f"Released by {state.released_by} (named, not signed), {at} UTC, hash {state.release_hash[:16]}.{standing}"]


def _tool_facts(state: ToolState, unit: LengthUnit) -> tuple[tuple[str, str, str], ...]:
    tool = state.tool
    rows = [("Control", f"{tool.get('control')}-set", "")]
    for name, key in (("Greatest stroke", "stroke_max"), ("Stroke a turn", "lead_per_turn")):
        if tool.get(key):
            rows.append((name, show_mm(float(tool[key]["nm"]) / 1e6, unit), ""))
    if tool.get("load_max_n"):
        rows.append(("Greatest load", f"{float(tool['load_max_n']) / 1000:.1f} kN", ""))
    every = (
        f"service every {state.service_every_cycles}" if state.service_every_cycles else "no interval of service given"
    )
    rows.append(("Cycles", str(state.cycles), f"{state.cycles_since_service} since its service; {every}"))
    if state.learned:
        lead = show_mm(float(state.learned["lead_per_turn_mm"]), unit)
        rows.append(("Knob learned", lead, f"a turn, from {state.learned['pulls']} pulls"))
    return tuple(rows)


def _moment(at: str) -> str:
    return at[:16].replace("T", " ")

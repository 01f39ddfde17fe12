"""Each event of the record as a sentence in the reader's unit, for the histories of jobs, tools and gauges.

What was typed is shown as typed where it has that unit; a value that an event lacks is passed over, so that a record
from elsewhere still reads.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from firstpull.errors import BadInput
from firstpull.jobs.shapes import to_mm
from firstpull.jobs.told import degrees
from firstpull.record.event import Event
from firstpull.units import Length, LengthUnit, show_length, show_mm
from firstpull.web.typed import show_force, show_force_range, show_torque

Data = Mapping[str, Any]


def words_of(event: Event, unit: LengthUnit) -> str:
    """What happened, in one or two short sentences; the bare type for an event without a sentence."""
    say, plain = _SENTENCES.get(event.type), _PLAIN.get(event.type)
    try:
        if say is not None:
            return say(event.data, unit)
        return plain.format_map(event.data) if plain is not None else event.type
    except (KeyError, TypeError, ValueError, BadInput):
        return event.type


def when(at: str) -> str:
    """A moment of the record as a person reads it: “2026-03-02 09:15”."""
    return at[:16].replace("T", " ")


def _length(data: Any, unit: LengthUnit) -> str:
    return f"{show_length(Length.from_json(data), unit)} {unit}"


def _mm(value_mm: Any, unit: LengthUnit) -> str:
    return f"{show_mm(float(value_mm), unit)} {unit}"


def _opened(data: Data, _unit: LengthUnit) -> str:
    revision = f" Revision {data['revision']} of {data['revises']}." if data.get("revises") else ""
    return f"Job opened: {data['title']}.{revision}"


def _stack(data: Data, unit: LengthUnit) -> str:
    layers = ", ".join(f"{layer['material']} {_length(layer['thickness'], unit)}" for layer in data["layers"])
    readings = ", ".join(show_length(Length.from_json(item), unit) for item in data.get("readings") or ())
    return f"Stack: {layers}." + (f" Measured clamped: {readings} {unit}." if readings else "")


def _needs(data: Data, unit: LengthUnit) -> str:
    """The thread and whatever else the insert must be."""
    parts = [str(data.get("thread") or "no thread")]
    parts += [f"{name} {data[name]}" for name in ("end", "head", "body") if data.get(name)]
    parts += [f"of {data['material']}"] if data.get("material") else []
    parts += [f"torque {show_torque(data['tightening_torque_nm'], unit)}"] if data.get("tightening_torque_nm") else []
    measures = {"room behind": "room_behind_mm", "pocket": "pocket_diameter_mm", "deep": "pocket_depth_mm"}
    parts += [f"{name} {_mm(data[key], unit)}" for name, key in measures.items() if data.get(key) is not None]
    parts += [f"up to {degrees(float(data['temperature_c']), unit)}"] if data.get("temperature_c") is not None else []
    parts += [f"{data['surroundings']} surroundings"] if data.get("surroundings") else []
    parts += [word for word, key in (("sealed", "sealed"), ("may be dimpled", "dimple")) if data.get(key)]
    return f"Needed: {', '.join(parts)}."


def _joint(data: Data, unit: LengthUnit) -> str:
    """What was said of loads, screw and distances; what was left open is not told."""
    loads, screw, edges = data["loads"], data["screw"], data["edges"]
    parts = [
        f"{name} {show_force_range(loads[name]['low_n'], loads[name]['high_n'], unit)}"
        for name in ("tension", "shear", "push")
        if loads.get(name)
    ]
    parts += [f"screw {screw['strength']}"] if screw.get("strength") else []
    parts += [f"torque {show_torque(screw['torque_nm'], unit)}"] if screw.get("torque_nm") else []
    lengths = {"part": screw.get("mating_thickness"), "its hole": screw.get("clearance_hole")}
    lengths |= {"washer": screw.get("washer"), "edge": edges.get("edge"), "pitch": edges.get("pitch")}
    parts += [f"{name} {_length(value, unit)}" for name, value in lengths.items() if value]
    ceiling = data.get("load_ceiling_n")
    parts += [f"sheet bears {show_force(ceiling, unit)}"] if ceiling else []
    return f"Asked of the joint: {', '.join(parts) or 'nothing more than its thread'}."


def _insert(data: Data, _unit: LengthUnit) -> str:
    insert = data["insert"]
    return f"Insert chosen: {insert.get('part') or 'not named'}, {insert.get('thread', '')}."


def _allowance(data: Data, unit: LengthUnit) -> str:
    allowance = data["allowance"]
    return f"Set allowance {_length(allowance['value'], unit)}, source: {allowance.get('source', 'typed')}."


def _window(data: Data, unit: LengthUnit) -> str:
    window = data.get("window")
    if not window:
        return "No limits of the stroke are given any more."
    low, high = _length(window["stroke_min"], unit), _length(window["stroke_max"], unit)
    return f"Limits of the stroke: {low} to {high}, source: {window.get('source', 'given')}."


def _simulated(data: Data, unit: LengthUnit) -> str:
    found = data["found"].get("set_allowance_mm")
    if found is None:
        return "Virtual pull: the fold did not close."
    return f"Virtual pull: set allowance {_mm(found, unit)}."


def _tool(data: Data, _unit: LengthUnit) -> str:
    mandrel = (data.get("mandrel") or {}).get("id", "")
    parts = [f"Tool {data['tool_id']}"]
    parts += [f"mandrel {mandrel}"] if mandrel else []
    parts += [f"gauge {data['gauge_id']}"] if data.get("gauge_id") else []
    return f"{', '.join(parts)}."


def _setting(data: Data, unit: LengthUnit) -> str:
    setting = data["setting"]
    text = (
        f"Setting computed: stroke {_mm(setting['stroke_mm'], unit)}, set length {_mm(setting['set_length_mm'], unit)}"
    )
    if setting.get("set_length_min_mm") is None:
        return f"{text}, no window."
    low, high = show_mm(setting["set_length_min_mm"], unit), _mm(setting["set_length_max_mm"], unit)
    return f"{text}, window {low} to {high}."


def _step(data: Data, _unit: LengthUnit) -> str:
    return f"Done at the tool: {str(data['step']).replace('_', ' ')}."


def _free(data: Data, unit: LengthUnit) -> str:
    return f"Free length {_length(data['length_before'], unit)}."


def _lot(data: Data, unit: LengthUnit) -> str:
    return f"Free length of another insert of the lot {_length(data['length'], unit)}."


def _pulled(data: Data, unit: LengthUnit) -> str:
    where = "in scrap of the stack" if data["where"] == "stack" else "in the air"
    readings = ", ".join(show_length(Length.from_json(item), unit) for item in data["readings"])
    before = data.get("length_before")
    return f"Pulled {where}: {readings} {unit}" + (f", {_length(before, unit)} long before." if before else ".")


def _read_again(data: Data, unit: LengthUnit) -> str:
    return f"Event {data['of']} read again: {_length(data['reading'], unit)}."


def _turned(data: Data, _unit: LengthUnit) -> str:
    clicks = data.get("clicks")
    amount = f"{int(clicks):+d} clicks" if clicks is not None else f"{float(data['turns']):+.2f} turns"
    return f"Adjuster turned {amount.replace('-', '−')} (plus as the knob counts)."


def _advised(data: Data, unit: LengthUnit) -> str:
    """The advice without its sentence, whose lengths are in the unit it was given in."""
    reply, request = data["reply"], data.get("request") or {}
    words = {"pull": "pull an insert", "remeasure": "read it again", "dry_cycle": "cycle without an insert"}
    action = str(reply.get("action", ""))
    if action == "turn":
        clicks = reply.get("clicks")
        amount = f"{int(clicks):+d} clicks" if clicks is not None else f"{float(reply['turns']):+.2f} turns"
        text = f"turn {amount.replace('-', '−')}"
    elif action == "release":
        text = f"dialled in, {float(reply['confidence']) * 100:.1f} % confidence"
    elif action == "refuse":
        text = f"stop: {str(reply.get('reason', '')).replace('_', ' ')}"
    else:
        text = words.get(action, action)
    expected = reply.get("expected")
    if not expected or action not in ("pull", "turn"):
        return f"Advice: {text}."
    job_unit: LengthUnit = "in" if (request.get("job") or {}).get("units") == "in" else "mm"
    return f"Advice: {text}; expect {_mm(to_mm(float(expected['reading']), job_unit), unit)}."


def _held(data: Data, unit: LengthUnit) -> str:
    sure = float(data["confidence"]) * 100
    return (
        f"Taken as dialled in: mean {_mm(data['estimate_mm'], unit)}, {sure:.1f} % confidence, {data['pulls']} pulls."
    )


def _coupon(data: Data, unit: LengthUnit) -> str:
    failed = ", ".join(str(name).replace("_", " ") for name in data.get("failed") or ())
    verdict = "passes" if data["passed"] else f"fails: {failed}"
    length = data.get("set_length")
    return f"Coupon {data['number']} ({data['end']}) {verdict}" + (f", {_length(length, unit)}." if length else ".")


def _proof(data: Data, _unit: LengthUnit) -> str:
    if data.get("passed"):
        return "Proof passed."
    return f"Proof not complete. {' '.join(map(str, data.get('owed') or ()))}".strip()


def _checked(data: Data, unit: LengthUnit) -> str:
    reasons = " ".join(map(str, data.get("reasons") or ()))
    length = data.get("set_length")
    value = f", {_length(length, unit)}" if length else ""
    return f"Check at {data['count']} sets ({data['kind']}{value}): {data['result']}. {reasons}".strip()


def _counted(data: Data, _unit: LengthUnit) -> str:
    parts = [f"{name.replace('_', ' ')} {value}" for name, value in data.items() if isinstance(value, int)]
    return f"Inserts counted: {', '.join(parts)}."


def _stopped(data: Data, _unit: LengthUnit) -> str:
    return f"Stopped: {data['reason']} Sets {data['first_suspect']} to {data['last_suspect']} are suspect."


def _tool_added(data: Data, _unit: LengthUnit) -> str:
    mandrels = ", ".join(str(item["id"]) for item in data.get("mandrels") or ())
    return f"Added with {data.get('cycles', 0)} cycles" + (f"; mandrels {mandrels}." if mandrels else ".")


def _mandrel(data: Data, _unit: LengthUnit) -> str:
    mandrel = data["mandrel"]
    return f"Mandrel {mandrel['id']} added, {mandrel['thread']}."


def _knob_tried(data: Data, unit: LengthUnit) -> str:
    turns = f"{float(data['turns']):+.2f}".replace("-", "−")
    free, after = show_length(Length.from_json(data["free_length"]), unit), _length(data["set_length"], unit)
    return f"Knob tried at {turns} turns: {free} to {after}."


def _knob_learned(data: Data, unit: LengthUnit) -> str:
    learned = data["learned"]
    return f"Knob learned from {learned['pulls']} pulls: {_mm(learned['lead_per_turn_mm'], unit)} a turn."


def _shift(data: Data, unit: LengthUnit) -> str:
    shift = data["shift"]
    return f"Air-to-stack shift {_mm(shift['mean_mm'], unit)} from {shift['coupons']} coupons of {shift['job']}."


def _gauge_added(data: Data, unit: LengthUnit) -> str:
    gauge = data["gauge"]
    step, error = (
        show_mm(float(gauge[name]), unit, decimals=3 if unit == "mm" else 5) for name in ("resolution_mm", "error_mm")
    )
    return f"Added: reads to {step}, limit of error {error} {unit}, checked every {gauge['every_days']} days."


def _gauge_checked(data: Data, unit: LengthUnit) -> str:
    check = data["check"]
    verdict = f"passes, next check {check['due']}" if check["passed"] else "fails"
    return f"Block {_length(check['reference'], unit)} read {_length(check['reading'], unit)}: {verdict}."


def _study_begun(data: Data, _unit: LengthUnit) -> str:
    study = data["study"]
    size = f"{len(study['parts'])} × {len(study['people'])} × {study['rounds']}"
    return f"Study {study['number']} begun: {study['measured']}, {size} readings by {', '.join(study['people'])}."


def _study_read(data: Data, unit: LengthUnit) -> str:
    return f"Study {data['study']}, reading {data['slot'] + 1}: {_length(data['reading'], unit)}."


def _study_finished(data: Data, unit: LengthUnit) -> str:
    result = data["result"]
    places = 4 if unit == "mm" else 5
    if result["kind"] == "blocks":
        value, u = (show_mm(float(result[name]), unit, decimals=places) for name in ("bias_mm", "bias_u_mm"))
        return f"Study {data['study']} finished: bias {value}, its doubt {u} {unit}."
    sd = show_mm(float(result["sd_mm"]), unit, decimals=places)
    return f"Study {data['study']} finished: one reading scatters by {sd} {unit} (sd)."


_SENTENCES: dict[str, Callable[[Data, LengthUnit], str]] = {
    "JobOpened": _opened,
    "StackDescribed": _stack,
    "NeedsStated": _needs,
    "JointStated": _joint,
    "InsertChosen": _insert,
    "AllowanceFound": _allowance,
    "WindowGiven": _window,
    "VirtuallyPulled": _simulated,
    "ToolChosen": _tool,
    "SettingComputed": _setting,
    "StepDone": _step,
    "FreeLengthMeasured": _free,
    "LotMeasured": _lot,
    "TrialPulled": _pulled,
    "ReadAgain": _read_again,
    "AdjusterTurned": _turned,
    "AdviceGiven": _advised,
    "SettingHeld": _held,
    "CouponChecked": _coupon,
    "ProofJudged": _proof,
    "RunChecked": _checked,
    "RunCounted": _counted,
    "Stopped": _stopped,
    "ToolAdded": _tool_added,
    "MandrelAdded": _mandrel,
    "KnobTried": _knob_tried,
    "KnobLearned": _knob_learned,
    "ShiftLearned": _shift,
    "GaugeAdded": _gauge_added,
    "GaugeChecked": _gauge_checked,
    "StudyBegun": _study_begun,
    "StudyRead": _study_read,
    "StudyFinished": _study_finished,
}
_PLAIN: dict[str, str] = {
    "ProofPlanned": "The proof was planned.",
    "DryCycled": "Cycled without an insert.",
    "AirReconnected": "Air off and on again.",
    "ReadingStruckOut": "Event {of} struck out: {reason}",
    "PressureSet": "Pressure set to {pressure_bar} bar.",
    "Released": "Released by {name}.",
    "Reopened": "The run was opened again.",
    "Superseded": "Replaced by {by}: {reason}",
    "NoteWritten": "{what}",
    "ToolChanged": "Data of the tool changed.",
    "MandrelFitted": "Mandrel {mandrel_id} fitted.",
    "MandrelRetired": "Mandrel {mandrel_id} retired: {reason}",
    "CyclesCounted": "{cycles} cycles counted.",
    "Serviced": "Serviced: {what}",
    "KnobTrialsDropped": "Pulls for learning the knob dropped: {reason}",
    "GaugeChanged": "Data of the gauge changed.",
    "GaugeServiced": "Serviced: {what}",
    "StudyAgeSet": "A study counts for {days} days.",
    "StudyReadingStruckOut": "Study {study}: event {of} struck out: {reason}",
    "StudyGivenUp": "Study {study} given up: {reason}",
}
"""Sentences without lengths; the fields are those of the event."""

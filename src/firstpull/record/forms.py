"""The form of each event's data: which values it holds and of what kind they are.

Checked for every event that is added, typed here or imported, so that nothing stands in a record that a fold, a list
or a page stumbles over later. What the values mean is checked where they are made.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from firstpull.errors import BadInput
from firstpull.record.event import Event

Check = Callable[[Any], bool]


def _text(value: Any) -> bool:
    return isinstance(value, str)


def _flag(value: Any) -> bool:
    return isinstance(value, bool)


def _whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _count(value: Any) -> bool:
    return _whole(value) and 0 <= value < 10**12


def _number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _object(value: Any) -> bool:
    return isinstance(value, dict)


def _length(value: Any) -> bool:
    return isinstance(value, dict) and _whole(value.get("nm")) and _text(value.get("typed"))


def _or_none(check: Check) -> Check:
    return lambda value: value is None or check(value)


def _list_of(check: Check, *, least: int = 0) -> Check:
    return lambda value: isinstance(value, list) and len(value) >= least and all(map(check, value))


def _objects_by_name(value: Any) -> bool:
    return isinstance(value, dict) and all(map(_object, value.values()))


def _one_of(*words: str) -> Check:
    return lambda value: isinstance(value, str) and value in words


def _like(needed: Mapping[str, Check], optional: Mapping[str, Check] | None = None) -> Check:
    return lambda value: isinstance(value, dict) and not _wrong(value, needed, optional or {})


_NUMBER_OR_NONE, _LENGTH_OR_NONE, _OBJECT_OR_NONE = _or_none(_number), _or_none(_length), _or_none(_object)
_TEXTS = _list_of(_text)
_SETTING_NUMBERS = (
    "stroke_mm", "stroke_min_mm", "stroke_max_mm", "set_length_mm", "set_length_min_mm", "set_length_max_mm", "set_protrusion_mm", "free_protrusion_mm",
    "thickness_mm", "thickness_low_mm", "thickness_high_mm", "unused_grip_mm", "set_allowance_mm", "set_allowance_sd_mm", "air_target_mm",
    "air_to_stack_mm", "air_to_stack_sd_mm", "batch_stroke_min_mm", "batch_stroke_max_mm",
)  # fmt: skip
_PLAN_COUNTS = (
    "coupons_each_end",
    "coupons_again",
    "sections",
    "torque_tests",
    "check_every_sets",
    "check_every_minutes",
)
_ACT = _like({"key": _text, "title": _text, "text": _text})
_LAYER = _like(
    {"material": _text, "thickness": _length}, {"tolerance": _LENGTH_OR_NONE, "faces": _count, "coating": _flag}
)
_LADDER = _like({"rungs": _list_of(_like({"pressure_bar": _number, "load_n": _number}), least=1)})
_SETTING = _like(
    {"releasable": _flag, "steps": _list_of(_ACT)},
    {**dict.fromkeys(_SETTING_NUMBERS, _NUMBER_OR_NONE), "warnings": _TEXTS, "pressure": _or_none(_LADDER), "present_set_length": _LENGTH_OR_NONE},
)  # fmt: skip
_MANDREL = _like({"id": _text, "thread": _text}, {"cycle_limit": _count, "cycles": _count, "property_class": _text})
_PART = _like({"part": _text})
_NEED_TEXTS = ("end", "head", "body", "material", "surroundings")
_NEED_NUMBERS = (
    "room_behind_mm", "tightening_torque_nm", "temperature_c", "pocket_diameter_mm", "pocket_depth_mm",
)  # fmt: skip
_LOAD = _or_none(_like({"low_n": _number, "high_n": _number}))
_LOADS = _like({}, {"load_factor": _number, **dict.fromkeys(("tension", "shear", "push"), _LOAD)})
_SCREW = _like(
    {},
    {"strength": _text, "condition": _text, "torque_nm": _NUMBER_OR_NONE, "proof_share": _number}
    | dict.fromkeys(("mating_thickness", "clearance_hole", "washer"), _LENGTH_OR_NONE),
)
_NAMED = _like({"name": _text})
_STUDY = _like(
    {
        "number": _count,
        "measured": _text,
        "people": _list_of(_text, least=1),
        "parts": _list_of(_text, least=1),
        "rounds": _count,
        "order": _list_of(lambda one: _list_of(_count)(one) and len(one) == 3, least=1),
        "seed": _text,
    },
    {
        "references": lambda value: isinstance(value, dict) and all(map(_length, value.values())),
        "reference_u_mm": _NUMBER_OR_NONE,
        "half_window_mm": _NUMBER_OR_NONE,
    },
)
_COMPONENT = _like(
    {"sd_mm": _number, "study_percent": _number}
    | dict.fromkeys(("sd_low_mm", "sd_high_mm", "degrees_of_freedom", "tolerance_percent"), _NUMBER_OR_NONE)
)
_RESULT_NUMBERS = ("resolution_mm", "sd_mm", "sd_at_worst_mm", "good_for_mm", "good_for_at_worst_mm", "parts", "people")
_PARTS_RESULT = _like(
    {"schema": _text, "kind": _one_of("parts"), "coarse": _flag, "distinct_categories": _NUMBER_OR_NONE}
    | {"degrees_of_freedom": _NUMBER_OR_NONE, "half_window_mm": _NUMBER_OR_NONE}
    | {"components": lambda value: _objects_by_name(value) and all(map(_COMPONENT, value.values()))}
    | {"largest": _one_of("resolution", "repeatability", "reproducibility", "appraiser", "interaction")}
    | dict.fromkeys(_RESULT_NUMBERS, _number),
    {"seen_step_mm": _number},
)
_BLOCK = _like(
    {"part": _text, "shown": _flag} | dict.fromkeys(("reference_mm", "bias_mm", "low_mm", "high_mm", "n"), _number)
)
_LINE = _like({"slope": _number, "acceptable": _flag, "straight": _NUMBER_OR_NONE})
_BLOCKS_RESULT = _like(
    {"schema": _text, "kind": _one_of("blocks"), "shown": _flag, "blocks": _list_of(_BLOCK, least=1)}
    | {"linearity": _or_none(_LINE)}
    | dict.fromkeys(("bias_mm", "bias_u_mm", "repeatability_mm", "degrees_of_freedom", "resolution_mm"), _number)
)


def _result(value: Any) -> bool:
    return _PARTS_RESULT(value) or _BLOCKS_RESULT(value)


# (needed, optional) by event type; what is not named may be anything
_FORMS: dict[str, tuple[Mapping[str, Check], Mapping[str, Check]]] = {
    "JobOpened": (
        {"title": _text, "unit": _one_of("mm", "in")},
        {"part_name": _text, "demo": _flag, "practice": _OBJECT_OR_NONE, "revision": _count, "revises": _text},
    ),
    "StackDescribed": (
        {"layers": _list_of(_LAYER)},
        {
            "readings": _list_of(_length),
            "batch": _or_none(_like({"thin": _length, "thick": _length})),
            "thickness": _object,
        },
    ),
    "NeedsStated": (
        {},
        {"thread": _text, "tool": _OBJECT_OR_NONE, "typed": _object, "sealed": _flag, "dimple": _flag}
        | dict.fromkeys(_NEED_TEXTS, _or_none(_text))
        | dict.fromkeys(_NEED_NUMBERS, _NUMBER_OR_NONE),
    ),
    "JointStated": (
        {"loads": _LOADS, "screw": _SCREW, "edges": _like({}, dict.fromkeys(("edge", "pitch"), _LENGTH_OR_NONE))},
        {"load_ceiling_n": _NUMBER_OR_NONE, "typed": _object},
    ),
    "InsertChosen": ({"insert": _object}, {"allowance": _OBJECT_OR_NONE, "window": _OBJECT_OR_NONE, "source": _text}),
    "AllowanceFound": ({"allowance": _OBJECT_OR_NONE}, {"window": _OBJECT_OR_NONE}),
    "VirtuallyPulled": ({"asked": _object, "found": _object}, {}),
    "WindowGiven": ({"window": _OBJECT_OR_NONE}, {}),
    "ToolChosen": (
        {"tool": _object, "tool_id": _text},
        {"mandrel": _OBJECT_OR_NONE, "gauge_id": _text, "source": _text},
    ),
    "ProofPlanned": ({"plan": _like({}, dict.fromkeys(_PLAN_COUNTS, _count))}, {}),
    "SettingComputed": ({"setting": _SETTING}, {}),
    "StepDone": ({"step": _text}, {}),
    "FreeLengthMeasured": ({"length_before": _length}, {}),
    "LotMeasured": ({"length": _length}, {}),
    "TrialPulled": (
        {"readings": _list_of(_length, least=1), "where": _one_of("air", "stack")},
        {"length_before": _LENGTH_OR_NONE},
    ),
    "ReadAgain": ({"of": _count, "reading": _length}, {}),
    "AdjusterTurned": ({"turns": _number}, {"clicks": _or_none(_whole)}),
    "ReadingStruckOut": ({"of": _count, "reason": _text}, {}),
    "AdviceGiven": ({"request": _object, "reply": _object}, {}),
    "SettingHeld": ({}, dict.fromkeys(("pressure_bar_min", "pressure_bar_max"), _NUMBER_OR_NONE)),
    "PressureSet": ({"pressure_bar": _number}, {}),
    "CouponChecked": (
        {"number": _count, "end": _text, "checks": _objects_by_name, "passed": _flag},
        {"purpose": _text, "failed": _TEXTS, "pressure_bar": _NUMBER_OR_NONE}
        | {"open": _TEXTS, "u_mm": _NUMBER_OR_NONE, "u_source": _text}
        | dict.fromkeys(("thickness", "set_length", "length_before"), _LENGTH_OR_NONE),
    ),
    "ProofJudged": (
        {"passed": _flag, "owed": _TEXTS},
        {"sentence": _text, "rows": _list_of(_object), "measured": _OBJECT_OR_NONE},
    ),
    "Released": ({"name": _text, "card": _object}, {}),
    "RunChecked": (
        {"kind": _text, "count": _count, "result": _one_of("in control", "look", "stop")},
        {
            "reasons": _TEXTS,
            "set_length": _LENGTH_OR_NONE,
            "thickness": _LENGTH_OR_NONE,
            "torque_nm": _NUMBER_OR_NONE,
            "pressure_bar": _NUMBER_OR_NONE,
        },
    ),
    "RunCounted": (dict.fromkeys(("issued", "set", "rejected", "returned"), _count) | {"missing": _whole}, {}),
    "Stopped": ({"reason": _text, "first_suspect": _count, "last_suspect": _count}, {}),
    "Reopened": ({"name": _text}, {}),
    "Superseded": ({"by": _text}, {"reason": _text}),
    "ToolAdded": (
        {"tool": _object},
        {"demo": _flag, "mandrels": _list_of(_MANDREL)}
        | dict.fromkeys(("service_every_cycles", "cycles", "cycles_at_service"), _count),
    ),
    "ToolChanged": ({"tool": _object}, {"service_every_cycles": _count}),
    "MandrelAdded": ({"mandrel": _MANDREL}, {}),
    "MandrelFitted": ({"mandrel_id": _text}, {}),
    "MandrelRetired": ({"mandrel_id": _text, "reason": _text}, {"how": _one_of("", "ended", "in time")}),
    "CyclesCounted": ({"cycles": _count}, {"mandrel_id": _text}),
    "Serviced": ({"what": _text}, {}),
    "KnobTried": ({"turns": _number, "free_length": _length, "set_length": _length}, {}),
    "KnobLearned": ({"learned": _object}, {"tool": _object}),
    "ShiftLearned": ({"key": _text, "shift": _like({"mean_mm": _number, "sd_mm": _number, "coupons": _count})}, {}),
    "GaugeAdded": ({"gauge": _NAMED}, {"demo": _flag}),
    "GaugeChanged": ({"gauge": _NAMED}, {}),
    "GaugeChecked": ({"check": _like({"passed": _flag, "due": _text, "error_mm": _number})}, {}),
    "GaugeServiced": ({"what": _text}, {}),
    "StudyAgeSet": ({"days": _count}, {}),
    "StudyBegun": ({"study": _STUDY}, {}),
    "StudyRead": ({"study": _count, "slot": _count, "reading": _length}, {}),
    "StudyReadingStruckOut": ({"study": _count, "of": _count, "reason": _text}, {}),
    "StudyFinished": ({"study": _count, "result": _result}, {}),
    "StudyGivenUp": ({"study": _count, "reason": _text}, {}),
    "CatalogueImported": ({"inserts": _list_of(_PART), "source": _text, "added": _TEXTS, "changed": _TEXTS}, {}),
    "CatalogueTableImported": (
        {"table": _text, "source": _text, "rows": _count, "added": _count, "changed": _count, "left_out": _count},
        {},
    ),
    "InsertRetired": ({"part": _text, "reason": _text}, {}),
}


# a stroke-set tool is held on the word of its readings, a force-set one at its pressure
_HELD_STROKE = dict.fromkeys(("confidence", "estimate_mm", "estimate_sd_mm", "pulls"), _number)
_HELD_PRESSURE = {"pressure_bar": _number}


def check_form(event: Event) -> None:
    """Raises BadInput, naming the value, when the data of ``event`` is not of its type's form."""
    needed, optional = _FORMS.get(event.type, ({}, {}))
    if event.type == "SettingHeld":
        needed = _HELD_PRESSURE if "pressure_bar" in event.data else _HELD_STROKE
    wrong = _wrong(event.data, needed, optional)
    if wrong:
        raise BadInput(
            f"“{wrong}” of {event.type} is missing or not of its kind.",
            where=f"{event.stream} {event.sequence}",
            hint="Nothing was written. Use the record as firstpull wrote it.",
        )


def _wrong(data: Mapping[str, Any], needed: Mapping[str, Check], optional: Mapping[str, Check]) -> str:
    """The name of the first value that is missing or not of its kind; "" when all are right."""
    for name, check in needed.items():
        if name not in data or not check(data[name]):
            return name
    return next((name for name, check in optional.items() if name in data and not check(data[name])), "")

"""What the pages of a virtual pull show: how far it is, and what it gave."""

from __future__ import annotations

from typing import Any

from firstpull.drawing.collapse_curve import CurveMark, pull_curve
from firstpull.drawing.collapse_stages import StageShape, stage_pictures, stage_strip
from firstpull.jobs.long_work import Look
from firstpull.jobs.virtual_work import OF, Question
from firstpull.units import LengthUnit, show_mm
from firstpull.web.texts import TEXTS

Found = Look[Question, dict[str, Any]]
KEY = "stage"
STRIP = 4
_MARKS = ("peak", "contact", "closure", "seating")


def progress_context(look: Found, *, address: str) -> dict[str, Any]:
    """How far it is, in words and as a bar."""
    words = TEXTS["virtual"]
    step = look.step
    begun = step is not None and step.place > 0
    return {
        "search": {"address": f"{address}/{look.id}", "progress": f"/virtual-pulls/{look.id}/progress"},
        "condition": look.condition,
        "said": words["stopping"] if look.condition == "stopping" else words["pulling"] if begun else words["starting"],
        "done": step.place if step is not None else 0,
        "of": OF,
        "seconds": f"{look.seconds:.0f} s",
    }


def found_context(look: Found, *, address: str, again: str, unit: LengthUnit, job: bool) -> dict[str, Any]:
    """The answer in one large line, its window, drawings, what each dimension does, and what is not modelled."""
    words = TEXTS["virtual"]
    context: dict[str, Any] = {
        "search": {"address": f"{address}/{look.id}"},
        "again": again,
        "learn": f"{address}/{look.id}/learn",
        "answer": None,
        "usable": False,
        "facts": [],
        "window": [],
        "notes": [],
        "effects": [],
        "marks": [],
        "limits": [],
        "pictures": "",
        "strip": "",
        "curve": "",
        "stages": 0,
        "hint": "",
        "learned": [],
    }
    if look.found is None:
        problem = look.problem
        what = words["nothing"] if problem is None else problem.what
        return {**context, "question": what, "hint": "" if problem is None else problem.hint}
    answer = look.found
    shapes = [StageShape(row["stroke_mm"], row["insert"], row["sheet"]) for row in answer["stages"]]
    few = [shapes[round(place * (len(shapes) - 1) / (STRIP - 1))] for place in range(STRIP)]
    return {
        **context,
        "question": _headline(answer, unit),
        "answer": True,
        "usable": job and answer["set_allowance_mm"] is not None and answer["set_allowance_mm"] > 0.0,
        "said": words["simulated"],
        "facts": _facts(answer, unit),
        "window": _window(answer, unit),
        "notes": answer["window"]["notes"],
        "effects": [_effect(row, unit) for row in answer["sensitivity"]],
        "marks": _mark_rows(answer, unit),
        "limits": [*look.asked.words, *answer["limits"]],
        "pictures": stage_pictures(shapes, key=KEY),
        "strip": stage_strip(few, [f"{show_mm(shape.stroke_mm, unit)} {unit}" for shape in few]),
        "curve": _curve(answer, unit),
        "stages": len(shapes),
        "learned": _learned(answer, unit),
        "key": KEY,
    }


def _headline(answer: dict[str, Any], unit: LengthUnit) -> str:
    words = TEXTS["virtual"]
    places = 2 if unit == "mm" else 3
    if answer["set_allowance_mm"] is not None:
        value = show_mm(answer["set_allowance_mm"], unit, decimals=places)
        doubt = show_mm(2.0 * answer["set_allowance_sd_mm"], unit, decimals=places)
        return str(words["allowance"]).format(value, doubt, unit)
    if answer["stroke_plus_thickness_mm"] is not None:
        closure = answer["events"]["closure"]["stroke_mm"]
        return str(words["closes"]).format(show_mm(closure, unit), unit)
    return str(words["open"])


def _facts(answer: dict[str, Any], unit: LengthUnit) -> list[dict[str, str]]:
    words = TEXTS["virtual_facts"]

    def mm(key: str) -> str:
        return f"{show_mm(answer[key], unit)} {unit}"

    rows = [{"name": words["load"], "value": f"{answer['setting_load_n'] / 1000:.1f} kN", "note": ""}]
    if answer["strip_margin"] is not None:
        rows.append({"name": words["threads"], "value": f"{answer['strip_margin']:.2f} ×", "note": words["wanted"]})
        rows.append(
            {
                "name": words["mandrel"],
                "value": f"{answer['mandrel_stress_mpa']:.0f} MPa",
                "note": words["proof"].format(f"{answer['mandrel_proof_margin']:.2f}"),
            }
        )
    rows.append({"name": words["head"], "value": mm("blind_head_diameter_mm"), "note": ""})
    rows.append(
        {"name": words["room"], "value": mm("room_before_mm"), "note": words["after"].format(mm("room_after_mm"))}
    )
    rows.append({"name": words["clamp"], "value": f"{answer['clamp_n'] / 1000:.2f} kN", "note": words["at_end"]})
    if answer["air_to_stack_mm"] is not None:
        rows.append({"name": words["shift"], "value": mm("air_to_stack_mm"), "note": words["longer"]})
    return rows


def _window(answer: dict[str, Any], unit: LengthUnit) -> list[dict[str, str]]:
    words, window = TEXTS["virtual_facts"], answer["window"]
    rows = []
    for name, key, by in (("least", "stroke_min_mm", "min_by"), ("greatest", "stroke_max_mm", "max_by")):
        value = words["unknown"] if window[key] is None else f"{show_mm(window[key], unit)} {unit}"
        rows.append({"name": words[name], "value": value, "note": window[by]})
    return rows


def _effect(row: dict[str, Any], unit: LengthUnit) -> str:
    """One change and what it does; the record's words are in mm."""
    text = str(row["text"])
    if unit == "mm" or row["target_mm"] is None:
        return text
    return text.replace(f"{abs(row['target_mm']):.2f} mm", f"{show_mm(abs(row['target_mm']), unit)} {unit}")


def _mark_rows(answer: dict[str, Any], unit: LengthUnit) -> list[str]:
    words = TEXTS["virtual_marks"]
    held = [(name, event) for name in _MARKS if (event := _event(answer, name))]
    return [
        f"{place} · {words[name]}: {show_mm(event['stroke_mm'], unit)} {unit}, {event['force_n'] / 1000:.1f} kN"
        for place, (name, event) in enumerate(held, 1)
    ]


def _learned(answer: dict[str, Any], unit: LengthUnit) -> list[str]:
    """The lot’s constants and what the data could tell, and the model’s error as it showed."""
    found = answer.get("learned")
    if not found:
        return []
    rows = [note for note in found["notes"][:1] if "does not fit" in note]
    rows += [f"{one['text']} {one['value']:.2f} ± {one['sd']:.2f}" for one in found["constants"]]
    error, sd = show_mm(found["model_error_mm"], unit), show_mm(found["model_error_sd_mm"], unit)
    shown = ", ".join(found["shown_by"]) or "nothing measured so far"
    return [*rows, f"Model’s error {error} ± {sd} {unit} (sd), by {shown}."]


def _event(answer: dict[str, Any], name: str) -> dict[str, float] | None:
    found: dict[str, float] | None = answer["contact"] if name == "contact" else answer["events"].get(name)
    return found


def _curve(answer: dict[str, Any], unit: LengthUnit) -> str:
    window = answer["window"]
    ends = (window["stroke_min_mm"], window["stroke_max_mm"])
    marks = [
        CurveMark(TEXTS["virtual_marks"][name], event["stroke_mm"], event["force_n"])
        for name in _MARKS
        if (event := _event(answer, name))
    ]
    return pull_curve(
        answer["stroke_mm"],
        answer["force_n"],
        marks=marks,
        window_mm=ends if None not in ends else None,
        unit=unit,
    )

"""Choose 1 of 4: the stack as layers, as measured, and as a batch."""

from __future__ import annotations

import re
from typing import Any

from fastapi.responses import Response

from firstpull.errors import BadInput
from firstpull.jobs import choose
from firstpull.jobs.shapes import stack_from_json
from firstpull.jobs.workshop import Doing
from firstpull.mechanics.setting import Batch
from firstpull.mechanics.stack import Layer, Stack, thickness
from firstpull.record.job import JobState
from firstpull.trade.materials import coating_names, sheet_material_names
from firstpull.trade.sheet_gauges import METALS, names_gauge, parse_thickness, sheet_gauge
from firstpull.units import Length, show_length, show_mm
from firstpull.web.desk import Desk, form_of, show
from firstpull.web.drawings import stack_of_job

_PLUS_MINUS = re.compile(r"±|\+/-|\+-")
_CRUMB = "1 of 4 · the stack"
_INCH_SLIP = (20.0, 32.0)  # a reading this many times too large or too small was read in the other unit
_EXAMPLE = {"mm": "2 ± 0.1, 16 ga steel", "in": ".08 ± .002, 16 ga steel"}
Parts = tuple[Stack, Batch | None, str]


def read_stack(state: JobState) -> Parts:
    """The stack on record with its batch and the gauge of its readings; an empty one before the first layer."""
    if state.stack is None:
        return Stack(()), None, ""
    stack, batch = stack_from_json(state.stack)
    return stack, batch, str(state.stack.get("gauge_id", ""))


def take_stack(here: Desk, state: JobState, do: str, *, coat: bool, typed: dict[str, str], doing: Doing) -> str:
    """Add or take out a layer; says which screen comes next."""
    stack, batch, _gauge = read_stack(state)
    if do.startswith("out "):
        layers = _without(stack.layers, do)
    else:
        if do.startswith("gauge "):
            typed["thickness"], do = _with_metal(typed["thickness"], do), "add"
        written = bool(typed["material"].strip() or typed["thickness"].strip())
        if not written and stack.layers and do in ("enter", "next"):
            return "measure"
        layers = (*stack.layers, layer_of(here, typed, coat=coat))
    # readings were of the clamped stack as it was before
    choose.describe_stack(here.book, state.id, Stack(layers), doing=doing, batch=batch)
    return "measure" if do == "next" else "stack"


def layer_of(here: Desk, typed: dict[str, str], *, coat: bool) -> Layer:
    """The layer as typed: a material, a thickness that may carry its ± or be a gauge number, and coated faces."""
    material = " ".join(typed["material"].split())
    text, *spread = _PLUS_MINUS.split(typed["thickness"])
    if len(spread) > 1:
        raise BadInput("There is more than one ± here.", where="thickness", hint="For example “2.0 ± 0.09”.")
    # a unit behind the ± speaks for both: “2.0 ± 0.1 mm”
    size = parse_thickness(text.strip(), unit=(_unit_of(spread[0]) if spread else None) or here.unit, where="thickness")
    tolerance = None
    if spread:
        tolerance = parse_thickness(spread[0].strip(), unit=_unit_of(text) or here.unit, where="thickness")
    if not material and names_gauge(text):
        material = sheet_gauge(text).metal
    if not material:
        raise BadInput("What is it made of?", where="material", hint="For example “EN AW-5754” or “steel”.")
    if len(material) > 80:
        raise BadInput("That name is too long.", where="material", hint="80 letters at most.")
    faces = typed["faces"] if coat else "1"
    if faces not in ("1", "2", "3", "4"):
        raise BadInput("On how many faces is the coating?", where="faces", hint="1 to 4.")
    return Layer(material, size, tolerance, coat, int(faces))


def _unit_of(text: str) -> Any:
    """The unit written behind the thickness, so that “0.080 in ± 0.002” has one."""
    word = re.sub(r"[\d\s.,/+-]", "", text).lower()
    return {"mm": "mm", "in": "in", '"': "in", "inch": "in"}.get(word)


def _without(layers: tuple[Layer, ...], do: str) -> tuple[Layer, ...]:
    number = do.partition(" ")[2]
    if not (number.isascii() and number.isdigit() and len(number) < 4 and 1 <= int(number) <= len(layers)):
        raise BadInput("There is no such layer.", where="material", hint="Load the page again.")
    if len(layers) == 1:
        raise BadInput("It is the only layer.", where="material", hint="Add the right one first, then take this out.")
    place = int(number) - 1
    return (*layers[:place], *layers[place + 1 :])


def _with_metal(text: str, do: str) -> str:
    metal = do.partition(" ")[2]
    if metal not in METALS:
        raise BadInput("There is no gauge table for that.", where="thickness", hint=", ".join(METALS))
    return f"{text.strip()} {metal}"


def layer_page(
    here: Desk,
    state: JobState,
    *,
    coat: bool,
    typed: dict[str, str],
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    """What lies next in the stack: a sheet, or a coating with its faces."""
    stack, _batch, _gauge = read_stack(state)
    metals = _metals(typed.get("thickness", ""), here) if problem and not coat else []
    if metals and problem:
        number = typed["thickness"].strip()
        problem = {**problem, "what": f"“{number}” of what?", "hint": "A gauge number means nothing without its metal."}
    where = str((problem or {}).get("where") or "thickness")
    at_material = where.endswith("material")
    any_layers = bool(stack.layers)
    add = {"label": "Add the coating" if coat else "Add this layer", "do": "add", "kind": ""}
    go = {"label": "Measure it", "do": "next", "kind": ""}
    context = {
        "form": form_of(state, f"{here.address(state.id, 'choose')}?screen={'coat' if coat else 'stack'}"),
        "question": "Which coating lies next?" if coat else _question(any_layers),
        "crumb": _CRUMB,
        "material": {
            "name": "material",
            "label": "Coating" if coat else "Material",
            "value": typed.get("material", ""),
            "options": coating_names() if coat else sheet_material_names(),
            "problem": problem if at_material else None,
        },
        "thickness": {
            "name": "thickness",
            "label": f"Thickness of one face, {here.unit}" if coat else f"Thickness, {here.unit}",
            "note": "± when known" if coat else _EXAMPLE[here.unit],
            "value": typed.get("thickness", ""),
            "problem": None if at_material else problem,
        },
        "metals": metals,
        "faces": _faces(typed.get("faces", "1")) if coat else None,
        "other_kind": {
            "label": "It is a sheet" if coat else "It is a coating",
            "address": f"{here.address(state.id, 'choose')}?screen={'stack' if coat else 'coat'}",
        },
        "layers": [
            {"text": _layer_text(layer), "value": _layer_value(here, layer), "take_out": f"out {number}"}
            for number, layer in enumerate(stack.layers, 1)
        ],
        "total": _total(here, stack),
        "buttons": [{**add, "kind": "other"}, go][::-1] if any_layers and not coat else [add],
        "drawing": stack_of_job(state, unit=here.unit),
        "drawing_notes": [f"to scale, {here.unit}"] if any_layers else [],
    }
    return show(here, state, "steps/choose_stack.html", context, step="choose", status_code=status_code)


def _question(any_layers: bool) -> str:
    return "What lies next in the stack?" if any_layers else "What lies under the flange?"


def _metals(text: str, here: Desk) -> list[dict[str, str]]:
    """The choices for a bare gauge number, each with its value in the person's unit."""
    if not names_gauge(text):
        return []
    found = []
    for metal in METALS:
        try:
            one = sheet_gauge(f"{text.strip()} {metal}")
        except BadInput:
            continue
        shown = show_length(one.thickness, here.unit)
        found.append({"label": f"{metal} {shown}", "do": f"gauge {metal}"})
    return found


def _faces(chosen: str) -> dict[str, Any]:
    return {
        "name": "faces",
        "legend": "Coated faces, faying faces included",
        "choices": [{"value": str(count), "label": str(count)} for count in range(1, 5)],
        "chosen": chosen,
    }


def _layer_text(layer: Layer) -> str:
    return f"{layer.material} × {layer.faces}" if layer.faces > 1 else layer.material


def _layer_value(here: Desk, layer: Layer) -> str:
    value = show_length(layer.thickness, here.unit)
    return value if layer.tolerance is None else f"{value} ± {show_length(layer.tolerance, here.unit)}"


def _total(here: Desk, stack: Stack) -> str:
    if not stack.layers:
        return ""
    found = thickness(stack, unit=here.unit)
    text = f"Together {show_mm(found.nominal_mm, here.unit)} {here.unit}"
    if found.worst_low_mm != found.worst_high_mm:
        low, high = show_mm(found.worst_low_mm, here.unit), show_mm(found.worst_high_mm, here.unit)
        text += f"; at worst {low} to {high}"
    return text + "."


def take_reading(here: Desk, state: JobState, do: str, *, text: str, doing: Doing) -> str:
    """File a micrometer reading, take one out again, or name the gauge; says which screen comes next."""
    stack, batch, gauge = read_stack(state)
    if do.startswith("gauge "):
        named = here.book.gauge(do.partition(" ")[2])
        error, step = named.gauge.get("error_mm"), named.gauge.get("resolution_mm")
        stack = Stack(stack.layers, stack.readings, float(error or 0.02), float(step or 0.01))
        choose.describe_stack(here.book, state.id, stack, doing=doing, batch=batch, gauge=named.id)
        return "measure"
    if do.startswith("drop "):
        readings = _dropped(stack.readings, do)
    elif not text.strip() and do in ("next", "batch"):
        return "thread" if do == "next" else "batch"
    else:
        readings = (*stack.readings, _reading(here, stack, text, sure=do == "right"))
    stack = Stack(stack.layers, readings, stack.gauge_error_mm, stack.resolution_mm)
    choose.describe_stack(here.book, state.id, stack, doing=doing, batch=batch, gauge=gauge)
    return {"next": "thread", "batch": "batch"}.get(do, "measure")


def _reading(here: Desk, stack: Stack, text: str, *, sure: bool) -> Length:
    value = here.length(text, "reading")
    nominal = thickness(Stack(stack.layers)).nominal_mm
    if value.nanometres <= 0:
        raise BadInput("A stack is thicker than nothing.", where="reading", hint="Read it again.")
    ratio = max(value.mm / nominal, nominal / value.mm)
    if _INCH_SLIP[0] < ratio < _INCH_SLIP[1] and not sure:
        raise BadInput(
            f"{text.strip()}? The layers make {show_mm(nominal, here.unit)}.",
            where="slip",
            hint="Read in the other unit, or a digit slipped. Read it again.",
        )
    return value


def _dropped(readings: tuple[Length, ...], do: str) -> tuple[Length, ...]:
    number = do.partition(" ")[2]
    if not (number.isascii() and number.isdigit() and len(number) < 5 and 1 <= int(number) <= len(readings)):
        raise BadInput("There is no such reading.", where="reading", hint="Load the page again.")
    return (*readings[: int(number) - 1], *readings[int(number) :])


def measure_page(
    here: Desk,
    state: JobState,
    parts: Parts,
    *,
    text: str = "",
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    """What the clamped, coated stack measures, reading by reading, with mean and doubt said."""
    stack, batch, gauge = parts
    found = thickness(stack, unit=here.unit)
    if problem is not None and problem.get("where") == "slip":
        problem = {**problem, "buttons": [{"label": "It is right", "do": "right"}]}
    readings = [show_length(reading, here.unit) for reading in stack.readings]
    context = {
        "form": form_of(state, f"{here.address(state.id, 'choose')}?screen=measure"),
        "field": {
            "name": "reading",
            "label": "Thickness",
            "unit": here.unit,
            "value": text,
            "expected": f"the layers make {show_mm(found.nominal_mm, here.unit)}",
            "saved": readings[-1] if readings else "",
            "problem": problem,
            "gauge": None,
            "save": "Save",
        },
        "said": _measured_text(here, stack),
        "notes": list(found.notes)
        if readings
        else ["Clamped, coated, three places at least: the thinnest and thickest."],
        "drops": [{"label": shown, "do": f"drop {number}"} for number, shown in enumerate(readings, 1)],
        "gauges": [
            {"label": row.id, "do": f"gauge {row.id}", "chosen": row.id == gauge} for row in here.book.gauges()[:4]
        ],
        "buttons": [
            {"label": "Go on: the screw" if readings else "Go on unmeasured", "do": "next", "kind": ""},
            {"label": "Thin and thick", "do": "batch", "kind": "other"},
        ],
        "batch": _batch_text(here, batch),
        "drawing": stack_of_job(state, unit=here.unit),
        "drawing_notes": [f"to scale, {here.unit}"],
    }
    return show(here, state, "steps/choose_measure.html", context, step="choose", status_code=status_code)


def _measured_text(here: Desk, stack: Stack) -> str:
    found = thickness(stack, unit=here.unit)
    if found.measured_mean_mm is None or found.measured_u_mm is None:
        return ""
    places = 3 if here.unit == "mm" else 5
    mean = show_mm(found.measured_mean_mm, here.unit, decimals=places)
    doubt = show_mm(found.measured_u_mm, here.unit, decimals=places)
    count = len(stack.readings)
    return f"Mean {mean} ± {doubt} {here.unit} of {count} reading{'s' if count > 1 else ''}"


def _batch_text(here: Desk, batch: Batch | None) -> str:
    if batch is None:
        return ""
    return f"Batch: {show_length(batch.thin, here.unit)} to {show_length(batch.thick, here.unit)} {here.unit}"


def keep_batch(here: Desk, state: JobState, do: str, *, typed: dict[str, str], doing: Doing) -> str:
    """Put the batch's thinnest and thickest stack on record, or say that there is none."""
    stack, known, gauge = read_stack(state)
    batch = None
    if do != "none":
        thin, thick = here.length(typed["thin"], "thin"), here.length(typed["thick"], "thick")
        if not 0 < thin.nanometres <= thick.nanometres:
            raise BadInput(
                "The thinnest is not below the thickest.", where="thin", hint="Swap them, or check the unit."
            )
        batch = Batch(thin, thick)
    if batch != known:
        choose.describe_stack(here.book, state.id, stack, doing=doing, batch=batch, gauge=gauge)
    return "thread"


def batch_page(
    here: Desk,
    state: JobState,
    *,
    typed: dict[str, str] | None = None,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    """How thin and how thick the batch's stacks are, when that is not what was measured."""
    _stack, batch, _gauge = read_stack(state)
    held = {"thin": "", "thick": ""}
    if batch is not None:
        held = {"thin": show_length(batch.thin, here.unit), "thick": show_length(batch.thick, here.unit)}
    values = {name: (typed or {}).get(name) or held[name] for name in held}
    where = (problem or {}).get("where", "")
    context = {
        "form": form_of(state, f"{here.address(state.id, 'choose')}?screen=batch"),
        "screen": "batch",
        "question": "How thin, how thick?",
        "crumb": _CRUMB,
        "fields": [
            {
                "name": name,
                "label": f"{label}, {here.unit}",
                "value": values[name],
                "inputmode": "decimal",
                "problem": problem if (where == "thick") == (name == "thick") else None,
            }
            for name, label in (("thin", "Thinnest stack"), ("thick", "Thickest stack"))
        ],
        "choices": [],
        "said": "One setting serves all only if its window holds at both ends.",
        "buttons": [
            {"label": "Keep both", "do": "keep", "kind": ""},
            {"label": "All as measured", "do": "none", "kind": "other"},
        ],
        "drawing": stack_of_job(state, unit=here.unit),
        "drawing_notes": [f"to scale, {here.unit}"],
    }
    return show(here, state, "steps/choose_needs.html", context, step="choose", status_code=status_code)

"""A job described by a TOML file: the joint, the insert, the tool and what is known of them.

Every value with a unit is text in quotes with that unit; only counts, shares and turns are plain numbers. A name
that is not known is refused with the nearest one that is. Errors name their place, as ``stack.layer[2].thickness``
(layers and readings are counted from 1).
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from typing import Any, cast

from firstpull.errors import BadInput
from firstpull.exchange.job_fields import MAX_TEXT, Section
from firstpull.exchange.job_joint import EDGES, LOADS, NEEDS, SCREW, joint_of, joint_values, needs_of, needs_values
from firstpull.exchange.texts import length_text, number_text
from firstpull.mechanics.choose import Needs
from firstpull.mechanics.insert import (
    BODIES,
    ENDS,
    GRIP_DATUMS,
    HEADS,
    LENGTH_NAMES,
    Body,
    End,
    GripDatum,
    Head,
    Insert,
    check_insert,
)
from firstpull.mechanics.joint.demand import Edges, Loads, Screw
from firstpull.mechanics.request import AirToStack, Allowance, Batch, GivenWindow
from firstpull.mechanics.stack import Layer, Stack, check_stack
from firstpull.mechanics.tool import CONTROLS, PLUS_TURNS, ROTATIONS, Control, PlusTurns, Rotation, Tool, check_tool
from firstpull.trade.materials import coating as coating_named
from firstpull.trade.sheet_gauges import parse_thickness
from firstpull.units import Length, LengthUnit

MAX_BYTES = 256 * 1024
MAX_LAYERS = 50
MAX_READINGS = 500

_SECTIONS = ("job", "stack", "insert", "allowance", "window", "shift", "tool", "needs", "loads", "screw", "edges")
_JOB = ("title", "part", "unit", "note")
_STACK = ("layer", "measured", "gauge_error", "resolution", "thin", "thick", "load_ceiling")
_LAYER = ("material", "thickness", "tolerance", "coating", "faces")
_INSERT = (
    "part",
    "thread",
    "material",
    "head",
    "end",
    "body",
    *LENGTH_NAMES,
    "setting_load",
    "tightening_torque_max",
    "pull_out",
    "push_out",
    "torque_to_turn",
    "head_marks",
    "grip_datum",
    "note",
)
_ALLOWANCE = ("value", "sd", "source")
_WINDOW = ("stroke_min", "stroke_max", "source")
_SHIFT = ("mean", "sd", "source")
_TOOL_LENGTHS = ("lead_per_turn", "stroke_max", "stroke_min", "nose_diameter", "nose_reach")
_TOOL = (
    "name", "control", *_TOOL_LENGTHS, "clicks_per_turn", "plus_turns", "plus_direction", "load_max", "rated_pressure",
    "line_pressure", "piston_area", "ratio", "efficiency", "stiffness", "play", "lead_doubt", "process_sd",
    "present_set_length", "gap", "mandrel_class",
)  # fmt: skip
_TOOL_FILE_NAMES = {
    "load_max_n": "load_max",
    "rated_pressure_bar": "rated_pressure",
    "line_pressure_bar": "line_pressure",
    "piston_area_mm2": "piston_area",
    "stiffness_kn_per_mm": "stiffness",
    "backlash_turns": "play",
    "lead_rel_sd": "lead_doubt",
    "process_sd_mm": "process_sd",
}
_INSERT_FILE_NAMES = {
    "setting_load_n": "setting_load",
    "tightening_torque_max_nm": "tightening_torque_max",
    "pull_out_n": "pull_out",
    "push_out_n": "push_out",
    "torque_to_turn_nm": "torque_to_turn",
}


_JOINT = (("loads", LOADS), ("screw", SCREW), ("edges", EDGES))


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFile:
    """What a job file says. ``None`` = not given.

    ``insert`` is one described in the file, ``part_name`` one to look up in the catalogue; at most one is given.
    ``part`` is what is being built. ``gap_mm`` in mm, ``load_ceiling_n`` in N.
    """

    stack: Stack
    title: str = ""
    part: str = ""
    unit: LengthUnit = "mm"
    note: str = ""
    insert: Insert | None = None
    part_name: str | None = None
    allowance: Allowance | None = None
    window: GivenWindow | None = None
    shift: AirToStack | None = None
    batch: Batch | None = None
    tool: Tool | None = None
    needs: Needs | None = None
    loads: Loads | None = None
    screw: Screw | None = None
    edges: Edges | None = None
    present_set_length: Length | None = None
    gap_mm: float = 0.0
    load_ceiling_n: float | None = None
    mandrel_class: str | None = None


def read_job(text: str, *, where: str = "job.toml") -> JobFile:
    """Read a job described in TOML. Raises BadInput with the line or the name of the value in ``where``."""
    try:
        return _job(_parse(text))
    except BadInput as error:
        raise error.at(where)


def _parse(text: str) -> dict[str, Any]:
    if len(text.encode("utf-8", "surrogatepass")) > MAX_BYTES:
        raise BadInput(f"The file is larger than {MAX_BYTES // 1024} KiB.", hint="A job file is a page of text.")
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as error:
        raise _syntax_error(str(error), text)
    except (RecursionError, ValueError, OverflowError):
        raise BadInput(
            "The file is not usable TOML: a number or a nesting goes too far.",
            hint="See the example jobs for the form.",
        )


def _syntax_error(message: str, text: str) -> BadInput:
    """The TOML reader's message as ours, with the line and the place in it."""
    found = re.fullmatch(r"(.*?) \(at (?:line (\d+), column (\d+)|end of document)\)", message, re.DOTALL)
    line = int(found.group(2)) if found and found.group(2) else text.count("\n") + 1
    what = found.group(1) if found else message
    shown = text.splitlines()[line - 1].strip()[:60] if line <= len(text.splitlines()) else ""
    return BadInput(
        f"This is not TOML: {what[:120]}{f', in “{shown}”' if shown else ''}.",
        where=f"line {line}",
        hint='Write a value with a unit in quotes, for example thickness = "2.0 mm".',
    )


def _job(data: dict[str, Any]) -> JobFile:
    root = Section.of(data, "", known=_SECTIONS)
    if "stack" not in data:
        raise BadInput(
            "The stack is missing.",
            where="stack",
            hint="Add a [[stack.layer]] with its material and thickness for each sheet and coating.",
        )
    job = _section(root, "job", _JOB)
    stack = Section.of(data["stack"], "stack", known=_STACK)
    tool = _section(root, "tool", _TOOL) if root.has("tool") else None
    insert, part_name = _insert(data["insert"]) if root.has("insert") else (None, None)
    return JobFile(
        title=job.text("title"),
        part=job.text("part"),
        unit=cast(LengthUnit, job.choice("unit", ("mm", "in"), "mm")),
        note=job.text("note"),
        stack=_stack(stack),
        batch=_batch(stack),
        load_ceiling_n=stack.force_n("load_ceiling"),
        insert=insert,
        part_name=part_name,
        allowance=_allowance(_section(root, "allowance", _ALLOWANCE)) if root.has("allowance") else None,
        window=_window(_section(root, "window", _WINDOW)) if root.has("window") else None,
        shift=_shift(_section(root, "shift", _SHIFT)) if root.has("shift") else None,
        needs=needs_of(_section(root, "needs", NEEDS)) if root.has("needs") else None,
        **joint_of(*(_section(root, *one) if root.has(one[0]) else None for one in _JOINT)),
        tool=_tool(tool) if tool is not None else None,
        present_set_length=tool.length("present_set_length") if tool is not None else None,
        gap_mm=tool.length_mm_or("gap", 0.0) if tool is not None else 0.0,
        mandrel_class=(tool.text("mandrel_class") or None) if tool is not None else None,
    )


def _section(root: Section, name: str, known: tuple[str, ...]) -> Section:
    return Section.of(root.values.get(name, {}), name, known=known)


def _thickness(text: str, place: str) -> Length:
    return parse_thickness(text, where=place)


def _stack(section: Section) -> Stack:
    layers = section.values.get("layer", [])
    if not isinstance(layers, list) or not layers:
        raise BadInput(
            "The stack has no layers.",
            where="stack.layer",
            hint="Add a [[stack.layer]] with its material and thickness for each sheet and coating.",
        )
    if len(layers) > MAX_LAYERS:
        raise BadInput(f"The stack has {len(layers)} layers; at most {MAX_LAYERS} are read.", where="stack.layer")
    layers_read = tuple(
        _layer(Section.of(layer, f"stack.layer[{index}]", known=_LAYER)) for index, layer in enumerate(layers, start=1)
    )
    stack = Stack(
        layers=layers_read,
        readings=section.lengths("measured", most=MAX_READINGS),
        gauge_error_mm=section.length_mm_or("gauge_error", 0.02),
        resolution_mm=section.length_mm_or("resolution", 0.01),
    )
    _checked(lambda: check_stack(stack), {"gauge_error_mm": "gauge_error", "resolution_mm": "resolution"})
    return stack


def _checked(check: Callable[[], None], file_names: Mapping[str, str]) -> None:
    """Run a check of the mechanics; a place that it names is said by the name that the file uses."""
    try:
        check()
    except BadInput as error:
        head, _, name = error.where.rpartition(".")
        if name in file_names:
            error.where = f"{head}.{file_names[name]}"
        raise


def _layer(section: Section) -> Layer:
    material = section.required_text("material", example="EN AW-5754")
    coating = section.yes_no("coating")
    faces = section.whole("faces")
    return Layer(
        material=material,
        thickness=section.required_length("thickness", parse=_thickness),
        tolerance=section.length("tolerance"),
        coating=coating_named(material) is not None if coating is None else coating,
        faces=1 if faces is None else faces,
    )


def _batch(section: Section) -> Batch | None:
    if not section.has("thin") and not section.has("thick"):
        return None
    return Batch(section.required_length("thin"), section.required_length("thick"))


def _insert(data: Any) -> tuple[Insert | None, str | None]:
    section = Section.of(data, "insert", known=_INSERT)
    if set(section.values) == {"part"}:
        return None, section.required_text("part", example="DM-06-SF-30")
    values: dict[str, Any] = {name: section.length(name) for name in LENGTH_NAMES if section.has(name)}
    for name in ("length_free", "grip_min", "grip_max"):
        values[name] = section.required_length(name)
    if not section.has("end"):
        raise BadInput(
            "“end” is missing.", where="insert.end", hint="Use “open” or “closed”: the mandrel is set differently."
        )
    insert = Insert(
        thread=section.required_text("thread", example="M6x1"),
        end=cast(End, section.choice("end", ENDS)),
        part=section.text("part"),
        material=section.text("material"),
        head=cast(Head, section.choice("head", HEADS, "flat")),
        body=cast(Body, section.choice("body", BODIES, "round")),
        setting_load_n=section.force_n("setting_load"),
        tightening_torque_max_nm=section.torque_nm("tightening_torque_max"),
        pull_out_n=section.force_n("pull_out"),
        push_out_n=section.force_n("push_out"),
        torque_to_turn_nm=section.torque_nm("torque_to_turn"),
        head_marks=section.whole("head_marks"),
        grip_datum=cast(GripDatum, section.choice("grip_datum", GRIP_DATUMS, "flange")),
        note=section.text("note"),
        **values,
    )
    _checked(lambda: check_insert(insert), _INSERT_FILE_NAMES)
    return insert, None


def _allowance(section: Section) -> Allowance:
    return Allowance(section.required_length("value"), section.length_mm("sd"), section.text("source", "typed"))


def _window(section: Section) -> GivenWindow:
    # “proven” limits come from coupons in the record, never from a file.
    section.choice("source", ("given",))
    return GivenWindow(section.required_length("stroke_min"), section.required_length("stroke_max"))


def _shift(section: Section) -> AirToStack:
    return AirToStack(
        section.length_mm_or("mean", 0.0), section.length_mm_or("sd", 0.25), section.text("source", "typed")
    )


def _tool(section: Section) -> Tool:
    control = section.choice("control", CONTROLS)
    if control is None:
        raise BadInput("“control” is missing.", where="tool.control", hint="Use “stroke” or “force”.")
    play, doubt = section.number("play"), section.number("lead_doubt")
    tool = Tool(
        control=cast(Control, control),
        name=section.text("name"),
        lead_per_turn=section.length("lead_per_turn"),
        clicks_per_turn=section.whole("clicks_per_turn"),
        plus_turns=cast(PlusTurns, section.choice("plus_turns", PLUS_TURNS, "more stroke")),
        plus_direction=cast(Rotation, section.choice("plus_direction", ROTATIONS, "clockwise")),
        stroke_max=section.length("stroke_max"),
        stroke_min=section.length("stroke_min"),
        nose_diameter=section.length("nose_diameter"),
        nose_reach=section.length("nose_reach"),
        load_max_n=section.force_n("load_max"),
        rated_pressure_bar=section.pressure_bar("rated_pressure"),
        line_pressure_bar=section.pressure_bar("line_pressure"),
        piston_area_mm2=section.area_mm2("piston_area"),
        ratio=section.number("ratio"),
        efficiency=section.number("efficiency"),
        stiffness_kn_per_mm=section.stiffness_kn_per_mm("stiffness"),
        backlash_turns=0.2 if play is None else play,
        lead_rel_sd=0.03 if doubt is None else doubt,
        process_sd_mm=section.length_mm_or("process_sd", 0.03),
    )
    _checked(lambda: check_tool(tool), _TOOL_FILE_NAMES)
    return tool


def write_job(job: JobFile) -> str:
    """The job as TOML that :func:`read_job` reads back the same. Raises BadInput for what a file cannot hold."""
    parts = [
        _written("job", {"title": job.title, "part": job.part, "unit": job.unit, "note": job.note}),
        *[_written_layer(layer) for layer in job.stack.layers],
        _written_stack(job),
    ]
    if job.insert is not None:
        parts.append(_written("insert", _insert_values(job.insert)))
    elif job.part_name is not None:
        parts.append(_written("insert", {"part": job.part_name}))
    if job.allowance is not None:
        parts.append(
            _written(
                "allowance",
                {"value": job.allowance.value, "sd": _mm(job.allowance.sd_mm), "source": job.allowance.source},
            )
        )
    if job.window is not None:
        parts.append(_written("window", {"stroke_min": job.window.stroke_min, "stroke_max": job.window.stroke_max}))
    if job.shift is not None:
        parts.append(
            _written("shift", {"mean": _mm(job.shift.mean_mm), "sd": _mm(job.shift.sd_mm), "source": job.shift.source})
        )
    if job.tool is not None:
        parts.append(_written("tool", _tool_values(job, job.tool)))
    if job.needs is not None:
        parts.append(_written("needs", needs_values(job.needs)))
    for name, values in joint_values(job.loads, job.screw, job.edges).items():
        parts.append(_written(name, values))
    return "\n".join(part for part in parts if part)


def _written_layer(layer: Layer) -> str:
    thickness = length_text(layer.thickness, parse=parse_thickness)
    values = {
        "material": layer.material,
        "thickness": thickness,
        "tolerance": layer.tolerance,
        "coating": layer.coating,
        "faces": layer.faces,
    }
    return _written("[stack.layer]", values)


def _written_stack(job: JobFile) -> str:
    readings = "[" + ", ".join(_toml(length_text(reading)) for reading in job.stack.readings) + "]"
    lines = _written(
        "stack",
        {
            "gauge_error": _mm(job.stack.gauge_error_mm),
            "resolution": _mm(job.stack.resolution_mm),
            "thin": job.batch.thin if job.batch else None,
            "thick": job.batch.thick if job.batch else None,
            "load_ceiling": _unit(job.load_ceiling_n, "N"),
        },
    )
    return f"{lines}measured = {readings}\n"


def _insert_values(insert: Insert) -> dict[str, Any]:
    values = {field.name: getattr(insert, field.name) for field in fields(Insert)}
    for held, name in _INSERT_FILE_NAMES.items():
        values[name] = _unit(values.pop(held), "N" if held.endswith("_n") else "Nm")
    return values


def _tool_values(job: JobFile, tool: Tool) -> dict[str, Any]:
    return {
        "name": tool.name,
        "control": tool.control,
        "lead_per_turn": tool.lead_per_turn,
        "clicks_per_turn": tool.clicks_per_turn,
        "plus_turns": tool.plus_turns,
        "plus_direction": tool.plus_direction,
        "stroke_max": tool.stroke_max,
        "stroke_min": tool.stroke_min,
        "nose_diameter": tool.nose_diameter,
        "nose_reach": tool.nose_reach,
        "load_max": _unit(tool.load_max_n, "N"),
        "rated_pressure": _unit(tool.rated_pressure_bar, "bar"),
        "line_pressure": _unit(tool.line_pressure_bar, "bar"),
        "piston_area": _unit(tool.piston_area_mm2, "mm²"),
        "ratio": tool.ratio,
        "efficiency": tool.efficiency,
        "stiffness": _unit(tool.stiffness_kn_per_mm, "kN/mm"),
        "play": tool.backlash_turns,
        "lead_doubt": tool.lead_rel_sd,
        "process_sd": _mm(tool.process_sd_mm),
        "present_set_length": job.present_set_length,
        "gap": _mm(job.gap_mm),
        "mandrel_class": job.mandrel_class,
    }


def _mm(value_mm: float | None) -> Length | None:
    return None if value_mm is None else Length.from_mm(value_mm)


def _unit(value: float | None, unit: str) -> str | None:
    return None if value is None else f"{number_text(value)} {unit}"


def _written(name: str, values: dict[str, Any]) -> str:
    lines = [f"[{name}]"]
    for key, value in values.items():
        if value is None or (value == "" and key != "source"):
            continue
        lines.append(f"{key} = {_toml(value)}")
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        text = number_text(value)
        return text if "." in text else f"{text}.0"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(one) for one in value) + "]"
    text = length_text(value) if isinstance(value, Length) else str(value)
    if len(text) > MAX_TEXT or any(0xD800 <= ord(letter) <= 0xDFFF for letter in text):
        raise BadInput("This text cannot be written in a job file.", hint=f"At most {MAX_TEXT} ordinary characters.")
    # A JSON string without surrogate escapes is a TOML basic string, except that DEL must be escaped too.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")

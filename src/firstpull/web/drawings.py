"""Drawings of a job's own joint: from what the record holds to the shapes that the drawing code wants."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from firstpull.drawing.hole import HoleShape, hole_drawing
from firstpull.drawing.section import InsertShape, Layer, joint_pictures, joint_section
from firstpull.drawing.stack import stack_section
from firstpull.errors import BadInput
from firstpull.jobs.shapes import stack_from_json
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.joint.hole import Hole
from firstpull.mechanics.stack import Stack, thickness
from firstpull.record.job import JobState
from firstpull.units import Length, LengthUnit


def shape_of(insert: Insert | Mapping[str, Any]) -> InsertShape:
    """The insert's lengths for drawing, from the mechanics' row or from the record's."""
    row = insert if isinstance(insert, Insert) else Insert.from_json(insert)
    return InsertShape(
        row.length_free.mm,
        _thread_diameter_mm(row.thread),
        _mm(row.flange_diameter),
        _mm(row.flange_thickness),
        _mm(row.body_diameter),
        _mm(row.thread_length),
        _mm(row.counterbore_diameter),
        row.head,
        row.end,
    )


def layers_of(stack: Stack) -> list[Layer]:
    """The stack's layers for drawing; a coating on several faces is drawn once, at its whole thickness."""
    return [(_layer_name(layer), layer.thickness.mm * layer.faces, layer.coating) for layer in stack.layers]


def joint_of(
    state: JobState,
    *,
    unit: LengthUnit,
    insert: Insert | None = None,
    set_length_mm: float | None = None,
    width: float = 472,
    height: float = 420,
    key: str = "joint",
) -> str:
    """The job's joint to scale, before and after the pull; "" while stack or insert is missing.

    ``insert`` and ``set_length_mm`` take the place of the job's own; without any set length both halves are free.
    """
    if state.stack is None or (insert is None and state.insert is None):
        return ""
    stack, _batch = stack_from_json(state.stack)
    shape = shape_of(insert if insert is not None else state.insert or {})
    if set_length_mm is None and insert is None and state.setting is not None:
        set_length_mm = float(state.setting["set_length_mm"])
    try:
        return joint_section(
            shape,
            thickness_mm=thickness(stack).value_mm,
            set_length_mm=set_length_mm,
            unit=unit,
            layers=layers_of(stack),
            width=width,
            height=height,
            key=key,
        )
    except BadInput:
        return ""  # lengths that can not be drawn are said beside the field that asks for them


def hole_of(hole: Hole, drill: str, *, unit: LengthUnit) -> str:
    """The hole with its limits, the drill that fits and the gauge pins."""
    shape = HoleShape(hole.shape, hole.least_mm, hole.most_mm, hole.go_mm, hole.no_go_mm, drill, hole.countersink_mm)
    return hole_drawing(shape, unit=unit)


def pictures_of(state: JobState, inserts: Sequence[tuple[Insert, float | None]]) -> list[str]:
    """Small pictures of inserts in the job's stack, one scale for all, each with its stroke in mm (None: not known)."""
    if state.stack is None or not inserts:
        return ["" for _one in inserts]
    stack, _batch = stack_from_json(state.stack)
    shapes = [(shape_of(one), None if stroke is None else one.length_free.mm - stroke) for one, stroke in inserts]
    return joint_pictures(shapes, thickness_mm=thickness(stack).value_mm, layers=layers_of(stack), key="tile")


def stack_of_job(
    state: JobState, *, unit: LengthUnit, width: float = 472, height: float = 300, key: str = "stack"
) -> str:
    """The stack as it stands, to scale, with the chosen insert ghosted in; an empty sheet before the first layer."""
    if state.stack is None:
        return stack_section([], thickness_mm=None, unit=unit, width=width, height=height, key=key)
    stack, _batch = stack_from_json(state.stack)
    return stack_section(
        layers_of(stack),
        thickness_mm=thickness(stack).value_mm,
        unit=unit,
        ghost=None if state.insert is None else shape_of(state.insert),
        width=width,
        height=height,
        key=key,
    )


def _layer_name(layer: Any) -> str:
    return f"{layer.material} × {layer.faces}" if layer.faces > 1 else str(layer.material)


def _mm(length: Length | None) -> float | None:
    return None if length is None else length.mm


def _thread_diameter_mm(name: str) -> float | None:
    from firstpull.trade.threads import thread

    try:
        return thread(name).major_mm
    except BadInput:
        return None

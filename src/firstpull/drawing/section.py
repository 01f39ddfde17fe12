"""The joint in section, to scale: the insert in its stack before the pull (left half) and after it (right half)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firstpull.drawing import svg
from firstpull.drawing.profile import InsertShape, Profile, profile
from firstpull.drawing.svg import BEFORE, INK, PETROL, QUIET, WHITE, Point
from firstpull.errors import BadInput
from firstpull.units import LengthUnit, show_mm

__all__ = ["InsertShape", "Layer", "joint_pictures", "joint_section"]

_COLUMN = 86.0
_TOP = 30.0
_ROW = 19.0
_SHORT_RISE = 26.0
_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"

Layer = tuple[str, float, bool]
"""Material, thickness in mm, and whether it is a coating; from the flange to the blind side."""


@dataclass(frozen=True, slots=True)
class _View:
    """Where mm land on the paper."""

    centre: float
    datum: float
    scale: float
    reach_mm: float
    unit: LengthUnit

    def at(self, radius_mm: float, depth_mm: float, *, side: int) -> Point:
        return (self.centre + side * radius_mm * self.scale, self.datum + depth_mm * self.scale)

    def half(self, points: Sequence[Point], *, side: int) -> list[Point]:
        return [self.at(radius, depth, side=side) for radius, depth in points]

    def shown(self, value_mm: float) -> str:
        return show_mm(value_mm, self.unit)


def joint_section(
    shape: InsertShape,
    *,
    thickness_mm: float,
    set_length_mm: float | None,
    unit: LengthUnit = "mm",
    layers: Sequence[Layer] = (),
    width: float = 472,
    height: float = 420,
    key: str = "",
) -> str:
    """The insert in its stack, one scale, the free shape left of the centre line and the set shape right of it.

    ``layers`` are drawn in the share of ``thickness_mm`` that they have of their own sum. Numbers are in ``unit``.
    Without ``set_length_mm`` both halves show the free insert. Lengths that the catalogue lacks are drawn by our own
    proportions and the drawing says that it is not to scale. Raises BadInput for lengths that can not be drawn.
    """
    drawn = profile(shape, thickness_mm=thickness_mm, set_length_mm=set_length_mm)
    rows = _key_rows(layers, thickness_mm, unit=unit)
    reach = drawn.widest_mm * 1.24
    room_below = height - _TOP - 14 - max(len(rows), 1) * _ROW - 34
    tall_mm = drawn.end_before_mm - drawn.top_mm
    scale = min((width / 2 - _COLUMN) / reach, room_below / tall_mm)
    if set_length_mm is not None and (shape.length_free_mm - set_length_mm) * scale <= _SHORT_RISE:
        scale = min(scale, (room_below - _ROW) / tall_mm)  # the stroke is written below the insert, above the foot
    scale = max(scale, 0.05)
    reach = (width / 2 - _COLUMN) / scale if reach * scale < (width / 2 - _COLUMN) * 0.6 else reach
    view = _View(width / 2, _TOP + 6 - drawn.top_mm * scale, scale, min(reach, drawn.widest_mm * 2.2), unit)
    parts = [_sheets(view, drawn, thickness=thickness_mm, layers=layers)]
    parts.append(_insert(view, drawn, side=-1, after=False))
    parts.append(_insert(view, drawn, side=1, after=drawn.after is not None))
    end_px = view.at(0, drawn.end_before_mm, side=1)[1]
    parts.append(_centre_line(view, drawn, end_px=end_px))
    parts.append(
        _before_dimensions(view, drawn, free=shape.length_free_mm, thickness=thickness_mm, single=set_length_mm is None)
    )
    if set_length_mm is not None:
        parts.append(
            _after_dimensions(view, drawn, free=shape.length_free_mm, set_length=set_length_mm, thickness=thickness_mm)
        )
    parts.append(_foot(view, drawn, rows=rows, width=width, height=height))
    return svg.sheet(
        "".join(parts),
        width=width,
        height=height,
        title="The joint in section, before and after the pull"
        if set_length_mm is not None
        else "The joint in section",
        description=_describe(view, shape, thickness=thickness_mm, set_length=set_length_mm, drawn=drawn),
        key=key,
    )


def joint_pictures(
    shapes: Sequence[tuple[InsertShape, float | None]],
    *,
    thickness_mm: float,
    layers: Sequence[Layer] = (),
    width: float = 96,
    height: float = 72,
    key: str = "",
) -> list[str]:
    """Small pictures of several inserts in one stack, all to one scale, before (left half) and after the pull.

    ``shapes`` are the inserts with their set lengths (mm). No numbers: the large drawing has them. "" for an insert
    whose lengths can not be drawn.
    """
    drawn: list[Profile | None] = []
    for shape, set_length_mm in shapes:
        try:
            drawn.append(profile(shape, thickness_mm=thickness_mm, set_length_mm=set_length_mm))
        except BadInput:
            drawn.append(None)
    known = [one for one in drawn if one is not None]
    if not known:
        return ["" for _one in drawn]
    reach = max(one.widest_mm for one in known) * 1.3
    top, end = min(one.top_mm for one in known), max(one.end_before_mm for one in known)
    scale = min((width / 2 - 3) / reach, (height - 6) / (end - top))
    view = _View(width / 2, 3 - top * scale, scale, (width / 2 - 3) / scale, "mm")
    return ["" if one is None else _small(view, one, thickness_mm, layers, width, height, f"{key}{place}") for place, one in enumerate(drawn)]  # fmt: skip


def _small(
    view: _View, drawn: Profile, thickness: float, layers: Sequence[Layer], width: float, height: float, key: str
) -> str:
    given = [layer for layer in layers if layer[1] > 0] or [("", thickness, False)]
    total, depth, parts = sum(layer[1] for layer in given), 0.0, []
    for _name, layer_mm, coating in given:
        share = layer_mm / total * thickness
        for side in (-1, 1):
            corners = [view.at(view.reach_mm, depth, side=side), view.at(view.reach_mm, depth + share, side=side)]
            inner = [_wall(view, drawn, depth=depth + share, side=side), _wall(view, drawn, depth=depth, side=side)]
            parts.append(svg.polygon([*corners, *inner], fill=INK if coating else WHITE, width=1))
        depth += share
    for side in (-1, 1):
        outline = drawn.after if side > 0 and drawn.after is not None else drawn.before
        stroke = INK if side > 0 else BEFORE
        points = view.half(outline, side=side)
        parts.append(svg.polygon(points, stroke=None, fill=WHITE))
        parts.append(svg.path(svg.hatch(points, spacing=4, falling=side > 0), stroke=stroke, width=0.6))
        parts.append(svg.path(svg.outline(points), stroke=stroke, width=1.4))
    parts.append(svg.line((view.centre, 0), (view.centre, height), width=0.8, dash="8 3 2 3"))
    words = "Left half before the pull, right half after it. " + _scale_word(drawn)
    return svg.sheet(
        "".join(parts), width=width, height=height, title="The insert in its stack", description=words, key=key
    )


def _describe(view: _View, shape: InsertShape, *, thickness: float, set_length: float | None, drawn: Profile) -> str:
    words = f"Lengths in {view.unit}. Free length {view.shown(shape.length_free_mm)}, stack {view.shown(thickness)}"
    if set_length is not None and drawn.end_after_mm is not None:
        words += f", set length {view.shown(set_length)}, stroke {view.shown(shape.length_free_mm - set_length)}"
        if "flange thickness" not in drawn.filled:
            words += f", behind the stack after the pull {view.shown(drawn.end_after_mm - thickness)}"
    return f"{words}. {_scale_word(drawn)}."


def _scale_word(drawn: Profile) -> str:
    if drawn.filled:
        return "Not to scale: " + ", ".join(drawn.filled) + " not known"
    return "Not to scale: this pull does not fit this insert" if drawn.squeezed else "To scale"


def _key_rows(layers: Sequence[Layer], thickness_mm: float, *, unit: LengthUnit) -> list[tuple[str, str]]:
    rows: list[tuple[str, str]] = []
    letter = 0
    for material, layer_mm, coating in layers:
        mark = "" if coating else _LETTERS[letter % len(_LETTERS)]
        letter += 0 if coating else 1
        rows.append((mark, f"{svg.clean(material)} {show_mm(layer_mm, unit)}"))
    if len(rows) > 4:
        rows = [*rows[:3], ("+", f"{len(rows) - 3} more layers, {show_mm(thickness_mm, unit)} together")]
    return rows


def _sheets(view: _View, drawn: Profile, *, thickness: float, layers: Sequence[Layer]) -> str:
    """White sheets with a letter each, coatings as thick lines, a break line at the outer ends."""
    given: Sequence[Layer] = [layer for layer in layers if layer[1] > 0] or [("", thickness, False)]
    total = sum(layer[1] for layer in given)
    parts: list[str] = []
    depth = 0.0
    letter = 0
    for _, layer_mm, coating in given:
        share = layer_mm / total * thickness
        for side in (-1, 1):
            corners = [view.at(view.reach_mm, depth, side=side), view.at(view.reach_mm, depth + share, side=side)]
            inner = [_wall(view, drawn, depth=depth + share, side=side), _wall(view, drawn, depth=depth, side=side)]
            fill = INK if coating else WHITE
            edge = 2.0 if share * view.scale >= 8 or coating else 1.0
            parts.append(svg.polygon([*corners, *inner], fill=fill, width=edge, stroke=INK))
        if not coating:
            parts.append(
                _letter(view, depth + share / 2, height_px=share * view.scale, letter=_LETTERS[letter % len(_LETTERS)])
            )
            letter += 1
        depth += share
    for side in (-1, 1):
        parts.append(_break_line(view, thickness, side=side))
    return svg.group(*parts, data_part="stack")


def _wall(view: _View, drawn: Profile, *, depth: float, side: int) -> Point:
    radius = drawn.body_radius_mm
    if depth < drawn.head_depth_mm:
        radius += (drawn.flange_radius_mm - radius) * (1 - depth / drawn.head_depth_mm)
    return view.at(radius, depth, side=side)


def _letter(view: _View, depth: float, *, height_px: float, letter: str) -> str:
    if height_px < 15:
        return ""
    x, y = view.at(view.reach_mm, depth, side=1)
    return svg.text(letter, (x - 16, y + 5), anchor="middle", fill=QUIET)


def _break_line(view: _View, thickness: float, *, side: int) -> str:
    x, top = view.at(view.reach_mm, 0, side=side)
    bottom = view.at(0, thickness, side=side)[1]
    height = bottom - top
    data = f"M{svg.number(x)} {svg.number(top - 3)}"
    for share, shift in ((0.25, 3.0), (0.5, -3.0), (0.75, 3.0), (1.0, 0.0)):
        data += f"L{svg.number(x + shift)} {svg.number(top + height * share + (3 if share == 1 else 0))}"
    hide = svg.line((x, top - 1), (x, bottom + 1), stroke=WHITE, width=7)
    return hide + svg.path(data, width=1.2, stroke=INK)


def _insert(view: _View, drawn: Profile, *, side: int, after: bool) -> str:
    """One hatched half with its thread: grey before, ink after."""
    outline = drawn.after if after and drawn.after is not None else drawn.before
    thread = drawn.thread_after if after and drawn.thread_after is not None else drawn.thread_before
    stroke = INK if after or drawn.after is None else BEFORE
    points = view.half(outline, side=side)
    major = [view.at(drawn.major_radius_mm, depth, side=side) for depth in thread]
    bore, minor = outline[0][0], min(radius for radius, depth in outline if depth == thread[0])
    end = drawn.end_after_mm if after and drawn.end_after_mm is not None else drawn.end_before_mm
    # the edges that are seen behind the cut, so that the body reads as hollow
    edges = [(bore, drawn.top_mm), (bore, thread[0])] + ([(minor, end)] if thread[1] == end else [])
    seen = [
        svg.line(view.at(0, depth, side=side), view.at(r, depth, side=side), stroke=stroke, width=1.2)
        for r, depth in edges
    ]
    return svg.group(
        svg.polygon(points, stroke=None, fill=WHITE),
        svg.path(svg.hatch(points, falling=side > 0), stroke=stroke, width=1),
        svg.path(svg.outline(points), stroke=stroke, width=2.4, data_part="insert-after" if after else "insert-before"),
        svg.line(major[0], major[1], stroke=stroke, width=1.2),
        *seen,
    )


def _centre_line(view: _View, drawn: Profile, *, end_px: float) -> str:
    top = view.at(0, drawn.top_mm, side=1)[1]
    return svg.line((view.centre, top - 12), (view.centre, end_px + 12), stroke=INK, width=1.2, dash="14 4 2 4")


def _label(at: Point, word: str, *, value: str, fill: str = INK, anchor: str = "middle", size: float = 20) -> str:
    """A word above its number, on white."""
    return svg.text(word, (at[0], at[1] - 4), anchor=anchor, fill=QUIET if fill == INK else fill, halo=True) + svg.text(
        value, (at[0], at[1] + size * 0.82), size=size, bold=True, anchor=anchor, fill=fill, halo=True
    )


def _upright(x: float, top: float, *, bottom: float, stroke: str = INK) -> str:
    """A dimension line; its arrows come from outside where there is no room between."""
    up, down = -1.5707963, 1.5707963
    if bottom - top >= 30:
        heads = svg.arrow_head((x, top), up, fill=stroke) + svg.arrow_head((x, bottom), down, fill=stroke)
        return svg.line((x, top + 8), (x, bottom - 8), stroke=stroke, width=1.4) + heads
    heads = svg.arrow_head((x, top), down, fill=stroke) + svg.arrow_head((x, bottom), up, fill=stroke)
    shafts = svg.line((x, top - 20), (x, top - 8), stroke=stroke, width=1.4)
    return shafts + svg.line((x, bottom + 8), (x, bottom + 20), stroke=stroke, width=1.4) + heads


def _before_dimensions(view: _View, drawn: Profile, *, free: float, thickness: float, single: bool) -> str:
    x = _COLUMN / 2
    top = view.at(0, drawn.top_mm, side=-1)[1]
    end = view.at(0, drawn.end_before_mm, side=-1)[1]
    surface, back = view.datum, view.at(0, thickness, side=-1)[1]
    flange_x = view.at(drawn.flange_radius_mm, 0, side=-1)[0]
    body_x = view.at(drawn.body_radius_mm, 0, side=-1)[0]
    parts = [
        svg.line((x - 6, top), (flange_x - 4, top), stroke=QUIET, width=1),
        svg.line((x - 6, end), (body_x - 4, end), stroke=QUIET, width=1),
        _upright(x, top, bottom=end),
        _label((x, (top + end) / 2), "free length", value=view.shown(free)),
    ]
    stack_x = view.at(view.reach_mm, 0, side=-1)[0] + 24
    parts.append(_upright(stack_x, surface, bottom=back))
    low = back + (34 if back - surface < 30 else 18)
    word_x = max((stack_x + body_x) / 2 - 6, stack_x - 4)
    if back - surface >= 30:
        word_x = stack_x + 4
    parts.append(_label((word_x, low + 6), "stack", value=view.shown(thickness)))
    if not single:
        parts.append(svg.text("BEFORE", (view.centre - 14, 18), bold=True, anchor="end", fill=QUIET))
        parts.append(svg.text("AFTER", (view.centre + 14, 18), bold=True))
    return svg.group(*parts)


def _after_dimensions(view: _View, drawn: Profile, *, free: float, set_length: float, thickness: float) -> str:
    assert drawn.end_after_mm is not None
    right = 2 * view.centre - _COLUMN / 2
    top = view.at(0, drawn.top_mm, side=1)[1]
    end = view.at(0, drawn.end_after_mm, side=1)[1]
    free_end = view.at(0, drawn.end_before_mm, side=1)[1]
    back = view.at(0, thickness, side=1)[1]
    body_x = view.at(drawn.body_radius_mm, 0, side=1)[0]
    flange_x = view.at(drawn.flange_radius_mm, 0, side=1)[0]
    parts = [
        svg.line((flange_x + 4, top), (right + 6, top), stroke=QUIET, width=1),
        svg.line((body_x + 4, end), (right + 6, end), stroke=QUIET, width=1),
        _upright(right, top, bottom=end),
        _label((right, (top + end) / 2), "set length", value=view.shown(set_length)),
    ]
    if "flange thickness" not in drawn.filled and end - back > 24:
        behind_x = max(view.at(drawn.widest_mm, 0, side=1)[0] + 20, right - _COLUMN)
        parts.append(_upright(behind_x, back, bottom=end))
        low = max((back + end) / 2, (top + end) / 2 + 44)
        low = low if low < end - 22 else max((back + end) / 2, back + 24)
        parts.append(_label((behind_x, low), "behind", value=view.shown(drawn.end_after_mm - thickness)))
    if free - set_length > 0:
        x = view.centre + max((body_x - view.centre) * 0.45, 16)
        parts.append(svg.line((view.centre, free_end), (x + 60, free_end), stroke=PETROL, width=1.4, dash="6 4"))
        parts.append(_rise(x, free_end, top=end))
        word = f"stroke {view.shown(free - set_length)}"
        middle = (free_end + end) / 2 + 7 if free_end - end > _SHORT_RISE else free_end + 24
        parts.append(svg.text(word, (x + 12, middle), size=20, bold=True, fill=PETROL, halo=True))
    return svg.group(*parts)


def _rise(x: float, bottom: float, *, top: float) -> str:
    """The travel of the threaded end, an arrow from where it was to where it stands."""
    if bottom - top < 16:
        return svg.line((x, bottom), (x, top), stroke=PETROL, width=4)
    return svg.arrow((x, bottom), (x, top + 1), stroke=PETROL, width=3, head=14)


def _foot(view: _View, drawn: Profile, *, rows: Sequence[tuple[str, str]], width: float, height: float) -> str:
    """The layers by letter on the left; scale bar and whether it is to scale on the right."""
    parts = []
    first = height - 12 - (len(rows) - 1) * _ROW
    whole = not drawn.filled and not drawn.squeezed
    for index, (mark, row) in enumerate(rows):
        room = width - 54 - (170 if index >= len(rows) - 2 else 0)
        y = first + index * _ROW
        bar = svg.line((16, y - 5), (29, y - 5), width=4)
        parts.append(svg.text(mark, (17, y), fill=QUIET) if mark else bar)
        parts.append(svg.text(svg.shorten(row, room), (36, y), fill=QUIET))
    note = f"to scale, {view.unit}" if whole else f"not to scale, {view.unit}"
    parts.append(
        svg.text(note, (width - 16, height - 12), anchor="end", fill=INK if not whole else QUIET, bold=not whole)
    )
    if whole:
        step = _bar_mm(view)
        long = step * view.scale
        y = height - 36
        label = f"{step:g}" if view.unit == "mm" else f"{step / 25.4:g}"
        for x in (width - 16 - long, width - 16):
            parts.append(svg.line((x, y - 5), (x, y + 5), width=1.4))
        parts.append(svg.line((width - 16 - long, y), (width - 16, y), width=1.4))
        parts.append(svg.text(label, (width - 24 - long, y + 5), anchor="end", fill=QUIET))
    return svg.group(*parts)


def _bar_mm(view: _View) -> float:
    unit_mm = 1.0 if view.unit == "mm" else 25.4
    steps = [base * 10.0**power for power in range(-3, 4) for base in (1, 2, 5)]
    return max((step * unit_mm for step in steps if step * unit_mm * view.scale <= 110), default=unit_mm * 0.001)

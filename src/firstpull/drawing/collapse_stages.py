"""The simulated collapse to scale: the stages of one pull laid over each other, a strip of them, and one alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firstpull.drawing import svg
from firstpull.errors import BadInput

Outline = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class StageShape:
    """The half section at a stroke: outlines of insert and sheet (None in the air) as (r, z) in mm."""

    stroke_mm: float
    insert: Outline
    sheet: Outline | None


@dataclass(frozen=True, slots=True)
class _Scale:
    """Places in mm to px: the flange on the left, the blind side on the right, both halves of the section."""

    px_per_mm: float
    middle: float
    left: float
    top_z: float

    def points(self, outline: Outline, sign: float) -> list[svg.Point]:
        return [
            (self.left + self.px_per_mm * (self.top_z - z), self.middle + sign * self.px_per_mm * r) for r, z in outline
        ]


def stage_pictures(
    stages: Sequence[StageShape], *, width: float = 472, height: float = 300, key: str = "stages"
) -> str:
    """All stages in one drawing, each a group with ``id`` ``{key}-0`` …; the first and the last are shown, so that
    before and after stand together until a script shows them in turn. Lengths in mm. Raises BadInput without stages."""
    scale = _scale(stages, width, height)
    parts = [svg.line((4, height / 2), (width - 4, height / 2), stroke=svg.QUIET, width=1, dash="14 4 3 4")]
    parts.append(_sheet(stages[-1], scale))
    for place, stage in enumerate(stages):
        last, first = place == len(stages) - 1, place == 0
        look = "none" if first else svg.PALE_PETROL
        stroke = svg.BEFORE if first and not last else svg.INK
        body = "".join(
            svg.polygon(scale.points(stage.insert, sign), fill=look, stroke=stroke, width=2) for sign in (1.0, -1.0)
        )
        parts.append(svg.group(body, id=f"{key}-{place}", display=None if first or last else "none"))
    label = f"The collapse to scale, from 0 to {stages[-1].stroke_mm:.1f} mm of stroke: before in grey, after in ink."
    return svg.sheet(
        "".join(parts), width=width, height=height, title="The collapse, to scale", description=label, key=key
    )


def stage_strip(stages: Sequence[StageShape], labels: Sequence[str], *, width: float = 472, key: str = "strip") -> str:
    """Some stages side by side, each with its label under it. Lengths in mm. Raises BadInput without stages."""
    each = width / max(len(stages), 1)
    tall = 0.78 * each
    parts = []
    for place, (stage, label) in enumerate(zip(stages, labels, strict=True)):
        scale = _scale(stages, each - 8, tall)
        body = _sheet(stage, scale) + "".join(
            svg.polygon(scale.points(stage.insert, sign), fill=svg.PALE_PETROL, width=1) for sign in (1.0, -1.0)
        )
        parts.append(svg.group(body, transform=f"translate({svg.number(place * each + 4)} 0)"))
        parts.append(svg.text(label, (place * each + each / 2, tall + 18), size=svg.SMALLEST_PX, anchor="middle"))
    title = "Stages of the pull: " + ", ".join(labels)
    return svg.sheet(
        "".join(parts), width=width, height=tall + 26, title="Stages of the pull", description=title, key=key
    )


def _scale(stages: Sequence[StageShape], width: float, height: float) -> _Scale:
    if not stages:
        raise BadInput("There are no stages to draw.", hint="Run the pull first.")
    outlines = [stage.insert for stage in stages]
    radius = max(r for outline in outlines for r, _z in outline)
    lengths = [z for outline in outlines for _r, z in outline]
    top, bottom = max(lengths), min(lengths)
    px = min((width - 16) / (top - bottom), (height - 16) / (2.0 * radius))
    return _Scale(px, height / 2.0, (width - px * (top - bottom)) / 2.0, top)


def _sheet(stage: StageShape, scale: _Scale) -> str:
    if stage.sheet is None:
        return ""
    return "".join(
        svg.polygon(scale.points(stage.sheet, sign), fill=svg.WHITE, stroke=svg.QUIET, width=1.5)
        for sign in (1.0, -1.0)
    )

"""Where each measure of an insert sits: a section with a letter for each, those that are asked now in petrol."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping

from firstpull.drawing import svg

Place = Callable[[float, float], svg.Point]
MEASURES = (
    "outer_diameter",
    "counterbore_diameter",
    "unthreaded_length",
    "threaded_length",
    "flange_diameter",
    "flange_thickness",
    "thickness",
    "hole_diameter",
)
LETTERS: Mapping[str, str] = dict(zip(MEASURES, "ABCDEFGH", strict=True))
_SHOWN = {
    "outer_diameter": 8.9,
    "counterbore_diameter": 7.0,
    "unthreaded_length": 9.0,
    "threaded_length": 6.0,
    "flange_diameter": 13.0,
    "flange_thickness": 1.4,
    "thickness": 2.2,
    "hole_diameter": 9.3,
}
"""What is drawn of a measure that is not known yet, in mm."""
_BORE_SHARE = 0.78


def measures_drawing(
    known_mm: Mapping[str, float],
    asked: Collection[str],
    *,
    sheet: bool = True,
    width: float = 472,
    height: float = 380,
    key: str = "measures",
) -> str:
    """The insert lying on its side in its sheet, to scale as far as ``known_mm`` (mm) goes; ``asked`` names measures."""
    size = {**_SHOWN, **{name: value for name, value in known_mm.items() if name in _SHOWN and 0.05 < value < 200.0}}
    length = size["flange_thickness"] + size["unthreaded_length"] + size["threaded_length"]
    across = max(size["flange_diameter"], size["outer_diameter"] + 1.0)
    px = min((width - 70.0) / length, (height - 170.0) / across)
    left, middle = (width - px * length) / 2.0 + 20.0, height / 2.0

    def at(z: float, r: float) -> svg.Point:
        return left + px * z, middle - px * r

    f, u, t = size["flange_thickness"], size["unthreaded_length"], size["thickness"]
    parts = [svg.line((6, middle), (width - 6, middle), stroke=svg.QUIET, width=1, dash="14 4 3 4")]
    for sign in (1.0, -1.0):
        if sheet:
            hole, far = sign * size["hole_diameter"] / 2.0, sign * (across / 2.0 + 1.5)
            parts.append(
                svg.polygon(
                    [at(f, hole), at(f, far), at(f + t, far), at(f + t, hole)], stroke=svg.QUIET, fill=svg.WHITE
                )
            )
        bore = sign * _BORE_SHARE * size["counterbore_diameter"] / 2.0
        inner, outer = sign * size["counterbore_diameter"] / 2.0, sign * size["outer_diameter"] / 2.0
        rim = sign * size["flange_diameter"] / 2.0
        body = [
            (0.0, inner),
            (0.0, rim),
            (f, rim),
            (f, outer),
            (length, outer),
            (length, bore),
            (f + u, bore),
            (f + u, inner),
        ]
        places = [at(z, r) for z, r in body]
        parts.append(svg.polygon(places, fill=svg.WHITE))
        parts.append(svg.path(svg.hatch(places, falling=sign < 0), stroke=svg.BEFORE, width=1))
    parts += _across(size, asked, at, f=f, u=u)
    parts += _along(size, asked, at, f=f, u=u, sheet=sheet, low=middle + px * across / 2.0 + 34.0)
    said = ", ".join(f"{LETTERS[name]} {name.replace('_', ' ')}" for name in MEASURES if name in asked)
    return svg.sheet(
        "".join(parts),
        width=width,
        height=height,
        title="Where each measure sits",
        description=f"Asked now: {said}.",
        key=key,
    )


def _look(name: str, asked: Collection[str]) -> tuple[str, float]:
    return (svg.PETROL, 2.5) if name in asked else (svg.FAINT, 1.2)


def _dimension(start: svg.Point, end: svg.Point, name: str, asked: Collection[str], label: svg.Point) -> str:
    colour, wide = _look(name, asked)
    letter = svg.text(
        LETTERS[name],
        label,
        size=22 if name in asked else 15,
        bold=name in asked,
        anchor="middle",
        fill=svg.PETROL if name in asked else svg.QUIET,
        halo=True,
    )
    return svg.line(start, end, stroke=colour, width=wide) + _ticks(start, end, colour) + letter


def _ticks(start: svg.Point, end: svg.Point, colour: str) -> str:
    upright = abs(start[0] - end[0]) < 1.0
    reach = (6.0, 0.0) if upright else (0.0, 6.0)
    return "".join(
        svg.line((x - reach[0], y - reach[1]), (x + reach[0], y + reach[1]), stroke=colour, width=2)
        for x, y in (start, end)
    )


def _across(size: Mapping[str, float], asked: Collection[str], at: Place, *, f: float, u: float) -> list[str]:
    """The diameters, each a line across the axis at its own place."""
    length = f + u + size["threaded_length"]
    places = {
        "flange_diameter": -0.05 * length,
        "counterbore_diameter": f + 0.86 * u,
        "outer_diameter": length + 0.05 * length,
        "hole_diameter": f + 0.5 * size["thickness"],
    }
    parts = []
    for name, z in places.items():
        if name == "hole_diameter" and name not in asked:
            continue
        r = size[name] / 2.0
        start, end = at(z, r), at(z, -r)
        parts.append(_dimension(start, end, name, asked, (start[0], (start[1] + end[1]) / 2.0 - 12.0)))
    return parts


def _along(
    size: Mapping[str, float], asked: Collection[str], at: Place, *, f: float, u: float, sheet: bool, low: float
) -> list[str]:
    """The lengths, below the drawing; the flange's thickness and the sheet's above it."""
    length = f + u + size["threaded_length"]
    high = at(0.0, 0.0)[1] - (low - at(0.0, 0.0)[1])
    spans = {
        "unthreaded_length": (f, f + u, low),
        "threaded_length": (f + u, length, low),
        "flange_thickness": (0.0, f, high),
    }
    if sheet:
        spans["thickness"] = (f, f + size["thickness"], high)
    parts = []
    for name, (start, end, y) in spans.items():
        one, two = (at(start, 0.0)[0], y), (at(end, 0.0)[0], y)
        up = y + 30.0 if y == low else y - 14.0
        parts.append(_dimension(one, two, name, asked, ((one[0] + two[0]) / 2.0, up)))
    return parts

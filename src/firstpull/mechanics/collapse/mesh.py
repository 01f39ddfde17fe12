"""The half section of insert and sheet as a mesh of quadrilaterals, with the surfaces that may touch.

r points outward, z from the blind side to the tool: the flange's underside is z = 0, its face z = flange thickness, the
shank runs down to z = −unthreaded length, the thread block below it. The sheet lies in −thickness … 0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstpull.mechanics.collapse.case import PullCase, Sheet

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


ALONG = 1.0
FINE = 0.55
FINE_BELOW = 1.0
FINE_ABOVE = 0.4
"""Rows of this share of the size, from so many walls below the edge to so many above it."""
INTO_BLOCK = 0.6
GROW = 1.35
"""The foot's hinge eats into the block: its first row, as a share of the size, and how the next ones grow."""
ACROSS = 1.3
BIAS = -0.4
"""Thinner layers inside, where the crest is strained most: at −0.4 the innermost is some 0.7, the outermost 1.3 of the mean."""


@dataclass(frozen=True, slots=True)
class Mesh:
    """Nodes, quadrilaterals (counter-clockwise) and surfaces.

    Surfaces are chains of nodes with the metal on the left hand: ``outer`` (block, shank, flange's underside),
    ``inner`` (block's shoulder, counterbore, flange bore) and ``sheet`` (top, hole, blind side). ``bore`` moves with
    the thread, ``face`` rests on the anvil.
    """

    nodes: Floats
    quads: Ints
    of_sheet: Ints
    bore: Ints
    face: Ints
    outer: Ints
    inner: Ints
    sheet: Ints
    wall_outer: Ints
    size_mm: float


def graded(start: float, end: float, *, first: float, growth: float) -> list[float]:
    """Places from start to end, the first gap about ``first``, each further one ``growth`` times wider. By definition."""
    span = abs(end - start)
    gaps, total = [first], first
    while total < span:
        gaps.append(gaps[-1] * growth)
        total += gaps[-1]
    if len(gaps) > 1 and total - span > 0.5 * gaps[-1]:
        gaps.pop()
    scale = (end - start) / sum(gaps)
    return [start, *(start + scale * part for part in np.cumsum(gaps)[:-1].tolist()), end]


def build_mesh(case: PullCase, *, layers: int) -> Mesh:
    """The mesh with that many layers through the wall, quadrilaterals as long as wide. Lengths in mm. By definition."""
    inner, outer = case.counterbore_diameter_mm / 2.0, case.outer_diameter_mm / 2.0
    size = (outer - inner) / layers
    bore, rim = case.bore_diameter_mm / 2.0, case.flange_diameter_mm / 2.0
    share = np.linspace(0.0, 1.0, layers + 1)
    wall = (inner + (outer - inner) * (share + BIAS * share * (1.0 - share))).tolist()
    inward = graded(inner, bore, first=ACROSS * size, growth=1.5)[:0:-1] if inner - bore > 0.3 * size else []
    outward = graded(outer, rim, first=0.6 * size, growth=1.4)[1:]
    radii = [*inward, *wall, *outward]
    first, last = len(inward), len(inward) + layers
    depth = case.threaded_length_mm
    length = case.unthreaded_length_mm
    shank = _rows(case, size)
    rows = len(shank) - 1
    down = graded(-length, -length - depth, first=INTO_BLOCK * size, growth=GROW)[:0:-1]
    up = graded(0.0, case.flange_thickness_mm, first=0.6 * size, growth=1.5)[1:]
    heights = [*down, *shank, *up]
    step, top = len(down), len(down) + rows
    cells = [
        (i, j)
        for j in range(len(heights) - 1)
        for i in range(len(radii) - 1)
        if (first <= i < last) or (i < first and j < step) or (i >= last and j >= top)
    ]
    number: dict[tuple[int, int], int] = {}
    quads = [
        [number.setdefault(at, len(number)) for at in ((i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1))]
        for i, j in cells
    ]
    nodes = np.array([(radii[i], heights[j]) for i, j in number])

    def chain(places: list[tuple[int, int]]) -> Ints:
        return np.array([number[place] for place in places], dtype=np.int64)

    far, high = len(radii) - 1, len(heights) - 1
    outer_chain = chain([(last, j) for j in range(top)] + [(i, top) for i in range(last, far + 1)])
    inner_chain = chain([(first, j) for j in range(high, step, -1)] + [(i, step) for i in range(first, -1, -1)])
    mesh = Mesh(
        nodes,
        np.array(quads, dtype=np.int64),
        np.zeros(len(quads), dtype=np.int64),
        chain([(0, j) for j in range(step + 1)]),
        chain([(i, high) for i in range(first, far + 1)]),
        outer_chain,
        inner_chain,
        np.zeros(0, dtype=np.int64),
        chain([(last, j) for j in range(step, top)]),
        size,
    )
    return mesh if case.sheet is None else _with_sheet(mesh, case, case.sheet)


def _rows(case: PullCase, size: float) -> list[float]:
    """Places along the shank from the block up to the flange: finer where it bends round the sheet's or flange's edge."""
    length, wall = case.unthreaded_length_mm, case.wall_mm
    edge = -case.sheet.thickness_mm if case.sheet else 0.0
    bottom, top = max(edge - FINE_BELOW * wall, -length), min(edge + FINE_ABOVE * wall, 0.0)
    places = [-length]
    for start, end, step in ((-length, bottom, ALONG * size), (bottom, top, FINE * size), (top, 0.0, size)):
        if end - start > 1e-6:
            count = max(1, round((end - start) / step))
            places += [start + (end - start) * n / count for n in range(1, count + 1)]
    return places


def _with_sheet(mesh: Mesh, case: PullCase, sheet: Sheet) -> Mesh:
    """The mesh with an annulus of sheet whose edges at the hole are rounded."""
    radius = max(sheet.edge_radius_mm, 0.02 * sheet.thickness_mm)
    hole = sheet.hole_diameter_mm / 2.0
    far = max(case.flange_diameter_mm / 2.0, case.outer_diameter_mm / 2.0 + 2.5 * case.wall_mm) + sheet.thickness_mm
    first = max(radius, mesh.size_mm)
    across = [hole, *graded(hole + radius, far, first=first, growth=1.3)]
    half = graded(-sheet.thickness_mm + radius, -sheet.thickness_mm / 2.0, first=first, growth=1.5)
    lower = [-sheet.thickness_mm, *half]
    heights = [*lower, *(-sheet.thickness_mm - z for z in lower[-2::-1])]
    start = len(mesh.nodes)
    wide, tall = len(across), len(heights)
    places = np.array([(r, z) for z in heights for r in across])
    cut = radius * (1.0 - math.sqrt(0.5))
    places[0] += (cut, cut)
    places[(tall - 1) * wide] += (cut, -cut)
    quads = [
        [start + j * wide + i, start + j * wide + i + 1, start + (j + 1) * wide + i + 1, start + (j + 1) * wide + i]
        for j in range(tall - 1)
        for i in range(wide - 1)
    ]
    chain = [(i, tall - 1) for i in range(wide - 1, -1, -1)] + [(0, j) for j in range(tall - 2, -1, -1)]
    chain += [(i, 0) for i in range(1, wide)]
    return Mesh(
        np.vstack([mesh.nodes, places]),
        np.vstack([mesh.quads, np.array(quads, dtype=np.int64)]),
        np.concatenate([mesh.of_sheet, np.ones(len(quads), dtype=np.int64)]),
        mesh.bore,
        mesh.face,
        mesh.outer,
        mesh.inner,
        np.array([start + j * wide + i for i, j in chain], dtype=np.int64),
        mesh.wall_outer,
        mesh.size_mm,
    )

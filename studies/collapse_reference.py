"""Reference pulls with a general-purpose implicit finite-element program (Debian package calculix-ccx, CAX8R elements).

    python studies/collapse_reference.py CASE [--layers 4] [--slope 1e6] [--work FOLDER]

It builds the deck of one case of collapse_cases.py with its own mesh (nothing of the product is used but the flow
curve), runs ``ccx`` and writes the recorded curve as a small gzipped CSV: stroke, force, largest outer diameter. The
product never calls it. See docs/theory/collapse.md for what was compared.
"""

from __future__ import annotations

import math
import subprocess
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from firstpull.mechanics.collapse.case import PullCase, Sheet
from firstpull.mechanics.collapse.material import flow_stress_mpa

STRAINS = np.concatenate(
    [
        [0.0, 0.0005, 0.001, 0.002, 0.003, 0.005, 0.0075],
        np.linspace(0.01, 0.1, 10),
        np.linspace(0.12, 1.0, 45),
        np.linspace(1.1, 3.0, 20),
    ]
)


@dataclass
class Part:
    """A patch of eight-node quadrilaterals on a grid of places, numbered on from ``first_node`` and ``first_quad``."""

    first_node: int
    first_quad: int
    nodes: dict[int, tuple[float, float]] = field(default_factory=dict)
    quads: dict[int, list[int]] = field(default_factory=dict)
    at: dict[tuple[int, int], int] = field(default_factory=dict)
    quad_at: dict[tuple[int, int], int] = field(default_factory=dict)

    def node(self, i: int, j: int, place: tuple[float, float]) -> int:
        """The node at half-grid (i, j)."""
        if (i, j) not in self.at:
            self.at[i, j] = self.first_node + len(self.nodes)
            self.nodes[self.at[i, j]] = place
        return self.at[i, j]


def grid(
    radii: list[float], heights: list[float], cells: list[tuple[int, int]], *, first_node: int, first_quad: int
) -> Part:
    """Quadrilaterals for the cells of a rectangular grid."""
    part = Part(first_node, first_quad)

    def place(i: int, j: int) -> tuple[float, float]:
        r = radii[i // 2] if i % 2 == 0 else 0.5 * (radii[i // 2] + radii[i // 2 + 1])
        z = heights[j // 2] if j % 2 == 0 else 0.5 * (heights[j // 2] + heights[j // 2 + 1])
        return r, z

    ring = ((0, 0), (2, 0), (2, 2), (0, 2), (1, 0), (2, 1), (1, 2), (0, 1))
    for i, j in cells:
        number = first_quad + len(part.quads)
        part.quads[number] = [part.node(2 * i + di, 2 * j + dj, place(2 * i + di, 2 * j + dj)) for di, dj in ring]
        part.quad_at[i, j] = number
    return part


def spaced(start: float, end: float, size: float, growth: float = 1.4) -> list[float]:
    """From start to end with gaps that grow from size."""
    gaps = [size]
    while sum(gaps) < abs(end - start):
        gaps.append(gaps[-1] * growth)
    scale = (end - start) / sum(gaps)
    return [start + scale * sum(gaps[:n]) for n in range(len(gaps))] + [end]


def sheet_part(
    case: PullCase, sheet: Sheet, size: float, part: Part
) -> tuple[Part, list[tuple[int, str]], list[tuple[int, str]]]:
    """The sheet as an annulus with a rounded blind-side edge; its surfaces to the shank and to the flange."""
    t, hole, radius = (
        sheet.thickness_mm,
        sheet.hole_diameter_mm / 2,
        max(sheet.edge_radius_mm, 0.02 * sheet.thickness_mm),
    )
    far = max(case.flange_diameter_mm / 2, case.outer_diameter_mm / 2 + 2.5 * case.wall_mm) + t
    arc = max(1, round(radius * 0.8 / (0.5 * size)))
    r0 = np.linspace(hole, hole + radius, arc + 1).tolist()
    radii = r0 + spaced(hole + radius, far, max(size, 0.5 * radius))[1:]
    z0 = np.linspace(-t, -t + radius, arc + 1).tolist()
    middle = spaced(-t + radius, 0.0, size, 1.25)[1:]
    heights = z0 + middle
    cells = [(i, j) for j in range(len(heights) - 1) for i in range(len(radii) - 1)]
    made = grid(
        radii,
        heights,
        cells,
        first_node=part.first_node + len(part.nodes) + 1000,
        first_quad=part.first_quad + len(part.quads) + 1000,
    )
    centre = (hole + radius, -t + radius)
    for number, (r, z) in list(made.nodes.items()):
        if r < centre[0] - 1e-9 and z < centre[1] - 1e-9:  # square → quarter disc, ring by ring
            u, w = (centre[0] - r) / radius, (centre[1] - z) / radius
            ring = max(u, w)
            angle = math.atan2(w, u) if u != w else math.pi / 4
            # even angles along the ring
            angle = (w / u * math.pi / 4) if u >= w else (math.pi / 2 - u / w * math.pi / 4)
            made.nodes[number] = (
                centre[0] - radius * ring * math.cos(angle),
                centre[1] - radius * ring * math.sin(angle),
            )
    wide, tall = len(radii) - 1, len(heights) - 1
    to_shank = [(made.quad_at[i, 0], "S1") for i in range(wide)] + [(made.quad_at[0, j], "S4") for j in range(tall)]
    to_flange = [(made.quad_at[i, tall - 1], "S3") for i in range(wide)]
    return made, to_shank, to_flange


def surface(name: str, faces: list[tuple[int, str]]) -> str:
    """A surface of element faces."""
    return f"*SURFACE, NAME={name}, TYPE=ELEMENT\n" + "".join(f"{e}, {f}\n" for e, f in faces)


def listing(kind: str, name: str, numbers: list[int]) -> str:
    """A set of nodes or elements."""
    rows = [", ".join(map(str, numbers[n : n + 12])) for n in range(0, len(numbers), 12)]
    return f"*{kind}, {'NSET' if kind == 'NSET' else 'ELSET'}={name}\n" + ",\n".join(rows) + "\n"


def ending(
    case: PullCase, *, slope: float, first: float, most: float, pairs: list[tuple[str, str]], holder: int
) -> list[str]:
    """Metals, touching, what is held and the step; ``holder``: a node of the sheet on a weak spring."""
    text: list[str] = []
    curve = flow_stress_mpa(case.metal, STRAINS)
    text.append(f"*MATERIAL, NAME=METAL\n*ELASTIC\n{case.metal.e_mpa}, {case.metal.poisson}\n*PLASTIC\n")
    text += [f"{s:.6g}, {e:.6g}\n" for s, e in zip(curve, STRAINS, strict=True)]
    text.append("*SOLID SECTION, ELSET=INSERT, MATERIAL=METAL\n")
    if case.sheet is not None:
        text.append(f"*MATERIAL, NAME=PLATE\n*ELASTIC\n{case.sheet.e_mpa or 210000.0}, 0.3\n")
        if case.sheet.yield_mpa is not None:
            text.append(f"*PLASTIC\n{case.sheet.yield_mpa}, 0\n{case.sheet.yield_mpa * 1.001}, 3\n")
        text.append("*SOLID SECTION, ELSET=SHEET, MATERIAL=PLATE\n")
    text.append(f"*SURFACE INTERACTION, NAME=TOUCH\n*SURFACE BEHAVIOR, PRESSURE-OVERCLOSURE=LINEAR\n{slope:g}, 1e-3\n")
    if case.friction:
        text.append(f"*FRICTION\n{case.friction}, {0.05 * slope:g}\n")
    text += [f"*CONTACT PAIR, INTERACTION=TOUCH, TYPE=SURFACE TO SURFACE\n{a_}, {b_}\n" for a_, b_ in pairs]
    text.append("*BOUNDARY\nFACE, 2, 2\nBORE, 1, 1\n")
    if case.sheet is not None:
        text.append("*SPRING, ELSET=HOLDER\n2\n10.\n")
        text.insert(-1, f"*ELEMENT, TYPE=SPRING1, ELSET=HOLDER\n999999, {holder}\n")
    text.append(
        f"*STEP, NLGEOM, INC=20000\n*STATIC\n{first}, 1., 1e-7, {most}\n*CONTROLS, PARAMETERS=TIME INCREMENTATION\n8,12,9,40,20,4,,12,,\n.25,.5,.75,.85,,,1.5,\n"
    )
    text.append(
        f"*BOUNDARY\nBORE, 2, 2, {case.stroke_mm}\n*NODE PRINT, NSET=BORE, TOTALS=ONLY\nRF\n*NODE PRINT, NSET=WALL\nU\n*END STEP\n"
    )
    return text


def deck(case: PullCase, *, layers: int, slope: float, first: float, most: float) -> tuple[str, list[int], list[int]]:
    """The whole deck, with the node numbers of the bore and of the shank's outer surface."""
    ri, ro = case.counterbore_diameter_mm / 2, case.outer_diameter_mm / 2
    bore, rim, size, length = (
        case.bore_diameter_mm / 2,
        case.flange_diameter_mm / 2,
        case.wall_mm / layers,
        case.unthreaded_length_mm,
    )
    inward = spaced(ri, bore, 1.2 * size)[:0:-1] if ri - bore > 0.3 * size else []
    radii = [*inward, *np.linspace(ri, ro, layers + 1).tolist(), *spaced(ro, rim, 1.2 * size)[1:]]
    depth = case.threaded_length_mm
    rows = round(length / size)
    down, up = (
        spaced(-length, -length - depth, 1.2 * size)[:0:-1],
        spaced(0.0, case.flange_thickness_mm, 1.2 * size)[1:],
    )
    heights = [*down, *np.linspace(-length, 0, rows + 1).tolist(), *up]
    a, b, step, top = len(inward), len(inward) + layers, len(down), len(down) + rows
    wide, tall = len(radii) - 1, len(heights) - 1
    cells = [
        (i, j) for j in range(tall) for i in range(wide) if a <= i < b or (i < a and j < step) or (i >= b and j >= top)
    ]
    body = grid(radii, heights, cells, first_node=1, first_quad=1)
    bore_nodes = [body.at[0, j] for j in range(2 * step + 1)]
    face = [body.at[i, 2 * tall] for i in range(2 * a, 2 * wide + 1)]
    wall = [body.at[2 * b, j] for j in range(2 * step, 2 * top)]
    middle = step + rows // 2
    shank = [(body.quad_at[b - 1, j], "S2") for j in range(max(0, step - 3), top)]
    under = [(body.quad_at[i, top], "S1") for i in range(b, wide)]
    upper = [(body.quad_at[a, j], "S4") for j in range(middle + 1, tall)]
    lower = [(body.quad_at[a, j], "S4") for j in range(step, middle - 1)]
    text = ["*HEADING\none pull\n*NODE, NSET=ALL\n"]
    nodes, quads = dict(body.nodes), {"INSERT": body.quads}
    surfaces = [surface("UPPER", upper), surface("LOWER", lower)]
    pairs = [("UPPER", "LOWER")]
    made = None
    if case.sheet is None:
        half = [f for f in shank if f[0] in {body.quad_at[b - 1, j] for j in range(middle, top - 2)}]
        surfaces += [surface("SHANKUP", half), surface("UNDER", under)]
        pairs.append(("SHANKUP", "UNDER"))
    else:
        made, to_shank, to_flange = sheet_part(case, case.sheet, size, body)
        nodes |= made.nodes
        quads["SHEET"] = made.quads
        surfaces += [
            surface("SHANK", shank),
            surface("HOLE", to_shank),
            surface("UNDER", under),
            surface("TOP", to_flange),
        ]
        pairs += [("SHANK", "HOLE"), ("TOP", "UNDER")]
    text += [f"{n}, {r:.9g}, {z:.9g}\n" for n, (r, z) in nodes.items()]
    for name, held in quads.items():
        text.append(f"*ELEMENT, TYPE=CAX8R, ELSET={name}\n")
        text += [f"{e}, " + ", ".join(map(str, ring)) + "\n" for e, ring in held.items()]
    text += [listing("NSET", "BORE", bore_nodes), listing("NSET", "FACE", face), listing("NSET", "WALL", wall)]
    text += surfaces
    holder = made.at[max(i for i, _ in made.at), 0] if made else 0
    text += ending(case, slope=slope, first=first, most=most, pairs=pairs, holder=holder)
    return "".join(text), bore_nodes, wall


def read_curve(path: Path, case: PullCase, wall_start: dict[int, float]) -> np.ndarray:
    """Rows of stroke, force (as printed) and largest outer diameter from what ``ccx`` printed."""
    rows, when, force = [], 0.0, 0.0
    lines = iter(path.read_text().splitlines())
    diameter = case.outer_diameter_mm
    block = ""
    for line in lines:
        if "total force" in line and "time" in line:
            if rows and block == "u":
                rows[-1][2] = diameter
            when, block, diameter = float(line.split()[-1]), "f", 0.0
        elif "displacements" in line:
            block = "u"
        elif line.strip():
            parts = line.split()
            if block == "f":
                force = float(parts[1])
                rows.append([when * case.stroke_mm, force, 0.0])
            elif block == "u":
                diameter = max(diameter, 2 * (wall_start[int(parts[0])] + float(parts[1])))
    if rows and block == "u":
        rows[-1][2] = diameter
    return np.array(rows)


def run(
    case: PullCase, name: str, *, layers: int, slope: float, first: float, most: float, work: Path, limit_s: float
) -> tuple[np.ndarray, float, str]:
    """Run one deck; the curve, the seconds it took, and the last line the program said."""
    work.mkdir(parents=True, exist_ok=True)
    text, _, wall = deck(case, layers=layers, slope=slope, first=first, most=most)
    (work / f"{name}.inp").write_text(text)
    start = time.perf_counter()
    with (work / f"{name}.log").open("w") as log:
        process = subprocess.Popen(
            ["ccx", "-i", name], cwd=work, stdout=log, stderr=log, env={"OMP_NUM_THREADS": "1", "PATH": "/usr/bin:/bin"}
        )
        try:
            process.wait(limit_s)
        except subprocess.TimeoutExpired:
            process.kill()
    took = time.perf_counter() - start
    radii = {}
    for line in text.split("*ELEMENT")[0].splitlines()[3:]:
        parts = line.split(",")
        if len(parts) == 3:
            radii[int(parts[0])] = float(parts[1])
    curve = read_curve(work / f"{name}.dat", case, {n: radii[n] for n in wall})
    said = [line for line in (work / f"{name}.log").read_text().splitlines() if line.strip()][-1]
    return curve, took, said

"""Makes the demo catalogue: some 200 invented inserts whose dimensions agree with each other.

No maker's table was used. Each insert is sized by the rules below from nothing but its thread, so that the whole
catalogue is one family of made-up parts. Run it from the project root; the same bytes come out each time::

    python studies/demo_catalogue.py            writes src/firstpull/jobs/demo/inserts.csv
    python studies/demo_catalogue.py --check    exits with 1 when the file is not what the rules give

The shape. The tube's bore clears the thread (major diameter d + 0.2 mm); its wall w = 0.13 d + 0.15 mm. The hole is
the body rounded up to the next 0.1 mm with 0.1 mm of clearance, and the body follows from the hole.

The fold. Behind the thickest stack stands a free tube of length h = 4.2 w, which collapses into one outward fold:
two walls lying on each other and on the sheet. Pressed solid, the fold is 2 w high; a well-seated one keeps a little
air in the bend, 2.2 w. So at the maximum grip

    set allowance         A     = h - 2.20 w
    its upper limit       A_max = h - 2.00 w   (solid: more pull goes into the threads)
    its lower limit       A_min = h - 2.40 w   (the fold still springs: the clamp is weak)

This is a closed-form estimate, good enough for made-up parts and for nothing else.

The lengths. Unthreaded length = maximum grip below the head + h. Free length = head + unthreaded length + thread
block; the thread block is the thread and, at a closed end, a run-out of 1.5 pitches and a bottom of 1.3 w. A
countersunk head lies in the sheet, so its grip counts from the flush surface and holds the head's height.

The loads. The tube collapses near wall area x flow stress, the flow stress being the mean of yield and tensile
stress. The tightening torque belongs to the smaller of 75 % of the screw's proof load and the setting load / 1.1,
because tightening is a second pull on the fold; T = 0.2 d F (dry), rounded down to 0.1 N·m.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from firstpull.exchange.catalogue_lots import write_csv
from firstpull.mechanics.insert import Body, End, Head, Insert, check_insert
from firstpull.trade.materials import insert_material
from firstpull.trade.screws import preload_n, property_class, tightening_torque_nm
from firstpull.trade.threads import Thread, thread
from firstpull.units import NM_PER_INCH, NM_PER_MM, Length, show_length

TARGET = Path(__file__).parent.parent / "src" / "firstpull" / "jobs" / "demo" / "inserts.csv"
NOTE = "demo data: an invented part"

METRIC = ("M3", "M4", "M5", "M6", "M8", "M10", "M12")
UNIFIED = ("6-32 UNC", "8-32 UNC", "10-24 UNC", "10-32 UNF", "1/4-20 UNC", "5/16-18 UNC", "3/8-16 UNC", "1/2-13 UNC")
SCREW = {"steel": "8.8", "stainless A2": "A2-70", "aluminium": "4.8"}
SHORT = {
    "steel": "ST",
    "stainless A2": "SS",
    "aluminium": "AL",
    "flat": "F",
    "countersunk": "C",
    "low profile": "L",
    "open": "O",
    "closed": "B",
    "hexagonal": "X",
}


@dataclass(frozen=True, slots=True)
class Family:
    """One line of the made-up range: what is alike in it, and how many of the size's grip ranges it is made in."""

    material: str
    head: Head
    end: End
    body: Body
    ranges: int
    only: tuple[str, ...] = ()


METRIC_FAMILIES = (
    Family("steel", "flat", "open", "knurled", 3),
    Family("steel", "countersunk", "open", "ribbed", 2),
    Family("steel", "low profile", "open", "knurled", 2),
    Family("steel", "flat", "closed", "knurled", 2),
    Family("steel", "flat", "open", "hexagonal", 2, ("M5", "M6", "M8", "M10")),
    Family("stainless A2", "flat", "open", "round", 2),
    Family("stainless A2", "low profile", "open", "round", 1),
    Family("stainless A2", "flat", "closed", "round", 1),
    Family("aluminium", "flat", "open", "ribbed", 3),
    Family("aluminium", "countersunk", "open", "ribbed", 1),
    Family("aluminium", "flat", "closed", "ribbed", 1),
)
UNIFIED_FAMILIES = (
    Family("steel", "flat", "open", "ribbed", 2),
    Family("steel", "countersunk", "open", "ribbed", 1),
    Family("steel", "low profile", "open", "ribbed", 1),
    Family("steel", "flat", "closed", "ribbed", 1),
    Family("stainless A2", "flat", "open", "round", 1),
    Family("aluminium", "flat", "open", "ribbed", 2),
)


@dataclass(frozen=True, slots=True)
class Rule:
    """How lengths are rounded and written in one system. Steps in nm."""

    unit: str
    fold_nm: int
    fine_nm: int
    coarse_nm: int
    hole_nm: int

    def fine(self, value_mm: float) -> int:
        """The nearest fine step, in nm."""
        return round(value_mm * NM_PER_MM / self.fine_nm) * self.fine_nm

    def fold(self, value_mm: float) -> int:
        """The nearest step for what a fold takes, in nm: the window is too narrow for the fine step."""
        return round(value_mm * NM_PER_MM / self.fold_nm) * self.fold_nm

    def coarse(self, value_mm: float) -> int:
        """The next coarse step above, in nm."""
        return math.ceil(round(value_mm * NM_PER_MM / self.coarse_nm, 6)) * self.coarse_nm

    def length(self, nanometres: int) -> Length:
        """The length with its text in this system's unit."""
        if self.unit == "mm":
            text = show_length(nanometres, "mm", decimals=2)
            return Length(nanometres, f"{text[:-1] if text.endswith('0') else text} mm")
        return Length(nanometres, f"{show_length(nanometres, 'in', decimals=3)} in")


MM = Rule("mm", NM_PER_MM // 100, NM_PER_MM // 20, NM_PER_MM // 10, NM_PER_MM // 10)
INCH = Rule("in", NM_PER_INCH // 1000, NM_PER_INCH // 1000, NM_PER_INCH // 200, NM_PER_INCH // 1000 * 4)


@dataclass(frozen=True, slots=True)
class Tube:
    """The cross-section that every insert of one thread and system shares, in nm."""

    wall: int
    bore: int
    body: int
    hole: int


def tube(size: Thread, rule: Rule) -> Tube:
    """Bore, wall, body and hole from the thread alone."""
    wall_mm = 0.13 * size.major_mm + 0.15
    bore = rule.coarse(size.major_mm + 0.2)
    hole = rule.coarse(bore / NM_PER_MM + 2 * wall_mm + rule.hole_nm / NM_PER_MM)
    body = hole - rule.hole_nm
    return Tube((body - bore) // 2, bore, body, hole)


def grips(size: Thread, rule: Rule) -> tuple[tuple[int, int], ...]:
    """The size's grip ranges in nm, each beginning where the one before ends."""
    if rule.unit == "mm":
        edges = (0.5, 2.0, 3.5, 5.0) if size.major_mm < 5.5 else (0.5, 3.0, 5.5, 8.0)
        ends = [round(edge * NM_PER_MM) for edge in edges]
    else:
        edges = (0.020, 0.085, 0.150, 0.215) if size.major_mm < 5.5 else (0.030, 0.140, 0.250, 0.360)
        ends = [round(edge * NM_PER_INCH) for edge in edges]
    return tuple(pairwise(ends))


def head_size(size: Thread, head: Head, body: int, rule: Rule) -> tuple[int, int]:
    """Flange diameter and thickness in nm. A countersunk head is a 90° cone that starts at the body."""
    if head == "countersunk":
        height = rule.fine(0.15 * size.major_mm + 0.4)
        return body + 2 * height, height
    if head == "low profile":
        return rule.coarse(body / NM_PER_MM + 0.1 * size.major_mm + 0.6), rule.fine(0.03 * size.major_mm + 0.35)
    return rule.coarse(1.3 * body / NM_PER_MM + 0.5), rule.fine(0.12 * size.major_mm + 0.5)


def loads(size: Thread, material: str, shape: Tube) -> tuple[float, float]:
    """Setting load in N and greatest tightening torque in N·m."""
    metal = insert_material(material)
    if metal is None or metal.yield_mpa is None or metal.tensile_mpa is None:
        raise SystemExit(f"No strength is known for {material}.")
    area_mm2 = math.pi / 4 * (shape.body**2 - shape.bore**2) / NM_PER_MM**2
    load = round(area_mm2 * (metal.yield_mpa + metal.tensile_mpa) / 2, -1)
    preload = min(preload_n(size, property_class(SCREW[material])), load / 1.1)
    return load, math.floor(tightening_torque_nm(size, preload) * 10) / 10


def make(size: Thread, name: str, family: Family, index: int, rule: Rule) -> Insert:
    """One insert: see the module's text for the rules."""
    shape = tube(size, rule)
    flange_diameter, flange_thickness = head_size(size, family.head, shape.body, rule)
    grip_min, grip_max = grips(size, rule)[index]
    sunk = flange_thickness if family.head == "countersunk" else 0
    if sunk:
        # The sheet must hold the whole cone and a land below it.
        grip_min, grip_max = grip_min + rule.coarse(sunk / NM_PER_MM), grip_max + rule.coarse(sunk / NM_PER_MM)
    wall_mm = shape.wall / NM_PER_MM
    fold = rule.fine(4.2 * wall_mm)
    allowance, most, least = (fold - rule.fold(walls * wall_mm) for walls in (2.2, 2.0, 2.4))
    unthreaded = grip_max - sunk + fold
    soft = 1.2 if family.material == "aluminium" else 1.0
    thread_mm = max(soft * size.major_mm, 7 * size.pitch_mm) + (2 * size.pitch_mm if family.end == "closed" else 0)
    thread_length = rule.coarse(thread_mm)
    bottom = rule.coarse(1.5 * size.pitch_mm + 1.3 * wall_mm) if family.end == "closed" else 0
    load, torque = loads(size, family.material, shape)
    insert = Insert(
        part=part_code(size, name, family, grip_max, rule),
        thread=name,
        material=family.material,
        head=family.head,
        end=family.end,
        body=family.body,
        length_free=rule.length(flange_thickness + unthreaded + thread_length + bottom),
        grip_min=rule.length(grip_min),
        grip_max=rule.length(grip_max),
        set_allowance=rule.length(allowance),
        set_allowance_min=rule.length(least),
        set_allowance_max=rule.length(most),
        flange_diameter=rule.length(flange_diameter),
        flange_thickness=rule.length(flange_thickness),
        body_diameter=rule.length(shape.body),
        hole_diameter=rule.length(shape.hole),
        hole_tolerance=rule.length(rule.hole_nm),
        thread_length=rule.length(thread_length),
        unthreaded_length=rule.length(unthreaded),
        counterbore_diameter=rule.length(shape.bore),
        setting_load_n=load,
        tightening_torque_max_nm=torque,
        head_marks=index if rule.unit == "in" else None,
        grip_datum="surface" if sunk else "flange",
        note=NOTE,
    )
    check_insert(insert, where=insert.part)
    return insert


def part_code(size: Thread, name: str, family: Family, grip_max: int, rule: Rule) -> str:
    """Our own code: DEMO, size, material, head, end, X for a hexagon, maximum grip in 0.1 mm or 0.001 in."""
    letters = SHORT[family.material] + SHORT[family.head] + SHORT[family.end]
    letters += SHORT["hexagonal"] if family.body == "hexagonal" else ""
    if rule.unit == "mm":
        return f"DEMO-{name}-{letters}-{grip_max * 10 // NM_PER_MM:02d}"
    thousandths = round(size.major_mm / 0.0254)
    return f"DEMO-U{thousandths}-{size.threads_per_inch:g}-{letters}-{grip_max * 1000 // NM_PER_INCH:03d}"


def catalogue() -> Iterator[Insert]:
    """Every insert, in a fixed order."""
    for names, families, rule in ((METRIC, METRIC_FAMILIES, MM), (UNIFIED, UNIFIED_FAMILIES, INCH)):
        for name in names:
            for family in families:
                if not family.only or name in family.only:
                    for index in range(family.ranges):
                        yield make(thread(name), name, family, index, rule)


def main() -> int:
    """Write the file, or with --check compare it."""
    parser = argparse.ArgumentParser(description="Make the demo catalogue.")
    parser.add_argument("--check", action="store_true", help="only compare the file with what the rules give")
    options = parser.parse_args()
    data = write_csv(catalogue()).encode("utf-8")
    if options.check:
        return 0 if TARGET.read_bytes() == data else 1
    TARGET.write_bytes(data)
    print(f"{TARGET}: {data.count(b'DEMO-')} inserts")
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""How long the fewest part numbers take: python bench/standardise_speed.py writes bench/results/standardise_speed.md.

Joints and catalogues are invented, with a fixed seed: threads M4 to M8, stacks of 0.8 to 7 mm, inserts of overlapping grip
ranges in three materials, open and closed, two head forms. The greedy rule (the part that serves most of the rest) is
timed and counted beside it, because that is what one would do by hand.
"""

from __future__ import annotations

import os
import platform
import random
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src")]
SEED = 20261125
SIZES = ((20, 60), (60, 200), (60, 1000), (200, 1000), (60, 100_000))
SHELF_FROM = 10_000  # from here on as a shop holds them: a shelf, looked through by columns
LIMIT_S = 120.0
THREADS = ("M4", "M5", "M6", "M8")


def main() -> None:
    from firstpull.jobs.standardise import standardise_joints
    from firstpull.mechanics.cover import Progress
    from firstpull.mechanics.shelf import Shelf

    rows = []
    for count, parts in SIZES:
        chance = random.Random(SEED + count + parts)
        inserts, joints = _inserts(parts, chance), _joints(count, chance)
        marks: list[tuple[str, float]] = []

        def mark(step: Progress, seen: list[tuple[str, float]] = marks) -> None:
            if not seen or seen[-1][0] != step.step:
                seen.append((step.step, time.perf_counter()))

        rows_given = inserts if parts < SHELF_FROM else Shelf.of(inserts)
        wall, cpu = time.perf_counter(), time.process_time()
        found = standardise_joints(joints, rows_given, time_limit_s=LIMIT_S, progress=mark)
        wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
        looking = marks[1][1] - marks[0][1]
        greedy = _greedy(joints, inserts) if parts < SHELF_FROM else "–"
        proven = "yes" if found.proven else f"no, at least {found.least_inserts}"
        rows.append(
            f"| {count} × {parts} | {len(found.served)} | {len(found.inserts)} | {greedy} | {found.own_best_inserts} | "
            f"{proven} | {looking:.2f} | {wall:.2f} | {cpu:.2f} |"
        )
        print(rows[-1], flush=True)
    text = "\n".join(
        [
            "# Fewest part numbers",
            "",
            f"`python bench/standardise_speed.py`, seed {SEED}, at most {LIMIT_S:.0f} s each, least margin 10 %. Invented joints",
            f"and inserts. Python {platform.python_version()}, {os.cpu_count()} cores, load average {os.getloadavg()[0]:.1f} at the end.",
            "Choosing is the time for looking at every joint; the rest is the search. Greedy takes the part that serves most",
            "of what is left; own best gives each joint its roomiest part. The largest is a shelf: where more than 2000 rows fit",
            "a joint, those that fit most joints are looked at, so it is not called proven.",
            "",
            "| joints × inserts | served | part numbers | greedy | own best | proven | choosing s | wall s | CPU s |",
            "|---|---|---|---|---|---|---|---|---|",
            *rows,
            "",
        ]
    )
    (ROOT / "bench" / "results" / "standardise_speed.md").write_text(text, encoding="utf-8")


def _inserts(count: int, chance: random.Random) -> list:
    from firstpull.mechanics.insert import Insert
    from firstpull.units import Length

    rows = []
    for number in range(count):
        low = chance.randrange(3, 50) * 100_000
        high = low + chance.randrange(10, 30) * 100_000
        rows.append(
            Insert(
                part=f"P{number:06d}",
                thread=chance.choice(THREADS),
                end=chance.choice(("open", "open", "closed")),
                head=chance.choice(("flat", "flat", "low profile")),
                material=chance.choice(("steel", "steel", "stainless A2")),
                length_free=Length(high + 12_000_000),
                flange_thickness=Length(1_200_000),
                grip_min=Length(low),
                grip_max=Length(high),
                set_allowance=Length(2_000_000),
            )
        )
    return rows


def _joints(count: int, chance: random.Random) -> list:
    from firstpull.mechanics.choose import Needs
    from firstpull.mechanics.stack import Layer, Stack
    from firstpull.mechanics.standardise import Joint
    from firstpull.units import Length

    return [
        Joint(
            f"joint {number:03d}",
            Stack((Layer("EN AW-5754", Length(chance.randrange(8, 70) * 100_000), Length(50_000)),)),
            Needs(
                thread=chance.choice(THREADS),
                end=chance.choice((None, None, "open", "closed")),
                head=chance.choice((None, None, None, "flat")),
                material=chance.choice((None, None, "steel", "stainless A2")),
            ),
        )
        for number in range(count)
    ]


def _greedy(joints: list, inserts: list) -> int:
    from firstpull.mechanics.choose import choose

    serves: dict[str, set[str]] = {}
    for joint in joints:
        for candidate in choose(inserts, stack=joint.stack, needs=joint.needs).candidates:
            if (candidate.tightest.margin or 0) >= 0.1:
                serves.setdefault(candidate.insert.part, set()).add(joint.name)
    left, taken = set().union(*serves.values()), 0
    while left:
        left -= max(sorted(serves.items()), key=lambda item: len(item[1] & left))[1]
        taken += 1
    return taken


if __name__ == "__main__":
    main()

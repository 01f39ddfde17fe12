"""Draws docs/pictures/dial_in_calibration.svg: what the dial-in adviser stated against what came true.

    python bench/dial_in_study.py --seeds 2000 --workers 16 --json bench/results/dial_in_calibration.json
    python docs/pictures/dial_in_calibration.py

Both axes show the probability of being *outside*, on a logarithmic scale. A dot is the belief after a pull, pooled over
many pulls, with its 95 % range (Wilson); on the dashed line the belief is right, above it too sure.
"""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
RESULTS = HERE.parents[1] / "bench" / "results" / "dial_in_calibration.json"
HOSTILE = ("scatters 2.5 times", "odd tool", "practice")
WIDTH, HEIGHT, LEFT, BOTTOM, SIDE = 700, 420, 90, 350, 300
TICKS = (0.001, 0.01, 0.1, 1.0)
MODELLED, OTHER = "#0f4c5c", "#a8321a"


def pooled(benches: dict[str, dict[str, object]], *, hostile: bool) -> list[tuple[float, int, int]]:
    """Per range: mean stated probability outside, how many beliefs, how many of them really outside."""
    found: dict[float, list[float]] = {}
    for name, bench in benches.items():
        if name.startswith(HOSTILE) != hostile:
            continue
        for row in bench["beliefs"]:  # type: ignore[attr-defined]
            sums = found.setdefault(row["from"], [0.0, 0.0, 0.0])
            sums[0] += row["count"]
            sums[1] += row["count"] * (1.0 - row["stated"])
            sums[2] += row["count"] - row["inside"]
    return [(total / count, int(count), int(out)) for count, total, out in found.values() if count >= 30]


def wilson(out: int, count: int) -> tuple[float, float]:
    """95 % range of a share."""
    z, share = 1.96, out / count
    middle = (share + z * z / (2 * count)) / (1 + z * z / count)
    half = z * math.sqrt(share * (1 - share) / count + z * z / (4 * count * count)) / (1 + z * z / count)
    return max(middle - half, 0.0), min(middle + half, 1.0)


def place(p: float) -> float:
    """Distance along an axis of ``SIDE``, for a probability outside."""
    return SIDE * (math.log10(min(max(p, 0.0005), 1.0)) - math.log10(0.0005)) / -math.log10(0.0005)


def dots(rows: list[tuple[float, int, int]], *, colour: str, aside: float) -> list[str]:
    parts = []
    for stated, count, out in rows:
        x = LEFT + place(stated) + aside
        low, high = wilson(out, count)
        ends = f'y1="{BOTTOM - place(low):.1f}" y2="{BOTTOM - place(high):.1f}"'
        parts.append(f'<line x1="{x:.1f}" x2="{x:.1f}" {ends} stroke="{colour}" stroke-width="2"/>')
        parts.append(f'<circle cx="{x:.1f}" cy="{BOTTOM - place(out / count):.1f}" r="4" fill="{colour}"/>')
    return parts


def drawing(benches: dict[str, dict[str, object]]) -> str:
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" font-size="14" fill="#1d2326">',
        "<title>Stated and true probability of being outside, simulated benches</title>",
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>',
    ]
    for tick in TICKS:
        x, y, name = LEFT + place(tick), BOTTOM - place(tick), f"{100 * tick:g} %"
        parts.append(f'<path d="M{x:.1f} {BOTTOM}V{BOTTOM - SIDE}M{LEFT} {y:.1f}H{LEFT + SIDE}" stroke="#d8d6d0"/>')
        parts.append(f'<text x="{x:.1f}" y="{BOTTOM + 20}" text-anchor="middle">{name}</text>')
        parts.append(f'<text x="{LEFT - 8}" y="{y + 5:.1f}" text-anchor="end">{name}</text>')
    parts.append(
        f'<path d="M{LEFT} {BOTTOM}L{LEFT + SIDE} {BOTTOM - SIDE}" stroke="#4a5055" stroke-width="2" stroke-dasharray="6 5"/>'
    )
    parts += dots(pooled(benches, hostile=False), colour=MODELLED, aside=-2)
    parts += dots(pooled(benches, hostile=True), colour=OTHER, aside=2)
    parts.append(
        f'<text x="{LEFT + SIDE / 2}" y="{BOTTOM + 45}" text-anchor="middle">stated: the mean is outside</text>'
    )
    parts.append(
        f'<text transform="translate(24 {BOTTOM - SIDE / 2}) rotate(-90)" text-anchor="middle">true: it was outside</text>'
    )
    x = LEFT + SIDE + 30
    for row, (colour, words) in enumerate([(MODELLED, "benches of its kind"), (OTHER, "benches of another kind")]):
        y = BOTTOM - SIDE + 20 + 26 * row
        parts.append(f'<circle cx="{x}" cy="{y - 5}" r="5" fill="{colour}"/><text x="{x + 14}" y="{y}">{words}</text>')
    parts.append(f'<text x="{x - 5}" y="{BOTTOM - SIDE + 76}">above the line: too sure</text>')
    seeds = sorted({bench["seeds"][1] - bench["seeds"][0] + 1 for bench in benches.values()})  # type: ignore[index]
    words = f"{seeds[0]}–{seeds[-1]}" if len(seeds) > 1 else f"{seeds[0]}"
    parts.append(f'<text x="{x - 5}" y="{BOTTOM - SIDE + 102}">{words} seeds a bench, simulated</text>')
    return "\n".join([*parts, "</svg>", ""])


if __name__ == "__main__":
    source = Path(sys.argv[1]) if len(sys.argv) > 1 else RESULTS
    (HERE / "dial_in_calibration.svg").write_text(drawing(json.loads(source.read_text())))

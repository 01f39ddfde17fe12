"""How often the dial-in adviser is right, on simulated benches written apart from it (``dial_in_benches``).

    python bench/dial_in_study.py                   judging seeds, table on screen
    python bench/dial_in_study.py --seeds 50 --tuning    other seeds, for tuning; never reported
    python bench/dial_in_study.py --seeds 2000 --workers 16 --json part.json    one process a core, same numbers
    python bench/dial_in_study.py --join part1.json part2.json --write bench/results/dial_in_study.md

Needs numpy and scipy only. The JSON holds, per bench, the row of the table, the seeds that went wrong, and how often
what was stated came true: at releases, and of the belief after every pull (its P(inside) against the truth then).
Truth is the lot's mean at the present knob, tool warm (in the stack where a shift is given). A release is wrong when
it lies outside the window. A refusal is right when no position is inside and the reason is that bench's; a guess
names no reason, so its giving up after 12 inserts is right whenever no position is inside.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import platform
import statistics
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent / "src"), str(HERE)]

from dial_in_benches import BENCHES, LEAD, MM, REACHES, TARGET, Bench, new_tool, window_of  # noqa: E402
from firstpull.statistics.dial_in import advise  # noqa: E402

MAX_STEPS = 150
WORDS = "What it shows (written by hand after this run):"
GUESSES = {"first inside": 1, "two in a row": 2}
BIN_EDGES = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95, 0.98, 0.99, 0.995, 0.999, 1.000001)
GUESSED = ("ordinary", "lengths measured", "worn", "coarse clicks, 0.0055", "too little stroke")


@dataclass
class Outcome:
    """How one dial-in ended."""

    end: str = "unfinished"
    right: bool = False
    reason: str = ""
    confidence: float = 0.0
    inserts: int = 0
    turns: int = 0
    dry: int = 0
    rereads: int = 0
    past_ceiling: bool = False
    gross: int = 0
    missed: int = 0
    large: int = 0
    large_missed: int = 0
    false_flags: int = 0
    milliseconds: list[float] = field(default_factory=list)
    beliefs: list[tuple[float, bool]] = field(default_factory=list)


def inside(tool: Any) -> bool:
    low, high = window_of(tool.bench)
    return bool(low <= tool.truth() <= high)


def by_adviser(tool: Any, *, confidence: float) -> Outcome:
    job, history, out = tool.job(confidence), [], Outcome()
    sign = 1.0 if tool.bench.plus == "more_stroke" else -1.0
    for _ in range(MAX_STEPS):
        begin = time.process_time()
        answer = advise({"v": 1, "job": job, "history": history})
        out.milliseconds.append(1000.0 * (time.process_time() - begin))
        action = answer["action"]
        if history and history[-1]["type"] == "pull" and action != "remeasure":
            out.beliefs.append((answer["belief"]["p_inside"], inside(tool)))
        if action == "turn":
            key = "clicks" if job["clicks_per_turn"] else "turns"
            step = sign * answer[key] / (job["clicks_per_turn"] or 1)
            tool.turn(step)
            out.turns += 1
            out.past_ceiling |= step > 0 and tool.bench.ceiling is not None and tool.truth() < tool.bench.ceiling
            history.append({"type": "turn", key: answer[key]})
            for _ in range(answer.get("dry_cycles", 0)):
                tool.cycle()
                out.dry += 1
                history.append({"type": "dry_cycle"})
        elif action == "dry_cycle":
            tool.cycle()
            out.dry += 1
            history.append({"type": "dry_cycle"})
        elif action == "pull":
            history.append(tool.pull(answer.get("where", "air")))
            out.inserts += 1
        elif action == "remeasure":
            history[-1]["readings"].append(tool.read(len(history[-1]["readings"])))
            out.rereads += 1
        else:
            out.end, out.confidence = action, answer["confidence"]
            out.reason = answer.get("reason", "")
            out.right = inside(tool) if action == "release" else refusal_right(tool, out.reason)
            count_misreads(tool, answer["suspect_readings"], out=out)
            break
    return out


def count_misreads(tool: Any, flagged: list[list[int]], *, out: Outcome) -> None:
    flags = {tuple(pair) for pair in flagged}
    gross = {(pull, reading): size for pull, reading, size in tool.gross}
    out.gross = len(gross)
    out.missed = len(gross.keys() - flags)
    out.large = sum(size >= 0.025 for size in gross.values())
    out.large_missed = sum(size >= 0.025 for slot, size in gross.items() if slot not in flags)
    out.false_flags = len(flags - gross.keys())


def refusal_right(tool: Any, reason: str) -> bool:
    wanted = REACHES.get(tool.bench.fault, "detent_limited")
    return not tool.reachable() and (reason == wanted or (wanted == "stalled" and reason == "unreachable_max"))


def by_guessing(tool: Any, *, wanted_in_a_row: int) -> Outcome:
    """Turn by the nominal lead until one reading (or two in a row at one setting) is inside."""
    out, streak = Outcome(), 0
    low, high = window_of(tool.bench)
    while out.inserts < 12:
        reading = tool.pull("air")["reading"]
        out.inserts += 1
        if reading > 3.0 * TARGET:
            reading /= MM
        if low <= reading <= high:
            streak += 1
            if streak == wanted_in_a_row:
                out.end, out.right = "release", inside(tool)
                return out
            continue
        streak = 0
        turns = (reading - 0.5 * (low + high)) / LEAD
        if tool.bench.clicks is not None:
            turns = round(turns * tool.bench.clicks) / tool.bench.clicks
        tool.turn(turns)
        out.turns += 1
    out.end, out.reason, out.right = "refuse", "not_converged", not tool.reachable()
    return out


def one(task: tuple[str, str, int, float]) -> Outcome:
    """One dial-in, by name of bench and method; what a worker process does."""
    name, method, seed, confidence = task
    tool = new_tool(next(bench for bench in BENCHES if bench.name == name), seed)
    if method == "adviser":
        return by_adviser(tool, confidence=confidence)
    return by_guessing(tool, wanted_in_a_row=GUESSES[method])


def study(bench: Bench, *, seeds: range, confidence: float, workers: int) -> dict[str, list[Outcome]]:
    guess = bench.name in GUESSED and seeds.start == 0
    found = {}
    for method in ("adviser", *(GUESSES if guess else ())):
        tasks = [(bench.name, method, seed, confidence) for seed in seeds]
        if workers == 1:
            found[method] = [one(task) for task in tasks]
            continue
        with multiprocessing.Pool(workers) as pool:
            found[method] = pool.map(one, tasks, chunksize=max(1, min(10, len(tasks) // (4 * workers))))
    return found


def row(bench: Bench, method: str, outcomes: list[Outcome]) -> str:
    count = len(outcomes)
    released = [o for o in outcomes if o.end == "release"]
    refused = [o for o in outcomes if o.end == "refuse"]
    wrong = sum(not o.right for o in released)
    mean = lambda name: statistics.fmean(getattr(o, name) for o in outcomes)  # noqa: E731
    total = lambda name: sum(getattr(o, name) for o in outcomes)  # noqa: E731
    ours = method == "adviser"
    times = sorted(t for o in outcomes for t in o.milliseconds)
    cells = [
        bench.name,
        method,
        f"{mean('inserts'):.2f}",
        f"≤ {bench.goal}" if bench.goal and ours else "",
        f"{wrong}/{len(released)} ({wrong / len(released):.1%})" if released else "–",
        f"{statistics.fmean(1 - o.confidence for o in released):.2%}" if released and ours else "",
        f"{sum(o.right for o in refused)}/{sum(not o.right for o in refused)}",
        str(count - len(released) - len(refused)),
        f"{mean('turns'):.1f}",
        f"{mean('dry'):.1f}",
        f"{mean('rereads'):.1f}" if ours else "",
        f"{total('missed')}/{total('gross')}, {total('large_missed')}/{total('large')}" if ours else "",
        f"{mean('false_flags'):.3f}" if ours else "",
        f"{times[len(times) // 2]:.0f}, {times[int(0.95 * len(times))]:.0f}" if times else "",
    ]
    return "| " + " | ".join(cells) + " |"


HEAD = (
    "| bench | method | inserts | goal | wrong releases | stated | refused right/wrong | unfinished | turns | dry | "
    "re-reads | misreads missed: all, large | false flags | ms |\n|" + "---|" * 14
)


def main() -> None:
    parser = argparse.ArgumentParser(description="Dial-in on simulated benches.")
    parser.add_argument("--seeds", type=int, default=200)
    parser.add_argument("--first", type=int, help="the first seed; 0 is judging, 900000 is tuning")
    parser.add_argument("--tuning", action="store_true", help="use the seeds kept for tuning")
    parser.add_argument("--confidence", type=float, default=0.99)
    parser.add_argument("--only", default="", help="benches whose name contains one of these words, by commas")
    parser.add_argument("--workers", type=int, default=1, help="processes; the results are the same")
    parser.add_argument("--json", type=Path, help="results and calibration, written after every bench")
    parser.add_argument("--join", type=Path, nargs="+", help="run nothing, join these JSON files")
    parser.add_argument("--write", type=Path, help="the table")
    options = parser.parse_args()
    parts = [json.loads(path.read_text()) for path in options.join or ()]
    benches = joined(parts) if parts else judged(options)
    if options.json and options.join:
        options.json.write_text(json.dumps(benches, indent=1, ensure_ascii=False))
    if options.write:
        before = options.write.read_text() if options.write.exists() else ""
        options.write.write_text(report(benches) + "".join(before.partition(WORDS)[1:]))


def judged(options: argparse.Namespace) -> dict[str, Any]:
    first = options.first if options.first is not None else 900_000 if options.tuning else 0
    seeds = range(first, first + options.seeds)
    benches: dict[str, Any] = {}
    print(HEAD)
    for bench in BENCHES:
        if not any(word in bench.name for word in options.only.split(",")):
            continue
        found = study(bench, seeds=seeds, confidence=options.confidence, workers=options.workers)
        rows = [row(bench, method, outcomes) for method, outcomes in found.items()]
        benches[bench.name] = {
            "seeds": [seeds.start, seeds.stop - 1],
            "confidence": bench.confidence or options.confidence,
            "python": platform.python_version(),
            "rows": rows,
            "remarks": remarks(bench, found["adviser"], first=first),
            "not_right": [
                [first + i, o.end, o.reason, o.confidence, o.inserts]
                for i, o in enumerate(found["adviser"])
                if not o.right
            ],
            "releases": binned([(o.confidence, o.right) for o in found["adviser"] if o.end == "release"]),
            "beliefs": binned([pair for o in found["adviser"] for pair in o.beliefs]),
            "inserts": dict(sorted(Counter(o.inserts for o in found["adviser"]).items())),
        }
        for line in [*rows, *benches[bench.name]["remarks"]]:
            print(line, flush=True)
        if options.json:
            options.json.write_text(json.dumps(benches, indent=1, ensure_ascii=False))
    return benches


def binned(pairs: list[tuple[float, bool]]) -> list[dict[str, float]]:
    """Per range of stated probability: how many, the mean stated, and how many were really inside."""
    bins = []
    for low, high in pairwise(BIN_EDGES):
        some = [(p, true) for p, true in pairs if low <= p < high]
        if some:
            stated = statistics.fmean(p for p, _ in some)
            bins.append(
                {"from": low, "count": len(some), "stated": round(stated, 6), "inside": sum(t for _, t in some)}
            )
    return bins


def joined(parts: list[dict[str, Any]]) -> dict[str, Any]:
    """The benches of several files, in their usual order; a later file wins."""
    every = {name: bench for part in parts for name, bench in part.items()}
    return {bench.name: every[bench.name] for bench in BENCHES if bench.name in every}


def remarks(bench: Bench, outcomes: list[Outcome], *, first: int) -> list[str]:
    """What the table does not hold: reasons of refusals, seeds that went wrong, moves past the ceiling."""
    reasons = Counter(o.reason for o in outcomes if o.end == "refuse")
    text = ", ".join(f"{reason} {n}" for reason, n in sorted(reasons.items()))
    wrong = [str(first + i) for i, o in enumerate(outcomes) if not o.right]
    kept = [f"refusals {text}"] if text else []
    if wrong:
        kept.append(f"not right: seeds {', '.join(wrong[:12])}{' …' if len(wrong) > 12 else ''}")
    if bench.ceiling:
        kept.append(f"past the ceiling {sum(o.past_ceiling for o in outcomes)}")
    return [f"- {bench.name}: {'; '.join(kept)}"] if kept else []


def report(benches: dict[str, Any]) -> str:
    lines = [line for bench in benches.values() for line in bench["rows"]]
    notes = [note for bench in benches.values() for note in bench["remarks"]]
    seeds = sorted({tuple(bench["seeds"]) for bench in benches.values()})
    spans = ", ".join(f"{low}–{high}" for low, high in seeds)
    python = ", ".join(sorted({bench["python"] for bench in benches.values()}))
    return "\n".join(
        [
            "# Dial-in on simulated benches",
            "",
            f"{datetime.now(UTC):%Y-%m-%d}, `python bench/dial_in_study.py`, seeds {spans} of every bench, requested confidence 0.99 where the "
            f"name says no other, Python {python}.",
            "",
            "Simulated, not measured. The benches and their assumptions are in `bench/dial_in_benches.py`; they are "
            "engineering judgement and share no code with the adviser. Tuning used other seeds (from 900000). “stated” "
            "is the mean of 1 − the confidence stated at release: what the adviser itself expected to be wrong. "
            "“misreads missed”: of those off by 0.0075 in or more, then of those off by 0.025 in or in the wrong unit; "
            "“false flags” a session. “ms” of processor time: median and 95th percentile of one advice in a running conversation.",
            "",
            HEAD,
            *lines,
            "",
            "Refusals and failures:",
            "",
            *notes,
            "",
        ]
    )


if __name__ == "__main__":
    main()

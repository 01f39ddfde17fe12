"""How often the dial-in adviser is right, on simulated benches written apart from it (``dial_in_benches``).

    python bench/dial_in_study.py                   judging seeds, table on screen
    python bench/dial_in_study.py --seeds 50 --tuning    other seeds, for tuning; never reported
    python bench/dial_in_study.py --write bench/results/dial_in_study.md

Truth is the lot's mean at the present knob, tool warm (in the stack where a shift is given). A release is wrong when
it lies outside the window. A refusal is right when no position is inside and the reason is that bench's; a guess
names no reason, so its giving up after 12 inserts is right whenever no position is inside.
"""

from __future__ import annotations

import argparse
import platform
import statistics
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent / "src"), str(HERE)]

from dial_in_benches import BENCHES, LEAD, MM, REACHES, TARGET, Bench, new_tool, window_of  # noqa: E402
from firstpull.statistics.dial_in import advise  # noqa: E402

MAX_STEPS = 150
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


def study(bench: Bench, *, seeds: range, confidence: float, guess: bool) -> dict[str, list[Outcome]]:
    found = {"adviser": [by_adviser(new_tool(bench, seed), confidence=confidence) for seed in seeds]}
    if guess:
        for name, count in (("first inside", 1), ("two in a row", 2)):
            found[name] = [by_guessing(new_tool(bench, seed), wanted_in_a_row=count) for seed in seeds]
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
    parser.add_argument("--tuning", action="store_true", help="use the seeds kept for tuning")
    parser.add_argument("--confidence", type=float, default=0.99)
    parser.add_argument("--only", default="", help="benches whose name contains one of these words, by commas")
    parser.add_argument("--write", type=Path)
    options = parser.parse_args()
    first = 900_000 if options.tuning else 0
    seeds = range(first, first + options.seeds)
    lines, notes = [HEAD], []
    print(HEAD)
    for bench in BENCHES:
        if not any(word in bench.name for word in options.only.split(",")):
            continue
        guess = bench.name in GUESSED and not options.tuning
        found = study(bench, seeds=seeds, confidence=options.confidence, guess=guess)
        for method, outcomes in found.items():
            lines.append(row(bench, method, outcomes))
            print(lines[-1], flush=True)
        for note in remarks(bench, found["adviser"], first=first):
            notes.append(note)
            print(note, flush=True)
    if options.write:
        options.write.write_text(report(lines, notes, seeds=seeds, confidence=options.confidence))


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


def report(lines: list[str], notes: list[str], *, seeds: range, confidence: float) -> str:
    return "\n".join(
        [
            "# Dial-in on simulated benches",
            "",
            f"{datetime.now(UTC):%Y-%m-%d}, seeds {seeds.start}–{seeds.stop - 1} of every bench, requested confidence "
            f"{confidence} where the name says no other, Python {platform.python_version()}; "
            f"`python bench/dial_in_study.py --seeds {len(seeds)}`.",
            "",
            "Simulated, not measured. The benches and their assumptions are in `bench/dial_in_benches.py`; they are "
            "engineering judgement and share no code with the adviser. Tuning used other seeds (from 900000). “stated” "
            "is the mean of 1 − the confidence stated at release: what the adviser itself expected to be wrong. "
            "“misreads missed”: of those off by 0.0075 in or more, then of those off by 0.025 in or in the wrong unit; "
            "“false flags” a session. “ms” of processor time: median and 95th percentile of one advice in a running conversation.",
            "",
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

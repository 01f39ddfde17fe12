"""The simulated benches of ``bench/dial_in_study.py``: families of tools, lots and gauges. Shares nothing with the adviser.

Assumptions, all engineering judgement, none measured (lengths in inches):
  - the mean set length at the start is 0.01 to 0.09 long or short of the target 0.790, and the job's prior says so
    with sd 0.03; target ±0.005; nominal lead 0.022 per turn, true lead off by 3 % (1-sigma);
  - play 0 to 0.2 turn: u' = clip(u − D, ±b/2), step e = D + u' − u; where the knob stands in its play is random;
  - the first pull after a turn or after connecting the air is long by 0.0005 to 0.006, then 10 to 40 % of that is
    left per cycle;
  - scatter of the tool 0.0012, of insert lengths 0.0025, of the lot's mean 0.0015, of the caliper 0.0007 (tool and
    caliper scaled by 0.7 to 1.4, inserts by 15 % 1-sigma), resolution 0.0005;
  - 2 % of the readings are gross: a digit slip (0.01 to 0.1), two digits swapped, or the wrong unit, which persists
    over the next readings of that insert with 70 %; 1 % of the pulls stop early;
  - 2 % of the turns of click knobs are miscounted by one click;
  - drift per cycle 0.00005 (1-sigma over tools).
A bench named after a trouble adds it, see ``BENCHES``. The adviser does not model: what “odd tool” does (scatter with
heavy tails, a lead that varies along the screw, a warm-up that fades, a gauge with a bias), “scatters 2.5 times” (more
than the job says), and the tools of ``firstpull.practice`` (elastic tool and load, drift, warm-up, bad pulls).
"""

from __future__ import annotations

import math
import random
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "src"))

from firstpull.practice.nominals import Nominals
from firstpull.practice.simulated_tool import SimulatedTool

TARGET, TOLERANCE, LEAD, NOMINAL = 0.790, 0.005, 0.022, 1.025
GROSS = 0.0075
MM = 25.4
REACHES = {"floor": "unreachable_max", "ceiling": "unreachable_min", "stall": "stalled"}


@dataclass(frozen=True)
class Bench:
    """One family of simulated tools; the defaults are an ordinary tool with click stops."""

    name: str
    clicks: int | None = 12
    play: tuple[float, float] = (0.0, 0.2)
    drift_sd: float = 0.00005
    scatter_factor: float = 1.0
    lengths_measured: bool = False
    lot_lengths: int = 0
    lead_sd: float = 0.03
    cold: tuple[float, float] = (0.0005, 0.006)
    misreads: float = 0.02
    bad_pulls: float = 0.01
    tolerance: float = TOLERANCE
    confidence: float | None = None
    window: tuple[float, float] | None = None
    ceiling: float | None = None
    fault: str = ""
    limit: tuple[float, float] = (0.008, 0.05)
    shift_sd: float | None = None
    plus: str = "more_stroke"
    metric: bool = False
    odd: bool = False
    practice: str = ""
    no_click_inside: bool | None = None
    goal: float | None = None
    hostile: bool = False


WORN = {"play": (0.1, 0.2), "lead_sd": 0.05, "scatter_factor": 1.6, "cold": (0.002, 0.008), "bad_pulls": 0.02}
BENCHES = (
    Bench("ordinary", goal=2.7),
    Bench("lengths measured", lengths_measured=True, goal=1.9),
    Bench("worn", **WORN, goal=5.3),
    Bench("coarse clicks, 0.0037", clicks=6, goal=3.2),
    Bench("coarse clicks, 0.0055", clicks=4, no_click_inside=False),
    Bench("no click stops", clicks=None, goal=3.4),
    Bench("drifting", drift_sd=0.0004, goal=4.5, hostile=True),
    Bench("near the limit", fault="floor", limit=(-0.015, 0.003), goal=3.5),
    Bench("10 % misreads", misreads=0.10, goal=4.0),
    Bench("metric, measured", lengths_measured=True, metric=True, goal=1.9),
    Bench(
        "everything at once",
        **(WORN | {"scatter_factor": 1.3}),
        clicks=8,
        drift_sd=0.0002,
        misreads=0.06,
        goal=4.6,
        hostile=True,
    ),
    Bench("too little stroke", fault="floor", goal=2.7),
    Bench("too much stroke", fault="ceiling", limit=(-0.05, -0.008), goal=2.7),
    Bench("stalls in the stack", fault="stall", shift_sd=0.003, goal=2.7),
    Bench("no click inside", clicks=1, no_click_inside=True, goal=2.7),
    Bench("one click inside", clicks=1, no_click_inside=False),
    Bench("ordinary at 0.95", confidence=0.95),
    Bench("±0.003 measured, 0.95", lengths_measured=True, tolerance=0.003, confidence=0.95, goal=3.0),
    Bench("±0.003, ten lengths, 0.95", lengths_measured=True, lot_lengths=10, tolerance=0.003, confidence=0.95),
    Bench("plus is less stroke", plus="less_stroke"),
    Bench("lopsided window, ceiling", window=(0.782, 0.793), ceiling=0.775),
    Bench("coupons, shift unknown", shift_sd=0.006, lengths_measured=True),
    Bench("scatters 2.5 times", scatter_factor=2.5, hostile=True),
    Bench("odd tool", odd=True, hostile=True),
    Bench("practice, steady", practice="steady", hostile=True),
    Bench("practice, worn", practice="worn", hostile=True),
    Bench("practice, drifting", practice="drifting", hostile=True),
    Bench("practice, misreading", practice="misreading", hostile=True),
)


class Tool:
    """One simulated tool with its lot and its caliper."""

    def __init__(self, bench: Bench, seed: str) -> None:
        number = 0
        self._draw(bench, random.Random(seed))
        while bench.no_click_inside is not None and self.reachable() == bench.no_click_inside:
            number += 1
            self._draw(bench, random.Random(f"{seed}/{number}"))

    def _draw(self, bench: Bench, rng: random.Random) -> None:
        self.bench, self.rng = bench, rng
        sign = 1.0 if rng.random() < 0.75 else -1.0
        self.setting = TARGET + sign * rng.uniform(0.01, 0.09)
        self.prior = rng.gauss(self.setting, 0.03)
        self.lead = LEAD * rng.gauss(1.0, bench.lead_sd)
        self.play = rng.uniform(*bench.play)
        self.slack = rng.choice([-0.5, 0.5, rng.uniform(-0.5, 0.5)]) * self.play
        self.cold_size = rng.uniform(*bench.cold)
        self.cold_left = rng.uniform(0.1, 0.4)
        self.cold = self.cold_size
        self.process = 0.0012 * rng.uniform(0.7, 1.4) * bench.scatter_factor
        self.insert = 0.0025 * rng.gauss(1.0, 0.15)
        self.caliper = 0.0007 * rng.uniform(0.7, 1.4)
        self.drift = rng.gauss(0.0, bench.drift_sd)
        self.lot = rng.gauss(0.0, 0.0015)
        self.shift = 0.0 if bench.shift_sd is None else rng.gauss(0.004, bench.shift_sd)
        self.limit = TARGET + rng.uniform(*bench.limit) - self.shift - (self.lot if bench.limit[0] < 0.0 else 0.0)
        self.step = 0.0005 if not bench.metric else 0.01 / MM
        self.phase, self.bias, self.warm_up = rng.uniform(0.0, 6.28), rng.gauss(0.0, 0.0005), rng.uniform(-0.003, 0.003)
        self.turned, self.cycles, self.last_set = 0.0, 0, 0.0
        self.slipped_unit = False
        self.gross: list[tuple[int, int, float]] = []
        self.pulls = 0

    def settled(self, where: str) -> float:
        """Mean set length of the lot, warm."""
        value = self.setting
        if self.bench.odd:
            value -= 0.05 * self.lead * math.sin(6.28 * self.turned + self.phase) / 6.28 * 2
            value += self.warm_up * math.exp(-self.cycles / 8.0)
        if self.bench.fault == "floor" or (self.bench.fault == "stall" and where == "stack"):
            value = max(value, self.limit)
        if self.bench.fault == "ceiling":
            value = min(value, self.limit)
        return value + self.lot + (self.shift if where == "stack" else 0.0)

    def truth(self) -> float:
        return self.settled("air" if self.bench.shift_sd is None else "stack")

    def turn(self, more_turns: float) -> None:
        step = more_turns
        if self.bench.clicks is not None and self.rng.random() < 0.02:
            step += self.rng.choice([-1, 1]) / self.bench.clicks
        elif self.bench.clicks is None:
            step += self.rng.gauss(0.0, 0.01)
        slack = min(max(self.slack - step, -0.5 * self.play), 0.5 * self.play)
        effective = step + slack - self.slack
        self.setting -= self.lead * effective
        self.turned += effective
        self.slack = slack
        self.cold = self.cold_size

    def cycle(self) -> None:
        self.cold *= self.cold_left
        self.setting += self.drift
        self.cycles += 1

    def _process_error(self) -> float:
        if not self.bench.odd:
            return self.rng.gauss(0.0, self.process)
        chi = sum(self.rng.gauss(0.0, 1.0) ** 2 for _ in range(3)) / 3.0
        return 0.7 * self.process * self.rng.gauss(0.0, 1.0) / math.sqrt(max(chi, 0.02))

    def pull(self, where: str) -> dict[str, Any]:
        own = self.rng.gauss(0.0, self.insert)
        made = self.settled(where) + own + self.cold + self._process_error()
        if self.rng.random() < self.bench.bad_pulls:
            made += self.rng.uniform(0.01, 0.06)
        self.last_set = made
        self.cycle()
        self.pulls += 1
        self.slipped_unit = False
        reading = self.read(0)
        free = self._rounded(NOMINAL + self.lot + own + self.rng.gauss(0.0, self.caliper) + self._bias())
        return {
            "type": "pull",
            "reading": reading,
            "readings": [reading],
            "length_before": self.shown(free) if self.bench.lengths_measured else None,
            "where": where,
        }

    def _bias(self) -> float:
        return self.bias if self.bench.odd else 0.0

    def _rounded(self, value: float) -> float:
        return round(value / self.step) * self.step

    def shown(self, inches: float) -> float:
        """The value in the job's unit, with the digits of the gauge."""
        return round(inches * MM, 2) if self.bench.metric else round(inches, 4)

    def read(self, number: int) -> float:
        """Reading ``number`` of the last insert, in the job's unit."""
        value = self._rounded(self.last_set + self.rng.gauss(0.0, self.caliper) + self._bias())
        right = self.shown(value)
        shown = self._misread(value, right)
        if abs(shown - right) >= GROSS * (MM if self.bench.metric else 1.0) * 0.9999:
            size = math.inf if self.slipped_unit else abs(shown - right) / (MM if self.bench.metric else 1.0)
            self.gross.append((self.pulls - 1, number, size))
        return shown

    def _misread(self, value: float, right: float) -> float:
        if self.slipped_unit:
            self.slipped_unit = self.rng.random() < 0.7
        elif self.rng.random() < self.bench.misreads:
            kind = self.rng.random()
            self.slipped_unit = kind < 0.2
            if 0.2 <= kind < 0.75:
                unit = MM if self.bench.metric else 1.0
                return round(
                    right + unit * self.rng.choice([-1, 1]) * self.rng.choice([0.01, 0.02, 0.03, 0.05, 0.1]), 4
                )
            if kind >= 0.75:
                return self._swapped(right)
        if not self.slipped_unit:
            return right
        return round(value, 4) if self.bench.metric else round(value * MM, 2)

    def _swapped(self, right: float) -> float:
        digits = f"{right:.2f}" if self.bench.metric else f"{right:.4f}"
        places = [i for i in range(len(digits) - 1) if digits[i].isdigit() and digits[i + 1].isdigit()]
        i = self.rng.choice(places)
        return float(digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :])

    def reachable(self) -> bool:
        """Whether some knob position, finished towards more stroke, is inside."""
        low, high = window_of(self.bench)
        if self.bench.fault:
            return (
                low <= self.limit + self.lot + self.shift <= high or self.bench.limit[0] <= 0.0 <= self.bench.limit[1]
            )
        if self.bench.clicks is None:
            return True
        step = self.lead / self.bench.clicks
        here = self.truth() - self.lead * (0.5 * self.play + self.slack)
        return math.ceil((low - here) / step) <= math.floor((high - here) / step)

    def lot_lengths(self) -> list[float]:
        """Free lengths of other inserts of the lot, measured beforehand; from chances of their own."""
        rng = random.Random(f"{self.phase}/lengths")
        doubt = math.hypot(self.insert, self.caliper)
        return [
            self.shown(self._rounded(NOMINAL + self.lot + rng.gauss(0.0, doubt))) for _ in range(self.bench.lot_lengths)
        ]

    def job(self, confidence: float) -> dict[str, Any]:
        """What the technician knows, in the job's unit."""
        bench, unit = self.bench, MM if self.bench.metric else 1.0
        return {
            "units": "mm" if bench.metric else "in",
            "insert_nominal_length": NOMINAL * unit,
            "target_length": TARGET * unit,
            "tolerance": bench.tolerance * unit,
            "confidence": bench.confidence or confidence,
            "knob_lead": LEAD * unit,
            "lead_rel_sd": bench.lead_sd,
            "clicks_per_turn": bench.clicks,
            "plus_turns": bench.plus,
            "max_backlash_turns": 0.2,
            "caliper_resolution": self.step * unit,
            "caliper_sd": 0.0007 * unit,
            "insert_length_sd": 0.0025 * unit,
            "lot_mean_sd": 0.0015 * unit,
            "process_sd": 0.0012 * unit,
            "lot_lengths": self.lot_lengths() if bench.lot_lengths else None,
            "length_before_available": bench.lengths_measured,
            "prior": {"length_mean": self.prior * unit, "length_sd": 0.03 * unit},
            "tool_history": None,
            "control": "stroke",
            "window": list(bench.window) if bench.window else None,
            "stroke_ceiling": bench.ceiling,
            "air_to_stack": None if bench.shift_sd is None else {"mean": 0.004, "sd": bench.shift_sd},
            "max_pulls": 12,
        }


class PracticeTool:
    """A tool of ``firstpull.practice``: written apart from benches and adviser; its job is in millimetres."""

    def __init__(self, bench: Bench, seed: str) -> None:
        self.bench, self.rng = bench, random.Random(seed)
        self.tool = SimulatedTool.from_seed(self.rng.randrange(10**9), bench.practice, nominals=Nominals())
        self.gross: list[tuple[int, int, float]] = []

    def truth(self) -> float:
        return self.tool.truth().mean_air_length_mm / MM

    def turn(self, more_turns: float) -> None:
        self.tool.turn(more_turns)

    def cycle(self) -> None:
        self.tool.dry_cycle()

    def pull(self, where: str) -> dict[str, Any]:
        before = self.tool.next_length_before_mm
        made = self.tool.pull("air" if where == "air" else "stack")
        self._note(made.misread[0], 0, made.readings_mm[0] - made.true_length_mm)
        reading = made.readings_mm[0]
        kept = before if self.bench.lengths_measured else None
        return {"type": "pull", "reading": reading, "readings": [reading], "length_before": kept, "where": where}

    def _note(self, wrong: bool, number: int, error_mm: float) -> None:
        if wrong and abs(error_mm) >= GROSS * MM:
            self.gross.append((len(self.tool.pulls) - 1, number, abs(error_mm) / MM))

    def read(self, number: int) -> float:
        value = self.tool.read_again()
        last = self.tool.pulls[-1]
        self._note(last.misread[number % len(last.misread)], number, value - last.true_length_mm)
        return value

    def reachable(self) -> bool:
        return True

    def job(self, confidence: float) -> dict[str, Any]:
        nominals = self.tool.nominals
        return {
            "units": "mm",
            "insert_nominal_length": nominals.insert_length_mm,
            "target_length": nominals.target_length_mm,
            "tolerance": TOLERANCE * MM,
            "confidence": confidence,
            "knob_lead": nominals.lead_mm,
            "lead_rel_sd": 0.03,
            "clicks_per_turn": self.tool.clicks_per_turn,
            "plus_turns": "more_stroke",
            "max_backlash_turns": 0.25,
            "caliper_resolution": nominals.resolution_mm,
            "caliper_sd": 0.008,
            "insert_length_sd": 0.03,
            "lot_mean_sd": 0.03,
            "process_sd": 0.02 if self.bench.practice == "worn" else 0.012,
            "lot_lengths": None,
            "length_before_available": self.bench.lengths_measured,
            "prior": None,
            "tool_history": None,
            "control": "stroke",
            "window": None,
            "stroke_ceiling": None,
            "air_to_stack": None,
            "max_pulls": 12,
        }


def new_tool(bench: Bench, seed: int) -> Tool | PracticeTool:
    """The tool that bench and seed give; always the same one."""
    name = f"{bench.name}/{seed}"
    return PracticeTool(bench, name) if bench.practice else Tool(bench, name)


def window_of(bench: Bench) -> tuple[float, float]:
    """Limits of the mean, inches."""
    if bench.practice:
        target = Nominals().target_length_mm / MM
        return target - bench.tolerance, target + bench.tolerance
    return bench.window or (TARGET - bench.tolerance, TARGET + bench.tolerance)

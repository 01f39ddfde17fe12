"""A simulated setting tool to learn on. It is simulated: its numbers are engineering judgement, not measurements.

What it assumes:

- *Knob.* Stroke = start + lead · engaged turns, the true lead a few per cent off the printed one. Play: the screw
  follows the knob only when the lost motion is used up, so a reversal loses up to ``play_turns``. The knob rests at
  its clicks. The stroke ends at a floor and a ceiling. A “coarse” knob has a third of the printed clicks, at least 4
  (``clicks_per_turn`` says how many).
- *Air.* Each turn takes the air off and on. The first cycle after that comes short by ``cold_shortfall_mm``; each cycle
  removes three quarters of what is left, a cycle without an insert a little less.
- *Load.* Part of the travel stretches mandrel and tool (load / stiffness), the insert springs back when let go, and the
  flange never sits quite on the anvil. In a stack the blind head seats on the sheet, the load is higher, and so the
  same knob sets *longer* than in the air. When the air can not give the load the pull stalls and comes out long.
- *Drift and warm-up* take travel away cycle by cycle or let it settle over the first ten.
- *Inserts* scatter in length about a lot mean that is off the nominal, and in load. An insert's length depends only
  on the seed and its number, so it can be measured before its pull.
- *People* let go or spin off too early now and then (the insert comes out long) and misread the caliper.
- *Coupons* fail as the stroke really is: too short for that stack, they turn and gap; too long, the thread gauge sticks
  and the blind head cracks. The true limits lie a little outside the set allowance limits of the insert.

The same seed, temperament, nominals and actions give the same readings. Nothing here is shared with the estimator.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any, Self

from firstpull.errors import BadInput
from firstpull.practice.caliper import misread, rounded
from firstpull.practice.chance import Chance, checked_seed
from firstpull.practice.collapse_load import LoadCurve, Squeezed, load_curve, squeeze, travel_for
from firstpull.practice.coupon import check_coupon, good_strokes_mm
from firstpull.practice.nominals import Nominals
from firstpull.practice.results import PracticeCoupon, PracticePull, PracticeTruth, Where
from firstpull.practice.temperament import check_temperament, draw_traits

_READINGS = 6
_COLD_AFTER_PULL = 0.25
_COLD_AFTER_DRY_CYCLE = 0.35
_WARM_UP_CYCLES = 5.0
_MOST_INSERTS = 100_000
_SEATS_EARLY = 0.1  # of the set allowance: the blind head touches before it is seated


class SimulatedTool:
    """One practice job: tool, lot of inserts, gauge and stack. Stateful; all chance comes from the seed."""

    def __init__(self, seed: int, temperament: str, *, nominals: Nominals) -> None:
        """Raises BadInput for an unusable seed or temperament; :class:`Nominals` has checked the rest."""
        self.seed = checked_seed(seed)
        self.temperament = check_temperament(temperament)
        self.nominals = nominals
        self._traits = draw_traits(self.seed, temperament, nominals)
        traits = self._traits
        self._knob_turns = 0.0
        self._engaged_turns = traits.play_start * traits.play_turns
        self._cold = 1.0
        self._cycles = 0
        self._pulls: list[PracticePull] = []
        self._readings_taken = 0
        at_target = self._travel(nominals.stroke_mm + traits.lot_offset_mm, where="air")
        start_stroke = nominals.stroke_mm + traits.lot_offset_mm - traits.start_long_mm
        self._travel_at_zero = self._travel(start_stroke, where="air") - self._lead_mm * self._engaged_turns
        self._ceiling_mm = nominals.stroke_max_mm
        if traits.stroke_spare_mm is not None:
            self._ceiling_mm = min(self._ceiling_mm, at_target + traits.stroke_spare_mm)
        needed = traits.load_ratio * nominals.setting_load_n
        self._load_max_n = nominals.load_max_n
        if traits.pressure_share < 1:
            self._load_max_n = min(self._load_max_n, traits.load_spare * needed)
        self._pressure_bar = traits.pressure_share * nominals.rated_pressure_bar

    @classmethod
    def from_seed(cls, seed: int, temperament: str = "steady", *, nominals: Nominals | None = None) -> Self:
        """A tool from its seed; without ``nominals`` the default practice job. Raises BadInput."""
        return cls(seed, temperament, nominals=nominals or Nominals())

    @classmethod
    def replay(cls, seed: int, temperament: str, *, nominals: Nominals, actions: Iterable[object]) -> Self:
        """The tool as it stands after the recorded ``actions`` (see :meth:`apply`). Raises BadInput."""
        tool = cls(seed, temperament, nominals=nominals)
        for action in actions:
            tool.apply(action)
        return tool

    @property
    def clicks_per_turn(self) -> int | None:
        """Clicks of this tool's knob; fewer than the nominal on a coarse one."""
        clicks = self.nominals.clicks_per_turn
        return max(4, clicks // 3) if clicks is not None and self.temperament == "coarse" else clicks

    @property
    def pressure_bar(self) -> float:
        """Air pressure at the tool's inlet while it cycles (bar): a gauge on the bench shows it."""
        return round(self._pressure_bar, 2)

    @property
    def pulls(self) -> tuple[PracticePull, ...]:
        """All pulls so far, coupons included."""
        return tuple(self._pulls)

    @property
    def next_length_before_mm(self) -> float:
        """Caliper reading (mm) of the next insert before its pull; looking at it changes nothing."""
        return self._length_before(len(self._pulls))

    def turn(self, turns: float) -> None:
        """Turn the knob by ``turns`` (signed, −50 … 50; it rests at a click), air off and on again. Raises BadInput."""
        if not _is_number(turns) or not -50 <= turns <= 50:
            raise BadInput(f"{turns!r} is not a turn of the knob.", where="turns", hint="From −50 to 50 turns.")
        wanted = self._knob_turns + float(turns)
        clicks = self.clicks_per_turn
        self._knob_turns = wanted if clicks is None else round(wanted * clicks) / clicks
        half = self._traits.play_turns / 2
        self._engaged_turns = min(max(self._engaged_turns, self._knob_turns - half), self._knob_turns + half)
        self.reconnect()

    def turn_clicks(self, clicks: int) -> None:
        """Turn the knob by whole ``clicks`` (signed). Raises BadInput when the knob has none."""
        per_turn = self.clicks_per_turn
        if per_turn is None or not _is_number(clicks) or clicks != int(clicks):
            raise BadInput(f"{clicks!r} is not a number of clicks.", where="clicks", hint="Say it in turns.")
        self.turn(clicks / per_turn)

    def reconnect(self) -> None:
        """Air off and on: the next cycle comes short."""
        self._cold = 1.0

    def dry_cycle(self) -> None:
        """A cycle without an insert: removes most of the cold start."""
        self._cold *= _COLD_AFTER_DRY_CYCLE
        self._cycles += 1

    def set_pressure(self, pressure_bar: float) -> None:
        """Set the air pressure (bar), above 0 and not above the rated one. Raises BadInput."""
        rated = self.nominals.rated_pressure_bar
        if not _is_number(pressure_bar) or not 0 < pressure_bar <= rated:
            raise BadInput(
                f"{pressure_bar!r} bar is not a pressure for this tool.",
                where="pressure_bar",
                hint=f"Above 0, at most the rated {rated:g} bar.",
            )
        self._pressure_bar = float(pressure_bar)

    def pull(self, where: Where = "air") -> PracticePull:
        """Pull the next insert in the “air” or in the job's “stack”. Raises BadInput for another place."""
        if where not in ("air", "stack"):
            raise BadInput(f"{where!r} is not a place to pull.", where="where", hint="“air” or “stack”.")
        return self._pull(where, thickness_mm=self.nominals.thickness_mm if where == "stack" else None)

    def read_again(self) -> float:
        """Read the last insert once more (mm). Raises BadInput before the first pull and after the sixth reading."""
        if not self._pulls:
            raise BadInput("Nothing has been pulled yet.", where="read_again", hint="Pull an insert first.")
        reading = self._pulls[-1].read_again(self._readings_taken)
        self._readings_taken += 1
        return reading

    def coupon(self, thickness_mm: float | None = None) -> PracticeCoupon:
        """Set the next insert in scrap of ``thickness_mm`` (the job's stack by default) and check it. Raises BadInput."""
        thickness = self.nominals.thickness_mm if thickness_mm is None else thickness_mm
        if not _is_number(thickness) or not 0.05 <= thickness <= self.nominals.insert_length_mm:
            raise BadInput(f"{thickness!r} is not a thickness in mm.", where="thickness_mm", hint="For example 2.16.")
        pull = self._pull("stack", thickness_mm=float(thickness))
        chance = Chance(self.seed, 6, pull.index)
        return check_coupon(pull, float(thickness), nominals=self.nominals, traits=self._traits, chance=chance)

    def apply(self, action: object) -> PracticePull | PracticeCoupon | float | None:
        """Do one recorded action and give back what it gave: a pull, a coupon, a reading or nothing.

        ``{"type": "turn", "turns": x}`` or ``{"type": "turn", "clicks": n}``, ``dry_cycle``, ``reconnect``,
        ``{"type": "pressure", "pressure_bar": p}``, ``{"type": "pull", "where": "air"}``, ``remeasure``,
        ``{"type": "coupon", "thickness_mm": t}``. Raises BadInput for anything else.
        """
        given: dict[str, Any] = action if isinstance(action, dict) else {}
        match given.get("type"):
            case "pull":
                return self.pull(given.get("where", "air"))
            case "coupon":
                return self.coupon(given.get("thickness_mm"))
            case "remeasure":
                return self.read_again()
            case "turn" if "clicks" in given:
                self.turn_clicks(given["clicks"])
            case "turn":
                self.turn(given.get("turns", math.nan))
            case "dry_cycle":
                self.dry_cycle()
            case "reconnect":
                self.reconnect()
            case "pressure":
                self.set_pressure(given.get("pressure_bar", math.nan))
            case other:
                raise BadInput(f"{other!r} is not something to do here.", where="type", hint="For example “pull”.")
        return None

    def truth(self) -> PracticeTruth:
        """The hidden numbers, for the review after the practice job."""
        traits, nominals = self._traits, self.nominals
        lot_mean = nominals.insert_length_mm + traits.lot_offset_mm
        in_air, in_stack = self._mean("air"), self._mean("stack")
        air, stack = lot_mean - in_air.stroke_mm, lot_mean - in_stack.stroke_mm
        least, largest = good_strokes_mm(nominals, traits, thickness_mm=nominals.thickness_mm)
        needed = self._travel(nominals.stroke_mm + traits.lot_offset_mm, where="stack")
        return PracticeTruth(
            temperament=self.temperament,
            lead_mm=abs(self._lead_mm),
            play_turns=traits.play_turns,
            cold_shortfall_mm=traits.cold_shortfall_mm,
            drift_per_cycle_mm=traits.drift_per_cycle_mm,
            pull_sd_mm=traits.pull_sd_mm,
            insert_sd_mm=traits.insert_sd_mm,
            lot_mean_length_mm=round(lot_mean, 6),
            caliper_bias_mm=traits.caliper_bias_mm,
            stroke_ceiling_mm=self._ceiling_mm,
            pressure_bar=self.pressure_bar,
            mean_air_length_mm=round(air, 6),
            mean_stack_length_mm=round(stack, 6),
            air_to_stack_mm=round(stack - air, 6),
            stalls_in_stack=in_stack.stalled,
            target_length_mm=nominals.target_length_mm,
            reachable=nominals.stroke_min_mm <= needed <= self._ceiling_mm,
            length_shortest_good_mm=round(lot_mean - largest, 6),
            length_longest_good_mm=round(lot_mean - least, 6),
            inserts_used=len(self._pulls),
            cycles=self._cycles,
        )

    @property
    def _lead_mm(self) -> float:
        """True travel per positive turn (mm), negative when plus means less stroke."""
        sign = 1 if self.nominals.plus_turns == "more stroke" else -1
        return sign * self.nominals.lead_mm * self._traits.lead_ratio

    @property
    def _knob_travel_mm(self) -> float:
        travel = self._travel_at_zero + self._lead_mm * self._engaged_turns
        return min(max(travel, self.nominals.stroke_min_mm), self._ceiling_mm)

    @property
    def _available_n(self) -> float:
        return self._load_max_n * self._pressure_bar / self.nominals.rated_pressure_bar

    def _curve(self, where: Where, *, thickness_mm: float | None = None, load_ratio: float = 1.0) -> LoadCurve:
        """The load curve of an insert in the air or in a stack of ``thickness_mm`` (the job's by default)."""
        nominals, traits = self.nominals, self._traits
        stack = nominals.thickness_mm if thickness_mm is None else thickness_mm
        free = nominals.grip_max_mm - (stack if where == "stack" else 0.0)
        seat = free + nominals.set_allowance_min_mm - _SEATS_EARLY * nominals.set_allowance_mm
        return load_curve(
            nominals.setting_load_n * traits.load_ratio * load_ratio,
            seat_mm=seat,
            seated_mm=free + nominals.set_allowance_mm,
        )

    def _travel(self, stroke_mm: float, *, where: Where) -> float:
        """Knob travel (mm) that leaves ``stroke_mm`` on average, tool warm."""
        traits = self._traits
        travel = travel_for(
            max(stroke_mm, 0.1),
            curve=self._curve(where),
            tool_stiffness=traits.tool_stiffness,
            insert_stiffness=traits.insert_stiffness,
        )
        return travel + traits.gap_mm

    def _squeeze(self, travel_mm: float, curve: LoadCurve) -> Squeezed:
        traits = self._traits
        return squeeze(
            travel_mm,
            curve=curve,
            tool_stiffness=traits.tool_stiffness,
            insert_stiffness=traits.insert_stiffness,
            available_n=self._available_n,
        )

    def _mean(self, where: Where) -> Squeezed:
        """The pull without scatter, tool warm, at the present knob position."""
        traits = self._traits
        travel = self._knob_travel_mm - traits.drift_per_cycle_mm * self._cycles - traits.gap_mm
        return self._squeeze(travel, self._curve(where))

    def _true_length_before(self, index: int) -> float:
        traits = self._traits
        length = self.nominals.insert_length_mm + traits.lot_offset_mm
        return length + Chance(self.seed, 2, index).normal(traits.insert_sd_mm)

    def _length_before(self, index: int) -> float:
        traits = self._traits
        error = traits.caliper_bias_mm + Chance(self.seed, 3, index).normal(traits.caliper_sd_mm)
        return rounded(self._true_length_before(index) + error, self.nominals.resolution_mm)

    def _pull(self, where: Where, *, thickness_mm: float | None) -> PracticePull:
        index = len(self._pulls)
        if index >= _MOST_INSERTS:
            raise BadInput("The practice box is empty.", where="pull", hint="Start a new practice job.")
        traits, chance = self._traits, Chance(self.seed, 4, index)
        scatter = chance.normal(traits.pull_sd_mm)
        gap = traits.gap_mm * chance.uniform(0.6, 1.4)
        load_ratio = 1 + chance.normal(traits.load_sd)
        early, lost = chance.happens(traits.bad_pull_chance), chance.uniform(0.3, 1.2)
        travel = (
            self._knob_travel_mm
            + scatter
            - gap
            - traits.cold_shortfall_mm * self._cold
            - traits.drift_per_cycle_mm * self._cycles
            + traits.warm_up_mm * math.exp(-self._cycles / _WARM_UP_CYCLES)
            - (lost if early else 0.0)
        )
        done = self._squeeze(travel, self._curve(where, thickness_mm=thickness_mm, load_ratio=load_ratio))
        before = self._true_length_before(index)
        readings = tuple(self._reading(before - done.stroke_mm, index, number) for number in range(_READINGS))
        pull = PracticePull(
            index=index,
            where=where,
            thickness_mm=thickness_mm,
            length_before_mm=self._length_before(index),
            readings_mm=tuple(value for value, _ in readings),
            misread=tuple(wrong for _, wrong in readings),
            true_length_before_mm=round(before, 6),
            true_length_mm=round(before - done.stroke_mm, 6),
            load_n=round(done.load_n, 1),
            stalled=done.stalled,
            spun_off_early=early,
            cold=self._cold,
        )
        self._pulls.append(pull)
        self._readings_taken = 1
        self._cold *= _COLD_AFTER_PULL
        self._cycles += 1
        return pull

    def _reading(self, length_mm: float, index: int, number: int) -> tuple[float, bool]:
        """One reading and whether it is a misread."""
        traits, nominals = self._traits, self.nominals
        chance = Chance(self.seed, 5, index, number)
        value = length_mm + traits.caliper_bias_mm + chance.normal(traits.caliper_sd_mm)
        if chance.happens(traits.misread_chance):
            return misread(value, unit=nominals.unit, step_mm=nominals.resolution_mm, chance=chance), True
        return rounded(value, nominals.resolution_mm), False


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)

"""The hidden side of a simulated tool: what its temperament and its seed make of it.

All ranges here are engineering judgement, not measurements: they are made so that each temperament shows one kind of
trouble clearly and the others mildly.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from firstpull.errors import BadInput
from firstpull.practice.chance import Chance
from firstpull.practice.nominals import Nominals

TEMPERAMENTS: tuple[str, ...] = (
    "steady",
    "worn",
    "coarse",
    "drifting",
    "near its limit",
    "misreading",
    "short of air",
    "hasty",
)


@dataclass(frozen=True, slots=True)
class Traits:
    """The truth about one simulated tool, lot and gauge. Lengths in mm, loads in N, stiffness in N/mm."""

    lead_ratio: float
    play_turns: float
    play_start: float
    cold_shortfall_mm: float
    warm_up_mm: float
    drift_per_cycle_mm: float
    pull_sd_mm: float
    bad_pull_chance: float
    tilt_chance: float
    lot_offset_mm: float
    insert_sd_mm: float
    load_ratio: float
    load_sd: float
    caliper_sd_mm: float
    caliper_bias_mm: float
    misread_chance: float
    gap_mm: float
    tool_stiffness: float
    insert_stiffness: float
    under_margin_mm: float
    over_margin_mm: float
    start_long_mm: float
    stroke_spare_mm: float | None
    load_spare: float
    pressure_share: float


def check_temperament(name: str) -> str:
    """``name`` when it is one of :data:`TEMPERAMENTS`; raises BadInput with the list."""
    if name not in TEMPERAMENTS:
        raise BadInput(
            f"{name!r} is not a temperament.", where="temperament", hint=f"One of: {', '.join(TEMPERAMENTS)}."
        )
    return name


def draw_traits(seed: int, temperament: str, nominals: Nominals) -> Traits:
    """The traits that ``seed`` and ``temperament`` give. The same inputs always give the same traits."""
    chance = Chance(seed, 0)
    start = chance.uniform(0.25, 0.65)
    traits = Traits(
        lead_ratio=1 + chance.normal(0.015),
        play_turns=chance.uniform(0.02, 0.06),
        play_start=chance.uniform(-0.5, 0.5),
        cold_shortfall_mm=chance.uniform(0.02, 0.05),
        warm_up_mm=chance.uniform(-0.01, 0.01),
        drift_per_cycle_mm=0.0,
        pull_sd_mm=chance.uniform(0.008, 0.014),
        bad_pull_chance=0.0,
        tilt_chance=0.0,
        lot_offset_mm=chance.normal(0.03),
        insert_sd_mm=chance.uniform(0.02, 0.04),
        load_ratio=1 + chance.normal(0.04),
        load_sd=0.02,
        caliper_sd_mm=chance.uniform(0.005, 0.009),
        caliper_bias_mm=chance.normal(0.004),
        misread_chance=0.0,
        gap_mm=chance.uniform(0.01, 0.04),
        tool_stiffness=chance.uniform(35e3, 60e3),
        insert_stiffness=chance.uniform(120e3, 200e3),
        under_margin_mm=chance.uniform(0.02, 0.08),
        over_margin_mm=chance.uniform(0.02, 0.08),
        start_long_mm=start if nominals.start_long_mm is None else nominals.start_long_mm,
        stroke_spare_mm=None,
        load_spare=1.3,
        pressure_share=1.0,
    )
    return _with_temperament(traits, temperament, Chance(seed, 1))


def _with_temperament(traits: Traits, temperament: str, chance: Chance) -> Traits:
    if temperament == "steady":
        return traits
    restless = replace(traits, misread_chance=0.01, bad_pull_chance=0.01, tilt_chance=0.01)
    if temperament == "worn":
        return replace(
            restless,
            lead_ratio=1 + chance.normal(0.05),
            play_turns=chance.uniform(0.12, 0.25),
            cold_shortfall_mm=chance.uniform(0.06, 0.12),
            pull_sd_mm=chance.uniform(0.02, 0.035),
            bad_pull_chance=0.05,
        )
    if temperament == "drifting":
        return replace(restless, drift_per_cycle_mm=chance.uniform(0.004, 0.01), warm_up_mm=chance.uniform(0.02, 0.05))
    if temperament == "misreading":
        return replace(restless, misread_chance=0.2, caliper_sd_mm=chance.uniform(0.01, 0.018))
    if temperament == "short of air":
        return replace(restless, load_spare=1.12, pressure_share=chance.uniform(0.74, 0.8))
    if temperament == "hasty":
        # the hand, not the tool: one pull in four is let go before it is done
        return replace(restless, bad_pull_chance=0.25)
    if temperament == "near its limit":
        # Either the stroke or the air pressure is short; pressure can be raised, stroke can not.
        if chance.happens(0.5):
            return replace(restless, stroke_spare_mm=chance.uniform(-0.2, 0.1))
        return replace(restless, load_spare=1.12, pressure_share=chance.uniform(0.77, 0.83))
    return restless  # coarse: its knob has few clicks, see SimulatedTool

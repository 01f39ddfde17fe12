"""Mandrel and anvil: how far the mandrel goes in, and whether its threads hold the pull."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from firstpull.mechanics.setting import Step


@dataclass(frozen=True, slots=True)
class MandrelPlan:
    """Threads engaged and the margins against the setting load; ``None`` where it is not known.

    ``strip_margin`` = strip load of the weaker thread / setting load; ``tension_margin`` = proof load of the
    mandrel / setting load. ``pull_limit_n`` is the highest pull that leaves 1.25 on both.
    """

    engaged_threads: float | None
    engagement_mm: float | None
    strip_margin: float | None
    tension_margin: float | None
    pull_limit_n: float | None
    weaker: str
    warnings: tuple[str, ...]
    steps: tuple[Step, ...]

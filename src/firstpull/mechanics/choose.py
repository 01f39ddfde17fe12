"""Choosing among inserts: hard checks first, then the roomiest fit."""

from __future__ import annotations

from dataclasses import dataclass

from firstpull.mechanics.insert import Body, End, Head, Insert
from firstpull.mechanics.tool import Tool


@dataclass(frozen=True, slots=True, kw_only=True)
class Needs:
    """What the joint asks for; ``None`` = does not matter. ``room_behind_mm`` is the free room behind the blind side."""

    thread: str
    end: End | None = None
    head: Head | None = None
    body: Body | None = None
    material: str | None = None
    room_behind_mm: float | None = None
    tool: Tool | None = None


@dataclass(frozen=True, slots=True)
class Check:
    """One check: what the joint demands, what the insert or tool offers, and the margin as a share (0 = none)."""

    name: str
    demand: float | str
    capacity: float | str
    margin: float | None
    unit: str
    ok: bool
    text: str


@dataclass(frozen=True, slots=True)
class Candidate:
    """An insert that passes every check; rank 1 is the best. Lengths in mm."""

    insert: Insert
    rank: int
    checks: tuple[Check, ...]
    tightest: Check
    unused_grip_mm: float
    stroke_mm: float | None
    free_protrusion_mm: float | None
    set_protrusion_mm: float | None
    why: str


@dataclass(frozen=True, slots=True)
class Rejected:
    """An insert that fails, the first reason, and the smallest change that would cure it."""

    insert: Insert
    reason: str
    cure: str


@dataclass(frozen=True, slots=True)
class Choice:
    """All inserts looked at: candidates best first, the others with a reason."""

    candidates: tuple[Candidate, ...]
    rejected: tuple[Rejected, ...]
    notes: tuple[str, ...]

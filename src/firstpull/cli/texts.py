"""How answers look on a terminal. Lengths in the unit of the job."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from firstpull.units import LengthUnit, show_mm

if TYPE_CHECKING:
    from firstpull.mechanics.setting import Setting
    from firstpull.record.job import JobState


def table(rows: Iterable[tuple[str, str]]) -> str:
    """Two columns."""
    pairs = list(rows)
    width = max((len(left) for left, _right in pairs), default=0)
    return "\n".join(f"{left:<{width}}  {right}" for left, right in pairs)


def grid(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    """Columns under headings, each as wide as its widest cell."""
    lines = [head, *rows]
    widths = [max(len(line[column]) for line in lines) for column in range(len(head))]
    return "\n".join(
        "  ".join(f"{cell:<{width}}" for cell, width in zip(line, widths, strict=True)).rstrip() for line in lines
    )


def length(value_mm: float | None, unit: LengthUnit) -> str:
    return "–" if value_mm is None else f"{show_mm(value_mm, unit)} {unit}"


def setting_text(found: Setting, *, unit: LengthUnit, title: str) -> str:
    """The setting as a short page."""

    def shown(value: float | None) -> str:
        return length(value, unit)

    window = "none: give the maker's limits, or find them on coupons"
    if found.stroke_min_mm is not None and found.stroke_max_mm is not None:
        window = f"{shown(found.stroke_min_mm)} to {shown(found.stroke_max_mm)} ({found.window_source})"
    lines = [
        title or "Setting",
        table(
            [
                (
                    "Stack",
                    f"{shown(found.thickness_low_mm)} to {shown(found.thickness_high_mm)} ({found.thickness_basis})",
                ),
                ("Unused grip", shown(found.unused_grip_mm)),
                ("Set allowance", f"{shown(found.set_allowance_mm)} ({found.set_allowance_source})"),
                ("Stroke", shown(found.stroke_mm)),
                ("Window", window),
                ("Set length", shown(found.set_length_mm)),
                ("Limits", f"{shown(found.set_length_min_mm)} to {shown(found.set_length_max_mm)}"),
                ("Behind the sheet, set", shown(found.set_protrusion_mm)),
                ("Aim in the air", shown(found.air_target_mm)),
                ("Can be released", "yes, once proven" if found.releasable else "no"),
            ]
        ),
    ]
    if found.knob_move is not None:
        lines += ["", found.knob_move.text]
    lines += _section("Before anything else", found.blockers) + _section("Mind", found.warnings)
    lines += ["", "Steps", *(f"{number:>2}. {step.title}: {step.text}" for number, step in enumerate(found.steps, 1))]
    lines += _section("Cautions", [caution.text for caution in found.cautions])
    return "\n".join(lines)


def job_text(state: JobState, *, owed: Iterable[str], stages: Iterable[tuple[str, str, str]]) -> str:
    """Where a job stands."""
    unit: LengthUnit = "in" if state.unit == "in" else "mm"
    head = f"{state.title} — {state.id}, revision {state.revision}, {state.status}"
    lines = [head, grid(("step", "stands", "owed"), list(stages))]
    setting: Mapping[str, Any] = state.setting or {}
    if setting:
        lines += [
            "",
            table(
                [("Set length", length(setting["set_length_mm"], unit)), ("Stroke", length(setting["stroke_mm"], unit))]
            ),
        ]
    lines += advice_lines(state)
    lines += _section("Owed before a release", list(owed))
    return "\n".join(lines)


def advice_lines(state: JobState) -> list[str]:
    """What the dial-in says to do now."""
    reply = state.advice
    if not reply or state.held is not None:
        return []
    return ["", f"Next: {next_act(reply)}", str(reply.get("why", ""))]


def next_act(reply: Mapping[str, Any]) -> str:
    """An advice in a few words."""
    action = reply.get("action")
    if action == "turn":
        amount = f"{reply['clicks']:+d} clicks" if "clicks" in reply else f"{reply['turns']:+.2f} turns"
        cycles = int(reply.get("dry_cycles") or 0)
        return f"turn {amount}" + (f", then {cycles} cycle(s) without an insert" if cycles else "")
    return {
        "pull": "pull one insert",
        "remeasure": "read the last insert again",
        "dry_cycle": "one cycle without an insert",
        "release": "done: lock the adjuster and hold",
        "refuse": f"refused ({reply.get('reason', '')})",
    }.get(str(action), str(action))


def _section(title: str, items: Iterable[str]) -> list[str]:
    listed = list(items)
    return ["", title, *(f"  - {item}" for item in listed)] if listed else []

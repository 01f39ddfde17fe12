"""Answers as plain data with a ``schema``, the same on the command line, over HTTP and in the library."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from firstpull.jobs.path import owed, path
from firstpull.mechanics.choose import Check, Choice
from firstpull.mechanics.joint.checks import Strength
from firstpull.record.job import Coupon, JobState, Pull


def choice_answer(choice: Choice) -> dict[str, Any]:
    """``firstpull/choice/1``: candidates best first with every check, rejected ones with reason and cure; ``fits`` and
    ``missed`` count all that were looked at, ``misses`` by first reason."""
    return {
        "schema": "firstpull/choice/1",
        "candidates": [
            {
                "rank": found.rank,
                "part": found.insert.part,
                "thread": found.insert.thread,
                "material": found.insert.material,
                "head": found.insert.head,
                "end": found.insert.end,
                "unused_grip_mm": found.unused_grip_mm,
                "stroke_mm": found.stroke_mm,
                "free_protrusion_mm": found.free_protrusion_mm,
                "set_protrusion_mm": found.set_protrusion_mm,
                "tightest": _check(found.tightest),
                "margin": found.margin,
                "worst": _check(found.worst),
                "checks": [_check(check) for check in found.checks],
                "why": found.why,
                **_strength(found.strength),
            }
            for found in choice.candidates
        ],
        "rejected": [{"part": left.insert.part, "reason": left.reason, "cure": left.cure} for left in choice.rejected],
        "fits": choice.fits,
        "missed": choice.missed,
        "misses": dict(choice.misses),
        "notes": list(choice.notes),
    }


def _strength(found: Strength | None) -> dict[str, Any]:
    """Tightening, hole and screw of a candidate; nothing when no joint was reckoned with."""
    if found is None:
        return {}
    return {
        "tightening": asdict(found.tightening),
        "hole": None if found.hole is None else asdict(found.hole),
        "screw": asdict(found.screw),
    }


def job_answer(state: JobState) -> dict[str, Any]:
    """``firstpull/job/1``: where a job stands."""
    return {
        "schema": "firstpull/job/1",
        "job": state.id,
        "sequence": state.sequence,
        "title": state.title,
        "part_name": state.part_name,
        "unit": state.unit,
        "status": state.status,
        "revision": state.revision,
        "revises": state.revises,
        "superseded_by": state.superseded_by,
        "demo": state.demo,
        "needs": state.needs,
        "joint": state.joint,
        "insert": (state.insert or {}).get("part"),
        "tool": state.tool_id,
        "gauge": state.gauge_id,
        "setting": state.setting,
        "advice": state.advice,
        "held": state.held,
        "pulls": [_pull(pull) for pull in state.pulls],
        "coupons": [_coupon(coupon) for coupon in state.coupons],
        "proof": state.proof,
        "path": [asdict(stage) for stage in path(state)],
        "owed": list(owed(state)),
        "released_by": state.released_by,
        "released_at": state.released_at,
        "record_hash": state.release_hash,
        "checks": [
            {"sequence": c.sequence, "at": c.at, "by": c.by, "kind": c.kind, "count": c.count, "result": c.result}
            | {"reasons": list(c.reasons), "struck_out": c.struck_out}
            for c in state.checks
        ],
        "counts": state.counts,
        "stops": [asdict(stop) for stop in state.stops],
    }


def _check(check: Check) -> dict[str, Any]:
    return asdict(check)


def _pull(pull: Pull) -> dict[str, Any]:
    return {
        "sequence": pull.sequence,
        "at": pull.at,
        "by": pull.by,
        "where": pull.where,
        "readings_mm": [reading.mm for reading in pull.readings],
        "typed": [reading.typed for reading in pull.readings],
        "length_before_mm": pull.length_before.mm if pull.length_before else None,
        "struck_out": pull.struck_out,
    }


def _coupon(coupon: Coupon) -> dict[str, Any]:
    return {
        "sequence": coupon.sequence,
        "number": coupon.number,
        "purpose": coupon.purpose,
        "end": coupon.end,
        "set_length_mm": coupon.set_length.mm if coupon.set_length else None,
        "passed": coupon.passed,
        "failed": list(coupon.failed),
        "counts": coupon.counts,
        "struck_out": coupon.struck_out,
    }

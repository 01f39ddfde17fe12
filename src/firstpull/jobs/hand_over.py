"""Hand over: a person releases, the setup card is frozen, and its paper carries the record's id and hash."""

from __future__ import annotations

from typing import Any

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs.dial_in import observed_shift, promise
from firstpull.jobs.prove import plan_of, torque_limit_nm
from firstpull.jobs.shapes import insert_of, tool_of
from firstpull.jobs.workshop import Book, Doing
from firstpull.record.job import JobState
from firstpull.record.rules import release_hindrances
from firstpull.trade.cautions import cautions
from firstpull.units import Length, LengthUnit

SCHEMA = "firstpull/card/1"


def release(book: Book, job_id: str, *, doing: Doing) -> JobState:
    """Release the setting in ``doing.by``'s name and freeze the card.

    Raises Unsafe with every reason that stands in the way; the record's own rules refuse it too, on every interface.
    """
    doing = doing.checked()
    state = book.job(job_id)
    reasons = release_hindrances(state)
    if reasons:
        raise Unsafe("This can not be released yet.", where=job_id, reasons=reasons)
    card = build_card(state, mandrels=_mandrel_name(state))
    seen = state.sequence if doing.seen is None else doing.seen
    release_data = {"name": doing.by, "card": card}
    book.write(f"job:{job_id}", [("Released", release_data)], Doing(doing.by, seen, doing.slip), tool=state.tool_id)
    return book.job(job_id)


def card_of(book: Book, state: JobState) -> dict[str, Any]:
    """The released card as it was frozen, with the hash and moment of its release. Raises Unsafe before a release."""
    if not state.released or state.card is None:
        raise Unsafe(
            "There is no released card.",
            where=state.id,
            hint="Prove and release the setting first.",
            reasons=release_hindrances(state),
        )
    return {
        **state.card,
        "record_id": f"{state.id}#{state.release_sequence}",
        "hash": state.release_hash,
        "released_by": state.released_by,
        "released_at": state.released_at,
        "practice": book.practice,
        "standing": {"superseded": f"replaced by {state.superseded_by}", "stopped": "STOPPED: set no more"}.get(
            state.status, ""
        ),
    }


def card_pdf(book: Book, job_id: str, *, size: str = "A5", unit: LengthUnit | None = None) -> bytes:
    """The released card as PDF, A5 or A4, in the unit the job was proved in unless ``unit`` says otherwise.

    Raises BadInput for another size, Unsafe before a release.
    """
    from firstpull.paper import card_pdf as draw

    if size not in ("A4", "A5"):
        raise BadInput(f"“{size}” is not a size of card.", where="size", hint="A5 or A4.")
    card = card_of(book, book.job(job_id))
    return draw(card, size="A4" if size == "A4" else "A5", unit=unit or card["unit"])


def draft_card(book: Book, job_id: str) -> dict[str, Any]:
    """The card as it would be released now, for looking at before the release. Not a card to set by."""
    state = book.job(job_id)
    if state.setting is None:
        raise Unsafe(
            "There is no setting yet.", where=job_id, hint="Describe the stack, the insert and the tool first."
        )
    return {
        **build_card(state, mandrels=_mandrel_name(state)),
        "record_id": f"{state.id} (not released)",
        "hash": "",
        "released_by": "",
        "released_at": "",
        "practice": book.practice,
        "standing": "NOT RELEASED",
    }


def build_card(state: JobState, *, mandrels: str = "") -> dict[str, Any]:
    """Everything the card says, from the state alone: the same state gives the same card."""
    setting = with_observed_shift(state)
    acts = [step["text"] for step in setting.get("steps", ()) if step["key"] in ("mandrel", "engagement", "anvil")]
    return {
        "schema": SCHEMA,
        "job": state.id,
        "revision": state.revision,
        "title": state.title,
        "part_name": state.part_name,
        "demo": state.demo,
        "unit": state.unit,
        "stack": _stack_lines(state),
        "insert": _insert_lines(state),
        "hole": _hole_lines(state),
        "tool": _tool_lines(state, mandrels),
        "setting": _setting_lines(state),
        "knob": {"text": _knob_text(state)},
        "mandrel_steps": acts,
        "proof": _proof_lines(state),
        "run": _run_lines(state),
        "valid_until": _valid_until(state),
        "sources": _sources(state, setting),
        "cautions": [{"text": item.text, "source": item.source} for item in cautions("always", "air_off", "pull")],
    }


def _stack_lines(state: JobState) -> dict[str, Any]:
    setting, stack = state.setting or {}, state.stack or {}
    layers = [
        {
            "material": layer["material"]
            if layer.get("faces", 1) == 1
            else f"{layer['material']}, {layer['faces']} faces",
            "thickness_mm": Length.from_json(layer["thickness"]).nanometres * layer.get("faces", 1) / 1e6,
            "coating": bool(layer.get("coating")),
        }
        for layer in stack.get("layers", ())
    ]
    return {
        "layers": layers,
        "thickness_mm": setting.get("thickness_mm"),
        "thickness_low_mm": setting.get("thickness_low_mm"),
        "thickness_high_mm": setting.get("thickness_high_mm"),
        "basis": stack.get("thickness", {}).get("basis", ""),
    }


def _hole_lines(state: JobState) -> dict[str, Any]:
    insert = insert_of(state)
    return {
        "diameter_mm": insert.hole_diameter.mm if insert.hole_diameter else None,
        "tolerance_mm": insert.hole_tolerance.mm if insert.hole_tolerance else None,
        "note": "Gauge the hole after painting.",
    }


def _tool_lines(state: JobState, mandrels: str) -> dict[str, Any]:
    insert, tool = insert_of(state), tool_of(state)
    force_set = tool is not None and tool.control == "force"
    return {
        "name": tool.name if tool else "",
        "id": state.tool_id,
        "control": tool.control if tool else "",
        "mandrel": mandrels or insert.thread,
        "anvil": f"for {insert.thread}",
        "pressure_bar": state.pressure_bar if force_set else tool.line_pressure_bar if tool else None,
    }


def _setting_lines(state: JobState) -> dict[str, Any]:
    held, tool = state.held or {}, tool_of(state)
    setting = with_observed_shift(state)
    force_set = tool is not None and tool.control == "force"
    return {
        **{key: setting.get(key) for key in _SETTING_KEYS},
        "pressure_bar": state.pressure_bar if force_set else None,
        "pressure_bar_min": held.get("pressure_bar_min") if force_set else None,
        "pressure_bar_max": held.get("pressure_bar_max") if force_set else None,
    }


def with_observed_shift(state: JobState) -> dict[str, Any]:
    """The setting with the air-to-stack shift that this job's own pulls have shown, where they have."""
    setting, found = dict(state.setting or {}), observed_shift(state)
    if found is None or setting.get("air_target_mm") is None:
        return setting
    return {
        **setting,
        "air_to_stack_mm": found.mean_mm,
        "air_to_stack_sd_mm": found.sd_mm,
        "air_to_stack_source": found.source,
        "air_target_mm": round(float(setting["set_length_mm"]) - found.mean_mm, 6),
    }


def _proof_lines(state: JobState) -> dict[str, Any]:
    proof, held = state.proof or {}, state.held or {}
    good = [coupon for coupon in state.good_coupons if coupon.purpose == "proof"]
    return {
        "sentence": proof.get("sentence", ""),
        "measured": (proof.get("measured") or {}).get("sentence", ""),
        "confidence": held.get("confidence"),
        "dial_in": _dial_in_text(state),
        "rows": proof.get("rows", []),
        "by": ", ".join(sorted({coupon.by for coupon in good})),
        "at": max((coupon.at for coupon in good), default=""),
    }


def _run_lines(state: JobState) -> dict[str, Any]:
    plan, tool = plan_of(state), tool_of(state)
    by_pressure = tool is not None and tool.control == "force"
    return {
        "every_count": plan.check_every_sets,
        "every_minutes": plan.check_every_minutes,
        "checks": [
            "Pressure at the inlet while it cycles: inside its band"
            if by_pressure
            else "Air pull or front gauge: set length inside the limits",
            "Today's stack inside its limits",
            "Head seated, no gap, square",
            "Turning test on a sample",
        ],
        "torque_min_nm": torque_limit_nm(state),
    }


_SETTING_KEYS = (
    "stroke_mm",
    "stroke_min_mm",
    "stroke_max_mm",
    "set_length_mm",
    "set_length_min_mm",
    "set_length_max_mm",
    "air_target_mm",
    "air_to_stack_mm",
    "air_to_stack_sd_mm",
    "set_protrusion_mm",
    "free_protrusion_mm",
    "set_allowance_mm",
    "set_allowance_source",
    "window_source",
    "unused_grip_mm",
)


def _insert_lines(state: JobState) -> dict[str, Any]:
    insert = insert_of(state)
    lines: dict[str, Any] = {
        "part": insert.part or insert.name,
        "thread": insert.thread,
        "material": insert.material,
        "head": insert.head,
        "end": insert.end,
        "body": insert.body,
    }
    for name in (
        "length_free",
        "grip_min",
        "grip_max",
        "flange_diameter",
        "flange_thickness",
        "body_diameter",
        "thread_length",
        "counterbore_diameter",
    ):
        value = getattr(insert, name)
        lines[f"{name}_mm"] = None if value is None else value.mm
    return lines


def _knob_text(state: JobState) -> str:
    if state.pressure_bar is not None:
        return f"Pressure {state.pressure_bar:.2f} bar at the tool's inlet while it cycles. Lock the regulator."
    turns = sum(move.turns for move in state.moves if move.kind == "turn")
    return f"As dialled in and locked ({turns:+.2f} turns from where this job began). Judge by the set length, not by the mark."


def _dial_in_text(state: JobState) -> str:
    held = state.held or {}
    if held.get("confidence") is None:
        return f"Pressure found upward on {held.get('coupons', 0)} coupons." if held else ""
    aim = promise(state)
    return (
        f"Tool's mean inside its limits with {float(held['confidence']) * 100:.1f} % confidence after {held['pulls']} pulls; "
        f"limits set so that {aim.share * 100:g} % of sets, scattering {aim.sigma_mm:.3f} mm (one sigma), stay in the window."
    )


def _valid_until(state: JobState) -> list[str]:
    insert, setting = insert_of(state), state.setting or {}
    mandrel = (state.mandrel or {}).get("id", "")
    lines = [
        "another lot of inserts",
        f"a stack outside {setting.get('thickness_low_mm', 0):.2f} to {setting.get('thickness_high_mm', 0):.2f} mm",
        f"another tool than {state.tool_id}" if state.tool_id else "another tool",
        f"another mandrel than {mandrel}" if mandrel else "another mandrel",
        "another air pressure, oil or lubrication",
        "the adjuster touched, or the tool serviced",
        "a stop in the run",
    ]
    return [*lines, f"another part than {insert.name}"]


def _sources(state: JobState, setting: dict[str, Any]) -> list[dict[str, Any]]:
    thick = (state.stack or {}).get("thickness", {})
    return [
        {"what": "Stack thickness", "value_mm": setting.get("thickness_mm"), "source": str(thick.get("basis", ""))},
        {
            "what": "Set allowance",
            "value_mm": setting.get("set_allowance_mm"),
            "source": str(setting.get("set_allowance_source", "")),
        },
        {
            "what": "Stroke",
            "value_mm": setting.get("stroke_mm"),
            "source": "greatest grip − stack + set allowance",
        },
        {
            "what": "Stroke, least",
            "value_mm": setting.get("stroke_min_mm"),
            "source": str(setting.get("window_source") or "no window"),
        },
        {
            "what": "Stroke, greatest",
            "value_mm": setting.get("stroke_max_mm"),
            "source": str(setting.get("window_source") or "no window"),
        },
        {
            "what": "Air-to-stack shift",
            "value_mm": setting.get("air_to_stack_mm"),
            "source": f"{setting.get('air_to_stack_source', '')}; one standard doubt {setting.get('air_to_stack_sd_mm', 0):.3f} mm",
        },
    ]


def _mandrel_name(state: JobState) -> str:
    mandrel = state.mandrel or {}
    return f"{mandrel['id']} ({mandrel['thread']})" if mandrel else ""

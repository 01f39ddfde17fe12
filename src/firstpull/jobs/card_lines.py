"""Everything the setup card says, from a job's state alone: the same state gives the same card."""

from __future__ import annotations

from typing import Any

from firstpull.jobs.dial_in import fine_length, observed_shift, promise
from firstpull.jobs.prove import plan_of, torque_limit_nm
from firstpull.jobs.shapes import insert_of, set_length_limits_mm, stack_of, tool_of, unit_of
from firstpull.mechanics.stack import has_soft_layer
from firstpull.record.job import JobState
from firstpull.trade.cautions import cautions
from firstpull.units import Length, show_mm

SCHEMA = "firstpull/card/1"


def build_card(state: JobState, *, overdue: tuple[str, ...] = ()) -> dict[str, Any]:
    """The card of the setting as it stands, schema ``firstpull/card/1``: lengths in mm, sentences in the job's unit.
    ``overdue`` is what was past its date or limit at the tool or the gauge. Raises Unsafe without stack or insert."""
    setting = card_setting(state)
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
        "tool": _tool_lines(state),
        "setting": _setting_lines(state),
        "knob": {"text": _knob_text(state)},
        "mandrel_steps": acts,
        "proof": _proof_lines(state, overdue),
        "run": _run_lines(state),
        "valid_until": _valid_until(state),
        "sources": _sources(state, setting),
        "cautions": _caution_lines(state),
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


def _tool_lines(state: JobState) -> dict[str, Any]:
    insert, tool = insert_of(state), tool_of(state)
    force_set = tool is not None and tool.control == "force"
    return {
        "name": tool.name if tool else "",
        "id": state.tool_id,
        "control": tool.control if tool else "",
        "mandrel": _mandrel_name(state) or insert.thread,
        "anvil": f"for {insert.thread}",
        "pressure_bar": state.pressure_bar if force_set else tool.line_pressure_bar if tool else None,
    }


def _setting_lines(state: JobState) -> dict[str, Any]:
    held, tool = state.held or {}, tool_of(state)
    setting = card_setting(state)
    force_set = tool is not None and tool.control == "force"
    return {
        **{key: setting.get(key) for key in _SETTING_KEYS},
        "pressure_bar": state.pressure_bar if force_set else None,
        "pressure_bar_min": held.get("pressure_bar_min") if force_set else None,
        "pressure_bar_max": held.get("pressure_bar_max") if force_set else None,
    }


def card_setting(state: JobState) -> dict[str, Any]:
    """The setting as the card holds it: limits that serve the whole batch, and the air-to-stack shift that this job's
    own pulls have shown, where they have."""
    setting, found = dict(state.setting or {}), observed_shift(state)
    limits = set_length_limits_mm(state)
    if limits is not None:
        setting["stroke_min_mm"], setting["stroke_max_mm"] = (
            setting["batch_stroke_min_mm"],
            setting["batch_stroke_max_mm"],
        )
        setting["set_length_min_mm"], setting["set_length_max_mm"] = limits
    if found is None or setting.get("air_target_mm") is None:
        return setting
    return {
        **setting,
        "air_to_stack_mm": found.mean_mm,
        "air_to_stack_sd_mm": found.sd_mm,
        "air_to_stack_source": found.source,
        "air_target_mm": round(float(setting["set_length_mm"]) - found.mean_mm, 6),
    }


def _proof_lines(state: JobState, overdue: tuple[str, ...]) -> dict[str, Any]:
    proof, held = state.proof or {}, state.held or {}
    good = [coupon for coupon in state.good_coupons if coupon.purpose == "proof"]
    return {
        "sentence": proof.get("sentence", ""),
        "measured": (proof.get("measured") or {}).get("sentence", ""),
        "mean": (proof.get("measured") or {}).get("mean_sentence", ""),
        "gauge": (proof.get("measured") or {}).get("gauge_sentence", ""),
        "torque": (proof.get("torque") or {}).get("sentence", ""),
        "confidence": held.get("confidence"),
        "dial_in": _dial_in_text(state),
        "overdue": f"Overdue at the release: {' '.join(overdue)}" if overdue else "",
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
    turns, tool = sum(move.turns for move in state.moves if move.kind == "turn"), tool_of(state)
    more = (turns > 0) == (tool is None or tool.plus_turns == "more stroke")
    moved = (
        f" ({abs(turns):.2f} turns towards {'more' if more else 'less'} stroke from where this job began)"
        if turns
        else ""
    )
    return f"As dialled in and locked{moved}. Judge by the set length, not by the mark."


def _dial_in_text(state: JobState) -> str:
    held = state.held or {}
    if held.get("confidence") is None:
        return f"Pressure found upward on {held.get('coupons', 0)} coupons." if held else ""
    aim = promise(state)
    share, sigma = float(held.get("share", aim.share)), float(held.get("sigma_mm", aim.sigma_mm))
    return (
        f"Tool's mean inside its limits with {float(held['confidence']) * 100:.1f} % confidence after {held['pulls']} pulls; "
        f"limits set so that {share * 100:g} % of sets, scattering {fine_length(sigma, unit_of(state))} (one sigma), stay in the window."
    )


def _valid_until(state: JobState) -> list[str]:
    insert, setting, unit = insert_of(state), state.setting or {}, unit_of(state)
    mandrel = (state.mandrel or {}).get("id", "")
    thin, thick = (show_mm(float(setting.get(f"thickness_{end}_mm") or 0.0), unit) for end in ("low", "high"))
    lines = [
        "another lot of inserts",
        f"a stack outside {thin} to {thick} {unit}",
        f"another tool than {state.tool_id}" if state.tool_id else "another tool",
        f"another mandrel than {mandrel}" if mandrel else "another mandrel",
        "another air pressure, oil or lubrication",
        "the regulator touched, or the tool serviced"
        if state.pressure_bar is not None
        else "the adjuster touched, or the tool serviced",
        "a stop in the run",
    ]
    return [*lines, f"another part than {insert.name}"]


def _caution_lines(state: JobState) -> list[dict[str, str]]:
    """The cautions of every moment that the card is used at; those of soft sheets where there is one."""
    stack, _batch = stack_of(state)
    soft = ("composite",) if has_soft_layer(stack) else ()
    due = cautions("always", "air_off", "air_on", "pull", "remove", *soft)
    return [{"text": item.text, "source": item.source} for item in due]


def _sources(state: JobState, setting: dict[str, Any]) -> list[dict[str, Any]]:
    """Each number of the card with where it comes from; lengths as ``value_mm``, others as written."""
    insert, doubt = insert_of(state), fine_length(float(setting.get("air_to_stack_sd_mm") or 0.0), unit_of(state))
    row_of_insert = f"insert {insert.part or insert.name}, {state.insert_source or 'as given'}"
    window = str(setting.get("window_source") or "no window")
    lengths: tuple[tuple[str, Any, str], ...] = (
        ("Stack thickness", setting.get("thickness_mm"), _stack_source(state)),
        ("Stack, thinnest", setting.get("thickness_low_mm"), _spread_source(state)),
        ("Stack, thickest", setting.get("thickness_high_mm"), _spread_source(state)),
        ("Free length, grip", insert.length_free.mm, row_of_insert),
        ("Hole", insert.hole_diameter.mm if insert.hole_diameter else None, row_of_insert),
        ("Set allowance", setting.get("set_allowance_mm"), str(setting.get("set_allowance_source", ""))),
        ("Stroke", setting.get("stroke_mm"), "greatest grip − stack + set allowance"),
        ("Stroke, least", setting.get("stroke_min_mm"), window),
        ("Stroke, greatest", setting.get("stroke_max_mm"), window),
        ("Set length", setting.get("set_length_mm"), "free length − stroke; its limits likewise"),
        (
            "Air-to-stack shift",
            None if state.pressure_bar is not None else setting.get("air_to_stack_mm"),
            f"{setting.get('air_to_stack_source', '')}; one standard doubt {doubt}",
        ),
        ("Air pull", setting.get("air_target_mm"), "set length − air-to-stack shift"),
    )
    rows = [{"what": what, "value_mm": value, "source": source} for what, value, source in lengths if value is not None]
    return [*rows, *_other_sources(state)]


def _other_sources(state: JobState) -> list[dict[str, Any]]:
    """The sources of what is no length: scatter, turning torque, pressure, the interval of checks."""
    plan, tool, torque = plan_of(state), tool_of(state), torque_limit_nm(state)
    rows: list[dict[str, Any]] = []
    if tool is not None and tool.control == "stroke":
        stated = state.tool_source or "as stated for this tool"
        rows.append({"what": "Scatter of the tool", "value_mm": tool.process_sd_mm, "source": stated})
    if torque is not None:
        planned = plan.torque_min_nm is not None
        source = "proof plan" if planned else "the insert’s greatest tightening torque"
        rows.append({"what": "Turning torque, least", "value": f"{torque:.1f} N·m", "source": source})
    pressure = state.pressure_bar if state.pressure_bar is not None else tool.line_pressure_bar if tool else None
    if pressure is not None:
        source = "coupon ladder" if state.pressure_bar is not None else state.tool_source or "as stated for this tool"
        rows.append({"what": "Air pressure", "value_bar": pressure, "source": source})
    every = f"{plan.check_every_sets} sets, {plan.check_every_minutes} min"
    planned_by = "proof plan" if state.plan else "the bench’s usual plan"
    rows.append({"what": "Checks every", "value": every, "source": planned_by})
    return rows


def _stack_source(state: JobState) -> str:
    stack, _batch = stack_of(state)
    if not stack.readings:
        return "nominal, not measured"
    return f"mean of {len(stack.readings)} reading{'s' if len(stack.readings) > 1 else ''}"


def _spread_source(state: JobState) -> str:
    stack, batch = stack_of(state)
    if batch is not None:
        return "the batch as stated"
    return "readings with the gauge’s uncertainty" if stack.readings else "sum of the layers’ tolerances"


def _mandrel_name(state: JobState) -> str:
    mandrel = state.mandrel or {}
    return f"{mandrel['id']} ({mandrel['thread']})" if mandrel else ""

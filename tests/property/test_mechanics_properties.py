"""What holds for any stack, insert and tool."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from firstpull.errors import BadInput, FirstpullError, Unsafe
from firstpull.mechanics.choose import Needs, choose
from firstpull.mechanics.insert import FORM, NAMES, Insert
from firstpull.mechanics.pressure import pressure_ladder
from firstpull.mechanics.request import AirToStack, Allowance, Batch, GivenWindow, SettingRequest
from firstpull.mechanics.setting import compute_setting
from firstpull.mechanics.stack import Layer, Stack, thickness
from firstpull.mechanics.tool import Tool, capacity, knob_move
from firstpull.units import Length, parse_length, show_length
from mechanics_examples import KNOB, LIMITS, M6, SQUEEZE

NM = 1_000_000
UNTIMED = settings(deadline=None)  # the first call loads the tables; other work shares the machine
inside_nm = st.integers(min_value=500_000, max_value=3_000_000)
lengths = st.one_of(st.integers(min_value=1, max_value=4 * NM), st.integers(min_value=-NM, max_value=2000 * NM)).map(
    Length
)
any_float = st.one_of(st.floats(min_value=0, max_value=1), st.floats(min_value=0, max_value=20_000), st.floats())


def _of(*sheets_nm: int) -> Stack:
    return Stack(tuple(Layer("sheet", Length(sheet)) for sheet in sheets_nm))


def _numbers(value: Any) -> list[float]:
    if isinstance(value, dict):
        return [number for item in value.values() for number in _numbers(item)]
    if isinstance(value, list):
        return [number for item in value for number in _numbers(item)]
    return [value] if isinstance(value, float) else []


@UNTIMED
@given(thin=inside_nm, thick=inside_nm)
def test_a_thinner_stack_needs_more_stroke_one_for_one(thin: int, thick: int) -> None:
    """What the stack loses the stroke gains, to the nanometre."""
    strokes = [
        compute_setting(SettingRequest(insert=M6, stack=_of(sheet), tool=KNOB)).stroke_mm for sheet in (thin, thick)
    ]
    assert round((strokes[0] - strokes[1]) * NM) == thick - thin


@UNTIMED
@given(tenths=st.lists(st.integers(min_value=1, max_value=300), min_size=1, max_size=4))
def test_typing_inches_or_millimetres_changes_nothing(tenths: list[int]) -> None:
    """The same stack typed in thousandths of an inch or in mm gives the same thickness, to the last digit."""
    thou = [parse_length(f"{value / 10} thou") for value in tenths]
    metric = [parse_length(show_length(value, "mm", decimals=6) + " mm") for value in thou]
    first, second = (thickness(Stack(tuple(Layer("sheet", value) for value in row))) for row in (thou, metric))
    assert first == second


@UNTIMED
@given(sheet=inside_nm)
def test_the_unit_of_the_texts_changes_no_number(sheet: int) -> None:
    """Texts in inches stand beside exactly the same numbers."""
    request = SettingRequest(insert=M6, stack=_of(sheet), tool=KNOB, present_set_length=Length(11 * NM))
    assert _numbers(compute_setting(request).as_dict()) == _numbers(compute_setting(request, unit="in").as_dict())


@UNTIMED
@given(
    grips=st.lists(st.tuples(st.integers(0, 6 * NM), st.integers(0, 6 * NM)), max_size=12),
    sheet=st.integers(1, 6 * NM),
    tolerance=st.integers(0, 500_000),
)
def test_no_candidate_leaves_the_stack_outside_its_grip(
    grips: list[tuple[int, int]], sheet: int, tolerance: int
) -> None:
    """Every candidate encloses the thinnest and thickest stack, and every insert is either chosen or rejected."""
    assume(tolerance <= sheet)
    stack = Stack((Layer("sheet", Length(sheet), Length(tolerance)),))
    inserts = [
        replace(M6, part=str(index), grip_min=Length(low), grip_max=Length(high), length_free=Length(25 * NM))
        for index, (low, high) in enumerate(grips)
    ]
    choice = choose(inserts, stack=stack, needs=Needs(thread="M6", tool=KNOB))
    size = thickness(stack)
    for candidate in choice.candidates:
        assert candidate.insert.grip_min.mm <= size.low_mm
        assert size.high_mm <= candidate.insert.grip_max.mm
        assert (candidate.tightest.margin or 0.0) >= 0
    assert len(choice.candidates) + len(choice.rejected) == len(inserts)
    margins = [candidate.tightest.margin or 0.0 for candidate in choice.candidates]
    assert margins == sorted(margins, reverse=True)


@UNTIMED
@given(sheet=st.integers(1, 6 * NM))
def test_a_setting_exists_only_inside_the_grip(sheet: int) -> None:
    """Inside the grip there is a setting, outside it is Unsafe."""
    inside = M6.grip_min.nanometres <= sheet <= M6.grip_max.nanometres
    try:
        compute_setting(SettingRequest(insert=M6, stack=_of(sheet)))
    except Unsafe:
        assert not inside
    else:
        assert inside


@UNTIMED
@given(
    low=st.integers(2 * NM, 5 * NM),
    width=st.integers(1, 2 * NM),
    thin=inside_nm,
    thick=inside_nm,
)
def test_where_one_setting_serves_both_ends_are_inside_their_limits(
    low: int, width: int, thin: int, thick: int
) -> None:
    """The window over the batch lies inside the limits of the thinnest and of the thickest stack."""
    thin, thick = sorted((thin, thick))
    window = GivenWindow(Length(low), Length(low + width))
    request = SettingRequest(
        insert=M6, stack=_of((thin + thick) // 2), tool=KNOB, window=window, batch=Batch(Length(thin), Length(thick))
    )
    setting = compute_setting(request)
    if setting.batch_stroke_min_mm is None or setting.batch_stroke_max_mm is None:
        assert not setting.releasable
        return
    for end in setting.ends:
        assert end.stroke_min_mm is not None
        assert end.stroke_max_mm is not None
        assert end.stroke_min_mm - 1e-9 <= setting.batch_stroke_min_mm
        assert setting.batch_stroke_max_mm <= end.stroke_max_mm + 1e-9


@UNTIMED
@given(
    present=st.integers(5 * NM, 20 * NM),
    target=st.integers(5 * NM, 20 * NM),
    lead=st.integers(100_000, 2 * NM),
    clicks=st.one_of(st.none(), st.integers(1, 60)),
    plus=st.sampled_from(("more stroke", "less stroke")),
)
def test_after_the_move_only_the_leftover_is_left(
    present: int, target: int, lead: int, clicks: int | None, plus: Any
) -> None:
    """Turning as told brings the set length to the target but for the leftover, at most half a click."""
    tool = Tool(control="stroke", lead_per_turn=Length(lead), clicks_per_turn=clicks, plus_turns=plus)
    move = knob_move(tool, present_set_length_mm=present / NM, target_set_length_mm=target / NM)
    more = move.turns if plus == "more stroke" else -move.turns
    assert math.isclose(present / NM - more * lead / NM, target / NM + move.leftover_mm, abs_tol=2e-6)
    assert abs(move.leftover_mm) <= (lead / NM / clicks / 2 if clicks else 0) + 2e-6


@settings(max_examples=200, deadline=None)
@given(
    fields=st.fixed_dictionaries(
        {},
        optional={
            **dict.fromkeys(sorted(FORM.lengths), st.one_of(st.none(), lengths)),
            **dict.fromkeys(sorted(FORM.numbers), st.one_of(st.none(), any_float)),
            "head_marks": st.one_of(st.none(), st.integers()),
            "head": st.sampled_from(("flat", "countersunk", "")),
            "end": st.sampled_from(("open", "closed", "x")),
            "grip_datum": st.sampled_from(("flange", "surface")),
            "thread": st.one_of(st.sampled_from(("M6", "1/4-20", "M3")), st.text(max_size=6)),
            "material": st.text(max_size=6),
        },
    ),
    layers=st.lists(st.tuples(lengths, st.one_of(st.none(), lengths), st.booleans(), st.integers(-1, 4)), max_size=3),
    readings=st.lists(lengths, max_size=3),
    gauge=st.tuples(any_float, any_float),
    tool=st.sampled_from((None, KNOB, SQUEEZE, replace(KNOB, clicks_per_turn=None))),
    allowance=st.one_of(st.none(), st.tuples(lengths, st.one_of(st.none(), any_float))),
    window=st.one_of(st.none(), st.tuples(lengths, lengths)),
    shift=st.one_of(st.none(), st.tuples(any_float, any_float)),
    batch=st.one_of(st.none(), st.tuples(lengths, lengths)),
    rest=st.tuples(st.one_of(st.none(), lengths), any_float, st.one_of(st.none(), any_float)),
)
def test_any_input_gives_finite_values_or_our_errors(  # every argument is one strand of nonsense
    fields: dict[str, Any],
    layers: list[Any],
    readings: list[Length],
    gauge: tuple[float, float],
    tool: Tool | None,
    allowance: Any,
    window: Any,
    shift: Any,
    batch: Any,
    rest: Any,
) -> None:
    """Whatever comes in, what comes out is finite JSON or one of our errors."""
    request = SettingRequest(
        insert=replace(M6, **{name: value for name, value in fields.items() if name in NAMES}),
        stack=Stack(tuple(Layer("sheet", *layer) for layer in layers), tuple(readings), *gauge),
        tool=tool,
        allowance=None if allowance is None else Allowance(*allowance),
        window=None if window is None else GivenWindow(*window),
        shift=None if shift is None else AirToStack(*shift),
        batch=None if batch is None else Batch(*batch),
        present_set_length=rest[0],
        gap_mm=rest[1],
        load_ceiling_n=rest[2],
    )
    try:
        data = compute_setting(request).as_dict()
    except FirstpullError:
        return
    json.dumps(data, allow_nan=False)


@UNTIMED
@given(
    sheet=inside_nm,
    fields=st.fixed_dictionaries(
        {},
        optional={
            "length_free": st.integers(12 * NM, 20 * NM).map(Length),
            "thread_length": st.one_of(st.none(), st.integers(1, 5 * NM).map(Length)),
            "flange_thickness": st.one_of(st.none(), st.integers(1, 2 * NM).map(Length)),
            "end": st.sampled_from(("open", "closed")),
            "setting_load_n": st.one_of(st.none(), st.floats(1e-3, 8000)),
        },
    ),
    tool=st.sampled_from((None, KNOB, SQUEEZE)),
    window=st.sampled_from((None, LIMITS)),
)
def test_sensible_input_gives_a_setting_that_adds_up(
    sheet: int, fields: dict[str, Any], tool: Tool | None, window: Any
) -> None:
    """For a consistent insert the setting exists, and set length plus stroke is the free length."""
    setting = None
    try:
        setting = compute_setting(
            SettingRequest(insert=replace(M6, **fields), stack=_of(sheet), tool=tool, window=window)
        )
    except (Unsafe, BadInput) as refused:
        refused_at = refused.where
    else:
        refused_at = ""
    if setting is None:
        assert refused_at in ("tool", "insert.length_free")
        return
    free = fields.get("length_free", M6.length_free)
    assert round((setting.set_length_mm + setting.stroke_mm) * NM) == free.nanometres
    assert setting.releasable == (not setting.blockers)


@UNTIMED
@given(stroke=any_float, load=any_float, gap=any_float, spring=any_float)
def test_capacity_is_finite_or_refused(stroke: float, load: float, gap: float, spring: float) -> None:
    """Any numbers give a finite capacity or our error."""
    try:
        found = capacity(KNOB, stroke_mm=stroke, load_n=load, gap_mm=gap, springback_mm=spring)
    except BadInput:
        return
    assert math.isfinite(found.gross_stroke_mm)
    assert found.ok == (not found.reasons)


@UNTIMED
@given(low=any_float, high=any_float, rungs=st.integers(-2, 60), area=st.floats(1e-3, 1e6), ratio=st.floats(1e-3, 1e3))
def test_a_ladder_only_climbs_and_never_passes_a_limit(
    low: float, high: float, rungs: int, area: float, ratio: float
) -> None:
    """Each rung is above the one before, and none passes the load limit or the inlet pressure."""
    tool = replace(SQUEEZE, piston_area_mm2=area, ratio=ratio)
    try:
        ladder = pressure_ladder(tool, load_low_n=low, load_high_n=high, rungs=rungs)
    except FirstpullError:
        return
    pressures = [rung.pressure_bar for rung in ladder.rungs]
    assert pressures == sorted(pressures)
    assert all(math.isfinite(rung.load_n) and rung.load_n <= high + 0.05 for rung in ladder.rungs)
    assert pressures[-1] <= 6.0


records = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.sampled_from((*NAMES, "nm", "layers", "control")), inner, max_size=5),
    ),
    max_leaves=12,
)


@UNTIMED
@given(data=records)
def test_any_record_is_read_or_refused(data: Any) -> None:
    """Whatever stands in a record, reading it gives the thing or our error."""
    for reader in (Insert.from_json, Tool.from_json, Stack.from_json, Layer.from_json):
        try:
            read = reader(data)
        except BadInput:
            continue
        assert reader(read.to_json()) == read

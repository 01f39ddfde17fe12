"""The trade's look-ups hold for any text and any size."""

import math

from hypothesis import given
from hypothesis import strategies as st

from firstpull.errors import BadInput
from firstpull.trade.drills import drill, drills, nearest_drills
from firstpull.trade.lookup import KINDS, lookup
from firstpull.trade.materials import coating, insert_material, sheet_material
from firstpull.trade.screws import (
    nut_factor,
    preload_from_torque,
    preload_n,
    property_class,
    property_class_names,
    tightening_torque_nm,
)
from firstpull.trade.sheet_gauges import METALS, parse_thickness, sheet_gauge
from firstpull.trade.threads import strip_areas, thread, thread_designations
from firstpull.units import Length

THREADS = st.sampled_from(thread_designations()).map(thread)
PIECES = st.sampled_from(
    [
        "M",
        "m",
        "6",
        "10",
        "1/4",
        "#",
        "x",
        "×",
        "-",
        "20",
        "32",
        "UNC",
        "unf",
        "2B",
        "6H",
        " ",
        ".",
        ",",
        "ga",
        "gauge",
        "16",
        "steel",
        "al",
        "galv",
        "mm",
        "in",
        '"',
        "/",
        "0",
        "drill",
        "no.",
    ]
)
NEARLY = st.one_of(st.text(max_size=80), st.lists(PIECES, max_size=8).map("".join))


def tried(call, *arguments, **options):
    """The value that ``call`` gives and no refusal, or no value and the refusal that it raised."""
    try:
        return call(*arguments, **options), None
    except BadInput as refused:
        return None, refused


def finite(value):
    """Whether every number in a plain answer is finite."""
    if isinstance(value, dict):
        return all(finite(one) for one in value.values())
    if isinstance(value, list):
        return all(finite(one) for one in value)
    return not isinstance(value, float) or math.isfinite(value)


@given(st.sampled_from(KINDS), NEARLY, st.one_of(st.none(), st.integers(-(10**10), 10**10).map(Length)))
def test_any_text_is_looked_up_or_refused(kind, text, engagement):
    """Whatever is typed, the answer is finite or BadInput says what would be right."""
    answer, refused = tried(lookup, kind, text, engagement=engagement)
    if refused is not None:
        assert refused.what
        assert refused.hint
    else:
        assert finite(answer)


@given(NEARLY)
def test_any_text_is_a_thread_and_its_designation_finds_it_again(text):
    """What reads as a thread has a designation that reads as the same thread."""
    try:
        found = thread(text)
    except BadInput:
        return
    assert thread(found.designation) == found


@given(NEARLY)
def test_any_text_is_a_thickness_or_our_refusal(text):
    """Whatever is typed as a thickness, it is read with its text kept, or refused."""
    read, refused = tried(parse_thickness, text)
    assert read.typed == text.strip() if refused is None else refused.hint


@given(NEARLY)
def test_any_text_is_a_material_a_class_or_our_answer(text):
    """Whatever is typed as a material, coating, class or thread state, the answer is one held, None or BadInput."""
    for find in (sheet_material, insert_material, coating):
        found = find(text)
        assert found is None or found.name
    for find in (property_class, nut_factor, drill):
        found, refused = tried(find, text)
        assert found is not None if refused is None else refused.hint


@given(THREADS)
def test_thread_limits_are_ordered_and_leave_room(found):
    """Max is over min, the screw lies under the insert everywhere, and every diameter is in its order."""
    outer, inner = found.external, found.internal
    assert outer.major_max_mm > outer.major_min_mm > outer.pitch_max_mm > outer.pitch_min_mm > 0
    assert inner.pitch_max_mm > inner.pitch_min_mm > inner.minor_max_mm > inner.minor_min_mm > 0
    assert outer.pitch_max_mm < inner.pitch_min_mm
    assert outer.major_max_mm < found.major_mm
    # only the formulas of the strip areas need this: crests overlap at the worst limits
    assert outer.major_min_mm > inner.minor_max_mm


@given(THREADS, st.floats(0.01, 500), st.floats(1.001, 2.0))
def test_strip_areas_grow_with_engagement(found, engagement_mm, times):
    """More engagement, more strip area, in proportion; the internal area is the larger one."""
    short, long = strip_areas(found, engagement_mm), strip_areas(found, engagement_mm * times)
    assert 0 < short.external_area_mm2 < long.external_area_mm2
    assert 0 < short.internal_area_mm2 < long.internal_area_mm2
    assert short.external_area_mm2 < short.internal_area_mm2
    assert math.isclose(long.internal_area_mm2, short.internal_area_mm2 * times, rel_tol=1e-3)


@given(st.sampled_from(METALS), st.integers(-5, 60))
def test_a_higher_gauge_number_is_a_thinner_sheet(metal, gauge):
    """Within one metal, each higher gauge number is thinner."""
    try:
        thick, thin = sheet_gauge(f"{gauge} ga {metal}"), sheet_gauge(f"{gauge + 1} ga {metal}")
    except BadInput:
        return
    assert thin.thickness < thick.thickness


@given(st.floats(0.3, 30.0), st.integers(1, 12))
def test_nearest_drills_are_the_nearest(diameter_mm, count):
    """Misfit grows along the answer, and every drill left out fits no better than the last one given."""
    given_drills = nearest_drills(diameter_mm, count=count)
    misfits = [abs(one.misfit_mm(diameter_mm)) for one in given_drills]
    assert len(given_drills) == count
    assert misfits == sorted(misfits)
    left_out = [one for one in drills() if one not in given_drills]
    assert all(abs(one.misfit_mm(diameter_mm)) >= misfits[-1] for one in left_out)


@given(THREADS, st.sampled_from(property_class_names()), st.floats(0.01, 1.0), st.sampled_from(["dry", "lubricated"]))
def test_torque_follows_from_preload_and_back(found, name, share, condition):
    """Preload under the proof load gives a torque whose expected tension is that preload, inside its range."""
    tension_n = preload_n(found, property_class(name), share_of_proof=share)
    preload = preload_from_torque(
        found, tightening_torque_nm(found, tension_n, condition=condition), condition=condition
    )
    assert math.isclose(preload.expected_n, tension_n, rel_tol=1e-3)
    assert preload.low_n < preload.expected_n < preload.high_n

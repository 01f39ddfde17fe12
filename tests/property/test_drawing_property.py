"""Any lengths and any words make a well-formed drawing or raise our error."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from drawing_reader import check_words, read
from firstpull.drawing import svg
from firstpull.drawing.charts import ChartPoint, convergence_chart
from firstpull.drawing.section import InsertShape, joint_section
from firstpull.errors import BadInput

LENGTH = st.floats(0.05, 200)
MAYBE = st.none() | st.floats(-1, 60)


@given(
    st.builds(
        InsertShape,
        st.floats(1, 120),
        MAYBE,
        MAYBE,
        MAYBE,
        MAYBE,
        MAYBE,
        MAYBE,
        st.sampled_from(["flat", "countersunk", "low profile"]),
        st.sampled_from(["open", "closed"]),
    ),
    LENGTH,
    st.none() | LENGTH,
    st.lists(st.tuples(st.text(max_size=60), st.floats(0, 10), st.booleans()), max_size=8),
    st.sampled_from(["mm", "in"]),
)
@settings(max_examples=120, deadline=None)
def test_any_joint_is_drawn(shape, thickness, set_length, layers, unit) -> None:
    """Whatever the lengths, the section is well-formed and finite."""
    read(joint_section(shape, thickness_mm=thickness, set_length_mm=set_length, unit=unit, layers=layers))


@given(
    st.lists(
        st.tuples(st.floats(0.1, 60), st.sampled_from(["air", "stack"]), st.booleans(), st.booleans()), max_size=12
    ),
    st.none() | st.tuples(st.floats(1, 20), st.floats(0, 2)),
    st.none() | st.tuples(st.floats(1, 20), st.floats(0, 2)),
)
@settings(max_examples=80, deadline=None)
def test_any_pulls_make_a_chart(pulls, belief, expected) -> None:
    """Whatever was pulled, the words stay inside the chart."""
    given_points = [ChartPoint(n + 1, v, w, s, d) for n, (v, w, s, d) in enumerate(pulls)]
    made = convergence_chart(given_points, window=(10.0, 11.0), target=10.5, belief=belief, expected=expected)
    check_words(read(made))


@given(st.text(max_size=80), st.floats())
def test_any_text_is_written_or_refused(text: str, place: float) -> None:
    """Every text is escaped; a place that is not finite is our error."""
    try:
        drawing = svg.sheet(svg.text(text, (place, 1.0)), width=9, height=9, title=text, description=text)
    except BadInput:
        assert not -1e308 < place < 1e308
        return
    read(drawing) if svg.clean(text) else None

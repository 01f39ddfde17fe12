"""What a few pulls say of a knob. Least squares and the slope's standard error s/√Sxx: NIST/SEMATECH e-Handbook of
Statistical Methods, 4.4.3.1 and 4.1.4.1."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.errors import BadInput
from firstpull.statistics.knob import fit_knob

UNTIMED = settings(deadline=None)  # the first call loads numpy
LEADS = st.floats(0.05, 1.5) | st.floats(-1.5, -0.05)


@UNTIMED
@given(lead=LEADS, start=st.floats(0.5, 5))
def test_an_exact_line_is_recovered(lead, start):
    """Pulls without scatter, reached from one side, give the lead with its sign and the stroke at the start."""
    fit = fit_knob([(turns, start + lead * turns) for turns in (0.0, 2.0, 4.0)], least_scatter_mm=1e-6)
    assert fit.lead_mm == pytest.approx(lead, abs=1e-9)
    assert fit.stroke_at_zero_mm == pytest.approx(start, abs=1e-9)
    assert fit.play_turns is None
    assert fit.n == 3


@UNTIMED
@given(lead=LEADS, start=st.floats(0.5, 5), play=st.floats(0.0, 0.5))
def test_play_is_recovered(lead, start, play):
    """A place reached backwards lags by the play: the stroke is what it would be ``play`` turns further on."""
    trials = [(turns, start + lead * turns) for turns in (0.0, 2.0, 4.0)] + [(2.0, start + lead * (2.0 + play))]
    fit = fit_knob(trials, least_scatter_mm=1e-6)
    assert fit.lead_mm == pytest.approx(lead, abs=1e-9)
    assert fit.play_turns == pytest.approx(play, abs=1e-8)


def test_the_doubt_of_the_lead_is_that_of_a_slope():
    """The standard error is s/√Sxx with the residual scatter on n − 2 degrees of freedom."""
    trials = [(0.0, 1.0), (1.0, 1.6), (2.0, 1.9), (3.0, 2.5)]
    fit = fit_knob(trials, least_scatter_mm=1e-9)
    residuals = [stroke - fit.stroke_at_zero_mm - fit.lead_mm * turns for turns, stroke in trials]
    scatter = math.sqrt(sum(value**2 for value in residuals) / 2)
    assert fit.lead_mm == pytest.approx(0.48)
    assert fit.scatter_mm == pytest.approx(scatter)
    assert fit.lead_sd_mm == pytest.approx(scatter / math.sqrt(5.0))


def test_lucky_pulls_do_not_make_a_perfect_tool():
    """Three pulls on a line still leave the least scatter that is assumed."""
    fit = fit_knob([(0.0, 1.0), (2.0, 2.0), (4.0, 3.0)])
    assert fit.scatter_mm == 0.02
    assert fit.lead_sd_mm == pytest.approx(0.02 / math.sqrt(8.0))


@pytest.mark.parametrize(
    "trials",
    [
        [(0.0, 1.0), (2.0, 2.0)],
        [(1.0, 1.0), (1.0, 1.1), (1.0, 0.9)],
        [(0.0, 1.0), (0.0, 1.0), (1e-180, 2.0)],
        [(0.0, 1.0), (2.0, 1.001), (4.0, 0.999)],
        [(0.0, 1.0), (2.0, math.nan), (4.0, 3.0)],
        [(0.0, 1.0), (2.0, math.inf), (4.0, 3.0)],
    ],
)
def test_what_says_nothing_of_a_knob_is_refused(trials):
    """Too few pulls, one place only, a knob without effect and numbers that are none bring our error."""
    with pytest.raises(BadInput):
        fit_knob(trials)


FINITE = st.floats(-50, 50)


@UNTIMED
@given(st.lists(st.tuples(FINITE, FINITE), max_size=8))
def test_any_pulls_give_finite_values_or_our_error(trials):
    """Whatever is given, the answer is finite or BadInput."""
    try:
        fit = fit_knob(trials)
    except BadInput:
        return
    assert all(map(math.isfinite, (fit.lead_mm, fit.lead_sd_mm, fit.stroke_at_zero_mm, fit.scatter_mm)))
    assert fit.play_turns is None or (math.isfinite(fit.play_turns) and fit.play_turns >= 0)

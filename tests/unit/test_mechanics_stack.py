"""The stack's thickness: sums, coatings, readings and what is said about them."""

from __future__ import annotations

import pytest

from firstpull.errors import BadInput
from firstpull.mechanics.stack import Layer, Stack, thickness
from firstpull.units import parse_length as length
from mechanics_examples import TRAY


def test_worst_case_adds_tolerances_and_rss_adds_their_squares() -> None:
    """± 0.3 and ± 0.4 mm are ± 0.7 in the worst case and ± 0.5 root-sum-square."""
    size = thickness(
        Stack((Layer("a", length("2 mm"), length("0.3 mm")), Layer("b", length("3 mm"), length("0.4 mm"))))
    )
    assert (size.nominal_mm, size.worst_low_mm, size.worst_high_mm) == (5.0, 4.3, 5.7)
    assert (size.rss_low_mm, size.rss_high_mm) == (4.5, 5.5)
    assert (size.low_mm, size.high_mm, size.basis) == (4.3, 5.7, "worst case")


def test_a_coating_counts_once_per_coated_face() -> None:
    """Two sheets coated on both sides carry four coats, and one bath's tolerance adds up four times."""
    coat = Layer("powder coat", length("80 µm"), length("20 µm"), coating=True, faces=4)
    size = thickness(Stack((Layer("steel", length("1.5 mm")), Layer("steel", length("1.5 mm")), coat)))
    assert size.nominal_mm == 3.32
    assert (size.rss_low_mm, size.rss_high_mm) == (3.24, 3.40)


def test_a_sheet_has_no_faces_to_count() -> None:
    """Two faces of a sheet is a mistake for two sheets or a coating."""
    with pytest.raises(BadInput, match="Only a coating"):
        thickness(Stack((Layer("steel", length("1.5 mm"), faces=2),)))


def test_measured_limits_enclose_every_reading_and_the_means_uncertainty() -> None:
    """With readings the mean is used, and low and high enclose readings and uncertainty."""
    size = thickness(TRAY)
    assert size.basis == "measured"
    assert size.measured_mean_mm == pytest.approx(2.173333, abs=1e-6)
    assert size.measured_u_mm is not None
    assert 0.023 < size.measured_u_mm < 0.05
    assert size.low_mm < 2.16 - 0.02
    assert size.high_mm > 2.19 + 0.02
    assert size.low_mm <= 2.173333 - size.measured_u_mm


def test_two_readings_apart_leave_more_doubt_than_their_spread() -> None:
    """Two readings 0.1 mm apart have a wide uncertainty, and the limits enclose it."""
    size = thickness(Stack((Layer("steel", length("2.0 mm")),), (length("2.0 mm"), length("2.1 mm"))))
    assert size.measured_u_mm is not None
    assert size.measured_u_mm > 0.3
    assert size.low_mm == pytest.approx(2.05 - size.measured_u_mm, abs=2e-6)
    assert size.high_mm == pytest.approx(2.05 + size.measured_u_mm, abs=2e-6)


def test_a_measured_mean_that_disagrees_with_the_nominal_is_said() -> None:
    """Measured 2.17 against nominal 2.08 mm is said; readings that agree are not."""
    assert any("0.093 mm more than the nominal" in note for note in thickness(TRAY).notes)
    same = Stack((Layer("steel", length("2.0 mm")),), tuple(length(f"{t} mm") for t in (1.99, 2.0, 2.01)))
    assert thickness(same).notes == ()


def test_a_missing_layer_is_suspected_when_the_tolerances_do_not_explain_it() -> None:
    """A stack a whole millimetre too thick asks for a look at the layers."""
    stack = Stack((Layer("steel", length("2.0 mm"), length("0.1 mm")),), (length("3.0 mm"),) * 3)
    assert any("extra layer" in note for note in thickness(stack).notes)


def test_one_reading_is_said_to_show_little() -> None:
    """One reading has only the gauge's uncertainty, and a note asks for more."""
    size = thickness(Stack((Layer("steel", length("2.0 mm")),), (length("2.0 mm"),)))
    assert size.measured_u_mm == pytest.approx(1.96 * (0.02**2 / 3 + 0.01**2 / 12) ** 0.5, abs=1e-5)
    assert any("at least three" in note for note in size.notes)


def test_notes_speak_the_unit_asked_for_and_numbers_stay() -> None:
    """The unit changes the notes only."""
    in_mm, in_inch = thickness(TRAY), thickness(TRAY, unit="in")
    assert any(" in more than" in note for note in in_inch.notes)
    assert (in_mm.low_mm, in_mm.high_mm) == (in_inch.low_mm, in_inch.high_mm)


def test_layers_without_tolerance_are_named() -> None:
    """Without a tolerance nothing is made up: the layer is named in a note."""
    notes = thickness(Stack((Layer("EN AW-5754", length("2 mm")),))).notes
    assert any("No tolerance is given for “EN AW-5754”" in note for note in notes)


@pytest.mark.parametrize(
    ("stack", "where"),
    [
        (Stack(()), "stack.layer"),
        (Stack((Layer("a", length("0 mm")),)), "stack.layer[1].thickness"),
        (Stack((Layer("a", length("1 mm"), length("2 mm")),)), "stack.layer[1].tolerance"),
        (Stack((Layer("a", length("1 mm")),), (length("-1 mm"),)), "stack.measured[1]"),
        (Stack((Layer("a", length("1 mm")),), (), float("nan")), "stack.gauge_error_mm"),
        (Stack((Layer("a", length("1 mm")),), (), 0.02, 0.0), "stack.resolution_mm"),
    ],
)
def test_a_stack_that_cannot_be_right_names_the_place(stack: Stack, where: str) -> None:
    """Each mistake names its layer, reading or field."""
    with pytest.raises(BadInput) as caught:
        thickness(stack)
    assert caught.value.where == where


def test_the_record_form_comes_back_equal() -> None:
    """What is written to the record is what is read back."""
    assert Stack.from_json(TRAY.to_json()) == TRAY
    with pytest.raises(BadInput, match="coating"):
        Layer.from_json({"material": "a", "thickness": {"nm": 1, "typed": ""}, "coating": "yes"})

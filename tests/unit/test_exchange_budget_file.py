"""Uncertainty budgets as files: what they may say, and formulas that hold arithmetic and nothing else."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from firstpull.errors import BadInput
from firstpull.exchange.budget_file import read_budget
from firstpull.exchange.formula import read_formula
from firstpull.statistics.uncertainty_inputs import Correlation

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "end_gauge.toml"
NAMES = frozenset({"a", "b"})


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("a + b", 5.0),
        ("a − b · 2", -4.0),
        ("-a ** 2", -4.0),
        ("a^b", 8.0),
        ("sqrt(a * 8) / b", 4 / 3),
        ("2 * pi * cos(0)", 2 * math.pi),
        ("abs(a - b) + exp(0) + log(1) + sin(0) + tan(0)", 2.0),
    ],
)
def test_formulas_are_computed(text: str, value: float) -> None:
    """With a = 2 and b = 3, and the same for arrays."""
    made = read_formula(text, NAMES, where="model")
    assert float(made({"a": 2.0, "b": 3.0})) == pytest.approx(value, rel=1e-12)
    many = np.broadcast_to(made({"a": np.full(3, 2.0), "b": np.full(3, 3.0)}), (3,))
    assert many == pytest.approx([value] * 3, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "", "a +", "c", "a if b else 1", "__import__('os')", "a.real", "a[0]", "sqrt(a, b)", "sqrt", "sqrt(x=a)", "print(a)", "'a'", "True", "a and b",
        "lambda: a", "[a]", "a // b", "a % b", "a @ b", "~a", "not a", "1j * a", "(" * 90 + "a" + ")" * 90 + "+ c", "-" * 200 + "a", "a" * 2001, "a\x00",
    ],
)  # fmt: skip
def test_anything_else_is_refused(text: str) -> None:
    """Not arithmetic, an unknown name, too long or nested too deep: said, and never run."""
    with pytest.raises(BadInput):
        read_formula(text, NAMES, where="model")


def test_large_powers_end_at_once() -> None:
    """Numbers are floats: 9 to the 9 to the 9 is too large, and takes no time."""
    with pytest.raises(OverflowError):
        read_formula("9**9**9", NAMES, where="model")({"a": 1.0, "b": 1.0})


def test_the_example_is_read() -> None:
    """Six inputs; a certificate with k = 3, a half width and standard uncertainties become what they are."""
    read = read_budget(EXAMPLE.read_bytes(), filename="end_gauge.toml")
    by_name = {one.name: one for one in read.quantities}
    assert len(by_name) == 6
    assert by_name["standard"].u == 25
    assert by_name["alpha"].u == pytest.approx(2e-6 / math.sqrt(3), rel=1e-12)
    assert by_name["alpha"].distribution == "rectangular"
    assert (read.confidence, read.digits, read.unit) == (0.99, 2, "nm")


def test_readings_give_mean_error_and_correlation() -> None:
    """By hand: 1, 2, 3 has mean 2 and standard error 1/√3; 2, 4, 6 follows it exactly."""
    text = b"""model = "x + y"
correlate_readings = true
[inputs.x]
readings = [1, 2, 3]
[inputs.y]
readings = [2, 4, 6.0]
"""
    read = read_budget(text, filename="b.toml")
    assert read.quantities[0].value == 2
    assert read.quantities[0].u == pytest.approx(1 / math.sqrt(3), rel=1e-12)
    assert read.quantities[0].degrees_of_freedom == 2
    assert read.correlations == (Correlation("x", "y", pytest.approx(1.0)),)


GOOD = 'model = "x"\n[inputs.x]\nvalue = 1\nu = 0.1\n'


@pytest.mark.parametrize(
    "text",
    [
        "", "not toml [", 'model = "x"', 'model = "x"\ninputs = 3', 'model = "x"\n[inputs.x]\nvalue = 1', GOOD + "half_width = 1",
        GOOD.replace("inputs.x", 'inputs."x y"'), GOOD.replace("u = 0.1", "u = true"), GOOD.replace("value = 1", 'value = "1"'),
        GOOD + 'distribution = "odd"', GOOD.replace("u = 0.1", 'half_width = 1\ndistribution = "normal"'), GOOD + "wrong = 1",
        GOOD.replace("u = 0.1", "expanded = 1\nfactor = 0"), 'model = "x"\n[inputs.x]\nreadings = [1]', 'confidence = "high"\n' + GOOD,
        "correlate_readings = true\n" + GOOD, "correlate_readings = 1\n" + GOOD, "correlations = 1\n" + GOOD,
        GOOD + '[[correlations]]\nbetween = ["x"]\ncoefficient = 1', "title = 3\n" + GOOD, GOOD.replace('"x"', '"z"'),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named(text: str) -> None:
    """Each fault of a file is told with its place."""
    with pytest.raises(BadInput) as refused:
        read_budget(text.encode(), filename="b.toml")
    assert "b.toml" in refused.value.where


def test_series_that_cannot_be_correlated() -> None:
    """Unequal numbers of readings, or readings that never change."""
    for second in ("[2, 4]", "[2, 2, 2]"):
        text = f'model = "x"\ncorrelate_readings = true\n[inputs.x]\nreadings = [1, 2, 3]\n[inputs.y]\nreadings = {second}\n'
        with pytest.raises(BadInput):
            read_budget(text.encode(), filename="b.toml")


def test_a_file_that_is_no_text_or_far_too_long() -> None:
    """Bytes that are no UTF-8, and more than a megabyte."""
    for data in (b"\xff\xfe", b"#" * 1_000_001):
        with pytest.raises(BadInput):
            read_budget(data, filename="b.toml")

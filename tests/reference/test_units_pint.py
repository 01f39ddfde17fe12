"""Unit factors against their definitions and against an independent unit library.

International yard and pound agreement, 1959 (inch 25.4 mm, pound 0.45359237 kg); standard acceleration of gravity
9.80665 m/s² (3rd CGPM, 1901); values as in data/units_factors.csv, each with its source. Oracle: pint 0.25.
"""

import csv
from fractions import Fraction
from pathlib import Path

import pint
import pytest

from firstpull.units import parse_force, parse_length, parse_pressure, parse_torque

PARSE = {
    "inch": lambda: parse_length("1 in").mm,
    "lbf": lambda: parse_force("1 lbf").newtons,
    "kgf": lambda: parse_force("1 kgf").newtons,
    "lbf*inch": lambda: parse_torque("1 lbf·in").newton_metres,
    "lbf*ft": lambda: parse_torque("1 lbf·ft").newton_metres,
    "psi": lambda: parse_pressure("1 psi").megapascals,
}
with (Path(__file__).parent / "data" / "units_factors.csv").open(encoding="utf-8", newline="") as text:
    ROWS = list(csv.DictReader(text))
PINT = pint.UnitRegistry()
LENGTHS = {
    "mm": "mm",
    "cm": "cm",
    "m": "m",
    "µm": "micrometer",
    "micron": "micrometer",
    "nm": "nm",
    "in": "inch",
    "thou": "thou",
    '"': "inch",
}
FORCES = {"N": "N", "kN": "kN", "lbf": "lbf", "kgf": "kgf"}
TORQUES = {
    "N·m": "N*m",
    "Nm": "N*m",
    "N·cm": "N*cm",
    "lbf·in": "lbf*inch",
    "in-lb": "lbf*inch",
    "lbf·ft": "lbf*ft",
    "ft-lb": "lbf*ft",
}
PRESSURES = {"bar": "bar", "kPa": "kPa", "MPa": "MPa", "psi": "psi", "ksi": "ksi", "N/mm²": "N/mm**2"}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["from"])
def test_factors_are_the_defined_ones(row):
    """One of each unit is the defined or printed number of SI units."""
    assert PARSE[row["from"]]() == pytest.approx(float(row["factor"]), rel=1e-12)


def test_inch_is_exactly_25_4_mm():
    """An inch is 25 400 000 nm, no less and no more."""
    assert parse_length("1 in").nanometres == 25_400_000


def test_pound_force_is_the_exact_product():
    """A pound-force is exactly 0.45359237 · 9.80665 N."""
    assert parse_force("1 lbf").value == Fraction("0.45359237") * Fraction("9.80665")


@pytest.mark.parametrize("unit", LENGTHS)
def test_lengths_agree_with_pint(unit):
    """A length in each unit has the same mm as in pint."""
    assert parse_length(f"37 {unit}").mm == pytest.approx(
        PINT.Quantity(37, LENGTHS[unit]).to("mm").magnitude, rel=1e-12
    )


@pytest.mark.parametrize("unit", FORCES)
def test_forces_agree_with_pint(unit):
    """A force in each unit has the same newtons as in pint."""
    assert parse_force(f"9.3 {unit}").newtons == pytest.approx(
        PINT.Quantity(9.3, FORCES[unit]).to("N").magnitude, rel=1e-12
    )


@pytest.mark.parametrize("unit", TORQUES)
def test_torques_agree_with_pint(unit):
    """A torque in each unit has the same N·m as in pint."""
    assert parse_torque(f"55 {unit}").newton_metres == pytest.approx(
        PINT.Quantity(55, TORQUES[unit]).to("N*m").magnitude, rel=1e-12
    )


@pytest.mark.parametrize("unit", PRESSURES)
def test_pressures_agree_with_pint(unit):
    """A pressure in each unit has the same MPa as in pint."""
    assert parse_pressure(f"6.2 {unit}").megapascals == pytest.approx(
        PINT.Quantity(6.2, PRESSURES[unit]).to("MPa").magnitude, rel=1e-12
    )

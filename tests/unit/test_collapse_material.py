"""Flow curves of the virtual pull, and the cases it refuses before running."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firstpull.errors import BadInput
from firstpull.mechanics.collapse.case import PullCase, Sheet, check_case
from firstpull.mechanics.collapse.material import FlowCurve, check_flow_curve, flow_stress_mpa, flow_table

STEEL = FlowCurve("swift", 210_000.0, 0.3, k_mpa=600.0, e0=0.01, n=0.2)
CASE = PullCase(9.0, 7.2, 9.0, 5.5, 7.0, 13.0, 1.5, STEEL, 0.12, 4.0, Sheet(2.0, 9.1, 0.1))


@pytest.mark.parametrize(
    ("curve", "at", "stress"),
    [
        (STEEL, 0.99, 600.0),
        (FlowCurve("voce", 70_000.0, 0.33, s0_mpa=100.0, q_mpa=50.0, b=10.0, h_mpa=20.0), 0.0, 100.0),
        (FlowCurve("ludwik", 70_000.0, 0.33, s0_mpa=100.0, k_mpa=200.0, n=0.5), 0.25, 200.0),
        (FlowCurve("table", 70_000.0, 0.33, points=((0.0, 100.0), (0.1, 150.0), (0.3, 170.0))), 0.2, 160.0),
        (FlowCurve("table", 70_000.0, 0.33, points=((0.0, 100.0), (0.1, 150.0), (0.3, 170.0))), 0.5, 190.0),
        (FlowCurve("table", 70_000.0, 0.33, points=((0.0, 100.0),)), 2.0, 100.0),
    ],
)
def test_a_law_gives_its_stress(curve: FlowCurve, at: float, stress: float) -> None:
    """Each law gives the stress of its own formula, and a table goes on with its last slope."""
    assert flow_stress_mpa(curve, np.array([at]))[0] == pytest.approx(stress, rel=1e-12)


def test_hollomon_begins_on_the_elastic_line() -> None:
    """The first stress of a Hollomon curve is where it meets the elastic line."""
    curve = FlowCurve("hollomon", 200_000.0, 0.3, k_mpa=500.0, n=0.2)
    first = flow_stress_mpa(curve, np.array([0.0]))[0]
    assert first == pytest.approx(500.0 * (first / 200_000.0) ** 0.2, rel=1e-9)


def test_the_table_holds_the_curve() -> None:
    """The solver's table has the law's stress at every 0.0005 of strain up to 3."""
    table = flow_table(STEEL)
    assert len(table) == 6001
    assert table[2000] == pytest.approx(600.0 * 1.01**0.2, rel=1e-12)


@pytest.mark.parametrize(
    ("curve", "where"),
    [
        (replace(STEEL, e_mpa=10.0), "material.E_mpa"),
        (replace(STEEL, poisson=0.5), "material.poisson"),
        (replace(STEEL, n=0.9), "material.n"),
        (replace(STEEL, e0=-0.1), "material.e0"),
        (replace(STEEL, k_mpa=0.0), "material"),
        (FlowCurve("voce", 70_000.0, 0.33, s0_mpa=100.0, q_mpa=-50.0, b=10.0), "material"),
        (FlowCurve("table", 70_000.0, 0.33, points=((0.1, 100.0),)), "material.points"),
        (FlowCurve("table", 70_000.0, 0.33, points=((0.0, 100.0), (0.0, 120.0))), "material.points"),
    ],
)
def test_what_is_no_metal_is_refused(curve: FlowCurve, where: str) -> None:
    """Constants that no metal has are refused and named."""
    with pytest.raises(BadInput) as refused:
        check_flow_curve(curve)
    assert refused.value.where == where


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"outer_diameter_mm": 0.1}, "body.outer_diameter"),
        ({"counterbore_diameter_mm": 8.9}, "body.counterbore_diameter"),
        ({"bore_diameter_mm": 8.0}, "body.thread_bore_diameter"),
        ({"mandrel_diameter_mm": 8.0}, "body.thread"),
        ({"flange_diameter_mm": 9.0}, "flange.diameter"),
        ({"flange_thickness_mm": 0.01}, "flange.thickness"),
        ({"unthreaded_length_mm": 3.0}, "body.unthreaded_length"),
        ({"friction": 0.9}, "pull.friction"),
        ({"stroke_mm": 7.0}, "pull.stroke"),
        ({"sheet": Sheet(0.1, 9.1, 0.0)}, "sheet.thickness"),
        ({"sheet": Sheet(2.0, 8.9, 0.1)}, "sheet.hole_diameter"),
        ({"sheet": Sheet(2.0, 9.1, 1.0)}, "sheet.edge_radius"),
        ({"sheet": Sheet(2.0, 9.1, 0.1, e_mpa=1.0)}, "sheet.E_mpa"),
        ({"sheet": Sheet(2.0, 9.1, 0.1, yield_mpa=1.0)}, "sheet.yield_mpa"),
    ],
)
def test_a_case_that_cannot_be_pulled_is_refused_by_name(change: dict[str, object], where: str) -> None:
    """What cannot be pulled is refused before running, and the field is named."""
    with pytest.raises(BadInput) as refused:
        check_case(replace(CASE, **change))  # type: ignore[arg-type]
    assert refused.value.where == where


def test_a_plain_case_is_taken() -> None:
    """The plain case passes and is given back."""
    assert check_case(CASE) is CASE

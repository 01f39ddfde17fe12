"""What cannot be pulled is named before anything runs."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firstpull.errors import BadInput
from firstpull.mechanics.collapse.case import PullCase, Sheet, check_case
from firstpull.mechanics.collapse.material import FlowCurve

STEEL = FlowCurve("swift", 210_000.0, 0.3, k_mpa=620.0, e0=0.008, n=0.17)
CASE = PullCase(9.0, 7.2, 9.0, 5.5, 7.0, 13.0, 1.5, STEEL, 0.12, 5.0, Sheet(2.0, 9.1, 0.1, 70_000.0, 120.0))


def test_a_sheet_that_would_be_punched_through_is_refused() -> None:
    """The shank folds at 473 MPa × π × 8.1 mm × 0.9 mm = 10.8 kN; 0.5 mm at 120 MPa carries 0.98 kN in shear, a tenth less."""
    assert check_case(CASE) is CASE
    thin = replace(CASE, unthreaded_length_mm=7.5, sheet=Sheet(0.5, 9.1, 0.1, 70_000.0, 120.0))
    with pytest.raises(BadInput, match="11 times what the sheet carries") as refused:
        check_case(thin)
    assert refused.value.where == "sheet.yield_mpa"
    harder = replace(thin, sheet=Sheet(0.5, 9.1, 0.1, 70_000.0, 140.0))
    assert check_case(harder) is harder

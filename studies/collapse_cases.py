"""The cases that the reference program is asked: invented inserts of the usual sizes; half to build by, half to judge by."""

from __future__ import annotations

from firstpull.mechanics.collapse.case import PullCase, Sheet
from firstpull.mechanics.collapse.material import FlowCurve

STEEL = FlowCurve("swift", 210_000.0, 0.3, k_mpa=620.0, e0=0.008, n=0.17)
SOFT_STEEL = FlowCurve("swift", 205_000.0, 0.29, k_mpa=520.0, e0=0.012, n=0.21)
ALUMINIUM = FlowCurve("voce", 70_000.0, 0.33, s0_mpa=150.0, q_mpa=110.0, b=9.0, h_mpa=45.0)
STAINLESS = FlowCurve("swift", 195_000.0, 0.29, k_mpa=1250.0, e0=0.03, n=0.42)
BRASSY = FlowCurve("ludwik", 105_000.0, 0.34, s0_mpa=180.0, k_mpa=420.0, n=0.5)


def _case(
    d: float,
    cb: float,
    length: float,
    bore: float,
    rest: tuple[float, float, float],
    metal: FlowCurve,
    mu: float,
    stroke: float,
    sheet: Sheet | None = None,
) -> PullCase:
    threaded, flange, thick = rest
    return PullCase(d, cb, length, bore, threaded, flange, thick, metal, mu, stroke, sheet)


BUILD = {
    "m6_steel_air": _case(9.0, 7.2, 9.0, 5.5, (7.0, 13.0, 1.5), STEEL, 0.12, 7.6),
    "m6_steel_sheet": _case(9.0, 7.2, 9.0, 5.5, (7.0, 13.0, 1.5), STEEL, 0.12, 5.8, Sheet(2.0, 9.1, 0.1)),
    "m5_alu_sheet": _case(7.0, 5.6, 7.5, 4.5, (5.5, 10.0, 1.0), ALUMINIUM, 0.15, 5.0, Sheet(1.5, 7.1, 0.1)),
}
"""To build by."""

JUDGE = {
    "m4_alu_air": _case(6.0, 4.8, 6.5, 3.6, (5.0, 9.0, 0.8), ALUMINIUM, 0.1, 5.5),
    "m8_stainless_air": _case(11.0, 9.0, 10.5, 7.2, (8.0, 15.0, 1.5), STAINLESS, 0.15, 8.8),
    "m10_steel_sheet": _case(13.0, 10.9, 12.0, 9.1, (10.0, 18.0, 2.0), SOFT_STEEL, 0.1, 7.3, Sheet(3.0, 13.1, 0.15)),
    "m5_steel_loose": _case(7.0, 5.5, 7.0, 4.5, (5.5, 10.0, 1.0), SOFT_STEEL, 0.12, 5.0, Sheet(0.8, 7.4, 0.1)),
    "m6_stainless_sheet": _case(9.0, 7.3, 9.5, 5.5, (7.0, 13.0, 1.5), STAINLESS, 0.12, 6.6, Sheet(1.6, 9.05, 0.1)),
    "m8_alu_soft_sheet": _case(
        11.0, 8.9, 11.0, 7.2, (8.0, 15.0, 1.5), ALUMINIUM, 0.15, 6.8, Sheet(2.5, 11.1, 0.1, 70_000.0, 120.0)
    ),
    "m4_brass_air": _case(6.0, 4.7, 6.0, 3.6, (5.0, 9.0, 0.8), BRASSY, 0.12, 4.9),
}
"""To judge by; nothing was chosen or tuned on them."""

CASES = BUILD | JUDGE

"""One row of a table of checks: demand against capacity."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Check:
    """One check: what the joint demands, what is offered, and the margin as a share of the offer (0 = none).

    Where loads and strengths are ranges, ``demand`` is the highest, ``capacity`` the lowest and ``margin`` the worst
    case; ``expected_margin`` is that of the expected values and ``probability`` (0 to 1) the chance that the offer is
    enough. ``estimate`` says that the offer comes from a rough formula and not from a standard or a test;
    ``assumptions`` says from which. A check with nothing to compare has no margin.
    """

    name: str
    demand: float | str
    capacity: float | str
    margin: float | None
    unit: str
    ok: bool
    text: str
    source: str = ""
    estimate: bool = False
    expected_margin: float | None = None
    probability: float | None = None
    assumptions: tuple[str, ...] = ()

"""Flow curves for the usual insert metals, as a start where nobody has measured the lot."""

from __future__ import annotations

from firstpull.errors import BadInput
from firstpull.mechanics.collapse.material import FlowCurve

_CURVES = {
    "steel": FlowCurve("swift", 210_000.0, 0.30, k_mpa=600.0, e0=0.01, n=0.18),
    "stainless steel": FlowCurve("swift", 195_000.0, 0.29, k_mpa=1250.0, e0=0.03, n=0.42),
    "aluminium": FlowCurve("voce", 70_000.0, 0.33, s0_mpa=160.0, q_mpa=110.0, b=9.0, h_mpa=40.0),
    "brass": FlowCurve("ludwik", 105_000.0, 0.34, s0_mpa=160.0, k_mpa=420.0, n=0.5),
}
"""Round values for annealed, cold-formable grades: common practice, no source; a lot may differ by 20 % and more."""


def library_names() -> tuple[str, ...]:
    """The metals held."""
    return tuple(_CURVES)


def library_curve(name: str, *, where: str = "material.name") -> FlowCurve:
    """The flow curve of that metal in MPa (common practice, no source). Raises BadInput with the names held."""
    held = _CURVES.get(" ".join(name.lower().split()))
    if held is None:
        raise BadInput(f"“{name[:60]}” is not in the library.", where=where, hint=f"It holds {', '.join(_CURVES)}.")
    return held
